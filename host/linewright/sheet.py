"""Sheets of paper."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from linewright import units
from linewright.errors import SheetError

_FREE: Final = re.compile(r"\s*([0-9.]+)\s*([A-Za-z]*)\s*[xX\u00d7]\s*([0-9.]+)\s*([A-Za-z]*)\s*")


def iso_a_mm(n: int) -> tuple[int, int]:
    """Width and height of ISO 216 A``n``, upright, whole mm.

    A0 is 1 m^2 with sides in the ratio 1 : sqrt(2), so 2^(-1/4) m by 2^(1/4) m; each next size halves the longer
    side. ISO 216 rounds down to whole millimetres after each halving of the rounded size.
    """
    width, height = round(1000 * 2**-0.25), round(1000 * 2**0.25)
    for _ in range(n):
        width, height = height // 2, width
    return width, height


NAMED_MM: Final[dict[str, tuple[float, float]]] = {
    **{f"A{n}": iso_a_mm(n) for n in range(7)},
    # ANSI/ASME Y14.1 size A, and the office size of the same width; exact inches.
    "letter": (units.inches_to_mm(8.5), units.inches_to_mm(11)),
    "legal": (units.inches_to_mm(8.5), units.inches_to_mm(14)),
}

LOW_MM: Final = 5.0
HIGH_MM: Final = 10_000.0


@dataclass(frozen=True)
class Sheet:
    """A sheet of paper: its size, and the margin that stays clear all round."""

    width_mm: float
    height_mm: float
    margin_mm: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        for side, value in (("width", self.width_mm), ("height", self.height_mm)):
            if not LOW_MM <= value <= HIGH_MM:
                raise SheetError(f"sheet {side} {value:g} mm is outside {LOW_MM:g}..{HIGH_MM:g} mm")
        room_mm = min(self.width_mm, self.height_mm) / 2
        if not 0 <= self.margin_mm < room_mm:
            raise SheetError(f"margin {self.margin_mm:g} mm must be at least 0 and below {room_mm:g} mm")

    @classmethod
    def named(cls, name: str, *, landscape: bool = False, margin_mm: float = 0.0) -> Sheet:
        """A sheet by name."""
        words = name.split()
        turned = landscape or words[-1:] == ["landscape"]
        plain = " ".join(w for w in words if w not in ("landscape", "portrait"))
        known = {k.lower(): v for k, v in NAMED_MM.items()}
        if plain.lower() in known:
            width, height = known[plain.lower()]
        elif match := _FREE.fullmatch(plain):
            try:
                unit = match[4] or match[2] or "mm"
                width = units.length_mm(match[1] + (match[2] or unit))
                height = units.length_mm(match[3] + unit)
            except ValueError as error:
                raise SheetError(f"sheet size {name!r}: {error}") from error
        else:
            raise SheetError(f"unknown sheet size {name!r}", hint=f"known: {', '.join(NAMED_MM)}, or 210x297mm")
        if turned and width < height:
            width, height = height, width
        return cls(width, height, margin_mm, name)
