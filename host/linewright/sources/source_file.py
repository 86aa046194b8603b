"""The file that a picture, a table or words are read from: open, or refused in words."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from io import BufferedReader

from linewright.errors import SourceError
from linewright.files import opened


@contextmanager
def source_file(source: str | os.PathLike[str]) -> Iterator[BufferedReader]:
    """The file, open for reading while the block lasts.

    Raises
    ------
    SourceError
        If there is none, it is a folder, a device or a pipe, or it cannot be read.
    """
    where = os.fspath(source)
    try:
        with opened(source) as stream:
            yield stream
    except IsADirectoryError:
        raise SourceError("that is a folder", where=where, hint="name one file in it") from None
    except (FileNotFoundError, NotADirectoryError):
        raise SourceError("there is no such file", where=where, hint="check the name and the folder") from None
    except OSError as error:
        hint = "name a file that you may read"
        raise SourceError(f"cannot be read: {error.strerror or error}", where=where, hint=hint) from None


def size_of(source: str | os.PathLike[str]) -> int:
    """Bytes of a file.

    Raises
    ------
    SourceError
        If it cannot be read, or is empty.
    """
    with source_file(source) as stream:
        size = os.fstat(stream.fileno()).st_size
    if not size:
        raise SourceError("the file is empty", where=os.fspath(source), hint="fetch it again")
    return size
