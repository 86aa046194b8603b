"""Tasks: a poster or a series, one source with several sheets and a program each."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.errors import InputError
from linewright.tasks.planning import Outputs, PlanTask, make_folders, watched_by, write_files

if TYPE_CHECKING:
    from linewright.planning.batch import Planned
    from linewright.planning.pipeline import Arranged, Job
    from linewright.tasks.front import Front


@dataclass(frozen=True)
class SheetsTask:
    """A source that gives several sheets.

    Parameters
    ----------
    plan : the source and its planning options.
    base : prefix of the file names of all sheets.
    poster : divide the picture among sheets.
    series : a table with one row per sheet; None: no series.
    """

    plan: PlanTask
    base: str
    poster: bool = False
    series: Path | None = None


def plan_sheets(task: SheetsTask, wanted: Outputs, front: Front) -> list[tuple[Planned, list[Path]]]:
    """Plan every sheet, and write its files as soon as it is ready.

    Raises
    ------
    InputError
        The source is no arrangement and has no size, or both kinds were requested.
    """
    from linewright.planning import batch, pipeline

    plan, series = task.plan, task.series
    found = pipeline.arranged(plan.source, plan.placement, plan.lines)
    if found is not None and task.poster and found.arrangement.poster is None:
        found = _as_poster(found)
    if found is None:
        what = (
            "--poster needs --size, the width of the whole poster" if task.poster else "--series fills an arrangement"
        )
        raise InputError(
            what, hint="such as --size 800" if task.poster else "name a .toml file; see docs/ARRANGEMENTS.md"
        )
    if series is not None and found.arrangement.poster is not None:
        raise InputError("--poster and --series cannot be combined", hint="plan one of them at once")
    make_folders(wanted)
    piece = batch.BatchItem(
        plan,
        program=wanted.program is not None,
        pictures=wanted.pictures is not None,
        speed_map=wanted.speed_map,
    )
    done: list[tuple[Planned, list[Path]]] = []
    jobs = _poster(found, plan, front) if series is None else _series(found, series, plan, front)
    for ending, job in jobs:
        name = f"{task.base.removesuffix('-toml')}-{ending}"
        with tempfile.TemporaryDirectory(prefix="linewright-") as folder:
            planned = batch.outcome(job, replace(piece, task=replace(plan, source=name)), name, name, Path(folder))
        done.append((planned, write_files(planned, wanted)))
    return done


def _as_poster(found: Arranged) -> Arranged:
    """A picture with a size, as a poster on sheets of the named kind."""
    from linewright.planning.arrangement import Poster

    whole = found.arrangement
    item = whole.items[0]
    if len(whole.items) != 1 or item.width_mm is None:
        raise InputError(
            "the size of the poster is missing", hint="--size MM of a picture, or [poster] in an arrangement"
        )
    if item.at_mm is not None:
        raise InputError("--at has no meaning for a poster of one picture", hint="leave it out")
    items = (replace(item, at_mm=(0.0, 0.0)),)
    return replace(found, arrangement=replace(whole, sheet=None, poster=Poster(whole.sheet), items=items))


def _poster(found: Arranged, plan: PlanTask, front: Front) -> Iterator[tuple[str, Job]]:
    from linewright.planning import pipeline

    for piece, job in pipeline.prepare_poster(found, plan, watched_by(front)):
        yield f"{piece.number}-row{piece.row}-column{piece.column}", job


def _series(found: Arranged, table: Path, plan: PlanTask, front: Front) -> Iterator[tuple[str, Job]]:
    from linewright.planning import pipeline
    from linewright.planning.series import filled, name_of, read_rows

    rows = read_rows(table)
    # Fill in all rows before planning the first, so that mistakes are reported at once.
    cards = [replace(found, arrangement=filled(found.arrangement, row, str(table))) for row in rows]
    digits = len(str(len(rows)))
    for number, (row, card) in enumerate(zip(rows, cards, strict=True), 1):
        try:
            job = pipeline.prepare_arrangement(card, plan, watched_by(front))
        except InputError as error:
            error.args = (f"{table}, line {row.line}: {error}",)
            raise
        yield f"{number:0{digits}}-{name_of(row)}", job
