"""Sheets of paper, and how a drawing is put on one: fitted, turned, aligned, repeated, and cut at the margin.

The last two functions a drawing passes before tidying and motion, `place` and `to_machine`, promise that nothing
lies outside the margin box and the machine's reach, not by a rounding error either, and say what that has cost.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from linewright import units
from linewright.clip import Box, Cut, Placed, clip
from linewright.drawing import Drawing, Points
from linewright.errors import SheetError

if TYPE_CHECKING:
    from linewright.rig import Rig

# Clipping belongs to placing for everyone but `clip` itself.
__all__ = [
    "HIGH_MM", "LOW_MM", "NAMED_MM", "Align", "Box", "Cut", "Placed", "Sheet", "clip", "largest_named", "place",
    "to_machine",
]  # fmt: skip

Align = Literal[
    "top-left", "top", "top-right", "left", "centre", "right", "bottom-left", "bottom", "bottom-right"
]  # fmt: skip

LOW_MM: Final = 5.0
HIGH_MM: Final = 10_000.0
"""Sides of a sheet: a price tag to a roll of wallpaper."""

HUGE_MM: Final = 1e12
"""A million kilometres: coordinates beyond it are damage, and would leave a crossing with the margin uncertain by more
than 0.1 mm (float64 carries 1e-16 of the value)."""

POINT_MM: Final = 1e-6
"""A nanometre: a picture smaller than that is a point, and is not blown up to the size of a sheet."""

HAIR_MM: Final = 1e-9
"""A picometre, a thousand times what a sum of lengths up to 10 m is rounded by: a room that ends so much before the
machine's reach still lies in it when it is shifted to where the sheet lies."""

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
        """A sheet by its name.

        Parameters
        ----------
        name : ``A0``..``A6`` (ISO 216), ``letter``, ``legal`` (ANSI), or a free size such as ``210x297``, ``21x29.7cm``
            or ``8x10in``; with ``landscape`` or ``portrait`` after it, the longer or shorter side lies across.
        landscape : the same as the word; ``None`` leaves it to the word, and without one to the size as written.

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

    @classmethod
    def on(
        cls, rig: Rig, name: str | None = None, *, landscape: bool | None = None, margin_mm: float | None = None
    ) -> Sheet:
        """A sheet for this rig: its usual one, or the named one, turned if only that lies within reach.

        A direction that the name or ``landscape`` states is kept, whether it fits or not.
        """
        margin = rig.sheet.margin_mm if margin_mm is None else margin_mm
        wanted = rig.sheet.size if name is None else name
        sheet = cls.named(wanted, landscape=landscape, margin_mm=margin)
        stated = landscape is not None or wanted.lower().endswith(("landscape", "portrait"))
        if stated or sheet.within(rig):
            return sheet
        other = replace(
            sheet,
            width_mm=sheet.height_mm,
            height_mm=sheet.width_mm,
            name=f"{sheet.name} landscape" if sheet.height_mm > sheet.width_mm else f"{sheet.name} portrait",
        )
        return other if other.within(rig) else sheet

    def within(self, rig: Rig) -> bool:
        """Whether the whole sheet lies within the rig's reach."""
        low, high = np.array(rig.known_errors.box_mm).reshape(2, 2)
        begin = np.array(rig.sheet.offset_mm)
        drawn = begin + self.margin_mm  # what a corrected machine cannot reach near its zero may be margin
        return bool(np.all(drawn >= low) and np.all(begin + np.array([self.width_mm, self.height_mm]) <= high))

    @property
    def box_mm(self) -> Box:
        """The sheet without its margins, in sheet coordinates."""
        m = self.margin_mm
        return (m, m, self.width_mm - m, self.height_mm - m)

    def room_mm(self, rig: Rig) -> Box:
        """What can be drawn on: the sheet without its margins and without what the rig cannot reach.

        In sheet coordinates; equal to ``box_mm`` for a sheet that lies within reach.

        Raises
        ------
        SheetError
            If nothing of the sheet can be reached.
        """
        _reached(self, rig)
        begin, end = np.array(self.box_mm).reshape(2, 2)
        near, far = np.array(rig.known_errors.box_mm).reshape(2, 2)
        offset = np.array(rig.sheet.offset_mm, dtype=np.float64)
        # The rim of the sheet's own box is taken as it is; the hair costs only where the reach ends first.
        low = np.where(begin + offset >= near, begin, near - offset + HAIR_MM)
        high = np.where(end + offset <= far, end, far - offset - HAIR_MM)
        return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))


def largest_named(rig: Rig) -> Sheet | None:
    """The standard sheet with the most paper that lies whole within the rig's reach, turned if need be."""
    fitting = [sheet for sheet in (Sheet.on(rig, name, margin_mm=0.0) for name in NAMED_MM) if sheet.within(rig)]
    return max(fitting, key=lambda sheet: sheet.width_mm * sheet.height_mm, default=None)


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


def _refuse_damage(drawing: Drawing) -> None:
    sound = (np.abs(drawing.points_mm) <= HUGE_MM).all(axis=1)  # false for NaN as well
    if sound.all():
        return
    at = int(np.argmin(sound))
    x, y = drawing.points_mm[at]
    raise SheetError(
        f"stroke {drawing.stroke_at(at)} has a point at ({x:g}, {y:g}) mm; "
        f"coordinates must be numbers up to {HUGE_MM:g} mm",
        hint="the picture is damaged, or its units are not what they seem",
    )


# Quarter turns, clockwise as seen (y points down): columns are where x and y go.
_TURNS: Final = {
    0: ((1.0, 0.0), (0.0, 1.0)),
    90: ((0.0, -1.0), (1.0, 0.0)),
    180: ((-1.0, 0.0), (0.0, -1.0)),
    270: ((0.0, 1.0), (-1.0, 0.0)),
}

_SHARES: Final = {"left": 0.0, "top": 0.0, "right": 1.0, "bottom": 1.0}


def place(
    drawing: Drawing,
    picture_size_mm: tuple[float, float] | None,
    sheet: Sheet,
    *,
    room_mm: Box | None = None,
    fit: Literal["fit", "keep"] = "fit",
    turn_deg: int | Literal["auto"] = 0,
    align: Align = "centre",
    copies: tuple[int, int] = (1, 1),
    gap_mm: float = 5.0,
) -> Placed:
    """Put a drawing on a sheet.

    Parameters
    ----------
    drawing : strokes in picture coordinates, mm, origin at the picture's top left corner.
    picture_size_mm : width and height of the picture's page; ``None`` takes the strokes' own extent, so that the ink
        itself is fitted and aligned.
    sheet : its margin box is where the drawing goes.
    room_mm : the part of that box to use, see `Sheet.room_mm`; ``None``: all of it.
    fit : ``"fit"`` scales the page to the room and keeps its proportion; ``"keep"`` keeps its size.
    turn_deg : any multiple of 90, clockwise as seen; ``"auto"`` turns by 90 where that lets the picture be larger
        (fit) or less of it hang over (keep).
    align : where a page that leaves room lies in it.
    copies : columns and rows; every copy gets an equal cell, ``gap_mm`` apart, and stays in it.
    gap_mm : between cells, mm.

    Returns
    -------
    Placed
        In sheet coordinates, mm, within the room exactly; ``.cut`` tells what lay outside. Copies follow each
        other by rows.

    Raises
    ------
    SheetError
        If a coordinate is not a number or beyond a million km, if the turn is no multiple of 90 degrees, or if the
        copies leave no room.
    """
    _refuse_damage(drawing)
    if turn_deg != "auto" and turn_deg % 90:
        raise SheetError(f"a turn of {turn_deg} degrees is not a multiple of 90", hint="take 0, 90, 180, 270 or auto")
    if picture_size_mm is None:
        left, top, right, bottom = drawing.bounds_mm()
    else:
        left, top, (right, bottom) = 0.0, 0.0, picture_size_mm
    size = np.array([right - left, bottom - top])
    if not (np.isfinite(size).all() and (size >= 0).all() and (size <= 2 * HUGE_MM).all()):
        raise SheetError(f"a picture of {size[0]:g} x {size[1]:g} mm cannot be placed on a sheet")

    cells = _cells(sheet.box_mm if room_mm is None else room_mm, copies, gap_mm)
    room = np.array([cells[0][2] - cells[0][0], cells[0][3] - cells[0][1]])
    turn = _auto_turn(size, room, fit) if turn_deg == "auto" else int(turn_deg) % 360
    seen = size[::-1] if turn % 180 else size
    scale = _fit_scale(seen, room) if fit == "fit" else 1.0
    words = align.split("-")
    share = np.array(
        [
            next((_SHARES[w] for w in words if w in ("left", "right")), 0.5),
            next((_SHARES[w] for w in words if w in ("top", "bottom")), 0.5),
        ]
    )
    linear = scale * np.array(_TURNS[turn])
    middle = np.array([(left + right) / 2, (top + bottom) / 2])

    placed = []
    for cell in cells:
        centre = np.array(cell[:2]) + share * (room - scale * seen) + scale * seen / 2
        matrix = np.column_stack((linear, centre - linear @ middle))
        moved = drawing.transformed(matrix)
        placed.append(clip(_settled(moved, cell, scale * seen), cell))
    return _together(placed)


def _settled(drawing: Drawing, cell: Box, seen: Points) -> Drawing:
    """Take back the rounding of the fit: points within it of the rim lie on the rim, so that a frame is not cut."""
    # Scaling and shifting numbers of this size rounds a few times by 2^-53 of them; 16 units cover that generously.
    slack = 16 * np.finfo(float).eps * max(abs(c) for c in (*cell, *seen))
    low, high = np.array(cell[:2]), np.array(cell[2:])
    points = drawing.points_mm
    points = np.where((points < low) & (points >= low - slack), low, points)
    points = np.where((points > high) & (points <= high + slack), high, points)
    return replace(drawing, points_mm=points)


def _fit_scale(size: Points, room: Points) -> float:
    """Largest scale at which ``size`` goes into ``room``; a picture without extent keeps its size."""
    wide = size >= POINT_MM
    scale = float(np.min(np.where(wide, room / np.where(wide, size, 1.0), np.inf)))
    return scale if np.isfinite(scale) else 1.0


def _auto_turn(size: Points, room: Points, fit: str) -> int:
    # A square comes out the same both ways but for rounding, and then stays as it is.
    if fit == "keep":
        over, over_turned = (float(np.maximum(way - room, 0.0).sum()) for way in (size, size[::-1]))
        return 90 if over_turned < over * (1 - 1e-9) else 0
    return 90 if _fit_scale(size[::-1], room) > _fit_scale(size, room) * (1 + 1e-9) else 0


def _cells(box_mm: Box, copies: tuple[int, int], gap_mm: float) -> list[Box]:
    columns, rows = copies
    if not (1 <= columns <= 100 and 1 <= rows <= 100):
        raise SheetError(f"{columns} x {rows} copies: each count must be 1..100")
    x0, y0, x1, y1 = box_mm
    width, height = (x1 - x0 - gap_mm * (columns - 1)) / columns, (y1 - y0 - gap_mm * (rows - 1)) / rows
    if not (gap_mm >= 0 and width > 0 and height > 0):
        raise SheetError(
            f"{columns} x {rows} copies with gaps of {gap_mm:g} mm leave no room in {x1 - x0:g} x {y1 - y0:g} mm",
            hint="take fewer copies, a smaller gap or a larger sheet",
        )
    # The last cell ends at the rim itself, not at a sum that rounding has moved.
    return [
        (
            x0 + c * (width + gap_mm),
            y0 + r * (height + gap_mm),
            x1 if c == columns - 1 else x0 + c * (width + gap_mm) + width,
            y1 if r == rows - 1 else y0 + r * (height + gap_mm) + height,
        )
        for r in range(rows)
        for c in range(columns)
    ]


def _together(parts: Sequence[Placed]) -> Placed:
    whole = Drawing.one_after_the_other(parts)
    return Placed(whole.points_mm, whole.starts, whole.pen, whole.pens, sum((p.cut for p in parts), Cut()))


def to_machine(drawing: Drawing, sheet: Sheet, rig: Rig) -> Placed:
    """From the sheet to the machine: shifted to where the sheet lies, cut at its margin box and at the reach.

    Parameters
    ----------
    drawing : sheet coordinates, mm.
    sheet, rig : the sheet lies with its top left corner at ``rig.sheet.offset_mm``.

    Returns
    -------
    Placed
        Machine coordinates, mm, within 0..travel of both axes exactly; ``.cut`` tells what lay outside.

    Raises
    ------
    SheetError
        If nothing of the sheet can be reached, or a coordinate is not a number.
    """
    _refuse_damage(drawing)
    moved = replace(drawing, points_mm=drawing.points_mm + np.array(rig.sheet.offset_mm))
    return clip(moved, _reached(sheet, rig))


def _reached(sheet: Sheet, rig: Rig) -> Box:
    """The margin box as far as the rig reaches, in machine coordinates."""
    offset = np.array(rig.sheet.offset_mm, dtype=np.float64)
    x0, y0, x1, y1 = sheet.box_mm
    near, far = np.array(rig.known_errors.box_mm).reshape(2, 2)
    # Rounding is monotone, so a point on the rim of the sheet's box lands on the rim of the shifted box.
    low = np.maximum(np.array([x0, y0]) + offset, near)
    high = np.minimum(np.array([x1, y1]) + offset, far)
    if (low > high).any():
        raise SheetError(
            f"the {sheet.name} sheet at ({offset[0]:g}, {offset[1]:g}) mm lies outside the machine's reach of "
            f"{far[0] - near[0]:.6g} x {far[1] - near[1]:.6g} mm",
            hint="correct sheet.offset_mm or the travel in the rig file",
        )
    return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
