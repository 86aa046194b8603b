"""`PenBox`: the user's pens, kept in a file, and the selection of pens per item."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from linewright.drawing.strokes import Pen
from linewright.errors import InputError
from linewright.files import replacing
from linewright.planning.arrangement import Arrangement, Item
from linewright.sources.pens import read_pens

BOX: Final = "pens.toml"
CHOICES: Final = "pens"
"""Folder of pen selections; each is named by its content, so old ones stay valid."""

FIRST: Final = (Pen("black", "#000000"),)

FIGURES: Final = ("width_mm", "speed_mm_s", "up_us", "down_us")


class PenBox:
    """The available pens.

    Parameters
    ----------
    folder : of the sheet's file; the selections are in a subfolder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.trouble = ""
        self.pens: tuple[Pen, ...] = FIRST
        if (folder / BOX).exists():
            try:
                self.pens = read_pens(str(folder / BOX))
            except InputError as error:
                self.trouble = f"{error}; the box begins with one pen again"

    def values(self) -> list[dict[str, Any]]:
        """The pens as page values."""
        return [plain(pen) for pen in self.pens]

    def replaced(self, said: list[dict[str, Any]], arrangement: Arrangement) -> Arrangement:
        """Replace the pens; returns the arrangement with its items' selections updated.

        Raises
        ------
        InputError : a value is out of range, or two pens have the same name; the box is unchanged.
        """
        chosen = {item.id: self.names(item.pens) for item in arrangement.items}
        before, self.pens = self.pens, self._kept(self._folder / BOX, said)
        now = {pen.name: pen.name for pen in self.pens}
        if len(before) == len(self.pens):  # a pen may have been renamed
            now |= {old.name: new.name for old, new in zip(before, self.pens, strict=True)}
        items = tuple(
            self.still_chosen(
                replace(
                    item,
                    pens=self.choice([now[name] for name in names if name in now] or None),
                    pen_for=tuple((ink, now[name]) for ink, name in item.pen_for if name in now),
                )
            )
            if (names := chosen[item.id]) is not None
            else item
            for item in arrangement.items
        )
        return replace(arrangement, items=items)

    def still_chosen(self, item: Item) -> Item:
        """The item, with its pens by colour or layer limited to its selection."""
        names = self.names(item.pens) or []
        return replace(item, pen_for=tuple((ink, name) for ink, name in item.pen_for if name in names))

    def choice(self, names: list[str] | None) -> str | None:
        """Value of an item's ``pens`` field for some of the pens; None: the pens of its picture.

        Raises
        ------
        InputError : unknown pen.
        """
        if names is None:
            return None
        box = {pen.name: pen for pen in self.pens}
        missing = [name for name in names if name not in box]
        if missing or not names:
            raise InputError(f"there is no pen {(missing or [''])[0]!r}", hint=f"there are {', '.join(box)}")
        text = _text([plain(box[name]) for name in names])
        inside = Path(CHOICES) / f"{hashlib.sha256(text.encode()).hexdigest()[:16]}.toml"
        path = self._folder / inside
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            with replacing(path) as stream:
                stream.write(text.encode())
        return inside.as_posix()

    def names(self, said: str | None) -> list[str] | None:
        """Names of the pens in an item's ``pens`` field."""
        if said is None:
            return None
        try:
            words = str(self._folder / said) if said.endswith(".toml") else said
            return [pen.name for pen in read_pens(words)]
        except InputError:
            return None

    def _kept(self, path: Path, said: list[dict[str, Any]]) -> tuple[Pen, ...]:
        """Write a box, read it back as a command would, and accept it only then."""
        trial = path.with_name(f".{path.stem}-new.toml")
        try:
            trial.write_text(_text(said), encoding="utf-8")
            found = read_pens(str(trial))
            trial.replace(path)
        except InputError as error:
            error.args = (str(error).replace(str(trial), "the box"),)
            raise
        except OSError as error:
            raise InputError(f"the pens cannot be kept: {error.strerror or error}") from error
        finally:
            trial.unlink(missing_ok=True)
        return found


def plain(pen: Pen) -> dict[str, Any]:
    """A pen as a page value."""
    return {"name": pen.name, "colour": pen.colour, **{key: getattr(pen, key) for key in FIGURES}}


def _text(said: list[dict[str, Any]]) -> str:
    import tomlkit

    document: Any = tomlkit.document()
    pens: Any = tomlkit.aot()
    for one in said:
        table: Any = tomlkit.table()
        table.update({key: value for key, value in one.items() if value is not None})
        pens.append(table)
    document.append("pen", pens)
    text: str = tomlkit.dumps(document)
    return text
