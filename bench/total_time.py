"""Drawing time of the four demo cards and of a hatched portrait, pen lifts included, against an older state.

    .venv/bin/python bench/total_time.py --before CHECKOUT [--renders FOLDER]

CHECKOUT is an older state of this repository; without it, this one with a pen that was not measured. Both plan the same
pictures for the default rig: the older one as it is, this one with ``[pen] near_us`` and ``near_ms`` as bring-up would
have measured them, and the older one with the same where it knows them. Time is the planner's own prediction, which is
what the board plays, to the tick.

Ink is compared as an eye sees it: strokes of both are drawn at the pen's width, blurred by a radius of three pens, and
the mean difference of coverage is given, as is the ink of the new one as a share of the old one's. The portrait is
scikit-image's astronaut, which that package ships; it is not kept here.
"""

from __future__ import annotations

import argparse
import os
import pickle
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from scipy import ndimage

from linewright.sources.tone.coverage import inked

HERE = Path(__file__).resolve().parent.parent
CARDS = ("heron", "lighthouse", "drifter", "helmet")
PORTRAIT = "portrait"
MEASURED = {"pen.near_us": 1540, "pen.near_ms": 60}
"""Of the default rig's pen, 1300 us up and 1600 us down in 150 ms: on paper some 20 us before the end, and clear of it
40 us above, by a servo that takes a fifth of its way and a frame of 20 ms for that."""
PEN_MM = 0.5
EYE_PENS = 3.0
BAR = 0.7

CHILD = """
import pickle, sys
import numpy as np
asked = pickle.load(open(sys.argv[1], "rb"))
try:
    from linewright.planning.pipeline import Lines, Placement, PlanTask, prepare
    from linewright.rig.rig import Rig
    def job(source, rig, placement, lines):
        return prepare(PlanTask(source, rig, placement, lines))
except ModuleNotFoundError:  # a state of before the layers
    from linewright.pipeline import Lines, Placement, prepare
    from linewright.rig import Rig
    job = prepare
rig = Rig.default().changed(asked["rig"])
found = {}
for name, source, placement, method in asked["pictures"]:
    program = job(source, rig, Placement(**placement), Lines(method)).program
    drawing = program.drawing
    pauses = np.flatnonzero(~program.is_ramp)
    found[name] = {
        "s": program.predicted_s,
        "rest_s": float(program.ticks[pauses].sum()) / 5e6,
        "strokes": len(drawing),
        "ink_mm": program.pen_down_mm,
        "lines": [drawing.points_mm[a:b] for a, b in zip(drawing.starts[:-1], drawing.starts[1:])],
    }
pickle.dump(found, open(sys.argv[2], "wb"))
"""


def pictures() -> list[tuple[str, str, dict[str, Any], str | None]]:
    """Name, file, placement on the sheet, and method."""
    spec = find_spec("skimage")
    if spec is None or spec.origin is None:
        raise SystemExit("scikit-image is not installed, and the portrait is its own")
    lain = {"sheet": "A6", "margin_mm": 4.0, "fit": "keep", "turn_deg": 0}
    cards = [(n, str(HERE / "demo" / f"{n}.svg"), {**lain, "landscape": n == "drifter"}, None) for n in CARDS]
    face = Path(spec.origin).parent / "data" / "astronaut.png"
    return [*cards, (PORTRAIT, str(face), {"sheet": "A5", "turn_deg": 0}, "hatching")]


def planned(checkout: Path, rig: dict[str, Any], folder: Path) -> dict[str, dict[str, Any]]:
    """Results of a checkout for all pictures."""
    asked, answer = folder / "asked", folder / "answer"
    asked.write_bytes(pickle.dumps({"rig": rig, "pictures": pictures()}))
    paths = [str(checkout / name) for name in ("host", "shared_protocol", "device")]
    subprocess.run(
        [sys.executable, "-c", CHILD, str(asked), str(answer)],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        check=True,
        timeout=900,
    )
    return pickle.loads(answer.read_bytes())


def difference(old: list[np.ndarray], new: list[np.ndarray]) -> tuple[float, float, np.ndarray, np.ndarray]:
    """Mean difference of blurred coverage, ratio of new to old ink, and both coverages."""
    corner = np.min([line.min(axis=0) for line in old + new], axis=0) - PEN_MM
    size = np.max([line.max(axis=0) for line in old + new], axis=0) + PEN_MM - corner
    a, b = (
        inked([line - corner for line in lines], (float(size[0]), float(size[1])), pen_mm=PEN_MM, pixel_mm=PEN_MM / 4)
        for lines in (old, new)
    )
    eye = EYE_PENS * 4
    apart = np.abs(ndimage.gaussian_filter(a, eye) - ndimage.gaussian_filter(b, eye)).mean()
    return float(apart), float(b.sum() / a.sum()), a, b


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--before", type=Path, help="an older checkout")
    parser.add_argument("--renders", type=Path, help="folder for what both draw, as PNG")
    given = parser.parse_args()
    before = (given.before or HERE).resolve()
    with tempfile.TemporaryDirectory() as folder:
        plain = planned(before, {}, Path(folder))
        quick = planned(before, MEASURED, Path(folder))
        new = planned(HERE, MEASURED, Path(folder))
    print(
        "picture     before: s  strokes  at rest | pen measured: s |    now: s  strokes  at rest |  ratio  to measured"
    )
    for name, now in new.items():
        old, halfway = plain[name], quick[name]
        print(
            f"{name:<11} {old['s']:9.1f} {old['strokes']:8d} {old['rest_s'] / old['s']:8.0%} | {halfway['s']:14.1f}  | "
            f"{now['s']:9.1f} {now['strokes']:8d} {now['rest_s'] / now['s']:8.0%} | {now['s'] / old['s']:7.3f} "
            f"{now['s'] / halfway['s']:12.3f}"
        )
    sums = [sum(one["s"] for one in state.values()) for state in (plain, quick, new)]
    print(f"all: {sums[0]:.1f} s, {sums[1]:.1f} s with the pen measured, now {sums[2]:.1f} s")
    print(f"now / before {sums[2] / sums[0]:.3f} (bar {BAR}), with the pen measured then, too, {sums[2] / sums[1]:.3f}")
    for name, now in new.items():
        apart, share, *seen = difference(plain[name]["lines"], now["lines"])
        print(f"{name:<11} ink {share:.4f} of before, as seen {apart:.4f} of coverage apart")
        if given.renders:
            given.renders.mkdir(parents=True, exist_ok=True)
            for which, coverage in zip(("before", "now"), seen, strict=True):
                Image.fromarray((255 * (1 - coverage)).astype(np.uint8)).save(given.renders / f"{name}-{which}.png")


if __name__ == "__main__":
    main()
