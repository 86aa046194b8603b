"""From a file to a `Program`: picture, placement, tidying, motion, with warnings for the user."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from linewright import wording
from linewright.drawing.crop import Cut
from linewright.errors import InputError, SheetError
from linewright.planning.arranged import Arranged, arranged, compose, is_poster, item_of
from linewright.planning.arrangement import Poster
from linewright.planning.budget import Budget, fitted
from linewright.planning.composing import Read
from linewright.planning.placement import place, to_machine
from linewright.planning.plan_task import CURVE_TOLERANCE_MM, Lines, Placement, PlanTask
from linewright.planning.poster import Piece, pieces
from linewright.planning.reading import read_picture, wish_for
from linewright.program import file as program_file
from linewright.rig.doubts import doubts
from linewright.rig.sheet_place import largest_named, lies_within, room_on, sheet_on
from linewright.sheet.sizes import Sheet
from linewright.sources import Picture, Wish
from linewright.system.memory import give_back
from linewright.tidy import Tidying, Watcher, tidy

if TYPE_CHECKING:
    from linewright.drawing.strokes import Drawing
    from linewright.program.program import Program
    from linewright.rig.rig import Rig

__all__ = [
    "CURVE_TOLERANCE_MM",
    "JOB_SUFFIX",
    "Arranged",
    "Job",
    "Lines",
    "Placement",
    "PlanTask",
    "arranged",
    "compose",
    "is_job",
    "is_poster",
    "item_of",
    "load",
    "on_machine",
    "planned",
    "prepare",
    "prepare_arrangement",
    "prepare_poster",
    "read_picture",
    "wish_for",
]

JOB_SUFFIX: Final = ".lw"
"""Suffix of saved programs; everything else is a picture."""


@dataclass(frozen=True, eq=False)
class Job:
    """A program with its warnings."""

    program: Program
    warnings: tuple[str, ...]


def prepare(task: PlanTask, watcher: Watcher | None = None) -> Job:
    """Plan a source for a rig.

    Parameters
    ----------
    watcher : receives progress, and may end the search for a better order.

    Raises
    ------
    SourceError, SheetError, PlanError
        The picture cannot be read, placed or drawn.
    """
    watcher = watcher or Watcher()
    found = arranged(task.source, task.placement, task.lines)
    if found is not None:
        if task.lines.budget is not None:
            raise InputError("--within and --ink apply to one photograph", hint="leave --within and --ink out")
        return prepare_arrangement(found, task, watcher)
    if task.lines.budget is not None:
        return _within_budget(task, task.lines.budget, watcher)
    picture = read_picture(task.source, task.lines, _wish(task, watcher))
    return planned(picture, task, watcher)


def _sheet(task: PlanTask) -> Sheet:
    """The sheet of a task."""
    where = task.placement
    return sheet_on(task.rig, where.sheet, landscape=where.landscape, margin_mm=where.margin_mm)


def _wish(task: PlanTask, watcher: Watcher) -> Wish:
    """The `Wish` for a picture that fills its sheet."""
    return wish_for(task.rig, _sheet(task), task.placement, watcher.report, task.surround)


def _within_budget(task: PlanTask, budget: Budget, watcher: Watcher) -> Job:
    """Plan a photograph with as much ink as its budget allows; otherwise like `prepare`."""
    from linewright.sources import methods, photograph
    from linewright.sources.choice import Automatic
    from linewright.sources.tone.method import ToneMethod, needs_extra

    source, lines = task.source, task.lines
    asked = lines.method or methods.FOR_PHOTOGRAPHS
    way = None if methods.makes_its_own(asked) else methods.chosen(asked)
    if not isinstance(way, Automatic | ToneMethod) or not photograph.looks_like_one(Path(source)):
        raise InputError(
            f"{source} is not a photograph, so --within and --ink do not apply",
            hint="leave --within and --ink out",
        )
    needs_extra()
    taken = photograph.load(source)
    wish = _wish(task, watcher)
    wish = replace(wish, tolerance_mm=lines.tolerance_mm, pens=lines.pens)
    why: tuple[str, ...] = ()
    if isinstance(way, Automatic):
        way, choice = way.way(taken, wish)
        why = (f"{choice.method}: {choice.why}",)
    full = way

    def plan_it(picture: Picture) -> tuple[Job, float, float]:
        job = planned(picture, task, watcher)
        return job, job.program.predicted_s, job.program.pen_down_mm

    job, words = fitted(lambda share: full.with_ink(share).drawn(taken, wish, source), plan_it, budget)
    return replace(job, warnings=(*why, words, *job.warnings))


def prepare_poster(found: Arranged, task: PlanTask, watcher: Watcher | None = None) -> Iterator[tuple[Piece, Job]]:
    """Plan the sheets of a poster one by one; otherwise like `prepare`."""
    if not task.surround.is_nothing:
        raise InputError(
            "a poster has no frame, caption or signature, because its sheets are joined",
            hint="draw them into the picture, or leave --frame, --caption and --signature out",
        )
    watcher = watcher or Watcher()
    poster = found.arrangement.poster or Poster()
    whole, size = compose(found, task.rig, task.lines, watcher.report)
    sheet = sheet_on(task.rig, poster.sheet)
    room = room_on(sheet, task.rig)
    for piece in pieces(whole.drawing, (size.width_mm, size.height_mm), room, poster.overlap_mm):
        reached = to_machine(piece.drawing, sheet, task.rig)
        yield piece, on_machine(reached, whole.warnings if piece.number == 1 else (), sheet, task, watcher)


def prepare_arrangement(found: Arranged, task: PlanTask, watcher: Watcher | None = None) -> Job:
    """Plan an arrangement for a rig; otherwise like `prepare`."""
    if found.arrangement.poster is not None:
        raise InputError(
            "it is a poster of several sheets, which are drawn one by one",
            hint="`linewright plan` with -o FOLDER makes a program of each sheet; draw them one by one",
        )
    return _composed(found, task, watcher or Watcher(), lambda read: read)


def _composed(found: Arranged, task: PlanTask, watcher: Watcher, remembering: Callable[[Read], Read]) -> Job:
    whole, sheet = compose(found, task.rig, task.lines, watcher.report, surround=task.surround, remembering=remembering)
    around, notes = task.surround.around(whole.drawing, room_on(sheet, task.rig), task.rig.pen.width_mm)
    reached = to_machine(around, sheet, task.rig)
    return on_machine(reached, (*whole.warnings, *notes), sheet, task, watcher)


def planned(picture: Picture, task: PlanTask, watcher: Watcher | None = None) -> Job:
    """Plan a picture whose strokes exist already; the task's source is ignored. Otherwise like `prepare`."""
    watcher = watcher or Watcher()
    rig, placement = task.rig, task.placement
    if placement.is_free and (found := arranged("", placement, Lines())) is not None:
        return _composed(found, task, watcher, lambda _: lambda _item, _wish: picture)
    sheet = _sheet(task)
    room = room_on(sheet, rig)
    placed = place(
        picture.drawing,
        (picture.width_mm, picture.height_mm),
        sheet,
        room_mm=task.surround.picture_room(room),
        fit=placement.fit,
        turn_deg=placement.quarters,
    )
    around, notes = task.surround.around(placed, room, rig.pen.width_mm)
    reached = to_machine(around, sheet, rig)
    cut = placed.cut + reached.cut
    warnings = (*picture.warnings, *notes)
    warnings += (*_reach_words(sheet, rig, placement), *_cut_words(cut, sheet, rig, placement))
    return on_machine(reached, warnings, sheet, task, watcher)


def on_machine(reached: Drawing, warnings: tuple[str, ...], sheet: Sheet, task: PlanTask, watcher: Watcher) -> Job:
    """Plan strokes that are placed on the machine; otherwise like `prepare`.

    Parameters
    ----------
    reached : machine coordinates, mm; see `to_machine`.
    warnings : warnings so far.
    """
    from linewright.motion.pens import plan_for_pens

    rig = task.rig
    if not len(reached):
        raise SheetError(
            f"no part of the picture lies within the margins of the {sheet.name} sheet and the machine's reach",
            hint="use --fit or a smaller margin"
            if lies_within(sheet, rig)
            else f"take a sheet that fits the reach of {rig.x.travel_mm:g} x {rig.y.travel_mm:g} mm",
        )
    notes: list[str] = []
    watched = Watcher(watcher.report, notes.append, watcher.enough)
    give_back(reached.vertices)
    drawing = tidy(reached, Tidying.on(rig, reached, task.tidiness), watched)
    watched.report("planning the motion", 0.0)
    give_back(reached.vertices)
    program = plan_for_pens(drawing, rig, sheet=sheet)
    give_back(reached.vertices)
    warnings = (*warnings, *notes, *_ink_words(drawing, rig))
    return Job(program, (*warnings, *doubts(rig), *program.warnings))


INK_TIMES: Final = 1.0
"""Average coverage of a drawing's bounding box above which a warning is given: one solid layer makes drawing paper
cockle, more tears it (common practice)."""


INK_LEAST_MM: Final = 1000.0
"""Less ink than this, such as a word or one thick line, gives no warning."""


def _ink_words(drawing: Drawing, rig: Rig) -> tuple[str, ...]:
    """A warning if the paper gets more ink than it bears."""
    width, height = np.maximum(np.ptp(drawing.points_mm, axis=0), rig.pen.width_mm)
    lengths_mm = drawing.stroke_lengths_mm()
    widths_mm = np.array([rig.pen.width_mm if pen.width_mm is None else pen.width_mm for pen in drawing.pens])
    times = float((lengths_mm * widths_mm[drawing.pen]).sum() / (width * height))
    if times <= INK_TIMES or lengths_mm.sum() < INK_LEAST_MM:
        return ()
    total = wording.length(float(lengths_mm.sum()))
    step = "set a lower --ink or darkest=0.5, or use a finer pen or a larger sheet"
    return (f"{total} of lines put ink {times:.1f} times over the whole picture, so the paper may buckle; {step}",)


def load(path: Path, rig: Rig) -> Job:
    """Load a saved program.

    Raises
    ------
    ProgramError
        The file is damaged, or was planned for a rig that moves differently.
    """
    program = program_file.load(path)
    program.check_rig(rig)
    return Job(program, (*doubts(rig), *program.warnings))


def is_job(path: Path) -> bool:
    """Whether a file is a saved program, by its suffix."""
    return path.suffix.lower() == JOB_SUFFIX


def _reach_words(sheet: Sheet, rig: Rig, placement: Placement) -> tuple[str, ...]:
    """Warning for a sheet that the rig can reach only in part."""
    if lies_within(sheet, rig):
        return ()
    x0, y0, x1, y1 = room_on(sheet, rig)
    largest = largest_named(rig)
    done = "is fitted into" if placement.fit == "fit" else "keeps its size on"
    return (
        f"the {sheet.name} sheet does not lie within the machine's reach; the picture {done} the {x1 - x0:.5g} x "
        f"{y1 - y0:.5g} mm of it that can be drawn on. "
        + ("No standard sheet is held whole" if largest is None else f"The largest sheet it holds is {largest.name}"),
    )


def _cut_words(cut: Cut, sheet: Sheet, rig: Rig, placement: Placement) -> tuple[str, ...]:
    if not cut:
        return ()
    where = "margin" if lies_within(sheet, rig) else "edge of the machine's reach"
    parts = []
    if cut.strokes:
        parts.append(f"{cut.strokes} {'stroke was' if cut.strokes == 1 else 'strokes were'} cut at the {where}")
    if cut.lost:
        parts.append(f"{cut.lost} {'lies' if cut.lost == 1 else 'lie'} beyond the {where} and will not be drawn")
    # A fitted picture loses only strokes outside its own page, which no other sheet would keep.
    step = "; use --fit to draw all of it" if placement.fit == "keep" else "; it lay outside the picture's page"
    return (f"{'; '.join(parts)} ({cut.length_mm:.0f} mm of ink in all){step}",)
