"""Layout and planning of an arrangement in two steps, for a front that shows both; and trying one item with a method.

The steps are those of `linewright.planning.pipeline.prepare_arrangement`, so what a page shows first is what is drawn.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.errors import InputError
from linewright.planning import pipeline
from linewright.planning.arrangement import Arrangement, Item
from linewright.planning.pipeline import Arranged, Lines
from linewright.planning.placement import to_machine
from linewright.sources.picture import Wish
from linewright.tasks.planning import PlanTask, watched_by
from linewright.tidy import Tidiness

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

    from linewright.drawing.crop import PlacedDrawing
    from linewright.planning.composing import Laid, Read
    from linewright.planning.pipeline import Job
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet
    from linewright.sources.photograph import Photograph
    from linewright.sources.picture import Picture
    from linewright.tasks.front import Front

KEPT_VERTICES: Final = 4_000_000
"""Most vertices of cached pictures: 64 MB of coordinates."""

QUICK_S: Final = 0.5
"""Strokes made within this time need no first look, which would only flicker."""


@dataclass(frozen=True, eq=False)
class LaidOut:
    """The strokes of an arrangement, not planned yet.

    Parameters
    ----------
    drawing : sheet coordinates, mm; item after item.
    item : (k,) uint16, number of each stroke's item.
    laid : position of each item.
    warnings : of the items, each starting with the item's id.
    sheet : the sheet.
    rough : a first look, in which photographs are drawn with wider pens.
    """

    drawing: PlacedDrawing
    item: NDArray[np.uint16]
    laid: tuple[Laid, ...]
    warnings: tuple[str, ...]
    sheet: Sheet
    rough: bool = False


class KeptPictures:
    """Cache of items' strokes, keyed by everything that affects them, so that an item that only moves is not made
    again.

    Attributes
    ----------
    glanced : whether the last first look contains rough strokes.
    """

    def __init__(self) -> None:
        self.glanced = False
        self._kept: OrderedDict[Hashable, Picture] = OrderedDict()
        self._quick: set[Hashable] = set()  # sources and methods that were fast last time, with any settings

    def remembering(self, read: Read) -> Read:
        """A reader of items with cache."""
        return lambda item, wish: self._picture(read, item, wish)

    def glancing(self, read: Read) -> Read:
        """A reader of items that makes slow ones as a first look only, and caches the others."""
        self.glanced = False
        return lambda item, wish: self._picture(read, item, replace(wish, first_look=_way(item) not in self._quick))

    def _picture(self, read: Read, item: Item, wish: Wish) -> Picture:
        key = (
            *(item.source, item.text, item.pattern, item.method, item.pens),
            *(item.text_file, item.page, item.layers),
            *(repr(getattr(wish, field.name)) for field in fields(wish) if field.name not in ("report", "first_look")),
        )
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        began_s = time.perf_counter()
        picture = read(item, wish)
        if picture.rough:
            self.glanced = True
            return picture
        (self._quick.add if time.perf_counter() - began_s < QUICK_S else self._quick.discard)(_way(item))
        self._kept[key] = picture
        while sum(one.drawing.vertices for one in self._kept.values()) > KEPT_VERTICES and len(self._kept) > 1:
            self._kept.popitem(last=False)
        return picture


def _way(item: Item) -> Hashable:
    """Key of a source and its method."""
    return item.source, (item.method or "").partition(":")[0]


def lay_out(
    found: Arranged,
    rig: Rig,
    front: Front,
    kept: KeptPictures | None = None,
    look: Callable[[LaidOut], object] | None = None,
) -> LaidOut:
    """The strokes of an arrangement in their positions on the sheet.

    Parameters
    ----------
    kept : cache of pictures; None: make everything.
    look : called with a first look if the strokes take long.

    Raises
    ------
    SourceError, SheetError
        An item cannot be read, or has no room.
    """
    if found.arrangement.poster is not None:
        raise InputError("a poster of several sheets cannot be laid out as one sheet")
    kept = kept or KeptPictures()
    if look is not None:
        seen = _laid_out(found, rig, front, kept.glancing)
        if not kept.glanced:
            return seen
        look(replace(seen, rough=True))
    return _laid_out(found, rig, front, kept.remembering)


def _laid_out(found: Arranged, rig: Rig, front: Front, remembering: Callable[[Read], Read]) -> LaidOut:
    whole, sheet = pipeline.compose(found, rig, Lines(), front.progress, remembering=remembering)
    counts = [laid.strokes for laid in whole.laid]
    item = np.repeat(np.arange(len(counts), dtype=np.uint16), counts)
    return LaidOut(whole.drawing, item, whole.laid, whole.warnings, sheet)


def plan_laid_out(laid: LaidOut, rig: Rig, front: Front, tidiness: Tidiness | None = None) -> Job:
    """Plan a layout for a rig.

    Raises
    ------
    SheetError, PlanError
        Nothing can be drawn.
    """
    reached = to_machine(laid.drawing, laid.sheet, rig)
    task = PlanTask("", rig, tidiness=tidiness or Tidiness())
    return pipeline.on_machine(reached, laid.warnings, laid.sheet, task, watched_by(front))


def warm_up(rig: Rig, front: Front) -> None:
    """Load, and if necessary compile, what plans and photographs need."""
    letter = Arrangement(items=(Item("letter", text="ab", width_mm=20.0),))
    plan_laid_out(lay_out(Arranged(letter), rig, front), rig, front)
    front.progress("getting ready", 0.5)
    from linewright.sources import methods
    from linewright.sources.choice import Automatic
    from linewright.sources.photograph import Photograph
    from linewright.sources.tone.method import needs_extra

    try:
        needs_extra()
        # A grey ramp without faces: loads the default method and the face detectors.
        way = methods.chosen(methods.FOR_PHOTOGRAPHS)
        if isinstance(way, Automatic):
            grey = np.linspace(0.0, 1.0, 64, dtype=np.float32)
            taken = Photograph(np.broadcast_to((grey * grey[:, None])[:, :, None], (64, 64, 3)).copy())
            wish = Wish((20.0, 20.0), report=front.progress)
            way.way(taken, wish)[0].drawn(taken, wish)
    except InputError:
        pass  # the libraries for photographs are not installed


def tried(found: Arranged, item: Item, method: str, rig: Rig, front: Front) -> tuple[LaidOut, Job]:
    """One item of an arrangement alone, drawn by a method at its size, with the quick order.

    Raises
    ------
    SourceError, InputError
        The method finds nothing to draw, or does not suit the source.
    """
    alone = replace(item, method=method, repeat=None)
    whole = replace(found, arrangement=replace(found.arrangement, items=(alone,)))
    laid = lay_out(whole, rig, front)
    return laid, plan_laid_out(laid, rig, front, Tidiness(effort="quick"))


def within(found: Arranged, item: Item, method: str, rig: Rig, front: Front, time_s: float) -> tuple[str, str]:
    """Settings of a method that draw a photograph with as many lines as a time limit for the whole sheet allows.

    Parameters
    ----------
    method : one for photographs, with settings; its ink is never increased.
    time_s : the limit, by the planner's own estimate.

    Returns
    -------
    method, words : the method with settings, and a remark for the user.

    Raises
    ------
    InputError : the other items, or its palest picture, exceed the limit.
    """
    from linewright import wording
    from linewright.planning.budget import Budget, fitted

    others = replace(found, arrangement=found.arrangement.without(item.id))
    rest_s = 0.0
    if others.arrangement.items:
        rest_s = plan_laid_out(lay_out(others, rig, front), rig, front, Tidiness(effort="quick")).program.predicted_s
    if rest_s >= time_s:
        raise InputError(f"the other items alone take {wording.duration(rest_s)}", hint="allow more time")

    def planned(way: str) -> tuple[str, float, float]:
        _laid, job = tried(found, item, way, rig, front)
        return way, job.program.predicted_s, job.program.pen_down_mm

    return fitted(lambda share: _with_ink(method, share), planned, Budget(time_s=time_s - rest_s))


def _with_ink(method: str, share: float) -> str:
    """A method for photographs with a share of its ink, in the command line's notation."""
    from linewright.sources import methods
    from linewright.sources.tone.method import ToneMethod

    way = methods.chosen(method)
    if not isinstance(way, ToneMethod):
        raise InputError(f"{method.partition(':')[0]} cannot be drawn paler to save time", hint="take another method")
    return method if share == 1 else methods.in_words(method.partition(":")[0], way.with_ink(share))


def methods_for(found: Arranged, item: Item, rig: Rig) -> tuple[list[str], str]:
    """Methods for an item's source, the one selected by ``auto`` first; and the reason for it.

    Raises
    ------
    SourceError
        The source is no photograph, or cannot be read.
    """
    from linewright.planning import comparison
    from linewright.rig.sheet_place import sheet_on

    sheet = sheet_on(rig, found.arrangement.sheet, margin_mm=found.arrangement.margin_mm)
    taken = _taken(found, item)
    return comparison.with_pick(taken, pipeline.wish_for(rig, sheet, pipeline.Placement()))


@dataclass(frozen=True)
class FrameChoice:
    """What of a photograph with faces can be shown.

    Parameters
    ----------
    frame : as the setting of a portrait says it: ``whole``, ``head``, ``face:1`` and so on.
    box : left, top, right, bottom, shares of the photograph.
    crop : as the setting of every other method says it; "": all of it.
    """

    frame: str
    box: tuple[float, float, float, float]
    crop: str


def frames_for(found: Arranged, item: Item) -> tuple[str, tuple[FrameChoice, ...]]:
    """What of a photograph a portrait shows as it comes, and what it can show; nothing where there are no faces.

    Raises
    ------
    SourceError
        If it cannot be read.
    """
    from linewright.sources import faces, photograph
    from linewright.sources.preparation import Preparation

    if item.source is None or not photograph.looks_like_one(found.folder / item.source):
        return "whole", ()
    taken = _taken(found, item)
    rows, columns = taken.rgb.shape[:2]
    people = faces.found_in(taken, Preparation())
    choices = []
    for asked in faces.frames(people):
        left, top, right, bottom = faces.frame(people, (columns, rows), asked)
        box = left / columns, top / rows, right / columns, bottom / rows
        sides = (box[0], box[1], box[2] - box[0], box[3] - box[1])
        crop = "" if asked == "whole" else "/".join(f"{int(1000 * one) / 10:g}" for one in sides)
        choices.append(FrameChoice(asked, box, crop))
    return "whole" if faces.shows_all(people, rows, "auto") else "head", tuple(choices)


def _taken(found: Arranged, item: Item) -> Photograph:
    from linewright.sources import photograph

    if item.source is None:
        raise InputError(f"item {item.id} is not a photograph, so there are no methods to choose from")
    return photograph.load(str(found.folder / item.source))
