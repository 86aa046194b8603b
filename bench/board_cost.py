"""What drawing costs the board's processor, per pulse word and per record, measured on an emulated RP2040 at 125 MHz.

    PICO_UF2=path/to/image.uf2 .venv/bin/python bench/board_cost.py [--flash-waits]

Needs what `tests/emulated` needs: a stock MicroPython image and the emulator (`make test-emulated` installs it).  The
records of whole drawings go the board's own way, from the payload of a frame to blocks for the player: decoding, guard
and queue, ramp preparation, rendering, blocks. Only the port is another, whose player is always done. Cycle counts
follow the Cortex-M0+ table, with the waits for flash of `tests/emulated/machine.py` if asked for.

Two drawings: the heron on A6 with the default rig, and one whose lines are drawn at the board's limit. The reference is
the kernel alone on the same records, in the same run.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from rich.console import Console
from rich.table import Table

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.planning.pipeline import Placement, PlanTask, prepare
from linewright.rig.board_settings import board_settings
from linewright.rig.rig import Rig

if TYPE_CHECKING:
    from linewright.program.program import Program

FRAMES = 3
"""The first so many frames of each drawing: a second of an emulated processor's time takes a quarter of a minute."""


def at_the_limit() -> tuple[Program, Rig]:
    """A ring and a zigzag of long lines at up to 100 000 steps/s and motor."""
    rig = Rig.default().changed(
        {
            "axis.x.speed_mm_s": 1250.0,
            "axis.y.speed_mm_s": 1250.0,
            "axis.x.accel_mm_s2": 20_000.0,
            "axis.y.accel_mm_s2": 20_000.0,
            "motor.a.step_rate_hz": 100_000,
            "motor.b.step_rate_hz": 100_000,
            "motion.pen_down_speed_mm_s": 1250.0,
        }
    )
    turn = np.linspace(0, 2 * np.pi, 200)
    ring = 150 + 100 * np.c_[np.cos(turn), np.sin(turn)]
    zigzag = np.c_[20 + 20.0 * np.arange(12), 20 + 200.0 * (np.arange(12) % 2)]
    return motion.plan(Drawing.from_strokes([ring, zigzag]), rig), rig


def main() -> int:
    """Print one table; exit status 1 where the fast drawing misses the bar of 5 us per word."""
    image = os.environ.get("PICO_UF2")
    if not image:
        print("NOT RUN: no MicroPython image; PICO_UF2=path/to/image.uf2", file=sys.stderr)
        return 0
    from emulated.machine import Machine
    from emulated.prompt import EmulatedPrompt, flashed

    machine = Machine(Path(image), flashed(Path(image)).flash)
    machine.start()
    if "--flash-waits" in sys.argv[1:]:
        machine.wait_for_flash()
    prompt = EmulatedPrompt(machine)
    for part in ("tests/dual/done_player.py", "bench/board_cost_board.py"):
        prompt.run((ROOT / part).read_text())

    default = Rig.default()
    heron = prepare(PlanTask(str(ROOT / "demo" / "heron.svg"), default, Placement(sheet="A6"))).program
    fast, fast_rig = at_the_limit()
    table = Table(title="microseconds of an RP2040 at 125 MHz (emulated)")
    titles = ("drawing", "records", "words", "words/block", "decode/record", "guard+queue/record", "load/ramp")
    for title in (*titles, "kernel/word", "queue to player/word", "all/word"):
        table.add_column(title, justify="right")
    table.add_column("share of processor", justify="right")
    worst = 0.0
    for name, program, rig in (("heron, A6", heron, default), ("at 100 000 steps/s", fast, fast_rig)):
        packed = program.packed()
        frames = min(FRAMES, len(packed))
        payloads = ",".join(f"bytearray({packed.payload(i)!r})" for i in range(frames))
        told = board_settings(rig)
        accel, rate = told["accel"], told["max_rate"]
        limits = f"{accel}, {rate}, {told['ramp_accel']}, {told['corner_rate']}"
        played = prompt.run(f"whole(DonePlayer(), [{payloads}], {limits})")
        count, words, blocks, *spent = map(int, played.split())
        ramps, alone, loading, rendering = map(int, prompt.run(f"kernel_alone([{payloads}], {accel})").split())
        lasts_us = float(program.ticks_before[int(packed.first[frames])]) / 5
        per_word = sum(spent) / words
        worst = per_word if program is fast else worst
        table.add_row(
            name,
            str(count),
            str(words),
            f"{words / blocks:.0f}",
            f"{spent[0] / count:.0f}",
            f"{spent[1] / count:.0f}",
            f"{loading / ramps:.0f}",
            f"{(loading + rendering) / alone:.2f}",
            f"{spent[2] / words:.2f}",
            f"{per_word:.2f}",
            f"{sum(spent) / lasts_us:.0%}",
        )
    Console(width=160).print(table)
    return int(worst > 5.0)


if __name__ == "__main__":
    raise SystemExit(main())
