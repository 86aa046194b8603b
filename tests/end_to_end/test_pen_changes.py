"""Stops between pens: a pen's strokes are finished and the pen is parked before the next is requested."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from whole_rig import BY_HAND, assert_clean, circle

from linewright.board.session import Session
from linewright.board.session_values import Control
from linewright.drawing.strokes import Drawing, Pen
from linewright.motion import plan
from linewright.rig.rig import Rig
from linewright.run import course
from linewright.simulation.machine import Machine
from linewright.simulation.replay import read_trace
from linewright.units import TICK_HZ
from linewright.virtual.harness import LockstepRig

PENS = (Pen("black"), Pen("red", "#c00000"), Pen("blue", "#0000c0"))
STROKES = [circle(30, 30, 10), [[50, 10], [60, 10]], circle(30, 60, 5), [[0, 0]]]


@pytest.mark.parametrize("wait_s", [0.0, 90.0])
def test_it_waits_at_park_for_each_pen(tmp_path, wait_s):
    program = plan(Drawing.from_strokes(STROKES, [0, 0, 1, 2], PENS), BY_HAND)
    control = Control()
    asked: list[str] = []
    since = 0

    def host(link):
        def on_progress(now):
            nonlocal since
            if now.state != "pen":
                return
            if now.pen.name not in asked:
                asked.append(now.pen.name)
                since = link.now
                assert (lockstep.board.feeder.a, lockstep.board.feeder.b) == program.start_steps
                assert lockstep.board.pen.is_up()
            if link.now - since >= wait_s * TICK_HZ:
                control.pen_changed()

        session = Session(link, BY_HAND)
        session.greet()
        session.home()
        return course.draw(session, program, control=control, ask_for_pens=True, on_progress=on_progress)

    lockstep = LockstepRig(Machine.from_rig(BY_HAND), tape=tmp_path / "run.tape")
    with lockstep.host_time():
        result = lockstep.run(host)
    assert asked == ["red", "blue"]
    assert result.finished
    assert result.final_position_error_steps == 0
    assert result.played_ticks == program.predicted_ticks
    trace = read_trace(tmp_path / "run.tape", program.drawing)
    assert_clean(trace)
    assert trace.deviation.strokes_drawn == len(STROKES)


def test_it_homes_between_two_pens_where_that_is_asked_for(tmp_path):
    """The motor supply was switched off for the pen change: the answer h homes before the next pen draws."""
    rig = Rig.default()
    program = plan(Drawing.from_strokes(STROKES[1:], [0, 1, 2], PENS), rig)
    control = Control()
    homed: list[str] = []

    def host(link):
        session = Session(link, rig)
        session.greet()
        session.home()
        home = session.home
        session.home = lambda **how: (homed.append(pen), home(**how))[1]
        pen = ""

        def on_progress(now):
            nonlocal pen
            if now.state == "pen" and pen != now.pen.name:
                pen = now.pen.name
                control.pen_changed(home=pen == "red")

        return course.draw(session, program, control=control, ask_for_pens=True, on_progress=on_progress)

    lockstep = LockstepRig(Machine.from_rig(rig), tape=tmp_path / "run.tape")
    with lockstep.host_time():
        result = lockstep.run(host)
    assert homed == ["red"]
    assert result.finished
    assert result.final_position_error_steps == 0
    trace = read_trace(tmp_path / "run.tape", program.drawing)
    assert_clean(trace)
    assert trace.deviation.strokes_drawn == len(STROKES) - 1
