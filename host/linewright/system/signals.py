"""Signals that ask a command to end, and their handlers.

POSIX has three: Ctrl-C, "terminate" and the hangup of a terminal that is closed. Windows has no hangup, and its
event loops take no signals: Ctrl-C raises KeyboardInterrupt there.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator
from types import FrameType
from typing import TYPE_CHECKING, Any, Final, Self

if TYPE_CHECKING:
    import asyncio  # only the desk needs an event loop

INTERRUPT: Final[int] = signal.SIGINT
TERMINATE: Final[int] = signal.SIGTERM


def hangup() -> int | None:
    """Number of the signal for a closed terminal; None where the system has none."""
    return getattr(signal, "SIGHUP", None)


def name(number: int) -> str:
    """The system's name of a signal, such as SIGTERM."""
    return signal.Signals(number).name


def handle(handler: Callable[[int, FrameType | None], object], *numbers: int) -> None:
    """Install a handler for all of these signals."""
    for number in numbers:
        signal.signal(number, handler)


def ignore(*numbers: int) -> None:
    """Ignore all of these signals."""
    for number in numbers:
        signal.signal(number, signal.SIG_IGN)


class Taken:
    """Context manager: a handler takes all three signals; the previous handlers are restored at the end.

    Signals that are ignored stay ignored, because a background command (``&``, nohup) must not be interrupted.
    """

    def __init__(self, handler: Callable[[int, FrameType | None], object]) -> None:
        self._handler = handler
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Self:
        for number in (INTERRUPT, TERMINATE, hangup()):
            if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
                self._before[number] = signal.signal(number, self._handler)
        return self

    def __exit__(self, *_: object) -> None:
        for number, before in self._before.items():
            signal.signal(number, before)
        self._before.clear()


@contextlib.contextmanager
def on_loop(loop: asyncio.AbstractEventLoop, handler: Callable[[int], object], *numbers: int) -> Iterator[None]:
    """Context manager: the signals call a handler in an event loop, where the loop and thread support it."""
    with contextlib.ExitStack() as taken:
        for number in numbers:
            with contextlib.suppress(NotImplementedError, RuntimeError):
                loop.add_signal_handler(number, handler, number)
                taken.callback(loop.remove_signal_handler, number)
        yield
