"""On which line of a TOML text each key stands, so that a message can point there.

``tomllib`` gives values without places. This scanner reads only as much TOML as it takes to find keys: table
headers, ``key = value`` at the start of a line, and where a multi-line string or array ends. It is run on texts
that ``tomllib`` has accepted, so it need not judge them; keys inside inline tables take the line of their table.
"""

from __future__ import annotations

import re
from typing import Final

Places = dict[tuple[str, ...], int]

_KEY_PART = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_KEY = rf"{_KEY_PART}(?:[ \t]*\.[ \t]*{_KEY_PART})*"
_HEADER: Final = re.compile(rf"[ \t]*\[\[?[ \t]*({_KEY})[ \t]*\]")
_ENTRY: Final = re.compile(rf"[ \t]*({_KEY})[ \t]*=")
_PART: Final = re.compile(_KEY_PART)
# What can follow in a value, longest first: multi-line quotes, one-line strings, comments, brackets.
_TOKEN: Final = re.compile(r'''"""|\'\'\'|"(?:[^"\\n]|\\.)*"|'[^'\n]*'|\#[^\n]*|[\[\]{}]''')


def _parts(key: str) -> tuple[str, ...]:
    return tuple(part[0].strip("\"'") for part in _PART.finditer(key))


def _skip_value(text: str, at: int) -> int:
    """Index of the end of the line on which the value that starts at ``at`` ends."""
    depth = 0
    while True:
        line_end = text.find("\n", at)
        line_end = len(text) if line_end < 0 else line_end
        token = _TOKEN.search(text, at, line_end)
        if token is None:
            if depth <= 0 or line_end == len(text):
                return line_end
            at = line_end + 1
            continue
        at = token.end()
        if token[0] in ('"""', "'''"):
            closing = text.find(token[0], at)
            if closing < 0:
                return len(text)
            at = closing + 3
        elif token[0] in "[{":
            depth += 1
        elif token[0] in "]}":
            depth -= 1


def find_places(text: str) -> Places:
    r"""Line (from 1) of every table header and key.

    Parameters
    ----------
    text : a TOML document.

    Returns
    -------
    dict from key path, such as ``("axis", "x", "travel_mm")``, to line number

    Examples
    --------
    >>> find_places("name = 'a'\n[axis.x]\ntravel_mm = 3\n")[("axis", "x", "travel_mm")]
    3
    >>> find_places("")
    {}
    """
    places: Places = {}
    table: tuple[str, ...] = ()
    at, line = 0, 1
    while at < len(text):
        start = at
        if header := _HEADER.match(text, at):
            table = _parts(header[1])
            places.setdefault(table, line)
            at = header.end()
        elif entry := _ENTRY.match(text, at):
            path = (*table, *_parts(entry[1]))
            for depth in range(len(table) + 1, len(path) + 1):
                places.setdefault(path[:depth], line)
            at = _skip_value(text, entry.end())
        line_end = text.find("\n", at)
        at = len(text) if line_end < 0 else line_end + 1
        line += text.count("\n", start, at)
    return places


def line_of(places: Places, path: tuple[str, ...]) -> int | None:
    """Line of a key, else of the nearest table around it, else ``None``."""
    for depth in range(len(path), 0, -1):
        if path[:depth] in places:
            return places[path[:depth]]
    return None
