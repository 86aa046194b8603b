"""One photograph by several methods: the strokes of each, how long they took, and how true their tones are."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from linewright.errors import InputError, SourceError
from linewright.sources import Wish, methods

if TYPE_CHECKING:
    from linewright.sources import Picture
    from linewright.sources.photograph import Photograph
    from linewright.sources.picture import Report
    from linewright.sources.tone.meter import Reading


@dataclass(frozen=True, eq=False)
class Entry:
    """One method's picture.

    Parameters
    ----------
    method : as asked for, settings included.
    seconds : from the photograph in memory to its strokes.
    picture, reading : None where the method has found nothing to draw.
    trouble : why it has not.
    """

    method: str
    seconds: float
    picture: Picture | None
    reading: Reading | None
    trouble: str = ""


def names() -> list[str]:
    """Methods for photographs, ``auto`` aside, which is one of the others."""
    return [name for name, entry in methods.METHODS.items() if "photograph" in entry.takes and name != "auto"]


def compare(taken: Photograph, wish: Wish, asked: Sequence[str]) -> Iterator[Entry]:
    """Each method in turn.

    Parameters
    ----------
    taken : the photograph, read.
    asked : methods as for ``--as``.

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
            picture = way.drawn(taken, replace(wish, report=_within(wish, words, number, len(ways))))
        except SourceError as error:
            yield Entry(words, time.perf_counter() - began, None, None, error.message)
            continue
        seconds = time.perf_counter() - began
        yield Entry(words, seconds, picture, meter.read(list(picture.drawing), way.wanted(taken, wish)))


def _within(wish: Wish, words: str, number: int, count: int) -> Report:
    """Progress of one method as a share of the whole."""

    def report(state: str, done: float) -> None:
        wish.report(f"{words}: {state}", (number + done) / count)

    return report
