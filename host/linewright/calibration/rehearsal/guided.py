"""The complete calibration of a virtual machine with hidden faults: draw, measure with a ruler, fit, and draw again.

It takes a second instead of an evening, so that it can be tested on hundreds of machines.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from linewright.calibration.rehearsal.ruler import measure
from linewright.calibration.trial import catalogue
from linewright.calibration.trial.design import program_of
from linewright.drawing.strokes import Drawing
from linewright.motion import plan
from linewright.rig.sheet_place import sheet_on
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.shortcut import draw_on

if TYPE_CHECKING:
    from linewright.calibration.trial.finding import Finding
    from linewright.rig.rig import Rig
    from linewright.simulation.shortcut import DrawnInk

Floats = NDArray[np.float64]

ORDER: Final = ("backlash", "squareness", "heights", "ringing")
"""Order of the sheets: each corrects errors that would disturb the later ones."""

CALM: Final[dict[str, object]] = {"smoothing.shaper": "zvd", "smoothing.swing_mm": 0.012}
"""Settings switched on when the ringing is known, as `tune` does. For a frequency error of 6 %, zv leaves (pi / 2) 0.06
= 9 % of a swing, zvd the square of that (Singer and Seering 1990, as in motion/shaping). Together with remaining errors
of scale, squareness and backlash, lines stay within 0.1 mm."""

READING_MM: Final = 0.1
SPARSE: Final = 8
"""Sampling interval of drawn lines, steps: 0.1 mm at 80 steps/mm."""


@dataclass(frozen=True)
class Outcome:
    """Result of a calibration.

    Parameters
    ----------
    rig : the corrected rig.
    findings : one per sheet.
    before_mm, after_mm : largest error of the test card's shape, independent of its position.
    pressure_before_us, pressure_after_us : lowest and highest pulse beyond first touch on the card.
    """

    rig: Rig
    findings: Mapping[str, Finding]
    before_mm: float
    after_mm: float
    pressure_before_us: tuple[float, float]
    pressure_after_us: tuple[float, float]


def hidden_faults(seed: int) -> Faults:
    """Random faults, up to the size that calibration must correct."""
    rng = np.random.default_rng(seed)
    return Faults(
        scale_x=rng.uniform(-0.03, 0.03),
        scale_y=rng.uniform(-0.03, 0.03),
        skew_deg=rng.uniform(-2.0, 2.0),
        backlash_x_mm=rng.uniform(0.0, 0.6),
        backlash_y_mm=rng.uniform(0.0, 0.6),
        paper_tilt_x_us=rng.uniform(-60.0, 60.0),
        paper_tilt_y_us=rng.uniform(-60.0, 60.0),
        paper_bow_us=rng.uniform(-30.0, 30.0),
        ringing_x_hz=rng.uniform(8.0, 40.0),
        ringing_y_hz=rng.uniform(8.0, 40.0),
    )


def card(rig: Rig) -> Drawing:
    """Test card: frame, diagonals, circles and a comb, machine mm, in the middle of the sheet."""
    sheet = sheet_on(rig)
    middle = np.array(rig.sheet.offset_mm) + np.array([sheet.width_mm, sheet.height_mm]) / 2
    half = np.array([74.0, 52.5])  # 148 x 105 mm, ISO 216 A6
    turn = np.linspace(0.0, 2.0 * np.pi, 241)
    rim = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) * half
    strokes = [
        rim,
        *(r * np.column_stack((np.cos(turn), np.sin(turn))) for r in (45.0, 15.0, 4.0)),
        np.array([[-1, -1], [1, 1]]) * half,
        np.array([[-1, 1], [1, -1]]) * half,
        *(np.array([[x, -48.0], [x, -38.0]]) for x in range(-60, 61, 20)),
        *(np.array([[62.0, y], [72.0, y]]) for y in range(40, -41, -20)),
    ]
    return Drawing.from_strokes([middle + stroke for stroke in strokes])


def departure_mm(planned: Drawing, ink: DrawnInk) -> float:
    """Largest deviation of the drawn shape from the planned one, independent of position and rotation."""
    places = [np.concatenate((ink.stroke(i)[::SPARSE], ink.stroke(i)[-1:])) for i in range(len(planned))]
    ends = np.cumsum([len(points) for points in places])[:-1]
    found = np.concatenate(places)
    moved = found
    for _ in range(4):
        near = [_nearest(part, stroke) for part, stroke in zip(np.split(moved, ends), planned, strict=True)]
        asked = np.concatenate(near)
        moved = _laid_on(found, asked)
    return float(np.hypot(*(moved - asked).T).max())


def _nearest(points_mm: Floats, stroke: Floats) -> Floats:
    """(n, 2) nearest points of a stroke to points (n, 2)."""
    line = shapely.LineString(stroke)
    along = shapely.line_locate_point(line, shapely.points(points_mm))
    return np.asarray(shapely.get_coordinates(shapely.line_interpolate_point(line, along)))


def _laid_on(found: Floats, asked: Floats) -> Floats:
    """Points moved and rotated to fit others best (Kabsch, Acta Cryst. A32, 1976)."""
    a, b = found - found.mean(axis=0), asked - asked.mean(axis=0)
    turn = math.atan2(float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()), float((a * b).sum()))
    c, s = math.cos(turn), math.sin(turn)
    return np.asarray(a @ np.array([[c, s], [-s, c]]) + asked.mean(axis=0))


def walk(rig: Rig, faults: Faults, seed: int, order: tuple[str, ...] = ORDER) -> Outcome:
    """Draw, measure and fit each trial sheet; draw a card before and after.

    Parameters
    ----------
    rig : the rig without known errors.
    faults : its hidden faults.
    seed : seed of the reading errors.
    """
    rng = np.random.default_rng(seed)
    machine = Machine.from_rig(rig)
    planned = card(rig)
    before = draw_on(machine, faults, plan(planned, rig))
    findings = {}
    for name in order:
        sheet = sheet_on(rig)
        trial = catalogue.design(name, rig, sheet)
        ink = draw_on(machine, faults, program_of(trial, rig, sheet))
        answers = measure(trial, ink, sheet, rig, rng, reading_mm=READING_MM)
        findings[name] = catalogue.kind(name).fit(trial, rig, sheet, answers, READING_MM)
        rig = rig.changed(findings[name].changes)
    if rig.smoothing.x_hz or rig.smoothing.y_hz:
        rig = rig.changed(CALM)
    after = draw_on(machine, faults, plan(planned, rig))
    return Outcome(
        rig,
        findings,
        departure_mm(planned, before),
        departure_mm(planned, after),
        (float(before.pressure_us.min()), float(before.pressure_us.max())),
        (float(after.pressure_us.min()), float(after.pressure_us.max())),
    )


def shortfalls(outcome: Outcome, faults: Faults) -> list[str]:
    """Figures whose error exceeds their stated uncertainty, in words; empty if none."""
    truths = {
        "backlash of x": faults.backlash_x_mm,
        "backlash of y": faults.backlash_y_mm,
        "scale of x": 100.0 * faults.scale_x,
        "scale of y": 100.0 * faults.scale_y,
        "squareness": faults.skew_deg,
        # Visible waves have the damped frequency.
        "ringing of x": faults.ringing_x_hz * math.sqrt(1 - faults.ringing_damping**2),
        "ringing of y": faults.ringing_y_hz * math.sqrt(1 - faults.ringing_damping**2),
    }
    found = {figure.name: figure for finding in outcome.findings.values() for figure in finding.figures}
    off = []
    for name, truth in truths.items():
        figure = found.get(name)
        if figure is None:
            off.append(f"{name} was not found; it is {truth:.4g}")
        elif figure.stated is None or abs(figure.after - truth) > figure.stated:
            off.append(f"{name} = {figure.after:.4g} +- {figure.stated or 0:.2g} {figure.unit}; it is {truth:.4g}")
    return off
