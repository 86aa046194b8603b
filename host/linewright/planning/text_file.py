"""Text files to be written: UTF-8, of bounded size."""

from __future__ import annotations

from pathlib import Path
from typing import IO, Final

from linewright.errors import SourceError
from linewright.sources.source_file import source_file

LONGEST_FILE: Final = 1_000_000
"""Largest text file, bytes: far more than a sheet holds."""


def text_of(path: Path) -> str:
    """The text of a file.

    Raises
    ------
    SourceError
        The file cannot be read, is too long, or is not UTF-8.
    """
    with source_file(path) as file:
        return text_from(file, str(path))


def text_from(stream: IO[bytes], where: str) -> str:
    """Like `text_of`, from an open stream."""
    data = stream.read(LONGEST_FILE + 1)
    if len(data) > LONGEST_FILE:
        raise SourceError(
            f"the text has more than {LONGEST_FILE:,} bytes, the limit", where=where, hint="draw it in several parts"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        hint = "save the text as UTF-8; for a picture, leave out --text-file"
        raise SourceError(f"byte {error.start} is not UTF-8 text", where=where, hint=hint) from error
