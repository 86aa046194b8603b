"""When the servo is told to move: how much of lifting and lowering happens while the carriage travels.

A pen that is raised clears the paper long before it is all the way up, and one that is lowered has a long way to come
before it may touch. `PenLift.near_us` is a height just clear of the paper, ``near_ms`` from it. So:

- **Lifting.** The carriage waits ``near_ms`` after the pulse, by when the pen is clear, and leaves while it rises on.
  The ink ends where the stroke ends. A pen that were late by ``t`` would draw on for ``a t^2 / 2``: at 1500 mm/s^2 a
  tenth of a common line, 0.05 mm, for 8 ms, but 0.3 mm for one of the servo's frames of 20 ms, so ``near_ms`` has to be
  measured with that frame in it.
- **Approaching.** On its way the pen comes down to the near height, in passing, so early that it is there on arrival.
  Only the last bit is lowered at rest.
- **Hopping.** Where the way is too short to rise and come down again, the pen stays at the near height.

The pen is never told to touch the paper while the carriage moves: a hold, a slower pace or a starving link would
stretch the way but not the servo's time, and the pen would land somewhere on it.
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
"""Pulse from the first touch to clear of the paper: four degrees of a common servo, a millimetre with an arm of 15 mm.
Paper on a board bulges by less (common practice)."""

SLOWEST_MS_US: Final = 0.375
"""A slow hobby servo turns 60 degrees, 667 us of pulse, in 250 ms (common practice)."""

SOONER: Final = 1.05
"""An approach begins this much sooner than the top speed asks: rounding to whole steps changes lengths by less."""


def near_height(pen: PenLift, touch_us: float, near_ms: int | None = None) -> dict[str, object]:
    """Keys of the rig file for lifting on the way, from the pulse at which the pen first touches.

    Parameters
    ----------
    pen : its heights up and down, and the times for all the way.
    near_ms : as measured; None: what a slow servo takes, and its frame.

    Returns
    -------
    dict
        ``pen.near_us`` and ``pen.near_ms``; empty where the pen is raised so little, or so quickly, that there is
        nothing to gain.
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
    """All that the servo is told for k strokes.

    Parameters
    ----------
    pulse_us, dwell_ms : (2 k,) int64, pulse and wait at the beginning and the end of each stroke, by turns.
    passing : (c,) int64, ramps before which it moves in passing, ascending.
    passing_us : (c,) int64.
    """

    pulse_us: Indices
    dwell_ms: Indices
    passing: Indices
    passing_us: Indices


@dataclass(frozen=True)
class PenLifts:
    """How the pen of a rig goes up and down.

    Parameters
    ----------
    up_us, near_us, down_us : pulses all the way up, clear of the paper everywhere, and on the paper.
    lift_ms, lower_ms : time all the way up and down.
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
        """The figures of a rig file; over a crooked sheet, the near height is clear of its highest place."""
        pen = rig.pen
        near = pen.clear_us
        changes = np.array(rig.corrections.pen_height.change_us, dtype=np.float64)
        if near != pen.up_us and changes.size:
            up = 1 if pen.up_us > pen.down_us else -1
            raised = near + up * math.ceil(max(float((up * changes).max()), 0.0))
            near = min(raised, pen.up_us) if up > 0 else max(raised, pen.up_us)
        # A servo that need not be waited for still gets a millisecond: a pen action without any wait is one in passing.
        return cls(pen.up_us, near, pen.down_us, max(pen.lift_ms, 1), max(pen.lower_ms, 1), max(pen.near_ms, 1))

    @property
    def overlap(self) -> bool:
        """Whether there is a near height at all."""
        return self.near_us != self.up_us

    @property
    def approach_ms(self) -> int:
        """Time from all the way up to the near height: that of lowering without its last bit, and a servo's frame."""
        return max(self.lower_ms - self.near_ms, 0) + SERVO_FRAME_MS

    def approaches(self, points_mm: Floats, down_at: Indices, limits: Limits) -> Floats:
        """(c,) float64, places on the ways to the vertices ``down_at`` where the pen has to begin to come down."""
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
        """What the servo is told, and when.

        Parameters
        ----------
        down_us : (k,) int64, pulse that puts the pen on the paper where each stroke begins.
        first : (k,) bool, the stroke begins a pen's part: the pen comes from park, all the way up.
        at : (2 k,) int64, ramps before the beginning and the end of each stroke, by turns.
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
        # From park, the pen is up; without time for an approach it is lowered at rest, all the way.
        hops = ~passes & ~first
        near = passes | hops
        share = np.abs(down_us - self.near_us) / abs(self.down_us - self.near_us)
        dwell[::2] = np.where(
            near, np.minimum(np.ceil(self.near_ms * np.maximum(share, 1.0)), self.lower_ms), dwell[::2]
        )
        before = np.flatnonzero(~first)  # whose lift is followed by another stroke
        dwell[2 * before - 1] = self.near_ms
        pulse[2 * before - 1] = np.where(hops[before], self.near_us, self.up_us)
        return PenActions(pulse, dwell, ramp[passes], np.full(int(passes.sum()), self.near_us))
