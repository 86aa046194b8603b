"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO


@contextmanager
def replacing(target: str | os.PathLike[str]) -> Iterator[BinaryIO]:
    """A stream whose bytes become the file ``target`` once the block ends without an error; else nothing changes.

    Raises
    ------
    OSError : the folder is missing or not writable, or the disk is full.
    """
    path = Path(target)
    handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes files for their owner only; give this one what a plain open() would have given.
        mask = os.umask(0)
        os.umask(mask)
        Path(temporary).chmod(0o666 & ~mask)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
