"""Progress of long work: how far it is, remarks on the way, and a request to stop early."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


def _nothing(*_told: object) -> None:
    """Discards a message."""


def _never() -> bool:
    return False


@dataclass(frozen=True)
class Watcher:
    """What long work calls as it goes along.

    Parameters
    ----------
    report : with what is being done, and how much of it is done, 0 to 1.
    note : with a sentence the user should know.
    enough : whether the work should end as it is; asked every few tenths of a second. The work itself knows no clock.
    """

    report: Callable[[str, float], object] = _nothing
    note: Callable[[str], object] = _nothing
    enough: Callable[[], bool] = _never
