"""`Hands`: operations of bring-up on the machine, slow, short, and one at a time.

Nothing has been tested yet. So motors move only 2 mm, very slowly, around a position that is defined as the middle;
endstops are ignored meanwhile; and the first homing runs at a third of its speed.
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
"""Distance of a test move: visible, but too short to do harm."""

CRAWL_MM_S: Final = 5.0
CRAWL_MM_S2: Final = 50.0
"""Acceleration of a test move: 2 mm take about half a second."""

FIRST_HOMING: Final = 1 / 3
"""Share of the homing speed for the first homing."""

WALK_MM_S: Final = 25.0
"""Speed of moves over the whole travel: slow enough to reach the switch of the supply."""

STAND_OFF_MM: Final = 10.0
"""Distance at which each measured approach to a switch begins."""


class Hands:
    """One machine with its board.

    Parameters
    ----------
    session : on an open link, before the greeting.
    rig : the rig of the file.
    file : the rig file, to which corrections are written; None: they are kept in memory only.
    """

    def __init__(self, session: Session, rig: Rig, file: Path | None = None) -> None:
        self._session = session
        self._file = file
        self._kept: Path | None = None
        self.rig = rig
        self.corrections: dict[str, object] = {}

    def greet(self) -> Greeting:
        """Greet the board and send its settings. A board that has just started then raises the pen."""
        return self._session.greet()

    def status(self) -> BoardStatus:
        """Present status of the board."""
        greeting = self._session.greeting
        assert greeting is not None, "bring-up begins with the greeting"
        return BoardStatus.of(greeting, self._session.fresh_report(), self.rig)

    def keep_alive(self) -> None:
        """Serve the link while the user thinks. Does nothing before the greeting."""
        if self._session.greeting is not None:
            self._session.fresh_report()

    def pressed(self) -> tuple[bool, bool]:
        """Which endstops the board reads as pressed, x and y."""
        flags = self._session.fresh_report()["flags"]
        return bool(flags & messages.FLAG_ENDSTOP_X), bool(flags & messages.FLAG_ENDSTOP_Y)

    def motors_have_power(self) -> bool:
        """Whether the motors have power; True if it is not sensed."""
        return not self._session.fresh_report()["flags"] & messages.FLAG_UNPOWERED

    def trips_ms(self, rounds: int) -> tuple[float, ...]:
        """Round-trip times of this many requests, ms."""
        return tuple(1e3 * trip for trip in self._session.link_quality(rounds).round_trips_s)

    @property
    def kept(self) -> Path | None:
        """Copy of the rig file from before its first correction."""
        return self._kept

    def refresh(self) -> None:
        """Read the rig file again, because the user may have changed it as a step asked.

        Raises
        ------
        RigError
            The file is no longer valid.
        """
        if self._file is None:
            return
        rig = Rig.load(self._file)
        if rig != self.rig:
            self.rig = rig
            self._session.use(rig)

    def correct(self, changes: dict[str, object]) -> None:
        """Change keys of the rig file, and send the settings to the board. Comments and other keys are kept.

        Raises
        ------
        RigError
            The file cannot be changed, or would be invalid; nothing is changed then.
        """
        if self._file is None:
            self.rig = self.rig.changed(changes)
        else:
            edited = edit_rig(self._file, changes)
            self.rig = edited.rig
            if self._kept is None:
                self._kept = edited.kept
            elif edited.kept is not None:
                edited.kept.unlink(missing_ok=True)  # intermediate versions of one bring-up are not kept
        self.corrections |= changes
        self._session.use(self.rig)

    def power(self, on: bool) -> None:
        """Switch the motors on or off."""
        self._session.enable(on)

    def nudge(self, motor: int, mm: float = NUDGE_MM) -> None:
        """Turn one motor by a belt length, slowly; 0 is A, 1 is B. Endstops are ignored meanwhile."""
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
        """Move the servo, and wait until it is there."""
        self._session.pen(servo_us)

    def home(self, *, first: bool = False) -> dict[str, int]:
        """Home, slowly the first time. Returns the board's figures.

        Raises
        ------
        BoardFault
            Homing failed; the fault's name says how.
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
        """Whether the board knows its position, from its switches or, without them, set by hand."""
        return self.status().position_mm is not None

    def approaches(self, count: int, on_each: Callable[[int], None]) -> dict[str, Repeatability]:
        """Home repeatedly from the same distance, and compare the switch positions.

        Parameters
        ----------
        count : compared approaches; one more is made first as a reference.
        on_each : called with the number of each approach.

        Returns
        -------
        figures by axis name, without axes that have no switch
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
                        # The count was this far above the true position, so the switch was found that much further on.
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
        """Move slowly to a position, pen up, on a homed machine."""
        session = self._session
        rig = self.rig
        session.use(_walking(rig))
        try:
            session.jog(to_mm)
        finally:
            with contextlib.suppress(LinewrightError):
                session.use(rig)

    def safe(self) -> bool:
        """Controlled stop, pen up, motors off, after any failure. False if the board has not confirmed it."""
        if self._session.greeting is None:
            return True  # no board has answered, so nothing can be moving
        try:
            self._session.stop()
            self._session.cut()
        except LinewrightError:
            return False
        return True


def _crawling(rig: Rig) -> Rig:
    """The rig for a test move: slow, with endstops ignored."""
    return _at(rig, CRAWL_MM_S, CRAWL_MM_S2).changed({"axis.x.endstop": "none", "axis.y.endstop": "none"})


def _walking(rig: Rig) -> Rig:
    return _at(rig, WALK_MM_S, rig.homing.accel_mm_s2)


def _at(rig: Rig, speed_mm_s: float, accel_mm_s2: float) -> Rig:
    """The rig with both axes limited to a speed and an acceleration."""
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
    """A position near the switches, `STAND_OFF_MM` inside the limits (or in the middle of a very short axis)."""
    place = []
    for axis, park in zip((rig.x, rig.y), rig.park.position_mm, strict=True):
        off = min(STAND_OFF_MM, axis.travel_mm / 2)
        # An axis without a switch stays where the user has put it, because homing takes that for its park position.
        place.append({"min": off, "max": axis.travel_mm - off, "none": park}[axis.endstop])
    return place[0], place[1]
