"""`Questions` to the user at the page, and `DeskNotes`, the list of messages."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

from linewright.desk.page_words import on_page
from linewright.errors import InputError
from linewright.tasks.front import Cancelled

if TYPE_CHECKING:
    from linewright.desk.screen import Screen

GLANCE_S: Final = 0.2
"""Polling interval while the user thinks: a pressed switch appears at once, and the link stays within its limit of a
second."""

NOTES_HIGH: Final = 50
TEXT_HIGH: Final = 400


class Questions:
    """Open questions, oldest first; a thread waits for each answer."""

    def __init__(self, screen: Screen) -> None:
        self._screen = screen
        self._changed = threading.Condition()
        self._open: dict[str, dict[str, Any]] = {}
        self._answers: dict[str, object] = {}
        self._number = 0
        self._withdrawn = 0
        self._show()

    def ask(
        self,
        kind: str,
        text: str,
        *,
        glance: Callable[[], bool] = lambda: False,
        **more: Any,
    ) -> object:
        """Wait for an answer.

        Parameters
        ----------
        kind : ``yes``, ``done``, ``choose``, ``number`` or ``words``.
        glance : called at intervals; True: no answer is needed any more.
        more : fields of the question; see docs/DESK.md.

        Returns
        -------
        The answer; None: `glance` returned True.

        Raises
        ------
        Cancelled : the question was withdrawn.
        """
        with self._changed:
            self._number += 1
            name = f"q{self._number}"
            self._open[name] = {"id": name, "kind": kind, "text": text, **more}
            withdrawn = self._withdrawn
            self._show()
        try:
            while True:
                with self._changed:
                    self._changed.wait_for(lambda: name in self._answers or self._withdrawn != withdrawn, GLANCE_S)
                    if name in self._answers:
                        return self._answers.pop(name)
                    if self._withdrawn != withdrawn:
                        raise Cancelled("nobody answers any more")
                if glance():
                    return None
        finally:
            with self._changed:
                self._open.pop(name, None)
                self._answers.pop(name, None)
                self._show()

    def answer(self, name: str, value: object) -> None:
        """Give the user's answer to a question.

        Raises
        ------
        InputError : the question is not open, or the answer is invalid.
        """
        with self._changed:
            if name not in self._open or name in self._answers:
                raise InputError("that has been answered already")
            kind = self._open[name]["kind"]
            fits = isinstance(value, bool) if kind in ("yes", "done") else isinstance(value, bool | int | float | str)
            if not fits or len(str(value)) > TEXT_HIGH:
                raise InputError(f"{str(value)[:40]!r} is no answer to this")
            self._answers[name] = value
            self._changed.notify_all()

    def withdraw(self) -> None:
        """Withdraw all open questions."""
        with self._changed:
            self._withdrawn += 1
            self._changed.notify_all()

    def _show(self) -> None:
        self._screen.put("questions", list(self._open.values()))


class DeskNotes:
    """Messages, the newest last; thread-safe."""

    def __init__(self, screen: Screen) -> None:
        self._screen = screen
        self._lock = threading.Lock()
        self._notes: list[dict[str, Any]] = []
        self._number = 0
        screen.put("notes", [])

    def add(self, kind: str, text: str, hint: str = "") -> None:
        """Add a message of kind ``note``, ``said``, ``caution`` or ``error``."""
        with self._lock:
            self._number += 1
            note = {"n": self._number, "kind": kind, "text": on_page(text), "hint": on_page(hint)}
            self._notes = [*self._notes, note][-NOTES_HIGH:]
            self._screen.put("notes", self._notes)
