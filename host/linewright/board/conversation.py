"""`Conversation`: requests and answers over a link to one board.

The endpoint (`linewire.endpoint`) delivers every message once and in order. This module moves its bytes, passes it the
time, and turns refusals and faults into errors. Everything that waits does so in turns, so user requests are handled at
any time. No other module of the host reads a clock for the link.
"""

from __future__ import annotations

import re
import secrets
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

from linewire import messages
from linewire.compat import TICKS_PERIOD, ticks_diff
from linewire.endpoint import Endpoint
from linewire.messages import FieldError
from linewright.errors import BoardFault, LinkError, Mismatch, NoAnswer, Refused

SILENCE_S: Final = 15.0
"""A board in use reports five times a second. A line may stall for ten seconds and recover; after this silence the
board counts as lost."""

LONGEST_TURN_S: Final = 1.0
"""A longer turn was not spent listening, because this process was stopped or the laptop slept. The board's messages of
that time are still unread."""

STUCK_S: Final = 10.0
"""Listening time after which a board that reports but makes no progress is given up. It reports ten times a second
while playing, and its longest pause, for a pen move, is 5 s."""

INBOX: Final = 1024
"""Most messages kept unread: a board sends few, and one that never stops must not fill memory."""

TURN_S: Final = 0.05
"""Longest wait for bytes per turn: short enough that progress and Ctrl-C seem immediate."""

READ_BYTES: Final = 4096

_PLAIN_WORDS: Final = re.compile(rb"linewright: ([ -~]{1,200})\r\n")
_PLAIN_BYTES: Final = 1024

Fields = dict[str, object]

_FAULT_HINTS: Final = {
    "endstop hit": "find what pressed the switch, free the carriage, then home again",
    "host lost": "the laptop or its cable was silent for too long; connect again",
    "motors cut": "home the machine before drawing again",
    "switch stuck": "the switch stays pressed: free it by hand (power off) and check its wiring",
    "switch missing": "the switch was never reached: check its wiring, the direction of the motor and travel_mm",
    "wrong switch": "the switch of the other axis was pressed: check which switch and motor belong to each axis",
    "bad records": "this is a bug in Linewright: please report it, with the picture and the rig file",
    "player broke off": "the board could not keep up during a motion: home again, and please report it",
    "watchdog": "the board's code hung and the watchdog restarted it: home again, and please report it",
    "not homed": "home the machine first: `linewright board home`",
    "motor power lost": "find out why the motor supply failed, free the carriage, switch the supply on, then home",
    "beyond limits": "plan the picture again with this machine's own rig file",
}

_NO_SENSE: Final = "reset the board, and install this version's code with `linewright board flash`"

_STATE_HINTS: Final = {
    "asleep": "send it the rig's settings first: `linewright board check` does this",
    "unhomed": "home the machine first: `linewright board home`",
    "drawing": "wait until the drawing ends, or stop it",
    "holding": "continue the drawing, or abandon it; `linewright board home` also abandons it",
    "faulted": "clear the fault that `linewright board info` shows, then home: `linewright board home`",
}


class Link(Protocol):
    """What a conversation needs of a transport."""

    def read(self, most: int, timeout_s: float) -> bytes:
        """Read at most ``most`` bytes; waits up to ``timeout_s`` for the first."""

    def write(self, data: bytes) -> None:
        """Send all of ``data``."""


@dataclass(frozen=True)
class LinkQuality:
    """Measured quality of a link.

    Parameters
    ----------
    round_trips_s : time from each request to its answer.
    retransmitted, damaged : frames during the measurement.
    """

    round_trips_s: tuple[float, ...]
    retransmitted: int
    damaged: int


class Conversation:
    """Requests and answers over one link.

    Parameters
    ----------
    link : an open transport.

    Attributes
    ----------
    endpoint : this end of the link, for its counters.
    inbox : unread messages that no request was waiting for.
    on_turn : called at every turn; an exception from it ends the operation, while the board continues.
    """

    def __init__(self, link: Link) -> None:
        self.on_turn: Callable[[], None] = lambda: None
        self._link = link
        self._silent_s = 0.0  # listening time since the last valid frame
        self._heard_us = -1
        self._plain = bytearray()  # bytes before the first frame, perhaps plain text
        self.endpoint = Endpoint(1 + secrets.randbelow(65535), host=True, now_us=_now_us())
        self.inbox: deque[tuple[str, Fields]] = deque(maxlen=INBOX)

    def report(self) -> dict[str, int]:
        """The board's newest report; empty before the first."""
        if not self.endpoint.reports:
            return {}
        try:
            return messages.read_report(self.endpoint.peer_report)
        except FieldError as error:
            raise LinkError(f"the board's report is invalid: {error}", hint=_NO_SENSE) from error

    def fresh_report(self) -> dict[str, int]:
        """The next report of the board; waits for it."""
        self.ask("ask")
        seen = self.endpoint.reports
        if not self.wait(lambda: self.endpoint.reports != seen, SILENCE_S):
            raise NoAnswer(f"the board has not reported within {SILENCE_S:g} s", hint="check cable and power")
        return self.report()

    def quality(self, rounds: int) -> LinkQuality:
        """Time this many requests, one after the other."""
        endpoint = self.endpoint
        before = (endpoint.retransmitted, endpoint.damaged)
        trips_s = []
        for _ in range(rounds):
            asked_s = now_s()
            self.ask("ask")
            trips_s.append(now_s() - asked_s)
        return LinkQuality(tuple(trips_s), endpoint.retransmitted - before[0], endpoint.damaged - before[1])

    def turn(self, wait_s: float = TURN_S) -> None:
        """Send what is due, wait for bytes, process what arrived.

        Raises
        ------
        LinkError : the board restarted, or has been silent for too long.
        BoardFault : the board reports a fault.
        """
        self.on_turn()
        endpoint = self.endpoint
        begun_s = now_s()
        now_us = _now_us()
        if data := endpoint.to_send(now_us):
            self._link.write(data)
        deadline_us = endpoint.next_deadline_us()
        if deadline_us is not None:
            wait_s = min(wait_s, max(_until_s(now_us, deadline_us), 0.0))
        data = self._link.read(READ_BYTES, wait_s)
        if data:
            if not endpoint.linked:
                self._detect_plain_text(data)
            endpoint.receive(data, _now_us())
            while message := endpoint.next_message():
                self._take(message[0], message[2])
            if reply := endpoint.to_send(_now_us()):
                self._link.write(reply)
        if endpoint.parted:
            raise LinkError(
                "the board restarted during the connection",
                hint="check its power supply; then home and draw again",
            )
        if endpoint.heard_us != self._heard_us:
            self._heard_us, self._silent_s = endpoint.heard_us, 0.0
        else:
            self._silent_s += _listened_s(begun_s)
        if endpoint.linked and self._silent_s > SILENCE_S:
            raise LinkError(
                f"the board has said nothing for {SILENCE_S:g} s",
                hint="check cable and power; the board stops by itself, with the pen up",
            )

    def _detect_plain_text(self, data: bytes) -> None:
        """Raise if a board without our code answers in plain text instead of frames (`device/main.py`)."""
        self._plain += data
        del self._plain[:-_PLAIN_BYTES]
        if found := _PLAIN_WORDS.search(self._plain):
            words = found[1].decode("ascii", "replace")
            raise NoAnswer(f"the board says: {words}", hint="install the code with `linewright board flash`")

    def _no_answer(self, name: str, limit_s: float) -> NoAnswer:
        if self.endpoint.linked:
            return NoAnswer(f"the board did not answer '{name}' within {limit_s:g} s", hint="check cable and power")
        if b">>> " in self._plain:
            return NoAnswer(
                "the board is at MicroPython's prompt",
                hint="install the code with `linewright board flash`; if it is installed already, reset the board",
            )
        return NoAnswer(
            f"no board answered within {limit_s:g} s",
            hint="check port and cable; on a new board, install the code with `linewright board flash`",
        )

    def _take(self, number: int, payload: bytes) -> None:
        try:
            name, fields = messages.decode(number, payload)
        except FieldError as error:
            raise LinkError(f"the board sent an invalid message: {error}", hint=_NO_SENSE) from error
        if name == "fault":
            code = number_in(fields, "code")
            fault = messages.FAULTS[code] if code < len(messages.FAULTS) else f"fault {code}"
            # A host that was silent during a drawing needs no error: the board held and continues. It has abandoned a
            # homing, though.
            report = self.report()
            if code != messages.HOST_LOST or report.get("state") == messages.UNHOMED:
                trusted = bool(report.get("flags", 0) & messages.FLAG_TRUSTED)
                raise BoardFault(fault, position_trusted=trusted, hint=_FAULT_HINTS.get(fault, ""))
            return
        self.inbox.append((name, fields))

    def wait(self, until: Callable[[], bool], limit_s: float) -> bool:
        """Take turns until a condition is true; False after ``limit_s`` of listening."""
        while not until():
            if limit_s < 0:
                return False
            begun_s = now_s()
            self.turn()
            limit_s -= _listened_s(begun_s)
        return True

    def send(self, name: str, **fields: object) -> int:
        """Send a message and return its number, without waiting for an answer. Waits for room in the window.

        Raises
        ------
        LinkError : the board reports, but has accepted nothing for `STUCK_S`.
        """
        if not self.wait(lambda: bool(self.endpoint.can_send), STUCK_S):
            raise stuck("takes no requests")
        sequence: int = self.endpoint.send(messages.message_id(name), messages.encode(name, **fields))
        return sequence

    def ask(
        self,
        name: str,
        *,
        answers: tuple[str, ...] = ("done",),
        limit_s: float = SILENCE_S,
        meanwhile: Callable[[], None] = lambda: None,
        **fields: object,
    ) -> Fields:
        """Send a request and wait for one of the named answers; ``meanwhile`` is called at every turn.

        Raises
        ------
        NoAnswer : no answer within ``limit_s``.
        Refused, Mismatch, LinkError : the board refused.
        """
        request = self.send(name, **fields)
        found: list[Fields] = []

        def answered() -> bool:
            found.extend(self._answers(request, answers))
            if not found:
                meanwhile()
            return bool(found)

        if not self.wait(answered, limit_s):
            raise self._no_answer(name, limit_s)
        return found[0]

    def _answers(self, request: int, names: tuple[str, ...]) -> list[Fields]:
        """Remove the answers to a request from the inbox; a refusal is raised as an error."""
        found = []
        for message in list(self.inbox):
            name, fields = message
            if name in (*names, "refusal") and fields.get("request", request) == request:
                self.inbox.remove(message)
                if name == "refusal":
                    raise refused(fields)
                found.append(fields)
        return found


def refused(fields: Fields) -> LinkError:
    """The error for a refusal."""
    number = number_in(fields, "message")
    field = number_in(fields, "field")
    value, low, high = (number_in(fields, key) for key in ("value", "low", "high"))
    request = messages.message_name(number)
    reason = messages.REASONS[min(number_in(fields, "reason"), len(messages.REASONS) - 1)]
    if reason == "other version":
        return Mismatch(
            f"the board has other code or another protocol version ({request}: it has {low:#x}, this host {value:#x})",
            hint="install this version's code with `linewright board flash`",
        )
    if reason == "wrong state":
        state = messages.STATES[value] if 0 <= value < len(messages.STATES) else str(value)
        return LinkError(f"the board refused '{request}' because it is {state}", hint=_STATE_HINTS.get(state, ""))
    if reason == "no motor power":
        return LinkError(
            f"the board refused '{request}' because the motors have no power",
            hint="switch the motors' supply on; if it is on, check its fuse and the wire to pins.motor_power",
        )
    if reason == "out of range":
        return Refused(request, messages.field_name(number, field), value, low, high)
    return LinkError(
        f"the board refused '{request}': {reason} "
        f"({messages.field_name(number, field)} = {value}, expected {low}..{high})"
    )


def stuck(how: str) -> LinkError:
    """The error for a board that reports but makes no progress."""
    return LinkError(
        f"the board answers, but {how} for {STUCK_S:g} s",
        hint="reset the board; switching off the motor supply always stops the machine",
    )


def number_in(fields: Fields, name: str) -> int:
    """An integer field of a message."""
    value = fields[name]
    if not isinstance(value, int):
        raise TypeError(f"{name} is not a number")
    return value


def now_s() -> float:
    """Monotonic clock, seconds."""
    return time.monotonic()


def _listened_s(begun_s: float) -> float:
    """Listening time of a turn that began at ``begun_s``."""
    return min(now_s() - begun_s, LONGEST_TURN_S)


def _now_us() -> int:
    return time.monotonic_ns() // 1000 % TICKS_PERIOD


def _until_s(now_us: int, deadline_us: int) -> float:
    return ticks_diff(deadline_us, now_us) / 1e6
