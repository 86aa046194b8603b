"""Bring-up and exercise run from the page."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from linewright.bringup.onlooker import Onlooker
    from linewright.bringup.talk import Ask, Choice, Kind, Watch
    from linewright.calibration.exercise import Bout
    from linewright.desk import events
    from linewright.desk.holdings import Holdings
    from linewright.desk.machine import Met
    from linewright.desk.questions import Questions
    from linewright.tasks.target import Target

LINES_HIGH = 200


class AtPage:
    """A `linewright.bringup.talk.Person` that asks the user at the page.

    Parameters
    ----------
    hears : called with every line of output.
    onlooker : on the virtual rig, the simulated observer; None: the user observes and presses switches.
    keep_alive : keeps the link alive while waiting for the user.
    """

    def __init__(
        self,
        questions: Questions,
        hears: Callable[[Kind, str], None],
        onlooker: Onlooker | None,
        keep_alive: Callable[[], object],
    ) -> None:
        self._questions = questions
        self._hears = hears
        self._onlooker = onlooker
        self._keep_alive = keep_alive
        self._told = ""  # latest instruction
        self._where = ""  # number and title of the step
        self._passed = ""  # result of the previous step, if it passed

    def hear(self, kind: Kind, text: str) -> None:
        """See `Person.hear`."""
        if kind == "title":
            self._where, self._told = f"Step {text}", ""
        elif kind == "good":
            self._passed = text
        elif kind == "next":
            self._told = f"{self._told} {text}".strip()
        elif kind in ("plain", "found"):
            self._told = text
        self._hears(kind, text)

    def answer(self, ask: Ask) -> str:
        """See `Person.answer`."""
        seen = "" if self._onlooker is None else self._onlooker.sees(ask)
        if self._onlooker is not None:
            self._onlooker.answers(ask)  # which also records the carriage's position
        number = ask.low < ask.high
        passed, self._passed = self._passed, ""
        said = self._questions.ask(
            "number" if number and not ask.choices else "words" if ask.free and not ask.choices else "choose",
            ask.text.removesuffix(" Press Enter to continue."),
            where=self._where,
            passed=passed,
            about=" ".join(filter(None, [self._told, f"On the virtual rig: {seen}." if seen else ""])),
            choices=[{"word": choice.word, "meaning": _meaning(choice)} for choice in ask.choices],
            low=ask.low if number else None,
            high=ask.high if number else None,
            unit=ask.unit,
            default=ask.default,
            free=ask.free,
            glance=self._looks,
        )
        return str(said)

    def act(self, watch: Watch) -> str | None:
        """See `Person.act`."""
        from linewright.bringup.talk import Lookout

        if self._onlooker is not None:
            came = self._onlooker.acts(watch)
            self.hear("plain", f"{watch.text} (virtual rig: done, and {'seen' if came is None else 'nothing seen'})")
            return came
        look = Lookout(watch)
        said = self._questions.ask(
            "choose",
            watch.text,
            where=self._where,
            passed="",
            about="",
            choices=[{"word": "nothing", "meaning": "it does not work"}],
            default=None,
            glance=look,
        )
        return look.outcome() if said is None else str(said)

    def _looks(self) -> bool:
        self._keep_alive()
        return False


def _meaning(choice: Choice) -> str:
    """Text of a button in place of its word: a number alone does not say what it does."""
    return f"{choice.word} by {choice.meaning}" if choice.meaning[:1].isdigit() else choice.meaning


def bring_up(event: events.BringUp, room: Holdings, _met: Met, at: Target) -> None:
    """Run the steps of bring-up, in the machine's thread."""
    from linewright.bringup.steps import STEPS
    from linewright.tasks import bringing_up

    titles = {step.title: step.name for step in STEPS}
    states = {step.name: "todo" for step in STEPS}
    lines: list[dict[str, str]] = []
    now = ""

    def show(**more: Any) -> None:
        steps = [{"name": step.name, "title": step.title, "state": states[step.name]} for step in STEPS]
        room.show_task("bring-up", "", steps=steps, step=now, lines=list(lines), **more)

    def hears(kind: Kind, text: str) -> None:
        nonlocal now
        lines.append({"kind": kind, "text": text})
        del lines[:-LINES_HIGH]
        if kind == "title":
            now = titles.get(text.partition(": ")[2], now)
            states[now] = "doing"
        elif kind == "good" and now:
            states[now] = "done"
        show()

    def person(onlooker: Onlooker | None, keep_alive: Callable[[], object]) -> AtPage:
        return AtPage(room.questions, hears, onlooker, keep_alive)

    task = bringing_up.BringUpTask(at, event.start, event.over)
    task.check()
    show()
    try:
        brought = bringing_up.bring_up(task, room.front, person)
    finally:
        room.rig_changed()
    states.update({name: state for name, state in brought.walked.states.items() if name in states})
    kept = brought.hands.kept
    left = [step.title for step in STEPS if states[step.name] != "done"]
    room.notes.add(
        "note",
        f"bring-up was left off; still to be done: {', '.join(left)}"
        if left
        else "bring-up is done: every step passed",
    )
    show(done=1.0, complete=brought.walked.complete, kept="" if kept is None else kept.name)


def exercise(event: events.Exercise, room: Holdings, _met: Met, at: Target) -> None:
    """Exercise the machine for some minutes, in the machine's thread."""
    from linewright.tasks import exercising
    from linewright.tasks.front import Cancelled

    front = room.front
    rows: list[dict[str, Any]] = []
    began_s = time.monotonic()
    limit_s = event.minutes * 60.0

    def tell(number: int, bout: Bout) -> None:
        rows.append(
            {
                "n": number + 1,
                "axis": bout.axis,
                "sense": str(bout.sense),
                "share": bout.share,
                "way_mm": bout.way_mm,
                "lost_steps": bout.lost_steps,
            }
        )
        past_s = time.monotonic() - began_s
        room.show_task("exercise", f"bout {number + 1}", min(1.0, past_s / limit_s), rows=list(rows))
        if past_s > limit_s or front.stopping.is_set():
            raise Cancelled("the exercise is over")

    room.show_task("exercise", "beginning", 0.0)
    try:
        exercising.exercise(at, front, bouts=BOUTS_HIGH, on_bout=tell)
    finally:
        lost = [row for row in rows if row["lost_steps"] != 0]
        words = "no step was lost" if not lost else f"steps were lost in {len(lost)} of {len(rows)} bouts"
        room.show_task("exercise", "", 1.0, rows=list(rows), words=words)


BOUTS_HIGH = 10_000
"""More than an hour of bouts; the time limit ends it earlier."""
