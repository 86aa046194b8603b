"""`Program`: a planned drawing with everything the board needs. The planner builds it.

`linewright.program.file` saves and loads it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from linewire.records import END, PEN, RAMP, REST
from linewright import units
from linewright.drawing.strokes import Drawing
from linewright.errors import ProgramError
from linewright.machine.shape import MachineShape
from linewright.program.packing import Packed, pack
from linewright.rig.board_settings import board_settings
from linewright.rig.checks import SERVO_SAFE_US
from linewright.rig.rig import Rig
from linewright.sheet.position import SheetPosition
from linewright.sheet.sizes import Sheet

__all__ = ["END", "PEN", "RAMP", "REST", "PenGroup", "Program", "Trajectory"]


_BEYOND_US: Final = 120
"""Tolerance of servo pulses beyond the rig's pen heights: the trial sheet of pen heights goes 100 us beyond."""

_ROUNDED_STEPS_S2: Final = 32.0
"""The board reckons in sixteenths of this (`lineboard.guard`), and takes as much more."""


@dataclass(frozen=True)
class PenGroup:
    """The part of a program drawn with one pen: from leaving park to returning there.

    Parameters
    ----------
    pen : index into the drawing's pens.
    strokes, records : first and one past the last.
    """

    pen: int
    strokes: tuple[int, int]
    records: tuple[int, int]


@dataclass(frozen=True, eq=False)
class Trajectory:
    """The planned motion of the pen, ramp by ramp, for views.

    Parameters
    ----------
    points_mm : (m + 1, 2) float64, machine mm: start of the program and end of every ramp.
    speed_mm_s : (m, 2) float64, along the path, at start and end of every ramp.
    stroke : (m,) int32, stroke drawn, -1 for travel.
    start_ticks : (m,) int64, playing time at which each ramp starts.
    ticks : (m,) int64, duration of each ramp.
    """

    points_mm: NDArray[np.float64]
    speed_mm_s: NDArray[np.float64]
    stroke: NDArray[np.int32]
    start_ticks: NDArray[np.int64]
    ticks: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Program:
    """A drawing as timed records for the board.

    Parameters
    ----------
    kind : (r,) uint8, kind of each record: `RAMP`, `PEN`, `REST` or `END` (the last record, and only that).
    da, db : (r,) int32, whole steps of the motors; 0 except in ramps.
    v_end : (r,) int32, path speed at the end of a ramp, steps/s in motor step space; 0 except in ramps.
    servo_us, dwell_ms : (r,) int32, servo pulse and wait of a pen action; 0 elsewhere. Without a wait it happens in
        passing, between two ramps of a stroke.
    rest_ticks : (r,) int32, length of a rest; 0 elsewhere.
    ticks : (r,) int64, exact playing time of each record.
    stroke_of_record : (r,) int32, stroke that a ramp or a pen action belongs to; -1 for travel, rests and the end.
    start_steps : motor position at which the program starts, and ends: the rig's park position.
    steps_matrix : (2, 2) float64, steps/mm, the rig's kinematics matrix.
    drawing : the strokes as planned, machine mm, in the order in which they are drawn.
    groups : one per pen, in order.
    sheet, sheet_position : the sheet, and how it lies on the machine.
    rig_name, rig_fingerprint : the rig it was planned for.
    shape : the measured errors of that rig; the motor positions compensate for them.
    pen_width_mm : the rig's line width, for previews.
    warnings : plain sentences.
    """

    kind: NDArray[np.uint8]
    da: NDArray[np.int32]
    db: NDArray[np.int32]
    v_end: NDArray[np.int32]
    servo_us: NDArray[np.int32]
    dwell_ms: NDArray[np.int32]
    rest_ticks: NDArray[np.int32]
    ticks: NDArray[np.int64]
    stroke_of_record: NDArray[np.int32]
    start_steps: tuple[int, int]
    steps_matrix: NDArray[np.float64]
    drawing: Drawing
    groups: tuple[PenGroup, ...]
    sheet: Sheet
    sheet_position: SheetPosition
    rig_name: str
    rig_fingerprint: str
    pen_width_mm: float
    warnings: tuple[str, ...] = ()
    shape: MachineShape = field(default_factory=MachineShape)

    def __len__(self) -> int:
        """Number of records."""
        return len(self.kind)

    @property
    def is_ramp(self) -> NDArray[np.bool_]:
        """(r,) bool: the record is a ramp."""
        return np.asarray(self.kind == RAMP)

    @property
    def in_passing(self) -> NDArray[np.bool_]:
        """(r,) bool: the record is a pen action without dwell, which changes the pen's height during motion."""
        return np.asarray((self.kind == PEN) & (self.dwell_ms == 0))

    @property
    def pen_stops(self) -> NDArray[np.int64]:
        """(2 k,) int64: the records that lower and raise the pen, alternating, one pair for each stroke."""
        return np.flatnonzero((self.kind == PEN) & (self.dwell_ms > 0))

    @property
    def ramps(self) -> int:
        """Number of ramps."""
        return int(np.count_nonzero(self.is_ramp))

    @cached_property
    def predicted_ticks(self) -> int:
        """Exact playing time of the whole program."""
        return int(self.ticks.sum())

    @property
    def predicted_s(self) -> float:
        """Playing time of the whole program, seconds."""
        return units.ticks_to_s(self.predicted_ticks)

    @cached_property
    def ticks_before(self) -> NDArray[np.int64]:
        """(r + 1,) int64: playing time before each record; the last entry is the whole time."""
        return np.concatenate((np.zeros(1, dtype=np.int64), np.cumsum(self.ticks)))

    @property
    def v_start(self) -> NDArray[np.int32]:
        """(r,) int32: path speed at the start of each ramp, steps/s; 0 for other records."""
        after = np.where(self.is_ramp, self.v_end, 0)
        # Pen actions in passing do not change the path speed.
        stays = np.maximum.accumulate(np.where(self.in_passing, -1, np.arange(len(self))))
        after = np.where(stays >= 0, after[stays], 0)
        before = np.concatenate((np.zeros(1, dtype=np.int32), after[:-1]))
        return np.where(self.is_ramp, before, 0).astype(np.int32)

    @cached_property
    def position_steps(self) -> NDArray[np.int64]:
        """(r + 1, 2) int64: motor position before each record; the last entry is where the program ends."""
        moves = np.stack((self.da, self.db), axis=1).astype(np.int64)
        return np.asarray(np.concatenate((np.array([self.start_steps]), moves)).cumsum(axis=0))

    @property
    def end_steps(self) -> tuple[int, int]:
        """Motor position at the end."""
        a, b = self.position_steps[-1]
        return int(a), int(b)

    @cached_property
    def trajectory(self) -> Trajectory:
        """The planned motion in machine mm and mm/s."""
        at = np.flatnonzero(self.is_ramp)
        d_steps = np.stack((self.da[at], self.db[at]), axis=1).astype(np.float64)
        steps = np.concatenate((self.position_steps[:1], self.position_steps[at + 1]))
        points = self._true_mm(steps)
        mm_per_step = np.hypot(*np.diff(points, axis=0).T) / np.hypot(*d_steps.T)
        speeds = np.stack((self.v_start[at], self.v_end[at]), axis=1) * mm_per_step[:, None]
        return Trajectory(
            points_mm=points,
            speed_mm_s=speeds,
            stroke=self.stroke_of_record[at],
            start_ticks=self.ticks_before[at],
            ticks=self.ticks[at],
        )

    def steps_at(self, strokes: Drawing) -> NDArray[np.int64]:
        """(n, 2) int64: motor position at each vertex of the drawing, or of some of its strokes."""
        drives, _ = self.shape.drives(strokes)
        return np.rint(drives.points_mm @ self.steps_matrix.T).astype(np.int64)

    @property
    def step_mm(self) -> float:
        """Longest move of the pen for one step of one motor, mm."""
        return float(np.max(np.hypot(*np.linalg.inv(self.steps_matrix))))

    @cached_property
    def pen_down_mm(self) -> float:
        """Length of all strokes, mm."""
        return float(self.drawing.stroke_lengths_mm().sum())

    @cached_property
    def travel_mm(self) -> float:
        """Length of all pen-up moves, mm."""
        if self.shape.plays:  # the backlash at a place depends on the way there
            path = self.trajectory
            d_mm = np.diff(path.points_mm, axis=0)[path.stroke < 0]
            return float(np.hypot(d_mm[:, 0], d_mm[:, 1]).sum())
        at = np.flatnonzero(self.is_ramp & (self.stroke_of_record < 0))
        moves = np.stack((self.da[at], self.db[at]), axis=1)
        ends = np.stack([np.cumsum(column, dtype=np.int64)[at] for column in (self.da, self.db)], axis=1)
        begin_mm, end_mm = (self._true_mm(self.start_steps + place) for place in (ends - moves, ends))
        return float(np.hypot(*(end_mm - begin_mm).T).sum())

    @property
    def start_mm(self) -> tuple[float, float]:
        """Where the pen starts, machine mm."""
        x, y = self._true_mm(np.array([self.start_steps]))[0]
        return float(x), float(y)

    def _true_mm(self, steps: NDArray[np.int64]) -> NDArray[np.float64]:
        """(n, 2) pen positions along one path of the motors (n, 2)."""
        return self.shape.true_mm(self.shape.carriage_at(steps @ np.linalg.inv(self.steps_matrix).T))

    def group_ticks(self, group: PenGroup) -> int:
        """Playing time of one pen's part, ticks."""
        first, end = group.records
        return int(self.ticks_before[end] - self.ticks_before[first])

    @cached_property
    def frame_bytes(self) -> int:
        """Bytes of all records as payloads, without framing."""
        return len(self.packed().data)

    def packed(self, *, start: int = 0) -> Packed:
        """Payloads of the records from ``start`` on; each pen's part begins a new payload."""
        return pack(*self.wire_columns(), start=start, breaks=[group.records[0] for group in self.groups])

    def wire_columns(self) -> tuple[NDArray[np.uint8], NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
        """Kind, first number, second number and end speed of every record, as `packing.pack` takes them."""
        first = np.where(self.kind == PEN, self.servo_us, np.where(self.kind == REST, self.rest_ticks, self.da))
        second = np.where(self.kind == PEN, self.dwell_ms, self.db)
        return self.kind, first, second, self.v_end

    def describe(self) -> dict[str, Any]:
        """The program's figures as JSON-compatible values."""
        bounds = self.drawing.bounds_mm()
        return {
            "strokes": len(self.drawing),
            "vertices": self.drawing.vertices,
            "pens": [
                {
                    "name": self.drawing.pens[group.pen].name,
                    "strokes": group.strokes[1] - group.strokes[0],
                    "predicted_s": units.ticks_to_s(self.group_ticks(group)),
                }
                for group in self.groups
            ],
            "size_mm": [round(high - low, 3) for low, high in zip(bounds[:2], bounds[2:], strict=True)],
            "pen_down_mm": round(self.pen_down_mm, 3),
            "travel_mm": round(self.travel_mm, 3),
            "ramps": self.ramps,
            "records": len(self),
            "frame_bytes": self.frame_bytes,
            "predicted_s": self.predicted_s,
            "predicted_ticks": self.predicted_ticks,
            "rig": self.rig_name,
            "rig_fingerprint": self.rig_fingerprint,
            "warnings": list(self.warnings),
        }

    def check_rig(self, rig: Rig) -> None:
        """Refuse a rig that moves differently from the one that the program was planned for.

        Raises
        ------
        ProgramError
        """
        if rig.fingerprint() != self.rig_fingerprint:
            raise ProgramError(
                f"this program was planned for the rig '{self.rig_name}' ({self.rig_fingerprint[:8]}); "
                f"the rig '{rig.name}' ({rig.fingerprint()[:8]}) moves differently, or its sheet lies elsewhere",
                hint="plan the picture again with this rig",
            )
        self._check_limits(rig)

    def _check_limits(self, rig: Rig) -> None:
        """Refuse what no plan for this rig contains; the fingerprint in a file may be false."""
        hint = "the program is damaged, or was not made by Linewright: plan the picture again"
        drives = self.position_steps @ np.linalg.inv(rig.kinematics_matrix).T
        low, high = (np.array(rim) for rim in rig.shape.room_mm)
        slack_mm = self.step_mm  # positions are rounded to the step
        beyond = ((drives < low - slack_mm) | (drives > high + slack_mm)).any(axis=1)
        if beyond.any():
            least, most = drives.min(axis=0), drives.max(axis=0)
            raise ProgramError(
                f"this program moves x {least[0]:.1f}..{most[0]:.1f} mm and y {least[1]:.1f}..{most[1]:.1f} mm; "
                f"the rig reaches {low[0] + 0.0:g}..{high[0]:g} and {low[1] + 0.0:g}..{high[1]:g} mm "
                f"({self._where(max(int(beyond.argmax()) - 1, 0))})",
                hint=hint,
            )
        at = np.flatnonzero(self.is_ramp)
        moves = np.stack((self.da[at], self.db[at]), axis=1).astype(np.float64)
        lengths = np.hypot(*moves.T)
        starts, ends = self.v_start[at].astype(np.float64), self.v_end[at].astype(np.float64)
        rates = np.abs(moves) / lengths[:, None] * np.maximum(starts, ends)[:, None]
        for name, motor, rate in zip("AB", (rig.a, rig.b), rates.T, strict=True):
            worst = int(rate.argmax()) if len(rate) else 0
            if len(rate) and rate[worst] > motor.step_rate_hz + 1.0:  # speeds are whole steps/s
                raise ProgramError(
                    f"this program needs {rate[worst]:.0f} steps/s of motor {name}; its step_rate_hz is "
                    f"{motor.step_rate_hz} ({self._where(int(at[worst]))})",
                    hint=hint,
                )
        allowed = board_settings(rig)["ramp_accel"]
        # As the board checks it: whole steps/s and a step of rounding.
        asked = np.abs(ends**2 - starts**2) / (2.0 * (lengths + 1.0))
        if len(asked) and asked.max() > allowed + _ROUNDED_STEPS_S2:
            worst = int(asked.argmax())
            raise ProgramError(
                f"this program accelerates by {asked[worst]:.0f} steps/s2; the rig's axes allow {allowed} "
                f"({self._where(int(at[worst]))})",
                hint=hint,
            )
        pen, changes = rig.pen, [change for row in rig.corrections.pen_height.change_us for change in row]
        heights = [pen.up_us, pen.clear_us, *(pen.down_us + change for change in (0.0, *changes))]
        # Pens may have heights of their own, within what is safe for every hobby servo (common practice).
        own = [us for one in self.drawing.pens for us in (one.up_us, one.down_us) if us is not None]
        heights += [float(np.clip(us, *SERVO_SAFE_US)) for us in own]
        lifts = np.flatnonzero(self.kind == PEN)
        pulses = self.servo_us[lifts]
        wrong = (pulses < min(heights) - _BEYOND_US) | (pulses > max(heights) + _BEYOND_US)
        if wrong.any():
            raise ProgramError(
                f"this program moves the pen to {pulses.min()}..{pulses.max()} us; the rig's pen allows "
                f"{min(heights):g}..{max(heights):g} us ({self._where(int(lifts[wrong.argmax()]))})",
                hint=hint,
            )

    def _where(self, record: int) -> str:
        stroke = int(self.stroke_of_record[record])
        return f"record {record + 1} of {len(self)}, " + (f"stroke {stroke + 1}" if stroke >= 0 else "pen up")
