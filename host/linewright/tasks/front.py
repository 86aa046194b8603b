"""`Front`: whoever asks for a task. A terminal, a page and a test each have one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from linewright.board.session_values import Control, Progress
    from linewright.tasks.target import Target


class Cancelled(Exception):
    """A front raises it from `Front.progress` to end a task; what was begun is left whole or not at all."""


class Front(Protocol):
    """Told how a task goes, asked what only a person knows, and free to end it.

    A task calls these methods from the thread that runs it. Only `confirm` and `ready` may take long.
    """

    def machine(self, target: Target) -> None:
        """The board has answered: this is the machine, and where it is."""

    def note(self, text: str) -> None:
        """Something to know that stops nothing."""

    def say(self, text: str) -> None:
        """What has just happened."""

    def progress(self, doing: str, done: float | None = None) -> None:
        """What is being done, and how much of it, 0 to 1; None: nobody knows how much is left.

        Raises
        ------
        Cancelled : to end the task.
        """

    def confirm(self, question: str, about: str) -> bool | None:
        """Yes or no; None where nobody is there to answer.

        Parameters
        ----------
        about : what to know before answering.
        """

    def ready(self, what: str) -> bool:
        """Wait until a person has done this, such as "put the pen 'red' in"; False where nobody is there."""

    def steering(self, control: Control, pace: float) -> AbstractContextManager[Callable[[Progress], None]]:
        """Open while the pen may move; what it gives is told about 20 times a second where the drawing stands.

        Requests go to ``control``, from any thread: hold, carry on, slow down, abandon, cut, and that the pen which
        the drawing waits for is in.

        Parameters
        ----------
        pace : share of the planned speed that the drawing begins with.
        """


class Quiet:
    """A `Front` with nobody behind it: says nothing, keeps the notes, and answers no question.

    Attributes
    ----------
    notes : what there was to know.
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
