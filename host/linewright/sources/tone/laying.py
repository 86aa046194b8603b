"""Strokes laid one by one where ink is missing most.

M. P. Salisbury, M. T. Wong, J. F. Hughes and D. H. Salesin, "Orientable textures for image-based pen-and-ink
illustration", SIGGRAPH 1997: strokes follow a direction field; each starts where the blurred picture differs most from
the target, and ends where it would increase the error. They are in order of importance, so that an interrupted drawing
has the essential strokes.

The missing ink is wanted coverage minus ink, both blurred twice with a Gaussian (least squares of blurred pictures). A
pixel of line of width w reduces it by ``w / (sqrt(2 pi) s)`` with the blur s; a line pays where more than half of that
is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import compiled
from linewright.drawing.strokes import Points
from linewright.sources.blur import blurred
from linewright.sources.photograph import Floats32
from linewright.sources.picture import Report
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import TOLERANCE
from linewright.sources.tone.settling import settled
from linewright.sources.tone.trace import simplified, smooth

PAYS: Final = 0.8
"""Share of a line's ink that must be missing for it to be laid. One half is optimal for a single line; but then lines
that fill gaps between others come too early, and tones of 0.2 to 0.5 are 0.1 too dark."""

LENSES: Final = (1.0, 2.0, 3.5)
"""Blurs of the passes, relative to the first: the first lays what is dark or sharp; the others handle pale tones, whose
lines are far apart, and correct the rest. Together they leave constant tones from 0.12 to 0.9 within 0.04 (curved
directions, 60 mm square). Lines leave 0.08 and less bare; dashes of two pens draw 0.06 to 0.4 within 0.03."""

ROUNDS: Final = (3, 3, 2)
"""Of settling, after each pass: the next one fills the gaps that this leaves."""

GOES_ON: Final = 0.6
"""Share of that threshold down to which a started line continues."""

LEAST_PENS: Final = 4.0
"""Shortest stroke; shorter ones cost a pen lift each and show little."""

LONGEST_PENS: Final = 240.0

LEVELS: Final = 14
"""Threshold steps from the largest deficit down to the smallest worthwhile one; within a step, strokes are in row
order."""

SHORTER: Final = 0.75
"""Least length as a share of `longest_pens`, where that is less than the shortest stroke: of dashes."""

TURN: Final = 0.25
"""Largest turn, radians per pixel: a radius of four pixels, less than two pens."""

STEER: Final = 0.1
"""Deviations from the direction field, in radians, that a stroke may take at each pixel towards more missing ink: keeps
strokes on eyelids and lips that the field has smoothed over."""

SMOOTH_PX: Final = 2.0


@dataclass(frozen=True, eq=False)
class Bed:
    """Input for laying strokes.

    Parameters
    ----------
    field : wanted coverage.
    cosine, sine : double angle of the direction at each of its pixels.
    weight : (h, w) importance of each place; where it is 0, no stroke starts.
    blur_mm : standard deviation of the blur for comparing drawing and target.
    least_pens : shorter strokes are not laid.
    free : (h, w) where strokes settle (`settling`) after each pass, as there; None: nowhere.
    longest_pens : (h, w) length of the longest stroke that starts at each place; None: `LONGEST_PENS`.
    """

    field: Field
    cosine: Points
    sine: Points
    weight: Floats32
    blur_mm: float
    least_pens: float = LEAST_PENS
    free: Floats32 | None = None
    longest_pens: Floats32 | None = None


def laid_by_lenses(
    bed: Bed, report: Report, *, already: Sequence[Points] = (), ink_high_mm: float = np.inf
) -> list[Points]:
    """Strokes, mm, in one pass for each of `LENSES`; ``already`` is on the paper."""
    strokes: list[Points] = []
    used_mm = 0.0
    for number, (lens, rounds) in enumerate(zip(LENSES, ROUNDS, strict=True)):

        def within(state: str, done: float, number: int = number) -> None:
            report(state, (number + done) / len(LENSES))

        through = replace(bed, blur_mm=bed.blur_mm * lens)
        found = laid(through, within, already=[*already, *strokes], ink_high_mm=ink_high_mm - used_mm)
        strokes += found
        if bed.free is not None:
            report("settling strokes", (number + 1) / len(LENSES))
            strokes = settled(strokes, bed.field, bed.free, rounds, already)
        used_mm = sum(float(np.hypot(*np.diff(stroke, axis=0).T).sum()) for stroke in strokes)
    return strokes


def laid(
    bed: Bed, report: Report, *, already: Sequence[Points] = (), ink_high_mm: float = np.inf, pays: float = PAYS
) -> list[Points]:
    """Strokes, mm, most important first.

    Parameters
    ----------
    already : existing strokes.
    ink_high_mm : total length at which to stop.
    """
    from PIL import Image
    from scipy import special

    field = bed.field
    pixel = float(np.mean(field.pixel_mm))
    blur = bed.blur_mm * np.sqrt(2) / pixel
    missing = blurred(field.coverage.astype(np.float64), blur, truncate=3.0)
    ink = np.zeros(field.coverage.shape, dtype=np.bool_)
    if len(already):
        share = inked(already, (field.width_mm, field.height_mm), pen_mm=field.pen_mm, pixel_mm=pixel)
        rows, columns = field.coverage.shape  # which may differ by one from what this pixel gives
        share = np.asarray(Image.fromarray(share).resize((columns, rows), Image.Resampling.BOX))
        ink = share > 0.5
        missing -= blurred(share.astype(np.float64), blur, truncate=3.0)
    reach = int(np.ceil(3 * blur))
    offsets = np.arange(-reach, reach + 1)
    profile = np.exp(-(offsets**2) / (2 * blur**2))
    profile /= profile.sum()
    kernel = np.outer(profile, profile)
    # The target's blur continues the picture beyond its border. Ink ends there: what a place loses by that is made up.
    down, across = (np.convolve(np.ones(n), profile)[reach : reach + n] for n in missing.shape)
    gain = 1 / np.outer(down, across)
    pen_px = field.pen_mm / pixel
    least = pays * pen_px / (np.sqrt(2 * np.pi) * blur)
    weight = bed.weight.astype(np.float64)
    longest = np.full(missing.shape, LONGEST_PENS * pen_px)
    if bed.longest_pens is not None:
        longest = np.minimum(longest, bed.longest_pens * pen_px)
        # In its middle, a short stroke reduces the missing ink by so much less than an endless one.
        weight /= special.erf(longest / (2 * np.sqrt(2) * blur))
    top = float((missing * weight).max(initial=0.0))
    if top <= least:
        return []
    levels = np.geomspace(top * 0.97, least, LEVELS)
    ends = np.zeros(1 + missing.size // 20, dtype=np.int64)
    points = np.zeros((missing.size, 2))
    count = used = 0
    room = min(len(points), int(min(ink_high_mm / pixel, len(points))))
    for number, level in enumerate(levels):
        report("laying strokes", number / LEVELS)
        count, used = _lay(
            missing, ink, kernel, gain, bed.cosine, bed.sine, weight, level, GOES_ON * least,
            bed.least_pens * pen_px, longest, pen_px / 2, ends, points, count, used, room,
        )  # fmt: skip
    lines = [smooth(points[ends[i] : ends[i + 1]], SMOOTH_PX) * field.pixel_mm for i in range(count)]
    size = [field.width_mm, field.height_mm]
    return simplified([np.clip(line, 0.0, size) for line in lines], TOLERANCE * field.pen_mm, keeps_shape=True)


@compiled
def _lay(
    missing: Points, ink: NDArray[np.bool_], kernel: Points, gain: Points, cosine: Points, sine: Points, weight: Points,
    level: float, goes_on: float, shortest: float, longest: Points, radius: float, ends: NDArray[np.int64],
    points: Points, count: int, used: int, room: int,
) -> tuple[int, int]:  # fmt: skip  # pragma: no cover
    """Lay strokes wherever weight times missing ink exceeds ``level``; returns the number of strokes and of points.

    Points are stored in ``points``, one per pixel; stroke i ends at ``ends[i + 1]``.
    """
    rows, columns = missing.shape
    ahead, back = np.zeros((int(longest.max() / 2), 2)), np.zeros((int(longest.max() / 2), 2))
    for row in range(1, rows - 1, 2):
        for column in range(1, columns - 1, 2):
            if missing[row, column] * weight[row, column] < level:
                continue
            i, j = row, column
            for _ in range(6):  # uphill, to the largest deficit
                best_i, best_j = i, j
                for u in range(max(0, i - 1), min(rows, i + 2)):
                    for v in range(max(0, j - 1), min(columns, j + 2)):
                        if missing[u, v] > missing[best_i, best_j]:
                            best_i, best_j = u, v
                if best_i == i and best_j == j:
                    break
                i, j = best_i, best_j
            half = int(longest[i, j] / 2)
            n_ahead = _follow(missing, cosine, sine, weight, j + 0.5, i + 0.5, 0.0, goes_on, ahead[:half])
            n_back = _follow(missing, cosine, sine, weight, j + 0.5, i + 0.5, np.pi, goes_on, back[:half])
            if n_ahead + n_back + 1 < min(shortest, SHORTER * longest[i, j]):
                continue
            if used + n_ahead + n_back + 1 > room or count + 2 > len(ends):
                return count, used
            end = used
            for k in range(n_back):
                points[end] = back[n_back - 1 - k]
                end += 1
            points[end, 0], points[end, 1] = j + 0.5, i + 0.5
            end += 1
            for k in range(n_ahead):
                points[end] = ahead[k]
                end += 1
            if not _ink(missing, ink, kernel, gain, points[used:end], radius):
                continue  # it lies on other strokes
            count += 1
            ends[count] = used = end
    return count, used


@compiled
def _follow(
    missing: Points, cosine: Points, sine: Points, weight: Points, x: float, y: float, turned: float, stop: float,
    found: Points,
) -> int:  # fmt: skip  # pragma: no cover
    """Follow the direction from (x, y) while weight times missing ink exceeds ``stop``; returns the number of
    points.
    """
    rows, columns = missing.shape
    heading = 0.5 * np.arctan2(sine[int(y), int(x)], cosine[int(y), int(x)]) + turned
    n = weak = 0
    while n < len(found):
        i, j = int(y), int(x)
        bend = 0.5 * np.arctan2(sine[i, j], cosine[i, j]) - heading
        bend -= np.pi * np.round(bend / np.pi)
        base = heading + min(TURN, max(-TURN, bend))
        most = -1e9
        heading = base
        for k in range(-2, 3):
            angle = base + k * STEER
            u, v = int(y + 2.5 * np.sin(angle)), int(x + 2.5 * np.cos(angle))
            # A small penalty for leaving the direction, so that constant tones are crossed straight.
            if 0 <= u < rows and 0 <= v < columns and missing[u, v] - 0.004 * abs(k) > most:
                most = missing[u, v] - 0.004 * abs(k)
                heading = angle
        x += np.cos(heading)
        y += np.sin(heading)
        if x < 0 or y < 0 or x >= columns or y >= rows:
            break
        if missing[int(y), int(x)] * weight[int(y), int(x)] < stop:
            weak += 1
            if weak > 2:
                break
        else:
            weak = 0
        found[n, 0], found[n, 1] = x, y
        n += 1
    return max(0, n - weak)


@compiled
def _ink(
    missing: Points, ink: NDArray[np.bool_], kernel: Points, gain: Points, line: Points, radius: float
) -> int:  # pragma: no cover
    """Ink a line, and subtract newly covered paper from the missing ink, times ``gain``; returns its pixels."""
    rows, columns = missing.shape
    reach, new = kernel.shape[0] // 2, 0
    for p in range(len(line)):
        x, y = line[p, 0], line[p, 1]
        for i in range(max(0, int(y - radius - 1)), min(rows, int(y + radius + 2))):
            for j in range(max(0, int(x - radius - 1)), min(columns, int(x + radius + 2))):
                if ink[i, j] or (i + 0.5 - y) ** 2 + (j + 0.5 - x) ** 2 > radius * radius:
                    continue
                ink[i, j] = True
                new += 1
                for u in range(max(0, i - reach), min(rows, i + reach + 1)):
                    for v in range(max(0, j - reach), min(columns, j + reach + 1)):
                        missing[u, v] -= gain[u, v] * kernel[u - i + reach, v - j + reach]
    return new
