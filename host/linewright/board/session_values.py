"""Values of a session: greeting, progress and result of a drawing, user requests."""

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
    """A board's greeting."""

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
        """Whether the board runs this host's code."""
        return self.digest == board_files.digest()


@dataclass(frozen=True)
class Progress:
    """Progress of a drawing.

    Parameters
    ----------
    state : state of the board; "pen" during a pen change, "homing" while the machine homes.
    records_done, records : records finished by the pen, and their total.
    stroke, strokes : strokes started, and their total.
    played_s, predicted_s : playing time so far without waits, and predicted for the whole program.
    pace : present pace, 0..1.
    pen : the pen in use or requested.
    planned_s : planned playing time of the finished part; ``played_s`` is longer if the pace was lower.
    left_s : remaining time at the last requested pace; a hold does not count as pace.
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
    """Result of a drawing.

    Parameters
    ----------
    finished : True at the end of the program, False if the user abandoned it.
    first_record : first record played: 0, or the resume point.
    played_ticks, predicted_ticks : playing time by the board's own count, and as planned.
    final_steps, expected_steps : motor position at the end by the board's count, and as planned.
    records_done, records : records finished by the pen, and their total.
    retransmitted_frames, damaged_frames : both directions, as seen by this end.
    frames_sent, bytes_sent : sent by this end while drawing.
    starved : times the pen waited within a stroke because the link was too slow.
    underruns : times the pulse player ran dry in motion; anything but 0 is a bug.
    drifts : results of homing again, in order.
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
        """Largest difference of a motor's final position from the plan, steps."""
        return max(abs(a - b) for a, b in zip(self.final_steps, self.expected_steps, strict=True))


@dataclass(frozen=True)
class Standing:
    """State left on a board by an earlier host, after a stop.

    Parameters
    ----------
    program, records_done : number of the program played last (0: none), and its finished records.
    steps : position by the board's count, motor steps A, B.
    position_kept : the board knows its position, and its motors have held it since.
    """

    program: int
    records_done: int
    steps: tuple[int, int]
    position_kept: bool


class Witness(Protocol):
    """Receives progress that must survive a crash; implemented by the journal."""

    def begin(self, number: int, record: int) -> None:
        """Called before the program is sent to the board as number ``number``; the pen has reached ``record``."""

    def done(self, record: int) -> None:
        """Called when the pen has finished all records before ``record``."""

    def back(self, strokes: int) -> None:
        """Called when only this many strokes are on paper, because the motors had no power."""


class Control:
    """User requests during a drawing. Every method may be called from any thread or signal handler."""

    def __init__(self) -> None:
        self._asked: deque[tuple[str, int]] = deque()

    def hold(self) -> None:
        """Decelerate, raise the pen, and wait for `carry_on`."""
        self._asked.append(("hold", 0))

    def carry_on(self) -> None:
        """End the hold and continue at the last requested pace."""
        self._asked.append(("carry on", 0))

    def slow_to(self, share: float) -> None:
        """Draw at this share (above 0, up to 1) of the planned speed. During a hold it takes effect when the hold
        ends.
        """
        if not 0.0 < share <= 1.0:
            raise ValueError(f"pace {share} is outside 0..1; use hold to stop")
        self._asked.append(("pace", max(1, round(share * FULL_PACE))))

    def pen_changed(self, *, home: bool = False) -> None:
        """The requested pen is mounted; ``home``: home first, because the motors had no power."""
        self._asked.append(("pen", int(home)))

    def abandon(self) -> None:
        """Stop with a controlled deceleration, raise the pen, and leave the rest undrawn."""
        self._asked.append(("abandon", 0))

    def cut(self) -> None:
        """Switch the motors off at once; the position is lost."""
        self._asked.append(("cut", 0))

    def take(self) -> tuple[str, int] | None:
        """Next request as (name, value), or None."""
        return self._asked.popleft() if self._asked else None
