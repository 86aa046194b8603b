"""`Wave`: a line that oscillates about its path, with larger amplitude and shorter wavelength where it is darker.

The coverage of an oscillation has no closed form once neighbouring turns overlap, so it is measured: `Wave` rasterises
itself at a dozen modulations at true width and inverts the result.
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
"""In pitches: wavelength at the smallest amplitude. By eye: longer ones miss detail, shorter ones crowd pale tones."""

SHORTEST_WAVES: Final = 1.3
"""In pen widths: at this wavelength up and down strokes overlap, and even the corners between crests fill; at 2 they
leave a sixth of the paper bare."""

FULL_SWING: Final = 0.7
"""Modulation at which the amplitude reaches half way to the neighbours; above it only the wavelength decreases."""

BEYOND: Final = 0.3
"""In pen widths: how far a full amplitude extends into the neighbours' half, so that no paper shows between crests."""

STAGGER_RAD: Final = np.pi * (3 - np.sqrt(5))
"""Phase shift between neighbours, the golden angle: rows in phase cover a tenth more than rows with random phases."""

PROBES: Final = 14
"""Number of measured modulations; linear interpolation between them has an error below 0.005 of coverage."""

STATIONS_PER_PEN: Final = 8
"""Stations along the path: ten per shortest wave, which cut its crests by 2.4 % (half of 1 - cos 18 degrees)."""


@dataclass(frozen=True)
class Wave:
    """Lines ``pitch_mm`` apart, drawn by a pen of ``pen_mm``."""

    pitch_mm: float
    pen_mm: float

    @property
    def step_mm(self) -> float:
        """Distance of stations along the path."""
        return self.pen_mm / STATIONS_PER_PEN

    @property
    def least(self) -> float:
        """Coverage of lines without oscillation."""
        return min(1.0, self.pen_mm / self.pitch_mm)

    def modulation(self, coverage: NDArray[np.float64]) -> NDArray[np.float64]:
        """Modulation, 0 (straight) to 1 (solid), for a wanted coverage."""
        probes, covers = _measured(round(self.pitch_mm / self.pen_mm, 2))
        return np.asarray(np.interp(coverage, covers, probes))

    def swing_mm(
        self, modulation: NDArray[np.float64], phase: NDArray[np.float64] | float = 0.0
    ) -> NDArray[np.float64]:
        """Displacement across the path at stations `step_mm` apart along the last axis; ``phase`` at the first one."""
        width = (0.5 * self.pitch_mm + BEYOND * self.pen_mm) * np.minimum(modulation / FULL_SWING, 1.0)
        longest, shortest = LONGEST_WAVES * self.pitch_mm, SHORTEST_WAVES * self.pen_mm
        length = longest * (min(shortest, longest) / longest) ** modulation
        turned = np.cumsum(2 * np.pi * self.step_mm / length, axis=-1)
        return np.asarray(width * np.sin(turned + phase))


@lru_cache(maxsize=64)
def _measured(pitch_in_pens: float) -> tuple[Points, Points]:
    """Modulations, and the coverage of each, ascending; unit of length is the pen width."""
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
    """Start and end of each run of at least ``least`` True along one axis."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]
