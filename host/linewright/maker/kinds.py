"""File types recognised by their first bytes; the type that a maker states is not used."""

from __future__ import annotations

import re
from typing import Final

_HEADS: Final = (
    (b"\x89PNG\r\n\x1a\n", ".png"),
    (b"\xff\xd8\xff", ".jpg"),
    (b"GIF8", ".gif"),
    (b"II*\0", ".tif"),
    (b"MM\0*", ".tif"),
    (b"BM", ".bmp"),
    (b"\x1f\x8b", ".svgz"),
)

_SVG: Final = re.compile(
    rb"\A\s*(<\?xml[^>]*>\s*|<!--.*?-->\s*|<!DOCTYPE[^>\[]*(\[.*?\])?[^>]*>\s*)*<([\w.-]+:)?svg[\s>/]", re.DOTALL
)


def suffix_of(data: bytes) -> str | None:
    r"""Suffix of the picture file that these bytes are; None if they are no picture of a known format.

    Examples
    --------
    >>> suffix_of(b"\x89PNG\r\n\x1a\n....")
    '.png'
    >>> suffix_of(b"<!doctype html><p>sorry") is None
    True
    """
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return ".webp"
    for head, suffix in _HEADS:
        if data.startswith(head):
            return suffix
    return ".svg" if _SVG.match(data[:65_536].removeprefix(b"\xef\xbb\xbf")) else None


def described(data: bytes) -> str:
    """Short description of bytes that are no picture, for a message: the start of a text, or their number."""
    if not data:
        return "nothing at all"
    begin = data[:400].removeprefix(b"\xef\xbb\xbf")
    try:
        text = begin.decode("utf-8", "strict" if len(data) <= 400 else "ignore")
    except UnicodeDecodeError:
        return f"{len(data):,} bytes that are no picture"
    if not all(character.isprintable() or character.isspace() for character in text):
        return f"{len(data):,} bytes that are no picture"
    short = " ".join(text.split())[:160]
    return f"a text: {short!r}"
