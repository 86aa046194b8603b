"""Signals that ask a command to end: which there are, who takes them, and what happens to them before and after.

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
    import asyncio  # every command needs signals, none but the desk a loop

INTERRUPT: Final[int] = signal.SIGINT
TERMINATE: Final[int] = signal.SIGTERM


def hangup() -> int | None:
    """The terminal is closed; None where systems do not say so."""
    return getattr(signal, "SIGHUP", None)


def name(number: int) -> str:
    """As the systems call it, such as SIGTERM."""
    return signal.Signals(number).name


def handle(handler: Callable[[int, FrameType | None], object], *numbers: int) -> None:
    """From now on this is called for these signals."""
    for number in numbers:
        signal.signal(number, handler)


def ignore(*numbers: int) -> None:
    """From now on these do nothing."""
    for number in numbers:
        signal.signal(number, signal.SIG_IGN)


class Taken:
    """All three signals go to a handler while this context lasts; then to whom they went before.

    What is ignored stays so: a command in the background (``&``, nohup) is not to be interrupted.
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
    """The signals are events of a loop while this context lasts, where its kind and thread can have them."""
    with contextlib.ExitStack() as taken:
        for number in numbers:
            with contextlib.suppress(NotImplementedError, RuntimeError):
                loop.add_signal_handler(number, handler, number)
                taken.callback(loop.remove_signal_handler, number)
        yield
