"""Short strokes, each put where it alone brings the drawing nearest to the picture.

Matching pursuit (S. Mallat and Z. Zhang, "Matching pursuits with time-frequency dictionaries", IEEE Transactions on
Signal Processing 41, 1993) over bent capsules of the pen's width: of all places, directions, bends and lengths the dab
that takes most from the error is laid, moved until nothing takes more, and so on until no dab helps. Then each is taken
up and laid anew among the others. Other than strokes that follow a field of directions, dabs may lie in any direction;
they draw what is as small as the pen, such as the eyes of a face as wide as twenty pens.

The error is that of `laying`: wanted coverage less ink, squared, both seen through a Gaussian. Where it falls by a dab
that covers the new places D, it falls by ``2 sum_D m - sum_DD K``, m being what is missing seen through K, the Gaussian
twice.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.compiled import compiled
from linewright.drawing.strokes import Points
from linewright.sources.blur import blurred
from linewright.sources.photograph import Floats32

PIXELS_PER_PEN: Final = 4
"""Of the grid on which dabs are painted: a disc of 12 pixels is one to a twentieth."""

BLUR_PENS: Final = 0.4
"""Standard deviation of the Gaussian through which the drawing is judged. With 0.6, eyes and brows of faces that are 20
pens wide grow together."""

ANGLES: Final = 12
BENDS: Final = (-0.12, -0.06, 0.0, 0.06, 0.12)
"""Directions and curvatures that are tried, the latter per pixel: the tightest bend has a radius of two pens."""

LONGEST_PENS: Final = 8.0
LEAST_PENS: Final = 0.8
"""Of a dab's middle line."""

ROUNDS: Final = 2
"""How often each dab is taken up again; more change hardly anything."""

SEARCHED: Final = 0.12
"""Dabs begin only where so much is missing."""

OFF_PICTURE: Final = 2.0
"""What each half of a pen's width beyond the border takes from a dab's merit."""

END_PENS: Final = 0.39
"""A round end covers as much as a square one that is so much shorter: pi/8 of the width."""

MOVES: Final = np.array([1.0, 1.0, 0.2, 1.5, 1.5, 0.03])
"""First changes of a dab's numbers while it is moved, pixels and radians; each failing round halves them."""

BEND_MOST: Final = 0.16
CHANGES: Final = 6
SMALLEST: Final = 0.2
"""Rounds of changes at most, and the share of `MOVES` at which they end."""

Dab = NDArray[np.float64]
"""x, y, angle, length back and ahead of there, and bend: a parabola's second derivative; pixels and radians."""


def dabs(wanted: Floats32, may_lie: NDArray[np.bool_]) -> list[Points]:
    """Middle lines of dabs, (n, 2) x, y in pixels, the most needed first.

    Parameters
    ----------
    wanted : (h, w) coverage, on a grid of `PIXELS_PER_PEN`.
    may_lie : (h, w) where the middle of a dab may lie.
    """
    from scipy import ndimage

    pen = PIXELS_PER_PEN
    sigma = BLUR_PENS * pen * math.sqrt(2)
    missing = blurred(wanted.astype(np.float64), sigma, truncate=3.0)
    reach = math.ceil(3 * sigma)
    kernel = np.exp(-(np.arange(-reach, reach + 1) ** 2) / (2 * sigma**2))
    kernel /= kernel.sum()
    ink = np.zeros(wanted.shape, dtype=np.int16)  # how many dabs cover each place
    angles, bends = np.arange(ANGLES) * math.pi / ANGLES, np.array(BENDS)
    steps = int(LONGEST_PENS * pen / 4)
    covered = np.zeros((int(2 * (LONGEST_PENS + 2) * pen * pen), 2), dtype=np.int64)
    prices = _prices(steps, kernel, covered)
    merits = np.full(wanted.shape, -np.inf)
    kinds = np.zeros((*wanted.shape, 3), dtype=np.int64)
    lined = np.zeros(wanted.shape)  # what a line through each place takes, to a pixel of its length
    laid: list[Dab] = []

    def weigh(left: int, top: int, right: int, bottom: int) -> None:
        """Find the best dab around each place of a box anew."""
        left, top = max(0, left // 2 * 2), max(0, top // 2 * 2)
        right, bottom = min(wanted.shape[1], right), min(wanted.shape[0], bottom)
        edge = 2 * steps + pen
        x0, y0, x1, y1 = max(0, left - edge), max(0, top - edge), right + edge, bottom + edge
        bare = np.where(ink[y0:y1, x0:x1] == 0, missing[y0:y1, x0:x1], 0.0)
        lined[y0:y1, x0:x1] = ndimage.uniform_filter(bare, pen, mode="constant") * pen
        _weigh(lined, left, top, right, bottom, angles, bends, prices, merits, kinds, SEARCHED * pen)
        merits[~may_lie] = -np.inf

    weigh(0, 0, wanted.shape[1], wanted.shape[0])
    around = 2 * steps + reach + pen
    while True:
        row, column = np.unravel_index(int(np.argmax(merits)), merits.shape)
        if not merits[row, column] > 0:
            break
        angle, bend, half = kinds[row, column]
        dab = np.array([column + 0.5, row + 0.5, angles[angle], 2.0 * half, 2.0 * half, bends[bend]])
        if _moved(dab, missing, ink, kernel, covered) <= 0:
            merits[row, column] = -np.inf
            continue
        _lay(dab, missing, ink, kernel, covered, 1)
        laid.append(dab)
        x, y = int(dab[0]), int(dab[1])
        weigh(x - around, y - around, x + around, y + around)
    for _ in range(ROUNDS):
        kept = []
        for dab in laid:
            _lay(dab, missing, ink, kernel, covered, -1)
            if _moved(dab, missing, ink, kernel, covered) > 0:
                _lay(dab, missing, ink, kernel, covered, 1)
                kept.append(dab)
        laid = kept
    return [_middle(dab) for dab in laid]


def _middle(dab: Dab) -> Points:
    """(n, 2) points of a dab's middle line, a quarter of the pen apart at most."""
    x, y, angle, back, ahead, bend = dab
    along = np.linspace(-back, ahead, max(2, math.ceil((back + ahead) / (PIXELS_PER_PEN / 4)) + 1))
    aside = 0.5 * bend * along**2
    cosine, sine = math.cos(angle), math.sin(angle)
    return np.column_stack((x + cosine * along - sine * aside, y + sine * along + cosine * aside))


def _prices(steps: int, kernel: Points, covered: NDArray[np.int64]) -> Points:
    """The sum of K over each pair of places that a straight dab covers, for dabs that reach 0, 2, 4... pixels each way.

    They are measured without their round ends, which `_weigh` leaves out, too.
    """
    side = 4 * steps + 4 * PIXELS_PER_PEN
    nothing, bare = np.zeros((side, side)), np.zeros((side, side), dtype=np.int16)
    prices = np.zeros(steps + 1)
    for k in range(steps + 1):
        half = max(0.0, 2 * k - END_PENS * PIXELS_PER_PEN)
        dab = np.array([side / 2, side / 2, 0.0, half, half, 0.0])
        prices[k] = -_gain(dab, nothing, bare, kernel, covered)
    return prices


@compiled
def _weigh(
    lined: Points, left: int, top: int, right: int, bottom: int, angles: Points, bends: Points, prices: Points,
    merits: Points, kinds: NDArray[np.int64], least: float,
) -> None:  # fmt: skip  # pragma: no cover
    """The best dab around every second place of a box: by how much the error falls, and its angle, bend and length."""
    rows, columns = lined.shape
    for i in range(top, bottom, 2):
        for j in range(left, right, 2):
            best = -1e9
            if lined[i, j] > least:
                for a in range(len(angles)):
                    cosine, sine = math.cos(angles[a]), math.sin(angles[a])
                    for b in range(len(bends)):
                        total = lined[i, j]
                        for step in range(len(prices)):
                            if step:
                                along = 2.0 * step - 0.5
                                aside = 0.5 * bends[b] * along * along
                                for side in range(2):
                                    t = along if side == 0 else -along
                                    y = int(i + 0.5 + sine * t + cosine * aside)
                                    x = int(j + 0.5 + cosine * t - sine * aside)
                                    if y < 0 or x < 0 or y >= rows or x >= columns:
                                        total -= OFF_PICTURE
                                    else:
                                        total += 2.0 * lined[y, x]
                            merit = 2.0 * total - prices[step]
                            if merit > best:
                                best = merit
                                kinds[i, j, 0], kinds[i, j, 1], kinds[i, j, 2] = a, b, step
            merits[i, j] = best


@compiled
def _cover(dab: Dab, ink: NDArray[np.int16], laid: int, covered: NDArray[np.int64]) -> int:  # pragma: no cover
    """How many places a dab covers that so many dabs cover already, -1: any; the places go to ``covered``."""
    rows, columns = ink.shape
    steps = max(1, math.ceil(dab[3] + dab[4]))
    cosine, sine = math.cos(dab[2]), math.sin(dab[2])
    radius = PIXELS_PER_PEN / 2
    low_x = low_y = 1e9
    high_x = high_y = -1e9
    line = np.zeros((steps + 1, 2))
    for k in range(steps + 1):
        along = -dab[3] + (dab[3] + dab[4]) * k / steps
        aside = 0.5 * dab[5] * along * along
        x, y = dab[0] + cosine * along - sine * aside, dab[1] + sine * along + cosine * aside
        low_x, high_x, low_y, high_y = min(low_x, x), max(high_x, x), min(low_y, y), max(high_y, y)
        line[k, 0], line[k, 1] = x, y
    count = 0
    for i in range(max(0, int(low_y - radius - 1)), min(rows, int(high_y + radius + 2))):
        for j in range(max(0, int(low_x - radius - 1)), min(columns, int(high_x + radius + 2))):
            if ink[i, j] != laid and laid >= 0:
                continue
            for k in range(steps + 1):
                dx, dy = j + 0.5 - line[k, 0], i + 0.5 - line[k, 1]
                if dx * dx + dy * dy <= radius * radius:
                    if count < len(covered):
                        covered[count, 0], covered[count, 1] = i, j
                        count += 1
                    break
    return count


@compiled
def _gain(
    dab: Dab, missing: Points, ink: NDArray[np.int16], kernel: Points, covered: NDArray[np.int64]
) -> float:  # pragma: no cover
    """By how much the error falls if a dab is laid."""
    count = _cover(dab, ink, 0, covered)
    reach = len(kernel) // 2
    gain = 0.0
    for a in range(count):
        i, j = covered[a, 0], covered[a, 1]
        gain += 2.0 * missing[i, j] - kernel[reach] * kernel[reach]
        for b in range(a):
            u, v = i - covered[b, 0], j - covered[b, 1]
            if -reach <= u <= reach and -reach <= v <= reach:
                gain -= 2.0 * kernel[u + reach] * kernel[v + reach]
    return gain


@compiled
def _moved(
    dab: Dab, missing: Points, ink: NDArray[np.int16], kernel: Points, covered: NDArray[np.int64]
) -> float:  # pragma: no cover
    """Move a dab to where the error falls most, one of its numbers at a time; by how much it falls there."""
    gain = _gain(dab, missing, ink, kernel, covered)
    size = 1.0
    for _ in range(CHANGES):
        better = False
        for k in range(6):
            for sign in (-1.0, 1.0):
                before = dab[k]
                dab[k] = before + sign * size * MOVES[k]
                if k == 3 or k == 4:
                    dab[k] = max(0.0, dab[k])
                length = dab[3] + dab[4]
                found = -1e9
                if LEAST_PENS * PIXELS_PER_PEN <= length <= LONGEST_PENS * PIXELS_PER_PEN and abs(dab[5]) <= BEND_MOST:
                    found = _gain(dab, missing, ink, kernel, covered)
                if found > gain + 1e-9:
                    gain, better = found, True
                else:
                    dab[k] = before
        if not better:
            size *= 0.5
            if size < SMALLEST:
                break
    return gain


@compiled
def _lay(
    dab: Dab, missing: Points, ink: NDArray[np.int16], kernel: Points, covered: NDArray[np.int64], sign: int
) -> None:  # pragma: no cover
    """Lay a dab, or take it up if ``sign`` is -1, and bring what is missing up to date."""
    rows, columns = missing.shape
    reach = len(kernel) // 2
    count = _cover(dab, ink, 0 if sign > 0 else 1, covered)
    for a in range(count):
        i, j = covered[a, 0], covered[a, 1]
        for u in range(max(0, i - reach), min(rows, i + reach + 1)):
            for v in range(max(0, j - reach), min(columns, j + reach + 1)):
                missing[u, v] -= sign * kernel[u - i + reach] * kernel[v - j + reach]
    count = _cover(dab, ink, -1, covered)
    for a in range(count):
        ink[covered[a, 0], covered[a, 1]] += sign
