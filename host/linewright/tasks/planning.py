"""Tasks: planning one source or many, and writing the files."""

from __future__ import annotations

import contextlib
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.errors import InputError, ProgramError
from linewright.files import read_bounded, replacing
from linewright.planning import batch, pipeline
from linewright.planning.plan_task import Lines, Placement
from linewright.planning.plan_task import PlanTask as PlanTask
from linewright.planning.surround import Surround
from linewright.program import file as program_file
from linewright.tidy import Tidiness, Watcher

if TYPE_CHECKING:
    from linewright.planning.batch import Planned
    from linewright.planning.pipeline import Job
    from linewright.program.program import Program
    from linewright.sources.picture import Picture
    from linewright.tasks.front import Front

ORDER_CEILING_S: Final = 300.0
"""Time limit for ordering; reaching it is reported. Effort is counted, not timed, so only very slow computers, or the
best order of 10^6 strokes, reach it."""


@dataclass(frozen=True)
class Outputs:
    """Output files of a plan.

    Parameters
    ----------
    program : file of one program, or folder of many; None: not saved.
    pictures : folder for previews; None: none.
    speed_map : also write a speed map.
    """

    program: Path | None = None
    pictures: Path | None = None
    speed_map: bool = False


@dataclass(frozen=True)
class Spread:
    """Where many sources are planned.

    Parameters
    ----------
    workers : processes; None: one per processor.
    cluster : address of a Dask scheduler; None: this machine.
    """

    workers: int | None = None
    cluster: str | None = None


def plan(task: PlanTask, front: Front) -> Job:
    """Plan a source, or load a saved program.

    Raises
    ------
    InputError
        The source cannot be used, or it is a saved program and the task has options that would change it.
    """
    if not pipeline.is_job(Path(task.source)):
        front.progress("making lines", 0.0)
        return pipeline.prepare(task, watched_by(front))
    said = (task.placement, task.lines, task.tidiness, task.surround)
    if said != (Placement(), Lines(), Tidiness(), Surround()):
        raise InputError(
            f"{task.source} is a planned program; its position, lines and pens are fixed",
            hint="plan the picture again with the other options",
        )
    try:
        return pipeline.load(Path(task.source), task.rig)
    except ProgramError as error:
        if (sheet := _trial_of(Path(task.source))) and "moves differently" in str(error):
            error.hint = (
                "the trial sheet was made for an earlier version of this rig file; make a new one: `linewright trial "
                f"{sheet}`"
            )
        raise


def _trial_of(job: Path) -> str:
    """Name of the trial sheet that a program draws, by the form beside it; "" for other drawings."""
    try:
        said = json.loads(job.with_suffix(".json").read_text(encoding="utf-8"))
        return str(said["trial"])
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def plan_strokes(picture: Picture, task: PlanTask, front: Front) -> Job:
    """Plan existing strokes with the task's machine and placement."""
    return pipeline.planned(picture, task, watched_by(front))


def watched_by(front: Front) -> Watcher:
    """A watcher that passes progress to a front and limits ordering by `deadline`."""
    return Watcher(front.progress, front.note, deadline())


def deadline() -> Callable[[], bool]:
    """A function that returns True when the time limit for ordering has passed."""
    until_s = time.monotonic() + ORDER_CEILING_S
    return lambda: time.monotonic() > until_s


def strokes(task: PlanTask, front: Front, *, tidied: bool) -> Picture:
    """Only the strokes of a source, at its size on the sheet; for an arrangement, those of the whole sheet.

    Parameters
    ----------
    tidied : joined, without duplicates and ordered; False: as found.
    """
    from linewright.rig.sheet_place import sheet_on
    from linewright.sources.picture import Picture
    from linewright.tidy import Tidying, tidy

    where = task.placement
    found = pipeline.arranged(task.source, where, task.lines)
    if found is not None:
        whole, on = pipeline.compose(found, task.rig, task.lines, front.progress)
        picture = Picture(whole.drawing, on.width_mm, on.height_mm, whole.warnings)
    else:
        on = sheet_on(task.rig, where.sheet, landscape=where.landscape, margin_mm=where.margin_mm)
        wish = pipeline.wish_for(task.rig, on, where, front.progress)
        picture = pipeline.read_picture(task.source, task.lines, wish)
    if not tidied:
        return picture
    return replace(picture, drawing=tidy(picture.drawing, Tidying(wanted=task.tidiness), watched_by(front)))


def write(program: Program, name: str, wanted: Outputs) -> list[Path]:
    """Write the requested files of a program; returns the pictures.

    Parameters
    ----------
    name : for captions and file names.

    Raises
    ------
    InputError, ProgramError : a file cannot be written.
    """
    from linewright.pictures import album

    written: list[Path] = []
    if wanted.pictures is not None:
        title, stem = Path(name).name, album.stem(name)
        written += album.write(album.preview_scene(program, title), wanted.pictures, f"{stem}-preview")
        if len(program.groups) > 1:
            for word, scene in album.pen_scenes(program, title):
                written += album.write(scene, wanted.pictures, f"{stem}-pen-{word}")
        if wanted.speed_map:
            written += album.write(album.speed_scene(program, title), wanted.pictures, f"{stem}-speed")
    if wanted.program is not None:
        program_file.save(program, wanted.program)
    return written


def plan_many(
    tasks: Sequence[PlanTask], wanted: Outputs, spread: Spread, front: Front
) -> list[tuple[Planned, list[Path]]]:
    """Plan each task as if alone, and write its files as soon as it is ready.

    A failure does not stop the others; each result has its outcome and its files.

    Raises
    ------
    InputError
        Two of them would write the same file, or a folder cannot be used.
    """
    _refuse_collisions([task.source for task in tasks])
    make_folders(wanted)
    pieces = [
        batch.BatchItem(
            task,
            _content(task.source) if spread.cluster else None,
            program=wanted.program is not None,
            pictures=wanted.pictures is not None,
            speed_map=wanted.speed_map,
        )
        for task in tasks
    ]
    found: dict[str, tuple[Planned, list[Path]]] = {}
    front.progress(f"planning {len(pieces)} drawings", 0.0)
    ready = batch.plan_there(pieces, spread.cluster) if spread.cluster else batch.plan_here(pieces, spread.workers)
    with contextlib.closing(ready):
        for planned in ready:
            found[planned.source] = (planned, write_files(planned, wanted))
            front.progress(f"planned {len(found)} of {len(pieces)} drawings", len(found) / len(pieces))
    return [found[task.source] for task in tasks]


def _refuse_collisions(sources: Sequence[str]) -> None:
    seen: dict[str, str] = {}
    for source in sources:
        if pipeline.is_job(Path(source)):
            raise InputError(f"{source} is a planned program already", hint="name pictures")
        name = batch.stem(source)
        if name in seen:
            both = source if seen[name] == source else f"{seen[name]} and {source}"
            raise InputError(
                f"{both} would write files of the same name, {name}",
                hint="plan them one after the other, or rename one",
            )
        seen[name] = source


_SENT_BYTES: Final = 64 << 20
"""Largest file sent to a worker: the limit of drawing files."""


def _content(source: str) -> bytes | None:
    """Contents of the file; None if it cannot be read, which the worker then reports."""
    try:
        return read_bounded(source, _SENT_BYTES)
    except (OSError, ValueError):
        return None


def make_folders(wanted: Outputs) -> None:
    """Create missing output folders."""
    for folder in (wanted.program, wanted.pictures):
        if folder is not None:
            _make(folder)


def write_files(planned: Planned, wanted: Outputs) -> list[Path]:
    """Write the files of one of several drawings."""
    return [
        _write(folder / name, data)
        for name, data in planned.files.items()
        if (folder := wanted.program if name.endswith(pipeline.JOB_SUFFIX) else wanted.pictures)
    ]


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be a folder for results: {error.strerror}", hint="name another") from error


def _write(path: Path, data: bytes) -> Path:
    try:
        with replacing(path) as stream:
            stream.write(data)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}", hint="check folder and disk") from error
    return path
