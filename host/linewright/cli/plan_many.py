"""``linewright plan`` with several sources: each becomes what it would have become alone."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from linewright.cli import output
from linewright.errors import InputError

if TYPE_CHECKING:
    from linewright.planning.batch import Planned
    from linewright.planning.pipeline import Lines, Placement
    from linewright.rig.rig import Rig
    from linewright.tidy import Tidiness


@dataclass(frozen=True)
class Wanted:
    """What is to be planned, and where results go.

    Parameters
    ----------
    programs, pictures : folders; None: not wanted.
    workers : processes; None: one for each processor.
    cluster : address of a Dask scheduler; None: this machine.
    """

    sources: Sequence[str]
    rig: Rig
    placement: Placement
    lines: Lines
    tidiness: Tidiness
    programs: Path | None
    pictures: Path | None
    speed_map: bool
    workers: int | None
    cluster: str | None
    as_json: bool


def carry_out(wanted: Wanted) -> None:
    """Plan all, write what each gives as it is ready, and tell how each went; the worst exit code is the command's."""
    from linewright.cli.progress import ProgressBar
    from linewright.planning import batch

    _refuse_collisions(wanted.sources)
    make_folders(wanted)
    pieces = [
        batch.Piece(
            source,
            wanted.rig,
            wanted.placement,
            wanted.lines,
            wanted.tidiness,
            _content(source) if wanted.cluster else None,
            program=wanted.programs is not None,
            pictures=wanted.pictures is not None,
            speed_map=wanted.speed_map,
        )
        for source in wanted.sources
    ]
    found: dict[str, Planned] = {}
    written: dict[str, list[Path]] = {}
    with ProgressBar(shown=not wanted.as_json) as bar:
        bar.share(f"planning {len(pieces)} drawings", 0.0)
        ready = batch.plan_there(pieces, wanted.cluster) if wanted.cluster else batch.plan_here(pieces, wanted.workers)
        with contextlib.closing(ready):
            for planned in ready:
                found[planned.source] = planned
                written[planned.source] = write(wanted, planned.files)
                bar.share(f"planned {len(found)} of {len(pieces)} drawings", len(found) / len(pieces))
    tell(wanted, [found[source] for source in wanted.sources], written)


def tell(wanted: Wanted, results: Sequence[Planned], written: Mapping[str, Sequence[Path]]) -> None:
    """Tell how each went; the worst exit code is the command's.

    Parameters
    ----------
    written : the files of each source.
    """
    from linewright.cli.tables import drawings as report

    if wanted.as_json:
        output.emit_json({"drawings": [_facts(one, written[one.source]) for one in results]})
    else:
        for one in results:
            for warning in one.facts.get("warnings", ()):
                output.warn(f"{one.source}: {warning}")
        output.console().print(report.batch_table(results))
        for one in results:
            if one.code:
                output.error(_with_source(one), one.hint, as_json=False)
            if one.details:
                output.say(one.details, stderr=True)
        for folder in {wanted.programs, wanted.pictures} - {None}:
            output.say(f"{folder}: {sum(path.parent == folder for paths in written.values() for path in paths)} files")
    if worst := max(one.code for one in results):
        raise typer.Exit(worst)


def _with_source(one: Planned) -> str:
    return one.error if one.error.startswith(one.source) else f"{one.source}: {one.error}"


def _facts(one: Planned, written: Sequence[Path]) -> dict[str, object]:
    facts: dict[str, object] = {"source": one.source, "code": one.code}
    if one.code:
        return {**facts, "error": one.error, "hint": one.hint}
    programs = [str(path) for path in written if path.suffix == ".lw"]
    pictures = [str(path) for path in written if path.suffix != ".lw"]
    return {**facts, **one.facts, "pictures": pictures, "program": programs[0] if programs else None}


def _refuse_collisions(sources: Sequence[str]) -> None:
    from linewright.planning import batch, pipeline

    seen: dict[str, str] = {}
    for source in sources:
        if pipeline.is_job(Path(source)):
            raise InputError(f"{source} is a program, planned already", hint="name pictures")
        name = batch.stem(source)
        if name in seen:
            both = source if seen[name] == source else f"{seen[name]} and {source}"
            raise InputError(
                f"{both} would write files of the same name, {name}",
                hint="plan them one after the other, or rename one",
            )
        seen[name] = source


def _content(source: str) -> bytes | None:
    """Of the file, if there is one that can be read; else the worker says what is wrong."""
    try:
        return Path(source).read_bytes()
    except (OSError, ValueError):
        return None


def make_folders(wanted: Wanted) -> None:
    """Make the folders for what is wanted, where they are not there."""
    for folder in (wanted.programs, wanted.pictures):
        if folder is not None:
            _make(folder)


def write(wanted: Wanted, files: Mapping[str, bytes]) -> list[Path]:
    """Write the files of one drawing where they belong."""
    from linewright.planning import pipeline

    return [
        _write(folder / name, data)
        for name, data in files.items()
        if (folder := wanted.programs if name.endswith(pipeline.JOB_SUFFIX) else wanted.pictures)
    ]


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be a folder for results: {error.strerror}", hint="name another") from error


def _write(path: Path, data: bytes) -> Path:
    from linewright.files import replacing

    try:
        with replacing(path) as stream:
            stream.write(data)
    except OSError as error:
        raise InputError(f"{path}: cannot be written: {error.strerror}", hint="check folder and disk") from error
    return path
