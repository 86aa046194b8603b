"""`Session`: what a host does with a board: greeting, settings, homing, moves by hand, the pen, stops.

The talking itself is `conversation`'s; this module says the right things in the right order, and follows the pen.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Final

import numpy as np

from lineboard.homing import RELEASE_TRIES
from linewire import messages
from linewire.records import END, REST, SERVO_HIGH_US, SERVO_LOW_US
from linewright import units
from linewright.board import files as board_files
from linewright.board.conversation import Conversation, Fields, Link, LinkQuality, now_s, number_in
from linewright.board.drift import Drift
from linewright.board.player import Player
from linewright.board.session_values import Greeting, Standing
from linewright.errors import BoardFault, InputError, LinkError, Mismatch, NoAnswer
from linewright.machine.shape import REACH_SLACK_MM
from linewright.motion.travel import plan_travel
from linewright.program import packing
from linewright.rig.board_settings import HOME_SEARCH, board_settings
from linewright.rig.rig import Rig

GREETING_S: Final = 5.0
"""A board answers within milliseconds; one that is just starting, or was asleep on USB, within two or three seconds."""

HOMING_SLACK_S: Final = 60.0
"""What homing takes beyond its ways: pauses at switches, a busy link."""

STOP_S: Final = 2.0
"""A request that is lost is sent again within this time; a board that has not heard it by then hears nothing."""

HOMING_STOP_S: Final = 1.0
"""Homing moves slowly enough to stop within its switches' overtravel, a few millimetres."""

SETTLE_S: Final = 10.0
"""A stop from 500 mm/s at 100 mm/s2 takes 5 s, and the servo two at most."""

FLASH_HINT: Final = "put this version's code on the board with `linewright board flash`"

_OF_PINS: Final = ("pin_", "pen_", "servo_", "step_", "direction_", "contact_", "reversed_", "max_", "rate_", "motor_")
"""Beginnings of the names of settings that a board's pins and what they put out depend on."""


class Session:
    """A conversation with one board.

    Parameters
    ----------
    link : an open transport.
    rig : the machine that the board drives.

    Attributes
    ----------
    talk : the conversation over that link.
    greeting : what the board has said of itself; None before `hello`.
    """

    def __init__(self, link: Link, rig: Rig) -> None:
        self.link = link
        self.talk = Conversation(link)
        self.rig = rig
        self.greeting: Greeting | None = None
        self._unique: str | None = None

    # The conversation, step by step.

    def greet(self) -> Greeting:
        """Open the link, make sure that board and host carry the same code, and tell the board its rig.

        Raises
        ------
        NoAnswer : nobody speaks our protocol on this port.
        Mismatch : the board carries another version.
        Refused : the board cannot work with this rig's settings.
        """
        greeting = self.hello()
        if not greeting.same_code:
            raise Mismatch(
                f"the board's code ({greeting.digest:08x}) is not the one that belongs to this host "
                f"({board_files.digest():08x})",
                hint=FLASH_HINT,
            )
        self.tell_rig()
        return greeting

    def hello(self, limit_s: float = GREETING_S) -> Greeting:
        """Open the link and hear what the board says of itself, whatever code it carries. Changes nothing.

        Parameters
        ----------
        limit_s : how long the board may take.

        Raises
        ------
        NoAnswer : nobody speaks our protocol on this port.
        Mismatch : the board speaks another protocol.
        """
        said = self.talk.ask(
            "hello",
            protocol=messages.PROTOCOL,
            digest=board_files.digest(),
            answers=("greeting",),
            limit_s=limit_s,
        )
        board = number_in(said, "board")
        greeting = Greeting(
            board=messages.BOARDS[board] if board < len(messages.BOARDS) else f"board {board}",
            version=str(said["version"]),
            protocol=number_in(said, "protocol"),
            digest=number_in(said, "digest"),
            tick_hz=number_in(said, "tick_hz"),
            overhead_ticks=number_in(said, "overhead_ticks"),
            max_rate=number_in(said, "max_rate"),
            queue_slots=number_in(said, "queue_slots"),
        )
        if greeting.protocol != messages.PROTOCOL or greeting.tick_hz != units.TICK_HZ:
            raise Mismatch(
                f"the board speaks protocol {greeting.protocol} at {greeting.tick_hz} ticks/s; "
                f"this host speaks {messages.PROTOCOL} at {units.TICK_HZ}",
                hint=FLASH_HINT,
            )
        self.greeting = greeting
        return greeting

    def unique_id(self) -> str:
        """The serial number that tells this board from others, hexadecimal; empty where it has none.

        Only after the greeting of a board with this host's code: others may not know the question.
        """
        if self._unique is None:
            unique = self.talk.ask("identify", answers=("identity",))["unique"]
            self._unique = bytes(unique).hex() if isinstance(unique, bytes | bytearray | memoryview) else ""
        return self._unique

    def tell_rig(self) -> None:
        """Tell the board its rig. A board that has just started then raises the pen; no motor moves.

        Raises
        ------
        Refused : the board cannot work with these settings.
        """
        settings = board_settings(self.rig)
        # More than one message holds. Pins and pulses come first: a board refuses limits while it has no pins, and
        # until the rest has come it has no reach, so nothing can move.
        for of_pins in (True, False):
            pairs = tuple(
                (messages.SETTING_BY_NAME[name][1], value)
                for name, value in settings.items()
                if name.startswith(_OF_PINS) == of_pins
            )
            self.talk.ask("set", pairs=pairs)

    def settle(self) -> Standing:
        """Stop motion that an earlier host has left, pen up, and return what the board knows of it.

        Raises
        ------
        LinkError : it does not come to a stand.
        """
        talk = self.talk
        report = talk.fresh_report()
        powered = bool(report["flags"] & messages.FLAG_ENABLED)
        moves = report["state"] in (messages.DRAWING, messages.HOLDING)
        # An unhomed board with its motors on may be homing, which it reports by no state of its own.
        if moves or (report["state"] == messages.UNHOMED and powered):
            talk.inbox.clear()
            talk.ask("abandon")
            limit_s = SETTLE_S if moves else HOMING_STOP_S
            stopped = talk.wait(lambda: ("event", messages.STOPPED) in _codes(talk.inbox), limit_s)
            if moves and not stopped:
                raise LinkError(f"the board has not come to a stand within {SETTLE_S:g} s", hint="reset the board")
        elif report["state"] == messages.FAULTED and report["flags"] & messages.FLAG_TRUSTED:
            talk.ask("abandon")
        report = talk.fresh_report()
        kept = report["flags"] & messages.FLAG_TRUSTED and report["flags"] & messages.FLAG_ENABLED
        return Standing(report["program"], report["records_done"], (report["a"], report["b"]), bool(kept))

    def home(self) -> dict[str, int]:
        """Home every axis that has an endstop; returns passes, spread and drift (steps) per axis.

        Without endstops the present position becomes the park position, which is where the user has put the pen.

        Raises
        ------
        BoardFault : homing failed; the fault says how.
        """
        self.settle()
        axes = self._axes_with_switches()
        if axes != 3:
            a, b = self.rig.steps_at(self.rig.park.position_mm)
            self.talk.ask("origin", a=a, b=b)
        return self._home(axes, lambda: None) if axes else {}

    def check_drift(self, moment: str, meanwhile: Callable[[], None] = lambda: None) -> Drift:
        """Home again the axes that have endstops, and say how far the count of steps was off.

        Parameters
        ----------
        moment : of `linewright.board.drift.MOMENTS`; stands in what is returned.
        meanwhile : called at every turn.

        Raises
        ------
        LinkError : the board does not know where the pen is, so there is nothing to compare.
        BoardFault : homing failed; the fault says how.
        """
        if not self.talk.fresh_report()["flags"] & messages.FLAG_TRUSTED:
            raise LinkError("the board does not know where the pen is, so drift cannot be told", hint="home it first")
        return Drift.found(moment, self._home(self._axes_with_switches(), meanwhile), self.rig)

    def _axes_with_switches(self) -> int:
        return sum(1 << i for i, axis in enumerate((self.rig.x, self.rig.y)) if axis.endstop != "none")

    def _home(self, axes: int, meanwhile: Callable[[], None]) -> dict[str, int]:
        limit_s = homing_limit_s(self.rig)
        try:
            said = self.talk.ask("home", axes=axes, answers=("homed",), limit_s=limit_s, meanwhile=meanwhile)
        except (KeyboardInterrupt, NoAnswer):
            self.stop()
            raise
        return {name: number_in(said, name) for name in said if name != "request"}

    def jog(self, to_mm: tuple[float, float]) -> None:
        """Move to a place by hand, pen up, straight and within the rig's limits.

        Parameters
        ----------
        to_mm : machine position x, y.

        Raises
        ------
        InputError : the place is out of the machine's reach.
        LinkError : the board does not know where the pen is, or is busy.
        BoardFault : the board stopped itself.
        """
        carriage = self.rig.shape.carriage_mm(np.array([to_mm], dtype=np.float64))[0]
        # The board's ends of travel are whole steps, rounded outward: homing may leave the pen up to a step outside.
        slack = REACH_SLACK_MM + self.rig.scale / self.rig.steps_per_mm
        for name, value, at, high, by in zip("xy", to_mm, carriage, self.rig.travel_mm, slack, strict=True):
            if not -by <= at <= high + by:
                raise InputError(
                    f"{name} = {value:g} mm is out of reach", hint=f"{name} goes from 0 to {high:g} mm on this rig"
                )
        self.step_to(self.rig.steps_at(to_mm))

    def use(self, rig: Rig) -> None:
        """Replace the rig description, and send it to the board if it has greeted.

        Raises
        ------
        Refused : the board cannot work with it.
        """
        self.rig = rig
        if self.greeting is not None:
            self.tell_rig()

    def enable(self, on: bool) -> None:
        """Power the motors, or free them to be moved by hand; where the carriage is, is lost then."""
        self.talk.ask("enable", on=int(on))

    def set_position(self, steps: tuple[int, int]) -> None:
        """Set the board's position to motor steps A and B. Nothing moves; the motors are powered.

        Raises
        ------
        LinkError : the board is busy.
        """
        self.talk.ask("origin", a=steps[0], b=steps[1])

    def step_to(self, steps: tuple[int, int]) -> None:
        """Move to a position of the motors, pen up, straight and within the rig's limits; otherwise like `jog`."""
        try:
            self.go_to(steps)
        except KeyboardInterrupt:
            self.stop()
            raise

    def pen(self, servo_us: int) -> None:
        """Set the pen's height as a servo pulse, and give it its time to get there.

        Raises
        ------
        InputError : no hobby servo takes such a pulse.
        LinkError : the board is asleep or busy.
        """
        if not SERVO_LOW_US <= servo_us <= SERVO_HIGH_US:
            raise InputError(
                f"a pen height of {servo_us} us is outside {SERVO_LOW_US}..{SERVO_HIGH_US} us",
                hint="hobby servos meet their stop beyond that, and stall",
            )
        self.talk.ask("pen", servo_us=servo_us)
        self.talk.wait(lambda: False, max(self.rig.pen.lift_ms, self.rig.pen.lower_ms) / units.MS_PER_S)

    def cut(self) -> None:
        """Motors off at once, pen up, whatever the board is doing and whichever code it carries.

        Raises
        ------
        NoAnswer : the board has not confirmed it; only the switch of the motors' supply is certain now.
        """
        try:
            self.talk.ask("cut", limit_s=STOP_S)
        except BoardFault as fault:
            if fault.name != messages.FAULTS[messages.MOTORS_CUT]:
                raise
        except NoAnswer as silence:
            raise NoAnswer(
                f"the board has not confirmed the cut within {STOP_S:g} s", hint="switch the motors' supply off"
            ) from silence

    def stop(self) -> None:
        """Stop whatever moves, in a controlled way; returns once the board has heard it, or after 2 s."""
        self.talk.send("abandon")
        self.talk.wait(lambda: not self.talk.endpoint.awaiting, STOP_S)

    def report(self) -> dict[str, int]:
        """The board's newest report; empty before the first."""
        return self.talk.report()

    def fresh_report(self) -> dict[str, int]:
        """A report that the board makes from now on."""
        return self.talk.fresh_report()

    def link_quality(self, rounds: int) -> LinkQuality:
        """Round-trip times and errors over that many requests."""
        return self.talk.quality(rounds)

    def play_rest(self, ticks: int) -> tuple[int, float]:
        """Let a ready board's player rest for so many ticks. Nothing moves.

        Returns
        -------
        (ticks played by the board's count, seconds that it took by this computer's clock)
        """
        report = self.talk.fresh_report()
        rest = packing.pack(kind=(REST, END), first=(ticks, 0), second=(0, 0), v_end=(0, 0))
        player = Player(self.talk, rest, (report["a"], report["b"]))
        begun_s = now_s()
        while not player.ended:
            player.turn(2)
        return player.played_ticks, now_s() - begun_s

    def go_to(
        self, target: tuple[int, int], meanwhile: Callable[[], None] = lambda: None, *, rig: Rig | None = None
    ) -> None:
        """Move from wherever the pen is to a motor position, pen up; ``meanwhile`` is called at every turn.

        ``rig`` is this session's with other limits, such as half of its speeds.
        """
        report = self.talk.fresh_report()
        here = (report["a"], report["b"])
        if here == target:
            return
        way = plan_travel(here, target, rig or self.rig)
        player = Player(self.talk, packing.pack(way.kind, way.da, way.db, way.v_end), here)
        while not player.ended:
            meanwhile()
            player.turn(len(way.kind))


def homing_limit_s(rig: Rig) -> float:
    """Longer than any homing of this rig: twice the time of its ways, both axes one after the other, and some slack."""
    homing = rig.homing
    approaches_s = (homing.passes + 1) * RELEASE_TRIES * homing.backoff_mm / homing.slow_mm_s
    searches_s = HOME_SEARCH * (rig.x.travel_mm + rig.y.travel_mm) / homing.fast_mm_s
    return HOMING_SLACK_S + 2 * (searches_s + 2 * approaches_s)


def _codes(inbox: deque[tuple[str, Fields]]) -> list[tuple[str, object]]:
    return [(name, fields.get("code")) for name, fields in inbox]
