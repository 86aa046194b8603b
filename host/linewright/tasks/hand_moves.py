"""Tasks: status and test of a board, and moves by hand."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from linewright.tasks import cautions
from linewright.tasks.connection import connected

if TYPE_CHECKING:
    from linewright.board.self_test import CheckResult
    from linewright.board.session import Session
    from linewright.board.status import BoardStatus
    from linewright.rig.rig import Rig
    from linewright.tasks.front import Front
    from linewright.tasks.target import Target


@dataclass(frozen=True)
class MachineReport:
    """State of a machine after an operation.

    Parameters
    ----------
    target : the machine, with its board's identity.
    status : present status of the board.
    switches : after homing, for each axis with a switch the number of approaches (``passes``) and how far they lie
        apart (``spread_steps``, ``spread_mm``).
    servo_us : after a move of the pen, the servo's pulse.
    """

    target: Target
    status: BoardStatus
    switches: dict[str, dict[str, float]] = field(default_factory=dict)
    servo_us: int | None = None


def info(target: Target, front: Front) -> MachineReport:
    """Greeting and report of the board. Nothing is changed or moved.

    Raises
    ------
    LinkError : as for every function here: there is no such port, no board answers, or the board refuses.
    """
    with connected(target, front) as (session, at):
        session.hello()
        return MachineReport(at, _status(session, at.rig))


def check(target: Target, front: Front) -> tuple[Target, list[CheckResult]]:
    """Test link, code, settings, switches, queue and clock. A board that has just started raises the pen."""
    from linewright.board.self_test import check_board

    with _moving(target, front) as (session, at):
        return at, list(check_board(session, at.rig))


def home(target: Target, front: Front) -> MachineReport:
    """Find the endstops; an unfinished drawing on the board is abandoned."""
    with _moving(target, front) as (session, at):
        rig = at.rig
        session.greet()
        if _status(session, rig).state in ("drawing", "holding"):
            front.note("the unfinished drawing on the board is abandoned")
        homed = session.home()
        status = _status(session, rig)
    switches: dict[str, dict[str, float]] = {}
    for axis, motor in (("x", rig.a), ("y", rig.b)):
        if passes := homed.get(f"{axis}_passes", 0):
            steps = homed[f"{axis}_spread_steps"]
            switches[axis] = {"passes": passes, "spread_steps": steps, "spread_mm": steps / motor.steps_per_mm}
    return MachineReport(at, status, switches)


def jog(target: Target, front: Front, way_mm: tuple[float, float], *, to_place: bool = False) -> MachineReport:
    """Move the pen by a distance, or to a machine position, mm; straight, pen up.

    Raises
    ------
    LinkError : also if the machine is not homed.
    InputError : the position is out of reach.
    """
    from linewright.errors import LinkError

    with _moving(target, front) as (session, at):
        session.greet()
        here = _status(session, at.rig).position_mm
        if here is None:
            lasting = (
                "; `linewright virtual --stay` starts a virtual rig that keeps its position between commands"
                if at.on_virtual_rig
                else ""
            )
            raise LinkError(
                "the board does not know where the pen is", hint=f"home first: `linewright board home`{lasting}"
            )
        session.jog(way_mm if to_place else (here[0] + way_mm[0], here[1] + way_mm[1]))
        return MachineReport(at, _status(session, at.rig))


def pen(target: Target, front: Front, height: str, *, tried: bool = False) -> MachineReport:
    """Move the pen to a height: ``up``, ``down``, or a servo pulse in microseconds.

    Parameters
    ----------
    tried : do not ask about a height beyond the pen's own.

    Raises
    ------
    InputError : the text is no height, or is beyond the pen's own and was not confirmed.
    """
    from linewright.errors import InputError

    heights = {"up": target.rig.pen.up_us, "down": target.rig.pen.down_us}
    if height not in heights and not (height.isdecimal() and len(height) <= _DIGITS):
        raise InputError(f"{height!r} is not a pen height", hint="write up, down, or a servo pulse such as 1400")
    servo_us = heights[height] if height in heights else int(height)
    _check_servo_range(target, front, servo_us, tried=tried)
    with _moving(target, front) as (session, at):
        session.greet()
        session.pen(servo_us)
        return MachineReport(at, _status(session, at.rig), servo_us=servo_us)


_DIGITS: Final = 9
"""Most digits accepted: more than any servo pulse has; Python refuses thousands."""


def _check_servo_range(target: Target, front: Front, servo_us: int, *, tried: bool) -> None:
    """Refuse pulses that the board would refuse, and ask before a pulse beyond the rig's heights."""
    from linewright.errors import InputError
    from linewright.rig.board_settings import pen_heights_us, servo_range_us

    low, high = servo_range_us(target.rig)
    if not low <= servo_us <= high:
        raise InputError(
            f"a pen height of {servo_us} us is outside {low}..{high} us, the range for this rig",
            hint="near its stop a servo draws its stall current and overheats. The range follows pen.up_us and "
            "pen.down_us of the rig file: approach the height in steps, and enter it there",
        )
    low, high = pen_heights_us(target.rig)
    if low <= servo_us <= high or tried or target.on_virtual_rig:
        return
    about = (
        f"{servo_us} us is beyond the heights in the rig file, {low} to {high} us: a servo that meets its stop draws "
        "its "
        "stall current and overheats; listen for a hum, and go back at once"
    )
    said = front.confirm("move it there?", about)
    if said is None:
        raise InputError(about, hint="add --try to move it there anyway")
    if not said:
        raise InputError("the pen has not moved", hint="nothing was changed")


def cut(target: Target, front: Front) -> Target:
    """Switch the motors off at once, raise the pen; the position is lost."""
    # The board is not greeted first, because seconds matter.
    with connected(target, front, met=False) as (session, at):
        session.cut()
        return at


@contextmanager
def _moving(target: Target, front: Front) -> Iterator[tuple[Session, Target]]:
    """Context manager: a session with a machine that may move, after its cautions were shown."""
    with connected(target, front) as (session, at):
        cautions.remember(at.port)
        yield session, at


def _status(session: Session, rig: Rig) -> BoardStatus:
    from linewright.board.status import BoardStatus

    greeting = session.greeting
    assert greeting is not None, "the session has greeted"
    return BoardStatus.of(greeting, session.fresh_report(), rig)
