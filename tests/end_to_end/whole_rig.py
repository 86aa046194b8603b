"""Shared by the end-to-end tests: rigs, pictures, a lockstep run, and checks for every drawing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.board.session import Session
from linewright.board.session_values import Control, DrawResult
from linewright.drawing.strokes import Drawing
from linewright.motion import plan
from linewright.program.program import Program
from linewright.rig.rig import Rig
from linewright.run import course
from linewright.simulation.machine import Machine
from linewright.simulation.replay import TraceReport, read_trace
from linewright.virtual.harness import LockstepRig, LockstepWire

# No switches: the origin is set by hand, which avoids eleven seconds of virtual homing.
BY_HAND = Rig.default().changed({"axis.x.endstop": "none", "axis.y.endstop": "none"})
CROSSED = BY_HAND.changed({"kinematics.type": "crossed-belt"})
HOMING = Rig.default()

STEP_MM = 1 / 80
# Allowed deviation: one step plus the flattening tolerance of curves (0.02 mm).
ALLOWED_MM = STEP_MM + 0.02


def circle(x, y, r, n=120):
    turn = np.linspace(0, 2 * np.pi, n)
    return np.column_stack((x + r * np.cos(turn), y + r * np.sin(turn)))


def zoo() -> list[np.ndarray]:
    """Shapes with different difficulties, machine mm."""
    k = np.arange(120)
    turn = np.linspace(0, 30, 500)
    rng = np.random.default_rng(11)
    shapes = [
        circle(40, 40, 15),
        [[10, 10], [60, 10], [60, 35], [10, 35], [10, 10]],  # right angles along the axes
        [[30, 60], [50, 80], [30, 100], [10, 80], [30, 60]],  # right angles across them
        np.column_stack((20 + k * 0.2, 50 + (k % 2) * (0.5 + k % 5))),  # hatching
        np.column_stack((80 + turn * np.cos(turn) / 2, 80 + turn * np.sin(turn) / 2)),  # a spiral from its centre
        50 + np.cumsum(rng.normal(size=(200, 2)) * 0.3, axis=0),  # a tremble
        rng.random((8, 2)) * 80 + 10,
        [[70, 20]],  # a dot
        [[71, 20], [71.004, 20]],  # shorter than a step
        [[20, 20], [90, 20], [20, 20]],  # there and back
        [[12, 90], [12, 90], [40, 90], [40, 90], [90, 90.3]],  # repeated and nearly straight points
    ]
    return [np.asarray(shape, dtype=float) for shape in shapes]


@dataclass(frozen=True)
class Run:
    program: Program
    result: DrawResult
    trace: TraceReport
    rig: LockstepRig


def draw(tmp_path, strokes, rig=BY_HAND, *, faults=None, wire=None, on_progress=None, control=None) -> Run:
    """Plan and draw in lockstep. ``on_progress(progress, link, control)`` may interfere."""
    program = plan(Drawing.from_strokes(strokes), rig)
    return draw_program(tmp_path, program, rig, faults=faults, wire=wire, on_progress=on_progress, control=control)


def draw_program(tmp_path, program, rig, *, faults=None, wire=None, on_progress=None, control=None) -> Run:
    """Draw a program in lockstep."""
    tape = tmp_path / "run.tape"
    lockstep = LockstepRig(Machine.from_rig(rig), faults=faults, tape=tape, wire=wire)
    control = control or Control()

    def host(link: LockstepWire) -> DrawResult:
        session = Session(link, rig)
        session.greet()
        session.home()
        return course.draw(
            session, program, control=control, on_progress=lambda p: on_progress and on_progress(p, link, control)
        )

    with lockstep.host_time():
        result = lockstep.run(host)
    return Run(
        program, result, read_trace(tape, program.drawing, vertex_steps=program.steps_at(program.drawing)), lockstep
    )


def assert_clean(trace: TraceReport) -> None:
    """No pulse breaks any limit."""
    broken = [str(violation) for check in trace.checks for violation in check.violations]
    assert not broken, broken
    assert not trace.damaged


def assert_drawn(run: Run, *, tolerance_mm=ALLOWED_MM, on_time=True) -> None:
    """Asserts that the whole drawing is on paper, at the planned positions and times."""
    assert run.result.finished
    assert run.result.records_done == len(run.program)
    assert run.result.final_position_error_steps == 0
    assert run.trace.end_steps == run.program.end_steps == run.result.final_steps
    found = run.trace.deviation
    assert found.max_mm <= tolerance_mm
    assert (found.strokes_drawn, found.strokes_cut, found.stray_runs) == (len(run.program.drawing), 0, 0)
    assert run.result.underruns == 0
    if on_time:
        assert run.trace.longest_ticks == run.result.played_ticks == run.program.predicted_ticks
        assert run.result.starved == 0
        assert run.result.retransmitted_frames == 0
    assert_clean(run.trace)
