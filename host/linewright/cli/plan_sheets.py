"""``linewright plan`` of a poster or a series: one source that becomes several sheets, one program each."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from linewright.cli import options, plan_many
from linewright.errors import InputError

if TYPE_CHECKING:
    from linewright.planning.pipeline import Arranged, Job
    from linewright.sources.picture import Report


def carry_out(wanted: plan_many.Wanted, base: str, *, poster: bool, series: Path | None) -> None:
    """Plan every sheet, write what each gives as it is ready, and tell how each went.

    Parameters
    ----------
    wanted : with one source.
    base : what the files of all sheets begin with.
    poster : the picture is divided among sheets.
    series : a table with one row for each sheet; None: no series.

    Raises
    ------
    InputError
        If the source is no arrangement and gets no size, or both are asked for.
    """
    from linewright.cli.progress import ProgressBar
    from linewright.planning import batch, pipeline

    source = wanted.sources[0]
    found = pipeline.arranged(source, wanted.placement, wanted.lines)
    if found is not None and poster and found.arrangement.poster is None:
        found = _as_poster(found)
    if found is None:
        what = "--poster needs --size, the width of the whole" if poster else "--series fills an arrangement"
        raise InputError(what, hint="such as --size 800" if poster else "name a .toml file; see docs/ARRANGEMENTS.md")
    if series is not None and found.arrangement.poster is not None:
        raise InputError("a poster is no series", hint="plan one of them at once")
    plan_many.make_folders(wanted)
    piece = batch.Piece(
        source,
        wanted.rig,
        wanted.placement,
        wanted.lines,
        wanted.tidiness,
        program=wanted.programs is not None,
        pictures=wanted.pictures is not None,
        speed_map=wanted.speed_map,
    )
    results: list[batch.Planned] = []
    written: dict[str, list[Path]] = {}
    with ProgressBar(shown=not wanted.as_json) as bar:
        jobs = _poster(found, wanted, bar.share) if series is None else _series(found, series, wanted, bar.share)
        for ending, job in jobs:
            name = f"{base.removesuffix('-toml')}-{ending}"
            with tempfile.TemporaryDirectory(prefix="linewright-") as folder:
                planned = batch.outcome(job, replace(piece, source=name), name, name, Path(folder))
            results.append(planned)
            written[name] = plan_many.write(wanted, planned.files)
    plan_many.tell(wanted, results, written)


def _as_poster(found: Arranged) -> Arranged:
    """A picture with a size, as a poster on sheets of the kind that was named."""
    from linewright.planning.arrangement import Poster

    whole = found.arrangement
    item = whole.items[0]
    if len(whole.items) != 1 or item.width_mm is None:
        raise InputError("a poster needs a size", hint="--size MM of a picture, or [poster] in an arrangement")
    if item.at_mm is not None:
        raise InputError("--at has no meaning for a poster of one picture", hint="leave it out")
    items = (replace(item, at_mm=(0.0, 0.0)),)
    return replace(found, arrangement=replace(whole, sheet=None, poster=Poster(whole.sheet), items=items))


def _poster(found: Arranged, wanted: plan_many.Wanted, report: Report) -> Iterator[tuple[str, Job]]:
    from linewright.planning import pipeline

    enough = options.deadline()
    sheets = pipeline.prepare_poster(
        found, wanted.rig, wanted.lines, tidiness=wanted.tidiness, report=report, enough=enough
    )
    for piece, job in sheets:
        yield f"{piece.number}-row{piece.row}-column{piece.column}", job


def _series(found: Arranged, table: Path, wanted: plan_many.Wanted, report: Report) -> Iterator[tuple[str, Job]]:
    from linewright.planning import pipeline
    from linewright.planning.series import filled, name_of, read_rows

    rows = read_rows(table)
    # All rows are filled in before the first is planned: a mistake in the last one is told at once.
    cards = [replace(found, arrangement=filled(found.arrangement, row, str(table))) for row in rows]
    digits = len(str(len(rows)))
    for number, (row, card) in enumerate(zip(rows, cards, strict=True), 1):
        try:
            job = pipeline.prepare_arrangement(
                card, wanted.rig, wanted.lines, tidiness=wanted.tidiness, report=report, enough=options.deadline()
            )
        except InputError as error:
            error.args = (f"{table}, line {row.line}: {error}",)
            raise
        yield f"{number:0{digits}}-{name_of(row)}", job
