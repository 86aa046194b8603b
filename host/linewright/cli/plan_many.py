"""``linewright plan`` with several sources, each planned as if alone."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from linewright.cli import next_steps, output

if TYPE_CHECKING:
    from linewright.planning.batch import Planned
    from linewright.tasks.planning import Outputs, PlanTask, Spread
    from linewright.tasks.sheets import SheetsTask


def carry_out(tasks: Sequence[PlanTask], wanted: Outputs, spread: Spread, *, as_json: bool) -> None:
    """Plan all, and print the results; the exit code is the worst one."""
    from linewright.cli.terminal import Terminal
    from linewright.tasks import planning

    with Terminal(as_json=as_json) as front:
        done = planning.plan_many(tasks, wanted, spread, front)
    _tell(done, wanted, as_json=as_json)


def carry_out_sheets(task: SheetsTask, wanted: Outputs, *, as_json: bool) -> None:
    """Plan every sheet of a poster or a series, and print the results."""
    from linewright.cli.terminal import Terminal
    from linewright.tasks import sheets

    with Terminal(as_json=as_json) as front:
        done = sheets.plan_sheets(task, wanted, front)
    _tell(done, wanted, as_json=as_json)


def _tell(done: Sequence[tuple[Planned, Sequence[Path]]], wanted: Outputs, *, as_json: bool) -> None:
    from linewright.cli.tables import drawings as report

    results = [planned for planned, _ in done]
    if as_json:
        output.emit_json({"drawings": [_facts(planned, files) for planned, files in done]})
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
        for folder in {wanted.program, wanted.pictures} - {None}:
            output.say(f"{folder}: {sum(path.parent == folder for _, files in done for path in files)} files")
        if wanted.program is not None and not any(one.code for one in results):
            output.prose(f"draw them, sheet after sheet: `{next_steps.command('draw', wanted.program)}`")
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
