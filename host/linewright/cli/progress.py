"""The progress of a drawing on a terminal, and signals as requests to stop."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import TYPE_CHECKING, Final, Self

from linewright import wording
from linewright.cli import output
from linewright.system import signals

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import Task, TaskID

    from linewright.board.session_values import Progress


_STATES: Final = {"pen": "waiting for the pen", "holding": "holding, pen up"}
"""What the states of a drawing are called where their own names say too little."""


class ProgressBar:
    """A bar with state, strokes and time left; silent where there is no terminal.

    Parameters
    ----------
    shown : whether to draw at all.
    """

    def __init__(self, *, shown: bool) -> None:
        self._bar: Bar | None = None
        self._task: TaskID | None = None
        self._shown = shown

    def __enter__(self) -> Self:
        if not self._shown:
            return self
        console = output.console(stderr=True)
        if not console.is_terminal:
            return self
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn
        from rich.text import Text

        class _Share(TaskProgressColumn):
            """Per cent, where it is known how much there is to do."""

            def render(self, task: Task) -> Text:
                return Text("" if task.total is None else f"{task.percentage:>3.0f} %")

        self._bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=None),
            _Share(),
            TextColumn("{task.fields[note]}"),
            console=console,
            transient=True,
        )
        self._bar.start()
        self._task = self._bar.add_task("starting", total=None, note="")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()
            self._bar = None

    def say(self, state: str) -> None:
        """What is being done, where nobody knows how much of it is left: something moves meanwhile."""
        if self._bar is not None and self._task is not None:
            self._bar.reset(self._task, description=state, total=None)

    def share(self, state: str, done: float) -> None:
        """How much of it is done, 0 to 1."""
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, description=state, completed=done, total=1.0)

    def show(self, progress: Progress, hint: str = "") -> None:
        """Called by the session as the pen gets on."""
        if self._bar is None or self._task is None:
            return
        done = progress.planned_s / progress.predicted_s if progress.predicted_s > 0 else 0.0
        note = f"{wording.duration(progress.left_s)} left"
        if progress.stroke:
            note = f"stroke {progress.stroke} of {progress.strokes}, {note}"
        state = _STATES.get(progress.state, progress.state)
        if progress.state == "drawing" and 0.0 < progress.pace < 1.0:
            state = f"drawing at {progress.pace:.0%}"
        if hint:
            note = hint  # in its place: a narrow terminal shows not both, and it stands for two seconds or in a hold
        self._bar.update(self._task, completed=min(done, 1.0), total=1.0, description=state, note=note)


class StopOnSignals:
    """While active, Ctrl-C, SIGTERM and a hangup (the terminal is closed) end the drawing in a controlled way.

    Before there is anything to stop they raise KeyboardInterrupt; after `asks`, the first one asks for a stop, and a
    second Ctrl-C, or SIGTERM again, leaves at once. A board that hears no more from its host stops by itself, pen up,
    so leaving is safe too, only slower.

    Attributes
    ----------
    number : the signal that came, 0 while none has.
    """

    def __init__(self) -> None:
        self._stop: Callable[[], object] | None = None
        self._taken = signals.Taken(self._came)
        self._terminals = [descriptor for descriptor in (1, 2) if os.isatty(descriptor)]
        self.number = 0

    def __enter__(self) -> Self:
        self._taken.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._taken.__exit__(kind, error, trace)

    @property
    def drawing(self) -> bool:
        """Whether there has been something to stop."""
        return self._stop is not None

    def asks(self, stop: Callable[[], object]) -> None:
        """From now on a signal asks for this."""
        self._stop = stop

    def _came(self, number: int, frame: FrameType | None) -> None:
        del frame
        again, same = bool(self.number), self.number == number
        self.number = self.number or number
        if number == signals.hangup():
            # Nobody reads any more, and writing to what was a terminal would fail.
            nowhere = os.open(os.devnull, os.O_WRONLY)
            for descriptor in self._terminals:
                os.dup2(nowhere, descriptor)
        # A session that ends sends SIGTERM and SIGHUP at once, and means one stop.
        if self._stop is None or (again and (number == signals.INTERRUPT or (same and number == signals.TERMINATE))):
            raise KeyboardInterrupt
        if not again:
            # Not through the stream: the signal may have come while that was being written to.
            with contextlib.suppress(OSError):
                os.write(2, b"\nstopping with the pen up; Ctrl-C again leaves at once\n")
            self._stop()
