"""Tables about a board."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from rich.table import Table

from linewright import wording

if TYPE_CHECKING:
    from linewright.board.flashing import FlashResult
    from linewright.board.self_test import CheckResult
    from linewright.board.status import BoardStatus
    from linewright.bringup.dialogue import Step, Walked
    from linewright.bringup.hands import Hands

_UNKNOWN: Final = "not known yet"
"""Shown before the board has its settings."""

_STEP_STYLES: Final = {"done": "green", "failed": "bold red", "skipped": "yellow", "todo": "dim"}
_STYLES: Final = {"passed": "green", "failed": "bold red", "note": "yellow", "not run": "dim"}


def status_table(status: BoardStatus, port: str) -> Table:
    """All that a board reports."""
    table = Table(title=port, title_justify="left", box=None, show_header=False, pad_edge=False)
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    code = "the code of this host" if status.same_code else "NOT this host's code: run `linewright board flash`"
    table.add_row("board", f"{status.board}, {status.version}")
    table.add_row("code", f"{status.digest}, {code}")
    table.add_row(
        "limits",
        f"{wording.grouped(status.max_rate_steps_s)} steps/s, queue of {wording.count(status.queue_slots, 'record')}, "
        f"{status.pulse_overhead_us:g} us minimum between pulses",
    )
    table.add_row("state", status.state)
    table.add_row("fault", status.fault)
    table.add_row("position", position(status))
    table.add_row("pen", pen(status))
    without = ", WITHOUT power: check their switch and fuse" if status.motor_power is False else ""
    table.add_row("motors", f"{'on' if status.motors_on else 'off'}{without}")
    table.add_row("endstops", f"x {_pressed(status.endstop_x)}, y {_pressed(status.endstop_y)}")
    return table


def pen(status: BoardStatus) -> str:
    """Present height of the pen."""
    if status.pen_up is None:
        return f"{_UNKNOWN}: the next command sends the rig's settings, and the board then raises the pen"
    return "up" if status.pen_up else "down, or at another height"


def position(status: BoardStatus) -> str:
    """Position of the pen, if the board knows it."""
    if status.position_mm is None:
        return "not known: home the machine"
    x, y = status.position_mm
    a, b = status.position_steps
    return f"x {x:.3f} mm, y {y:.3f} mm (motor steps {a}, {b}), {'homed' if status.homed else 'set by hand'}"


def check_table(findings: Iterable[CheckResult], port: str) -> Table:
    """One line for each check, with its hint below."""
    table = Table(title=port, title_justify="left", box=None, show_header=False, pad_edge=False)
    table.add_column(style="bold", no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column()
    for finding in findings:
        style = _STYLES[finding.outcome]
        table.add_row(finding.name, f"[{style}]{finding.outcome}[/]", finding.said)
        if finding.hint:
            table.add_row("", "", f"next: {finding.hint}")
    return table


def bring_up_table(steps: Iterable[Step], walked: Walked, hands: Hands) -> Table:
    """Result of each step of a bring-up, and changes of the rig file."""
    table = Table(box=None, show_header=False, pad_edge=False)
    table.add_column(style="bold", no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for step in steps:
        state = walked.states.get(step.name, "todo")
        table.add_row(step.title, f"[{_STEP_STYLES[state]}]{state}[/]", walked.said.get(step.name, ""))
    for key, value in hands.corrections.items():
        table.add_row("written", "", f"{key} = {str(value).lower() if isinstance(value, bool) else value}")
    if hands.kept is not None:
        table.add_row("", "", f"previous version of the file: {hands.kept}")
    if walked.complete:
        table.add_row("next", "", "`linewright trial`: lists the calibration sheets in their order")
        table.add_row("", "", "`linewright draw FILE`: a first picture")
    return table


def flash_table(result: FlashResult, port: str) -> Table:
    """Result of flashing a board."""
    table = Table(title=port, title_justify="left", box=None, show_header=False, pad_edge=False)
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    board = result.board
    table.add_row("board", board.machine)
    table.add_row("MicroPython", board.version_text)
    form = (
        f"compiled for {result.architecture}" if result.architecture else "as source, which the board compiles itself"
    )
    if result.copied:
        what = f"{wording.count(result.copied, 'file')}, {wording.count(result.bytes_copied, 'byte')}, {form}"
    else:
        what = "all files were on the board already, nothing copied"
    table.add_row("code", f"{result.digest:08x}: {what}")
    table.add_row("checked", f"{wording.count(result.files, 'file')}, each by its CRC-32 on the board")
    table.add_row(
        "memory",
        f"{wording.count(board.heap_free, 'byte')} free; flash: {wording.count(result.flash_free, 'byte')} free",
    )
    return table


def _pressed(state: bool | None) -> str:
    return _UNKNOWN if state is None else "pressed" if state else "free"
