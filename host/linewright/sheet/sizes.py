"""Paper sizes, standard and free, and margins."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from linewright import units
from linewright.drawing.crop import Box
from linewright.errors import SheetError

LOW_MM: Final = 5.0
HIGH_MM: Final = 10_000.0
"""Sides of a sheet: a price tag to a roll of wallpaper."""

_FREE: Final = re.compile(r"([0-9.]+)\s*([A-Za-z]*?)\s*[xX\u00d7]\s*([0-9.]+)\s*([A-Za-z]*)")


def iso_a_mm(n: int) -> tuple[int, int]:
    """Width and height of ISO 216 A``n``, upright, whole mm.

    A0 has 1 m^2 and sides in the ratio 1 : sqrt(2), so 2^(-1/4) m by 2^(1/4) m; the next size halves the longer side.
    ISO 216 rounds down to whole millimetres at each halving.
    """
    width, height = round(1000 * 2**-0.25), round(1000 * 2**0.25)
    for _ in range(n):
        width, height = height // 2, width
    return width, height


NAMED_MM: Final[dict[str, tuple[float, float]]] = {
    **{f"A{n}": iso_a_mm(n) for n in range(7)},
    # ANSI/ASME Y14.1 size A, and the longer office sheet of the same width; exact inches.
    "letter": (units.inches_to_mm(8.5), units.inches_to_mm(11)),
    "legal": (units.inches_to_mm(8.5), units.inches_to_mm(14)),
}


@dataclass(frozen=True)
class Sheet:
    """A sheet of paper and the margin that stays clear all round.

    Parameters
    ----------
    width_mm, height_mm : as the sheet lies on the machine, x to the right and y down.
    margin_mm : kept clear on all four sides.
    name : what the user calls it.

    Raises
    ------
    SheetError
        If a side is outside 5..10 000 mm, or the margins leave no room.
    """

    width_mm: float
    height_mm: float
    margin_mm: float = 0.0
    name: str = "free"

    def __post_init__(self) -> None:
        for side, value in (("width", self.width_mm), ("height", self.height_mm)):
            if not LOW_MM <= value <= HIGH_MM:
                raise SheetError(
                    f"a sheet {side} of {value:g} mm is outside {LOW_MM:g}..{HIGH_MM:g} mm",
                    hint="write width and height with their unit, such as 210x297mm",
                )
        room_mm = min(self.width_mm, self.height_mm) / 2
        if not 0 <= self.margin_mm < room_mm:
            raise SheetError(
                f"a margin of {self.margin_mm:g} mm is outside 0..{room_mm:g} mm ({room_mm:g} excluded) for the "
                f"{self.name} sheet of {self.width_mm:g} x {self.height_mm:g} mm",
                hint="take a smaller margin or a larger sheet",
            )

    @classmethod
    def named(cls, name: str, *, landscape: bool | None = None, margin_mm: float = 0.0) -> Sheet:
        """A sheet by its size name.

        Parameters
        ----------
        name : ``A0``..``A6`` (ISO 216), ``letter``, ``legal`` (ANSI), or a free size such as ``210x297``, ``21x29.7cm``
            or ``8x10in``; with ``landscape`` or ``portrait`` after it, the longer or shorter side lies across.
        landscape : as the word; ``None``: as the word says, otherwise as the size is written.

        Raises
        ------
        SheetError
            If the name is not known or the size is none.

        Examples
        --------
        >>> Sheet.named("A4 landscape", margin_mm=10)
        Sheet(width_mm=297, height_mm=210, margin_mm=10, name='A4 landscape')
        """
        words = name.split()
        for word in ("landscape", "portrait"):
            if words[1:] and words[-1].lower() == word:
                words.pop()
                landscape = (word == "landscape") if landscape is None else landscape
        plain = " ".join(words)
        width, height = _size_mm(plain)
        if landscape is not None:
            short, long = sorted((width, height))
            width, height = (long, short) if landscape else (short, long)
        return cls(width, height, margin_mm, f"{plain} landscape" if landscape else plain)

    @property
    def box_mm(self) -> Box:
        """The sheet without its margins, in sheet coordinates."""
        m = self.margin_mm
        return (m, m, self.width_mm - m, self.height_mm - m)


def _size_mm(name: str) -> tuple[float, float]:
    for known, size in NAMED_MM.items():
        if name.lower() == known.lower():
            return size
    if match := _FREE.fullmatch(name):
        second = match[4] or match[2] or "mm"
        try:
            return units.length_mm(match[1], unit=match[2] or second), units.length_mm(match[3], unit=second)
        except ValueError as error:
            raise SheetError(f"sheet size {name!r}: {error}") from error
    raise SheetError(
        f"there is no sheet size {name!r}",
        hint=f"take one of {', '.join(NAMED_MM)}, or a free size such as 210x297mm or 8x10in",
    )
