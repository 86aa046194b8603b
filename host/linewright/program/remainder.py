"""`Tail`: what is left of a program from one place on, as records that a board can play.

A board begins at rest and with the pen up. So a tail begins either at a record where the program itself is at rest with
the pen up, or in the middle of a stroke, on the very step where the pen was stopped: the pen is then lowered there, and
the first ramps gain speed again until they are back at the planned one. Record numbers stay those of the program; the
pen action that is put in takes the number of a record that has been played.
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
"""How far beside the straight line of a ramp its steps may lie: less than one (Bresenham's rule)."""


@dataclass(frozen=True, eq=False)
class Tail:
    """Records of a program from one place on.

    Parameters
    ----------
    first : number of its first record.
    steps : motor position A, B where it begins.
    reached : record in which or before which the pen stands; ``first`` where no record had to be put in.
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
        """From a record on before which the path is at rest.

        The pen is up then, and may have been nearer to the paper in the program: ``lower_ms`` is how long it needs,
        where the record is what lowers it.
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
        """From the step on where the pen stands in the middle of a stroke.

        Parameters
        ----------
        record : the first one that the pen has not finished.
        steps : where the pen stands, motor steps A, B.
        rig : the machine, for its acceleration and the time that the pen takes to come down.

        Returns
        -------
        None where the place lies in no stroke, so that the program can be begun again at the next stroke; or where
        the pen does not stand on this record, so that something has moved it since.
        """
        if not 0 <= record < len(program):
            return None
        stroke = int(program.stroke_of_record[:record].max(initial=-1))
        if stroke < 0:
            return None
        lowers, lifts = program.pen_stops[2 * stroke : 2 * stroke + 2]
        while lowers < record < lifts and program.in_passing[record]:
            record += 1  # the pen is lowered to that height at once
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
    """Whether a ramp that moves by ``move`` passes the place ``way`` from its start, within `_BESIDE_STEPS`."""
    within = (np.minimum(0, move) <= way) & (way <= np.maximum(0, move))
    beside = abs(int(way[0]) * int(move[1]) - int(way[1]) * int(move[0]))
    return bool(within.all()) and beside <= _BESIDE_STEPS * int(np.abs(move).max(initial=0))


class _Changed:
    """Columns of a program, to be changed."""

    def __init__(self, program: Program) -> None:
        self._program = program
        kind, one, two, speed = program.wire_columns()
        self._kind, self._one, self._two, self._speed = (
            np.array(column, dtype=np.int64) for column in (kind, one, two, speed)
        )
        self._ticks = program.ticks.copy()

    def begin_in(self, record: int, way: NDArray[np.int64], rig: Rig) -> int:
        """Shorten a ramp by the ``way`` that is done, and gain speed from rest; returns where a pen action belongs."""
        if self._kind[record] != RAMP:
            return record - 1
        left = np.array([self._one[record], self._two[record]]) - way
        if self._speed[record] > 0:
            self._one[record], self._two[record] = left
            self._gain_speed(record, rig)
            return record - 1
        # It is to end at rest as it begins, so it needs two records. The one before it is a ramp, which has been
        # played: no ramp of a program leads from rest to rest.
        accel = board_settings(rig)["accel"]
        if np.abs(left).max() > 1:
            half = left // 2
            top = min(_reached(0, half, accel), int(self._program.v_start[record]))
            self._put_ramp(record - 1, half, 0, top)
            self._put_ramp(record, left - half, top, 0)
        else:
            # A single step cannot slow down again; the board takes it as such in front of a rest.
            self._put_ramp(record - 1, left, 0, _reached(0, left, accel))
            self._kind[record] = REST
            self._one[record] = self._two[record] = self._speed[record] = self._ticks[record] = 0
        return record - 2

    def lower_pen(self, record: int, servo_us: int, dwell_ms: int) -> None:
        """Put a pen action in the place of a record."""
        self._kind[record] = PEN
        self._one[record], self._two[record], self._speed[record] = servo_us, dwell_ms, 0
        self._ticks[record] = dwell_ms * units.ms_to_ticks(1)

    def tail(self, first: int, steps: tuple[int, int], reached: int) -> Tail:
        """What is left from ``first`` on."""
        breaks = [group.records[0] for group in self._program.groups]
        packed = packing.pack(self._kind, self._one, self._two, self._speed, start=first, breaks=breaks)
        return Tail(first, steps, reached, int(self._ticks[first:].sum()), packed)

    def _gain_speed(self, record: int, rig: Rig) -> None:
        """From rest at a record's start, follow the planned speeds from below until they are reached."""
        accel = board_settings(rig)["accel"]  # no direction of travel takes less
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
    """Path speed in steps/s after a move that begins at ``speed``: v^2 = v0^2 + 2 a d, rounded down, 1 at least."""
    return max(1, int(np.sqrt(speed * speed + 2.0 * accel * float(np.hypot(*move)))))
