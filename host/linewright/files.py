"""Reading regular files only, and writing files whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import BufferedReader
from pathlib import Path
from typing import BinaryIO


def is_there(path: str | os.PathLike[str]) -> bool:
    """Whether a file or folder of this name exists. False where ``Path.exists`` raises, as in a folder without read
    permission.
    """
    return os.path.exists(path)  # noqa: PTH110  see above


def opened(path: str | os.PathLike[str]) -> BufferedReader:
    """Open a regular file for reading.

    Folders, devices and pipes are refused before they are opened: a pipe may block, a device may never end, and opening
    a board's serial port restarts the board.

    Raises
    ------
    OSError : the file is missing, not readable or not a regular file.
    """
    try:
        mode = Path(path).stat().st_mode
    except ValueError:  # a name with a character of code 0
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), os.fspath(path)) from None
    if stat.S_ISDIR(mode):  # Windows would say "Permission denied"
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), os.fspath(path))
    if not stat.S_ISREG(mode):
        raise OSError(errno.EINVAL, "it is no file but a device or a pipe", os.fspath(path))
    return Path(path).open("rb")


def read_bounded(path: str | os.PathLike[str], most: int) -> bytes:
    """Read a file of at most ``most`` bytes.

    Raises
    ------
    OSError : the file cannot be read or is larger.
    """
    with opened(path) as stream:
        data = stream.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"it is larger than {most:,} bytes", os.fspath(path))
    return data


@contextmanager
def replacing(target: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """Yield a stream whose bytes replace the file ``target`` when the block ends without an error; otherwise the file
    is unchanged.

    Bytes for a device or a pipe are written there directly.

    Raises
    ------
    OSError : the folder is missing or not writable, or the disk is full.
    """
    path = Path(target)
    if path.exists() and not (path.is_file() or path.is_dir()):
        # A device or a pipe, such as /dev/stdout, is written to directly: replacing it would remove its node.
        with path.open("wb") as stream:
            yield stream
        return
    path = Path(os.path.realpath(path))  # a link stays; its target is replaced
    handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp creates files readable by their owner only; set the permissions that open() would give or keep.
        mask = os.umask(0)
        os.umask(mask)
        Path(temporary).chmod(stat.S_IMODE(path.stat().st_mode) if path.exists() else 0o666 & ~mask)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
