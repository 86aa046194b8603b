"""Calibration of hundreds of virtual machines with hidden errors: results of the fits, and the error of a card
afterwards.

    .venv/bin/python bench/true_rigs.py [FIRST END]

Each machine has scales of 0.97 to 1.03, up to 2 degrees out of square, up to 0.6 mm of backlash, paper that is tilted
and sags, and rings at 8 to 40 Hz. Its sheets are drawn on it, measured with a ruler that is read to 0.1 mm by a hand
that is off by a third of that, and fitted. Bars: every figure within its stated uncertainty; a card drawn after that
within 0.1 mm of its shape; the pen on the paper everywhere. Exit status 1 otherwise. The same card without ringing
shows the remaining error of scale, squareness and backlash alone.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np

from linewright.calibration.rehearsal import guided
from linewright.motion import plan
from linewright.rig.rig import Rig
from linewright.simulation.machine import Machine
from linewright.simulation.shortcut import draw_on

BAR_MM = 0.1


def main() -> int:
    first, end = (int(word) for word in sys.argv[1:3]) if len(sys.argv) > 2 else (0, 200)
    before, after, stiff, misses, seconds = [], [], [], [], []
    for seed in range(first, end):
        faults = guided.hidden_faults(seed)
        begun = time.process_time()
        outcome = guided.walk(Rig.default(), faults, seed)
        seconds.append(time.process_time() - begun)
        card = guided.card(outcome.rig)
        calm = replace(faults, ringing_x_hz=0.0, ringing_y_hz=0.0)
        drawn = draw_on(Machine.from_rig(outcome.rig), calm, plan(card, outcome.rig))
        before.append(outcome.before_mm)
        after.append(outcome.after_mm)
        stiff.append(guided.departure_mm(card, drawn))
        short = guided.shortfalls(outcome, faults)
        if outcome.pressure_after_us[0] <= 0.0:
            short.append(f"the pen leaves the paper by {-outcome.pressure_after_us[0]:.0f} us")
        misses += [f"machine {seed}: {words}" for words in short]
        if outcome.after_mm >= BAR_MM:
            misses.append(f"machine {seed}: the card is {outcome.after_mm:.3f} mm off")
        print(
            f"{seed:4d}  before {before[-1]:6.2f} mm  after {after[-1]:.3f} mm  without ringing {stiff[-1]:.3f} mm",
            flush=True,
        )
    print()
    for name, values in (("before", before), ("after", after), ("after, without ringing", stiff)):
        median, most = np.quantile(values, (0.5, 0.95))
        print(f"{name}: median {median:.3f} mm, 95 % below {most:.3f}, worst {max(values):.3f}")
    print(f"{end - first} machines, {np.median(seconds):.1f} s of processor time each")
    print("\n".join(misses) if misses else f"every figure within its statement, every card within {BAR_MM:g} mm")
    return 1 if misses else 0


if __name__ == "__main__":
    sys.exit(main())
