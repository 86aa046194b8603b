"""Dense curves on an emulated RP2040 at 125 MHz, over its USB port: what is asked for, what is done, what that costs.

    PICO_UF2=path/to/image.uf2 .venv/bin/python bench/board_dense.py [--flash-waits] [--beside=BYTES] [MM@SPEED ...]

Needs what `tests/emulated` needs: a stock MicroPython image and the emulator (`make test-emulated` installs it). A
spiral of chords of so many millimetres at so many mm/s (`SPIRALS` where none is named) is drawn by the same session
that draws on real boards. Every step pulse is compared with its time by the plan (a board that runs short of records
slows down: "stretched"). Looked at for the rest is the middle of the stroke, from a tenth to nine tenths of its
records: the ramps a second that the plan asks for, and the share of the processor's cycles in which it did not sleep.
Where chords are finer than the planner's tolerance it joins some; its own limit of ramps a second is lifted here.
Cycle counts follow the Cortex-M0+ table, with the waits for flash of `tests/emulated/machine.py` if asked for.

With `--beside=60000` the link carries so many bytes a second more: full frames of another session, which the board
reads, unstuffs and checks like all others, and then drops.
"""

from __future__ import annotations

import math
import os
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from linewire import messages
from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.rig import boards
from linewright.rig.rig import Rig
from linewright.units import TICK_HZ

if TYPE_CHECKING:
    from linewright.board.session_values import Progress
    from linewright.program.program import Program

SPIRALS = ((0.2, 120.0), (0.1, 120.0), (0.05, 120.0), (0.1, 270.0), (0.1, 530.0))
"""mm of a chord, and mm/s. The planner gives a ramp eight steps where the curve allows it, 0.1 mm here, so the last two
ask for 2500 and 5000 ramps/s."""
SECONDS = 0.5
"""An emulated second of a busy processor takes a quarter of a minute or more."""
INNER_MM = 20.0
PITCH_MM = 1.0
CENTRE_MM = 25.0


def rig(speed_mm_s: float = 120.0) -> Rig:
    """The default one with this speed with the pen down, quick enough for the curve, and with short waits."""
    accel_mm_s2 = max(3000.0, 2 * speed_mm_s**2 / INNER_MM)
    homing = {"fast_mm_s": 30.0, "slow_mm_s": 10.0, "accel_mm_s2": 2000.0, "backoff_mm": 0.5, "passes": 2}
    changes = {f"homing.{key}": value for key, value in homing.items()}
    changes |= {"pen.lift_ms": 20, "pen.lower_ms": 20, "motion.pen_down_speed_mm_s": speed_mm_s}
    for axis in ("x", "y"):
        changes |= {f"axis.{axis}.speed_mm_s": 1.25 * speed_mm_s, f"axis.{axis}.accel_mm_s2": accel_mm_s2}
    for motor in ("a", "b"):
        changes |= {f"motor.{motor}.step_rate_hz": 60_000}
    return Rig.default().changed(changes)


def spiral(chord_mm: float, speed_mm_s: float, of: Rig) -> Program:
    """A spiral of equal chords, outwards."""
    points, angle = [], 0.0
    for _ in range(round(SECONDS * speed_mm_s / chord_mm) + 1):
        radius = INNER_MM + PITCH_MM * angle / (2 * np.pi)
        points.append((CENTRE_MM + radius * np.cos(angle), CENTRE_MM + radius * np.sin(angle)))
        angle += chord_mm / radius
    return motion.plan(Drawing.from_strokes([points]), of)


def main() -> int:
    """Print one line for each spiral; 1 where the pen had to wait or the position was lost."""
    image = os.environ.get("PICO_UF2")
    if not image:
        print("NOT RUN: no MicroPython image; PICO_UF2=path/to/image.uf2", file=sys.stderr)
        return 0
    from emulated import prediction
    from emulated.link import EmulatedLink, keep_board_time
    from emulated.machine import CLOCK_HZ, Machine
    from emulated.mechanics import Mechanics
    from emulated.prompt import flashed
    from linewire.framing import write_frame
    from linewright.board.session import Session
    from linewright.run import course

    class BusyLink(EmulatedLink):
        """One with other frames between those of the session, `beside_hz` bytes a second from `begin` on."""

        def __init__(self) -> None:
            super().__init__(machine)
            self._sent = 0
            self._begun_us = math.inf
            self._frame_beside = write_frame(messages.MOVES, 0, 0x5A5A, bytes(range(1, 256))[: messages.PAYLOAD])

        def begin(self) -> None:
            self._begun_us = machine.now_us

        def read(self, most: int, timeout_s: float) -> bytes:
            """See `EmulatedLink.read`."""
            until_us = machine.now_us + timeout_s * 1e6
            while True:
                while self._sent < beside_hz * (machine.now_us - self._begun_us) / 1e6:
                    machine.send(self._frame_beside)
                    self._sent += len(self._frame_beside)
                left_s = (until_us - machine.now_us) / 1e6
                data = super().read(most, min(max(left_s, 0.0), 0.002))
                if data or left_s < 1e-6:
                    return data

    words = sys.argv[1:]
    waits = "--flash-waits" in words
    beside_hz = sum(int(word.partition("=")[2]) for word in words if word.startswith("--beside="))
    asked = [tuple(map(float, word.split("@"))) for word in words if not word.startswith("--")]
    machine = Machine(Path(image), flashed(Path(image)).flash)
    machine.start()
    mechanics = Mechanics(machine, rig(), (60, 40))
    failed = False
    with pytest.MonkeyPatch.context() as patch:
        keep_board_time(patch, machine)
        for name, board in boards.BOARDS.items():
            patch.setitem(boards.BOARDS, name, replace(board, ramps_hz=np.inf))
        for chord_mm, speed_mm_s in asked or SPIRALS:
            of = rig(speed_mm_s)
            link = BusyLink()
            session = Session(link, of)
            session.greet()
            if session.fresh_report()["state"] != messages.READY:
                session.home()
            if waits:
                machine.wait_for_flash()
            link.begin()
            program = spiral(chord_mm, speed_mm_s, of)
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
            asked_hz = (last - first) / asked_s
            print(
                f"chords of {chord_mm:g} mm at {speed_mm_s:g} mm/s, {last - first} ramps: asked {asked_hz:.0f}/s, done "
                f"{asked_hz / stretched:.0f}/s, {len(made)} "
                f"steps stretched to {stretched:.6f}, waits {result.starved}, underruns {result.underruns}, processor "
                f"{(busy_then - busy) / (ended - begun):.0%}"
                + (f", {beside_hz} bytes/s beside, {machine.unsent} packets of them waiting" if beside_hz else ""),
                flush=True,
            )
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
