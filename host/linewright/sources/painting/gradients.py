"""`Gradient`: colours that vary along a line or radially."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from linewright.sources.painting.matrices import Matrix, inverse

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stop:
    """A gradient stop: ``offset`` 0 to 1, ``#rrggbb``, alpha 0 to 1."""

    offset: float
    colour: str
    alpha: float = 1.0


@dataclass(frozen=True, slots=True)
class Gradient:
    """A linear or radial gradient (SVG 2, sections 14.2.2 and 14.2.3; PDF axial and radial shadings are the same).

    Parameters
    ----------
    matrix : the gradient's own units to mm of the page.
    circles : ``(x0, y0, r0, x1, y1, r1)``; both radii 0 for a linear gradient from one point to the other.
    stops : at least one, by ascending offset.
    spread : continuation beyond the ends.
    """

    matrix: Matrix
    circles: tuple[float, float, float, float, float, float]
    stops: tuple[Stop, ...]
    spread: Literal["pad", "reflect", "repeat"] = "pad"

    @property
    def least_alpha(self) -> float:
        """Smallest alpha of the stops."""
        return min(stop.alpha for stop in self.stops)

    def weights(self, page_mm: Floats) -> Floats:
        """(n, stops) float64: weight of each stop at (n, 2) points; rows sum to 1, or to 0 outside the cone."""
        a, b, c, d, e, f = inverse(self.matrix)
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # NaN means outside the gradient
            at = self._position(page_mm @ np.array(((a, b), (c, d))) + (e, f))
        off = ~np.isfinite(at)
        at = np.where(off, 0.0, at)
        if self.spread == "repeat":
            at = at - np.floor(at)
        elif self.spread == "reflect":
            at = 1.0 - np.abs(at % 2.0 - 1.0)
        offsets = np.maximum.accumulate(np.array([stop.offset for stop in self.stops]))
        above = np.searchsorted(offsets, at, side="right")
        low, high = np.clip(above - 1, 0, len(offsets) - 1), np.clip(above, 0, len(offsets) - 1)
        room = offsets[high] - offsets[low]
        share = np.divide(at - offsets[low], room, out=np.zeros(len(at)), where=room > 0.0)
        share = np.clip(share, 0.0, 1.0)
        found = np.zeros((len(at), len(offsets)))
        rows = np.arange(len(at))
        np.add.at(found, (rows, low), 1.0 - share)
        np.add.at(found, (rows, high), share)
        found[off] = 0.0
        return found

    def _position(self, points: Floats) -> Floats:
        x0, y0, r0, x1, y1, r1 = self.circles
        dx, dy, dr = x1 - x0, y1 - y0, r1 - r0
        px, py = points[:, 0] - x0, points[:, 1] - y0
        if r0 == 0.0 and r1 == 0.0:
            length = dx * dx + dy * dy
            return np.ones(len(points)) if length == 0.0 else np.asarray((px * dx + py * dy) / length)
        # The larger t whose circle, of radius >= 0, contains the point: a t^2 - 2 b t + c = 0.
        a = dx * dx + dy * dy - dr * dr
        b = px * dx + py * dy + r0 * dr
        c = px * px + py * py - r0 * r0
        if abs(a) < 1e-12 * max(1.0, r1 * r1):
            at = c / (2.0 * b)
            return np.where(r0 + at * dr >= 0.0, at, np.nan)
        root = np.sqrt(b * b - a * c)
        first, second = (b + root) / a, (b - root) / a
        high, low = np.maximum(first, second), np.minimum(first, second)
        return np.where(r0 + high * dr >= 0.0, high, np.where(r0 + low * dr >= 0.0, low, np.nan))
