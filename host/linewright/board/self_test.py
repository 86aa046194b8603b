"""`check_board`: checks that a board is ready for a rig. No motor moves.

A board that has just started raises the pen when it receives its settings; nothing else moves.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from linewire import messages, records
from linewright import units
from linewright.board import files as board_files
from linewright.board.status import BoardStatus
from linewright.errors import LinewrightError, Refused
from linewright.rig.board_settings import board_settings

if TYPE_CHECKING:
    from linewright.board.session import Session
    from linewright.board.session_values import Greeting
    from linewright.rig.rig import Rig

ROUNDS: Final = 50
"""Round trips: enough for a median and to reveal a bad cable, in less than a second."""

SLOW_S: Final = 0.05
"""Limit of the median round trip. USB takes a few milliseconds. At 50 ms, a window of eight frames of about 60 records
each carries 8 x 60 / 0.05 = 9600 records/s, ten times what dense drawings need; a slower line is faulty."""

QUEUE_RECORDS: Final = records.MOST + round(SLOW_S * 5000)
"""Records that the board's queue must hold: a full frame of the smallest records, and the records played during a slow
round trip at 5000 ramps/s, the most that a board plays."""

REST_TICKS: Final = units.TICK_HZ // 2
"""Half a second of rest, to check the player's clock."""

LATE_S: Final = 0.5
"""Allowed delay at the end of a rest: the board reports every 0.1 s, and a busy laptop adds some."""


@dataclass(frozen=True)
class CheckResult:
    """Result of one check.

    Parameters
    ----------
    name : what was checked.
    outcome : "passed", "failed", "note" (something to know that stops nothing), or "not run".
    said : the result in words, with figures.
    hint : what to do.
    """

    name: str
    outcome: Literal["passed", "failed", "note", "not run"]
    said: str
    hint: str = ""


def check_board(session: Session, rig: Rig, *, tell_rig: bool = True) -> Iterator[CheckResult]:
    """Check a board, yielding one result after the other; ends early if the other checks would be meaningless.

    Parameters
    ----------
    session : on an open link, before the greeting.
    rig : the session's rig.
    tell_rig : send the rig's settings. False: check link, code and queue only, because the settings of another
        machine would turn wrong pins into outputs.

    Raises
    ------
    NoAnswer, LinkError : the board does not answer, or stops answering.
    """
    greeting = session.hello()
    yield _link(session)
    code = _code(greeting)
    yield code
    if code.outcome == "failed":
        return
    if not tell_rig:
        yield _queue(greeting)
        return
    told = _rig(session, rig)
    yield told
    if told.outcome == "failed":
        return
    status = BoardStatus.of(greeting, session.fresh_report(), rig)
    yield _state(status)
    yield _position(status, rig)
    yield _endstops(status, rig)
    if status.motor_power is not None:
        yield _motor_power(status)
    yield _pen(status)
    yield _queue(greeting)
    yield _clock(session, status)


def _link(session: Session) -> CheckResult:
    quality = session.link_quality(ROUNDS)
    trips = quality.round_trips_s
    said = f"{len(trips)} round trips, {median(trips) * 1e3:.1f} ms median, {max(trips) * 1e3:.1f} ms maximum"
    if quality.damaged or quality.retransmitted:
        return CheckResult(
            "link",
            "failed",
            f"{said}; {quality.damaged} frames came damaged, {quality.retransmitted} were sent again",
            "this only costs time; use a shorter or better cable, away from the motor wires",
        )
    if median(trips) > SLOW_S:
        return CheckResult("link", "failed", f"{said}; {SLOW_S * 1e3:g} ms is the limit for drawing without waits")
    return CheckResult("link", "passed", said)


def _code(greeting: Greeting) -> CheckResult:
    said = f"{greeting.version} on {greeting.board}, code {greeting.digest:08x}"
    if greeting.same_code:
        return CheckResult("code", "passed", said)
    return CheckResult(
        "code",
        "failed",
        f"{said}; this host's is {board_files.digest():08x}",
        "install this version's code with `linewright board flash`",
    )


def _rig(session: Session, rig: Rig) -> CheckResult:
    try:
        session.tell_rig()
    except Refused as refusal:
        return CheckResult(
            "rig",
            "failed",
            f"{refusal.field} = {refusal.value}, this board accepts {refusal.low}..{refusal.high}",
            "change the rig file",
        )
    except LinewrightError as error:
        return CheckResult("rig", "failed", error.message, error.hint)
    return CheckResult("rig", "passed", f"the board accepts all {len(board_settings(rig))} settings of '{rig.name}'")


def _state(status: BoardStatus) -> CheckResult:
    if status.fault != "none":
        return CheckResult(
            "state",
            "failed",
            f"{status.state}, fault '{status.fault}'",
            "clear the fault, then run `linewright board home`",
        )
    if status.state in ("drawing", "holding"):
        return CheckResult(
            "state",
            "note",
            f"{status.state}: a drawing was left unfinished",
            "`linewright board home` abandons it",
        )
    return CheckResult("state", "passed", f"{status.state}, no fault")


def _position(status: BoardStatus, rig: Rig) -> CheckResult:
    if status.position_mm is None:
        return CheckResult("position", "note", "not known yet", "`linewright board home`")
    x, y = status.position_mm
    said = f"x {x:.3f} mm, y {y:.3f} mm" + (", homed" if status.homed else ", set by hand")
    # Rounding to whole steps may add half a step.
    slack_mm = 0.5 / float(rig.steps_per_mm.min())
    drives = np.linalg.solve(rig.kinematics_matrix, np.array(status.position_steps, dtype=np.float64))
    low, high = rig.shape.room_mm
    if (drives < np.array(low) - slack_mm).any() or (drives > np.array(high) + slack_mm).any():
        reach = f"{rig.x.travel_mm:g} x {rig.y.travel_mm:g} mm"
        return CheckResult("position", "failed", f"{said}; outside the reach of {reach}", "`linewright board home`")
    return CheckResult("position", "passed", said)


def _endstops(status: BoardStatus, rig: Rig) -> CheckResult:
    pressed = []
    for name, axis, closed in (("x", rig.x, status.endstop_x), ("y", rig.y, status.endstop_y)):
        if axis.endstop != "none" and closed:
            pressed.append(name)
    if all(axis.endstop == "none" for axis in (rig.x, rig.y)):
        return CheckResult("endstops", "passed", "the rig has none")
    if pressed:
        return CheckResult(
            "endstops",
            "note",
            f"pressed: {' and '.join(pressed)}",
            "correct if the carriage is at this switch; otherwise check the switch and its wiring before homing",
        )
    return CheckResult("endstops", "passed", "all read open")


def _motor_power(status: BoardStatus) -> CheckResult:
    if status.motor_power:
        return CheckResult("motor power", "passed", "sensed")
    return CheckResult("motor power", "note", "off", "switch the motors' supply on before homing")


def _pen(status: BoardStatus) -> CheckResult:
    if status.pen_up:
        return CheckResult("pen", "passed", "up")
    return CheckResult("pen", "note", "down, or at another height", "`linewright board pen up`")


def _queue(greeting: Greeting) -> CheckResult:
    said = f"{greeting.queue_slots} records"
    if greeting.queue_slots < QUEUE_RECORDS:
        return CheckResult("queue", "failed", f"{said}; a full frame and a slow round trip need {QUEUE_RECORDS}")
    return CheckResult("queue", "passed", said)


def _clock(session: Session, status: BoardStatus) -> CheckResult:
    if status.state != "ready" or not status.motors_on:
        return CheckResult("clock", "not run", "this test needs a homed machine", "`linewright board home`")
    played, took_s = session.play_rest(REST_TICKS)
    wanted_s = units.ticks_to_s(REST_TICKS)
    said = f"a pause of {wanted_s:g} s took {took_s:.3f} s"
    if played != REST_TICKS:
        return CheckResult("clock", "failed", f"{said}; {played} ticks were played instead of {REST_TICKS}")
    # Time of a virtual rig, known by the board's name, may run faster than real time.
    if status.board != messages.BOARDS[0] and not wanted_s <= took_s <= wanted_s + LATE_S:
        return CheckResult("clock", "failed", f"{said}, by this computer's clock")
    return CheckResult("clock", "passed", said)
