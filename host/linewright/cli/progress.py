"""The progress of a drawing on a terminal, and Ctrl-C as a request to stop."""

from __future__ import annotations

import signal
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import TYPE_CHECKING, Self

from linewright.cli import output
from linewright.views import wording

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

    from linewright.session import Progress


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
        from rich.progress import BarColumn, Progress, TextColumn

        self._bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(bar_width=None),
            TextColumn("{task.percentage:>3.0f} %"),
            TextColumn("{task.fields[note]}"),
            console=console,
            transient=True,
        )
        self._bar.start()
        self._task = self._bar.add_task("connecting", total=1.0, note="")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()
            self._bar = None

    def say(self, state: str) -> None:
        """What is being done before the drawing."""
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, description=state)

    def share(self, state: str, done: float) -> None:
        """How much of it is done, 0 to 1."""
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, description=state, completed=done)

    def show(self, progress: Progress) -> None:
        """Called by the session as the pen gets on."""
        if self._bar is None or self._task is None:
            return
        left = max(0.0, progress.predicted_s - progress.played_s)
        done = progress.played_s / progress.predicted_s if progress.predicted_s > 0 else 0.0
        note = f"{wording.duration(left)} left"
        if progress.stroke:
            note = f"stroke {progress.stroke} of {progress.strokes}, {note}"
        self._bar.update(self._task, completed=min(done, 1.0), description=progress.state, note=note)


class StopOnCtrlC:
    """While active, the first Ctrl-C asks for a controlled stop; a second one leaves at once.

    A board that hears no more from its host stops by itself, pen up, so leaving is safe too, only slower.
    """

    def __init__(self, stop: Callable[[], object]) -> None:
        self._stop = stop
        self.asked = False

    def __enter__(self) -> Self:
        self._before = signal.getsignal(signal.SIGINT)
        if self._before is not signal.SIG_IGN:  # a drawing in the background (`&`, nohup) is not to be interrupted
            signal.signal(signal.SIGINT, self._interrupted)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        signal.signal(signal.SIGINT, self._before)

    def _interrupted(self, number: int, frame: FrameType | None) -> None:
        del number, frame
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True
        output.say("\nstopping with the pen up; Ctrl-C again leaves at once", stderr=True)
        self._stop()
