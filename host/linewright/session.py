"""`Session`: one conversation with a board, from greeting to the finished drawing.

The endpoint (`linewire.endpoint`) sees to it that every message arrives once and in order; this module says the
messages and follows what the pen does. It has one loop, `_turn`: send what is due, wait for bytes, take in what came.
Everything that waits, waits by taking turns, so requests of the user get through at any time.
"""

from __future__ import annotations

import secrets
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from linewire import messages
from linewire.compat import TICKS_PERIOD, ticks_diff
from linewire.endpoint import Endpoint
from linewire.messages import FieldError
from linewright import board_files, units, wirepack
from linewright.drawing import Pen
from linewright.errors import BoardFault, LinkError, Mismatch, NoAnswer, Refused
from linewright.motion.travel import plan_travel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linewright.program import Program
    from linewright.rig import Rig

GREETING_S: Final = 5.0
"""A board answers within milliseconds; one that is just starting, or was asleep on USB, within two or three seconds."""

SILENCE_S: Final = 10.0
"""Twice the longest that a board keeps silent on a link in use (its own limit for the host is 5 s by default)."""

HOMING_S: Final = 600.0
"""The slowest sensible homing (5 m at 10 mm/s, there and back) stays below it."""

STOP_S: Final = 2.0
"""A request that is lost is sent again within this time; a board that has not heard it by then hears nothing."""

TURN_S: Final = 0.05
"""How long one turn waits for bytes: short enough that progress and Ctrl-C seem immediate."""

READ_BYTES: Final = 4096

FULL_PACE: Final = 256

_FAULT_HINTS: Final = {
    "endstop hit": "look what pressed the switch, free the carriage, then home again",
    "host lost": "the laptop or its cable was silent for too long; connect again",
    "motors cut": "home the machine before drawing again",
    "switch stuck": "the switch stays pressed: free it by hand (power off) and check its wiring",
    "switch missing": "the switch was never reached: check its wiring, the direction of the motor and travel_mm",
    "wrong switch": "another axis' switch was pressed: check which switch and which motor belong to which axis",
    "bad records": "this is a bug in Linewright: please report it, with the picture and the rig file",
    "beyond limits": "plan the picture again with the rig file that this machine really has",
}


class Link(Protocol):
    """What a session needs of a transport."""

    def read(self, most: int, timeout_s: float) -> bytes:
        """Bytes that have come, at most ``most``; waits up to ``timeout_s`` for the first."""

    def write(self, data: bytes) -> None:
        """Send all of ``data``."""


@dataclass(frozen=True)
class Greeting:
    """What the board said of itself."""

    board: str
    version: str
    protocol: int
    digest: int
    tick_hz: int
    overhead_ticks: int
    max_rate: int
    queue_slots: int


@dataclass(frozen=True)
class Progress:
    """Where a drawing stands.

    Parameters
    ----------
    state : state of the board, or "pen" while it waits for another pen.
    records_done, records : finished by the pen, and in all.
    stroke, strokes : strokes begun or finished, and in all.
    played_s, predicted_s : playing time so far (waits do not count), and of the whole program.
    pace : 0..1, as it is now.
    pen : the pen that is in use, or asked for.
    """

    state: str
    records_done: int
    records: int
    stroke: int
    strokes: int
    played_s: float
    predicted_s: float
    pace: float
    pen: Pen

    @property
    def left_s(self) -> float:
        """Playing time left at full pace, seconds."""
        return max(self.predicted_s - self.played_s, 0.0)


@dataclass(frozen=True)
class DrawResult:
    """How a drawing went.

    Parameters
    ----------
    finished : the end was reached; False when the user abandoned it.
    played_ticks, predicted_ticks : playing time by the board's own count, and as planned.
    final_steps, expected_steps : motor position at the end by the board's count, and as planned.
    records_done, records : finished by the pen, and in all.
    retransmitted_frames, damaged_frames : of both directions as far as this end sees.
    frames_sent, bytes_sent : everything this end put on the wire while drawing.
    starved : times the pen had to wait in mid-stroke because the link was too slow.
    underruns : times the pulse player ran dry in motion; anything but 0 is a bug.
    """

    finished: bool
    played_ticks: int
    predicted_ticks: int
    final_steps: tuple[int, int]
    expected_steps: tuple[int, int]
    records_done: int
    records: int
    retransmitted_frames: int
    damaged_frames: int
    frames_sent: int
    bytes_sent: int
    starved: int
    underruns: int

    @property
    def final_position_error_steps(self) -> int:
        """Largest difference of a motor's final position from the plan."""
        return max(abs(a - b) for a, b in zip(self.final_steps, self.expected_steps, strict=True))


class Control:
    """What the user asks for while a drawing runs. Every method may be called from any thread or signal handler."""

    def __init__(self) -> None:
        self._asked: deque[tuple[str, int]] = deque()

    def hold(self) -> None:
        """Stop smoothly, pen up, and wait."""
        self._asked.append(("pace", 0))

    def carry_on(self) -> None:
        """Go on at full pace."""
        self._asked.append(("pace", FULL_PACE))

    def slow_to(self, share: float) -> None:
        """Go on at this share (above 0, up to 1) of the planned speed."""
        if not 0.0 < share <= 1.0:
            raise ValueError(f"pace {share} is outside 0..1; to stop, hold")
        self._asked.append(("pace", max(1, round(share * FULL_PACE))))

    def pen_changed(self) -> None:
        """The pen that was asked for is in its holder."""
        self._asked.append(("pen", 0))

    def abandon(self) -> None:
        """Controlled stop, pen up, and leave the rest undrawn."""
        self._asked.append(("abandon", 0))

    def cut(self) -> None:
        """Motors off at once; the position is lost."""
        self._asked.append(("cut", 0))

    def take(self) -> tuple[str, int] | None:
        """Next request as (name, value), or None."""
        return self._asked.popleft() if self._asked else None


class Session:
    """A conversation with one board.

    Parameters
    ----------
    link : an open transport.
    rig : the machine that the board drives.
    """

    def __init__(self, link: Link, rig: Rig) -> None:
        self._link = link
        self._rig = rig
        self._endpoint = Endpoint(1 + secrets.randbelow(65535), host=True, now_us=_now_us())
        self._heard_s = time.monotonic()
        self._inbox: deque[tuple[str, dict[str, object]]] = deque()
        self.greeting: Greeting | None = None

    # The conversation, step by step.

    def greet(self) -> Greeting:
        """Open the link, make sure that board and host carry the same code, and tell the board its rig.

        Raises
        ------
        NoAnswer : nobody speaks our protocol on this port.
        Mismatch : the board carries another version.
        Refused : the board cannot work with this rig's settings.
        """
        digest = board_files.digest()
        request = self._send("hello", protocol=messages.PROTOCOL, digest=digest)
        deadline_s = time.monotonic() + GREETING_S
        while not (answer := self._answer(request, ("greeting",))):
            if time.monotonic() > deadline_s:
                raise NoAnswer(
                    f"no board answered within {GREETING_S:g} s",
                    hint="check port and cable, and that Linewright's board code is installed on the board",
                )
            self._turn()
        said = answer[1]
        board = _number(said, "board")
        greeting = Greeting(
            board=messages.BOARDS[board] if board < len(messages.BOARDS) else f"board {board}",
            version=str(said["version"]),
            protocol=_number(said, "protocol"),
            digest=_number(said, "digest"),
            tick_hz=_number(said, "tick_hz"),
            overhead_ticks=_number(said, "overhead_ticks"),
            max_rate=_number(said, "max_rate"),
            queue_slots=_number(said, "queue_slots"),
        )
        if greeting.protocol != messages.PROTOCOL or greeting.tick_hz != units.TICK_HZ:
            raise Mismatch(
                f"the board speaks protocol {greeting.protocol} at {greeting.tick_hz} ticks/s; "
                f"this host speaks {messages.PROTOCOL} at {units.TICK_HZ}",
                hint="put the board code that belongs to this version of Linewright on the board",
            )
        if greeting.digest != digest:
            raise Mismatch(
                f"the board's code ({greeting.digest:08x}) is not the one that belongs to this host ({digest:08x})",
                hint="put the board code that belongs to this version of Linewright on the board",
            )
        settings = self._rig.settings()
        pairs = tuple((messages.SETTING_BY_NAME[name][1], value) for name, value in settings.items())
        self._ask("set", pairs=pairs)
        self.greeting = greeting
        return greeting

    def home(self) -> dict[str, int]:
        """Home every axis that has an endstop; returns passes and spread (steps) per axis.

        Without endstops the present position becomes the park position, which is where the user has put the pen.

        Raises
        ------
        BoardFault : homing failed; the fault says how.
        """
        axes = sum(1 << i for i, axis in enumerate((self._rig.x, self._rig.y)) if axis.endstop != "none")
        if axes != 3:
            park = np.rint(self._rig.kinematics_matrix @ np.asarray(self._rig.park.position_mm))
            self._ask("origin", a=int(park[0]), b=int(park[1]))
        if not axes:
            return {}
        try:
            said = self._ask("home", axes=axes, answers=("homed",), timeout_s=HOMING_S)
        except KeyboardInterrupt:
            self.stop()
            raise
        return {name: _number(said, name) for name in said if name != "request"}

    def draw(
        self,
        program: Program,
        *,
        on_progress: Callable[[Progress], None] = lambda _: None,
        control: Control | None = None,
        ask_for_pens: bool = False,
    ) -> DrawResult:
        """Draw a program: go to where it starts, play it, follow it to its end.

        Parameters
        ----------
        program : planned for this session's rig.
        on_progress : called at every turn, about 20 times a second; must not block for long.
        control : the user's requests.
        ask_for_pens : stop between pens, and wait for `Control.pen_changed`.

        Raises
        ------
        ProgramError : the program is for another rig.
        BoardFault : the board stopped itself.
        LinkError : the link was lost, or the board restarted.
        """
        program.check_rig(self._rig)
        self._go_to(program.start_steps)
        return self._play(program, on_progress, control or Control(), ask_for_pens)

    def stop(self) -> None:
        """Stop whatever moves, in a controlled way; returns once the board has heard it, or after 2 s."""
        self._send_when_possible("abandon")
        deadline_s = time.monotonic() + STOP_S
        while self._endpoint.awaiting and time.monotonic() < deadline_s:
            self._turn()

    def report(self) -> dict[str, int]:
        """The board's newest report; empty before the first."""
        if not self._endpoint.reports:
            return {}
        return messages.read_report(self._endpoint.peer_report)

    # Playing.

    def _go_to(self, target: tuple[int, int]) -> None:
        """Move from wherever the pen is to a program's start, pen up, within the rig's limits."""
        self._fresh_report()
        report = self.report()
        here = (report["a"], report["b"])
        if here == target:
            return
        way = plan_travel(here, target, self._rig)
        player = _Player(self, wirepack.pack(way.kind, way.da, way.db, way.v_end), here)
        while not player.ended:
            player.feed(len(way.kind))
            self._turn()
            player.watch()

    def _play(
        self, program: Program, on_progress: Callable[[Progress], None], control: Control, ask_for_pens: bool
    ) -> DrawResult:
        endpoint = self._endpoint
        before = (endpoint.retransmitted, endpoint.damaged, endpoint.frames_sent, endpoint.bytes_sent)
        player = _Player(self, wirepack.pack_program(program), program.start_steps)
        begun = np.concatenate(([0], np.maximum.accumulate(program.stroke_of_record) + 1))
        group = 0
        while not player.ended:
            while asked := control.take():
                name, value = asked
                if name == "pen":
                    group += player.done(program.groups[group].records[1]) and group + 1 < len(program.groups)
                else:
                    self._send_when_possible(name, **({"value": value} if name == "pace" else {}))
            fence = program.groups[group].records[1] if ask_for_pens else len(program)
            player.feed(fence)
            self._turn()
            player.watch()
            waits = fence < len(program) and player.done(fence)
            on_progress(self._progress(program, begun, waits))
        report = self.report()
        return DrawResult(
            finished=player.finished,
            played_ticks=report["played_s"] * units.TICK_HZ + report["played_ticks"],
            predicted_ticks=program.predicted_ticks,
            final_steps=(report["a"], report["b"]),
            expected_steps=program.end_steps,
            records_done=report["records_done"],
            records=len(program),
            retransmitted_frames=endpoint.retransmitted - before[0],
            damaged_frames=endpoint.damaged - before[1],
            frames_sent=endpoint.frames_sent - before[2],
            bytes_sent=endpoint.bytes_sent - before[3],
            starved=report["starved"],
            underruns=report["underruns"],
        )

    def _progress(self, program: Program, begun: NDArray[np.int64], waits: bool) -> Progress:
        report = self.report()
        done = report["records_done"]
        group = next((g for g in program.groups if done < g.records[1]), program.groups[-1])
        return Progress(
            state="pen" if waits else messages.STATES[report["state"]],
            records_done=done,
            records=len(program),
            stroke=int(begun[done]),
            strokes=len(program.drawing),
            played_s=report["played_s"] + units.ticks_to_s(report["played_ticks"]),
            predicted_s=program.predicted_s,
            pace=report["pace"] / FULL_PACE,
            pen=program.drawing.pens[group.pen],
        )

    # Talking.

    def _turn(self, wait_s: float = TURN_S) -> None:
        """Send what is due, wait for bytes, take in what came.

        Raises
        ------
        LinkError : the board restarted, or has been silent for too long.
        BoardFault : the board reports a fault.
        """
        endpoint = self._endpoint
        now_us = _now_us()
        if data := endpoint.to_send(now_us):
            self._link.write(data)
        deadline_us = endpoint.next_deadline_us()
        if deadline_us is not None:
            wait_s = min(wait_s, max(_until_s(now_us, deadline_us), 0.0))
        data = self._link.read(READ_BYTES, wait_s)
        if data:
            endpoint.receive(data, _now_us())
            while message := endpoint.next_message():
                self._take(message[0], message[2])
            if reply := endpoint.to_send(_now_us()):
                self._link.write(reply)
        if endpoint.parted:
            raise LinkError(
                "the board restarted in the middle of the conversation",
                hint="check its power supply; then home and draw again",
            )
        if endpoint.linked and endpoint.silence_us(_now_us()) > SILENCE_S * 1e6:
            raise LinkError(
                f"the board has said nothing for {SILENCE_S:g} s",
                hint="check cable and power; the board stops by itself, with the pen up",
            )

    def _take(self, number: int, payload: bytes) -> None:
        try:
            name, fields = messages.decode(number, payload)
        except FieldError as error:
            raise LinkError(f"the board sent a message that makes no sense: {error}") from error
        if name == "fault":
            code = _number(fields, "code")
            fault = messages.FAULTS[code] if code < len(messages.FAULTS) else f"fault {code}"
            # A host that was silent and speaks again has nothing to be told: the board holds and goes on.
            if code != messages.HOST_LOST:
                trusted = bool(self.report().get("flags", 0) & messages.FLAG_TRUSTED)
                raise BoardFault(fault, position_trusted=trusted, hint=_FAULT_HINTS.get(fault, ""))
            return
        self._inbox.append((name, fields))

    def _send(self, name: str, **fields: object) -> int:
        sequence: int = self._endpoint.send(messages.message_id(name), messages.encode(name, **fields))
        return sequence

    def _send_when_possible(self, name: str, **fields: object) -> int:
        while not self._endpoint.can_send:
            self._turn()
        return self._send(name, **fields)

    def _ask(
        self, name: str, *, answers: tuple[str, ...] = ("done",), timeout_s: float = SILENCE_S, **fields: object
    ) -> dict[str, object]:
        """Send a request and wait for its answer."""
        request = self._send_when_possible(name, **fields)
        deadline_s = time.monotonic() + timeout_s
        while not (answer := self._answer(request, answers)):
            if time.monotonic() > deadline_s:
                raise LinkError(f"the board did not answer '{name}' within {timeout_s:g} s")
            self._turn()
        return answer[1]

    def _answer(self, request: int, names: tuple[str, ...]) -> tuple[str, dict[str, object]] | None:
        """The answer to a request, if it has come; a refusal becomes an error."""
        for message in list(self._inbox):
            name, fields = message
            if name == "refusal" and _number(fields, "request") == request:
                self._inbox.remove(message)
                raise self._refused(fields)
            if name in names and fields.get("request", request) == request:
                self._inbox.remove(message)
                return message
        return None

    def _refused(self, fields: dict[str, object]) -> Exception:
        number = _number(fields, "message")
        field = _number(fields, "field")
        value, low, high = (_number(fields, key) for key in ("value", "low", "high"))
        request = messages.message_name(number)
        reason = messages.REASONS[min(_number(fields, "reason"), len(messages.REASONS) - 1)]
        if reason == "other version":
            return Mismatch(
                f"the board carries other code or another protocol ({request}: it has {low:#x}, this host {value:#x})",
                hint="put the board code that belongs to this version of Linewright on the board",
            )
        if reason == "wrong state":
            state = messages.STATES[value] if 0 <= value < len(messages.STATES) else str(value)
            return LinkError(f"the board refused '{request}' because it is {state}")
        if reason == "out of range":
            return Refused(request, messages.field_name(number, field), value, low, high)
        return LinkError(
            f"the board refused '{request}': {reason} "
            f"({messages.field_name(number, field)} = {value}, expected {low}..{high})"
        )

    def _fresh_report(self) -> None:
        """Wait for a report that the board makes from now on."""
        self._ask("ask")
        seen = self._endpoint.reports
        deadline_s = time.monotonic() + SILENCE_S
        while self._endpoint.reports == seen and time.monotonic() < deadline_s:
            self._turn()


class _Player:
    """Sends one program's records as the board grants room, and watches for its end."""

    def __init__(self, session: Session, packed: wirepack.Packed, start: tuple[int, int]) -> None:
        self._session = session
        self._packed = packed
        self._frame = 0
        self._number = 1 + secrets.randbelow(messages.U30)
        session._inbox.clear()
        session._ask("begin", program=self._number, first=0, a=start[0], b=start[1])
        session._fresh_report()
        self.ended = False
        self.finished = False

    def feed(self, fence: int) -> None:
        """Send what the board has room for, up to but not including record ``fence``."""
        session = self._session
        granted = session.report()["granted"]
        while self._frame < len(self._packed) and session._endpoint.can_send:
            first, after = (int(number) for number in self._packed.first[self._frame : self._frame + 2])
            if after > min(granted, fence):
                break
            session._send("moves", first=first, records=self._packed.payload(self._frame))
            self._frame += 1

    def done(self, record: int) -> bool:
        """Whether the pen has finished everything before ``record``."""
        return self._session.report()["records_done"] >= record

    def watch(self) -> None:
        """Take note of the end, and of refusals."""
        inbox = self._session._inbox
        while inbox:
            name, fields = inbox.popleft()
            if name == "refusal":
                raise self._session._refused(fields)
            if name == "event" and fields["code"] in (messages.FINISHED, messages.STOPPED):
                self.finished = fields["code"] == messages.FINISHED
                self.ended = True
                self._session._fresh_report()


def _number(fields: dict[str, object], name: str) -> int:
    value = fields[name]
    if not isinstance(value, int):
        raise TypeError(f"{name} is no number")
    return value


def _now_us() -> int:
    return time.monotonic_ns() // 1000 % TICKS_PERIOD


def _until_s(now_us: int, deadline_us: int) -> float:
    return ticks_diff(deadline_us, now_us) / 1e6
