"""Time arithmetic: correct across the wrap, and within small integers of a 32-bit board."""

from __future__ import annotations

from typing import Self

from hypothesis import example, given
from hypothesis import strategies as st

from linewire.compat import TICKS_PERIOD, ticks_add, ticks_diff

HALF = TICKS_PERIOD // 2
TICKS = st.integers(0, TICKS_PERIOD - 1)


class Small(int):
    """An integer limited to MicroPython's small integers, 31 signed bits on a 32-bit build; larger results raise an
    error.
    """

    def __new__(cls, value: int) -> Self:
        if not -(1 << 30) <= value < 1 << 30:
            raise OverflowError(f"{value} is no small integer")
        return super().__new__(cls, value)

    def __add__(self, other: int) -> Small:
        return Small(int(self) + int(other))

    def __sub__(self, other: int) -> Small:
        return Small(int(self) - int(other))

    def __rsub__(self, other: int) -> Small:
        return Small(int(other) - int(self))


@given(TICKS, st.integers(-HALF, HALF - 1))
@example(TICKS_PERIOD - 1, 1)
@example(TICKS_PERIOD - 1, HALF - 1)
@example(0, -HALF)
def test_adding_and_taking_the_difference_undo_each_other_in_small_integers(ticks: int, delta: int) -> None:
    later = ticks_add(Small(ticks), Small(delta))
    assert later == (ticks + delta) % TICKS_PERIOD
    assert ticks_diff(Small(later), Small(ticks)) == delta
