"""What shapes are filled with, hatched in the colour of the filling."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.sources.fill import hatched
from linewright.sources.preparation import lightness
from linewright.sources.svg.flatten import Polylines
from linewright.sources.svg.harvest import Harvest
from linewright.sources.svg.limits import refuse

PALEST: Final = 0.04
"""Coverage below which a filling is the colour of paper and stays bare."""

DENSEST: Final = 0.9
"""Of a filling: solid black is left a little open, or the paper cockles."""


@dataclass(frozen=True)
class Hatching:
    """How fillings are hatched.

    Parameters
    ----------
    pen_mm : width of the line; a filling of coverage c has lines pen / c apart.
    angle_deg : of the first colour's lines; each further colour's are turned by 30 degrees.
    """

    pen_mm: float
    angle_deg: float = 45.0


def fill(lines: Polylines, found: Harvest, hatching: Hatching, vertices_high: int, name: str) -> Polylines:
    """Hatching for all fillings; owners are new entries of ``found.outlines`` in the colours of the fillings."""
    points, owners = [np.empty((0, 2, 2))], [np.empty(0, dtype=np.int64)]
    angle_of: dict[str, float] = {}
    left = vertices_high - len(lines.points_mm)
    edges = np.flatnonzero(np.diff(lines.owner)) + 1
    for low, high in zip([0, *edges], [*edges, len(lines)], strict=True):
        if low == high:
            continue
        one = found.outlines[lines.owner[low]]
        cover = 0.0 if one.fill is None else min(DENSEST, 1.0 - lightness(one.fill))
        if one.fill is None or cover < PALEST:
            continue
        starts = lines.starts[low : high + 1]
        shape = lines.points_mm[starts[0] : starts[-1]]
        pitch = hatching.pen_mm / cover
        expected = float(np.ptp(shape, axis=0).sum()) / pitch
        if expected > left:
            hint = "take a wider pen, or correct the size of the picture"
            raise refuse("too many points", vertices_high + expected, vertices_high, "points", where=name, hint=hint)
        angle = angle_of.setdefault(one.fill, hatching.angle_deg + 30.0 * len(angle_of))
        made = hatched(shape, starts - starts[0], pitch_mm=pitch, angle_deg=angle, even_odd=one.even_odd)
        left -= 2 * len(made)
        points.append(made)
        owners.append(np.full(len(made), len(found.outlines), dtype=np.int64))
        found.outlines.append(replace(one, colour=one.fill, filled=False, dots=False, dashes=()))
    flat = np.concatenate(points).reshape(-1, 2)
    return Polylines(flat, np.arange(0, len(flat) + 1, 2), np.concatenate(owners))


def concatenated(first: Polylines, second: Polylines) -> Polylines:
    """All lines of both."""
    return Polylines(
        np.concatenate((first.points_mm, second.points_mm)),
        np.concatenate((first.starts, second.starts[1:] + first.starts[-1])),
        np.concatenate((first.owner, second.owner)),
    )
