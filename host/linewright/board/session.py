"""`Session`: operations on a board: greeting, settings, homing, moves by hand, pen, stops.

`conversation` exchanges the messages; this module sends the right ones in the right order.
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
"""Time limit of the greeting: a running board answers within milliseconds, one that starts or wakes up within three
seconds."""

HOMING_SLACK_S: Final = 60.0
"""Time of homing beyond its moves: pauses at switches, a busy link."""

STOP_S: Final = 2.0
"""Time limit of a stop: a lost request is retransmitted within it; a board that has not answered by then is
unreachable."""

HOMING_STOP_S: Final = 1.0
"""Homing is slow enough to stop within its switches' overtravel, a few millimetres."""

SETTLE_S: Final = 10.0
"""Time limit until standstill: a stop from 500 mm/s at 100 mm/s2 takes 5 s, and the servo up to two."""

FLASH_HINT: Final = "put this version's code on the board with `linewright board flash`"

_OF_PINS: Final = ("pin_", "pen_", "servo_", "step_", "direction_", "contact_", "reversed_", "max_", "rate_", "motor_")
"""Prefixes of the settings that pins and their outputs depend on."""


class Session:
    """Operations on one board.

    Parameters
    ----------
    link : an open transport.
    rig : the machine that the board drives.

    Attributes
    ----------
    talk : the conversation over that link.
    greeting : the board's greeting; None before `hello`.
    """

    def __init__(self, link: Link, rig: Rig) -> None:
        self.link = link
        self.talk = Conversation(link)
        self.rig = rig
        self.greeting: Greeting | None = None
        self._unique: str | None = None

    def greet(self) -> Greeting:
        """Open the link, check that board and host have the same code, and send the rig's settings.

        Raises
        ------
        NoAnswer : no board answers on this port.
        Mismatch : the board runs another version.
        Refused : the board cannot use this rig's settings.
        """
        greeting = self.hello()
        if not greeting.same_code:
            raise Mismatch(
                f"the board's code ({greeting.digest:08x}) does not match this host's ({board_files.digest():08x})",
                hint=FLASH_HINT,
            )
        self.tell_rig()
        return greeting

    def hello(self, limit_s: float = GREETING_S) -> Greeting:
        """Open the link and return the board's greeting, whatever code it runs. Changes nothing.

        Parameters
        ----------
        limit_s : time limit.

        Raises
        ------
        NoAnswer : no board answers on this port.
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
        """The board's serial number, hexadecimal; empty if it has none.

        Only for a board with this host's code, after its greeting: others may not know the request.
        """
        if self._unique is None:
            unique = self.talk.ask("identify", answers=("identity",))["unique"]
            self._unique = bytes(unique).hex() if isinstance(unique, bytes | bytearray | memoryview) else ""
        return self._unique

    def tell_rig(self) -> None:
        """Send the rig's settings. A board that has just started then raises the pen; no motor moves.

        Raises
        ------
        Refused : the board cannot use these settings.
        """
        settings = board_settings(self.rig)
        # The settings need several messages. Pins and pulses are sent first, because a board without pins refuses
        # limits; until the rest has arrived it has no travel, so nothing can move.
        for of_pins in (True, False):
            pairs = tuple(
                (messages.SETTING_BY_NAME[name][1], value)
                for name, value in settings.items()
                if name.startswith(_OF_PINS) == of_pins
            )
            self.talk.ask("set", pairs=pairs)

    def settle(self) -> Standing:
        """Stop any motion left by an earlier host, raise the pen, and return what the board reports about it.

        Raises
        ------
        LinkError : the machine does not stop.
        """
        talk = self.talk
        report = talk.fresh_report()
        powered = bool(report["flags"] & messages.FLAG_ENABLED)
        moves = report["state"] in (messages.DRAWING, messages.HOLDING)
        # An unhomed board with motors on may be homing, for which it has no state.
        if moves or (report["state"] == messages.UNHOMED and powered):
            talk.inbox.clear()
            talk.ask("abandon")
            limit_s = SETTLE_S if moves else HOMING_STOP_S
            stopped = talk.wait(lambda: ("event", messages.STOPPED) in _codes(talk.inbox), limit_s)
            if moves and not stopped:
                raise LinkError(f"the machine has not come to rest within {SETTLE_S:g} s", hint="reset the board")
        elif report["state"] == messages.FAULTED and report["flags"] & messages.FLAG_TRUSTED:
            talk.ask("abandon")
        report = talk.fresh_report()
        kept = report["flags"] & messages.FLAG_TRUSTED and report["flags"] & messages.FLAG_ENABLED
        return Standing(report["program"], report["records_done"], (report["a"], report["b"]), bool(kept))

    def home(self) -> dict[str, int]:
        """Home all axes with endstops; returns passes, spread and drift (steps) per axis.

        Without endstops the present position becomes the park position, where the user has put the pen.

        Raises
        ------
        BoardFault : homing failed.
        """
        self.settle()
        axes = self._axes_with_switches()
        if axes != 3:
            a, b = self.rig.steps_at(self.rig.park.position_mm)
            self.talk.ask("origin", a=a, b=b)
        return self._home(axes, lambda: None) if axes else {}

    def check_drift(self, moment: str, meanwhile: Callable[[], None] = lambda: None) -> Drift:
        """Home the axes with endstops again and return the error of the counted position.

        Parameters
        ----------
        moment : one of `linewright.board.drift.MOMENTS`, copied to the result.
        meanwhile : called at every turn.

        Raises
        ------
        LinkError : the board does not know its position, so there is nothing to compare.
        BoardFault : homing failed.
        """
        if not self.talk.fresh_report()["flags"] & messages.FLAG_TRUSTED:
            raise LinkError(
                "the board does not know where the pen is, so drift cannot be measured", hint="home it first"
            )
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
        """Jog: move to a position with the pen up, straight and within the rig's limits.

        Parameters
        ----------
        to_mm : machine position x, y.

        Raises
        ------
        InputError : the position is out of reach.
        LinkError : the board does not know its position, or is busy.
        BoardFault : the board stopped itself.
        """
        carriage = self.rig.shape.carriage_mm(np.array([to_mm], dtype=np.float64))[0]
        # The board's travel limits are whole steps, rounded outward, so homing may leave the pen up to a step outside.
        slack = REACH_SLACK_MM + self.rig.scale / self.rig.steps_per_mm
        for name, value, at, high, by in zip("xy", to_mm, carriage, self.rig.travel_mm, slack, strict=True):
            if not -by <= at <= high + by:
                raise InputError(
                    f"{name} = {value:g} mm is out of reach", hint=f"{name} goes from 0 to {high:g} mm on this rig"
                )
        self.step_to(self.rig.steps_at(to_mm))

    def use(self, rig: Rig) -> None:
        """Replace the rig, and send its settings if the board has greeted.

        Raises
        ------
        Refused : the board cannot use its settings.
        """
        self.rig = rig
        if self.greeting is not None:
            self.tell_rig()

    def enable(self, on: bool) -> None:
        """Switch the motors on, or off so that they can be moved by hand; switching off loses the position."""
        self.talk.ask("enable", on=int(on))

    def set_position(self, steps: tuple[int, int]) -> None:
        """Set the board's position to motor steps A and B. Nothing moves; the motors are switched on.

        Raises
        ------
        LinkError : the board is busy.
        """
        self.talk.ask("origin", a=steps[0], b=steps[1])

    def step_to(self, steps: tuple[int, int]) -> None:
        """Move to a motor position with the pen up; otherwise like `jog`."""
        try:
            self.go_to(steps)
        except KeyboardInterrupt:
            self.stop()
            raise

    def pen(self, servo_us: int) -> None:
        """Set the servo's pulse, and wait until the pen is there.

        Raises
        ------
        InputError : the pulse is outside a hobby servo's range.
        LinkError : the board has no settings yet, or is busy.
        """
        if not SERVO_LOW_US <= servo_us <= SERVO_HIGH_US:
            raise InputError(
                f"a pen height of {servo_us} us is outside {SERVO_LOW_US}..{SERVO_HIGH_US} us",
                hint="beyond this range hobby servos meet their stop and stall",
            )
        self.talk.ask("pen", servo_us=servo_us)
        self.talk.wait(lambda: False, max(self.rig.pen.lift_ms, self.rig.pen.lower_ms) / units.MS_PER_S)

    def cut(self) -> None:
        """Switch the motors off at once and raise the pen, in any state and with any version of the board's code.

        Raises
        ------
        NoAnswer : the board has not confirmed; only the switch of the motor supply is safe now.
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
        """Stop any motion with a controlled deceleration; returns when the board has acknowledged, or after 2 s."""
        self.talk.send("abandon")
        self.talk.wait(lambda: not self.talk.endpoint.awaiting, STOP_S)

    def report(self) -> dict[str, int]:
        """The board's newest report; empty before the first."""
        return self.talk.report()

    def fresh_report(self) -> dict[str, int]:
        """The next report of the board; waits for it."""
        return self.talk.fresh_report()

    def link_quality(self, rounds: int) -> LinkQuality:
        """Round-trip times and errors over that many requests."""
        return self.talk.quality(rounds)

    def play_rest(self, ticks: int) -> tuple[int, float]:
        """Play a rest of this many ticks. Nothing moves.

        Returns
        -------
        (ticks played by the board's count, seconds by this computer's clock)
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
        """Move to a motor position with the pen up; ``meanwhile`` is called at every turn.

        ``rig`` is this session's with other limits, such as half its speeds.
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
    """Time limit of homing: twice the time of its moves, one axis after the other, plus a reserve."""
    homing = rig.homing
    approaches_s = (homing.passes + 1) * RELEASE_TRIES * homing.backoff_mm / homing.slow_mm_s
    searches_s = HOME_SEARCH * (rig.x.travel_mm + rig.y.travel_mm) / homing.fast_mm_s
    return HOMING_SLACK_S + 2 * (searches_s + 2 * approaches_s)


def _codes(inbox: deque[tuple[str, Fields]]) -> list[tuple[str, object]]:
    return [(name, fields.get("code")) for name, fields in inbox]
