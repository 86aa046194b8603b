"""The user's own things: SVG files with a few named points, kept in a folder."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely

from linewright.errors import InputError, SourceError
from linewright.files import read_bounded, replacing
from linewright.folders import config_folder
from linewright.sources.words.art import Anchor, Art, Shape, scale, shift
from linewright.sources.words.store.entry import Thing

SUFFIX: Final = ".thing.json"
PLACES: Final = {
    "top": "where a hat sits", "eyes": "where glasses sit", "neck": "where a scarf goes", "mouth": "where it eats and blows",
    "hand": "where it holds things", "seat": "where others sit or stand on it", "in": "where others are inside it",
    "grip": "where a hand takes it", "feet": "what it stands on", "back": "where a backpack goes",
}  # fmt: skip
"""Points that may be named, with their meanings."""

_FILE_HIGH: Final = 4_000_000
_POINTS_HIGH: Final = 40_000
_NAME: Final = re.compile(r"[a-z][a-z' -]{0,38}[a-z]")


def folder() -> Path:
    """Folder of the user's things; it may not exist yet."""
    return config_folder() / "words"


def plain_name(name: str) -> str:
    """A name in its stored form: lower case, single spaces."""
    return " ".join(name.lower().split())


def add(
    file: Path,
    name: str,
    places: Mapping[str, tuple[float, float]],
    *,
    size: float = 0.6,
    living: bool = False,
    replace: bool = False,
) -> Path:
    """Store the lines of an SVG as a thing.

    Parameters
    ----------
    file : an SVG.
    name : what it is called, in the singular.
    places : named points, in mm of the SVG from its top left corner; see `PLACES`.
    size : its height relative to an adult's.
    living : it can do things.
    replace : whether to overwrite a thing of this name.

    Raises
    ------
    InputError, SourceError
        If the name or a point is invalid, the name is taken, or the file cannot be read; nothing is written then.
    """
    from linewright.sources.svg import read_svg

    word = plain_name(name)
    if not _NAME.fullmatch(word):
        raise InputError(
            f"{name!r} is no name for a thing", hint='take a word or two in small letters, such as "sea chest"'
        )
    path = folder() / f"{word.replace(' ', '-').replace(chr(39), '')}{SUFFIX}"
    if path.exists() and not replace:
        raise InputError(
            f"you have a thing called {word!r} already, {path}",
            hint="take another name, or --replace to draw the new one from now on",
        )
    unknown = sorted(set(places) - set(PLACES))
    if unknown:
        listed = ", ".join(f"{key} ({meaning})" for key, meaning in PLACES.items())
        raise InputError(f"there is no place called {unknown[0]!r}", hint=f"there are {listed}")
    if not 0.05 <= size <= 3.0:
        raise InputError(
            f"a size of {size:g} is outside 0.05..3", hint="1 is the height of a grown person on the paper"
        )
    picture = read_svg(file)
    strokes = [stroke for stroke in picture.drawing if len(stroke) > 1]
    if not strokes:
        raise SourceError("there are no lines in it", where=str(file), hint="draw the thing with strokes")
    points = sum(len(stroke) for stroke in strokes)
    if points > _POINTS_HIGH:
        raise SourceError(
            f"it has {points:,} points, the limit for a thing is {_POINTS_HIGH:,}", where=str(file), hint="simplify it"
        )
    low = np.vstack(strokes).min(axis=0)
    high = np.vstack(strokes).max(axis=0)
    outside = next(
        (n for n, p in places.items() if not (low - 50 <= np.array(p)).all() or not (np.array(p) <= high + 50).all()),
        None,
    )
    if outside is not None:
        raise InputError(
            f"the point {outside} at {places[outside][0]:g},{places[outside][1]:g} mm is far from the drawing, which "
            f"lies between {low[0]:.0f},{low[1]:.0f} and {high[0]:.0f},{high[1]:.0f} mm",
            hint="points are mm from the top left corner of the SVG",
        )
    kept = {
        "name": word, "size": size, "living": living,
        "places": {key: [float(x), float(y)] for key, (x, y) in places.items()},
        "strokes": [np.round(stroke, 3).tolist() for stroke in strokes],
    }  # fmt: skip
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with replacing(path) as stream:
            stream.write(json.dumps(kept).encode())
    except OSError as error:
        raise InputError(
            f"cannot write {path}: {error.strerror or error}", hint="check the folder and its permissions"
        ) from error
    return path


def load() -> tuple[dict[str, Thing], list[str]]:
    """The user's things by name, and error messages for unreadable files, which are skipped."""
    found: dict[str, Thing] = {}
    wrong: list[str] = []
    for path in sorted(folder().glob(f"*{SUFFIX}")) if folder().is_dir() else ():
        try:
            thing = read_thing(path)
            found[thing.name] = thing
        except InputError as error:
            wrong.append(str(error))
    return found, wrong


def read_thing(path: Path) -> Thing:
    """Load a thing from a file.

    Raises
    ------
    InputError
        If the file cannot be read, or was not written by `add`.
    """
    try:
        return _thing(json.loads(read_bounded(path, _FILE_HIGH)))
    except (
        OSError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError, shapely.errors.ShapelyError,
    ) as error:  # fmt: skip
        raise InputError(
            f"{path} is left out: it is no thing that `linewright words add` has written ({error})"
        ) from error


def _thing(kept: dict[str, Any]) -> Thing:
    strokes = [np.array(stroke, dtype=np.float64) for stroke in kept["strokes"]]
    whole = np.vstack(strokes)
    if whole.shape[1] != 2 or not np.isfinite(whole).all():
        raise ValueError("its strokes are damaged")
    (x0, y0), (x1, y1) = whole.min(axis=0), whole.max(axis=0)
    k = 100.0 / max(x1 - x0, y1 - y0, 1e-6)
    steps = (shift(-(x0 + x1) / 2, -y1), scale(k, -k))
    shapes = []
    for stroke in strokes:
        closed = len(stroke) > 3 and np.hypot(*(stroke[0] - stroke[-1])) < 0.02 * max(x1 - x0, y1 - y0)
        area = shapely.make_valid(shapely.polygons(stroke)) if closed else None
        shapes.append(Shape((stroke,), area))
    outer = shapely.polygons(shapely.get_coordinates(shapely.concave_hull(shapely.multipoints(whole), 0.35)))
    hidden = Shape((), outer if outer.is_valid else shapely.make_valid(outer), "main")
    places = {
        str(name): Anchor(float(x), float(y), 0.25 * float(max(x1 - x0, y1 - y0)))
        for name, (x, y) in kept["places"].items()
    }
    art = Art((hidden, *shapes), places).moved(*steps)
    can = frozenset({"acts"} if kept["living"] else set()) | ({"carries"} if "seat" in places else set())
    can |= {"contains"} if "in" in places else set()
    from linewright.sources.words.script import ready

    return Thing(str(kept["name"]), (), float(kept["size"]), "your own", ready(art), can=frozenset(can))
