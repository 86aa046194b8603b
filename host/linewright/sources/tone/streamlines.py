"""Evenly spaced streamlines, closer together where it is darker; `linewright.sources.streamlines` grows them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.blur import blurred
from linewright.sources.photograph import Floats32
from linewright.sources.picture import Report
from linewright.sources.serpentine import linked
from linewright.sources.streamlines import Directions, Rule, grow
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.field import Field
from linewright.sources.tone.form import directions
from linewright.sources.tone.method import Layer, ToneMethod
from linewright.sources.tone.trace import simplified

SEED_SHARE: Final = 0.8
"""Share of the wanted distance at which a new line may start beside another. With 1, a new line starts only where two
fit, and tone comes in steps."""

TEST_SHARE: Final = 0.72
"""Share of the wanted distance at which a line ends at another. Smaller gives longer lines and less even tone."""

STEP: Final = 0.5
"""Integration step of the midpoint rule, in pen widths."""

WIDEST: Final = 16.0
"""In pen widths: line distance in the palest parts; paler ones stay bare."""

LEAST: Final = 6.0
"""In pen widths: shorter lines are dropped."""

BIN: Final = 2.0
"""In pen widths: side of the bins for neighbour searches. Lines are typically three pens apart; half or twice the size
takes a fifth longer."""

TOLERANCE: Final = 0.05
"""In pen widths: largest deviation of a dropped vertex."""

TRIM_REACH: Final = 6.0
"""In pen widths: averaging distance for comparing the first draft with the target."""

TRIM_FLOOR: Final = 0.05
TRIM_RANGE: Final = (0.75, 1.35)
"""Range of the second draft's correction: where there is little ink, the quotient is unreliable."""

CALIBRATION: Final = (
    (0.0, 0.0), (0.059, 0.07), (0.090, 0.1), (0.192, 0.2), (0.292, 0.3), (0.381, 0.4), (0.481, 0.5), (0.568, 0.6),
    (0.672, 0.7), (0.808, 0.85), (0.897, 1.0), (0.965, 1.2), (0.994, 1.5), (1.0, 1.8),
)  # fmt: skip
"""Coverage, and pen width divided by the distance to request for it: measured on constant tones with swirling
directions, three runs each, at true width; runs differ by 0.01."""


@dataclass(frozen=True)
class Streamlines(ToneMethod):
    """Long lines that bend with what they show."""

    angle_deg: float = settings.number("direction where there is no form; 0 is level", 30.0, -180, 180, "deg")
    form: float = settings.number("how closely lines follow the form: 0 not at all, 1 fully", 1.0, 0.0, 1.0)
    reach: float = settings.number("over which distance form is averaged, in pen widths", 8.0, 1.0, 100.0, "pens")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """In order of growth, each beside an earlier one."""
        turn = 30.0 * layer.number
        return grown(layer.field, self.angle_deg + turn, self.form, self.reach, layer.report)


def grown(
    field: Field, angle_deg: float, form: float, reach: float, report: Report, *, across: float = 0.0
) -> list[Points]:
    """Streamlines whose density follows a field.

    Parameters
    ----------
    reach : averaging distance of the form, in pens.
    across : angle of the lines to the form, degrees; 0: along it.
    """
    report("finding the form", 0.0)
    pen = field.pen_mm
    cosine, sine = directions(field, angle_deg - across, form, reach * pen)
    if across:
        c, s = np.cos(np.deg2rad(2 * across)), -np.sin(np.deg2rad(2 * across))  # y points down
        cosine, sine = c * cosine - s * sine, s * cosine + c * sine
    grid = field.smoothed(pen).sampled(pen)
    wanted = asked_for(grid.coverage.astype(np.float64))
    seeds = _seeds(grid)
    first = _lines(grid, cosine, sine, pen / wanted, seeds, report, (0.0, 0.5))
    # Coverage at a distance depends on curvature and divergence, so a first draft is measured and the distances are
    # corrected.
    size = (field.width_mm, field.height_mm)
    seen = _broad(inked(first, size, pen_mm=pen, pixel_mm=pen))
    asked = _broad(grid.coverage)
    trim = np.clip((asked + TRIM_FLOOR) / (seen + TRIM_FLOOR), *TRIM_RANGE)
    lines = _lines(grid, cosine, sine, pen / (wanted * trim), seeds, report, (0.5, 1.0))
    return linked(lines, lambda points: grid.at(points, beyond=0.0) > 1.0 / WIDEST, pen)


def _broad(coverage: Floats32) -> Floats32:
    """Coverage blurred until single lines are invisible."""
    return blurred(coverage, TRIM_REACH)


def _seeds(grid: Field) -> Points:
    """Further seeds: everywhere, darkest first, so that no island of tone is left out."""
    columns = grid.coverage.shape[1]
    inky = np.flatnonzero(grid.coverage > 1 / WIDEST)
    order = inky[np.argsort(-grid.coverage.ravel()[inky], kind="stable")]
    return np.column_stack(((order % columns + 0.5) * grid.pixel_mm[0], (order // columns + 0.5) * grid.pixel_mm[1]))


def _lines(
    grid: Field,
    cosine: Points,
    sine: Points,
    apart: NDArray[np.float64],
    seeds: Points,
    report: Report,
    share: tuple[float, float],
) -> list[Points]:
    """Lines at distances (h, w), mm; ``share`` is the part of the progress for this call."""
    pen = grid.pen_mm
    found = grow(
        Directions(cosine, sine, np.ascontiguousarray(apart), np.array([grid.width_mm, grid.height_mm])),
        Rule(SEED_SHARE, TEST_SHARE, STEP * pen, WIDEST * pen, LEAST * pen),
        seeds,
        bin_mm=BIN * pen,
        report=lambda done: report("streamlines", share[0] + done * (share[1] - share[0])),
    )
    return simplified(found, TOLERANCE * pen)


def asked_for(coverage: NDArray[np.float64]) -> NDArray[np.float64]:
    """Pen width divided by the distance to request for this coverage; never quite 0."""
    return np.asarray(np.maximum(np.interp(coverage, *np.array(CALIBRATION).T), 1.0 / (2 * WIDEST)))
