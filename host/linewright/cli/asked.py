"""What is to be drawn, as the command line says it: a file, a text, or a pattern."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from linewright.errors import InputError, SourceError

LONGEST_FILE: Final = 1_000_000
"""Bytes of a text file: far beyond what a sheet holds, and nothing that would fill the memory."""


@dataclass(frozen=True)
class Asked:
    """A source and the way to its strokes.

    Parameters
    ----------
    source : what the way reads.
    method : the way, with its settings; None: what suits the file.
    name : of the drawing, for people and for the names of its pictures.
    """

    source: str
    method: str | None
    name: str


def asked(
    source: str | None, method: str | None, *, text: str | None, text_file: str | None, pattern: str | None
) -> Asked:
    """The one thing that was asked for.

    Raises
    ------
    InputError : none, or more than one, or a way that does not go with it.
    """
    given = {"SOURCE": source, "--text": text, "--text-file": text_file, "--pattern": pattern}
    named = [name for name, value in given.items() if value is not None]
    if len(named) != 1:
        many = f"{' and '.join(named)} were given, but only one thing can be drawn at once"
        raise InputError(
            many if named else "nothing to draw was named",
            hint="name a FILE, or --text WORDS, or --pattern NAME; `linewright surprise` needs no idea at all",
        )
    if text is None and text_file is not None:
        text = _read(text_file)
    if text is not None:
        return Asked(text, _fitting(method or "lettering", "text", "--text"), _slug(text))
    if pattern is not None:
        if method is not None:
            raise InputError(
                "--as does not go with --pattern", hint="settings stand after its name, as in wheels:seed=3"
            )
        return Asked("", _fitting(pattern, "nothing", "--pattern"), _slug(pattern.replace("seed=", "")))
    file = source or ""
    if method is not None and _takes(method) == "nothing":
        raise InputError(f"--as {method} makes a pattern of nothing", hint=f"draw it with --pattern {method}")
    # A text may stand where a file does, for those who write --as lettering first.
    name = _slug(file) if method is not None and _takes(method) == "text" else Path(file).name
    return Asked(file, method, name)


def _takes(method: str) -> str:
    from linewright.sources import methods

    return methods.method(method.partition(":")[0].strip()).takes


def _fitting(method: str, takes: str, option: str) -> str:
    """The method, if it takes this."""
    found = _takes(method)
    if found != takes:
        what = "makes a pattern of nothing" if found == "nothing" else f"takes a {found}"
        raise InputError(
            f"{option} does not go with {method}, which {what}", hint="`linewright methods` lists what there is"
        )
    return method


def _read(name: str) -> str:
    """A text file, or the standard input."""
    try:
        if name == "-":
            data = sys.stdin.buffer.read(LONGEST_FILE + 1)
        else:
            with Path(name).open("rb") as file:
                data = file.read(LONGEST_FILE + 1)
    except OSError as error:
        raise SourceError(
            f"cannot be read: {error.strerror}", where=name, hint="check the name and the rights"
        ) from error
    if len(data) > LONGEST_FILE:
        raise SourceError(
            f"the text has more than {LONGEST_FILE:,} bytes, the limit", where=name, hint="draw it in several parts"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SourceError(
            f"byte {error.start} is not UTF-8 text",
            where=name,
            hint="save the text as UTF-8; a picture is named without --text-file",
        ) from error


def _slug(words: str) -> str:
    """A name for files: the first words, small, with hyphens."""
    return re.sub(r"[\W_]+", "-", words.lower())[:40].strip("-") or "text"
