"""One photograph by several methods: the strokes of each, how long a rig draws them, and how true their tones are."""

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
"""Methods that are made for other pictures than photographs, and what they are for."""

NEAR_M: Final = 1.0
"""At arm's length and a little more: the blur there is 0.3 mm, and lines of 0.5 mm begin to join."""

_MAKING: Final = 0.4
"""Part of a method's progress that making its strokes takes (by trial); timing them takes the rest."""


@dataclass(frozen=True, eq=False)
class ComparedMethod:
    """One method's picture.

    Parameters
    ----------
    method : as asked for, settings included.
    seconds : of computing, from the photograph in memory to its strokes.
    drawing_s : how long the rig draws it; None where there is nothing to draw.
    picture, reading : None where the method has found nothing to draw.
    trouble : why it has not.
    near : structural similarity with what was wanted, seen at reading distance; 1 for equal.
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
        """What the method is made for, where that is not photographs."""
        return SUITS.get(self.method.partition(":")[0].strip(), "")


def names() -> list[str]:
    """Methods for photographs, ``auto`` aside, which is one of the others."""
    return [name for name, entry in methods.METHODS.items() if "photograph" in entry.takes and name != "auto"]


def with_pick(taken: Photograph, wish: Wish) -> tuple[list[str], str]:
    """What ``auto`` takes for a photograph, then the other methods; and why it takes it."""
    from linewright.sources.choice import choose

    pick = choose(taken, wish)
    return [pick.method, *(name for name in names() if name != pick.method)], pick.why


def compare(
    taken: Photograph, wish: Wish, asked: Sequence[str], drawing_s: Callable[[Picture, Report], float]
) -> Iterator[ComparedMethod]:
    """Each method in turn.

    Parameters
    ----------
    taken : the photograph, read.
    asked : methods as for ``--as``.
    drawing_s : how long the rig draws a picture; told whom to tell how far it has got.

    Raises
    ------
    InputError
        If a method is not known, or is not one for photographs.
    """
    from linewright.sources.tone import meter
    from linewright.sources.tone.method import ToneMethod

    ways = [(words, methods.chosen(words)) for words in asked]
    for words, way in ways:
        if not isinstance(way, ToneMethod):
            raise InputError(f"{words} is no method for photographs", hint=f"there are {', '.join(names())}")
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
