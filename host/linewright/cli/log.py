"""``linewright log``: list past drawings, their times and failures."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict, astuple
from typing import Annotated

import typer

from linewright.cli import options, output


def log(
    most: Annotated[
        int, typer.Option("--last", "-n", metavar="N", min=1, help="Number of drawings, the newest first.")
    ] = 20,
    as_csv: Annotated[bool, typer.Option("--csv", help="Write all columns as CSV.")] = False,
    as_json: options.AsJson = False,
) -> None:
    """List the drawings that were made on this computer."""
    from linewright.tasks.logbook import columns
    from linewright.tasks.logbook import entries as newest

    entries = newest(most)
    if as_json:
        output.emit_json({"drawings": [asdict(entry) for entry in entries]})
    elif as_csv:
        table = io.StringIO()
        writer = csv.writer(table, lineterminator="\n")
        writer.writerow(columns())
        writer.writerows(astuple(entry) for entry in entries)
        output.say(table.getvalue().rstrip("\n"))
    elif entries:
        from linewright.cli.tables import drawings as report

        console = output.console()
        console.print((report.log_table if console.width >= report.LOG_COLUMNS else report.log_lines)(entries))
    else:
        output.say("nothing has been drawn yet")
