"""Independent pieces of one picture, made in parallel on several processors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from typing import Final, TypeVar, cast

from linewright.sources.picture import Report
from linewright.system import processors

T = TypeVar("T")
A = TypeVar("A")
B = TypeVar("B")

LOOK_S: Final = 0.05
"""Polling interval of the pieces' progress."""


class _GivenUp(Exception):
    """Ends a piece whose result is no longer needed."""


def side_by_side(pieces: Sequence[Callable[[Report], T]], report: Report) -> list[T]:
    """Results of the pieces in order, as if run one after the other.

    Threads are used, so a piece gains only from compiled code and libraries that release the GIL.

    Parameters
    ----------
    pieces : each gets its own progress callback.
    report : called from this thread only, with the mean progress. If it raises, the pieces end at their next
        report, and the exception is re-raised.
    """
    if processors.usable() == 1 or len(pieces) < 2:
        return [piece(report) for piece in pieces]
    said = [("", 0.0)] * len(pieces)
    given_up = False

    def report_of(number: int) -> Report:
        def of_piece(doing: str, done: float) -> None:
            if given_up:
                raise _GivenUp
            said[number] = (doing, done)

        return of_piece

    with ThreadPoolExecutor(min(processors.usable(), len(pieces))) as threads:
        going = [threads.submit(piece, report_of(number)) for number, piece in enumerate(pieces)]
        try:
            waiting = set(going)
            while waiting:
                done, waiting = wait(waiting, LOOK_S)
                for one in done:
                    one.result()
                doing = next((doing for doing, share in said if doing and share < 1), said[0][0])
                report(doing, sum(share for _, share in said) / len(said))
        except BaseException:
            given_up = True
            for one in going:
                one.cancel()
            raise
    return [one.result() for one in going]


def both(one: Callable[[Report], A], other: Callable[[Report], B], report: Report) -> tuple[A, B]:
    """Results of two pieces of different types; otherwise like `side_by_side`."""
    pieces: tuple[Callable[[Report], A | B], ...] = (one, other)
    first, second = side_by_side(pieces, report)
    return cast("A", first), cast("B", second)
