"""Files: which may be read, and how one is written whole or not at all."""

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
    """Whether there is something of that name. ``Path.exists`` raises in a folder that may not be looked into."""
    return os.path.exists(path)  # noqa: PTH110  see above


def opened(path: str | os.PathLike[str]) -> BufferedReader:
    """A file that somebody names, open for reading.

    Anything else is refused before it is opened: a pipe may wait for ever, a device never end, and a board restarts
    when its port is opened.

    Raises
    ------
    OSError : there is none, it cannot be read, or it is no file but a folder, a device or a pipe.
    """
    try:
        mode = Path(path).stat().st_mode
    except ValueError:  # a name with a character of code 0
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), os.fspath(path)) from None
    if stat.S_ISDIR(mode):  # said here, because Windows says "Permission denied"
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), os.fspath(path))
    if not stat.S_ISREG(mode):
        raise OSError(errno.EINVAL, "it is no file but a device or a pipe", os.fspath(path))
    return Path(path).open("rb")


def read_bounded(path: str | os.PathLike[str], most: int) -> bytes:
    """A file's bytes, unless there are more than ``most``.

    Raises
    ------
    OSError : it cannot be read, or is larger.
    """
    with opened(path) as stream:
        data = stream.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"it is larger than {most:,} bytes", os.fspath(path))
    return data


@contextmanager
def replacing(target: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """A stream whose bytes become the file ``target`` once the block ends without an error; else nothing changes.

    What is written to a device or a pipe goes there as it comes.

    Raises
    ------
    OSError : the folder is missing or not writable, or the disk is full.
    """
    path = Path(target)
    if path.exists() and not (path.is_file() or path.is_dir()):
        # A device or a pipe, such as /dev/stdout: there is nothing to replace, and its node must stay what it is.
        with path.open("wb") as stream:
            yield stream
        return
    path = Path(os.path.realpath(path))  # of a link, what it leads to is replaced
    handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes files for their owner only; give this one what a plain open() would have given or left.
        mask = os.umask(0)
        os.umask(mask)
        Path(temporary).chmod(stat.S_IMODE(path.stat().st_mode) if path.exists() else 0o666 & ~mask)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
