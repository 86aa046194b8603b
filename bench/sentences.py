"""Processor time from a sentence to strokes on A5, and the machine's time for each drawing.

The sentences are those of tests/host/words/sentences.txt. The reference of the same run is `shapely` alone: the union
of the outlines of one drawing, which hiding cannot do without.
"""

from __future__ import annotations

import statistics
import time
from pathlib import Path

import numpy as np
import shapely

from linewright.planning import pipeline
from linewright.rig.rig import Rig
from linewright.sources.picture import Wish
from linewright.sources.words.arranging import arrange
from linewright.sources.words.staging import Stage
from linewright.sources.words.way import Words, understood

SENTENCES = Path(__file__).parents[1] / "tests" / "host" / "words" / "sentences.txt"
BAR_S = 1.0
BAR_MINUTES = 10.0


def main() -> None:
    """Print medians with their spread."""
    lines = [line for line in SENTENCES.read_text(encoding="utf-8").splitlines() if line and line[0] != "#"]
    wish = Wish((128.0, 190.0))
    Words().read(lines[0], wish)  # imports
    costs = []
    for line in lines:
        began = time.process_time()
        Words().read(line, wish)
        costs.append(time.process_time() - began)
    reading, things, _ = understood(lines[0])
    areas = [s.area for s in arrange(reading, Stage(things, 1), 1).shapes if s.area is not None]
    began = time.process_time()
    for _ in range(20):
        shapely.union_all(areas)
    reference = (time.process_time() - began) / 20
    low, high = np.percentile(costs, (10, 90))
    print(f"sentence to strokes, {len(lines)} sentences: median {statistics.median(costs):.2f} s of processor time "
          f"({low:.2f} to {high:.2f}), the slowest {max(costs):.2f} s; bar {BAR_S:g} s")  # fmt: skip
    print(f"the union of one drawing's {len(areas)} outlines by shapely: {1000 * reference:.1f} ms")
    rig = Rig.default()
    placement = pipeline.Placement(sheet="A5")
    minutes = []
    for line in lines[::10]:
        job = pipeline.prepare(pipeline.PlanTask(line, rig, placement, pipeline.Lines(method="words")))
        minutes.append(job.program.predicted_s / 60)
    print(f"on A5 by the default rig, every tenth sentence: {min(minutes):.1f} to {max(minutes):.1f} min, "
          f"median {statistics.median(minutes):.1f} min; bar {BAR_MINUTES:g} min")  # fmt: skip


if __name__ == "__main__":
    main()
