"""Files are replaced whole or stay what they were."""

from __future__ import annotations

import os
import stat

import pytest

from linewright.files import replacing


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
    # Where root writes to /dev/stdout, the node itself must survive.
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


def test_a_loop_of_links_and_a_folder_are_errors(tmp_path):
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    for target in (loop / "out.bin", tmp_path):
        with pytest.raises(OSError, match=r"."), replacing(target):
            pass
