"""From an arrangement to strokes on its sheet: items are made at their size, mirrored, turned, placed, repeated, and
clipped.

An item's page, a rectangle, is scaled to its size and turned about its centre; ``at_mm`` and ``align`` place its
bounding box. Lengths in mm (tolerance, spacing, letters) are applied at that size. Strokes are scaled afterwards only
if their source could not be given a size.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity

from linewright.drawing.crop import Box, Cut, PlacedDrawing, clip
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import InputError, SheetError, SourceError
from linewright.planning.arrangement import Arrangement, Item, Repeat
from linewright.planning.hiding import without_covered
from linewright.planning.placement import fit_scale, refuse_damage, settled, share_of
from linewright.sources.picture import Picture, Wish

Read = Callable[[Item, Wish], Picture]
"""Makes the strokes of an item; see `linewright.planning.pipeline`."""

Size = tuple[float, float]

VERTICES_HIGH: Final = 20_000_000
"""Most vertices of all copies: 320 MB of coordinates."""

_ALMOST: Final = 1e-9
"""Sines below this count as 0, and scales this close to 1 as 1; rounding is about 1e-16."""


@dataclass(frozen=True)
class Laid:
    """Position of an item on the sheet.

    Parameters
    ----------
    id : the item's id.
    page_mm : its own width and height before turning.
    boxes_mm : the upright box around each of its copies, in sheet coordinates.
    strokes, cut : strokes within the area, and what was clipped.
    inks : colours or layers of a drawing file, before pens were assigned.
    """

    id: str
    page_mm: Size
    boxes_mm: tuple[Box, ...]
    strokes: int
    cut: Cut
    inks: tuple[Pen, ...] = ()


@dataclass(frozen=True, eq=False)
class Composed:
    """An arrangement as strokes.

    Parameters
    ----------
    drawing : in sheet coordinates, mm, within the area exactly.
    laid : one for each item, in their order.
    warnings : warnings of the items, each starting with the item's id.
    """

    drawing: PlacedDrawing
    laid: tuple[Laid, ...]
    warnings: tuple[str, ...]


def composed(arrangement: Arrangement, room_mm: Box, wish: Wish, read: Read) -> Composed:
    """Lay out an arrangement and make its strokes.

    Parameters
    ----------
    room_mm : drawable area, in sheet coordinates.
    wish : pen and tolerance for all items; its area is ignored.
    read : makes the strokes of an item for a given area, unturned.

    Raises
    ------
    SourceError, SheetError
        An item cannot be read, or has no room; the message has its id.
    """
    if not arrangement.items:
        raise SourceError("the arrangement is empty", hint="`linewright arrange add` adds an item")
    parts: list[PlacedDrawing] = []
    laid: list[Laid] = []
    warnings: list[str] = []
    vertices = 0
    covers: list[shapely.Geometry] = []
    for number, item in enumerate(arrangement.items):
        try:
            # The lowest item has nothing below it to hide.
            asked = replace(wish, covers=number > 0 and item.hides and item.source is not None)
            placed, where, notes, cover = _item(item, room_mm, asked, read, VERTICES_HIGH - vertices)
        except InputError as error:
            error.args = (f"item {item.id}: {error}",)
            raise
        vertices += placed.vertices
        parts.append(placed)
        laid.append(where)
        covers.append(cover)
        warnings += [f"item {item.id}: {note}" for note in notes]
    above = shapely.GeometryCollection()
    for number in reversed(range(len(parts))):
        parts[number] = without_covered(parts[number], above)
        laid[number] = replace(laid[number], strokes=len(parts[number]))
        above = shapely.union(above, covers[number])
    return Composed(_together(parts), tuple(laid), tuple(warnings))


def _item(
    item: Item, room: Box, wish: Wish, read: Read, left: int
) -> tuple[PlacedDrawing, Laid, tuple[str, ...], shapely.Geometry]:
    """One item with its copies: strokes, position, remarks, and the area that hides items below."""
    copies = item.repeat or Repeat()
    cell = _cell(item, copies, room)
    picture = _asked(item, cell, wish, read)
    drawing = picture.drawing
    refuse_damage(drawing)
    if drawing.vertices * copies.columns * copies.rows > left:
        raise SourceError(
            f"{copies.columns} x {copies.rows} copies of {drawing.vertices:,} points are more than {left:,}, the limit",
            hint="use fewer copies, or a simpler picture",
        )
    scale = _scale(item, picture, cell)
    page = np.array([picture.width_mm, picture.height_mm]) * scale
    turn = _turned(item.turn_deg)
    seen = np.abs(turn) @ page
    gap = np.array(copies.gap_mm)
    counts = np.array([copies.columns, copies.rows])
    block = counts * seen + (counts - 1) * gap
    low, high = np.array(room[:2]), np.array(room[2:])
    share = share_of(item.align or ("centre" if item.at_mm is None else "top-left"))
    first = low + share * (high - low - block) if item.at_mm is None else np.array(item.at_mm) - share * block
    linear = scale * turn @ np.diag([-1.0 if item.mirror else 1.0, 1.0])
    middle = np.array([picture.width_mm, picture.height_mm]) / 2
    placed: list[PlacedDrawing] = []
    boxes: list[Box] = []
    hidden: list[shapely.Geometry] = []
    cover = _area(picture.covers)
    for row in range(copies.rows):
        for column in range(copies.columns):
            corner = first + np.array([column, row]) * (seen + gap)
            centre = corner + seen / 2
            moved = drawing.transformed(np.column_stack((linear, centre - linear @ middle)))
            placed.append(clip(settled(moved, room, seen), room))
            offset = centre - linear @ middle
            hidden.append(affinity.affine_transform(cover, [*linear.ravel(), *offset]))
            boxes.append((*corner.tolist(), *(corner + seen).tolist()))
    whole = Drawing.one_after_the_other(placed)
    cut = sum((part.cut for part in placed), Cut())
    pens = whole.pens
    if item.source is None and item.pens is None:
        # Letters and patterns name their pens after themselves; in an arrangement they share one black pen.
        pens = tuple(replace(pen, name=Pen().name) if pen.colour == Pen().colour else pen for pen in pens)
    put = PlacedDrawing(whole.points_mm, whole.starts, whole.pen, pens, cut)
    notes = list(picture.warnings)
    if cut:
        notes.append(_cut_words(cut))
    where = Laid(item.id, (float(page[0]), float(page[1])), tuple(boxes), len(put), cut, picture.inks)
    return put, where, tuple(notes), shapely.union_all(hidden)


def _area(rings: Sequence[NDArray[np.float64]]) -> shapely.Geometry:
    """The area enclosed by an odd number of rings."""
    if not rings:
        return shapely.GeometryCollection()
    lines = shapely.multilinestrings(shapely.linestrings(np.concatenate(rings), indices=_numbers(rings)))
    return shapely.make_valid(shapely.build_area(lines))


def _numbers(rings: Sequence[NDArray[np.float64]]) -> NDArray[np.int64]:
    return np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])


def _cut_words(cut: Cut) -> str:
    words = []
    if cut.strokes:
        words.append(f"{cut.strokes} {'stroke is' if cut.strokes == 1 else 'strokes are'} cut")
    if cut.lost:
        words.append(f"{cut.lost} {'is' if cut.lost == 1 else 'are'} left out")
    return (
        f"it extends beyond the margins or the machine's reach: {' and '.join(words)} ({cut.length_mm:.0f} mm of ink); "
        "move it, or make it smaller"
    )


def _cell(item: Item, copies: Repeat, room: Box) -> Size:
    """Width and height of the largest bounding box that a copy can have at the item's position."""
    low, high = np.array(room[:2]), np.array(room[2:])
    if item.at_mm is None:
        free = high - low
    else:
        at, share = np.array(item.at_mm), share_of(item.align or "top-left")
        # A box of size s has share * s before its reference point and the rest behind it.
        with np.errstate(divide="ignore", invalid="ignore"):
            before = np.where(share > 0, (at - low) / share, np.inf)
            behind = np.where(share < 1, (high - at) / (1 - share), np.inf)
        free = np.minimum(np.minimum(before, behind), high - low)
    counts = np.array([copies.columns, copies.rows])
    cell = (free - (counts - 1) * np.array(copies.gap_mm)) / counts
    if not (cell > 0).all() and item.width_mm is None and item.height_mm is None:
        where = "" if item.at_mm is None else f" at ({item.at_mm[0]:g}, {item.at_mm[1]:g}) mm"
        raise SheetError(
            f"there is no room for it{where}: the usable area is ({room[0]:g}, {room[1]:g}) to "
            f"({room[2]:g}, {room[3]:g}) mm",
            hint="move it, give it a size, or take fewer copies",
        )
    return float(max(cell[0], 0.0)), float(max(cell[1], 0.0))


def _turned(turn_deg: float) -> NDArray[np.float64]:
    """(2, 2) rotation, clockwise as seen (y points down)."""
    angle = math.radians(turn_deg % 360.0)
    sine, cosine = (0.0 if abs(part) < _ALMOST else part for part in (math.sin(angle), math.cos(angle)))
    return np.array([[cosine, -sine], [sine, cosine]])


def _around(page: Size, turn_deg: float) -> Size:
    """Size of a turned page's bounding box."""
    width, height = np.abs(_turned(turn_deg)) @ np.array(page)
    return float(width), float(height)


def _page_in(proportion: Size, cell: Size, turn_deg: float) -> Size:
    """The largest page of a proportion whose bounding box, turned, fits a cell."""
    scale = fit_scale(np.array(_around(proportion, turn_deg)), np.array(cell))
    return proportion[0] * scale, proportion[1] * scale


def _asked(item: Item, cell: Size, wish: Wish, read: Read) -> Picture:
    """The item's strokes, made for its size."""
    wish = replace(wish, turn_deg=0, pen_by=item.pen_by, pen_for=item.pen_for, fit=item.fit)
    proportionless = item.writes or item.pattern is not None
    if item.width_mm is not None or item.height_mm is not None:
        width, height = item.width_mm or math.inf, item.height_mm or math.inf
        if item.pattern is not None:
            # A pattern has no proportion: one side gives a square.
            width, height = item.width_mm or height, item.height_mm or width
        return read(item, replace(wish, room_mm=(width, height)))
    if item.writes and _states_its_size(item):
        return read(item, replace(wish, room_mm=(math.inf, math.inf)))
    quarter = item.turn_deg % 90 == 0
    upright = cell[::-1] if item.turn_deg % 180 == 90 else cell
    if proportionless and not quarter:
        return read(item, replace(wish, room_mm=_page_in(cell, cell, item.turn_deg)))
    picture = read(item, replace(wish, room_mm=upright))
    if proportionless or quarter or item.fit == "keep":
        return picture
    # The picture's proportion is known only after reading; then it is read again at the size that fits when turned.
    return read(item, replace(wish, room_mm=_page_in((picture.width_mm, picture.height_mm), cell, item.turn_deg)))


def _states_its_size(item: Item) -> bool:
    from linewright.sources import methods

    return bool(getattr(methods.chosen(item.method or "lettering"), "size_mm", 0.0))


def _scale(item: Item, picture: Picture, cell: Size) -> float:
    """Remaining scale factor: 1 if the source made its strokes for the requested size."""
    if item.writes or item.pattern is not None:
        return 1.0
    size = np.array([picture.width_mm, picture.height_mm])
    if item.width_mm is not None or item.height_mm is not None:
        scale = fit_scale(size, np.array([item.width_mm or math.inf, item.height_mm or math.inf]))
    elif item.fit == "keep":
        return 1.0
    else:
        scale = fit_scale(np.array(_around((picture.width_mm, picture.height_mm), item.turn_deg)), np.array(cell))
    return 1.0 if abs(scale - 1.0) < _ALMOST else scale


def _together(parts: Sequence[PlacedDrawing]) -> PlacedDrawing:
    """The strokes of all items; pens with equal name, colour and width are merged."""
    pens: dict[Pen, int] = {}
    numbered: list[Drawing] = []
    for part in parts:
        number = np.array([pens.setdefault(pen, len(pens)) for pen in part.pens], dtype=np.int64)
        numbered.append(replace(part, pen=number[part.pen]))
    whole = Drawing.one_after_the_other(numbered)
    used = np.unique(whole.pen)
    order = np.full(len(pens), -1, dtype=np.int64)
    order[used] = np.arange(len(used))
    kept = tuple(_named_apart([pen for pen, number in pens.items() if number in set(used.tolist())]))
    cut = sum((part.cut for part in parts), Cut())
    return PlacedDrawing(whole.points_mm, whole.starts, order[whole.pen], kept or (Pen(),), cut)


def _named_apart(pens: Sequence[Pen]) -> list[Pen]:
    """The same pens; repeated names get a number."""
    found: list[Pen] = []
    for pen in pens:
        name, number = pen.name, 1
        while any(one.name == name for one in found):
            number += 1
            name = f"{pen.name} {number}"
        found.append(replace(pen, name=name))
    return found
