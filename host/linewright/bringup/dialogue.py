"""Runs through the steps, with the commands back, again, skip and stop. Independent of the terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from linewright.bringup.hands import Hands
from linewright.bringup.notebook import Notebook
from linewright.bringup.talk import Ask, Choice, Person, StepCommand, Talk, Trouble
from linewright.errors import BoardFault, InputError, LinewrightError, Refused, RigError


@dataclass(frozen=True)
class Step:
    """One step of the table.

    Parameters
    ----------
    name : its name in the notebook and on the command line.
    title : its heading.
    prepare : what the user does first.
    cautions : shown before anything can move.
    expect : expected result.
    otherwise : remedies, shown on "help" and after trouble.
    needs : steps required before this one for safety or function.
    run : performs the step; returns its result in words.
    """

    name: str
    title: str
    prepare: tuple[str, ...]
    cautions: tuple[str, ...]
    expect: str
    otherwise: tuple[str, ...]
    needs: tuple[str, ...]
    run: Callable[[Talk, Hands], str]


# State of a step after an event. States are set only from this table.
AFTER: Final[dict[str, str]] = {"finished": "done", "in trouble": "failed", "skip": "skipped"}


@dataclass(frozen=True)
class Walked:
    """Result of a bring-up.

    Parameters
    ----------
    states, said : by step, as in `Notebook`.
    stopped : the user stopped before the last step.
    """

    states: dict[str, str]
    said: dict[str, str]
    stopped: bool

    @property
    def complete(self) -> bool:
        """Every step has been done."""
        return not self.stopped and all(state == "done" for state in self.states.values())


class Dialogue:
    """Leads one user through the steps.

    Parameters
    ----------
    steps : the table; the first step is always run, because all others need the board.
    hands : the machine.
    person : the user.
    notebook : results so far; written after each step.
    """

    def __init__(self, steps: Sequence[Step], hands: Hands, person: Person, notebook: Notebook) -> None:
        self._steps = list(steps)
        self._hands = hands
        self._person = person
        self._notebook = notebook
        self._explained: set[str] = set()  # steps whose preparation has been shown; cautions are shown every time

    def walk(self, start: str | None = None) -> Walked:
        """Run the steps from the first one that is not done, or from ``start``.

        However it ends (the last step, "stop", the end of the answers, Ctrl-C, a lost link), the notebook is written
        and, unless everything is done, the machine is left at rest with the pen up and its motors off.
        """
        complete = False
        try:
            at = self._begin(start)
            while 0 <= at < len(self._steps):
                at = self._one(at)
            complete = at == len(self._steps)
        finally:
            self._notebook.write(self._hands.rig)
            if not complete and not self._hands.safe():
                self._person.hear(
                    "caution", "The board has not confirmed that the motors are off: switch the motor supply off."
                )
        return Walked(dict(self._notebook.states), dict(self._notebook.said), stopped=not complete)

    def _begin(self, start: str | None) -> int:
        names = [step.name for step in self._steps]
        first = 0
        if start is not None:
            if start not in names:
                raise InputError(f"no step is called {start!r}", hint=f"the steps are: {', '.join(names)}")
            first = names.index(start)
        else:
            first = next((i for i, name in enumerate(names) if self._state(name) != "done"), 0)
        if first > 0:
            # A new link: greet the board again, without questions.
            self._hands.greet()
            if self._state(names[0]) != "done":
                self._enter(self._steps[0], "finished", "The board has answered.")
            self._person.hear("caution", "Before we go on: is the motor supply on again, and is nothing in the way?")
        return first

    def _state(self, name: str) -> str:
        return self._notebook.states.get(name, "todo")

    def _one(self, at: int) -> int:
        """Run one step; returns the index of the next, or -1 to stop."""
        step = self._steps[at]
        talk = Talk(self._person, step.otherwise)
        talk.say(f"{at + 1} of {len(self._steps)}: {step.title}", "title")
        try:
            self._hands.refresh()
            self._announce(step, talk)
            said = step.run(talk, self._hands)
        except StepCommand as turn:
            return self._turned(at, turn.where, talk)
        except (Trouble, BoardFault, Refused, RigError, InputError) as trouble:
            self._enter(step, "in trouble", trouble.message)
            return self._in_trouble(at, trouble, talk)
        self._enter(step, "finished", said)
        talk.say(said, "good")
        return at + 1

    def _announce(self, step: Step, talk: Talk) -> None:
        if step.name not in self._explained:
            self._explained.add(step.name)
            for line in step.prepare:
                talk.say(line)
            talk.say(f"What should happen: {step.expect}")
        for line in step.cautions:
            talk.say(line, "caution")
        missing = [
            other.title for other in self._steps if other.name in step.needs and self._state(other.name) != "done"
        ]
        if missing:
            talk.say(f"Not done yet: {', '.join(missing)}. This step depends on it.", "caution")
        if missing:
            if not talk.yes("despite", "Do it anyway?", default="no"):
                raise StepCommand("skip")
        else:
            talk.ready(f"ready {step.name}", "Ready? Press Enter to continue.")

    def _turned(self, at: int, where: str, talk: Talk) -> int:
        step = self._steps[at]
        if where == "again":
            return at
        if where == "back":
            if at == 0:
                talk.say("This is the first step.", "next")
            return max(at - 1, 0)
        if where == "stop":
            talk.say("Bring-up stops here. The same command continues at this step.", "next")
            return -1
        if self._state(step.name) != "done":
            self._enter(step, "skip", "left out")
        talk.say(_skipped(step, self._steps), "caution")
        return at + 1

    def _in_trouble(self, at: int, trouble: LinewrightError, talk: Talk) -> int:
        talk.say(
            trouble.message[0].upper() + trouble.message[1:] + ("" if trouble.message.endswith(".") else "."), "found"
        )
        if trouble.hint:
            talk.say(trouble.hint[0].upper() + trouble.hint[1:], "next")
        ask = Ask(
            "after trouble",
            "Correct the fault and choose again, or choose another word.",
            (Choice("again"), Choice("back"), Choice("skip"), Choice("stop")),
            default="again",
        )
        # "again" and the others are commands of the dialogue and also choices here, with the same meaning.
        try:
            where = talk.choose(ask)
        except StepCommand as turn:
            where = turn.where
        if where == "skip":
            talk.say(_skipped(self._steps[at], self._steps), "caution")
            return at + 1
        return self._turned(at, where, talk)

    def _enter(self, step: Step, event: str, said: str) -> None:
        self._notebook.enter(step.name, AFTER[event], said)
        self._notebook.write(self._hands.rig)


def _skipped(step: Step, steps: Sequence[Step]) -> str:
    dependent = [other.title for other in steps if step.name in other.needs]
    if not dependent:
        return f"{step.title} is skipped."
    return f"{step.title} is skipped. These steps depend on it: {', '.join(dependent)}."
