"""`Worker`: a process that does one job at a time for the desk; a newer wish replaces the current one."""

from __future__ import annotations

import contextlib
import gc
import multiprocessing
import os
import sys
import threading
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any, Final

from linewright.desk.making import Refusal
from linewright.system import signals
from linewright.tasks.front import Cancelled

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess
    from multiprocessing.sharedctypes import Synchronized

    from linewright.desk.making import WorkerWish
    from linewright.tasks.laying_out import KeptPictures

PATIENCE_S: Final = 1.0
"""An obsolete job is asked to end; after this time its process is killed. Most jobs check many times a second."""

PROGRESS, PART, MADE, REFUSED, GIVEN_UP = "progress", "part", "made", "refused", "given up"
"""Kinds of messages from a worker."""

Hear = Callable[[int, str, Any], None]
"""Called with the number of the wish, the kind of message, and its value, from a thread of the worker."""


class Worker:
    """One process, started at the first wish, and restarted if it had to be killed.

    Parameters
    ----------
    hear : called for the newest wish only.
    """

    def __init__(self, hear: Hear) -> None:
        self._hear = hear
        self._lock = threading.RLock()
        self._context = multiprocessing.get_context("spawn")
        self._newest: Synchronized[int] = self._context.Value("q", 0)
        self._process: BaseProcess | None = None
        self._link: Connection | None = None
        self._busy: int | None = None
        self._next: tuple[int, WorkerWish] | None = None
        self._closed = False

    def wish(self, wish: WorkerWish) -> int:
        """Start a job instead of any earlier one; returns its number."""
        with self._lock:
            number = self.forget()
            self._next = (number, wish)
            self._begin()
            return number

    def forget(self) -> int:
        """Cancel the current job."""
        with self._lock:
            number = self._newest.value + 1
            self._newest.value = number
            self._next = None
            if self._busy is not None:
                timer = threading.Timer(PATIENCE_S, self._end_stale, (self._busy,))
                timer.daemon = True
                timer.start()
            return number

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._closed = True
            self._end()

    def _begin(self) -> None:
        if self._busy is not None or self._next is None or self._closed:
            return
        link = self._start()
        (self._busy, wish), self._next = self._next, None
        with contextlib.suppress(OSError):  # the process has died; the listener notices
            link.send((self._busy, wish))

    def _start(self) -> Connection:
        if self._link is not None:
            return self._link
        ours, theirs = self._context.Pipe()
        self._process = self._context.Process(target=_work, args=(theirs, self._newest), daemon=True)
        self._process.start()
        theirs.close()
        self._link = ours
        threading.Thread(target=self._listen, args=(ours,), daemon=True, name="desk worker").start()
        return ours

    def _listen(self, link: Connection) -> None:
        while True:
            try:
                number, what, value = link.recv()
            except (EOFError, OSError):
                self._died(link)
                return
            with self._lock:
                over = what in (MADE, REFUSED, GIVEN_UP)
                if over:
                    self._busy = None
                wanted = number == self._newest.value and not self._closed
                if over:
                    self._begin()
            if wanted and what != GIVEN_UP:
                self._hear(number, what, value)

    def _died(self, link: Connection) -> None:
        """The process has ended: killed because its job was obsolete, or by the system because memory ran out."""
        with self._lock:
            if self._link is not link:
                return
            lost, self._busy, self._link, self._process = self._busy, None, None, None
            wanted = lost is not None and lost == self._newest.value and not self._closed
            self._begin()
        if wanted and lost is not None:
            hint = "take fewer or simpler pictures; if it happens again, please report it"
            self._hear(lost, REFUSED, Refusal("what was being planned was too much for this computer", hint))

    def _end_stale(self, number: int) -> None:
        with self._lock:
            if self._busy == number and self._newest.value != number:
                self._end()
                self._begin()

    def _end(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.join(5.0)
        if self._link is not None:
            self._link.close()
        self._process = self._link = self._busy = None


class _WorkerBench:
    """A `linewright.desk.making.WorkBench` in the worker's process."""

    def __init__(self, link: Connection, newest: Synchronized[int], kept: KeptPictures) -> None:
        self.kept = kept
        self.number = 0
        self._link = link
        self._newest = newest
        self._said: tuple[str, int] | None = None

    def progress(self, doing: str, done: float | None = None) -> None:
        """See `WorkBench.progress`."""
        if self._newest.value != self.number:
            raise Cancelled
        said = (doing, -1 if done is None else round(done * 100))
        if said != self._said:
            self._said = said
            self._link.send((self.number, PROGRESS, (doing, done)))

    def show(self, kind: str, value: object) -> None:
        """See `WorkBench.show`."""
        self._link.send((self.number, PART, (kind, value)))


def _work(link: Connection, newest: Synchronized[int]) -> None:
    """Main loop of the worker process, until the desk ends."""
    signals.ignore(signals.INTERRUPT)  # Ctrl-C is for the desk, which ends its workers
    if hasattr(os, "nice"):
        os.nice(2)  # the machine's link has priority
    from linewright.tasks.laying_out import KeptPictures

    table = _WorkerBench(link, newest, KeptPictures())
    while True:
        try:
            number, wish = link.recv()
        except (EOFError, OSError):
            return
        table.number = number
        try:
            said: tuple[str, object] = (MADE, wish.make(table))
        except Cancelled:
            said = (GIVEN_UP, None)
        except (BrokenPipeError, ConnectionError):
            return
        except Exception as error:
            said = (REFUSED, refused := Refusal.of(error))
            if "bug" in refused.text:
                traceback.print_exc(file=sys.stderr)
        try:
            link.send((number, *said))
        except (BrokenPipeError, ConnectionError):
            return
        set_aside()


def set_aside() -> None:
    """Take what lives now out of later garbage collections.

    Loaded libraries are some hundred thousand objects; to look through them takes 0.1 s, several times in each job that
    makes many small objects.
    """
    gc.collect()
    gc.freeze()
