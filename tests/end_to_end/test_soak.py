"""A long drawing over a bad wire with random holds and pace changes: all is drawn, and memory does not grow."""

from __future__ import annotations

import gc
import os
import random
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from whole_rig import ALLOWED_MM, BY_HAND, assert_clean, circle

from linewright.board.session import Session
from linewright.board.session_values import Control
from linewright.drawing.strokes import Drawing
from linewright.motion import plan
from linewright.run import course
from linewright.simulation.machine import Machine
from linewright.simulation.replay import read_trace
from linewright.units import TICK_HZ
from linewright.virtual.bad_wire import BadWire, WireFaults
from linewright.virtual.harness import LockstepRig, LockstepWire

# Variation of the object count within a run: frames in transit, a report, a list of requests.
MOST_OBJECTS = 300
# Granularity of the allocator; a leak of one byte per frame would give three times as much in an hour.
MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class Soaked:
    """Result of a run.

    Parameters
    ----------
    seconds : virtual time.
    strokes, ramps : drawn.
    did : requests and their counts.
    sent_again, damaged_here, damaged_there : frames; the latter at the host and at the board.
    objects, resident_bytes : of this process, in which both sides live: medians of the second and of the last quarter.
    """

    seconds: float
    strokes: int
    ramps: int
    did: dict[str, int]
    sent_again: int
    damaged_here: int
    damaged_there: int
    objects: tuple[float, float]
    resident_bytes: tuple[float, float]


def soak(tmp_path, hours: float, seed: int) -> Soaked:
    rng = random.Random(seed)
    strokes = [
        circle(rng.uniform(30, 170), rng.uniform(30, 250), rng.uniform(2, 25), rng.choice((12, 60, 400)))
        for _ in range(round(1500 * hours))
    ]
    program = plan(Drawing.from_strokes(strokes), BY_HAND)
    bad = BadWire(WireFaults(damage=0.01, lose=0.01, double=0.01, late=0.02, seed=seed))
    wire = LockstepWire(damage=lambda data, to_board: bad.carry(data, to_board=to_board, now_s=wire.now / TICK_HZ))
    lockstep = LockstepRig(Machine.from_rig(BY_HAND), tape=tmp_path / "run.tape", wire=wire)
    control = Control()
    next_s = 10.0
    objects: list[int] = []
    resident: list[int] = []
    did = {"hold": 0, "on": 0, "slow": 0, "silence": 0}

    def host(link):
        def on_progress(now):
            nonlocal next_s
            now_s = link.now / TICK_HZ
            if now_s < next_s:
                return
            next_s = now_s + rng.uniform(0.1, 40.0 if hours >= 1 else 5.0)
            what = rng.choice(("on", "on", "hold", "slow", "slow", "silence"))
            did[what] += 1
            if what == "hold":
                control.hold()
                next_s = now_s + rng.uniform(0.05, 8.0)
            elif what == "slow":
                control.slow_to(rng.uniform(0.1, 1.0))
            elif what == "silence":
                seconds = rng.uniform(0.1, 10.0)
                link.stall(seconds)
                next_s += seconds  # consecutive silences would exceed the allowed time
            if what == "on":
                control.slow_to(1.0)
            if now.state == "holding":
                control.carry_on()
            gc.collect()
            objects.append(len(gc.get_objects()))
            resident.append(resident_bytes())

        session = Session(link, BY_HAND)
        session.greet()
        session.home()
        return course.draw(session, program, control=control, on_progress=on_progress)

    with lockstep.host_time():
        result = lockstep.run(host)
    assert result.finished
    assert result.final_position_error_steps == 0
    assert result.underruns == 0
    assert wire.now / TICK_HZ >= 3600 * hours
    assert hours < 1 or min(did.values()) > 0
    assert result.retransmitted_frames > 0
    assert lockstep.board.server.endpoint.damaged > 0
    (before, after), (held, holds) = quarters(objects), quarters(resident)
    assert abs(after - before) <= MOST_OBJECTS
    assert holds - held <= MOST_BYTES
    trace = read_trace(tmp_path / "run.tape", program.drawing)
    assert_clean(trace)
    assert trace.deviation.strokes_drawn == len(strokes)
    assert (trace.deviation.strokes_cut, trace.deviation.stray_runs) == (0, 0)
    assert trace.deviation.max_mm <= ALLOWED_MM

    return Soaked(
        seconds=wire.now / TICK_HZ,
        strokes=len(strokes),
        ramps=program.ramps,
        did=did,
        sent_again=result.retransmitted_frames,
        damaged_here=result.damaged_frames,
        damaged_there=lockstep.board.server.endpoint.damaged,
        objects=(before, after),
        resident_bytes=(held, holds),
    )


def resident_bytes() -> int:
    """Resident memory of this process, bytes; 0 if the system does not report it this way."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
    except OSError:
        return 0


def quarters(values: list[int]) -> tuple[float, float]:
    """Medians of the second and the last quarter of a series."""
    half, quarter = len(values) // 2, len(values) // 4
    return float(np.median(values[quarter:half])), float(np.median(values[half + quarter :]))


@pytest.mark.slow
def test_two_minutes(tmp_path):
    soak(tmp_path, 1 / 30, seed=1)


@pytest.mark.slow
def test_an_hour(tmp_path):
    soak(tmp_path, 1.0, seed=2)
