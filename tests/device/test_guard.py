"""The guard's integer arithmetic agrees with real numbers; supervision of switches, power and positions is correct."""

from __future__ import annotations

import copy
import math
import random
import statistics
from array import array

import pytest

from device.checked_integers import Checked, CheckedCells
from dual.record_reader import laid_down
from lineboard import guard
from linewire import messages, records

FAR = 10_000_000
MOST_OPERATIONS = 200
"""Largest number of integer operations per record: the longest paths need 170; an iterative root would need
thousands.
"""


class Model:
    """The limits of short and long ramps in real numbers: `used` is the largest share of a limit that a ramp takes."""

    def __init__(self, rate: int, accel: int, jump: int) -> None:
        self.rate, self.accel, self.jump = rate, accel, jump
        self.brief_s = min(8 / jump, jump / (2 * accel), 1 / 32)
        self.v = self.lasts_s = self.way = 0.0
        self.unsure = False
        self.reference = [0.0, 0.0]
        self.ahead = [0.0, 0.0]

    def used(self, d: tuple[int, int], v: int) -> float:
        length = math.hypot(*d)
        lasts_s = 2 * length / (self.v + v)
        share = max(max(self.v, v) * abs(n) / length / self.rate for n in d)
        share = max(share, abs(v * v - self.v * self.v) / (2 * self.accel * (math.floor(length) + 1)))
        brief = lasts_s < self.brief_s and max(map(abs, d)) < 256
        # Whether a ramp is brief, and whether the recent ones suffice, depends on the last digit.
        self.unsure = any(abs(t / self.brief_s - 1) < 0.03 for t in (lasts_s, self.lasts_s, self.lasts_s + lasts_s))
        self.unsure |= abs(self.way + length - 256) < 8
        if self.lasts_s and (not brief or self.lasts_s >= self.brief_s or self.way >= 256):
            self.settle()
        slew = self.accel * (self.lasts_s + lasts_s)
        whole = self.lasts_s + lasts_s >= self.brief_s or self.way + length >= 256
        for motor, n in enumerate(d):
            if brief:
                alone = n - self.reference[motor] * lasts_s
                share = max(share, abs(alone) / (1.5 + (self.jump / 2 + slew) * lasts_s))
                self.ahead[motor] += alone
                allowed = (self.jump / 2 + slew / 2) * (self.lasts_s + lasts_s) + (0.0 if whole else 1.5)
                share = max(share, abs(self.ahead[motor]) / allowed)
            else:
                off = abs(self.v * n / length - self.reference[motor])
                share = max(share, off / (self.jump / 2 + self.v / length))
                self.follow(motor, v * n / length, self.accel * lasts_s)
        if brief:
            self.lasts_s += lasts_s
            self.way += length
        self.v = v
        return share

    def settle(self) -> None:
        for motor in (0, 1):
            rate = self.reference[motor] + self.ahead[motor] / self.lasts_s
            self.follow(motor, rate, self.accel * self.lasts_s)
        self.ahead, self.lasts_s, self.way = [0.0, 0.0], 0.0, 0.0

    def follow(self, motor: int, rate: float, most: float) -> None:
        self.reference[motor] += max(-most, min(most, rate - self.reference[motor]))


class Port:
    """Time, switches and power, set by the test."""

    def __init__(self) -> None:
        self.us, self.pressed, self.power = 0, [False, False], True

    def now_us(self) -> int:
        return self.us

    def endstop(self, axis: int) -> bool:
        return self.pressed[axis]

    def motor_power(self) -> bool:
        return self.power


class Queue:
    def __init__(self, slots: int = 1) -> None:
        self.values, self.places = array("i", [0] * slots), array("i", [0] * slots)
        self.lengths = array("H", [0] * slots)
        self.taken = 0


def limited(rate: int = 40_000, accel: int = 300_000, jump: int = 6000, crossed: bool = False) -> guard.Guard:
    it = guard.Guard(Port(), 0)
    it.configure(crossed, (-FAR, FAR, -FAR, FAR), rate, rate, accel, jump, 1000, 2000)
    it.begin(0, 0, True)
    return it


def fault(it: guard.Guard, kind: int, *entry: int) -> int:
    queue = Queue()
    queue.values[0], queue.places[0] = laid_down(kind, *entry)
    return it.admit(queue, 1)


FIGURES = [
    (8000, 60_000, 1500),
    (40_000, 300_000, 6000),
    (131_071, 4_000_000, 40_000),
    (3000, 5000, 400),
    (60_000, 1_200_000, 3000),
]


@pytest.mark.parametrize(("rate", "accel", "jump"), FIGURES)
def test_ramps_are_taken_and_refused_as_in_real_numbers(rate: int, accel: int, jump: int) -> None:
    """Tolerance: 6 % for rounding of integer rules, and a few steps/s at low speeds."""
    chance = random.Random(rate)
    refused = taken = 0
    off: dict[bool, list[float]] = {False: [], True: []}
    off_steps = []
    for _ in range(400):
        it, model = limited(rate, accel, jump), Model(rate, accel, jump)
        angle, size = chance.uniform(0, 2 * math.pi), chance.choice([1, 3, 10, 60, 300, 3000])
        for _ in range(25):
            angle += chance.choice([0, 0, 0.02, -0.1, 0.5, 3.1])
            n = size * chance.choice([1, 1, 1, 0.3, 4])
            d = round(n * math.cos(angle)), round(n * math.sin(angle))
            reach = math.sqrt(max(model.v**2 + chance.choice([-1, 0, 0, 0.9, 1.2]) * 2 * accel * math.hypot(*d), 0))
            v = min(int(reach), rate * 11 // 10, 131_071)
            if not any(d) or model.v + v < 200:
                continue
            share = model.used(d, v)
            if model.unsure:
                break
            got = fault(it, records.RAMP, *d, v)
            if abs(share - 1) > 0.06:
                assert got == (messages.BEYOND_LIMITS if share > 1 else 0), (share, d, v)
            refused += got != 0
            taken += got == 0
            if got:
                break
            for motor in (0, 1):
                follows = it.limits[guard._REFERENCE_A + motor] - guard._RATE_ZERO
                ahead = (it.limits[guard._AHEAD_A + motor] - guard._AHEAD_ZERO) / 16
                off[math.hypot(*d) > 60].append(abs(follows - model.reference[motor]) / rate)
                off_steps.append(abs(ahead - model.ahead[motor]))
    assert refused > 30
    assert taken > 300
    # The length of a short ramp is known to a sixteenth of a step, and its time to a 2 097 152th of a second.
    assert max(off[True]) < 0.003
    assert statistics.median(off[True]) < 0.0002
    assert max(off[False]) < 0.02
    assert statistics.median(off[False]) < 0.0003
    assert max(off_steps) < 1
    assert statistics.median(off_steps) < 0.001


def at_speed(it: guard.Guard, d: tuple[int, int], v: int) -> None:
    """As if a long ramp in this direction had just ended at this path speed."""
    it.begin(0, 0, True)
    it.limits[guard._V] = v
    for motor, n in enumerate(d):
        it.limits[guard._REFERENCE_A + motor] = guard._RATE_ZERO + round(v * n / math.hypot(*d))


WAYS = [(1.0, 0.0), (0.0, -1.0), (-0.6, 0.8), (0.8, 0.6), (-0.7072, -0.7071), (0.28, -0.96), (0.999, 0.0447)]


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("rates", [(8000, 4001), (33_333, 60_000), (131_071, 90_000)])
def test_each_motor_has_its_own_rate_to_a_few_steps_a_second(way: tuple[float, float], rates: tuple[int, int]) -> None:
    """A motor's own rate is accepted at both ends of a ramp; about 8 steps/s more is refused."""
    for length in (60, 700, 9000, 16_000):
        d = round(length * way[0]), round(length * way[1])
        exact = math.hypot(*d)
        v = min(rate * exact / abs(n) for rate, n in zip(rates, d, strict=True) if n)
        if v > 131_000:
            continue
        it = guard.Guard(Port(), 0)
        it.configure(False, (-FAR, FAR, -FAR, FAR), *rates, 4_000_000, 2 * messages.RATE, 1000, 2000)
        beyond = math.ceil(v * 1.0004) + 12
        for before, end, taken in ((int(v), int(v), True), (beyond, int(v), False), (int(v), beyond, False)):
            at_speed(it, d, before)
            assert (fault(it, records.RAMP, *d, end) == 0) == taken, (d, before, end)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("accel", [900, 60_000, 4_000_000])
def test_acceleration_is_kept_to_a_step(way: tuple[float, float], accel: int) -> None:
    """Up and down, from rest and at speed: v^2 changes by 2 a (length + 1), and by 2 % more it does not."""
    for length in (1, 3, 40, 250, 300, 4000, 16_000):
        d = round(length * way[0]), round(length * way[1])
        exact = math.hypot(*d)
        for before in (0, 200, 9000, 100_000):
            change = 2 * accel * exact
            v = int(math.sqrt(before**2 + change))
            # Rounding: one step of length, 1/8 of a unit of acceleration, and speeds to 16 steps/s.
            beyond = math.ceil(math.sqrt(before**2 + 2 * (accel + 24) * (exact + 1.01) * 1.005)) + 16
            for fast, slow, taken in ((v, before, True), (beyond, before, False)):
                if fast > messages.RATE or (fast == slow and taken):
                    continue
                for one, other in ((slow, fast), (fast, slow)):
                    it = limited(messages.RATE, accel, 2 * messages.RATE)
                    at_speed(it, d, one)
                    assert (fault(it, records.RAMP, *d, other) == 0) == taken, (d, one, other)


def test_the_greatest_acceleration_that_is_allowed_is_allowed() -> None:
    """800^2 = 2 (accel + 16) (39 + 1): the limit is an eighth of the acceleration, rounded, plus 2."""
    assert fault(limited(accel=7984), records.RAMP, 39, 0, 800) == messages.NO_FAULT
    assert fault(limited(accel=7984), records.RAMP, 39, 0, 801) == messages.BEYOND_LIMITS


def test_short_ramps_are_taken_together_the_same_in_all_four_directions() -> None:
    """Four single steps last long enough; the fifth finds the reference where the acceleration allows it to be."""
    found = set()
    for d in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        it = limited(8000, 60_000, 1500)
        at_speed(it, d, 700)
        it.limits[guard._REFERENCE_A] = it.limits[guard._REFERENCE_B] = guard._RATE_ZERO
        for _ in range(5):
            assert fault(it, records.RAMP, *d, 700) == 0
        a, b = (it.limits[guard._REFERENCE_A + motor] - guard._RATE_ZERO for motor in (0, 1))
        found.add((a * d[0] + b * d[1], a * d[1] + b * d[0]))
    ((along, aside),) = found
    assert aside == 0
    assert along == pytest.approx(60_000 * 4 / 700, rel=0.02)


def test_settings_are_rounded_in_favour_of_what_was_planned_and_by_little() -> None:
    chance = random.Random(2)
    for _ in range(300):
        rates = chance.randrange(1, messages.RATE + 1), chance.randrange(1, messages.RATE + 1)
        # The first is 65 536 eighths; 2^31 is a multiple of it.
        accel = chance.choice([524_272, chance.randrange(1, 4_000_001)])
        jump = chance.randrange(1, 2 * messages.RATE + 1)
        it = guard.Guard(Port(), 0)
        it.configure(False, (0, 1, 0, 1), *rates, accel, jump, 1000, 2000)
        cells = it.limits
        assert cells[guard._RATE] == min(rates)
        assert 0 < 4 * cells[guard._RATE_A] - rates[0] <= 4
        assert 0 < 4 * cells[guard._RATE_B] - rates[1] <= 4
        assert 8 < 8 * cells[guard._ACCEL] - accel <= 16
        assert 0 <= 2 * cells[guard._HALF_JUMP] - jump <= 1
        # The longest ramp whose limit fits 31 bits.
        steps = cells[guard._FREE_STEPS]
        assert cells[guard._ACCEL] * (steps + 1) < 1 << 31 <= cells[guard._ACCEL] * (steps + 2)
        brief_s = min(8 / jump, jump / (2 * accel), 1 / 32)
        assert -1 <= cells[guard._BRIEF] - brief_s * 2**21 <= 1


@pytest.mark.parametrize("axis", [(1, 0), (-1, 0), (0, 1), (0, -1)])
@pytest.mark.parametrize("length", [300, 4000, 4096, 9000, 16_383])
def test_the_reference_follows_by_what_the_acceleration_allows_in_a_ramp(axis: tuple[int, int], length: int) -> None:
    """It ends at the rate itself if that is nearer."""
    d = axis[0] * length, axis[1] * length
    motor, sign = (0, axis[0]) if axis[0] else (1, axis[1])
    for v, accel in ((80_000, 900), (80_000, 60_000), (3000, 900), (100_000, 4_000_000)):
        it = limited(messages.RATE, accel, 2 * messages.RATE)
        at_speed(it, d, v)
        allowed = accel * length / v
        for from_rate in (v, v - 7, 0):
            it.limits[guard._REFERENCE_A + motor] = guard._RATE_ZERO + sign * from_rate
            assert fault(it, records.RAMP, *d, v) == 0
            follows = sign * (it.limits[guard._REFERENCE_A + motor] - guard._RATE_ZERO)
            if allowed > v - from_rate + 1:
                assert follows == v
            else:
                # The acceleration is rounded up, for long ramps to 256 steps/s2.
                rounded = 272 if length >= 4096 else 24
                assert 0.98 * allowed - 2 < follows - from_rate < (1.01 * accel + rounded) * length / v + 2


@pytest.mark.parametrize(("rate", "accel", "jump"), FIGURES)
def test_a_turn_is_taken_up_to_the_allowed_jump(rate: int, accel: int, jump: int) -> None:
    """At full speed, alone or after short straight ramps: within 3 % or 1.5 steps."""
    chance = random.Random(jump)
    tried = 0
    for length in (2, 4, 8, 15, 30, 60, 110, 200, 300, 800, 5000) * 4:
        it, model = limited(rate, accel, jump), Model(rate, accel, jump)
        v = round(rate * chance.uniform(0.5, 0.95))
        turned, sign = chance.choice([False, True]), chance.choice([-1, 1])

        def way(m: float, n: int = length, turned: bool = turned, sign: int = sign) -> tuple[int, int]:
            along, aside = round(math.sqrt(n * n - m * m)), round(sign * m)
            return (aside, -along) if turned else (along, aside)

        at_speed(it, way(0), v)
        model.v, model.reference = v, [v * n / length for n in way(0)]
        for _ in range(chance.randrange(3)):
            model.used(way(0), v)
            assert fault(it, records.RAMP, *way(0), v) == 0
        least, most = 0.0, float(length)
        while most - least > 0.01:
            m = (least + most) / 2
            least, most = (m, most) if copy.deepcopy(model).used(way(m), v) <= 1 else (least, m)
        if most > length - 1:
            continue  # allowed to turn by 90 degrees
        for m, taken in ((least * 0.97 - 1.5, True), (least * 1.03 + 1.5, False)):
            trial = copy.deepcopy(model)
            if 0 <= m <= length and (trial.used(way(m), v) <= 1) == taken and not trial.unsure:
                tried += 1
                assert (fault(copy.deepcopy(it), records.RAMP, *way(m), v) == 0) == taken, (way(m), v)
    assert tried > 40


def test_nothing_leaves_32_bits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Settings and records within and at the ends of their ranges, at the extreme positions."""
    monkeypatch.setattr(guard, "int", Checked, raising=False)
    chance = random.Random(3)
    taken = most = 0
    for case in range(400):
        rate = chance.choice([messages.RATE, 3000, chance.randrange(1, messages.RATE)])
        accel = chance.choice([1, 4_000_000, chance.randrange(1, 4_000_000), 300_000])
        jump = chance.choice([1, 2 * messages.RATE, chance.randrange(1, 2 * messages.RATE), 6000])
        far = messages.POSITION
        it = guard.Guard(Port(), 0)
        it.configure(case % 4 == 0, (-far, far, -far, far), rate, rate, accel, jump, 500, 2500)
        # On a crossed belt, the sum of both positions overflows to a negative number on a board, which is refused as
        # well.
        corner = far // 2 if case % 4 == 0 else far
        it.begin(chance.choice([-corner, 0, 0, corner]), chance.choice([-corner, 0, 0, corner]), True)
        v, size = 0, chance.choice([1, 3, 16, 255, 256, 300, 4095, 4096, 16_383])
        d = [int(chance.choice([-1, 0, 1, chance.uniform(-1, 1)]) * size) for _ in (0, 1)]
        for _ in range(12):
            if chance.random() < 0.2:
                d = [d[1], -d[0] // 2]
            steady = min(int(math.sqrt(v * v + 2 * accel * math.hypot(*d))), rate)
            v = chance.choice([steady, steady, steady, 0, 1, v, messages.RATE])
            queue = Queue()
            queue.values[0], queue.places[0] = laid_down(records.RAMP, *d, v)
            cells = (CheckedCells(part) for part in (it.limits, queue.values, queue.places, queue.lengths))
            before = Checked.made
            got = guard._admit(*cells, 0, 1)
            most = max(most, Checked.made - before)
            if got:
                break
            taken += 1
    assert taken > 500
    assert most < MOST_OPERATIONS


def test_the_reference_is_at_rest_where_the_path_is() -> None:
    """After a pen action a reversal is as valid as a continuation; a pen action during motion changes nothing."""
    it = limited(8000, 60_000, 1500)
    for step in ((3, 0, 600), (3, 0, 0)):
        assert fault(it, records.RAMP, *step) == 0
    assert fault(it, records.PEN, 1500, 50, 0) == 0
    assert list(it.limits[guard._REFERENCE_A : guard._REFERENCE_B + 1]) == [guard._RATE_ZERO] * 2
    assert fault(it, records.RAMP, 540, 0, 8000) == 0
    assert fault(it, records.PEN, 1500, 0, 0) == 0
    assert fault(it, records.RAMP, -100, 0, 8000) == messages.BEYOND_LIMITS
    it.begin(0, 0, True)
    assert fault(it, records.RAMP, -540, 0, 8000) == 0


def test_order_of_records() -> None:
    """A stop, a pen action and an end need a path at rest; after a pen action during motion only a ramp may follow."""
    for kind, first, second in ((records.REST, 5, 0), (records.PEN, 1500, 20), (records.END, 0, 0)):
        it = limited()
        assert fault(it, records.RAMP, 40, 0, 3000) == 0
        assert fault(it, kind, first, second, 0) == messages.BAD_RECORDS
        assert fault(it, records.RAMP, 40, 0, 0) == 0
        assert fault(it, kind, first, second, 0) == 0
    assert fault(it, records.RAMP, 1, 0, 10) == messages.BAD_RECORDS  # behind the end
    it = limited()
    assert fault(it, records.RAMP, 0, 0, 10) == messages.BAD_RECORDS
    assert fault(it, records.RAMP, 5, 0, 0) == messages.BAD_RECORDS  # from rest to rest
    assert fault(it, records.RAMP, 40, 0, 3000) == 0
    assert fault(it, records.PEN, 1500, 0, 0) == 0
    assert fault(it, records.PEN, 1500, 0, 0) == messages.BAD_RECORDS
    it = limited()
    assert fault(it, records.RAMP, 1, 0, 500) == 0  # a single step from rest
    assert fault(it, records.REST, 5, 0, 0) == 0
    it.begin(0, 0, False)
    assert fault(it, records.PEN, 1500, 20, 0) == messages.NOT_HOMED


def test_lengths_are_whole_steps_rounded_down() -> None:
    chance = random.Random(8)
    for _ in range(1500):
        most = chance.choice([1, 2, 20, 255, 256, 700, 16_383])
        d = chance.randrange(-most, most + 1), chance.randrange(-most, most + 1)
        if any(d):
            it, queue = limited(messages.RATE, 4_000_000, 2 * messages.RATE), Queue()
            queue.values[0], queue.places[0] = laid_down(records.RAMP, *d, 900)
            it.admit(queue, 1)
            assert queue.lengths[0] == math.isqrt(d[0] ** 2 + d[1] ** 2), d


def test_what_is_counted_of_several_records() -> None:
    """The records wrap around the end of the queue; those before the faulty one are counted."""
    entries = [
        (records.RAMP, 40, 30, 3000),
        (records.PEN, 1400, 0, 0),
        (records.RAMP, 80, 60, 0),
        (records.PEN, 1500, 20, 0),
        (records.REST, 700, 0, 0),
        (records.RAMP, 3, 4, 900),
        (records.RAMP, 40, 30, 0),
        (records.RAMP, 2, 0, 500),
        (records.END, 0, 0, 0),
    ]
    # After these records: the last record with the path at rest, and path steps since.
    expected = [(0, 50), (0, 50), (0, 150), (1, 0), (2, 0), (2, 5), (2, 55), (2, 57), (2, 57)]
    for count in range(1, len(entries) + 1):
        it, queue = guard.Guard(Port(), 15), Queue(16)
        it.configure(False, (-FAR, FAR, -FAR, FAR), 40_000, 40_000, 300_000, 12_000, 1000, 2000)
        it.begin(0, 0, True)
        queue.taken = 16 * 5 + 12
        for i, entry in enumerate(entries[:count]):
            queue.values[(12 + i) % 16], queue.places[(12 + i) % 16] = laid_down(*entry)
        fault = it.admit(queue, count)
        # No end may follow a ramp that has not come to rest.
        assert fault == (messages.BAD_RECORDS if count == 9 else 0)
        cells = it.limits
        assert cells[guard.L_COUNT] == min(count, 8)
        assert (cells[guard.L_TERMINALS], cells[guard.L_OPEN]) == expected[count - 1]
        assert cells[guard.L_LAST_KIND] == entries[count - 1][0]
        if count > 3:
            assert queue.values[15] == records.PEN << records.KIND_SHIFT | 20 * 5000
            assert queue.values[13] == records.PEN << records.KIND_SHIFT
            assert queue.lengths[14] == 100


def test_servo_range_includes_its_ends() -> None:
    for us, expected in ((999, messages.BEYOND_LIMITS), (1000, 0), (2000, 0), (2001, messages.BEYOND_LIMITS)):
        assert fault(limited(), records.PEN, us, 20, 0) == expected


@pytest.mark.parametrize("crossed", [False, True])
@pytest.mark.parametrize(("a", "b"), [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1)])
def test_the_last_step_within_reach_is_taken_and_the_next_refused(crossed: bool, a: int, b: int) -> None:
    """Limits of -30..50 along x and -20..70 along y, at motor positions where they are exact."""
    it = guard.Guard(Port(), 0)
    it.configure(crossed, (-30, 50, -20, 70), 4000, 4000, 300_000, 6000, 1000, 2000)
    it.begin(0, 0, True)
    x, y = ((a + b) / 2, (a - b) / 2) if crossed else (a, b)
    room = min([(50 if x > 0 else -30) / x] if x else [math.inf], [(70 if y > 0 else -20) / y] if y else [math.inf])[0]
    steps = math.floor(room)
    assert fault(it, records.RAMP, a * (steps + 1), b * (steps + 1), 900) == messages.BEYOND_LIMITS
    assert fault(it, records.RAMP, a * steps, b * steps, 900) == 0


@pytest.mark.parametrize("changed", [(False, (-1, 101, -1, 101)), (True, (0, 100, 0, 100))])
def test_other_limits_or_kinematics_lend_no_travel(changed: tuple[bool, tuple[int, int, int, int]]) -> None:
    """Before homing all moves together stay within one reach, despite changes of the origin; not after a move by
    hand.
    """
    plain = (False, (0, 100, 0, 100))
    it = guard.Guard(Port(), 0)
    figures = (4000, 4000, 300_000, 6000, 1000, 2000)
    it.configure(*plain, *figures)
    it.begin(0, 0, True)
    assert fault(it, records.RAMP, 60, 0, 900) == 0
    it.renamed(60, 0, 0, 0)
    for machine in (changed, plain):
        it.configure(*machine, *figures)
        it.begin(0, 0, True)
    assert fault(it, records.RAMP, 60, 0, 900) == messages.BEYOND_LIMITS
    it.lost(1, 0, 0)
    it.begin(0, 0, True)
    assert fault(it, records.RAMP, 60, 0, 900) == 0


class Travel:
    """The true pen position on a cartesian or crossed machine, and the range allowed for every origin.

    Places along the axes are doubled on crossed belts. `seen`: lowest and highest requested position of each axis, in
    steps from the first position, since the axis was last free or homed.
    """

    def __init__(self, crossed: bool, soft: tuple[int, int, int, int]) -> None:
        self.crossed = crossed
        self.soft = [limit * (2 if crossed else 1) for limit in soft]
        self.true, self.called = (0, 0), (0, 0)
        self.seen = [[0, 0], [0, 0]]

    def along(self, motors: tuple[int, int]) -> tuple[int, int]:
        a, b = motors
        return (a + b, a - b) if self.crossed else (a, b)

    def allows(self, d: tuple[int, int]) -> bool:
        by = self.along(d)
        for axis in (0, 1):
            low, high = self.soft[2 * axis : 2 * axis + 2]
            place = self.along(self.true)[axis] + by[axis]
            least, most = self.seen[axis]
            if not low <= self.along(self.called)[axis] + by[axis] <= high:
                return False
            if max(most, place) - min(least, place) > high - low:
                return False
        return True

    def move(self, d: tuple[int, int]) -> None:
        self.true = self.true[0] + d[0], self.true[1] + d[1]
        self.called = self.called[0] + d[0], self.called[1] + d[1]
        for axis, place in enumerate(self.along(self.true)):
            self.seen[axis] = [min(self.seen[axis][0], place), max(self.seen[axis][1], place)]

    def home(self, axis: int, motors: tuple[int, int]) -> None:
        self.called = motors
        place, name = self.along(self.true)[axis], self.along(motors)[axis]
        low, high = self.soft[2 * axis : 2 * axis + 2]
        self.seen[axis] = [place - (name - low), place + (high - name)]

    def free(self, axis: int) -> None:
        self.seen[axis] = [self.along(self.true)[axis]] * 2


@pytest.mark.parametrize("crossed", [False, True])
def test_travel_is_what_a_ruler_says(crossed: bool) -> None:
    """Random sequences of drawings, set origins, homing and released motors; exact to the step."""
    chance = random.Random(5)
    refused = taken = 0
    for case in range(80):
        soft = (0, 200 + case % 7, -30, 100) if case % 2 else (-90, -10, 5, 160)
        it, ruler = guard.Guard(Port(), 0), Travel(crossed, soft)
        it.configure(crossed, soft, 4000, 4000, 300_000, 6000, 1000, 2000)
        for _ in range(40):
            what = chance.choice(["draw", "draw", "draw", "call", "home", "lose"])
            if what == "draw":
                it.begin(*ruler.called, True)
                for _ in range(chance.randrange(1, 5)):
                    d = chance.choice([near_a_limit(ruler, chance), (chance.randrange(-90, 91), chance.randrange(9))])
                    if not any(d):
                        continue
                    got, expected = fault(it, records.RAMP, *d, 200), ruler.allows(d)
                    assert got == (0 if expected else messages.BEYOND_LIMITS)
                    refused, taken = refused + (not expected), taken + expected
                    if not expected:
                        break
                    ruler.move(d)
            elif what == "call":
                name = chance.randrange(-50, 150), chance.randrange(-50, 150)
                it.renamed(*ruler.called, *name)
                ruler.called = name
            elif what == "home":
                axis = chance.randrange(2)
                named = homed_at(ruler, axis, chance)
                ruler.home(axis, named)
                it.homed(axis, *named)
            else:
                axes = chance.randrange(4)
                it.lost(axes, *ruler.called)
                for axis in (0, 1):
                    if axes >> axis & 1:
                        ruler.free(axis)
    assert refused > 300
    assert taken > 300


def near_a_limit(ruler: Travel, chance: random.Random) -> tuple[int, int]:
    """A move along one axis to the last allowed position, or one step beyond."""
    way = chance.choice([(1, 0), (-1, 0), (0, 1), (0, -1)])
    if ruler.crossed:
        way = chance.choice([(1, 1), (-1, -1), (1, -1), (-1, 1)])
    n, beyond = 0, 512
    while beyond - n > 1:
        m = (n + beyond) // 2
        n, beyond = (m, beyond) if ruler.allows((m * way[0], m * way[1])) else (n, m)
    n += chance.randrange(2)
    return n * way[0], n * way[1]


def homed_at(ruler: Travel, axis: int, chance: random.Random) -> tuple[int, int]:
    """The motors' positions after an axis has found its switch, within the limits of that axis."""
    low, high = (limit // (2 if ruler.crossed else 1) for limit in ruler.soft[2 * axis : 2 * axis + 2])
    there = chance.randrange(low, high + 1)
    a, b = ruler.called
    if not ruler.crossed:
        return (a, there) if axis else (there, b)
    on = (2 * there - ruler.along(ruler.called)[axis]) // 2
    return (a + on, b - on) if axis else (a + on, b + on)


def test_a_switch_and_missing_power_are_believed_once_they_last() -> None:
    port = Port()
    it = guard.Guard(port, 0)
    port.pressed[1], port.power = True, False
    it.watch(0)
    assert it.closing(1)
    assert it.losing_power()
    assert not any((it.closing(0), it.hit(1), it.unpowered()))
    it.watch(guard.HIT_US - 1)
    assert not it.hit(1)
    assert it.closing(1)
    assert it.losing_power()
    it.watch(guard.HIT_US)
    assert it.hit(1)
    it.watch(guard.UNPOWERED_US - 1)
    assert not it.unpowered()
    it.watch(guard.UNPOWERED_US)
    assert it.unpowered()
    port.pressed[1], port.power = False, True
    it.watch(guard.UNPOWERED_US + 1)
    assert not any((it.hit(1), it.closing(1), it.unpowered(), it.losing_power()))
    assert it.silent_us == guard.UNPOWERED_US + 1
    it.heard()
    assert it.silent_us == 0


def test_silence_is_counted_until_no_host_can_ask_for_more() -> None:
    it = guard.Guard(Port(), 0)
    step_us = 90_000_000
    for i in range(20):
        it.watch((i + 1) * step_us % (1 << 30))
        assert it.silent_us == min((i + 1) * step_us, 12 * step_us)
    assert 12 * step_us >= guard.LONGEST_SILENCE_US > 11 * step_us
