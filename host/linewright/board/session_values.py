"""Values exchanged with a session: the greeting, progress and result of a drawing, the user's requests."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final, Protocol

from linewright.board import files as board_files
from linewright.board.drift import Drift
from linewright.drawing.strokes import Pen

FULL_PACE: Final = 256


@dataclass(frozen=True)
class Greeting:
    """What the board reported of itself in its greeting."""

    board: str
    version: str
    protocol: int
    digest: int
    tick_hz: int
    overhead_ticks: int
    max_rate: int
    queue_slots: int

    @property
    def same_code(self) -> bool:
        """Whether the board carries the code that belongs to this host."""
        return self.digest == board_files.digest()


@dataclass(frozen=True)
class Progress:
    """Where a drawing stands.

    Parameters
    ----------
    state : state of the board; "pen" while it waits for another pen, "homing" while nothing of it plays.
    records_done, records : finished by the pen, and in all.
    stroke, strokes : strokes begun or finished, and in all.
    played_s, predicted_s : playing time so far (waits do not count), and of the whole program.
    pace : 0..1, as it is now.
    pen : the pen that is in use, or asked for.
    planned_s : playing time that was planned for what is finished; ``played_s`` is longer where it went slower.
    left_s : time that what is left takes at the pace that was asked for last; a hold is no pace.
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
    planned_s: float
    left_s: float


@dataclass(frozen=True)
class DrawResult:
    """How a drawing went.

    Parameters
    ----------
    finished : the end was reached; False when the user abandoned it.
    first_record : where it began: 0, or where a drawing was carried on.
    played_ticks, predicted_ticks : playing time by the board's own count, and as planned.
    final_steps, expected_steps : motor position at the end by the board's count, and as planned.
    records_done, records : finished by the pen, and in all.
    retransmitted_frames, damaged_frames : of both directions as far as this end sees.
    frames_sent, bytes_sent : everything this end put on the wire while drawing.
    starved : times the pen had to wait in mid-stroke because the link was too slow.
    underruns : times the pulse player ran dry in motion; anything but 0 is a bug.
    drifts : what homing again has found, in order.
    """

    finished: bool
    first_record: int
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
    drifts: tuple[Drift, ...] = ()

    @property
    def final_position_error_steps(self) -> int:
        """Largest difference of a motor's final position from the plan."""
        return max(abs(a - b) for a, b in zip(self.final_steps, self.expected_steps, strict=True))


@dataclass(frozen=True)
class Standing:
    """State that an earlier host has left on a board, once it has stopped.

    Parameters
    ----------
    program, records_done : number of the program that it played last (0: none), and how far the pen got in it.
    steps : where the pen is by the board's count, motor steps A, B.
    position_kept : the board knows where the pen is, and its motors have held it there since.
    """

    program: int
    records_done: int
    steps: tuple[int, int]
    position_kept: bool


class Witness(Protocol):
    """Receives the progress that must survive a crash; the journal implements it."""

    def begin(self, number: int, record: int) -> None:
        """The program is about to go to the board, as number ``number``; the pen has reached ``record``."""

    def done(self, record: int) -> None:
        """The pen has finished everything before ``record``."""

    def back(self, strokes: int) -> None:
        """Only so many strokes are on paper, whatever was counted: the motors had no power."""


class Control:
    """What the user asks for while a drawing runs. Every method may be called from any thread or signal handler."""

    def __init__(self) -> None:
        self._asked: deque[tuple[str, int]] = deque()

    def hold(self) -> None:
        """Stop smoothly, pen up, and wait for `carry_on`."""
        self._asked.append(("hold", 0))

    def carry_on(self) -> None:
        """End the hold: go on at the pace that was asked for last."""
        self._asked.append(("carry on", 0))

    def slow_to(self, share: float) -> None:
        """Draw at this share (above 0, up to 1) of the planned speed. It never ends a hold: it counts after it."""
        if not 0.0 < share <= 1.0:
            raise ValueError(f"pace {share} is outside 0..1; to stop, hold")
        self._asked.append(("pace", max(1, round(share * FULL_PACE))))

    def pen_changed(self, *, home: bool = False) -> None:
        """The pen that was asked for is in its holder; ``home``: find the place first, the motors had no power."""
        self._asked.append(("pen", int(home)))

    def abandon(self) -> None:
        """Controlled stop, pen up, and leave the rest undrawn."""
        self._asked.append(("abandon", 0))

    def cut(self) -> None:
        """Motors off at once; the position is lost."""
        self._asked.append(("cut", 0))

    def take(self) -> tuple[str, int] | None:
        """Next request as (name, value), or None."""
        return self._asked.popleft() if self._asked else None
