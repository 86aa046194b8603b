"""Ringing: lines after a sharp corner at known speed, which show the carriage's vibration as waves.

A carriage that rings at ``f`` while the pen moves at ``v`` along the other axis draws waves of length ``v / f``. Their
length is measured over as many waves as are visible.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.design import Axis, Entry, Part, Trial, gently
from linewright.calibration.trial.finding import Finding, FoundValue, Residual
from linewright.calibration.trial.least_squares import READING_SHARE, solve
from linewright.calibration.trial.page import Page
from linewright.errors import InputError, SheetError

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]

SPEEDS_MM_S: Final = (25.0, 40.0, 60.0, 80.0, 100.0)
"""At the corner one axis loses 0.42 of its speed at once: 42 mm/s are 210 full steps a second on a common machine, from
which such motors can start (common practice)."""
LEG_MM: Final = 14.0
SIDE_MM: Final = 6.5
"""Length of the line before the corner. It comes in at 25 degrees: the axis across loses 0.42 of the speed, which makes
it swing; the axis along gains 0.09, which hardly shifts the crests."""
TAIL_MM: Final = 55.0
LEAST_HZ, MOST_HZ = 2.0, 100.0
ENOUGH_CRESTS: Final = 3
"""Fewest waves to rely on; a single one may be a blot."""
LAG_MM: Final = 0.03
"""Largest deflection of a slanting line by different lags."""
MISCOUNT: Final = 0.6
"""Deviation of a line from the others, in waves, that counts as a miscount (which deviates by one)."""
SHIFT_SHARE: Final = 0.08
"""Largest shift of a crest by the swing of the other axis, in waves: that axis gets 0.09 of the speed at the corner."""
SYSTEMATIC: Final = 0.06
"""Relative systematic error of a frequency common to all lines: the other axis rings, too, and shifts the crests, and
an uncorrected scale changes the speed. Shapers tolerate this and more."""


def design(rig: Rig, sheet: Sheet) -> Trial:
    """The sheet ``ringing``, for both axes.

    Raises
    ------
    SheetError
        The paper is too small.
    """
    left, top, right, bottom = sheet.box_mm
    step = 16.0
    if right - left < TAIL_MM + LEG_MM + 45.0 or bottom - top < TAIL_MM + LEG_MM + 40.0 + step * len(SPEEDS_MM_S):
        raise SheetError(f"the {sheet.name} sheet has no room for the lines", hint="take a larger sheet")
    labels = Page()
    labels.text("RINGING", left + 16.0, top + 4.0)
    runs = []
    for number, speed in enumerate(SPEEDS_MM_S, start=1):
        # Axis x rings along vertical lines, axis y along horizontal ones. The corner is shallow, so that the axis along
        # which waves are measured hardly changes its speed.
        x, y = left + 14.0 + step * number, top + 20.0
        down, across = Page(), Page()
        down.line((x - SIDE_MM, y), (x, y + LEG_MM), (x, y + LEG_MM + TAIL_MM))
        labels.text(f"X{number}: {speed:g}", x - 6.0, y + LEG_MM + TAIL_MM + 5.0, 2.5)
        begin, level = left + 14.0, top + LEG_MM + TAIL_MM + 34.0 + step * number
        across.line((begin, level - SIDE_MM), (begin + LEG_MM, level), (begin + LEG_MM + TAIL_MM, level))
        labels.text(f"Y{number}: {speed:g} mm/s", begin + LEG_MM + TAIL_MM + 3.0, level + 1.2, 2.5)
        runs += [Part(page.drawing(), _sharp(speed)) for page in (down, across)]
    entries = tuple(
        Entry(
            f"{axis}{number}-{what}",
            f"line {axis.upper()}{number}: {words}",
            None,
            low,
            high,
            unit,
            needed=False,
        )
        for axis in ("x", "y")
        for number in range(1, len(SPEEDS_MM_S) + 1)
        for what, words, low, high, unit in (
            ("waves", "number of whole waves that you can distinguish behind the corner", 1, 30, "wave"),
            ("length", "total length of these waves, from crest to crest", 0.5, TAIL_MM, "mm"),
        )
    )
    how = (
        "Look at each line behind its corner with a magnifier: it swings from side to side and comes to rest.",
        "Count whole waves, without the first crest if there are many, and measure them together, from crest to crest.",
        "Leave out lines on which you see only one wave, unless it is the fastest line and the only one with any.",
        "If no line shows waves, the machine hardly rings, and no correction is needed.",
    )
    return Trial("ringing", "Ringing behind sharp corners", (Part(labels.drawing(), gently(rig)), *runs), entries, how)


def _sharp(speed: float) -> dict[str, object]:
    """Settings for corners at full speed: no smoothing, and no backlash compensation, which would slow the pen down
    there.
    """
    return {
        "motion.junction_deviation_mm": 1.0,
        "motion.pen_down_speed_mm_s": speed,
        "smoothing": {},
        "corrections.backlash_x_mm": 0.0,
        "corrections.backlash_y_mm": 0.0,
    }


def fit(trial: Trial, rig: Rig, sheet: Sheet, answers: Mapping[str, float], reading_mm: float) -> Finding:  # noqa: ARG001  all fits have one signature
    """The frequency at which each axis rings.

    Parameters
    ----------
    answers : ``x1-waves`` and ``x1-length`` and so on, in pairs.
    reading_mm : resolution of the ruler.

    Raises
    ------
    InputError
        A length has no count, or the frequencies of an axis contradict each other.
    """
    figures: list[FoundValue] = []
    residuals: list[Residual] = []
    changes: dict[str, object] = {}
    notes: list[str] = []
    for axis in ("x", "y"):
        hertz, sure = _frequency(axis, answers, reading_mm, residuals)
        if hertz is None or sure is None:
            notes.append(f"Nothing was measured for {axis}: no ringing is assumed.")
            continue
        before = rig.smoothing.x_hz if axis == "x" else rig.smoothing.y_hz
        figures.append(FoundValue(f"ringing of {axis}", before, hertz, sure, "Hz"))
        changes[f"smoothing.{axis}_hz"] = round(hertz, 2)
    if changes and rig.smoothing.shaper == "none":
        notes.append(
            "Smoothing is still off, so the machine rings as before: `linewright tune PICTURE` compares drawing time "
            "and wobble on a picture of yours, and sets the best smoothing."
        )
    calm_mm_s = _even_speed(rig, changes)
    if calm_mm_s < rig.motion.pen_down_speed_mm_s:
        changes["motion.pen_down_speed_mm_s"] = calm_mm_s
        figures.append(FoundValue("speed with the pen down", rig.motion.pen_down_speed_mm_s, calm_mm_s, None, "mm/s"))
        notes.append(
            "The ringing frequencies of the axes differ so much that slanting lines bend when drawn fast; a speed "
            "with the pen down is suggested."
        )
    return Finding("ringing", tuple(figures), tuple(residuals), changes, tuple(notes))


def _even_speed(rig: Rig, found: Mapping[str, object]) -> float:
    """Speed, mm/s, at which different lags of the axes deflect a slanting line by `LAG_MM`.

    An axis with damping ratio ``z`` that moves at ``v`` lags by ``2 z v / w`` (ramp response of the damped oscillator,
    any text on vibration). On a slanting line both lags have a component across it, at most half of their difference.
    """
    smoothing = rig.smoothing
    x_hz, y_hz = (found.get(f"smoothing.{axis}_hz", getattr(smoothing, f"{axis}_hz")) for axis in ("x", "y"))
    if not isinstance(x_hz, float) or not isinstance(y_hz, float) or not x_hz or not y_hz:
        return np.inf
    unlike_s = abs(smoothing.x_damping / x_hz - smoothing.y_damping / y_hz) / (2.0 * np.pi)
    return float(np.floor(LAG_MM / unlike_s)) if unlike_s * rig.motion.pen_down_speed_mm_s > LAG_MM else np.inf


def _frequency(
    axis: Axis, answers: Mapping[str, float], reading_mm: float, residuals: list[Residual]
) -> tuple[float | None, float | None]:
    """Frequency, Hz, and its stated uncertainty from all lines of an axis."""
    counts, lengths, speeds, names = [], [], [], []
    for number, speed in enumerate(SPEEDS_MM_S, start=1):
        waves, length = (answers.get(f"{axis}{number}-{what}") for what in ("waves", "length"))
        if (waves is None) != (length is None):
            raise InputError(
                f"line {axis.upper()}{number} has only one of its two values",
                hint="write down both the number of waves and their total length, or neither",
            )
        if waves is None or length is None:
            continue
        hertz = waves * speed / length
        if not LEAST_HZ <= hertz <= MOST_HZ:
            raise InputError(
                f"line {axis.upper()}{number}: {waves:g} waves on {length:g} mm at {speed:g} mm/s are {hertz:.3g} Hz; "
                f"machines ring at {LEAST_HZ:g} to {MOST_HZ:g} Hz",
                hint="count again from crest to crest, and measure in mm",
            )
        counts.append(waves)
        lengths.append(length)
        speeds.append(speed)
        names.append(f"{axis}{number}-length")
    if not counts:
        return None, None
    per_hertz = np.array(counts) * np.array(speeds)
    measured = np.array(lengths)
    # A miscount shows against the median, which one line cannot shift.
    usual = float(np.median(per_hertz / measured))
    missed = np.abs(measured * usual / np.array(speeds) - np.array(counts))
    worst = int(np.argmax(missed))
    if missed[worst] > MISCOUNT:
        raise InputError(
            f"{names[worst]} = {measured[worst]:g} mm does not fit the other lines of {axis}, which give "
            f"{per_hertz[worst] / usual:.1f} mm",
            hint="count its waves again; the count may be wrong by one",
        )
    # Error of a line: the reading, and a share of one wave, because the other axis also rings and shifts crests.
    scatter = np.hypot(READING_SHARE * reading_mm, SHIFT_SHARE * measured / np.array(counts))
    found = solve(lambda f: per_hertz / f / scatter, measured / scatter, np.array([usual]), 1.0)
    off_mm = found.residuals * scatter
    residuals += [
        Residual(name, float(value), float(rest), "mm")
        for name, value, rest in zip(names, measured, off_mm, strict=True)
    ]
    hertz = float(found.values[0])
    return hertz, float(np.hypot(found.stated[0], SYSTEMATIC * hertz))
