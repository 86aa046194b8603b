"""The part of bench/kernel_cost.py that runs under MicroPython: microseconds per pulse word, one line per case."""

import sys
import time
from array import array

from lineboard import kernel

WORDS = 128
CASES = (
    # name, chain of ramps (da, db, v_end) that is played round and round, rounds
    ("cruise, 8000 steps/s", ((2000, 1100, 8000), (2000, -900, 8000)), 20),
    ("speeding up and slowing down, 1000 to 16000 steps/s", ((800, 300, 16000), (800, 300, 1000)), 50),
    ("curve, 25 steps a ramp", ((25, 12, 7400), (25, 14, 7000)), 1000),
    ("from rest to rest, 2 x 30 steps", ((30, 11, 3000), (30, 11, 0)), 700),
)


def run(chain, rounds):
    """Microseconds per word of one case."""
    state = kernel.new_state(17)
    words = array("I", [0] * WORDS)
    count = 0
    begin = time.time_ns()
    for _ in range(rounds):
        for da, db, v_end in chain:
            kernel.load(state, da, db, v_end, kernel.PLENTY)
            while state[kernel.S_LEFT]:
                count += kernel.render(state, words, 0, WORDS, 1 << 28)
    return (time.time_ns() - begin) / 1000 / count


for name, chain, rounds in CASES:
    figures = sorted(run(chain, rounds) for _ in range(int(sys.argv[1])))
    print(name, figures[len(figures) // 2], figures[0], figures[-1], sep="|")
