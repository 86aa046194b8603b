"""Integers and memory cells as on a 32-bit board, but overflow raises an error."""

from __future__ import annotations

from array import array
from typing import Self


class Checked(int):
    """An integer of 32 signed bits: results that would silently wrap on the board raise an error.

    Attributes
    ----------
    made : number of instances created.
    """

    made = 0

    def __new__(cls, value: int) -> Self:
        if not -(1 << 31) <= value < 1 << 31:
            raise OverflowError(f"{value} does not fit 32 signed bits")
        Checked.made += 1
        return super().__new__(cls, value)


def _checked(name: str):
    plain = getattr(int, name)

    def operation(self, other):
        if name.endswith("shift__") and not 0 <= other < 32:
            raise OverflowError(f"shift by {int(other)}")
        if "div" in name and (self < 0 or other <= 0):
            raise ArithmeticError(f"division {int(self)} by {int(other)}: rounding differs between machines")
        result = plain(self, other)
        return result if result is NotImplemented else Checked(result)

    return operation


for _name in ("add", "sub", "mul", "floordiv", "and", "or", "lshift", "rshift"):
    setattr(Checked, f"__{_name}__", _checked(f"__{_name}__"))
for _name in ("radd", "rsub", "rmul", "rand", "ror"):
    setattr(Checked, f"__{_name}__", _checked(f"__{_name}__"))


class CheckedCells:
    """A pointer that refuses negative indices and hands out checked integers."""

    def __init__(self, cells: array[int]) -> None:
        self.cells = cells

    def __getitem__(self, index: int) -> Self:
        if index < 0:
            raise IndexError(index)
        return Checked(self.cells[index])

    def __setitem__(self, index: int, value: int) -> None:
        if index < 0:
            raise IndexError(index)
        self.cells[index] = Checked(int(value))
