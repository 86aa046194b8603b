"""Hatching: straight parallel lines, more of them where it is darker; cross-hatching: several directions of them.

All lines are on one ruling with a pitch of the pen width, so that all of them together are solid ink. In each group of
`RANKS` lines, every line has a rank and is drawn where the picture is darker than its rank: a share c of the lines
gives a coverage c. Ranks are the bit-reversed numbers of the lines (van der Corput's sequence, 1935), so that the lines
drawn at any tone are spread as evenly as can be; this is ordered dithering with a ruling instead of a matrix (Bayer
1973).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.picture import Report
from linewright.sources.serpentine import linked
from linewright.sources.side_by_side import side_by_side
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer, ToneMethod
from linewright.sources.tone.streamlines import grown

RANKS: Final = 32
"""Levels of tone: half a step is 1.6 % of coverage, and the palest lines are 32 pens apart."""

CAP: Final = np.pi / 8
"""In pen widths: a round end adds half a disc, pi/8 w^2; shortening the line by this compensates."""

LEAST_RUN: Final = 3.0
"""In pen widths: shorter pieces are dropped, because they would be dots that cost a pen lift each."""

LEAST_GAP: Final = 1.5
"""In pen widths: shorter gaps are closed, because they close in wet ink and cost a pen lift each."""

PALEST: Final = 1.0 / RANKS
"""Coverage below which paper is bare: twice that at which the first line of a group starts."""

LAYER_TURN_DEG: Final = 30.0
"""Angle between the lines of two pens at which printing screens interfere least (common practice)."""

FORM_REACH: Final = 8.0
"""In pen widths: averaging distance of the form that lines follow."""

CROSS_SHARE: Final = 0.42
"""Coverage of a direction above which the next direction takes over. By eye: higher, and crossings occur only in the
deepest shadows."""


SPACING: Final = "smallest distance of lines, in pen widths; 1: black is solid"


@dataclass(frozen=True)
class Hatching(ToneMethod):
    """Straight lines in one direction."""

    angle_deg: float = settings.number(
        "direction of the lines; 0 is level, 45 rises to the right", 45.0, -180, 180, "deg"
    )
    form: float = settings.number("how closely lines bend with the form; 0: straight", 0.0, 0.0, 1.0)
    spacing: float = settings.number(SPACING, 1.0, 1.0, 40.0, "pens")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Lines, odd ones reversed, so that the pen goes back and forth."""
        layer.report("hatching", 0.0)
        angle = self.angle_deg + LAYER_TURN_DEG * layer.number
        if self.form > 0:
            return grown(_no_closer(layer.field, self.spacing), angle, self.form, FORM_REACH, layer.report)
        return ruled(layer.field, angle, self.spacing)


@dataclass(frozen=True)
class CrossHatching(ToneMethod):
    """Straight lines in several directions, each starting where the one before has become dense."""

    angle_deg: float = settings.number("direction of the first lines; 0 is level", 45.0, -180, 180, "deg")
    directions: int = settings.number("how many directions", 3, 2, 4)
    form: float = settings.number("how closely lines bend with the form; 0: straight", 0.0, 0.0, 1.0)
    spacing: float = settings.number(SPACING, 1.0, 1.0, 40.0, "pens")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """One direction after the other."""

        def direction(number: int, share: Field, report: Report) -> list[Points]:
            # 90 degrees for the second, as engravers do; further ones bisect the rest.
            turn = (0.0, 90.0, 45.0, 135.0)[number]
            angle = self.angle_deg + turn + LAYER_TURN_DEG / 2 * layer.number
            if self.form > 0:
                return grown(_no_closer(share, self.spacing), angle, self.form, FORM_REACH, report, across=turn)
            report("cross-hatching", 0.0)
            return ruled(share, angle, self.spacing)

        parts = [partial(direction, *numbered) for numbered in enumerate(shares(layer.field, self.directions))]
        return [stroke for found in side_by_side(parts, layer.report) for stroke in found]


def _no_closer(field: Field, spacing: float) -> Field:
    """The field limited to the coverage of lines at this spacing, in pens."""
    if spacing == 1:
        return field
    return Field(np.minimum(field.coverage, np.float32(1 / spacing)), field.width_mm, field.height_mm, field.pen_mm)


def shares(field: Field, directions: int) -> list[Field]:
    """Coverage of each direction such that all together give the wanted one.

    Directions cross at random as far as coverage is concerned, so bare paper multiplies (Demichel 1924): 1 - c = (1 -
    c1) (1 - c2) ... Each direction but the last is limited to `CROSS_SHARE`.
    """
    parts: list[Field] = []
    bare = 1.0 - field.coverage
    for number in range(directions):
        share = np.clip(1.0 - bare, 0.0, 1.0)
        if number < directions - 1:
            share = np.minimum(share, np.float32(CROSS_SHARE))
        parts.append(Field(share.astype(np.float32), field.width_mm, field.height_mm, field.pen_mm))
        bare = bare / (1.0 - np.minimum(share, np.float32(0.999)))
    return parts


def ranks(count: int) -> NDArray[np.float64]:
    """(count,) thresholds between 0 and 1 in bit-reversed order; ``count`` is a power of two.

    >>> ranks(4).tolist()
    [0.125, 0.625, 0.375, 0.875]
    """
    bits = count.bit_length() - 1
    numbers = np.arange(count)
    turned = sum(((numbers >> bit) & 1) << (bits - 1 - bit) for bit in range(bits))
    return np.asarray((turned + 0.5) / count)


def ruled(field: Field, angle_deg: float, spacing: float = 1.0) -> list[Points]:
    """Lines of one direction with the density of a field, linked to serpentines where links match the tone.

    Parameters
    ----------
    spacing : of the closest lines, in pens. Darker tones become paler; others do not change.
    """
    pen = field.pen_mm
    pitch = pen * spacing
    turn = np.deg2rad(-angle_deg)  # y points down
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * [field.width_mm, field.height_mm]
    low, high = (corners @ across).min(), (corners @ across).max()
    lines = np.arange(np.floor(low / pitch), np.ceil(high / pitch) + 1)
    lines = lines[((lines + 0.5) * pitch > low) & ((lines + 0.5) * pitch < high)]
    offset = (lines + 0.5) * pitch
    step = max(min(field.pixel_mm), pen / PIXELS_ALONG)
    first, last = _chords(field, offset[:, None] * across, along)
    # All lines share one grid of samples, from the first corner that any of them meets to the last.
    stations = np.arange(first.min() - step, last.max() + 2 * step, step)
    seen = field.smoothed(pen / 2)
    threshold = ranks(RANKS)[lines.astype(np.int64) % RANKS] / spacing
    strokes: list[Points] = []
    for rows in np.array_split(np.arange(len(lines)), max(1, len(lines) * len(stations) // 2_000_000)):
        points = offset[rows, None, None] * across + stations[None, :, None] * along
        over = seen.at(points) - threshold[rows, None]
        begin, end, row = _runs(over, stations, first[rows], last[rows], pen)
        head = offset[rows][row, None] * across + begin[:, None] * along
        tail = offset[rows][row, None] * across + end[:, None] * along
        pairs = np.stack((head, tail), axis=1)
        backwards = lines[rows][row].astype(np.int64) % 2 == 1
        pairs[backwards] = pairs[backwards, ::-1]
        np.clip(pairs, 0.0, [field.width_mm, field.height_mm], out=pairs)
        strokes += list(pairs)
    return linked(strokes, lambda points: seen.at(points, beyond=0.0) > PALEST, pen)


PIXELS_ALONG: Final = 2.0
"""Samples per pen width along a line; ends are interpolated between them."""


def _chords(field: Field, origin: Points, along: Points) -> tuple[Points, Points]:
    """(n,) positions where each line ``origin + s * along`` enters and leaves the picture, mm."""
    low, high = np.full(len(origin), -np.inf), np.full(len(origin), np.inf)
    for axis, side in ((0, field.width_mm), (1, field.height_mm)):
        if abs(along[axis]) > 1e-12:
            ends = np.sort(
                np.stack(((0.0 - origin[:, axis]) / along[axis], (side - origin[:, axis]) / along[axis])), axis=0
            )
            low, high = np.maximum(low, ends[0]), np.minimum(high, ends[1])
    return low, high


def _runs(
    over: NDArray[np.float64], stations: Points, first: Points, last: Points, pen: float
) -> tuple[Points, Points, NDArray[np.int64]]:
    """Start and end of each run of positive samples along its row, and the row; too short runs and gaps are removed."""
    step = stations[1] - stations[0]
    on = np.zeros((over.shape[0], over.shape[1] + 2), dtype=np.int8)
    inside = (stations >= first[:, None] - step) & (stations <= last[:, None] + step)
    on[:, 1:-1] = (over > 0) & inside
    change = np.diff(on, axis=1)
    row, at = np.nonzero(change == 1)
    _, until = np.nonzero(change == -1)
    padded = np.pad(over, ((0, 0), (1, 1)), mode="edge")
    # The threshold is crossed between the last sample outside and the first inside, by linear interpolation.
    begin = stations[0] + step * (at - _crossing(padded[row, at + 1], padded[row, at]))
    end = stations[0] + step * (until - 1 + _crossing(padded[row, until], padded[row, until + 1]))
    begin, end = np.maximum(begin, first[row]), np.minimum(end, last[row])
    near = np.flatnonzero((row[1:] == row[:-1]) & (begin[1:] - end[:-1] < LEAST_GAP * pen))
    keep_begin, keep_end = np.ones(len(row), dtype=bool), np.ones(len(row), dtype=bool)
    keep_begin[near + 1] = keep_end[near] = False
    begin, end, row = begin[keep_begin], end[keep_end], row[keep_begin]
    long = end - begin >= LEAST_RUN * pen
    return begin[long] + CAP * pen, end[long] - CAP * pen, row[long]


def _crossing(inner: NDArray[np.float64], outer: NDArray[np.float64]) -> NDArray[np.float64]:
    """Position of the zero from the inner sample (positive) towards the outer one, 0..1."""
    span = inner - outer
    share = np.where(outer < 0, inner / np.where(span > 0, span, 1.0), 1.0)
    return np.clip(share, 0.0, 1.0)
