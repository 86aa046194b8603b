"""Backlash in plans for the tip: motor positions that bring an elastic machine's carriage where the plan wants it.

The play of an axis lies between motor and carriage, the elasticity between carriage and tip. So backlash is taken up
after the feedforward: first the carriage's motion that brings the tip to its line, then the motor's, ``B/2`` ahead on
the side ``s`` to which the carriage moves: ``carriage + s B/2``. A motor cannot change sides at once. It does so within
a time ``T``, evenly accelerated and decelerated (``s`` averaged by a triangle of length ``T``), half of it before the
carriage turns around and half of it after. Meanwhile the carriage stands. If it would have turned with an acceleration
``a``, its tip is left with a swing of ``w a T^3 / 12``; both this and the motors' limits are seen by the model, which
has the plan slowed down where they ask for that.

Where the carriage stands before it sets off the other way, the play is taken up while it stands, and before a stroke
with the pen still up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.machine.play import follow
from linewright.machine.shape import MachineShape
from linewright.motion.kinematics import Floats, Limits

Indices = NDArray[np.int64]

STILL_MM: Final = 1e-7
"""Ways per sample below this are rounding noise."""

LITTLE_MM: Final = 0.004
"""Where the carriage would turn back by less than this, it stands instead: a third of a step at 80 steps/mm."""

SHARES: Final = np.linspace(0.1, 0.9, 33)
"""Shares of an axis's acceleration that taking up may use: those that are tried."""


@dataclass(frozen=True)
class TakeUp:
    """Backlash of both axes, and how long taking it up lasts.

    Parameters
    ----------
    shape : the machine, with its backlash.
    samples : even number of sampling periods for x and y; 0 without play.
    """

    shape: MachineShape
    samples: tuple[int, int]

    @classmethod
    def of(
        cls, shape: MachineShape, limits: Limits, frequency_hz: tuple[float, float], swing_mm: float, period_s: float
    ) -> TakeUp | None:
        """None on a machine without backlash.

        With a share ``k`` of the acceleration ``A``, taking up lasts ``T = 2 sqrt(B / k A)``, and the carriage may turn
        around with the smaller of ``(1 - k) A``, what the motors leave, and ``6 swing / w T^3``, half of what the tip
        allows. The share is the one with which it turns fastest.
        """
        if not shape.plays:
            return None
        samples = []
        for play, accel, hz in zip(shape.play_mm, limits.accel_mm_s2.tolist(), frequency_hz, strict=True):
            lasts = 2.0 * np.sqrt(play / (SHARES * accel))
            with np.errstate(divide="ignore"):
                turns = 6.0 * swing_mm / (2.0 * math.pi * hz * lasts**3) if hz else 4.0 * swing_mm / lasts**2
            best = int(np.argmax(np.minimum((1.0 - SHARES) * accel, turns)))
            samples.append(2 * math.ceil(lasts[best] / period_s / 2.0) if play else 0)
        return cls(shape, (samples[0], samples[1]))

    @property
    def pad(self) -> int:
        """Samples without motion at the beginning and at the end of each stretch: for taking up, and one more on either
        side, so that stretches meet at rest.
        """
        return max(self.samples) + 2

    def motors(self, first: Indices, carriage_mm: Floats, begins: Indices) -> Floats:
        """(m, 2) float64, motor positions that lead the carriage along ``carriage_mm`` (m, 2).

        Parameters
        ----------
        first : (k + 1,) int64, first sample of each stretch.
        begins : (k, 2) int64, side on which the play of each axis has to be when a stretch begins: 1 or -1; 0: any.
        """
        out = carriage_mm.copy()
        for axis in (0, 1):
            if not self.shape.play_mm[axis]:
                continue
            home, lasts = self.shape.home_sense[axis], self.samples[axis]
            place = carriage_mm[:, axis]
            moved = np.diff(place, prepend=place[:1])
            moved[first[:-1]] = 0.0
            steady = follow(place, LITTLE_MM / 2.0, float(place[0]), (first[:-1], place[first[:-1]]))
            side = np.sign(np.diff(steady, prepend=steady[:1]))
            side[first[:-1]] = begins[:, axis]
            side[-1] = home
            known = np.flatnonzero(side)
            turns = np.flatnonzero(np.diff(side[known]))
            stops, goes = known[turns], known[turns + 1]
            # The carriage left its turning point before it was seen to have left it.
            index = np.arange(len(place))
            ahead, back = (np.maximum.accumulate(np.where(moved * way > STILL_MM, 0, index)) for way in (1.0, -1.0))
            leaves = np.maximum(np.where(side[goes] > 0.0, ahead[goes], back[goes]), stops)
            changes = np.zeros(len(place))
            np.add.at(changes, leaves - np.minimum((leaves - stops) // 2, lasts // 2), side[goes] - side[stops])
            half = np.ones(lasts // 2)
            smooth = np.convolve(np.convolve(half, half), (0.5, 0.5)) / half.sum() ** 2
            # Half of it lies before the middle.
            early = lasts // 2
            gone = np.convolve(np.append(changes, np.zeros(early)), smooth)[early : early + len(place)]
            out[:, axis] += self.shape.play_mm[axis] / 2.0 * (side[known[0]] - home + np.cumsum(gone))
        return out
