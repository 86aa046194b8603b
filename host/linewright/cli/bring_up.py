"""``linewright board bring-up``: the dialogue of `linewright.bringup` on a terminal."""

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
"""Longest line, characters: comfortable to read."""

LEAST_WIDTH: Final = 40
"""Smallest width for our own line breaks; narrower terminals break lines themselves."""

GLANCE_S: Final = 0.25
"""Polling interval of the machine while the user thinks: short enough that a pressed switch is seen at once."""

_MARKS: Final = {"caution": "caution: ", "found": "found: ", "good": "good: ", "next": "next: "}


class TypedLines:
    """Typed lines, read by a separate thread so that the machine can be polled meanwhile."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def next(self, glance: Callable[[], bool]) -> str | None:
        """The next line; None as soon as ``glance``, called now and then, returns True.

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
        # Not through sys.stdin, because a thread blocked in it would hold its lock until the interpreter ends.
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
    """A `Person` on a terminal: prints messages and reads answers.

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
            done = "done, and seen" if came is None else "done, and the board saw no change"
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
    """Present line width; a window can be resized."""
    if not sys.stdout.isatty():
        return WIDTH
    return min(WIDTH, max(shutil.get_terminal_size().columns, LEAST_WIDTH))


def standard_input() -> TypedLines:
    """Lines from standard input, typed or piped."""
    return TypedLines(sys.stdin.fileno())
