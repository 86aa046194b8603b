"""Simulated measurements of a trial sheet drawn by a virtual machine, as a user with ruler and magnifier makes them.

Readings are taken on the pen's true path, with the scatter of a hand, and rounded. So the complete path from a hidden
fault to a corrected rig can be tested without paper.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial import combs, edges, heights, ladders, lengths, returns, waves
from linewright.calibration.trial.design import Trial

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet
    from linewright.simulation.shortcut import DrawnInk

Floats = NDArray[np.float64]

HAND_SHARE: Final = 1.0 / 3.0
"""Scatter of placing a ruler, in units of its reading."""
MEETS_MM: Final = 0.1
"""Two ticks offset by less look like one line of a 0.5 mm pen."""
FAINTEST_WAVE_MM: Final = 0.06
"""Smallest height of a wave, crest to trough, visible with a magnifier."""
BEFORE_MM: Final = 0.3
"""Start of the evaluated line before its corner, so that the rise to the first crest is included."""
SHORTEST_WAVE_MM: Final = 0.7
"""Shorter waves merge in a 0.5 mm line."""


def measure(
    trial: Trial, ink: DrawnInk, sheet: Sheet, rig: Rig, rng: np.random.Generator, *, reading_mm: float = 0.1
) -> dict[str, float]:
    """Simulated answers to the entries of a trial sheet.

    Parameters
    ----------
    trial : as drawn; its strokes correspond to those of ``ink``.
    ink : in machine mm.
    sheet, rig : as drawn.
    rng : random numbers of the scatter.
    reading_mm : resolution of the ruler.
    """
    sight = _Sight(trial, ink, rng, reading_mm)
    if trial.name in ("scale", "squareness", "circle"):
        return sight.spans(lengths.spans_of(trial.name, sheet), circle=trial.name == "circle")
    if trial.name == "backlash":
        return sight.combs(sheet)
    if trial.name == "straightness":
        return sight.fans()
    if trial.name == "heights":
        return sight.rows(rig)
    if trial.name == "ringing":
        return sight.waves()
    if trial.name == "repeatability":
        return sight.stacks()
    return sight.rungs(trial)


class _Sight:
    """Measurements on one sheet."""

    def __init__(self, trial: Trial, ink: DrawnInk, rng: np.random.Generator, reading_mm: float) -> None:
        self._ink = ink
        self._rng = rng
        self._reading_mm = reading_mm
        self._asked = trial.drawing
        self._part_of = np.repeat(np.arange(len(trial.parts)), [len(part.drawing) for part in trial.parts])
        self._entries = trial.entries
        low = np.minimum.reduceat(self._asked.points_mm, self._asked.starts[:-1], axis=0)
        high = np.maximum.reduceat(self._asked.points_mm, self._asked.starts[:-1], axis=0)
        self._middle = (low + high) / 2
        self._size = high - low

    def _read(self, length_mm: float) -> float:
        hand = self._rng.normal(0.0, HAND_SHARE * self._reading_mm)
        return float(np.round((length_mm + hand) / self._reading_mm) * self._reading_mm)

    def _at(self, place: tuple[float, float], *, upright: bool) -> int:
        """The stroke that was planned with its centre at a place of the sheet."""
        thin = self._size[:, 0] < 1e-9 if upright else self._size[:, 1] < 1e-9
        far = np.hypot(*(self._middle - np.array(place)).T) + np.where(thin, 0.0, 1e3)
        return int(np.argmin(far))

    def _cross(self, place: tuple[float, float]) -> Floats:
        """(2,) intersection of the lines of a cross, machine mm."""
        ends = [self._ink.stroke(self._at(place, upright=upright))[[0, -1]] for upright in (True, False)]
        (a, b), (c, d) = ends
        ways = np.column_stack((b - a, c - d))
        share = np.linalg.solve(ways, c - a)
        return np.asarray(a + share[0] * (b - a))

    def spans(self, spans: list[lengths.Distance], *, circle: bool) -> dict[str, float]:
        """Lengths between crosses, or diameters of circles."""
        answers = {}
        for span in spans:
            if circle:
                ends = [self._on_circle(span, place) for place in (span.begin, span.end)]
            else:
                ends = [self._cross(place) for place in (span.begin, span.end)]
            answers[span.name] = self._read(float(np.hypot(*(ends[1] - ends[0]))))
        return answers

    def _on_circle(self, span: lengths.Distance, place: tuple[float, float]) -> Floats:
        middle = (np.array(span.begin) + np.array(span.end)) / 2
        around = np.flatnonzero(np.hypot(*(self._middle - middle).T) < 0.5)
        stroke = around[np.argmin(np.abs(self._size[around].max(axis=1) - span.length_mm))]
        points = self._ink.stroke(int(stroke))
        centre = (points.min(axis=0) + points.max(axis=0)) / 2
        wanted = np.array(place) - middle
        way = points - centre
        cosine = way @ wanted / np.hypot(*way.T) / np.hypot(*wanted)
        return np.asarray(points[np.argmax(cosine)])

    def combs(self, sheet: Sheet) -> dict[str, float]:
        """Numbers of the coinciding lines."""
        numbers = np.arange(combs.FIRST, combs.LAST + 1)
        answers = {}
        for name, (axis, zero, across) in zip(combs.NAMES, combs.places(sheet), strict=True):
            first = zero + combs.FIRST * combs.PITCH_MM
            middle = across - combs.LINE_MM / 2
            begin = self._at((first, middle) if axis == "x" else (middle, first), upright=axis == "x")
            column = 0 if axis == "x" else 1
            # One comb in ascending order, a run-up, the other comb in descending order; compared where they meet.
            rising = [self._ink.stroke(begin + i)[-1, column] for i in range(len(numbers))]
            falling = [self._ink.stroke(begin + len(numbers) + 1 + i)[0, column] for i in range(len(numbers))]
            ahead = np.array(rising) - np.array(falling)[::-1]
            seen = float(np.interp(0.0, ahead, numbers)) + self._rng.normal(0.0, 0.2)
            answers[name] = float(np.clip(np.round(2.0 * seen) / 2.0, combs.FIRST, combs.LAST))
        return answers

    def fans(self) -> dict[str, float]:
        """Numbers of the dashes on the ruler's edge."""
        answers = {}
        numbers = np.arange(-edges.FAN, edges.FAN + 1)
        for axis in ("x", "y"):
            along, across = (0, 1) if axis == "x" else (1, 0)
            dash = (self._size[:, across] < 1e-9) & (np.abs(self._size[:, along] - edges.DASH_MM) < 1e-9)
            long = np.flatnonzero((self._size[:, across] < 1e-9) & (np.abs(self._size[:, along] - 12.0) < 1e-9))
            a, b = (self._ink.stroke(int(i)).mean(axis=0) for i in long)
            fans = np.flatnonzero(dash).reshape(-1, len(numbers))
            for number, fan in enumerate(fans, start=1):
                middles = np.array([self._ink.stroke(int(i)).mean(axis=0) for i in fan])
                edge = a[across] + (middles[:, along] - a[along]) / (b[along] - a[along]) * (b[across] - a[across])
                seen = float(np.interp(0.0, middles[:, across] - edge, numbers)) + self._rng.normal(0.0, 0.2)
                answers[f"{axis}{number}"] = float(np.clip(np.round(2.0 * seen) / 2.0, -edges.FAN, edges.FAN))
        return answers

    def rows(self, rig: Rig) -> dict[str, float]:
        """Numbers of the first whole dashes. The servo's delay is not simulated, so waits are not answered."""
        names = [entry.name for entry in self._entries if entry.name != heights.WAIT]
        levels = len(heights.pulses(rig))  # labels are part 0; the lines for the waits follow the dashes
        first = np.full(len(names), levels + 1)
        for level in range(levels, 0, -1):
            strokes = np.flatnonzero(self._part_of == level)
            whole = np.array([self._ink.pressure(int(i)).min() >= 0.0 for i in strokes])
            first[whole] = level
        return {name: float(value) for name, value in zip(names, first, strict=True)}

    def waves(self) -> dict[str, float]:
        """Counts and lengths of the waves after corners, where visible."""
        answers: dict[str, float] = {}
        for number in range(1, len(waves.SPEEDS_MM_S) + 1):
            for axis, part in (("x", 2 * number - 1), ("y", 2 * number)):
                points = self._ink.stroke(int(np.flatnonzero(self._part_of == part)[0]))
                found = _crests(points, 0 if axis == "x" else 1)
                if found is None or (found[0] < 2 and number < len(waves.SPEEDS_MM_S) - 1):
                    continue
                count, length = found
                answers[f"{axis}{number}-waves"] = float(count)
                answers[f"{axis}{number}-length"] = max(self._read(length), self._reading_mm)
        return answers

    def rungs(self, trial: Trial) -> dict[str, float]:
        """The last rung before the first one whose ticks are offset."""
        across = 0 if trial.options.get("axis", "x") == "x" else 1
        held = 0
        for rung in range(ladders.RUNGS):
            before, after = (
                self._ink.stroke(int(np.flatnonzero(self._part_of == 4 * rung + part)[0])) for part in (1, 3)
            )
            if abs(float(before[-1, across] - after[0, across])) > MEETS_MM:
                break
            held = rung + 1
        return {"held": float(held), "clean": float(held)}

    def stacks(self) -> dict[str, float]:
        """Spreads of the ticks at each target."""
        answers = {}
        thin = np.flatnonzero((self._size.min(axis=1) < 1e-9) & (np.diff(self._asked.starts) == 2))
        ticks = thin[np.abs(self._size[thin].max(axis=1) - returns.TICK_MM) < 1e-9]
        stacks = ticks.reshape(2 * returns.TARGETS, 2 * returns.TIMES)
        for row, stack in enumerate(stacks):
            axis = row // returns.TARGETS
            name = f"{'xy'[axis]}{row % returns.TARGETS + 1}"
            place = np.array([self._ink.stroke(int(i))[:, axis].mean() for i in stack])
            first, second = place[: returns.TIMES], place[returns.TIMES :]
            for what, length in (
                ("first", np.ptp(first)),
                ("second", np.ptp(second)),
                ("step", abs(second.mean() - first.mean())),
            ):
                answers[f"{name}-{what}"] = max(0.0, self._read(float(length)))
        return answers


def _crests(points_mm: Floats, aside: int) -> tuple[int, float] | None:
    """Number and total length of the waves after a corner; None if none are visible."""
    along = 1 - aside
    corner = int(np.argmax(points_mm[:, along] > points_mm[0, along] + waves.LEG_MM - BEFORE_MM))
    tail = points_mm[corner:]
    if len(tail) < 10:
        return None
    # On a machine with errors the line may be tilted.
    end = tail[-len(tail) // 3 :]
    slope, place = np.polyfit(end[:, along], end[:, aside], 1)
    off = tail[:, aside] - place - slope * tail[:, along]
    crests = [float(tail[at, along]) for at in _tops(off, FAINTEST_WAVE_MM)]
    # Waves are evenly spaced; an uneven one is no wave.
    spaces = np.diff(crests)
    if len(spaces) and spaces[0] < SHORTEST_WAVE_MM:
        return None
    even = np.append(np.abs(spaces - spaces[:1]) < 0.3 * spaces[:1], False)
    crests = crests[: int(np.argmin(even)) + 1]
    crests = crests[1:] if len(crests) > waves.ENOUGH_CRESTS else crests
    if len(crests) < 2:
        return None
    return len(crests) - 1, crests[-1] - crests[0]


def _tops(off: Floats, least: float) -> list[int]:
    """Indices of maxima with a drop of at least ``least`` on either side."""
    tops = []
    rising, at = True, 0
    for i, value in enumerate(off.tolist()):
        if rising:
            if value > off[at]:
                at = i
            elif value < off[at] - least:
                tops.append(at)
                rising, at = False, i
        elif value < off[at]:
            at = i
        elif value > off[at] + least:
            rising, at = True, i
    return tops
