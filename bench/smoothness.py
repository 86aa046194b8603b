"""Drawing time against ringing: plain trapezoids of speed, bounded jerk, and shaping, on a carriage that rings.

    python bench/smoothness.py [tip]

The first table is that of plans for the tip (``shaper = "tip"``), with the argument ``tip`` only this one: their time
relative to the fastest plan, and the error of the tip if the machine's frequency is as assumed, higher or lower.

Every program is rendered to pulses by the board's own kernel, and its ink drawn by the virtual rig's mechanics, with a
carriage that oscillates on each axis as a second-order system (`linewright.simulation.mechanics`). *Ringing* is the
largest distance of that ink from the line that was asked for, half a step of rounding included; the pen is on the
paper from the end of its lowering to the end of its lifting, so that oscillations after stops are included.

For each method its settings are varied: acceleration and junction deviation of the plain
plans, jerk and swing, swing alone. The table shows the shortest time of all motion with a ringing of no more than 0.2,
0.1, 0.05 and 0.03 mm, and how many times faster that is than the plain plan; below them, the time of the fastest plan
without a limit on ringing, which is a lower bound.
"""

from __future__ import annotations

import math
import sys
from array import array
from typing import Any

import drawing_sets
import numpy as np
from numpy.typing import NDArray

from lineboard import kernel
from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.program.program import PEN, RAMP, Program
from linewright.rig.rig import Rig
from linewright.simulation.deviation import PenRun, StrokeComparer
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.mechanics import Mechanics
from linewright.simulation.pulse_checks import WordTiming, decode
from linewright.tidy import tidy
from linewright.units import TICK_HZ

SHAPE = WordTiming(overhead_ticks=15, setup_ticks=5, width_ticks=10)
REST_SAMPLE_TICKS = TICK_HZ // 1000


def pulses(program: Program) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Pulses of the board's kernel: rise (n,) ticks, steps of A and B (n,), and the tick at which records start."""
    state = kernel.new_state(SHAPE.overhead_ticks)
    words = array("i", [0] * 8192)
    pieces: list[NDArray[np.uint32]] = []
    for i in range(len(program)):
        if program.kind[i] == RAMP:
            kernel.load(state, int(program.da[i]), int(program.db[i]), int(program.v_end[i]), kernel.PLENTY)
            while state[kernel.S_LEFT]:
                count = kernel.render(state, words, 0, len(words), 1 << 28)
                pieces.append(np.array(words[:count], dtype=np.int32).view(np.uint32))
        else:
            kernel.rest(state)
            if program.ticks[i]:
                count = kernel.delay(state, words, 0, len(words), int(program.ticks[i]))
                pieces.append(np.array(words[:count], dtype=np.int32).view(np.uint32))
    run = decode(np.concatenate(pieces), 0, SHAPE)
    return run.rise, run.step_a, run.step_b, program.ticks_before


def ringing(program: Program, machine: Machine, faults: Faults) -> float:
    """Largest distance of the drawn ink from the line that was asked for, mm."""
    rise, step_a, step_b, before = pulses(program)
    # Times in the pauses are included, to detect oscillations at rest.
    moments = np.arange(0, int(before[-1]), REST_SAMPLE_TICKS)
    where = np.searchsorted(rise, moments)
    rise = np.insert(rise, where, moments)
    step_a, step_b = np.insert(step_a, where, 0), np.insert(step_b, where, 0)
    mechanics = Mechanics(machine, faults)
    x, y = mechanics.carriage(rise, step_a, step_b)
    pen = mechanics.pen(rise, x, y)
    start = machine.to_mm @ np.array(program.start_steps)
    pen = pen - np.array(mechanics.start_mm) + start
    steps = np.array(program.start_steps) + np.cumsum(np.stack((step_a, step_b), axis=1), axis=0)
    moved = np.cumsum((step_a | step_b) != 0)
    comparer = StrokeComparer(program.drawing, machine)
    # The pen is on the paper from the end of its lowering time to the end of its lifting time.
    actions = np.flatnonzero(program.kind == PEN)
    for down, up in zip(actions[::2].tolist(), actions[1::2].tolist(), strict=True):
        first, last = np.searchsorted(rise, (before[down] + program.ticks[down], before[up] + program.ticks[up]))
        begin, end = first - 1, last - 1
        comparer.add(PenRun(pen[begin:last], moved[begin:last] - moved[begin], tuple(steps[begin]), tuple(steps[end])))
    found = comparer.result()
    assert found.strokes_drawn == len(program.drawing), found
    return found.max_mm


THRESHOLDS_MM = (0.2, 0.1, 0.05, 0.03)
AIM_MM = 0.05
TIP_ROWS = ((1.0, 0.05), (0.95, 0.05), (1.05, 0.05), (0.85, 0.15), (1.15, 0.15))
"""True frequencies relative to the assumed ones, and the band of the plan."""
BARS = {"frames": 1.15, "hatching": 1.15, "facets": 1.25, "lettering": 1.15, "circles": 1.15}
ACCELS_FROM_MM_S2 = 40.0
DEVIATIONS_MM = (0.003, 0.02)
SWINGS_MM = np.geomspace(0.012, 0.3, 10)
JERKS_MM_S3 = (8_000.0, 20_000.0, 50_000.0)
QUICK = {f"axis.{axis}.speed_mm_s": 300.0 for axis in "xy"} | {f"axis.{axis}.accel_mm_s2": 4000.0 for axis in "xy"}
MACHINES: tuple[tuple[str, tuple[float, float], dict[str, Any]], ...] = (
    ("The default rig", (14.0, 19.0), {}),
    ("A heavier carriage", (8.0, 11.0), {}),
    ("Stronger motors: 300 mm/s, 4000 mm/s^2", (14.0, 19.0), QUICK | {"motion.pen_down_speed_mm_s": 300.0}),
)
DAMPING = 0.05
WRONG = (0.85, 1.15)

Trials = list[tuple[float, float, str]]


def drawings() -> dict[str, Drawing]:
    """Drawings with about 15 s of motion each, in drawing order."""
    sets = drawing_sets.drawings()
    rng = np.random.default_rng(5)
    corner, size = rng.uniform(20, 80, (10, 2)), rng.uniform(4, 40, (10, 2))
    frames = [c + s * np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]]) for c, s in zip(corner, size, strict=True)]
    near = np.array([60.0, 60.0])
    slant = np.array([0.35, 1.0])
    hatching = [near + [1.5 * i, 0] + np.array([[0, 0], [1, 1]])[:: 1 - 2 * (i % 2)] * slant * 12 for i in range(30)]
    return {
        "frames": tidy(Drawing.from_strokes(frames)),
        "hatching": Drawing.from_strokes(hatching),
        "facets": tidy(sets["facets"].select(np.arange(5))),
        "lettering": tidy(sets["small letters"].select(np.arange(14))),
        "circles": tidy(sets["circles"].select(np.arange(6))),
    }


def settings(method: str, hz: tuple[float, float], rig: Rig) -> list[tuple[str, dict[str, Any]]]:
    """Settings of a method: a name, and changes of the rig file."""
    if method == "plain":
        return [
            (f"{a:.0f} mm/s^2, {d:g} mm", {f"axis.{i}.accel_mm_s2": float(a) for i in "xy"} | _deviation(d))
            for a in np.geomspace(ACCELS_FROM_MM_S2, rig.x.accel_mm_s2, 9)
            for d in DEVIATIONS_MM
        ]
    known = {"smoothing.x_hz": hz[0], "smoothing.y_hz": hz[1], "smoothing.shaper": "none"}
    known |= {"smoothing.x_damping": DAMPING, "smoothing.y_damping": DAMPING}
    if method == "jerk":
        return [
            (f"{j:.0f} mm/s^3, {s:.3f} mm", known | {"smoothing.jerk_mm_s3": j, "smoothing.swing_mm": float(s)})
            for j in JERKS_MM_S3
            for s in SWINGS_MM[::2]
        ]
    return [(f"{s:.3f} mm", known | {"smoothing.shaper": method, "smoothing.swing_mm": float(s)}) for s in SWINGS_MM]


def _deviation(d: float) -> dict[str, Any]:
    return {"motion.junction_deviation_mm": d}


def tried(drawing: Drawing, rig: Rig, method: str, believed: tuple[float, float], true: tuple[float, float]) -> Trials:
    """Time of all motion, peak of the ringing and name of every setting of a method on one machine."""
    faults = Faults(ringing_x_hz=true[0], ringing_y_hz=true[1], ringing_damping=DAMPING)
    found: Trials = []
    for name, changes in settings(method, believed, rig):
        machine = rig.changed(changes)
        program = motion.plan(drawing, machine)
        found.append((_motion_s(program), ringing(program, Machine.from_rig(machine), faults), name))
    return found


def _motion_s(program: Program) -> float:
    return float(program.ticks[program.is_ramp].sum()) / TICK_HZ


def best(trials: Trials, most_mm: float) -> tuple[float, float, str]:
    """The shortest time with a ringing within a limit, s; inf if there is none."""
    return min((t for t in trials if t[1] <= most_mm), default=(math.inf, math.nan, "none"))


def _cell(took_s: float, plain_s: float) -> str:
    if not math.isfinite(took_s):
        return f"{'none':>14s}"
    return f"{took_s:6.1f} s " + (f"{plain_s / took_s:5.2f}x" if math.isfinite(plain_s) else "  only")


def for_the_tip() -> None:
    """Plans for the tip on the default rig: time relative to the fastest plan, and the error of the tip."""
    hz, rig = MACHINES[0][1], Rig.default()
    print(
        f"\nThe default rig, shaper = tip, swing {AIM_MM} mm: time / fastest plan, and tip error by true frequency, mm"
    )
    heads = "".join(f"{f'{factor:g} of it, band {band:g}':>22s}" for factor, band in TIP_ROWS)
    print(f"{'drawing':10s} {'any':>7s} {'bar':>6s} {heads}   ramps/s  bytes/s")
    for name, drawing in drawings().items():
        any_s = _motion_s(motion.plan(drawing, rig))
        cells, programs = [], {}
        for factor, band in TIP_ROWS:
            known = {"smoothing.x_hz": hz[0], "smoothing.y_hz": hz[1], "smoothing.band": band}
            machine = rig.changed(known | {"smoothing.shaper": "tip", "smoothing.swing_mm": AIM_MM})
            if band not in programs:
                programs[band] = motion.plan(drawing, machine)
            program = programs[band]
            faults = Faults(ringing_x_hz=hz[0] * factor, ringing_y_hz=hz[1] * factor, ringing_damping=DAMPING)
            off = ringing(program, Machine.from_rig(machine), faults)
            cells.append(f"{_motion_s(program) / any_s:14.3f}x {off:6.4f}")
        program = programs[TIP_ROWS[0][1]]
        moving_s = _motion_s(program)
        rates = f"{program.ramps / moving_s:9.0f} {program.frame_bytes / moving_s:8.0f}"
        print(f"{name:10s} {any_s:5.1f} s {BARS[name]:5.2f}x {''.join(cells)} {rates}", flush=True)


def main() -> None:
    """The tables."""
    for_the_tip()
    methods = ("plain", "jerk", "zv", "zvd")
    for what, hz, changes in MACHINES:
        rig = Rig.default().changed(changes)
        print(f"\n{what}: rings at {hz[0]:g} Hz along x, {hz[1]:g} Hz along y, damping {DAMPING:g}")
        print(f"{'drawing':10s} {'ringing':>8s}   " + "   ".join(f"{m:>14s}" for m in methods) + "   setting of zv")
        for name, drawing in drawings().items():
            regardless = motion.plan(drawing, rig)
            trials = {method: tried(drawing, rig, method, hz, hz) for method in methods}
            for most in THRESHOLDS_MM:
                row = {method: best(trials[method], most) for method in methods}
                cells = [_cell(row[m][0], row["plain"][0]) for m in methods]
                print(f"{name:10s} {most:5.2f} mm   " + "   ".join(cells) + f"   {row['zv'][2]}", flush=True)
            print(f"{'':10s}      any   {_motion_s(regardless):6.1f} s, whatever it rings")
    what, hz, changes = MACHINES[0]
    rig = Rig.default().changed(changes)
    print(f"\n{what}, within {AIM_MM} mm, where it rings 15 % lower or higher than {hz[0]:g} and {hz[1]:g} Hz")
    for name, drawing in drawings().items():
        for factor in WRONG:
            true = (hz[0] * factor, hz[1] * factor)
            row = {method: best(tried(drawing, rig, method, hz, true), AIM_MM) for method in ("plain", "zv", "zvd")}
            cells = [f"{m} {_cell(row[m][0], row['plain'][0])}" for m in row]
            print(f"{name:10s} {true[0]:5.1f} / {true[1]:4.1f} Hz   " + "   ".join(cells), flush=True)


if __name__ == "__main__":
    if sys.argv[1:] == ["tip"]:
        for_the_tip()
    else:
        main()
