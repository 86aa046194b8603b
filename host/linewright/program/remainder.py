"""`Tail`: the rest of a program from a given place on, as records that a board can play.

A board starts at rest with the pen up. So a tail begins either at a record before which the program is at rest with the
pen up, or within a stroke at the step where the pen stopped. In the second case the pen is lowered there, and the first
ramps accelerate until they reach the planned speed. Records keep their numbers; the inserted pen action takes the
number of a record that has been played.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewire.records import PEN, RAMP, REST
from linewright import units
from linewright.program import packing
from linewright.program.duration import ramp_ticks
from linewright.rig.board_settings import board_settings

if TYPE_CHECKING:
    from linewright.program.program import Program
    from linewright.rig.rig import Rig

_BESIDE_STEPS: Final = 1
"""Distance of a ramp's steps from its straight line: less than one step (Bresenham's algorithm)."""


@dataclass(frozen=True, eq=False)
class Tail:
    """The rest of a program.

    Parameters
    ----------
    first : number of its first record.
    steps : start position of motors A and B.
    reached : record in which or before which the pen stopped; ``first`` where no record was inserted.
    predicted_ticks : playing time.
    packed : the records, ready for frames.
    """

    first: int
    steps: tuple[int, int]
    reached: int
    predicted_ticks: int
    packed: packing.Packed

    @classmethod
    def of(cls, program: Program, record: int = 0, *, lower_ms: int = 0) -> Tail:
        """Tail that starts at a record before which the path is at rest.

        The pen is fully up at the start, while the program may have had it at a lower height: where the record lowers
        the pen, ``lower_ms`` is the dwell that this takes.
        """
        a, b = program.position_steps[record]
        steps = (int(a), int(b))
        if program.kind[record] == PEN and program.dwell_ms[record] < lower_ms:
            changed = _Changed(program)
            changed.lower_pen(record, int(program.servo_us[record]), lower_ms)
            return changed.tail(record, steps, record)
        ticks = int(program.predicted_ticks - program.ticks_before[record])
        return cls(record, steps, record, ticks, program.packed(start=record))

    @classmethod
    def in_stroke(cls, program: Program, record: int, steps: tuple[int, int], rig: Rig) -> Tail | None:
        """Tail that starts at the step where the pen stopped within a stroke.

        Parameters
        ----------
        record : the first record that is not finished.
        steps : position of the pen, motor steps A, B.
        rig : the machine, for its acceleration and pen-down dwell.

        None if the position lies in no stroke, so that the program can start at the next stroke, or if the pen is not
        on this record because it was moved since.
        """
        if not 0 <= record < len(program):
            return None
        stroke = int(program.stroke_of_record[:record].max(initial=-1))
        if stroke < 0:
            return None
        lowers, lifts = program.pen_stops[2 * stroke : 2 * stroke + 2]
        while lowers < record < lifts and program.in_passing[record]:
            record += 1  # the inserted pen action lowers to that height
        if not lowers < record < lifts:
            return None
        way = np.array(steps) - program.position_steps[record]
        move = np.array([program.da[record], program.db[record]])
        if not _on_the_way(way, move):
            return None
        changed = _Changed(program)
        first = changed.begin_in(record, way, rig)
        down = program.kind[:record] == PEN
        changed.lower_pen(first, int(program.servo_us[:record][down][-1]), max(rig.pen.lower_ms, 1))
        return changed.tail(first, steps, record)


def _on_the_way(way: NDArray[np.int64], move: NDArray[np.int64]) -> bool:
    """Whether a ramp of ``move`` passes the point ``way`` from its start, within `_BESIDE_STEPS`."""
    within = (np.minimum(0, move) <= way) & (way <= np.maximum(0, move))
    beside = abs(int(way[0]) * int(move[1]) - int(way[1]) * int(move[0]))
    return bool(within.all()) and beside <= _BESIDE_STEPS * int(np.abs(move).max(initial=0))


class _Changed:
    """Columns of a program, copied for changes."""

    def __init__(self, program: Program) -> None:
        self._program = program
        kind, one, two, speed = program.wire_columns()
        self._kind, self._one, self._two, self._speed = (
            np.array(column, dtype=np.int64) for column in (kind, one, two, speed)
        )
        self._ticks = program.ticks.copy()

    def begin_in(self, record: int, way: NDArray[np.int64], rig: Rig) -> int:
        """Shorten a ramp by ``way``, the part already drawn, and accelerate from rest. Returns the record number for
        the pen action.
        """
        if self._kind[record] != RAMP:
            return record - 1
        left = np.array([self._one[record], self._two[record]]) - way
        if self._speed[record] > 0:
            self._one[record], self._two[record] = left
            self._gain_speed(record, rig)
            return record - 1
        # The ramp starts and ends at rest, so it needs two records. The record before it is a ramp that has been
        # played, because no ramp of a program leads from rest to rest.
        accel = board_settings(rig)["accel"]
        if np.abs(left).max() > 1:
            half = left // 2
            top = min(_reached(0, half, accel), int(self._program.v_start[record]))
            self._put_ramp(record - 1, half, 0, top)
            self._put_ramp(record, left - half, top, 0)
        else:
            # A single step cannot decelerate; the board accepts a single step before a rest.
            self._put_ramp(record - 1, left, 0, _reached(0, left, accel))
            self._kind[record] = REST
            self._one[record] = self._two[record] = self._speed[record] = self._ticks[record] = 0
        return record - 2

    def lower_pen(self, record: int, servo_us: int, dwell_ms: int) -> None:
        """Replace a record by a pen action."""
        self._kind[record] = PEN
        self._one[record], self._two[record], self._speed[record] = servo_us, dwell_ms, 0
        self._ticks[record] = dwell_ms * units.ms_to_ticks(1)

    def tail(self, first: int, steps: tuple[int, int], reached: int) -> Tail:
        """The rest from record ``first`` on."""
        breaks = [group.records[0] for group in self._program.groups]
        packed = packing.pack(self._kind, self._one, self._two, self._speed, start=first, breaks=breaks)
        return Tail(first, steps, reached, int(self._ticks[first:].sum()), packed)

    def _gain_speed(self, record: int, rig: Rig) -> None:
        """Accelerate from rest at the start of a record until the planned speed is reached."""
        accel = board_settings(rig)["accel"]  # the lowest of all directions
        speed = 0
        while self._kind[record] == RAMP or self._program.in_passing[record]:
            if self._kind[record] == PEN:
                record += 1
                continue
            planned = int(self._speed[record])
            move = np.array([self._one[record], self._two[record]])
            now = min(planned, _reached(speed, move, accel))
            self._put_ramp(record, move, speed, now)
            if now == planned:
                return
            speed = now
            record += 1

    def _put_ramp(self, record: int, move: NDArray[np.int64], v_start: int, v_end: int) -> None:
        self._kind[record] = RAMP
        self._one[record], self._two[record], self._speed[record] = move[0], move[1], v_end
        self._ticks[record] = ramp_ticks(move[:1], move[1:], [v_start], [v_end])[0]


def _reached(speed: int, move: NDArray[np.int64], accel: int) -> int:
    """Path speed, steps/s, after a move that starts at ``speed``: v^2 = v0^2 + 2 a d, rounded down, at least 1."""
    return max(1, int(np.sqrt(speed * speed + 2.0 * accel * float(np.hypot(*move)))))
