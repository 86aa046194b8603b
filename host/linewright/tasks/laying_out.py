"""What lies on a sheet, laid out and planned in two steps, for a front that shows both; and one item tried by a method.

The steps are those of `linewright.planning.pipeline.prepare_arrangement`: what a page shows first is what is drawn.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.errors import InputError
from linewright.planning import pipeline
from linewright.planning.arrangement import Item
from linewright.planning.pipeline import Arranged, Lines
from linewright.planning.placement import to_machine
from linewright.tasks.planning import PlanTask, watched_by
from linewright.tidy import Tidiness

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

    from linewright.drawing.crop import PlacedDrawing
    from linewright.planning.composing import Laid, Read
    from linewright.planning.pipeline import Job
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet
    from linewright.sources.picture import Picture, Wish
    from linewright.tasks.front import Front

KEPT_VERTICES: Final = 4_000_000
"""Of pictures that need not be made again: 64 MB of coordinates."""


@dataclass(frozen=True, eq=False)
class LaidOut:
    """An arrangement as strokes, not planned yet.

    Parameters
    ----------
    drawing : sheet coordinates, mm; item after item.
    item : (k,) uint16, for each stroke the number of its item.
    laid : where each item lies.
    warnings : of the items, each with its id in front.
    sheet : on which they lie.
    """

    drawing: PlacedDrawing
    item: NDArray[np.uint16]
    laid: tuple[Laid, ...]
    warnings: tuple[str, ...]
    sheet: Sheet


class KeptPictures:
    """The strokes of items as they were made, by all that decides them: an item that only moves is not made again."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, Picture] = OrderedDict()

    def remembering(self, read: Read) -> Read:
        """A reader of items that remembers."""

        def kept(item: Item, wish: Wish) -> Picture:
            key = (
                *(item.source, item.text, item.pattern, item.method, item.pens),
                *(item.text_file, item.page, item.layers),
                *(repr(getattr(wish, field.name)) for field in fields(wish) if field.name != "report"),
            )
            if key not in self._kept:
                self._kept[key] = read(item, wish)
                while sum(one.drawing.vertices for one in self._kept.values()) > KEPT_VERTICES and len(self._kept) > 1:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
            return self._kept[key]

        return kept


def lay_out(found: Arranged, rig: Rig, front: Front, kept: KeptPictures | None = None) -> LaidOut:
    """The strokes of an arrangement where they lie on the sheet.

    Parameters
    ----------
    kept : pictures of earlier times; None: everything is made now.

    Raises
    ------
    SourceError, SheetError
        If an item cannot be read, or has no room.
    """
    if found.arrangement.poster is not None:
        raise InputError("it is a poster of several sheets, and one sheet is laid out at once")
    remembering: Callable[[Read], Read] = (kept or KeptPictures()).remembering
    whole, sheet = pipeline.compose(found, rig, Lines(), front.progress, remembering=remembering)
    counts = [laid.strokes for laid in whole.laid]
    item = np.repeat(np.arange(len(counts), dtype=np.uint16), counts)
    return LaidOut(whole.drawing, item, whole.laid, whole.warnings, sheet)


def plan_laid_out(laid: LaidOut, rig: Rig, front: Front, tidiness: Tidiness | None = None) -> Job:
    """Plan how a rig draws what is laid out.

    Raises
    ------
    SheetError, PlanError
        If nothing of it can be drawn.
    """
    reached = to_machine(laid.drawing, laid.sheet, rig)
    task = PlanTask("", rig, tidiness=tidiness or Tidiness())
    return pipeline.on_machine(reached, laid.warnings, laid.sheet, task, watched_by(front))


def tried(found: Arranged, item: Item, method: str, rig: Rig, front: Front) -> tuple[LaidOut, Job]:
    """One item of an arrangement alone, by a method, at the size that it has there; ordered quickly.

    Raises
    ------
    SourceError, InputError
        If the method finds nothing to draw, or does not draw such a source.
    """
    alone = replace(item, method=method, repeat=None)
    whole = replace(found, arrangement=replace(found.arrangement, items=(alone,)))
    laid = lay_out(whole, rig, front)
    return laid, plan_laid_out(laid, rig, front, Tidiness(effort="quick"))


def methods_for(found: Arranged, item: Item, rig: Rig) -> tuple[list[str], str]:
    """Methods that draw what an item is made of, the one that ``auto`` takes first; and why it takes it.

    Raises
    ------
    SourceError
        If it is no photograph, or cannot be read.
    """
    from linewright.planning import comparison
    from linewright.rig.sheet_place import sheet_on
    from linewright.sources import photograph

    if item.source is None:
        raise InputError(f"item {item.id} is no photograph, so there is one way to draw it")
    sheet = sheet_on(rig, found.arrangement.sheet, margin_mm=found.arrangement.margin_mm)
    taken = photograph.load(str(found.folder / item.source))
    return comparison.with_pick(taken, pipeline.wish_for(rig, sheet, pipeline.Placement()))
