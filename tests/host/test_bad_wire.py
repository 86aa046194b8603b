"""The simulated bad wire has the requested error rates, from its seed; drawings over it are unchanged."""

from __future__ import annotations

import numpy as np
import pytest

from linewright.board.session import Session
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError
from linewright.motion import plan
from linewright.rig.rig import Rig
from linewright.run import course
from linewright.simulation import tape as tapes
from linewright.simulation.tape import TapeReader
from linewright.virtual.bad_wire import BadWire, WireFaults
from linewright.virtual.port import open_transport

FRAMES = [bytes([1 + i % 255] * 20) + b"\0" for i in range(20_000)]


def carried(faults: WireFaults, frames=FRAMES, *, to_board=True) -> list[bytes]:
    wire = BadWire(faults)
    return [wire.carry(frame, to_board=to_board, now_s=i * 0.001) for i, frame in enumerate(frames)]


def test_a_clean_wire_changes_nothing():
    assert carried(WireFaults()) == FRAMES


def test_frames_may_come_in_any_pieces():
    faults = WireFaults(damage=0.2, lose=0.1, double=0.1, late=0.2, seed=3)
    whole = b"".join(carried(faults, FRAMES[:500]))
    wire = BadWire(faults)
    data = b"".join(FRAMES[:500])
    assert b"".join(wire.carry(data[i : i + 7], to_board=True, now_s=0.0) for i in range(0, len(data), 7)) == whole


@pytest.mark.parametrize("share", [0.01, 0.1])
def test_shares_are_shares(share):
    # Four standard deviations of a binomial count.
    slack = 4 * (len(FRAMES) * share * (1 - share)) ** 0.5

    def near(count):
        return abs(count - share * len(FRAMES)) <= slack

    damaged = carried(WireFaults(damage=share))
    assert near(sum(a != b for a, b in zip(damaged, FRAMES, strict=True)))
    changed = [
        sum((x ^ y).bit_count() for x, y in zip(a, b, strict=True)) for a, b in zip(damaged, FRAMES, strict=True)
    ]
    assert set(changed) == {0, 1}
    assert near(carried(WireFaults(lose=share)).count(b""))
    assert near(sum(len(got) > 21 for got in carried(WireFaults(double=share))))
    late = b"".join(carried(WireFaults(late=share)))
    assert sorted(late.split(b"\0")) == sorted(b"".join(FRAMES[: late.count(b"\0")]).split(b"\0"))
    assert late != b"".join(FRAMES)


def test_the_seed_decides_and_both_ways_differ():
    faults = WireFaults(damage=0.1, seed=7)
    assert carried(faults) == carried(faults)
    assert carried(faults) != carried(WireFaults(damage=0.1, seed=8))
    assert carried(faults) != carried(faults, to_board=False)


def test_a_pulled_cable_loses_everything_for_its_time():
    got = carried(WireFaults(pull=0.0005, pull_s=0.5, seed=1))
    gaps = [len(gap) for gap in "".join("." if frame else "x" for frame in got).split(".") if gap]
    assert gaps
    assert all(gap >= 499 for gap in gaps[:-1])


def test_only_the_host_stalls_and_once():
    wire = BadWire(WireFaults(stall=1.0, stall_s=2.0))
    wire.carry(FRAMES[0], to_board=False, now_s=0.0)
    assert wire.take_stall_s() == 0.0
    wire.carry(FRAMES[0], to_board=True, now_s=0.0)
    assert wire.take_stall_s() == 2.0
    assert wire.take_stall_s() == 0.0


@pytest.mark.parametrize("option", ["damage=2", "lose=some", "stall_s=-1"])
def test_wrong_options_are_refused(option):
    with pytest.raises(InputError):
        open_transport(f"virtual:{option}")


RIG = Rig.default().changed({"axis.x.endstop": "none", "axis.y.endstop": "none"})


def draw(options: str, tape):
    turn = np.linspace(0, 40, 3000)
    spiral = np.column_stack((60 + turn * np.cos(turn), 60 + turn * np.sin(turn)))
    program = plan(Drawing.from_strokes([spiral, [[10, 10], [30, 10]]]), RIG)
    transport = open_transport(f"virtual:tape={tape},{options}", rig=RIG)
    try:
        session = Session(transport, RIG)
        session.greet()
        session.home()
        result = course.draw(session, program)
        trace = transport.report(program.drawing)
        steps = np.concatenate([e.values & 15 for e in TapeReader(tape) if e.kind == tapes.WORDS])
        return result, trace, steps[steps & 3 > 0]
    finally:
        transport.discard()


@pytest.mark.parametrize("options", ["damage=0.01,seed=7", "damage=0.05,lose=0.05,double=0.05,late=0.05,seed=2"])
def test_a_drawing_over_a_bad_wire_is_the_drawing_over_a_clean_one(tmp_path, options):
    clean, _, steps = draw("", tmp_path / "clean.tape")
    bad, trace, same = draw(options, tmp_path / "bad.tape")
    assert np.array_equal(steps, same)
    assert bad.finished
    assert bad.final_position_error_steps == clean.final_position_error_steps == 0
    assert bad.underruns == 0
    assert trace.broken == 0
    assert trace.deviation.strokes_drawn == 2
    if "lose" in options:
        assert bad.retransmitted_frames > 0
