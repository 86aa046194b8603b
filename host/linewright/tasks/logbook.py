"""The log of drawings: reading, and writing a line for each drawing.

Failures to write the log are reported and do not stop the drawing.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linewright.board.drift import Drift
    from linewright.board.session_values import DrawResult
    from linewright.run.log import LogEntry
    from linewright.run.recovery import ResumePoint
    from linewright.run.story import Story
    from linewright.tasks.draw_task import DrawTask
    from linewright.tasks.front import Front


@dataclass
class Noted:
    """Values for the log that are known when the drawing has ended."""

    result: DrawResult | None = None
    drift: Drift | None = None

    def worst_mm(self, axis: str) -> float | None:
        """The largest drift found on an axis; None if not checked."""
        found = [*(self.result.drifts if self.result is not None else ()), *filter(None, (self.drift,))]
        values = [drift.x_mm if axis == "x" else drift.y_mm for drift in found]
        return max(values, key=abs, default=None)


def entries(most: int | None = None) -> list[LogEntry]:
    """The newest drawings, at most ``most``, newest first.

    Raises
    ------
    InputError : the log cannot be read.
    """
    from linewright.run import log as drawing_log

    return drawing_log.entries(most)


def columns() -> tuple[str, ...]:
    """Names of the log's columns, in the order of `LogEntry`."""
    from linewright.run import log as drawing_log

    return drawing_log.COLUMNS


@contextmanager
def noted(task: DrawTask, place: ResumePoint, began: str, front: Front) -> Iterator[Noted]:
    """Context manager around a drawing, which writes its line at the end. Its start time comes from the journal, or is
    now.
    """
    from linewright import units
    from linewright.board.drift import Drifted

    began = began or _now()
    outcome, fault, known = "stopped", "", Noted()
    try:
        yield known
    except Exception as error:
        outcome, fault = "failed", str(error)
        if isinstance(error, Drifted):
            known.drift = error.drift
        raise
    finally:
        entry = replace(
            _entry(task, began, _now()),
            outcome=outcome,
            fault=fault,
            first_stroke=place.stroke,
            predicted_s=units.ticks_to_s(place.tail.predicted_ticks if place.tail is not None else 0),
            drift_x_mm=known.worst_mm("x"),
            drift_y_mm=known.worst_mm("y"),
        )
        if (result := known.result) is not None:
            entry = replace(
                entry,
                outcome="finished" if result.finished else outcome,
                played_s=units.ticks_to_s(result.played_ticks),
                retransmitted_frames=result.retransmitted_frames,
                damaged_frames=result.damaged_frames,
                starved=result.starved,
                underruns=result.underruns,
            )
        _add(entry, front)


def note_broken_off(task: DrawTask, story: Story, front: Front) -> None:
    """Write the line that a killed command could not write, from its journal."""
    from linewright import units
    from linewright.run import recovery

    program = task.program
    reached = list(story.numbers.values())[-1]
    predicted_ticks = int(program.predicted_ticks - program.ticks_before[reached])
    entry = replace(
        # The journal's first line has the start; a resumed drawing started again with its last ``begin`` line.
        _entry(task, story.began if len(story.numbers) == 1 else story.begun, story.last),
        outcome="broke off",
        first_stroke=recovery.strokes_done(program, reached),
        predicted_s=units.ticks_to_s(predicted_ticks),
        port=story.port,
    )
    _add(entry, front)


def _entry(task: DrawTask, began: str, ended: str) -> LogEntry:
    """The values known before a drawing begins."""
    from linewright.run.log import LogEntry

    program = task.program
    settings = {
        "sheet_mm": [program.sheet.width_mm, program.sheet.height_mm],
        "margin_mm": program.sheet.margin_mm,
        "sheet_offset_mm": list(program.sheet_position.offset_mm),
        "pens": [program.drawing.pens[group.pen].name for group in program.groups],
        "ask_pens": task.asks_for_pens,
        "check_drift": sorted(task.drift.moments) if task.drift is not None else [],
        "drift_limit_mm": task.drift.limit_mm if task.drift is not None else None,
    }
    return LogEntry(
        began=began,
        ended=ended,
        picture=task.name,
        sheet=program.sheet.name,
        rig=task.rig.name,
        rig_fingerprint=program.rig_fingerprint,
        port=task.port,
        outcome="",
        fault="",
        strokes=len(program.drawing),
        first_stroke=0,
        pen_down_mm=round(program.pen_down_mm, 3),
        predicted_s=0.0,
        played_s=None,
        retransmitted_frames=None,
        damaged_frames=None,
        starved=None,
        underruns=None,
        settings=json.dumps(settings),
        rehearsal=int(task.target.rehearses),
    )


def _add(entry: LogEntry, front: Front) -> None:
    from linewright.errors import InputError
    from linewright.run import log as drawing_log

    try:
        drawing_log.add(entry)
    except InputError as error:
        front.note(str(error))


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
