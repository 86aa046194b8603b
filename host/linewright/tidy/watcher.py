"""Progress reports and early stop of long computations."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


def _nothing(*_told: object) -> None:
    """Discards a message."""


def _never() -> bool:
    return False


@dataclass(frozen=True)
class Watcher:
    """Callbacks of a long computation.

    Parameters
    ----------
    report : called with the current step and its progress, 0 to 1.
    note : called with a remark for the user.
    enough : called every few tenths of a second; True ends the work with the best result so far.
    """

    report: Callable[[str, float], object] = _nothing
    note: Callable[[str], object] = _nothing
    enough: Callable[[], bool] = _never
