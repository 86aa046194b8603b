"""Arrangements to be drawn: from a file, or made from a picture with a position of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from linewright.errors import InputError
from linewright.planning import arrangement_file
from linewright.planning.arrangement import Arrangement, Item, is_one
from linewright.planning.composing import Composed, Read, composed
from linewright.planning.plan_task import Lines, Placement
from linewright.planning.reading import read_picture, wish_for
from linewright.planning.text_file import text_of
from linewright.rig.sheet_place import room_on, sheet_on
from linewright.sheet.sizes import HIGH_MM as SIDE_HIGH_MM
from linewright.sheet.sizes import Sheet
from linewright.sources import Picture, Wish
from linewright.sources.picture import Report

if TYPE_CHECKING:
    from linewright.planning.surround import Surround
    from linewright.rig.rig import Rig


@dataclass(frozen=True)
class Arranged:
    """An arrangement to be drawn.

    Parameters
    ----------
    folder : folder to which its relative file names refer.
    landscape : orientation of its sheet; None: by the sheet's name and the rig.
    """

    arrangement: Arrangement
    folder: Path = Path()
    landscape: bool | None = None


def arranged(source: str, placement: Placement, lines: Lines) -> Arranged | None:
    """The arrangement of a source or of its placement options; None for a picture that fills its sheet.

    Raises
    ------
    SourceError
        The file is no arrangement.
    InputError
        An option was given that belongs in the arrangement's file.
    """
    if lines.method is None and is_one(source):
        said = replace(placement, sheet=None, landscape=None, margin_mm=None)
        if said != Placement() or lines.pens:
            raise InputError(
                f"{source} is an arrangement, which states where and how its items are drawn",
                hint="change it with `linewright arrange move`; only --sheet and --margin may be given with it",
            )
        found = arrangement_file.load(source)
        found = replace(
            found,
            sheet=found.sheet if placement.sheet is None else placement.sheet,
            margin_mm=found.margin_mm if placement.margin_mm is None else placement.margin_mm,
        )
        return Arranged(found, Path(source).parent, placement.landscape)
    if not placement.is_free:
        return None
    turn_deg = 0.0 if placement.turn_deg == "auto" else float(placement.turn_deg)
    item = item_of(source, lines.method, pen_by=placement.pen_by, fit=placement.fit)
    item = replace(item, at_mm=placement.at_mm, width_mm=placement.width_mm, turn_deg=turn_deg, mirror=placement.mirror)
    return Arranged(Arrangement(placement.sheet, placement.margin_mm, items=(item,)), Path(), placement.landscape)


def is_poster(source: str) -> bool:
    """Whether a source is the arrangement of a poster; False if it cannot be read."""
    try:
        return is_one(source) and arrangement_file.load(source).poster is not None
    except InputError:
        return False


def item_of(source: str, method: str | None, **how: Any) -> Item:
    """An item that draws a source by a method, whatever kind of source the method takes."""
    from linewright.sources import methods

    takes = "" if method is None else methods.method(method.partition(":")[0].strip()).takes
    if takes == "text":
        return Item("text", text=source, method=method, **how)
    if takes == "seed":
        return Item("pattern", pattern=method, **how)
    return Item("picture", source=source, method=method, **how)


def compose(
    found: Arranged,
    rig: Rig,
    lines: Lines,
    report: Report | None = None,
    *,
    surround: Surround | None = None,
    remembering: Callable[[Read], Read] = lambda read: read,
) -> tuple[Composed, Sheet]:
    """The strokes of an arrangement on its sheet, and the sheet.

    Parameters
    ----------
    surround : frame and words around the drawing, which reduce its area; None: none.
    remembering : wraps the reader of items with a cache.

    Raises
    ------
    SourceError, SheetError
        An item cannot be read, or has no room.
    """
    wanted = found.arrangement
    wish = wish_for(rig, sheet_on(rig), Placement(), report)
    if wanted.poster is None:
        sheet = sheet_on(rig, wanted.sheet, landscape=found.landscape, margin_mm=wanted.margin_mm)
        room = room_on(sheet, rig)
        room = room if surround is None else surround.picture_room(room)
    else:
        # The whole poster is independent of the machine. Without a size it is as large as its contents.
        largest = f"{SIDE_HIGH_MM:g}x{SIDE_HIGH_MM:g}mm"
        sheet = Sheet.named(wanted.sheet or largest, landscape=found.landscape, margin_mm=wanted.margin_mm or 0.0)
        room = sheet.box_mm

    def read(item: Item, asked: Wish) -> Picture:
        from linewright.sources.pens import read_pens

        if item.source is not None:
            source, method = str(found.folder / item.source), item.method
        else:
            source, method = item.text or "", item.pattern or item.method or "lettering"
            if item.text_file is not None:
                source = text_of(found.folder / item.text_file)
        pens = lines.pens
        if item.pens is not None:
            pens = read_pens(str(found.folder / item.pens.strip()) if is_one(item.pens.strip()) else item.pens)
        one = replace(lines, method=method, pens=pens)
        if item.source is not None:
            one = replace(one, page=item.page if item.page > 1 else lines.page, layers=item.layers or lines.layers)
        return read_picture(source, one, asked)

    whole = composed(wanted, room, wish, remembering(read))
    if wanted.poster is not None and wanted.sheet is None:
        ends = np.array([box[2:] for laid in whole.laid for box in laid.boxes_mm]).max(axis=0)
        sheet = replace(sheet, width_mm=float(ends[0]), height_mm=float(ends[1]), name="poster")
    return whole, sheet
