"""Line numbers of the keys of a TOML text, for messages.

``tomllib`` returns values without positions. tomlkit keeps all text between the values, so the line of a key is the
number of line ends in the text before it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tomlkit.container import Container
    from tomlkit.items import Item

Places = dict[tuple[str, ...], int]


def read_toml(text: str) -> dict[str, Any]:
    """The values of a TOML document.

    Raises
    ------
    ValueError : the text is not TOML, is nested too deeply, or has a number with more digits than Python reads.

    Examples
    --------
    >>> read_toml("name = 'a'")
    {'name': 'a'}
    >>> read_toml("steps = " + "9" * 6000)
    Traceback (most recent call last):
    ValueError: a number has too many digits
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except RecursionError:
        raise ValueError("nested too deeply") from None
    except ValueError:  # from `int`, with advice that does not suit users
        raise ValueError("a number has too many digits") from None


def find_places(text: str) -> Places:
    r"""Line (from 1) of every table header and key.

    Parameters
    ----------
    text : a TOML document that ``tomllib`` accepts; keys inside inline tables take the line of their table.

    Returns
    -------
    dict from key path, such as ``("axis", "x", "travel_mm")``, to line number. For arrays of tables, the path contains
        the index from 0: ``("item", "0", "id")``.

    Examples
    --------
    >>> find_places("name = 'a'\n[axis.x]\ntravel_mm = 3\n")[("axis", "x", "travel_mm")]
    3
    >>> find_places('name = "Anna [2"\nboard = "virtual"\n')[("board",)]
    2
    >>> find_places("[[item]]\n[[item]]\nid = 'a'\n")[("item", "1", "id")]
    3
    >>> find_places("")
    {}
    """
    import tomlkit  # slow to import, and needed only for messages

    places: Places = {(): 1}
    line = 1
    for path, written in _pieces(tomlkit.parse(text), (), {}):
        places.setdefault(path, line)
        line += written.count("\n")
    del places[()]
    return places


def _pieces(
    container: Container, above: tuple[str, ...], counts: dict[tuple[str, ...], int]
) -> Iterator[tuple[tuple[str, ...], str]]:
    """The text in pieces: path of the key (empty for comments) and text."""
    from tomlkit.items import AoT, Table

    for key, item in container.body:
        if key is None:
            yield (), item.as_string()
            continue
        path = (*above, key.key)
        named: list[tuple[tuple[str, ...], Item]] = [(path, item)]
        if isinstance(item, AoT):
            yield path, ""
            # The tables of an array may be separated by others.
            first = counts.get(path, 0)
            counts[path] = first + len(item.body)
            named = [((*path, str(first + number)), part) for number, part in enumerate(item.body)]
        for path, part in named:
            if not isinstance(part, Table):
                space = part.trivia
                yield path, space.indent + part.as_string() + space.comment_ws + space.comment + space.trail
                continue
            space = part.trivia
            if not part.is_super_table():
                yield path, space.indent + space.comment_ws + space.comment + space.trail
            elif key.is_dotted():
                yield path, ""
            yield from _pieces(part.value, path, counts)


def line_of(places: Places, path: tuple[str, ...]) -> int | None:
    """Line of a key, else of the nearest table around it, else ``None``."""
    for depth in range(len(path), 0, -1):
        if path[:depth] in places:
            return places[path[:depth]]
    return None
