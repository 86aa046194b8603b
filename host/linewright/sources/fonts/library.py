"""`Library`: the available font files by family and style; selection by style or by character."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.errors import InputError
from linewright.files import is_there, opened

if TYPE_CHECKING:
    from linewright.sources.fonts.face import FontFace

ENDINGS: Final = (".ttf", ".otf", ".ttc", ".otc")

MOST_FILES: Final = 5000
"""Most font files examined: large collections have some thousands."""

LARGEST_BYTES: Final = 64 * 2**20
"""Largest font file: those with all of Chinese take 20 MB."""

GENERIC: Final = {
    "serif": ("Noto Serif", "DejaVu Serif", "Liberation Serif", "Times New Roman", "Times"),
    "sans-serif": ("Noto Sans", "DejaVu Sans", "Liberation Sans", "Arial", "Helvetica"),
    "monospace": ("Noto Sans Mono", "Noto Mono", "DejaVu Sans Mono", "Liberation Mono", "Courier New"),
}
"""Families for the generic names, the most common ones on free systems first (common practice)."""

_STRETCHES: Final = {
    "ultra-condensed": 1, "extra-condensed": 2, "condensed": 3, "semi-condensed": 4, "normal": 5, "semi-expanded": 6,
    "expanded": 7, "extra-expanded": 8, "ultra-expanded": 9,
}  # fmt: skip
"""``usWidthClass`` of OpenType for the keywords of CSS."""


@dataclass(frozen=True, slots=True)
class FontFile:
    """One face of one file.

    Parameters
    ----------
    families : its names in lower case; the first is shown to users.
    weight : 100 to 900.
    stretch : 1 to 9, 5 is normal.
    """

    path: str
    number: int
    families: tuple[str, ...]
    weight: int
    stretch: int
    slanted: bool
    monospaced: bool


def system_folders() -> tuple[str, ...]:
    """Font folders of this system."""
    home = Path.home()
    if sys.platform == "win32":
        return (str(Path(os.environ.get("WINDIR", "C:\\Windows")) / "Fonts"),)
    if sys.platform == "darwin":
        return ("/System/Library/Fonts", "/Library/Fonts", str(home / "Library/Fonts"))
    return ("/usr/share/fonts", "/usr/local/share/fonts", str(home / ".local/share/fonts"), str(home / ".fonts"))


class Library:
    """The available fonts.

    Parameters
    ----------
    places : font files, folders and families named by the user; they take precedence.

    Raises
    ------
    InputError
        One of the places does not exist, or is no font.
    """

    def __init__(self, places: tuple[str, ...] = ()) -> None:
        self.files: list[FontFile] = []
        self._having: dict[tuple[str, int, bool], FontFile | None] = {}
        system = [file for path in _files_in(system_folders()) for file in _read(path)]
        for place in places:
            if is_there(place):
                found = [file for one in _files_in((place,)) for file in _read(one)]
                if not found:
                    raise _no_font(place)
            else:
                found = [file for file in system if place.lower() in file.families]
                if not found:
                    hint = "name a .ttf or .otf file, a folder of them, or a family of this system"
                    raise InputError(f"there is no font {place!r}", hint=hint)
            self.files += found
        self.own = len(self.files)
        self.files += system

    def matching(self, families: str, weight: int, stretch: str, slanted: bool) -> FontFile | None:
        """The best matching face: the first available family, with the nearest style (CSS Fonts 4, 5.2)."""
        wanted = [name.strip().strip("'\"").lower() for name in families.split(",")]
        for name in [*wanted, "sans-serif"]:
            for one in GENERIC.get(name, (name,)):
                among = [file for file in self.files if one.lower() in file.families]
                if among:
                    return nearest(among, weight, _STRETCHES.get(stretch, 5), slanted)
        return self.files[0] if self.files else None

    def has_any(self, families: str) -> bool:
        """Whether one of the families is available."""
        wanted = [name.strip().strip("'\"").lower() for name in families.split(",")]
        names = [one.lower() for name in wanted for one in GENERIC.get(name, (name,))]
        return any(name in file.families for name in names for file in self.files)

    def having(self, character: str, weight: int, slanted: bool) -> FontFile | None:
        """A face that has a character, nearest in style within the first such family."""
        key = (character, weight, slanted)
        if key not in self._having:
            first = next((file for file in self.files if self.face(file).has(character)), None)
            if first is not None:
                same = [file for file in self.files if file.families[0] == first.families[0]]
                same = [file for file in same if self.face(file).has(character)]
                first = nearest(same, weight, 5, slanted)
            self._having[key] = first
        return self._having[key]

    def face(self, file: FontFile, settings: tuple[tuple[str, float], ...] = ()) -> FontFace:
        """The opened face; ``settings`` : axis values of a variable font."""
        return _opened(file.path, file.number, settings)


def _no_font(place: str) -> InputError:
    """The error for an existing file or folder without a usable font."""
    hint = "name a .ttf or .otf file, or a folder of them"
    if Path(place).is_dir():
        return InputError(f"no font that can be read lies in the folder {place!r}", hint=hint)
    try:
        with opened(place) as file:
            size = os.fstat(file.fileno()).st_size
    except OSError as error:
        return InputError(f"cannot read the font {place!r}: {error.strerror or error}", hint=hint)
    if size > LARGEST_BYTES:
        return InputError(f"the font {place!r} has {size:,} bytes; the limit is {LARGEST_BYTES:,}", hint=hint)
    return InputError(f"{place!r} is no font, or a damaged one", hint=hint)


def nearest(files: list[FontFile], weight: int, stretch: int, slanted: bool) -> FontFile:
    """The file nearest in width, then slant, then weight."""

    def distance(file: FontFile) -> tuple[int, bool, float]:
        apart = file.weight - weight
        # Between 400 and 500 heavier weights are preferred up to 500; below lighter, above heavier ones.
        wrong_way = apart < 0 if weight > 500 else apart > (500 - weight if weight >= 400 else 0)
        return abs(file.stretch - stretch), file.slanted != slanted, abs(apart) + (1000 if wrong_way else 0)

    return min(files, key=distance)


def _files_in(places: tuple[str, ...]) -> Iterator[str]:
    count = 0
    for place in places:
        path = Path(place)
        if path.is_file():
            yield str(path)
            continue
        for folder, _, names in sorted(os.walk(path)):
            for name in sorted(names):
                if name.lower().endswith(ENDINGS):
                    count += 1
                    if count > MOST_FILES:
                        return
                    yield str(Path(folder) / name)


@lru_cache(maxsize=64)
def _opened(path: str, number: int, settings: tuple[tuple[str, float], ...]) -> FontFace:
    """An opened font, cached for later pictures."""
    from linewright.sources.fonts.face import FontFace

    return FontFace(path, number, settings)


@lru_cache(maxsize=MOST_FILES)
def _read(path: str) -> tuple[FontFile, ...]:
    """The faces of a file; empty if it is no font."""
    from fontTools.ttLib import TTCollection, TTFont, TTLibError

    logging.getLogger("fontTools").setLevel(logging.CRITICAL)  # its warnings do not concern the user
    try:
        if Path(path).stat().st_size > LARGEST_BYTES:
            return ()
        with opened(path) as file:
            head = file.read(4)
        if head == b"ttcf":
            with TTCollection(path, lazy=True) as collection:
                return tuple(_described(font, path, number) for number, font in enumerate(collection.fonts))
        if head not in (b"\0\1\0\0", b"OTTO", b"true"):
            return ()
        with TTFont(path, lazy=True) as one:
            return (_described(one, path, 0),)
    except (OSError, TTLibError, ValueError, KeyError, AttributeError, AssertionError, IndexError):
        return ()
    except Exception as problem:
        if type(problem).__module__ in ("struct", "fontTools.misc.sstruct"):
            return ()
        raise


def _described(font: object, path: str, number: int) -> FontFile:
    names = font["name"]  # type: ignore[index]  # fontTools ships no types
    families = []
    for identifier in (16, 1):
        for record in names.names:
            if record.nameID == identifier:
                families.append(record.toUnicode(errors="replace").lower())
    os2 = font.get("OS/2")  # type: ignore[attr-defined]  # fontTools types tables loosely
    weight = 400 if os2 is None else int(os2.usWeightClass)
    slanted = os2 is not None and bool(os2.fsSelection & 0x201)
    stretch = 5 if os2 is None else int(os2.usWidthClass)
    for table in ("hhea", "fvar"):  # read now, so that damaged tables are found before use
        font.get(table)  # type: ignore[attr-defined]  # fontTools types tables loosely
    monospaced = "post" in font and bool(font["post"].isFixedPitch)  # type: ignore[index,operator]  # see above
    unique = tuple(dict.fromkeys(families)) or (Path(path).stem.lower(),)
    return FontFile(path, number, unique, weight, stretch, slanted, monospaced)
