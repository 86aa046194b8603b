"""The kernel plays the same words on every interpreter: plain Python, bytecode, and viper machine code."""

import unittest
from array import array

from lineboard import kernel
from linewire.compat import TICKS_PERIOD, ticks_add, ticks_diff

OVERHEAD = 17


class Lcg:
    """The same pseudo-random numbers everywhere (constants: Numerical Recipes, 2nd ed., section 7.1)."""

    def __init__(self, seed):
        self.value = seed

    def below(self, limit):
        self.value = (self.value * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self.value >> 8) % limit


def fold(crc, word):
    """A running checksum without modules (Fletcher's, with 16-bit sums)."""
    low = (crc & 0xFFFF) + (word & 0xFFFF)
    low = (low + (word >> 16)) % 65535
    high = ((crc >> 16) + low) % 65535
    return (high << 16) | low


def random_ramp(random):
    size = 1 << random.below(12)
    da = random.below(2 * size + 1) - size
    db = random.below(2 * size + 1) - size
    v_end = random.below(1 << (1 + random.below(16)))
    return da, db, v_end


def play(seed, ramps, pace_changes):
    """Play a chain of ramps in odd-sized calls; returns (checksum, steps A, steps B, words)."""
    random = Lcg(seed)
    state = kernel.new_state(OVERHEAD)
    state[kernel.S_ACCEL] = 1 + random.below(400000)
    words = array("I", [0] * 64)
    total_a = total_b = count_all = checksum = 0
    for _ in range(ramps):
        da, db, v_end = random_ramp(random)
        beyond = kernel.PLENTY
        if pace_changes and random.below(3) == 0:
            beyond = random.below(500)
        if not kernel.load(state, da, db, v_end, beyond):
            continue
        total_a += da
        total_b += db
        while state[kernel.S_LEFT]:
            if pace_changes and random.below(8) == 0:
                state[kernel.S_PACE] = random.below(257)
            count = kernel.render(state, words, 0, 1 + random.below(64), 1 + random.below(100000))
            for i in range(count):
                checksum = fold(checksum, words[i])
            count_all += count
            if state[kernel.S_STILL]:
                state[kernel.S_PACE] = kernel.FULL_PACE
                kernel.extend(state, kernel.PLENTY)
    if (state[kernel.S_A], state[kernel.S_B]) != (total_a, total_b):
        raise AssertionError("lost steps")
    return checksum, total_a, total_b, count_all


class Words(unittest.TestCase):
    # Checksums of the words under CPython; the other interpreters must give the same.

    def test_planned_ramps(self):
        self.assertEqual(play(1, 300, False), PLANNED)

    def test_ramps_with_changes_of_pace(self):
        self.assertEqual(play(2, 300, True), PACED)


class Delays(unittest.TestCase):
    def test_delay_is_exact(self):
        state = kernel.new_state(OVERHEAD)
        words = array("I", [0] * 8)
        for ticks in (17, 18, 5000000, (1 << 26) + 16, (1 << 26) + 17, (1 << 26) + 20, (1 << 27) + 5):
            count = kernel.delay(state, words, 0, 8, ticks)
            sums = array("i", [0, 0, 0, 0])
            kernel.tally(words, 0, count, OVERHEAD, sums)
            self.assertEqual(sums[0], 0)
            self.assertEqual(sums[1], 0)
            self.assertEqual(sums[2] * kernel.TICK_HZ + sums[3], ticks)


class Refusals(unittest.TestCase):
    def test_unplayable_ramps_change_nothing(self):
        state = kernel.new_state(OVERHEAD)
        before = list(state)
        for da, db, v_end in ((0, 0, 100), (16384, 0, 100), (0, -16384, 100), (5, 5, 0), (5, 5, 131072)):
            self.assertEqual(kernel.load(state, da, db, v_end, kernel.PLENTY), 0)
            self.assertEqual(list(state), before)


class Clock(unittest.TestCase):
    def test_differences_survive_the_wrap(self):
        near = TICKS_PERIOD - 5
        self.assertEqual(ticks_add(near, 10), 5)
        self.assertEqual(ticks_diff(ticks_add(near, 10), near), 10)
        self.assertEqual(ticks_diff(near, ticks_add(near, 10)), -10)


PLANNED = (4210383886, 1163, 7102, 67143)
PACED = (1744760464, -7040, -10673, 71702)

if __name__ == "__main__":
    unittest.main()
