"""Smooth random fields: sums of waves of random direction, independent of resolution.

A sum of plane waves with amplitudes falling as 1/f (spectral synthesis; R. F. Voss in "The Science of Fractal Images",
ed. H.-O. Peitgen and D. Saupe, 1988) needs no lattice and has closed-form derivatives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from linewright.drawing.strokes import Points


@dataclass(frozen=True, eq=False)
class Noise:
    """A smooth function of the plane with mean 0 and variance 1.

    Parameters
    ----------
    waves : (n, 2) float64, radians per mm.
    phases, sizes : (n,) float64.
    """

    waves: Points
    phases: Points
    sizes: Points

    @classmethod
    def of(cls, rng: np.random.Generator, length_mm: float, *, octaves: int = 3, roughness: float = 0.5) -> Noise:
        """Noise with features of about this length, and smaller ones superposed.

        Parameters
        ----------
        octaves : number of halvings of the feature length.
        roughness : amplitude of each octave relative to the one before.
        """
        waves, sizes = [], []
        for octave in range(octaves):
            count = 10
            turn = rng.uniform(0.0, 2 * np.pi, count)
            size = 2 * np.pi / length_mm * 2**octave * rng.uniform(0.6, 1.3, count)
            waves.append(np.column_stack((np.cos(turn), np.sin(turn))) * size[:, None])
            sizes.append(np.full(count, roughness**octave))
        amplitude = np.concatenate(sizes)
        # A sine has variance 1/2.
        amplitude /= np.sqrt((amplitude**2).sum() / 2)
        return cls(np.concatenate(waves), rng.uniform(0.0, 2 * np.pi, len(amplitude)), amplitude)

    def at(self, points_mm: Points) -> Points:
        """(...,) float64 at (..., 2) places, mm."""
        return np.asarray(np.sin(points_mm @ self.waves.T + self.phases) @ self.sizes)

    def slope_at(self, points_mm: Points) -> Points:
        """(..., 2) float64: its gradient at (..., 2) places, per mm."""
        return np.asarray((np.cos(points_mm @ self.waves.T + self.phases) * self.sizes) @ self.waves)
