"""A long drawing over a bad wire, held, slowed and left alone at random: all of it is drawn, and no memory grows."""

from __future__ import annotations

import gc
import random
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from whole_rig import ALLOWED_MM, BY_HAND, assert_clean, circle

from linewright.drawing import Drawing
from linewright.motion import plan
from linewright.session import Control, Session
from linewright.units import TICK_HZ
from linewright.virtual.bad_wire import BadWire, WireFaults
from linewright.virtual.harness import LockstepRig, LockstepWire
from linewright.virtual.machine import Machine
from linewright.virtual.trace import read_trace

# Things that a run may hold at one moment and not at another: frames on their way, a report, a list of requests.
MOST_OBJECTS = 300


def soak(tmp_path, hours: float, seed: int) -> None:
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
                link.stall(rng.uniform(0.1, 10.0))
            if now.state == "holding" or what == "on":
                control.carry_on()
            gc.collect()
            objects.append(len(gc.get_objects()))

        session = Session(link, BY_HAND)
        session.greet()
        session.home()
        return session.draw(program, control=control, on_progress=on_progress)

    with lockstep.host_time():
        result = lockstep.run(host)
    assert result.finished
    assert result.final_position_error_steps == 0
    assert result.underruns == 0
    assert wire.now / TICK_HZ >= 3600 * hours
    assert hours < 1 or min(did.values()) > 0
    assert result.retransmitted_frames > 0
    assert lockstep.board.server.endpoint.damaged > 0
    half = len(objects) // 2
    assert abs(np.median(objects[half:]) - np.median(objects[half // 2 : half])) <= MOST_OBJECTS
    trace = read_trace(tmp_path / "run.tape", program.drawing)
    assert_clean(trace)
    assert trace.deviation.strokes_drawn == len(strokes)
    assert (trace.deviation.strokes_cut, trace.deviation.stray_runs) == (0, 0)
    assert trace.deviation.max_mm <= ALLOWED_MM


def test_two_minutes(tmp_path):
    soak(tmp_path, 1 / 30, seed=1)
