"""`Front`: interface between a task and its user; implemented by terminal, page and tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from linewright.board.session_values import Control, Progress
    from linewright.tasks.target import Target


class Cancelled(Exception):
    """Raised by `Front.progress` to cancel a task; files are then written whole or not at all."""


class Front(Protocol):
    """Receives progress of a task, answers its questions, and may cancel it.

    Methods are called from the thread that runs the task. Only `confirm` and `ready` may take long.
    """

    def machine(self, target: Target) -> None:
        """Called when the board has answered, with the machine and its port."""

    def note(self, text: str) -> None:
        """A remark or warning."""

    def say(self, text: str) -> None:
        """Something that has just happened."""

    def progress(self, doing: str, done: float | None = None) -> None:
        """Present step and share done, 0 to 1; None: unknown.

        Raises
        ------
        Cancelled : to cancel the task.
        """

    def confirm(self, question: str, about: str) -> bool | None:
        """A yes-or-no question; None if there is no user to answer.

        Parameters
        ----------
        about : information for the answer.
        """

    def ready(self, what: str) -> bool:
        """Wait until the user has done this, such as "mount the pen 'red'"; False if there is no user."""

    def steering(self, control: Control, pace: float) -> AbstractContextManager[Callable[[Progress], None]]:
        """Context manager while the pen may move; its value is called about 20 times a second with the progress.

        User requests (hold, continue, pace, abandon, cut, pen changed) go to ``control``, from any thread.

        Parameters
        ----------
        pace : initial share of the planned speed.
        """


class Quiet:
    """A `Front` without a user: it collects notes and answers no question.

    Attributes
    ----------
    notes : the received notes.
    """

    def __init__(self) -> None:
        self.notes: list[str] = []

    def machine(self, target: Target) -> None:
        """See `Front.machine`."""

    def note(self, text: str) -> None:
        """See `Front.note`."""
        self.notes.append(text)

    def say(self, text: str) -> None:
        """See `Front.say`."""

    def progress(self, doing: str, done: float | None = None) -> None:
        """See `Front.progress`."""

    def confirm(self, question: str, about: str) -> bool | None:
        """See `Front.confirm`."""
        del question, about
        return None

    def ready(self, what: str) -> bool:
        """See `Front.ready`."""
        del what
        return False

    @contextmanager
    def steering(self, control: Control, pace: float) -> Iterator[Callable[[Progress], None]]:
        """See `Front.steering`."""
        del control, pace
        yield lambda _now: None
