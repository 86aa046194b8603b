"""Sets of pens, given on the command line or in a file.

On the command line ``black, sea #1f6f8b 0.3, red 0.7mm``: pens separated by commas, each with a colour (a CSS name or
``#rrggbb``), optionally preceded by a name and followed by its line width. In a TOML file one ``[[pen]]`` each, with
``name``, ``colour`` and optionally ``width_mm``, ``speed_mm_s``, ``up_us``, ``down_us``, ``offset_mm`` (of its tip from
the first pen's, [x, y]) and ``ink_m``, after which it needs ink.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from linewright.drawing.strokes import Pen
from linewright.errors import InputError
from linewright.files import opened
from linewright.rig.toml_lines import read_toml

PENS_HIGH: Final = 24
"""Most pens: a large box of fineliners; each is changed by hand."""

WIDTH_LOW_MM: Final = 0.05
WIDTH_HIGH_MM: Final = 30.0
"""As in the rig file: hair line to broad brush."""

FILE_HIGH_BYTES: Final = 65_536

OFFSET_HIGH_MM: Final = 20.0
"""Largest tip offset."""

BOUNDS: Final[dict[str, tuple[float, float]]] = {
    "width_mm": (WIDTH_LOW_MM, WIDTH_HIGH_MM),
    "speed_mm_s": (0.5, 2000.0),
    "up_us": (500.0, 2500.0),
    "down_us": (500.0, 2500.0),
    "ink_m": (0.01, 100_000.0),
}
"""Ranges of a pen's figures; the first four as in the rig file. A brush is dipped every few centimetres; no pen draws
100 km."""

_WIDTH: Final = re.compile(r"([0-9]*\.?[0-9]+)\s*(mm)?")


def read_pens(words: str) -> tuple[Pen, ...]:
    """The pens of a ``.toml`` file, or those given in the text itself.

    Raises
    ------
    InputError
        The file cannot be read, a colour or width is invalid, or two pens have the same name.

    Examples
    --------
    >>> [(pen.name, pen.colour, pen.width_mm) for pen in read_pens("black, sea #1f6f8b 0.3")]
    [('black', '#000000', None), ('sea', '#1f6f8b', 0.3)]
    """
    if words.strip().lower().endswith(".toml"):
        pens = _of_file(Path(words.strip()))
    else:
        pens = tuple(_of_words(part.split(), words) for part in words.split(",") if part.strip())
    if not 1 <= len(pens) <= PENS_HIGH:
        raise InputError(f"{len(pens)} pens in {words!r}: there must be 1 to {PENS_HIGH}", hint=_HINT)
    names = [pen.name for pen in pens]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InputError(f"two pens are called {twice!r}", hint="give each pen its own name before its colour")
    return pens


_HINT: Final = 'write them as "black, sea #1f6f8b 0.3, red 0.7", or name a .toml file with one [[pen]] each'


def _of_words(words: list[str], whole: str) -> Pen:
    width = None
    if len(words) > 1 and (match := _WIDTH.fullmatch(words[-1])):
        width, words = float(match[1]), words[:-1]
    elif len(words) > 2 and words[-1] == "mm" and (match := _WIDTH.fullmatch(words[-2])):
        width, words = float(match[1]), words[:-2]
    return _pen(" ".join(words[:-1]) or words[-1], words[-1], width, f"--pens {whole!r}")


def _of_file(path: Path) -> tuple[Pen, ...]:
    try:
        with opened(path) as stream:
            data = stream.read(FILE_HIGH_BYTES + 1)
        if len(data) > FILE_HIGH_BYTES:
            raise InputError(f"{path} is larger than {FILE_HIGH_BYTES} bytes, the limit for a list of pens", hint=_HINT)
        table = read_toml(data.decode("utf-8-sig"))
    except OSError as error:
        raise InputError(f"cannot read the pens of {path}: {error.strerror or error}", hint=_HINT) from None
    except ValueError as error:  # includes UnicodeDecodeError
        raise InputError(f"{path} is not valid TOML: {error}", hint=_HINT) from None
    listed = table.get("pen")
    if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
        raise InputError(f"{path} has no [[pen]] in it", hint=_HINT)
    return tuple(_of_table(one, f"{path}: pen {number}") for number, one in enumerate(listed, 1))


def _of_table(one: dict[str, Any], where: str) -> Pen:
    unknown = set(one) - {"name", "colour", *BOUNDS, "offset_mm"}
    if unknown:
        keys = ", ".join(("name", "colour", *BOUNDS, "offset_mm"))
        raise InputError(f"{where}: {sorted(unknown)[0]} is not known", hint=f"a pen has {keys}")
    colour = one.get("colour")
    if not isinstance(colour, str):
        raise InputError(f"{where} has no colour", hint='such as colour = "#1f6f8b"')
    figures = {key: _figure(one[key], key, where) for key in BOUNDS if key in one}
    offset = one.get("offset_mm", [0.0, 0.0])
    if not isinstance(offset, list) or len(offset) != 2:
        raise InputError(f"{where}: offset_mm = {offset!r} is no pair", hint="such as offset_mm = [-0.4, 0.2]")
    x, y = (_figure(value, "offset_mm", where, (-OFFSET_HIGH_MM, OFFSET_HIGH_MM)) for value in offset)
    pen = _pen(str(one.get("name", colour)), colour, figures.get("width_mm"), where)
    ink = figures.get("ink_m")
    return replace(
        pen,
        speed_mm_s=figures.get("speed_mm_s"),
        up_us=_whole(figures.get("up_us")),
        down_us=_whole(figures.get("down_us")),
        offset_mm=(x, y),
        ink_mm=None if ink is None else 1000.0 * ink,
    )


def _figure(value: object, key: str, where: str, bounds: tuple[float, float] | None = None) -> float:
    low, high = bounds or BOUNDS[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{where}: {key} = {value!r} is not a number", hint=f"from {low:g} to {high:g}")
    if not low <= value <= high:
        raise InputError(f"{where}: {key} = {value:g} is outside {low:g}..{high:g}", hint="measure it on the pen")
    return float(value)


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)


def _pen(name: str, colour: str, width: float | None, where: str) -> Pen:
    from PIL import ImageColor

    try:
        red, green, blue = ImageColor.getrgb(colour)[:3]
    except ValueError:
        raise InputError(f"{where}: {colour!r} is no colour", hint="take a CSS name such as teal, or #rrggbb") from None
    if width is not None and not WIDTH_LOW_MM <= width <= WIDTH_HIGH_MM:
        raise InputError(
            f"{where}: a line of {width:g} mm is outside {WIDTH_LOW_MM:g}..{WIDTH_HIGH_MM:g} mm",
            hint="measure a line that the pen has drawn",
        )
    return Pen(name, f"#{red:02x}{green:02x}{blue:02x}", width)
