"""Files are replaced atomically."""

from __future__ import annotations

import os
import signal
import stat
import sys

import pytest

from linewright.board.image import read as read_image
from linewright.calibration.trial.form import read as read_form
from linewright.cli.new_rig import _from_file
from linewright.errors import LinewrightError
from linewright.files import is_there, opened, read_bounded, replacing
from linewright.maker.setup import load_maker
from linewright.planning.arrangement_file import load as load_arrangement
from linewright.planning.series import read_rows
from linewright.planning.text_file import text_of
from linewright.program.file import load as load_program
from linewright.rig.edit import edit_rig
from linewright.rig.rig import Rig
from linewright.sources import photograph
from linewright.sources.choice import Automatic
from linewright.sources.drawing_files import read_drawing
from linewright.sources.fonts.face import FontFace
from linewright.sources.fonts.library import Library
from linewright.sources.pens import read_pens
from linewright.sources.picture import Wish


def test_the_file_appears_whole_and_with_the_usual_rights(tmp_path):
    target = tmp_path / "out.bin"
    mask = os.umask(0o022)
    try:
        with replacing(target) as stream:
            stream.write(b"new")
            assert not target.exists()
    finally:
        os.umask(mask)
    assert target.read_bytes() == b"new"
    assert stat.S_IMODE(target.stat().st_mode) == 0o644
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_an_error_half_way_leaves_the_old_file_and_nothing_else(tmp_path, error):
    target = tmp_path / "out.bin"
    target.write_bytes(b"old")

    def half() -> None:
        with replacing(target) as stream:
            stream.write(b"half")
            raise error

    with pytest.raises(type(error)):
        half()
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]


def test_a_missing_folder_is_an_error_and_is_not_made(tmp_path):
    with pytest.raises(FileNotFoundError), replacing(tmp_path / "nowhere" / "out.bin"):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_link_stays_a_link_and_rights_stay_what_they_were(tmp_path):
    secret = tmp_path / "secret.bin"
    secret.write_bytes(b"old")
    secret.chmod(0o600)
    link = tmp_path / "link.bin"
    link.symlink_to(secret)
    with replacing(link) as stream:
        stream.write(b"new")
    assert link.is_symlink()
    assert secret.read_bytes() == b"new"
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600


def test_a_pipe_or_a_device_is_written_to_and_never_replaced(tmp_path):
    # If root writes to /dev/stdout, the device node must survive.
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        with replacing(pipe) as stream:
            stream.write(b"through")
        assert os.read(reader, 100) == b"through"
    finally:
        os.close(reader)
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert list(tmp_path.iterdir()) == [pipe]


READERS = {
    "automatic": lambda path: Automatic().read(str(path), Wish()),
    "drawing": lambda path: read_drawing(str(path), Wish()),
    "photograph": lambda path: photograph.load(str(path)),
    "arrangement": load_arrangement,
    "series": read_rows,
    "text": text_of,
    "font": lambda path: FontFace(str(path)),
    "fonts": lambda path: Library((str(path),)),
    "image": read_image,
    "pens": lambda path: read_pens(str(path)),
    "rig": Rig.load,
    "rig changed": lambda path: edit_rig(path, {"machine.name": "heron"}),
    "answers": _from_file,
    "form": lambda path: read_form(path, Rig.default()),
    "maker": load_maker,
    "program": load_program,
    "whole": lambda path: read_bounded(path, 100),
}


@pytest.fixture
def an_alarm():
    """No test may wait for a pipe for ever."""

    def ring(_number, _frame):
        raise AssertionError("it waits for the pipe")

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such files")
@pytest.mark.parametrize(
    ("kind", "ending"),
    [*((kind, "toml") for kind in READERS), *(("automatic", ending) for ending in ("svg", "pdf", "dxf", "png"))],
)
def test_a_pipe_or_a_device_is_refused_and_not_waited_for(tmp_path, an_alarm, kind, ending):
    pipe = tmp_path / f"a.{ending}"
    os.mkfifo(pipe)
    endless = tmp_path / f"b.{ending}"
    endless.symlink_to("/dev/zero")
    for path in (pipe, endless):
        with pytest.raises((LinewrightError, OSError), match="it is no file but a device or a pipe"):
            READERS[kind](path)


@pytest.mark.parametrize("kind", sorted({*READERS} - {"font", "fonts", "whole"}))
def test_a_file_in_a_folder_that_may_not_be_looked_into_is_no_bug(tmp_path, monkeypatch, kind):
    look = os.stat

    def closed(path, **options):
        if os.fspath(path).startswith(os.fspath(tmp_path)):
            raise PermissionError(13, "Permission denied")
        return look(path, **options)

    monkeypatch.setattr(os, "stat", closed)
    with pytest.raises(LinewrightError, match="Permission denied"):
        READERS[kind](tmp_path / "a.toml")
    assert not is_there(tmp_path / "a.toml")


def test_files_and_folders_are_opened_as_ever(tmp_path):
    (tmp_path / "a.txt").write_bytes(b"as ever")
    with opened(tmp_path / "a.txt") as stream:
        assert stream.read() == b"as ever"
    with pytest.raises(IsADirectoryError):
        opened(tmp_path)
    with pytest.raises(FileNotFoundError):
        opened(tmp_path / "nowhere")


def test_a_loop_of_links_and_a_folder_are_errors(tmp_path):
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    for target in (loop / "out.bin", tmp_path):
        with pytest.raises(OSError, match=r"."), replacing(target):
            pass
