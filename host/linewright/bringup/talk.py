"""Messages between bring-up and the user, and the commands available at every question."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, Protocol

from linewright.errors import LinewrightError

Kind = Literal["plain", "title", "caution", "good", "found", "next"]


@dataclass(frozen=True)
class Choice:
    """One possible answer: the word to type, and its meaning if the word is not clear."""

    word: str
    meaning: str = ""


@dataclass(frozen=True)
class Ask:
    """A question to the user.

    Parameters
    ----------
    key : identifies the question for programs that answer; independent of its text.
    text : the question.
    choices : possible answers; an unambiguous prefix is enough.
    low, high, unit : bounds of a numeric answer; low = high: no numbers.
    default : answer for an empty line; None: ask again.
    free : any other text is accepted, too.
    """

    key: str
    text: str
    choices: tuple[Choice, ...] = ()
    low: float = 0.0
    high: float = 0.0
    unit: str = ""
    default: str | None = None
    free: bool = False


@dataclass(frozen=True)
class Watch:
    """An action of the user for which the program waits.

    Parameters
    ----------
    key, text : as in `Ask`.
    happened : polls the machine; True when the action is done. Also serves the link.
    limit_s : time limit.
    """

    key: str
    text: str
    happened: Callable[[], bool]
    limit_s: float = 60.0


class Lookout:
    """Polls a `Watch`; True when it has happened or its time is up."""

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        self._until_s = time.monotonic() + watch.limit_s
        self._happened = False

    def __call__(self) -> bool:
        """Poll once."""
        self._happened = self._watch.happened()
        return self._happened or time.monotonic() > self._until_s

    def outcome(self) -> str | None:
        """The result of `Person.act` if nothing was typed."""
        return None if self._happened else "nothing"


class Person(Protocol):
    """Interface to the user at the machine."""

    def hear(self, kind: Kind, text: str) -> None:
        """Show a message."""

    def answer(self, ask: Ask) -> str:
        """An answer as typed. Raises EOFError if there is no more input."""

    def act(self, watch: Watch) -> str | None:
        """Wait for an action. None: it has happened; otherwise the typed text, or "nothing" after the time limit."""


class StepCommand(Exception):
    """The user typed a command; ``where`` is one of `WORDS`."""

    def __init__(self, where: str) -> None:
        super().__init__(where)
        self.where = where


class Trouble(LinewrightError):
    """A problem that a step cannot correct by itself. ``hint`` says what to do."""


WORDS: Final[dict[str, str]] = {
    "again": "repeat this step",
    "back": "go back one step",
    "skip": "skip this step, at your own risk",
    "stop": "stop here; the same command continues later",
    "help": "causes and remedies if it does not work",
}
"""Commands available at every question of bring-up; "help" answers and asks again."""

YES_NO: Final = (Choice("yes"), Choice("no"))


class Talk:
    """Shows messages, and asks until an answer is valid.

    Parameters
    ----------
    person : the user.
    help_lines : help text of this step.
    words : available commands of `WORDS`, with their meaning here.
    """

    def __init__(
        self, person: Person, help_lines: tuple[str, ...] = (), words: Mapping[str, str] = MappingProxyType(WORDS)
    ) -> None:
        self._person = person
        self._help = help_lines
        self._words = words

    def say(self, text: str, kind: Kind = "plain") -> None:
        """Show a message."""
        self._person.hear(kind, text)

    def yes(self, key: str, text: str, *, default: str | None = None) -> bool:
        """Ask for yes or no."""
        return self.choose(Ask(key, text, YES_NO, default=default)) == "yes"

    def ready(self, key: str, text: str) -> None:
        """Wait for Enter."""
        self.choose(Ask(key, text, (Choice("go"),), default="go"))

    def choose(self, ask: Ask) -> str:
        """Ask until one of the choices, or a number in range, is given; a number is returned as typed.

        Raises
        ------
        StepCommand
            One of `WORDS` was typed.
        """
        while True:
            typed = self._person.answer(ask).strip() or (ask.default or "")
            if found := self._understood(ask, typed):
                return found

    def watch(self, watch: Watch) -> bool:
        """Wait for an action. False if the user reports that nothing happens, or after the time limit.

        Raises
        ------
        StepCommand
            One of `WORDS` was typed.
        """
        ask = Ask(watch.key, watch.text, (Choice("nothing"),), default="nothing")
        while True:
            line = self._person.act(watch)
            if line is None:
                return True
            if self._understood(ask, line.strip() or "nothing"):
                return False

    def _understood(self, ask: Ask, typed: str) -> str | None:
        line = typed.lower()
        if ask.low < ask.high:
            try:
                value = float(line.replace(",", "."))
            except ValueError:
                pass
            else:
                if ask.low <= value <= ask.high:
                    return str(value)
                self.say(f"{typed} is outside {ask.low:g} to {ask.high:g} {ask.unit}".rstrip() + ".", "next")
                return None
        words = [choice.word for choice in ask.choices]
        if line in words:
            return line
        if ask.free and line and line not in (*self._words, "?"):
            return typed
        line = "-".join(re.split(r"[\s_-]+", line))  # "crossed belt" is crossed-belt
        initials = [word for word in words if "-" in word and line == "".join(part[0] for part in word.split("-"))]
        if len(initials) == 1:  # "nc" is normally-closed, as the trade writes it
            return initials[0]
        begins = [word for word in (*words, *self._words) if line and word.startswith(line)]
        word = line if line in self._words else begins[0] if len(begins) == 1 else "help" if line == "?" else ""
        if word in words:
            return word
        if word:
            self._go(word)
            return None
        known = ", ".join(
            [
                *("Enter" if word == "go" else word for word in words),
                *([f"a number of {ask.unit}"] if ask.low < ask.high else []),
            ]
        )
        self.say(f"{typed[:40]!r} is no answer here. Answers: {known}. At any time: {', '.join(self._words)}.", "next")
        return None

    def _go(self, word: str) -> None:
        if word != "help":
            raise StepCommand(word)
        for line in self._help:
            self.say(line, "next")
        for name, meaning in self._words.items():
            self.say(f"{name}: {meaning}")
