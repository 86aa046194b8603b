"""`DrawingDesk`: the current drawing from start to end, and interrupted drawings."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, Literal

from linewright import units, wording
from linewright.desk import geometry
from linewright.desk.page_words import told
from linewright.errors import InputError, LinewrightError, LinkError
from linewright.tasks import cautions
from linewright.tasks.draw_task import DrawTask
from linewright.tasks.front import Cancelled

if TYPE_CHECKING:
    from linewright.board.session_values import Control, Progress
    from linewright.desk.archive import Archive
    from linewright.desk.machine import DeskMachine, Met
    from linewright.desk.screen import Screen
    from linewright.planning.arrangement import Arrangement
    from linewright.run.story import Story
    from linewright.tasks.draw_task import Drawn

SHOWN_S: Final = 0.1
"""Interval of progress messages to the page."""

PACE_LOW: Final = 0.1

MEASURED_S: Final = 1.0
"""Interval over which the speed of a simulation, relative to a real clock, is measured."""

STATES: Final = ("drawing", "holding", "pen", "homing")
"""States of a drawing in progress; other states are those of the board."""

UNBEGUN: Final = "Stopped before anything was drawn"


@dataclass(frozen=True)
class Wanted:
    """A drawing requested by the page.

    Parameters
    ----------
    geometry : strokes that the page shows during the drawing.
    of : the content of the sheet, a trial sheet, or the rest of an interrupted drawing.
    arrangement : content of the sheet; None: a trial sheet or a resumed drawing.
    over : called at the end in the machine's thread, with True if the drawing is finished.
    """

    task: DrawTask
    geometry: str
    of: Literal["sheet", "trial", "rest"]
    arrangement: Arrangement | None = None
    over: Callable[[bool], None] = lambda _finished: None


class Quickness:
    """Playing speed relative to a real clock: a simulation may run faster.

    Parameters
    ----------
    clock_s : returns real time, seconds.
    """

    def __init__(self, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._clock_s = clock_s
        self._since: tuple[float, float] | None = None  # real time and drawing time
        self._times: float | None = None

    def measured(self, now: Progress) -> float | None:
        """The latest measurement; None before the first. Holds are not measured."""
        at_s = self._clock_s()
        if now.state != "drawing":
            self._since = None
        elif self._since is None:
            self._since = at_s, now.played_s
        elif at_s >= self._since[0] + MEASURED_S:
            self._times = (now.played_s - self._since[1]) / (at_s - self._since[0])
            self._since = at_s, now.played_s
        return self._times


class DrawingDesk:
    """State of the drawing for the page, and the page's commands to it."""

    def __init__(self, screen: Screen, machine: DeskMachine, shelf: geometry.GeometryShelf, archive: Archive) -> None:
        self._screen = screen
        self._machine = machine
        self._shelf = shelf
        self._archive = archive
        self._number = 0
        self._shown: dict[str, Any] | None = None
        self._last_s = 0.0
        self._unsent: tuple[Progress, Met] | None = None
        self._quickness = Quickness()
        self._left: str | None = None
        screen.put("drawing", None)
        screen.put("progress", None)
        self.show_past()

    # Called for the page

    def draw(self, wanted: Wanted) -> None:
        """Start a drawing."""
        from linewright.desk.machine import MachineWish
        from linewright.desk.making import of_program

        if self.under_way:
            raise InputError("something is being drawn already")
        number = self._number + 1
        program = wanted.task.program
        shown = {
            "id": f"n{number}",
            "name": wanted.task.name,
            "state": "starting",
            "of": wanted.of,
            "geometry": wanted.geometry,
            "pens": of_program(program)["pens"],
            "ask": None,
            "strokes": len(program.drawing),
            "predicted_s": program.predicted_s,
            "pace": 1.0,
            "words": "Getting ready",
            "error": None,
            "can_carry_on": False,
            "result": None,
        }
        before = self._shown
        self._number, self._shown = number, shown
        self._quickness = Quickness()
        self._screen.put("progress", None)
        self._screen.put("drawing", shown)
        try:
            self._machine.ask(
                MachineWish(
                    "draw",
                    "Drawing",
                    lambda met: self._carry_out(wanted, met),
                    lambda why: self._not_begun(wanted, why),
                )
            )
        except LinkError:  # the machine is busy
            self._shown = before
            self._screen.put("drawing", before)
            raise

    @property
    def under_way(self) -> bool:
        """Whether a drawing is in progress."""
        return self._shown is not None and self._shown["state"] not in ("finished", "abandoned", "failed")

    def hold(self) -> None:
        """Stop smoothly, pen up."""
        self._control().hold()

    def carry_on(self) -> None:
        """Resume after a hold, at the latest requested pace."""
        self._control().carry_on()

    def pace(self, share: float) -> None:
        """Draw at this fraction of the planned speed; does not end a hold."""
        if not PACE_LOW <= share <= 1.0:
            raise InputError(f"a pace of {share:g} is outside {PACE_LOW:g}..1")
        self._control().slow_to(share)
        self._change(pace=share)

    def pen_in(self) -> None:
        """Confirm that the requested pen is inserted."""
        if self._shown is None or self._shown["ask"] is None:
            raise InputError("no pen is asked for")
        self._control().pen_changed()

    def abandon(self) -> None:
        """Stop with the pen up, and give the rest of the drawing up."""
        if not self.under_way:
            raise InputError("nothing is being drawn")
        self._change(state="stopping", words="Stopping, pen up")
        self._machine.stop()

    def put_away(self) -> None:
        """Close the view of the ended drawing."""
        if self.under_way:
            raise InputError("it is being drawn", hint="abandon it first")
        self._shown = None
        self._screen.put("drawing", None)
        self._screen.put("progress", None)

    def _control(self) -> Control:
        front = self._machine.front
        control = None if front is None else front.control
        if control is None:
            raise InputError("nothing is being drawn now")
        return control

    # Past drawings

    def show_past(self) -> None:
        """Show the log, and the interrupted drawings that can be resumed."""
        from linewright.tasks import resuming

        self._screen.put("log", self._archive.log())
        place = cautions.same_place()
        same = [{"key": "paper", "text": f"{place[:1].upper()}{place[1:]}."}]
        self._screen.put(
            "broken_off",
            [
                {
                    "id": story.folder.name,
                    "picture": story.picture,
                    "sheet": story.sheet,
                    "strokes_done": story.strokes_done,
                    "strokes": story.strokes,
                    "when": story.last,
                    "why": story.ended or "broke off",
                    "geometry": None,
                    "confirm": same,
                }
                for story in resuming.unfinished()
            ],
        )

    def story(self, name: str) -> Story:
        """The drawing of this id.

        Raises
        ------
        InputError : it does not exist.
        """
        from linewright.tasks import resuming

        for story in resuming.unfinished():
            if story.folder.name == name:
                return story
        raise InputError("that drawing cannot be carried on any more")

    def left(self, name: str) -> dict[str, Any]:
        """The part of an interrupted drawing that is on paper by the board's count, for the page.

        Raises
        ------
        LinewrightError : it cannot be resumed, or not with this machine.
        """
        from linewright.desk.making import of_program
        from linewright.tasks import resuming

        rig = self._machine.target.rig
        broken = resuming.look(self.story(name), rig)
        self._shelf.drop(self._left)
        self._left = self._shelf.put(geometry.of_program(broken.program, rig), "b")
        return {
            "geometry": self._left,
            "stroke": broken.stroke + 1,
            "pens": of_program(broken.program)["pens"],
            "asks": broken.stroke > 0 and not rig.senses_motor_power,
        }

    def resume(self, name: str, *, at_park: bool, from_stroke: int | None = None) -> None:
        """Resume an interrupted drawing.

        Parameters
        ----------
        from_stroke : first stroke not on paper, if the motors had no power while the board counted on.
        """
        from linewright.tasks import resuming

        target = self._machine.target
        broken = resuming.look(self.story(name), target.rig)
        task = resuming.rest_of(broken, target, ask_pens=True, at_park=at_park, from_stroke=from_stroke)
        shown = self._shelf.put(geometry.of_program(broken.program, target.rig))
        self.draw(Wanted(replace(task, reads_tape=False), shown, "rest", self._archive.begun(task.name)))

    def forget(self, name: str) -> None:
        """Give up an interrupted drawing."""
        from linewright.run.journal import Journal

        story = self.story(name)
        Journal.carry_on(story, story.load_program()).discard()
        if self._shown is not None and self._shown["can_carry_on"] and not self.under_way:
            self.put_away()  # the end of it was shown only to be carried on
        self.show_past()

    # In the machine's thread

    def _carry_out(self, wanted: Wanted, met: Met) -> None:
        from linewright.tasks import drawing

        front = self._machine.front
        assert front is not None, "a wish is being carried out"
        if self._shown is not None and self._shown["state"] == "stopping":
            self._change(state="abandoned", words=UNBEGUN)
            wanted.over(False)
            return
        front.has_first_pen = True
        front.on_progress = lambda now: self._tell(now, met)
        finished = False
        if wanted.arrangement is not None:
            self._archive.begin(wanted.task.name, wanted.arrangement)
        try:
            task = replace(wanted.task, target=met.at(wanted.task.target))
            try:
                drawn = drawing.draw(task, front)
            finally:
                self._tell_newest()
            finished = drawn.finished
            self._end(drawn)
        except LinewrightError as error:
            can_carry_on = "resume" in error.hint
            self._change(state="failed", words="The drawing has stopped", error=told(error), can_carry_on=can_carry_on)
            raise
        except Cancelled:
            self._change(state="abandoned", words=UNBEGUN)
        finally:
            self._keep(wanted)
            self.show_past()
            wanted.over(finished)

    def _not_begun(self, wanted: Wanted, why: LinewrightError) -> None:
        self._change(state="failed", words="The drawing was not begun", error=told(why))
        wanted.over(False)

    def _keep(self, wanted: Wanted) -> None:
        from linewright.run import log

        newest = log.entries(1)
        if newest and newest[0].picture == wanted.task.name:
            self._archive.keep(newest[0].began, wanted.task.program, wanted.arrangement)

    def _end(self, drawn: Drawn) -> None:
        result = drawn.result
        worst = None
        if result is not None and result.drifts:
            worst = [
                max((one.x_mm for one in result.drifts), key=abs),
                max((one.y_mm for one in result.drifts), key=abs),
            ]
        played_s = None if result is None else units.ticks_to_s(result.played_ticks)
        words = "Finished" if drawn.finished else "Stopped, pen raised"
        self._change(
            state="finished" if drawn.finished else "abandoned",
            words=words,
            ask=None,
            can_carry_on=drawn.can_carry_on,
            result={"played_s": played_s, "drift_mm": worst},
        )

    def _tell(self, now: Progress, met: Met) -> None:
        """Send the progress to the page, a few times a second."""
        if self._shown is None:
            return
        changed = (now.state == "pen") != (self._shown["ask"] is not None) or (
            now.state in STATES and now.state != self._shown["state"]
        )
        if not changed and time.monotonic() < self._last_s + SHOWN_S:
            self._unsent = (now, met)
            return
        self._send(now, met)

    def _tell_newest(self) -> None:
        """Send the newest progress if it came too soon after the one before: no other follows."""
        if self._unsent is not None:
            self._send(*self._unsent)

    def _send(self, now: Progress, met: Met) -> None:
        if self._shown is None:
            return
        self._unsent = None
        self._last_s = time.monotonic()
        times = self._quickness.measured(now)
        self._machine.show_moving(now, met.session)
        at = self._machine.position_mm
        place = None
        if at is not None:
            import numpy as np

            place = self._machine.target.rig.sheet.position.on_sheet(np.array([at]))[0].tolist()
        self._screen.put(
            "progress",
            {
                "stroke": now.stroke,
                "strokes": now.strokes,
                "done_s": now.planned_s,
                "left_s": now.left_s,
                "played_s": now.played_s,
                "times": times,
                "predicted_s": now.predicted_s,
                "pace": now.pace,
                "at_mm": place,
                "pen_up": self._machine.pen_up,
                "state": now.state,
            },
        )
        if self._shown["state"] == "stopping":
            return
        pen = now.pen
        ask = (
            {"pen": {"name": pen.name, "colour": pen.colour, "width_mm": pen.width_mm}} if now.state == "pen" else None
        )
        if now.state in STATES:
            self._change(state=now.state, words=_words(now), ask=ask)

    def _change(self, **new: Any) -> None:
        if self._shown is not None:
            self._shown = {**self._shown, **new}
            self._screen.put("drawing", self._shown)


def _words(now: Progress) -> str:
    """One sentence about the progress of a drawing."""
    stroke = f"stroke {wording.grouped(now.stroke)} of {wording.grouped(now.strokes)}"
    left = f"{wording.duration(now.left_s)} left"
    return {
        "drawing": f"Drawing {stroke}, {left}",
        "holding": f"Held at {stroke}, pen up; {left}",
        "pen": f"Put the pen '{now.pen.name}' in",
        "homing": "Homing",
    }.get(now.state, f"{now.state[:1].upper()}{now.state[1:]}, {stroke}")
