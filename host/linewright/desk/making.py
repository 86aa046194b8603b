"""Work of the desk's worker processes: plans, previews of a photograph, the catalogue of methods."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from linewright import units
from linewright.desk.page_words import on_page
from linewright.tasks.front import Quiet

if TYPE_CHECKING:
    from linewright.planning.arrangement import Arrangement, Item
    from linewright.planning.pipeline import Arranged, Job
    from linewright.program.program import PenGroup, Program
    from linewright.rig.rig import Rig
    from linewright.tasks.laying_out import KeptPictures, LaidOut


class WorkBench(Protocol):
    """Interface of a worker to its wish: progress, partial results, cancellation."""

    kept: KeptPictures

    def progress(self, doing: str, done: float | None = None) -> None:
        """Report progress; raises `Cancelled` once a newer plan is wanted."""

    def show(self, kind: str, value: object) -> None:
        """Send a partial result."""


class WorkerWish(Protocol):
    """A job for a worker process."""

    def make(self, bench: WorkBench) -> object:
        """Do the job; the result is sent to the desk."""


class PlanMaker(Quiet):
    """A `Front` of the tasks that forwards progress.

    Parameters
    ----------
    told : see `WorkBench.progress`.
    """

    def __init__(self, told: Callable[[str, float | None], None]) -> None:
        super().__init__()
        self._told = told

    def progress(self, doing: str, done: float | None = None) -> None:
        """See `Front.progress`."""
        self._told(doing, done)


@dataclass(frozen=True)
class Refusal:
    """The reason why a wish failed.

    Parameters
    ----------
    item : the item that causes it; None: no single one.
    """

    text: str
    hint: str
    item: str | None = None

    @classmethod
    def of(cls, error: Exception) -> Refusal:
        """From an exception."""
        from linewright.errors import LinewrightError

        if not isinstance(error, LinewrightError):
            return cls(f"this is a bug in Linewright: {type(error).__name__}: {error}", "please report it")
        item, text = with_item(str(error))
        return cls(on_page(text), on_page(error.hint), item)


_OF_ITEM = re.compile(r"item ([\w.-]+): (.*)", re.DOTALL)


def with_item(text: str) -> tuple[str | None, str]:
    """The item named at the start of a message, and the rest of the message."""
    found = _OF_ITEM.fullmatch(text)
    return (found[1], found[2]) if found else (None, text)


@dataclass(frozen=True)
class PlanWish:
    """Lay out and plan the sheet."""

    arrangement: Arrangement
    folder: Path
    rig: Rig

    def make(self, bench: WorkBench) -> object:
        """See `WorkerWish.make`."""
        from linewright.desk import geometry
        from linewright.tasks import laying_out

        front = PlanMaker(bench.progress)
        bench.progress("making lines", 0.0)

        found = _arranged(self)

        @cache
        def show_frames() -> None:
            bench.show("frames", frames(found))

        def show(laid: LaidOut) -> None:
            bench.show("sketch", Sketch.of(laid))
            show_frames()  # after the first sketch only: they are the same after each

        laid = laying_out.lay_out(found, self.rig, front, bench.kept, show)
        show(laid)
        job = laying_out.plan_laid_out(laid, self.rig, front)
        shown = geometry.of_program(job.program, self.rig)
        # A copy, without the data computed for views.
        return DeskPlan(replace(job.program), shown, figures(job), job.warnings)


@dataclass(frozen=True)
class WarmWish:
    """Load what every plan needs, before the first one is requested."""

    rig: Rig

    def make(self, bench: WorkBench) -> object:
        """See `WorkerWish.make`."""
        from linewright.tasks import laying_out

        laying_out.warm_up(self.rig, PlanMaker(bench.progress))
        return None


@dataclass(frozen=True)
class Sketch:
    """The sheet after layout.

    Parameters
    ----------
    geometry : strokes with their items.
    laid : place of each item, as page values.
    rough : it is a fast first version; see `linewright.tasks.laying_out.LaidOut`.
    """

    geometry: bytes
    laid: dict[str, dict[str, Any]]
    pens: list[dict[str, Any]]
    rough: bool

    @classmethod
    def of(cls, laid: LaidOut) -> Sketch:
        """From the result of the layout task."""
        from linewright.desk import geometry

        where = {
            one.id: {
                "page_mm": list(one.page_mm),
                "boxes_mm": [list(box) for box in one.boxes_mm],
                "strokes": None if laid.rough else one.strokes,
                "inks": [{"name": ink.name, "colour": ink.colour} for ink in one.inks],
            }
            for one in laid.laid
        }
        pens = [{"name": pen.name, "colour": pen.colour, "width_mm": pen.width_mm} for pen in laid.drawing.pens]
        return cls(geometry.packed(laid.drawing, item=laid.item), where, pens, laid.rough)


@dataclass(frozen=True, eq=False)
class DeskPlan:
    """The sheet, planned."""

    program: Program
    geometry: bytes
    figures: dict[str, Any]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class PreviewsWish:
    """Previews of a photograph by all methods, the most suitable first."""

    arrangement: Arrangement
    folder: Path
    rig: Rig
    item: Item

    def make(self, bench: WorkBench) -> object:
        """See `WorkerWish.make`."""
        from linewright.tasks import laying_out

        bench.progress("looking at the photograph", None)
        names, _why = laying_out.methods_for(_arranged(self), self.item, self.rig)
        return names


@dataclass(frozen=True)
class PreviewWish:
    """Preview of one item by one method."""

    arrangement: Arrangement
    folder: Path
    rig: Rig
    item: Item
    method: str

    def make(self, bench: WorkBench) -> object:
        """See `WorkerWish.make`."""
        import numpy as np

        from linewright.desk import geometry
        from linewright.tasks import laying_out

        laid, job = laying_out.tried(_arranged(self), self.item, self.method, self.rig, PlanMaker(bench.progress))
        x0, y0, x1, y1 = laid.laid[0].boxes_mm[0]
        points = self.rig.sheet.position.on_sheet(job.program.drawing.points_mm) - np.array([x0, y0])
        found = figures(job)
        return geometry.packed(job.program.drawing, points_mm=points), {
            "width_mm": x1 - x0,
            "height_mm": y1 - y0,
            **{key: found[key] for key in ("predicted_s", "ink_mm", "strokes", "pens")},
        }


@dataclass(frozen=True)
class WithinWish:
    """Find the settings with which a photograph uses a given time for the whole sheet: method with settings, and a
    description.
    """

    arrangement: Arrangement
    folder: Path
    rig: Rig
    item: Item
    time_s: float

    def make(self, bench: WorkBench) -> object:
        """See `WorkerWish.make`."""
        from linewright.tasks import laying_out

        found = _arranged(self)
        method = self.item.method or laying_out.methods_for(found, self.item, self.rig)[0][0]
        return laying_out.within(found, self.item, method, self.rig, PlanMaker(bench.progress), self.time_s)


@dataclass(frozen=True)
class CatalogueWish:
    """List all methods."""

    def make(self, bench: WorkBench) -> object:
        """See `WorkerWish.make`."""
        from linewright.desk.catalogue import catalogue

        del bench
        return catalogue()


def frames(found: Arranged) -> dict[str, dict[str, Any]]:
    """For each photograph with faces what of it can be shown, and what a portrait shows as it comes, for the page."""
    from linewright.tasks import laying_out

    shown = {}
    for item in found.arrangement.items:
        usual, choices = laying_out.frames_for(found, item)
        if choices:
            shown[item.id] = {"frame": usual, "frames": [asdict(one) for one in choices]}
    return shown


def _arranged(wish: PlanWish | PreviewsWish | PreviewWish | WithinWish) -> Arranged:
    from linewright.planning.pipeline import Arranged

    return Arranged(wish.arrangement, wish.folder)


def figures(job: Job) -> dict[str, Any]:
    """Time, ink and travel of a plan, in total and per pen, and warnings, for the page."""
    from linewright.sources.choice import TAKES
    from linewright.sources.lettering.writing import CAPITALS

    program = job.program
    said = [with_item(text) for text in job.warnings]
    return {
        **of_program(program),
        # The previews and the sheet show what these warnings are about, so they are left out.
        "warnings": [{"item": item, "text": text} for item, text in said if not text.startswith((TAKES, CAPITALS))],
    }


def of_program(program: Program) -> dict[str, Any]:
    """Time, ink and travel, in total and per pen."""
    return {
        "strokes": len(program.drawing),
        "vertices": program.drawing.vertices,
        "predicted_s": program.predicted_s,
        "ink_mm": program.pen_down_mm,
        "travel_mm": program.travel_mm,
        "pens": [_pen(program, group) for group in program.groups],
    }


def _pen(program: Program, group: PenGroup) -> dict[str, Any]:
    import numpy as np

    pen = program.drawing.pens[group.pen]
    first, end = group.strokes
    ramps = np.flatnonzero(program.is_ramp)
    inside = (ramps >= group.records[0]) & (ramps < group.records[1])
    path = program.trajectory
    way_mm = np.hypot(*np.diff(path.points_mm, axis=0).T)
    return {
        "pen": group.pen,
        "name": pen.name,
        "colour": pen.colour,
        "width_mm": program.pen_width_mm if pen.width_mm is None else pen.width_mm,
        "strokes": end - first,
        "predicted_s": units.ticks_to_s(program.group_ticks(group)),
        "ink_mm": float(program.drawing.stroke_lengths_mm()[first:end].sum()),
        "travel_mm": float(way_mm[inside & (path.stroke < 0)].sum()),
        "begins_s": units.ticks_to_s(int(program.ticks_before[group.records[0]])),
    }
