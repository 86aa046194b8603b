"""Dense curves on an emulated RP2040 at 125 MHz, over its USB port: planned rate, achieved times, processor load.

    PICO_UF2=path/to/image.uf2 .venv/bin/python bench/board_dense.py [MM ...]

Needs what `tests/emulated` needs: a stock MicroPython image and the emulator (`make test-emulated` installs it). A
spiral with chords of this length in mm (default 0.2, 0.1 and 0.05) is drawn at 120 mm/s by the same session that
draws on real boards. Every step pulse is compared with its planned time (a board that runs short of records slows
down: "stretched"). Other values are of the middle of the stroke, from 10 to 90 % of its records: the ramps/s that the
plan requires, and the share of processor cycles without sleep. If chords are finer than the planner's tolerance it
joins some. Cycle counts follow the Cortex-M0+ table, without waits for flash.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.rig.rig import Rig
from linewright.units import TICK_HZ

if TYPE_CHECKING:
    from linewright.board.session_values import Progress
    from linewright.program.program import Program

SPEED_MM_S = 120.0
CHORDS_MM = (0.2, 0.1, 0.05)
LENGTH_MM = 110.0
"""Length of the spiral, about one second of drawing; emulating a busy second takes about 15 s."""
INNER_MM = 8.0
PITCH_MM = 1.0


def rig() -> Rig:
    """The default one, at 120 mm/s with the pen down, and with short waits."""
    homing = {"fast_mm_s": 30.0, "slow_mm_s": 10.0, "accel_mm_s2": 2000.0, "backoff_mm": 0.5, "passes": 2}
    pen = {"lift_ms": 20, "lower_ms": 20}
    speeds = {"axis.x.speed_mm_s": 150.0, "axis.y.speed_mm_s": 150.0, "motion.pen_down_speed_mm_s": SPEED_MM_S}
    speeds |= {"axis.x.accel_mm_s2": 3000.0, "axis.y.accel_mm_s2": 3000.0}
    changes = {f"homing.{key}": value for key, value in homing.items()} | {f"pen.{k}": v for k, v in pen.items()}
    return Rig.default().changed({**changes, **speeds})


def spiral(chord_mm: float, of: Rig) -> Program:
    """A spiral of equal chords, outwards."""
    points, angle = [], 0.0
    for _ in range(round(LENGTH_MM / chord_mm) + 1):
        radius = INNER_MM + PITCH_MM * angle / (2 * np.pi)
        points.append((15 + radius * np.cos(angle), 15 + radius * np.sin(angle)))
        angle += chord_mm / radius
    return motion.plan(Drawing.from_strokes([points]), of)


def main() -> int:
    """Print one line for each spiral; returns 1 if the pen had to wait or the position was lost."""
    image = os.environ.get("PICO_UF2")
    if not image:
        print("NOT RUN: no MicroPython image; PICO_UF2=path/to/image.uf2", file=sys.stderr)
        return 0
    from emulated import prediction
    from emulated.link import EmulatedLink, keep_board_time
    from emulated.machine import CLOCK_HZ, Machine
    from emulated.mechanics import Mechanics
    from emulated.prompt import flashed
    from linewright.board.session import Session
    from linewright.run import course

    machine = Machine(Path(image), flashed(Path(image)).flash)
    machine.start()
    of = rig()
    mechanics = Mechanics(machine, of, (60, 40))
    failed = False
    with pytest.MonkeyPatch.context() as patch:
        keep_board_time(patch, machine)
        session = Session(EmulatedLink(machine), of)
        session.greet()
        session.home()
        for chord_mm in [float(word) for word in sys.argv[1:]] or CHORDS_MM:
            program = spiral(chord_mm, of)
            seen: list[tuple[int, int, int]] = []

            def note(now: Progress, seen: list[tuple[int, int, int]] = seen) -> None:
                if 0.1 < now.records_done / now.records < 0.9:
                    seen.append((now.records_done, machine.cycle, machine.busy_cycles))

            before = len(mechanics.steps)
            result = course.draw(session, program, on_progress=note)
            (first, begun, busy), (last, ended, busy_then) = seen[0], seen[-1]
            ticks = program.ticks_before
            asked_s = float(ticks[last] - ticks[first]) / TICK_HZ
            made = np.array([step[0] for step in mechanics.steps[before:]])
            planned = prediction.steps(program)[:, 0]
            failed |= not result.finished or bool(result.underruns) or bool(result.starved) or len(made) != len(planned)
            stretched = float(made[-1] - made[0]) / CLOCK_HZ / (float(planned[-1] - planned[0]) / TICK_HZ)
            print(
                f"chords of {chord_mm:g} mm, {last - first} ramps: asked {(last - first) / asked_s:.0f}/s, {len(made)} "
                f"steps stretched to {stretched:.6f}, waits {result.starved}, underruns {result.underruns}, processor "
                f"{(busy_then - busy) / (ended - begun):.0%}",
                flush=True,
            )
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
