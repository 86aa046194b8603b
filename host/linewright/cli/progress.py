"""Progress of a drawing on a terminal, and signals that request a stop."""

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
"""Names of states of a drawing that need explanation."""


class ProgressBar:
    """A bar with state, strokes and remaining time; silent without a terminal.

    Parameters
    ----------
    shown : whether to show the bar.
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
            """Percentage, if the total is known."""

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
        """Show the present step without a known total, with a moving indicator."""
        if self._bar is not None and self._task is not None:
            self._bar.reset(self._task, description=state, total=None)

    def share(self, state: str, done: float) -> None:
        """Show the share done, 0 to 1."""
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, description=state, completed=done, total=1.0)

    def show(self, progress: Progress, hint: str = "") -> None:
        """Called by the session with the progress."""
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
            note = hint  # replaces the strokes for two seconds or a hold, because narrow terminals cannot show both
        self._bar.update(self._task, completed=min(done, 1.0), total=1.0, description=state, note=note)


class StopOnSignals:
    """Context manager: Ctrl-C, SIGTERM and a hangup (closed terminal) stop the drawing in a controlled way.

    Before `asks` they raise KeyboardInterrupt. After it, the first one requests a stop, and a second Ctrl-C or SIGTERM
    exits at once. That is safe, too, because a board without host stops by itself with the pen up, only later.

    Attributes
    ----------
    number : the received signal, 0 if none.
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
        """Whether there has been a drawing to stop."""
        return self._stop is not None

    def asks(self, stop: Callable[[], object]) -> None:
        """From now on a signal calls ``stop``."""
        self._stop = stop

    def _came(self, number: int, frame: FrameType | None) -> None:
        del frame
        again, same = bool(self.number), self.number == number
        self.number = self.number or number
        if number == signals.hangup():
            # The terminal is closed, so writing to it would fail.
            nowhere = os.open(os.devnull, os.O_WRONLY)
            for descriptor in self._terminals:
                os.dup2(nowhere, descriptor)
        # When a login session ends, SIGTERM and SIGHUP arrive together and count as one.
        if self._stop is None or (again and (number == signals.INTERRUPT or (same and number == signals.TERMINATE))):
            raise KeyboardInterrupt
        if not again:
            # Not through the stream, because the signal may have interrupted a write to it.
            with contextlib.suppress(OSError):
                os.write(2, b"\nstopping with the pen up; Ctrl-C again leaves at once\n")
            self._stop()
