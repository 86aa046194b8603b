"""Opening of source files, with errors for users."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from io import BufferedReader

from linewright.errors import SourceError
from linewright.files import opened


@contextmanager
def source_file(source: str | os.PathLike[str]) -> Iterator[BufferedReader]:
    """Context manager: the file, open for reading.

    Raises
    ------
    SourceError
        The file is missing, not readable, or a folder, device or pipe.
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
    """Size of a file, bytes.

    Raises
    ------
    SourceError
        The file cannot be read, or is empty.
    """
    with source_file(source) as stream:
        size = os.fstat(stream.fileno()).st_size
    if not size:
        raise SourceError("the file is empty", where=os.fspath(source), hint="fetch it again")
    return size
