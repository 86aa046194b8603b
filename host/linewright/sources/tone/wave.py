"""`Wave`: a line that swings to and fro about its way, more widely and more often where it is to be darker.

What a swing covers has no closed form once neighbouring turns overlap, so it is measured: `Wave` draws itself at a
dozen modulations at true width and reads coverage backwards from that.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points
from linewright.sources.tone.coverage import inked

LONGEST_WAVES: Final = 1.5
"""In pitches: length of a wave that hardly swings. By eye: longer ones miss detail, shorter ones crowd pale tones."""

SHORTEST_WAVES: Final = 1.3
"""In pen widths: up and down then lie closer than a pen, and even the corners between crests fill; at 2 they leave a
sixth of the paper bare."""

FULL_SWING: Final = 0.7
"""Modulation from which the swing reaches half way to the neighbours on both sides; above it waves only get shorter."""

BEYOND: Final = 0.3
"""In pen widths: how far a full swing reaches into the neighbours' half, so that no paper shows between crests."""

STAGGER_RAD: Final = np.pi * (3 - np.sqrt(5))
"""Between the phases of neighbours, the golden angle: rows that swing alike cover a tenth more than rows at random."""

PROBES: Final = 14
"""Modulations that are measured; between them lines are straight, which is off by less than 0.005 of coverage."""

STATIONS_PER_PEN: Final = 8
"""Stations along the way: ten to the shortest wave, which cut its crests by 2.4 % (half of 1 - cos 18 degrees)."""


@dataclass(frozen=True)
class Wave:
    """Lines ``pitch_mm`` apart, drawn by a pen of ``pen_mm``."""

    pitch_mm: float
    pen_mm: float

    @property
    def step_mm(self) -> float:
        """Distance of stations along the way."""
        return self.pen_mm / STATIONS_PER_PEN

    @property
    def least(self) -> float:
        """Coverage of lines that do not swing at all."""
        return min(1.0, self.pen_mm / self.pitch_mm)

    def modulation(self, coverage: NDArray[np.float64]) -> NDArray[np.float64]:
        """0 (straight) to 1 (solid) that covers as much as is wanted."""
        probes, covers = _measured(round(self.pitch_mm / self.pen_mm, 2))
        return np.asarray(np.interp(coverage, covers, probes))

    def swing_mm(
        self, modulation: NDArray[np.float64], phase: NDArray[np.float64] | float = 0.0
    ) -> NDArray[np.float64]:
        """Displacement across the way at stations `step_mm` apart along the last axis; ``phase`` at the first one."""
        width = (0.5 * self.pitch_mm + BEYOND * self.pen_mm) * np.minimum(modulation / FULL_SWING, 1.0)
        longest, shortest = LONGEST_WAVES * self.pitch_mm, SHORTEST_WAVES * self.pen_mm
        length = longest * (min(shortest, longest) / longest) ** modulation
        turned = np.cumsum(2 * np.pi * self.step_mm / length, axis=-1)
        return np.asarray(width * np.sin(turned + phase))


@lru_cache(maxsize=64)
def _measured(pitch_in_pens: float) -> tuple[Points, Points]:
    """Modulations, and the coverage of each, rising; unit of length is the pen."""
    wave = Wave(pitch_in_pens, 1.0)
    rows, long = 5, 24.0
    stations = np.arange(0.0, long, wave.step_mm)
    phases = STAGGER_RAD * np.arange(rows + 2)[:, None]
    probes = np.linspace(0.0, 1.0, PROBES)
    covers = []
    for probe in probes:
        swing = wave.swing_mm(np.full((rows + 2, len(stations)), probe), phases)
        ways = [np.column_stack((stations, row + (number - 0.5) * pitch_in_pens)) for number, row in enumerate(swing)]
        ink = inked(ways, (long, rows * pitch_in_pens), pen_mm=1.0, pixel_mm=0.25)
        covers.append(float(ink[:, 8:-8].mean()))
    return probes, np.maximum.accumulate(np.array(covers) + 1e-6 * np.arange(PROBES))


def runs(on: NDArray[np.bool_], least: int) -> list[tuple[int, int]]:
    """Begin and end of each run of at least ``least`` True along one axis."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]
