"""The ramps of a homing move: all steps, constant acceleration in each part, none too long for the kernel."""

from __future__ import annotations

from itertools import pairwise
from typing import ClassVar

from hypothesis import example, given
from hypothesis import strategies as st

from lineboard import homing, kernel

SQRT_2 = 181 / 128


class Queue:
    """Collects the records of a move."""

    state: ClassVar = [0] * 64

    def __init__(self) -> None:
        self.records: list[tuple[int, int, int, int]] = []

    def push(self, kind: int, a: int, b: int, v: int) -> None:
        self.records.append((kind, a, b, v))


def ramps_of(steps: int, rate: int, accel: int, axis: int, *, crossed: bool) -> list[tuple[int, int, int]]:
    queue = Queue()
    run = homing.HomingRun(None, queue, None, None)
    run._crossed = crossed
    run.axes[axis].accel = accel
    run._push_move(axis, steps, rate)
    *ramps, last = queue.records
    assert last[0] == homing.END
    assert {kind for kind, _, _, _ in ramps} == {homing.RAMP}
    return [(a, b, v) for _, a, b, v in ramps]


@given(
    steps=st.integers(2, 2_000_000) | st.integers(-2_000_000, -2),
    rate=st.integers(20, 40_000),
    accel=st.integers(20, 1_000_000),
    axis=st.sampled_from((0, 1)),
    crossed=st.booleans(),
)
@example(steps=1_000_000, rate=1000, accel=20, axis=0, crossed=False)
@example(steps=-1_900_000, rate=9000, accel=200, axis=1, crossed=True)
def test_a_move_speeds_up_cruises_and_slows_down_with_its_own_acceleration(steps, rate, accel, axis, crossed):
    ramps = ramps_of(steps, rate, accel, axis, crossed=crossed)
    unit = SQRT_2 if crossed else 1.0
    along = [(a if axis == 0 or crossed else b) for a, b, _ in ramps]
    across = [(b if axis == 0 or crossed else a) for a, b, _ in ramps]
    turn = 0 if not crossed else 1 if axis == 0 else -1
    assert across == [turn * n for n in along]
    speeds = [0.0, *(v / unit for _, _, v in ramps)]
    sign = 1 if steps > 0 else -1
    assert all(n * sign > 0 for n in along)
    assert sum(along) == sign * min(abs(steps), rate * homing.LONGEST_S * 1000)
    top = max(speeds)
    assert top <= rate + 1
    reached = speeds.index(top)
    for (before, after), n in zip(pairwise(speeds), along, strict=True):
        assert abs(n) <= kernel.MAX_STEPS
        assert 2 * abs(n) / (before + after) < 214.0
        change = (after * after - before * before) / (2 * abs(n))
        # Rates are whole numbers, rounded down; on a crossed belt twice.
        rounding = 2 * (top + 2) * unit / abs(n)
        assert abs(change) <= accel + rounding
    up = sum(map(abs, along[:reached]))
    assert abs(top * top / (2 * up) - accel) <= accel / up + 2 * (top + 2) * unit / up
    assert speeds[-1] == 0.0
