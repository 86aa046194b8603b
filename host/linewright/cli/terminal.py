"""`Terminal`: the `Front` of a command. Notes go to stderr, progress to a bar; keys and signals control the drawing."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import TYPE_CHECKING, Self

from linewright.cli import output, target
from linewright.cli.progress import ProgressBar, StopOnSignals

if TYPE_CHECKING:
    from linewright.board.session_values import Control, Progress
    from linewright.rig.rig import Rig
    from linewright.tasks.target import Target


class Terminal:
    """A `linewright.tasks.front.Front` as a context manager, which removes the bar at its end.

    Parameters
    ----------
    as_json : print nothing but errors, because one object is printed at the end.
    stop : called by signals to stop a drawing; None: a signal ends the command at once.
    rig : of a real machine, for the cautions at pen changes; None: no real machine.
    """

    def __init__(self, *, as_json: bool, stop: StopOnSignals | None = None, rig: Rig | None = None) -> None:
        self._as_json = as_json
        self._stop = stop
        self._rig = rig
        self._bar = ProgressBar(shown=not as_json)
        self._begun = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._begun:
            self._bar.__exit__(kind, error, trace)

    def machine(self, target_met: Target) -> None:
        """See `Front.machine`."""
        target.know(target_met)

    def note(self, text: str) -> None:
        """See `Front.note`."""
        output.warn(text)

    def say(self, text: str) -> None:
        """See `Front.say`."""
        if not self._as_json:
            output.prose(text, stderr=True)

    def progress(self, doing: str, done: float | None = None) -> None:
        """See `Front.progress`."""
        bar = self._shown()
        if done is None:
            bar.say(doing)
        else:
            bar.share(doing, done)

    def confirm(self, question: str, about: str) -> bool | None:
        """See `Front.confirm`."""
        import typer

        if not sys.stdin.isatty():
            return None
        output.warn(about)
        return bool(typer.confirm(question, abort=True, err=True))

    def ready(self, what: str) -> bool:
        """See `Front.ready`."""
        output.prose(f"{what}, then press Enter", stderr=True)
        return bool(sys.stdin.readline())

    @contextmanager
    def steering(self, control: Control, pace: float) -> Iterator[Callable[[Progress], None]]:
        """See `Front.steering`."""
        from linewright.cli.keys import Keys
        from linewright.cli.pen_change import PenChange

        bar = self._shown()
        if self._stop is not None:
            self._stop.asks(control.abandon)
        with Keys(control, wanted=not self._as_json, pace=pace) as pressed:
            pens = PenChange(
                control,
                by_key=pressed.active,
                senses_power=self._rig is None or self._rig.senses_motor_power,
                finds_its_place=self._rig is None or self._rig.finds_its_place,
            )

            def told(now: Progress) -> None:
                bar.show(now, pressed.hint)
                pressed.poll(now)
                if now.state == "pen":
                    pens.ask(now)
                elif now.state == "drawing":
                    pens.see(now)

            yield told

    def _shown(self) -> ProgressBar:
        """The bar, created at its first use."""
        if not self._begun:
            self._begun = True
            self._bar.__enter__()
        return self._bar
