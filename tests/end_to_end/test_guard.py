"""Faults on the virtual rig end in the right state: pen up, no pulse outside the limits."""

from __future__ import annotations

import contextlib
import signal
from typing import Any

import pytest

from dual.record_reader import give
from lineboard import guard
from linewire import messages, records
from linewright.board.session import Session
from linewright.board.session_values import Control
from linewright.cli.progress import StopOnSignals
from linewright.drawing.strokes import Drawing
from linewright.errors import LinewrightError, LinkError
from linewright.motion import plan
from linewright.rig.rig import Rig
from linewright.run import course
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.replay import read_trace
from linewright.simulation.tape import ENABLE, SERVO, TapeReader
from linewright.units import TICK_HZ
from linewright.virtual.harness import LockstepRig, LockstepWire

from .whole_rig import BY_HAND, HOMING, assert_clean, circle

# A fast rig, so that homing takes a second or two.
RIG = HOMING.changed(
    {
        "homing.fast_mm_s": 60.0,
        "homing.slow_mm_s": 10.0,
        "homing.accel_mm_s2": 2000.0,
        "homing.backoff_mm": 1.0,
        "axis.x.endstop_contact": "normally-closed",
        "axis.y.endstop_contact": "normally-closed",
        "guard.host_silence_s": 0.5,
    }
)


def press_x(rig: LockstepRig, wire: LockstepWire, session: Session) -> None:
    rig.world.press(0, on=True)


def unplug(rig: LockstepRig, wire: LockstepWire, session: Session) -> None:
    wire.stall(30.0)


def stand_still(rig: LockstepRig, wire: LockstepWire, session: Session) -> None:
    """One turn of the loop takes longer than the player's queued work."""
    pause, board = rig.board.port.pause, rig.board

    def late(max_us: int, expecting: int, _spare_us: int) -> None:
        rig.board.port.pause = pause
        for _ in range(20):
            pause(20_000, expecting)

    board.port.pause = late


def give_more(rig: LockstepRig, *record: int) -> None:
    """One more record than queued, as if the end of the program were not received yet."""
    rig.board.guard.limits[guard._ENDED] = 0
    give(rig.board, *record)


def bad_record(rig: LockstepRig, wire: LockstepWire, session: Session) -> None:
    give_more(rig, records.RAMP, 0, 0, 100)


def out_of_reach(rig: LockstepRig, wire: LockstepWire, session: Session) -> None:
    give_more(rig, records.RAMP, -16_000, 0, 4000)


def cut(rig: LockstepRig, wire: LockstepWire, session: Session) -> None:
    session.cut()
    raise LinewrightError("cut")


@pytest.mark.parametrize(
    ("act", "name", "state", "trusted"),
    [
        (press_x, "endstop hit", "faulted", False),
        (stand_still, "player broke off", "faulted", False),
        (bad_record, "bad records", "faulted", True),
        (out_of_reach, "beyond limits", "faulted", True),
        (unplug, "host lost", "holding", True),
        (cut, "motors cut", "unhomed", False),
    ],
)
def test_in_mid_drawing(tmp_path, act: Any, name: str, state: str, trusted: bool) -> None:
    seen = run(tmp_path, act)
    assert seen["fault"] == name
    assert (seen["state"], seen["trusted"]) == (state, trusted)


WITHOUT_POWER_S = 5.3
"""After the start of the virtual rig: homing has ended, and the circle has begun."""


def test_motors_that_lose_their_power_stop_the_drawing(tmp_path) -> None:
    """The virtual rig's own fault, and a board that senses it; ISO 14118: its return starts nothing."""
    sensed = RIG.changed({"supply.power_sense": "optocoupler", "pins.motor_power": 11})
    seen = run(tmp_path, None, Faults(power_off_at_s=WITHOUT_POWER_S, power_off_for_s=0.15), sensed)
    assert (seen["fault"], seen["state"], seen["trusted"]) == ("motor power lost", "faulted", False)


def test_nobody_tells_of_power_that_is_not_sensed(tmp_path) -> None:
    """The position then differs from the board's count, as the fault reports."""
    seen = run(tmp_path, None, Faults(power_off_at_s=WITHOUT_POWER_S, power_off_for_s=0.15), loses_steps=True)
    assert (seen["fault"], seen["trusted"]) == ("none", True)


@pytest.mark.parametrize(
    ("faults", "name"),
    [
        (Faults(stuck_y=1), "switch stuck"),
        (Faults(dead_y=1), "switch missing"),
        (Faults(swapped_endstops=1), "wrong switch"),
    ],
)
def test_while_homing(tmp_path, faults: Faults, name: str) -> None:
    seen = run(tmp_path, None, faults)
    assert (seen["fault"], seen["state"], seen["trusted"]) == (name, "faulted", False)


def draw_with(rig: LockstepRig, spoil: Any, control: Control | None = None) -> None:
    """Draw, and break the board as soon as the pen moves."""
    program = plan(Drawing.from_strokes([circle(50, 50, 20)]), BY_HAND)
    spoilt = []

    def host(link: LockstepWire) -> None:
        session = Session(link, BY_HAND)

        def watch(progress: Any) -> None:
            if progress.played_s > 0.3 * program.predicted_s and not spoilt:
                spoilt.append(True)
                spoil(rig)

        session.greet()
        session.home()
        course.draw(session, program, control=control, on_progress=watch)

    with rig.host_time():
        rig.run(host)


def play_nothing(rig: LockstepRig) -> None:
    rig.board.feeder.feed = lambda: None


def acknowledge_nothing(rig: LockstepRig) -> None:
    """It continues to report, but accepts no more messages."""
    rig.board.server.endpoint.take = lambda: False


@pytest.mark.parametrize("stops", [False, True])
@pytest.mark.parametrize("spoil", [play_nothing, acknowledge_nothing])
def test_a_board_that_talks_and_never_gets_on_is_given_up(spoil: Any, stops: bool) -> None:
    """Neither the drawing nor a requested stop waits for it for ever."""
    control = Control()

    def both(rig: LockstepRig) -> None:
        spoil(rig)
        if stops:
            control.abandon()

    rig = LockstepRig(Machine.from_rig(BY_HAND))
    with pytest.raises(LinkError, match=r"the board answers, but|did not answer"):
        draw_with(rig, both, control)
    assert rig.wire.now < 60 * TICK_HZ


@pytest.mark.parametrize("spoil", [play_nothing, acknowledge_nothing])
def test_the_first_ctrl_c_leaves_a_board_that_talks_and_never_gets_on(spoil: Any) -> None:
    """While it draws: the signal asks for a stop, which is waited for some seconds of the wire's time."""
    control, seen = Control(), []
    rig = LockstepRig(Machine.from_rig(BY_HAND))

    def interrupted(rig: LockstepRig) -> None:
        spoil(rig)
        seen.append(rig.wire.now)
        signal.raise_signal(signal.SIGINT)

    with StopOnSignals() as stop:
        stop.asks(control.abandon)
        with pytest.raises(LinkError, match=r"the board answers, but|did not answer"):
            draw_with(rig, interrupted, control)
    assert stop.number == signal.SIGINT
    assert rig.wire.now - seen[0] < 20 * TICK_HZ


@pytest.mark.parametrize("spoil", [play_nothing, acknowledge_nothing])
def test_ctrl_c_while_such_a_board_homes(spoil: Any) -> None:
    rig = LockstepRig(Machine.from_rig(RIG))
    seen: list[int] = []

    def interrupt() -> None:
        if not seen:
            spoil(rig)
            seen.append(rig.wire.now)
            signal.raise_signal(signal.SIGINT)

    def host(link: LockstepWire) -> None:
        session = Session(link, RIG)
        session.greet()
        session.home()
        session.check_drift("start", interrupt)

    with StopOnSignals(), rig.host_time(), pytest.raises((KeyboardInterrupt, LinkError)):
        rig.run(host)
    assert rig.wire.now - seen[0] < 20 * TICK_HZ


def run(tmp_path, act: Any, faults: Faults | None = None, of: Rig = RIG, *, loses_steps=False) -> dict[str, Any]:
    """Home, draw until the pen is down and a fault occurs, wait; returns the board's report."""
    tape = tmp_path / "run.tape"
    rig = LockstepRig(Machine.from_rig(of), faults=faults or Faults(), tape=tape)
    program = plan(Drawing.from_strokes([circle(50, 50, 20)]), of)
    seen: dict[str, Any] = {}

    def host(link: LockstepWire) -> None:
        session = Session(link, of)

        def watch(progress: Any) -> None:
            if act is not None and progress.played_s > 0.6 * program.predicted_s and "acted" not in seen:
                seen["acted"] = True
                act(rig, link, session)
            elif "acted" in seen and rig.board.silent() and progress.state == "holding":
                seen["held"] = look(rig)
                raise LinewrightError("seen enough")

        session.greet()
        try:
            session.home()
            course.draw(session, program, on_progress=watch)
        except LinewrightError as error:
            seen["error"] = str(error)
        with contextlib.suppress(LinewrightError):  # now it has processed the requests
            session.talk.wait(lambda: False, 1.0)  # the pen takes its time to rise
        seen.update(seen.pop("held", look(rig)))
        seen["pen"] = rig.board.pen.is_up() and rig.board.pen.settled(rig.board.port.now_us())

    with rig.host_time():
        rig.run(host)
    assert seen["pen"], "the pen is up"
    assert act is None or "acted" in seen
    # Every pulse on the tape: width, spacing, speed, acceleration, frame; none with the drivers off.
    trace = read_trace(tape)
    if loses_steps:
        assert trace.end_steps != (rig.board.feeder.a, rig.board.feeder.b)
    elif seen["trusted"]:
        assert_clean(trace)
        assert trace.end_steps == (rig.board.feeder.a, rig.board.feeder.b)
    else:
        # A sudden stop of the player breaks only the acceleration limit, with its last step. A carriage that finds no
        # switch reaches the end of its frame.
        broken = {check.name for check in trace.checks if check.broken}
        assert broken <= {"acceleration", "pen at rest", "frame" if seen["fault"] == "switch missing" else ""}, broken
        entries = [(entry.kind, int(entry.values[0])) for entry in TapeReader(tape) if entry.kind in (SERVO, ENABLE)]
        assert (ENABLE, 0) in entries[-3:]
    return seen


def look(rig: LockstepRig) -> dict[str, Any]:
    board = rig.board
    return {"fault": messages.FAULTS[board.fault], "state": messages.STATES[board.state], "trusted": board.trusted()}
