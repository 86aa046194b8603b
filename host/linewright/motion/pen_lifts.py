"""Timing of pen lifts: which part of lifting and lowering overlaps with travel.

A pen is clear of the paper long before it is fully up. `PenLift.near_us` is the servo pulse of a height just clear of
the paper, and ``near_ms`` the time to get from there to the paper.

- **Lifting.** The carriage waits ``near_ms`` after the pulse, until the pen is clear, and leaves while the pen rises
  further. The ink ends where the stroke ends. A pen late by ``t`` would draw on for ``a t^2 / 2``: at 1500 mm/s^2 a
  tenth of a common line, 0.05 mm, for 8 ms, but 0.3 mm for one of the servo's frames of 20 ms, so ``near_ms`` has to be
  measured with that frame in it.
- **Approaching.** The pen is lowered to the near height during travel and reaches it before arrival. Only the rest is
  lowered at standstill.
- **Hopping.** On a short travel move the pen stays at the near height.

The pen never touches the paper while the carriage moves to a stroke: a hold, a slower pace or a starved link would
stretch the travel but not the servo's time, and the pen would land too early.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright import units
from linewright.motion.kinematics import Flags, Floats, Limits
from linewright.rig.checks import SERVO_FRAME_MS

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.rig.sections import PenLift

Indices = NDArray[np.int64]

CLEAR_US: Final = 40
"""Change of pulse from first touch to clear of the paper: four degrees of a common servo, a millimetre with an arm of
15 mm. Paper on a board bulges by less (common practice)."""

SLOWEST_MS_US: Final = 0.375
"""A slow hobby servo turns 60 degrees, 667 us of pulse, in 250 ms (common practice)."""

SOONER: Final = 1.05
"""Safety factor on the approach distance at top speed, because rounding to whole steps changes lengths."""


def near_height(pen: PenLift, touch_us: float, near_ms: int | None = None) -> dict[str, object]:
    """Keys of the rig file for lifting during travel, from the pulse at which the pen first touches.

    Parameters
    ----------
    pen : its pulses up and down, and the times for the full travel.
    near_ms : as measured; None: the time of a slow servo plus its frame.

    Returns
    -------
    dict
        ``pen.near_us`` and ``pen.near_ms``; empty if the pen's travel is so short or so fast that nothing is gained.
    """
    toward = 1 if pen.down_us > pen.up_us else -1
    near_us = round(touch_us) - toward * CLEAR_US
    if near_ms is None:
        near_ms = SERVO_FRAME_MS + math.ceil(SLOWEST_MS_US * abs(pen.down_us - near_us))
    if toward * (near_us - pen.up_us) <= 0 or near_ms >= min(pen.lift_ms, pen.lower_ms):
        return {}
    return {"pen.near_us": near_us, "pen.near_ms": max(near_ms, SERVO_FRAME_MS)}


@dataclass(frozen=True, eq=False)
class PenActions:
    """Servo commands for k strokes.

    Parameters
    ----------
    pulse_us, dwell_ms : (2 k,) int64, pulse and dwell at the beginning and the end of each stroke, alternating.
    passing : (c,) int64, ramps before which the servo moves without stopping the carriage, ascending.
    passing_us : (c,) int64, pulses there.
    """

    pulse_us: Indices
    dwell_ms: Indices
    passing: Indices
    passing_us: Indices


@dataclass(frozen=True)
class PenLifts:
    """Heights and times of a rig's pen lift.

    Parameters
    ----------
    up_us, near_us, down_us : pulses fully up, just clear of the paper everywhere, and on the paper.
    lift_ms, lower_ms : time for full lifting and lowering.
    near_ms : time from the near height to the paper, and back.
    """

    up_us: int
    near_us: int
    down_us: int
    lift_ms: int
    lower_ms: int
    near_ms: int

    @classmethod
    def from_rig(cls, rig: Rig) -> PenLifts:
        """The figures of a rig file. On an uneven sheet, the near height is clear of the highest place."""
        pen = rig.pen
        near = pen.clear_us
        changes = np.array(rig.corrections.pen_height.change_us, dtype=np.float64)
        if near != pen.up_us and changes.size:
            up = 1 if pen.up_us > pen.down_us else -1
            raised = near + up * math.ceil(max(float((up * changes).max()), 0.0))
            near = min(raised, pen.up_us) if up > 0 else max(raised, pen.up_us)
        # At least 1 ms, because a pen action without dwell is one in passing.
        return cls(pen.up_us, near, pen.down_us, max(pen.lift_ms, 1), max(pen.lower_ms, 1), max(pen.near_ms, 1))

    @property
    def overlap(self) -> bool:
        """Whether there is a near height."""
        return self.near_us != self.up_us

    @property
    def approach_ms(self) -> int:
        """Time from fully up to the near height: lowering without its last part, plus a servo frame."""
        return max(self.lower_ms - self.near_ms, 0) + SERVO_FRAME_MS

    def approaches(self, points_mm: Floats, down_at: Indices, limits: Limits) -> Floats:
        """(c,) float64, places on the travel moves to the vertices ``down_at`` at which lowering has to begin."""
        before = down_at - 1
        way = points_mm[down_at] - points_mm[before]
        length = np.hypot(way[:, 0], way[:, 1])
        u = way / np.where(length > 0.0, length, 1.0)[:, None]
        top = limits.speed_along(u, np.zeros(len(u), dtype=np.bool_))
        needed = np.where(length > 0.0, top, 0.0) * (self.approach_ms / units.MS_PER_S * SOONER)
        longer = length > SOONER * needed
        longer &= length > 0.0
        return np.asarray(before[longer] + 1.0 - needed[longer] / length[longer])

    def actions(self, down_us: Indices, first: Flags, at: Indices, ramp_ticks: Indices, v_start: Indices) -> PenActions:
        """Servo commands and their places in the sequence of ramps.

        Parameters
        ----------
        down_us : (k,) int64, pulse that puts the pen on the paper where each stroke begins.
        first : (k,) bool, the stroke is the first of its pen: the pen comes from park, fully up.
        at : (2 k,) int64, number of ramps before the beginning and the end of each stroke, alternating.
        ramp_ticks, v_start : (m,) int64, duration and speed at the start of every ramp.
        """
        k = len(down_us)
        pulse = np.stack((down_us, np.full(k, self.up_us)), axis=1).ravel()
        dwell = np.tile([self.lower_ms, self.lift_ms], k)
        none = np.zeros(0, dtype=np.int64)
        if not self.overlap:
            return PenActions(pulse, dwell, none, none)
        begin, end = at[::2], at[1::2]
        left = np.concatenate(([0], end[:-1]))
        moment = np.concatenate(([0], np.cumsum(ramp_ticks)))
        latest = moment[begin] - units.ms_to_ticks(self.approach_ms)
        ramp = np.searchsorted(moment, latest, side="right") - 1
        on_the_way = (ramp > left) & (ramp < begin)
        on_the_way[on_the_way] = v_start[ramp[on_the_way]] > 0
        risen = moment[np.maximum(ramp, 0)] - moment[left] >= units.ms_to_ticks(max(self.lift_ms - self.near_ms, 0))
        passes = on_the_way & (risen | first)
        # From park the pen is fully up; where there is no time for an approach, it is lowered at standstill.
        hops = ~passes & ~first
        near = passes | hops
        share = np.abs(down_us - self.near_us) / abs(self.down_us - self.near_us)
        dwell[::2] = np.where(
            near, np.minimum(np.ceil(self.near_ms * np.maximum(share, 1.0)), self.lower_ms), dwell[::2]
        )
        before = np.flatnonzero(~first)  # strokes whose predecessor has the same pen
        dwell[2 * before - 1] = self.near_ms
        pulse[2 * before - 1] = np.where(hops[before], self.near_us, self.up_us)
        return PenActions(pulse, dwell, ramp[passes], np.full(int(passes.sum()), self.near_us))
