"""Comparison of methods for one photograph: strokes, drawing time on a rig, and accuracy of tones."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from linewright.errors import InputError, SourceError
from linewright.sources import Wish, methods

if TYPE_CHECKING:
    from linewright.sources import Picture
    from linewright.sources.photograph import Photograph
    from linewright.sources.picture import Report
    from linewright.sources.tone.meter import MeterReading


SUITS: Final = {"centre-lines": "line art", "areas": "flat colours"}
"""Methods that are made for pictures other than photographs, and what they are for."""

NEAR_M: Final = 1.0
"""Viewing distance, a little over arm's length: blur is 0.3 mm there, and lines of 0.5 mm begin to merge."""

_MAKING: Final = 0.4
"""Share of a method's progress spent on making strokes (measured); the rest is planning."""


@dataclass(frozen=True, eq=False)
class ComparedMethod:
    """Result of one method.

    Parameters
    ----------
    method : as requested, with settings.
    seconds : computing time, from the photograph in memory to its strokes.
    drawing_s : drawing time on the rig; None if there is nothing to draw.
    picture, reading : None if there is nothing to draw.
    trouble : the reason for that.
    near : structural similarity to the target, seen at reading distance; 1 for equal.
    """

    method: str
    seconds: float
    picture: Picture | None
    reading: MeterReading | None
    trouble: str = ""
    drawing_s: float | None = None
    near: float | None = None

    @property
    def suits(self) -> str:
        """Kind of picture the method is made for, if not photographs."""
        return SUITS.get(self.method.partition(":")[0].strip(), "")


def names() -> list[str]:
    """Methods for photographs, without ``auto``, which selects one of them."""
    return [name for name, entry in methods.METHODS.items() if "photograph" in entry.takes and name != "auto"]


def with_pick(taken: Photograph, wish: Wish) -> tuple[list[str], str]:
    """The method that ``auto`` selects for a photograph, then the others; and the reason."""
    from linewright.sources.choice import choose

    pick = choose(taken, wish)
    return [pick.method, *(name for name in names() if name != pick.method)], pick.why


def compare(
    taken: Photograph, wish: Wish, asked: Sequence[str], drawing_s: Callable[[Picture, Report], float]
) -> Iterator[ComparedMethod]:
    """Yield the result of each method.

    Parameters
    ----------
    taken : the photograph, read.
    asked : methods as for ``--as``.
    drawing_s : drawing time of a picture on the rig; gets a progress callback.

    Raises
    ------
    InputError
        A method is unknown, or not one for photographs.
    """
    from linewright.sources.tone import meter
    from linewright.sources.tone.method import ToneMethod

    ways = [(words, methods.chosen(words)) for words in asked]
    for words, way in ways:
        if not isinstance(way, ToneMethod):
            raise InputError(f"{words} is not a method for photographs", hint=f"there are {', '.join(names())}")
    for number, (words, way) in enumerate(ways):
        assert isinstance(way, ToneMethod)
        wish.report(words, number / len(ways))
        began = time.perf_counter()
        try:
            picture = way.drawn(taken, replace(wish, report=_within(wish, words, number, len(ways), (0.0, _MAKING))))
        except SourceError as error:
            yield ComparedMethod(words, time.perf_counter() - began, None, None, error.message)
            continue
        seconds = time.perf_counter() - began
        wanted = way.wanted(taken, wish)
        reading = meter.read(list(picture.drawing), wanted)
        near = meter.read(list(picture.drawing), wanted, distance_m=NEAR_M).likeness
        lasts_s = drawing_s(picture, _within(wish, words, number, len(ways), (_MAKING, 1.0)))
        yield ComparedMethod(words, seconds, picture, reading, drawing_s=lasts_s, near=near)


def _within(wish: Wish, words: str, number: int, count: int, part: tuple[float, float]) -> Report:
    """Progress of a part of one method as a share of the whole."""

    def report(state: str, done: float) -> None:
        wish.report(f"{words}: {state}", (number + part[0] + done * (part[1] - part[0])) / count)

    return report
