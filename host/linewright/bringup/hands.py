"""`Hands`: what bring-up does to the machine. Slow, short, and each thing on its own.

Nothing has been proved yet, so nothing is trusted: motors move 2 mm at a crawl around a place that is called the
middle, endstops do not count while they do, and the first homing goes at a third of its speed.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np

from linewire import messages
from linewright.board.session import Session
from linewright.board.session_values import Greeting
from linewright.board.status import BoardStatus
from linewright.calibration.repeatability import Repeatability
from linewright.errors import LinewrightError
from linewright.rig.edit import edit_rig
from linewright.rig.rig import Rig

NUDGE_MM: Final = 2.0
"""Far enough to be seen, too short to do harm."""

CRAWL_MM_S: Final = 5.0
CRAWL_MM_S2: Final = 50.0
"""2 mm then take about half a second: the eye follows, and a finger that is in the way gets out of it."""

FIRST_HOMING: Final = 1 / 3
"""Share of the homing speed at which a machine looks for its switches the first time."""

WALK_MM_S: Final = 25.0
"""Speed of moves over the whole travel: a walking pace that leaves time to reach the switch."""

STAND_OFF_MM: Final = 10.0
"""Distance at which each measured approach to a switch begins: always the same, from the same side."""


class Hands:
    """One machine, held by its board.

    Parameters
    ----------
    session : on an open link, not greeted yet.
    rig : what the rig file says.
    file : the rig file, which corrections go into; None: there is none, and they are only remembered.
    """

    def __init__(self, session: Session, rig: Rig, file: Path | None = None) -> None:
        self._session = session
        self._file = file
        self._kept: Path | None = None
        self.rig = rig
        self.corrections: dict[str, object] = {}

    # Looking.

    def greet(self) -> Greeting:
        """Meet the board and tell it its rig. One that has just started then raises the pen."""
        return self._session.greet()

    def status(self) -> BoardStatus:
        """Everything that the board says now."""
        greeting = self._session.greeting
        assert greeting is not None, "bring-up begins with the greeting"
        return BoardStatus.of(greeting, self._session.fresh_report(), self.rig)

    def keep_alive(self) -> None:
        """Look at the machine while a person thinks. Before the greeting nobody has been spoken to: nothing to keep."""
        if self._session.greeting is not None:
            self._session.fresh_report()

    def pressed(self) -> tuple[bool, bool]:
        """Which endstops the board reads as pressed, x and y."""
        flags = self._session.fresh_report()["flags"]
        return bool(flags & messages.FLAG_ENDSTOP_X), bool(flags & messages.FLAG_ENDSTOP_Y)

    def motors_have_power(self) -> bool:
        """What the board senses of the motors' supply; true where nothing tells it."""
        return not self._session.fresh_report()["flags"] & messages.FLAG_UNPOWERED

    def trips_ms(self, rounds: int) -> tuple[float, ...]:
        """How long so many requests take to be answered."""
        return tuple(1e3 * trip for trip in self._session.link_quality(rounds).round_trips_s)

    @property
    def kept(self) -> Path | None:
        """Where the rig file stays as it was before its first correction."""
        return self._kept

    # Putting right.

    def refresh(self) -> None:
        """Read the rig file again: its owner may have changed it in the meantime, as a step asked for.

        Raises
        ------
        RigError
            If it is not valid any more.
        """
        if self._file is None:
            return
        rig = Rig.load(self._file)
        if rig != self.rig:
            self.rig = rig
            self._session.use(rig)

    def correct(self, changes: dict[str, object]) -> None:
        """Change keys of the rig file, comments and all else kept, and tell the board.

        Raises
        ------
        RigError
            If the file cannot be changed, or would not be valid any more; then nothing is changed.
        """
        if self._file is None:
            self.rig = self.rig.changed(changes)
        else:
            edited = edit_rig(self._file, changes)
            self.rig = edited.rig
            if self._kept is None:
                self._kept = edited.kept
            elif edited.kept is not None:
                edited.kept.unlink(missing_ok=True)  # between two corrections of one bring-up nobody will go back
        self.corrections |= changes
        self._session.use(self.rig)

    # Moving.

    def power(self, on: bool) -> None:
        """Let the motors hold, or free them."""
        self._session.enable(on)

    def nudge(self, motor: int, mm: float = NUDGE_MM) -> None:
        """Turn one motor alone by so much belt, at a crawl; 0 is A, 1 is B. Endstops do not count meanwhile."""
        session = self._session
        session.use(_crawling(self.rig))
        try:
            middle = np.rint(self.rig.kinematics_matrix @ (self.rig.travel_mm / 2)).astype(int)
            here = (int(middle[0]), int(middle[1]))
            there = [*here]
            there[motor] += round(mm * float(self.rig.steps_per_mm[motor]))
            session.set_position(here)
            session.step_to((there[0], there[1]))
        finally:
            with contextlib.suppress(LinewrightError):
                session.use(self.rig)

    def pen(self, servo_us: int) -> None:
        """Move the servo, and give it its time."""
        self._session.pen(servo_us)

    def home(self, *, first: bool = False) -> dict[str, int]:
        """Find the switches; the first time slowly. Returns the board's figures.

        Raises
        ------
        BoardFault
            If it does not find them; the name says how.
        """
        session = self._session
        if first:
            session.use(_gentle(self.rig))
        try:
            return session.home()
        finally:
            if first:
                with contextlib.suppress(LinewrightError):
                    session.use(self.rig)

    @property
    def homed(self) -> bool:
        """Whether the board knows where the carriage is by its switches (or, without them, by hand)."""
        return self.status().position_mm is not None

    def approaches(self, count: int, on_each: Callable[[int], None]) -> dict[str, Repeatability]:
        """Home again and again, each time from the same distance, and compare where the switches were found.

        Parameters
        ----------
        count : approaches that are compared; one more is made first, to begin from.
        on_each : told the number of each.

        Returns
        -------
        axis name to its figures; axes without a switch are left out
        """
        session = self._session
        rig = self.rig
        single = rig.changed({"homing.passes": 1})
        session.use(single)
        found: dict[str, list[int]] = {}
        try:
            session.home()
            totals = {"x": 0, "y": 0}
            for i in range(count):
                on_each(i + 1)
                session.jog(_standing_off(rig))
                said = session.home()
                for axis in totals:
                    if said.get(f"{axis}_passes"):
                        # The count was above the truth by so much: the switch was found that much further on.
                        totals[axis] += said[f"{axis}_drift_steps"]
                        found.setdefault(axis, []).append(totals[axis])
        finally:
            with contextlib.suppress(LinewrightError):
                session.use(rig)
        return {
            axis: Repeatability.of(
                [steps / motor.steps_per_mm for steps in found[axis]], step_mm=1 / motor.steps_per_mm
            )
            for axis, motor in (("x", rig.a), ("y", rig.b))
            if axis in found
        }

    def walk(self, to_mm: tuple[float, float]) -> None:
        """Go to a place slowly, pen up; the machine is homed."""
        session = self._session
        rig = self.rig
        session.use(_walking(rig))
        try:
            session.jog(to_mm)
        finally:
            with contextlib.suppress(LinewrightError):
                session.use(rig)

    # Leaving.

    def safe(self) -> bool:
        """Whatever happened: a controlled stop, pen up, motors off. False: the board has not confirmed it."""
        if self._session.greeting is None:
            return True  # nobody has answered, so nothing has been told to move
        try:
            self._session.stop()
            self._session.cut()
        except LinewrightError:
            return False
        return True


def _crawling(rig: Rig) -> Rig:
    """The rig for a single nudge: slow, and no endstop counts."""
    return _at(rig, CRAWL_MM_S, CRAWL_MM_S2).changed({"axis.x.endstop": "none", "axis.y.endstop": "none"})


def _walking(rig: Rig) -> Rig:
    return _at(rig, WALK_MM_S, rig.homing.accel_mm_s2)


def _at(rig: Rig, speed_mm_s: float, accel_mm_s2: float) -> Rig:
    """The rig with both axes held to a speed and an acceleration."""
    changes: dict[str, object] = {}
    slowest = speed_mm_s
    for name, axis in (("x", rig.x), ("y", rig.y)):
        slowest = min(slowest, axis.speed_mm_s)
        changes[f"axis.{name}.speed_mm_s"] = min(speed_mm_s, axis.speed_mm_s)
        changes[f"axis.{name}.accel_mm_s2"] = min(accel_mm_s2, axis.accel_mm_s2)
    changes["homing.fast_mm_s"] = min(rig.homing.fast_mm_s, slowest)
    changes["homing.slow_mm_s"] = min(rig.homing.slow_mm_s, slowest)
    return rig.changed(changes)


def _gentle(rig: Rig) -> Rig:
    fast = max(rig.homing.fast_mm_s * FIRST_HOMING, rig.homing.slow_mm_s)
    return rig.changed({"homing.fast_mm_s": fast})


def _standing_off(rig: Rig) -> tuple[float, float]:
    """A place near the switches, `STAND_OFF_MM` inside the limits (or in the middle of a very short axis)."""
    place = []
    for axis, park in zip((rig.x, rig.y), rig.park.position_mm, strict=True):
        off = min(STAND_OFF_MM, axis.travel_mm / 2)
        # An axis without a switch is where its owner has put it, and stays there: homing takes that for its park place.
        place.append({"min": off, "max": axis.travel_mm - off, "none": park}[axis.endstop])
    return place[0], place[1]
