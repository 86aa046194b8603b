"""Plans for the tip on machines with backlash and crooked rails, by an integrator that shares no code with the planner.

    .venv/bin/python bench/tip_truth.py [cards] [small]

``small``: the drawings of `smoothness.py`, a needle star, and arcs of 0.2 mm; ``cards``: the first strokes of the four
demo cards and of a page of text, as `linewright plan` places and orders them. Without either, both. Each is planned
with ``shaper = "tip"`` and 0.05 mm on several machines, and played by `tests/host/tip_integrator.py` (scipy), with the
frequencies as believed, and 5 % lower and higher. The table shows the time of all motion against the fastest plan for
the same machine, whatever that rings, and the largest distance of ink and stroke from each other, mm.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from smoothness import AIM_MM, DAMPING, MACHINES, drawings

from host.tip_integrator import PEN, RAMP, Axis, off_lines_mm, trace
from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.planning.pipeline import Lines, Placement, PlanTask, prepare
from linewright.program import program as records
from linewright.rig.rig import Rig
from linewright.units import TICK_HZ

HZ = MACHINES[0][1]
TIP = {"smoothing.x_hz": HZ[0], "smoothing.y_hz": HZ[1], "smoothing.shaper": "tip", "smoothing.swing_mm": AIM_MM}
FACTORS = (1.0, 0.95, 1.05)
CARDS = ("heron", "lighthouse", "drifter", "helmet")
STROKES = 80
"""Of each card and of the page: some 40 s of motion each."""


def play(x_mm: float, y_mm: float) -> dict[str, Any]:
    """Keys of a rig file for backlash."""
    return {"corrections.backlash_x_mm": x_mm, "corrections.backlash_y_mm": y_mm}


CROOKED = {
    "corrections.squareness_deg": 0.5,
    "corrections.straightness_x_mm": [[0.0, 0.0], [150.0, 0.4], [300.0, 0.0]],
}
UNEQUAL = {"axis.y.accel_mm_s2": 700.0, "axis.y.speed_mm_s": 90.0, "motor.b.microsteps": 8}
RIGS: dict[str, dict[str, Any]] = {
    "default": {},
    "backlash 0.05": play(0.05, 0.05),
    "backlash 0.15": play(0.15, 0.15),
    "0.05, 0.15, crossed, crooked": play(0.05, 0.15) | CROOKED | {"kinematics.type": "crossed-belt"},
    "0.15, 0.05, unequal, crooked": play(0.15, 0.05) | CROOKED | UNEQUAL,
}


def small() -> dict[str, Drawing]:
    """The drawings of the other bench, and two that turn around most often."""
    turns = np.linspace(0.0, 2.0 * np.pi, 49)
    star = np.column_stack((np.cos(turns), np.sin(turns))) * np.where(np.arange(49) % 2, 2.0, 14.0)[:, None] + 60.0
    bend = np.linspace(0.0, 5.5, 40)
    arc = np.column_stack((np.cos(bend), np.sin(bend))) * 0.2
    arcs = [arc + [40.0 + 2.0 * (i % 6), 40.0 + 2.0 * (i // 6)] for i in range(24)]
    return drawings() | {"needle star": Drawing.from_strokes([star]), "arcs of 0.2": Drawing.from_strokes(arcs)}


def cards(folder: Path) -> dict[str, Drawing]:
    """The first strokes of the cards and of a page of text, machine mm."""
    page = folder / "page.svg"
    words = ["the", "quick", "brown", "fox", "jumps", "over", "the", "lazy", "dog", "and", "comes", "back", "again"]
    lines = [" ".join(words[(3 * i + j) % len(words)] for j in range(7)) for i in range(30)]
    text = "".join(f'<text x="15" y="{20 + 8 * i}" font-size="5">{line}</text>' for i, line in enumerate(lines))
    page.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 210 297" width="210mm" height="297mm">{text}</svg>'
    )
    found = {}
    for name in (*CARDS, "page of text"):
        lies = {"sheet": "A4"} if name == "page of text" else {"sheet": "A6", "landscape": name == "drifter"}
        path = page if name == "page of text" else ROOT / "demo" / f"{name}.svg"
        drawing = prepare(PlanTask(str(path), Rig.default(), Placement(**lies), Lines(None))).program.drawing
        found[name] = drawing.select(np.arange(min(STROKES, len(drawing))))
    return found


def moving_s(program: records.Program) -> float:
    """Time of all motion."""
    return float(program.ticks[program.is_ramp].sum()) / TICK_HZ


def main() -> None:
    """The table."""
    asked = sys.argv[1:] or ["small", "cards"]
    with tempfile.TemporaryDirectory() as folder:
        sets = (small() if "small" in asked else {}) | (cards(Path(folder)) if "cards" in asked else {})
    print(f"{'drawing':14s} {'machine':30s} {'any':>7s} {'tip':>7s}  off by 1, 0.95, 1.05 of the frequencies, mm")
    for name, drawing in sets.items():
        for which, changes in RIGS.items():
            rig = Rig.default().changed(TIP | changes)
            any_s = moving_s(motion.plan(drawing, rig.changed({"smoothing.shaper": "none"})))
            program = motion.plan(drawing, rig)
            off = []
            for factor in FACTORS:
                axes = (Axis(HZ[0] * factor, DAMPING), Axis(HZ[1] * factor, DAMPING))
                traced = trace(program, {records.RAMP: RAMP, records.PEN: PEN}, axes, rig.shape.play_mm)
                off.append(off_lines_mm(traced, list(program.drawing), program.shape.true_mm))
            print(
                f"{name:14s} {which:30s} {any_s:5.1f} s {moving_s(program) / any_s:6.3f}x  "
                + "  ".join(f"{far:.4f}" for far in off)
                + ("" if max(off) <= AIM_MM else "   beyond"),
                flush=True,
            )


if __name__ == "__main__":
    main()
