"""``linewright board bring-up``: the dialogue on a terminal. What is said and done is `linewright.bringup`'s."""

from __future__ import annotations

import os
import queue
import shutil
import sys
import textwrap
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from linewright.bringup.onlooker import Onlooker
    from linewright.bringup.talk import Ask, Kind, Watch

WIDTH: Final = 92
"""Characters of a line at most: as wide as a paragraph is read with ease."""

LEAST_WIDTH: Final = 40
"""Narrower terminals break lines themselves."""

GLANCE_S: Final = 0.25
"""How often the machine is looked at while a person thinks: a pressed switch seems to be seen at once."""

_MARKS: Final = {"caution": "caution: ", "found": "found: ", "good": "good: ", "next": "next: "}


class TypedLines:
    """What is typed, line by line, read by a thread of its own so that the machine can be looked at meanwhile."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def next(self, glance: Callable[[], bool]) -> str | None:
        """The next line; None as soon as ``glance``, called now and then, says that none is needed.

        Raises
        ------
        EOFError
            If there are no more.
        """
        while True:
            try:
                line = self._lines.get(timeout=GLANCE_S)
            except queue.Empty:
                if glance():
                    return None
                continue
            if line is None:
                self._lines.put(None)
                raise EOFError
            return line

    def _read(self) -> None:
        # Not through sys.stdin, whose buffer a thread that sleeps in it would lock until the interpreter ends.
        rest = b""
        while True:
            try:
                piece = os.read(self._descriptor, 1024)
            except OSError:
                piece = b""
            *lines, rest = (rest + piece).split(b"\n")
            for line in lines:
                self._lines.put(line.decode("utf-8", "replace"))
            if not piece:
                if rest:
                    self._lines.put(rest.decode("utf-8", "replace"))
                self._lines.put(None)
                return


class DialogueScreen:
    """A `Person`: prints what the dialogue says, and reads what is typed.

    Parameters
    ----------
    write : takes one line of text.
    lines : where answers come from; None: the onlooker answers.
    onlooker : on the virtual rig, who sees and presses; None on a real machine.
    glance : looks at the machine while a person thinks; keeps the link alive.
    """

    def __init__(
        self,
        write: Callable[[str], None],
        lines: TypedLines | None,
        onlooker: Onlooker | None = None,
        glance: Callable[[], object] = lambda: None,
    ) -> None:
        self._write = write
        self._lines = lines
        self._onlooker = onlooker
        self._glance = glance

    def hear(self, kind: Kind, text: str) -> None:
        """See `Person.hear`."""
        if kind == "title":
            self._write("")
            self._write(text)
            self._write("-" * len(text))
            return
        mark = _MARKS.get(kind, "")
        for line in textwrap.wrap(mark + text, _width(), subsequent_indent=" " * len(mark)) or [""]:
            self._write(line)

    def answer(self, ask: Ask) -> str:
        """See `Person.answer`."""
        self._put(ask)
        if self._onlooker is not None:
            if seen := self._onlooker.sees(ask):
                self._aside(seen)
            truth = self._onlooker.answers(ask)
            if self._lines is None:
                self._write(f"> {truth}".rstrip())
                return truth
        if self._lines is None:
            raise EOFError
        line = self._lines.next(self._keep_alive)
        return line or ""

    def act(self, watch: Watch) -> str | None:
        """See `Person.act`."""
        from linewright.bringup.talk import Lookout

        self.hear("plain", f"{watch.text} (Enter: it does not work)")
        if self._onlooker is not None:
            came = self._onlooker.acts(watch)
            done = "done, and seen" if came is None else "done, and nothing seen"
            self._aside(done)
            return came
        if self._lines is None:
            raise EOFError
        look = Lookout(watch)
        line = self._lines.next(look)
        return look.outcome() if line is None else line

    def _aside(self, seen: str) -> None:
        for line in textwrap.wrap(f"(virtual rig: {seen})", _width() - 2, subsequent_indent="  "):
            self._write(f"  {line}")

    def _put(self, ask: Ask) -> None:
        self.hear("plain", ask.text)
        words = [f"{c.word} ({c.meaning})" if c.meaning else c.word for c in ask.choices if c.word != "go"]
        if ask.low < ask.high:
            words.append(f"{ask.low:g} to {ask.high:g} {ask.unit}".rstrip())
        line = ", ".join(words)
        if ask.default and (words or ask.free):
            line += f" [{ask.default}]"
        for one in textwrap.wrap(line.strip(), _width() - 2):
            self._write(f"  {one}")

    def _keep_alive(self) -> bool:
        self._glance()
        return False


def _width() -> int:
    """Of a line, now: a window can be drawn wider."""
    if not sys.stdout.isatty():
        return WIDTH
    return min(WIDTH, max(shutil.get_terminal_size().columns, LEAST_WIDTH))


def standard_input() -> TypedLines:
    """What is typed or piped into this command."""
    return TypedLines(sys.stdin.fileno())
