"""Files that are written whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO


def read_bounded(path: str | os.PathLike[str], most: int) -> bytes:
    """A file's bytes, unless there are more than ``most``: devices and pipes may never end.

    Raises
    ------
    OSError : it cannot be read, or is larger.
    """
    with Path(path).open("rb") as stream:
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
