"""Rigs and paths for the tests of motion, and a player that converts programs to pulses."""

from __future__ import annotations

from array import array
from fractions import Fraction

import numpy as np
from hypothesis import strategies as st

from lineboard import kernel
from linewright.drawing.strokes import Drawing
from linewright.program.program import PEN, RAMP, Program
from linewright.rig.rig import Rig
from linewright.simulation.machine import Machine
from linewright.simulation.pulse_checks import PulseCheckResult, PulseChecks, WordTiming, decode

RIGS = {
    "default": {},
    "fast": {
        "axis.x.speed_mm_s": 400.0,
        "axis.y.speed_mm_s": 400.0,
        "motion.pen_down_speed_mm_s": 2000.0,
        "axis.x.accel_mm_s2": 3000.0,
        "axis.y.accel_mm_s2": 3000.0,
    },
    "heavy y": {"axis.y.accel_mm_s2": 400.0, "axis.x.speed_mm_s": 300.0, "motion.pen_down_speed_mm_s": 300.0},
    "sharp": {"motion.junction_deviation_mm": 0.01},
    "round": {"motion.junction_deviation_mm": 0.3},
    "crossed": {"kinematics.type": "crossed-belt", "axis.y.accel_mm_s2": 700.0},
    "slow": {
        "motion.pen_down_speed_mm_s": 5.0,
        "motor.a.step_rate_hz": 1500,
        "motor.b.step_rate_hz": 1500,
        "homing.fast_mm_s": 10.0,
    },
    "slow driver of y": {"axis.y.speed_mm_s": 90.0, "motor.b.step_rate_hz": 8000, "motion.pen_down_speed_mm_s": 200.0},
    "coarse y": {"motor.b.microsteps": 2, "motor.b.pulley_teeth": 30},
}


def rig(name: str) -> Rig:
    return Rig.default().changed(RIGS[name])


def one_stroke(points) -> Drawing:
    return Drawing.from_strokes([np.clip(np.asarray(points, dtype=float), 0.0, 310.0)])


def smooth(seed: int, count: int = 501) -> np.ndarray:
    """A random closed curve of a few harmonics, (count, 2) mm."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0, 1, count)
    orders = np.arange(1, rng.integers(2, 12))
    waves = rng.normal(size=(2, len(orders), 1)) / (orders[:, None] + 1)
    phases = rng.random((2, len(orders), 1))
    xy = (waves * np.cos(2 * np.pi * (orders[:, None] * t + phases))).sum(axis=1)
    return xy.T * rng.uniform(2, 40) + 150


def paths() -> dict[str, np.ndarray]:
    """Strokes, mm, for all rules: arcs of all sizes, noise, zigzags, stairs, dense lines, minimal moves."""
    t = np.linspace(0, 2 * np.pi, 200)
    i = np.arange(60)
    rng = np.random.default_rng(3)
    x = np.linspace(20, 280, 4001)
    turn = np.cumsum(rng.normal(0, 0.1, 1500))
    found = {f"circle {r}": 100 + r * np.column_stack((np.cos(t), np.sin(t))) for r in (0.3, 1, 2, 5, 20, 60)}
    found |= {f"noise {s}": np.cumsum(rng.normal(0, s, (60, 2)), axis=0) + 150 for s in (0.02, 0.1, 0.5, 2, 6)}
    found |= {f"smooth {seed}": smooth(seed) for seed in range(4)}
    found |= {
        "polygon 6": 150 + 60 * np.column_stack((np.cos(t[::33]), np.sin(t[::33]))),
        "wave": np.column_stack((50 + i * 3.0, 150 + 10 * np.sin(i * 0.6))),
        "zigzag 3 x 5": np.column_stack((30 + 3.0 * i, 100 + 5.0 * (i % 2))),
        "zigzag 1 x 1": np.column_stack((30 + 1.0 * i, 100 + 1.0 * (i % 2))),
        "zigzag 0.3 x 0.3": np.column_stack((30 + 0.3 * i, 100 + 0.3 * (i % 2))),
        "stairs": 50 + 0.5 * np.column_stack(((i + 1) // 2, i // 2)),
        "hyperbolic bounces": np.column_stack((50 + t * 30, 150 + 20 * np.abs(np.sin(4 * t)))),
        "dense line": np.column_stack((x, 20 + 0.37 * x)),
        "dense wander": np.cumsum(np.column_stack((np.cos(turn), np.sin(turn))) * 0.05, axis=0) + 150,
        "line": np.array([[10, 10], [200, 117]]),
        "dot": np.array([[50, 50]]),
        "half a step": np.array([[50, 50], [50.006, 50]]),
        "one step": np.array([[10, 10], [10.0125, 10]]),
        "two steps": np.array([[10, 10], [10.02, 10.01]]),
        "there and back": np.array([[30, 30], [60, 40], [30, 30]]),
        "tiny there and back": np.array([[30, 30], [30.03, 30.01], [30, 30]]),
        "doubled points": np.repeat(np.array([[20.0, 20], [40, 20], [40, 40]]), 3, axis=0),
        "nearly doubled": np.array([[20, 20], [40, 20], [40 + 1e-9, 20 - 1e-9], [60, 20], [60, 20 + 1e-12]]),
    }
    return found


@st.composite
def drawings(draw: st.DrawFn) -> Drawing:
    """Strokes of all scales, from a fraction of a motor step to the width of the machine; straight runs, repeats."""
    strokes = []
    for _ in range(draw(st.integers(1, 5))):
        scale = draw(st.sampled_from([0.002, 0.0125, 0.1, 1.0, 20.0, 300.0]))
        moves = draw(
            st.lists(
                st.tuples(st.floats(-1, 1), st.floats(-1, 1)) | st.sampled_from([(1.0, 0.0), (0.0, -1.0), (0.0, 0.0)]),
                max_size=25,
            )
        )
        start = draw(st.tuples(st.floats(0, 310), st.floats(0, 310)))
        strokes.append(np.clip(np.cumsum([start, *(np.array(m) * scale for m in moves)], axis=0), 0, 310))
    return Drawing.from_strokes(strokes)


def broken_limits(program: Program, machine: Rig) -> list[str]:
    """All ramps that exceed a limit, in exact rational arithmetic on the rig file's values."""
    spm = [Fraction(s) for s in machine.steps_per_mm.tolist()]
    crossed = machine.kinematics.type == "crossed-belt"
    speed = [Fraction(machine.x.speed_mm_s), Fraction(machine.y.speed_mm_s)]
    accel = [Fraction(machine.x.accel_mm_s2), Fraction(machine.y.accel_mm_s2)]
    rate = [machine.a.step_rate_hz, machine.b.step_rate_hz]
    pen = Fraction(machine.motion.pen_down_speed_mm_s)
    found = []
    ramp = program.is_ramp
    columns = (program.da, program.db, program.v_start, program.v_end, program.stroke_of_record)
    for da, db, v0, v1, stroke in zip(*(c[ramp].tolist() for c in columns), strict=True):
        if crossed:
            mm = [Fraction(da + db) / (2 * spm[0]), Fraction(da - db) / (2 * spm[0])]
        else:
            mm = [Fraction(da) / spm[0], Fraction(db) / spm[1]]
        square, top = da * da + db * db, max(v0, v1)
        # |v'^2 - v^2| / 2 d is the path acceleration, |mm_i| / d its share on an axis; d^2 = square.
        if any(abs(v1 * v1 - v0 * v0) * abs(mm[i]) > 2 * accel[i] * square for i in (0, 1)):
            found.append(f"acceleration {da} {db} {v0} {v1}")
        if any((top * abs(mm[i])) ** 2 > speed[i] ** 2 * square for i in (0, 1)):
            found.append(f"speed {da} {db} {v0} {v1}")
        if any((top * abs(d)) ** 2 > rate[i] ** 2 * square for i, d in enumerate((da, db))):
            found.append(f"step rate {da} {db} {v0} {v1}")
        if stroke >= 0 and top * top * (mm[0] ** 2 + mm[1] ** 2) > pen * pen * square:
            found.append(f"pen speed {da} {db} {v0} {v1}")
        if max(abs(da), abs(db)) > 16383 or square == 0 or v0 + v1 <= 0 or top > 131_071:
            found.append(f"not a ramp {da} {db} {v0} {v1}")
    return found


SHAPE = WordTiming(overhead_ticks=15, setup_ticks=5, width_ticks=10)


def play(program: Program, machine: Rig) -> tuple[dict[str, PulseCheckResult], int, tuple[int, int]]:
    """Render a program with the board's kernel and check its pulses: results by name, ticks played, final position."""
    state = kernel.new_state(SHAPE.overhead_ticks)
    state[kernel.S_A], state[kernel.S_B] = program.start_steps
    checks = PulseChecks(Machine.from_rig(machine))
    checks.shape(0, SHAPE)
    words = array("i", [0] * 8192)
    tick = 0
    waiting: list[np.ndarray] = []

    def run() -> None:
        nonlocal tick
        if waiting:
            done = decode(np.concatenate(waiting), tick, SHAPE)
            checks.run(done)
            tick = done.end
            waiting.clear()

    for i in range(len(program)):
        if program.kind[i] == RAMP:
            done = kernel.load(state, int(program.da[i]), int(program.db[i]), int(program.v_end[i]), kernel.PLENTY)
            assert done, f"record {i} cannot be played"
            while state[kernel.S_LEFT]:
                count = kernel.render(state, words, 0, len(words), 1 << 28)
                waiting.append(np.array(words[:count], dtype=np.int32).view(np.uint32))
        elif program.kind[i] != PEN or program.ticks[i]:  # a pen action during motion does not stop it
            run()
            kernel.rest(state)
            if program.ticks[i]:
                count = kernel.delay(state, words, 0, len(words), int(program.ticks[i]))
                waiting.append(np.array(words[:count], dtype=np.int32).view(np.uint32))
                run()
    run()
    results = {result.name: result for result in checks.results()}
    return results, tick, (state[kernel.S_A], state[kernel.S_B])
