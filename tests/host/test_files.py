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
