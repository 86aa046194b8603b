"""Shading: parallel lines inside fillings, spaced by tone, in each ink of a mixture.

Neighbouring line ends are linked, so that the pen stays down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.sources.fill import hatched
from linewright.sources.painting.flatten import Floats, Polylines
from linewright.sources.painting.inks import PALEST, coverage_at, tone
from linewright.sources.painting.marks import Paint
from linewright.sources.painting.regions import within
from linewright.sources.serpentine import linked

SOLID: Final = 0.85
"""Tone above which a filling counts as solid: black and dark colours."""

OVERLAP: Final = 0.1
"""Overlap of lines of a solid filling, as a share of the line width: allows for backlash, uneven ink and rounding."""

EDGE: Final = 0.1
"""In pen widths: how far a link may extend beyond a concave edge between two lines."""

LEAST_RUN: Final = 2.0
"""In pen widths: shorter bits of a fading line are dropped, because they would be dots that cost a pen lift each."""

TURN_DEG: Final = 30.0
"""Angle between the lines of two inks at which printing screens interfere least (common practice)."""


@dataclass(frozen=True)
class FillHatching:
    """How fillings are hatched.

    Parameters
    ----------
    pen_mm : width of the line; a filling of coverage c has lines pen / c apart.
    angle_deg : of the first colour's lines; each further colour is rotated by 30 degrees.
    """

    pen_mm: float
    angle_deg: float = 45.0


class Shading:
    """Shades fillings one by one, with a fixed direction for each ink."""

    def __init__(self, hatching: FillHatching, zoom: float) -> None:
        self._how = hatching
        self._zoom = zoom
        self._angles: dict[str, float] = {}

    def expected_points(self, rings: Polylines, paint: Paint) -> float:
        """Estimated number of points of a shading."""
        pitch = self._how.pen_mm / max(PALEST, min(1.0, tone(paint)))
        return float(np.ptp(rings.points_mm, axis=0).sum()) / pitch * (1 if paint.gradient is None else 8)

    def shaded(self, rings: Polylines, even_odd: bool, paint: Paint) -> dict[str, list[Floats]]:
        """Strokes, each (m, 2), mm, by ink (``#rrggbb``) of a filling."""
        found = self._lines(rings, even_odd, paint)
        if not any(len(lines) > 1 for lines in found.values()):
            return {colour: list(lines) for colour, lines in found.items()}
        pen = self._how.pen_mm
        inside = within(rings, even_odd=even_odd, slack_mm=EDGE * pen)
        return {colour: linked(list(lines), inside, pen) for colour, lines in found.items()}

    def _lines(self, rings: Polylines, even_odd: bool, paint: Paint) -> dict[str, Floats]:
        """Straight lines (m, 2, 2), mm, by ink."""
        pen = self._how.pen_mm
        if paint.gradient is None:
            dark = tone(paint)
            if dark < PALEST:
                return {}
            pitch = pen * (1.0 - OVERLAP) if dark >= SOLID else pen / dark
            return {paint.colour: self._ruled(rings, even_odd, pitch, self._angle(paint.colour))}
        found: dict[str, Floats] = {}
        for colour in dict.fromkeys(stop.colour for stop in paint.gradient.stops):
            angle = self._angle(colour)
            lines = self._ruled(rings, even_odd, pen, angle)
            faded = self._faded(lines, angle, paint, colour)
            if len(faded):
                found[colour] = faded
        return found

    def _angle(self, colour: str) -> float:
        return self._angles.setdefault(colour, self._how.angle_deg + TURN_DEG * len(self._angles))

    def _ruled(self, rings: Polylines, even_odd: bool, pitch: float, angle: float) -> Floats:
        return hatched(rings.points_mm, rings.starts, pitch_mm=pitch, angle_deg=angle, even_odd=even_odd)

    def _faded(self, lines: Floats, angle_deg: float, paint: Paint, colour: str) -> Floats:
        """Parts of lines, spaced by a pen width, that a varying tone requires: each line has a rank and is drawn where
        the tone exceeds it.

        Ranks as in `linewright.sources.tone.hatching`.
        """
        from linewright.sources.tone.hatching import RANKS, ranks

        if not len(lines):
            return lines
        pen = self._how.pen_mm
        turn = np.deg2rad(-angle_deg)
        across = np.array([-np.sin(turn), np.cos(turn)])
        number = np.floor(lines[:, 0] @ across / pen).astype(np.int64)
        length = np.hypot(*(lines[:, 1] - lines[:, 0]).T)
        counts = np.maximum(np.ceil(length / pen).astype(np.int64), 1)
        line = np.repeat(np.arange(len(lines)), counts)
        step = np.arange(len(line)) - np.repeat(np.cumsum(counts) - counts, counts)
        share = (step + 0.5) / counts[line]
        points = lines[line, 0] + share[:, None] * (lines[line, 1] - lines[line, 0])
        wanted = coverage_at(paint, points / self._zoom).get(colour)
        if wanted is None:
            return lines[:0]
        drawn = wanted > ranks(RANKS)[number[line] % RANKS]
        starts = drawn.copy()
        starts[1:] &= ~(drawn[:-1] & (line[1:] == line[:-1]))
        ends = drawn.copy()
        ends[:-1] &= ~(drawn[1:] & (line[1:] == line[:-1]))
        first, last = np.flatnonzero(starts), np.flatnonzero(ends)
        long = last - first + 1 >= LEAST_RUN
        first, last = first[long], last[long]
        of = line[first]
        delta = lines[of, 1] - lines[of, 0]
        begin = lines[of, 0] + (step[first] / counts[of])[:, None] * delta
        end = lines[of, 0] + ((step[last] + 1) / counts[of])[:, None] * delta
        return np.stack((begin, end), axis=1)
