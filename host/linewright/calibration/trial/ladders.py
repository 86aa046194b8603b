"""Speed and acceleration ladders: each rung is faster or accelerates harder, between two slow ticks that must align.

A motor that loses steps shifts everything after it. Each rung begins with a slow tick, runs out along the axis with the
pen up at its own speed or acceleration, and returns slowly, drawing. This is repeated, and a slow tick follows right
below the first. If both form a straight line, no step was lost. The return is slow, because losses in both directions
could cancel.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.design import Axis, Entry, Part, Trial, gently
from linewright.calibration.trial.finding import Finding, FoundValue
from linewright.calibration.trial.page import Page
from linewright.errors import InputError, SheetError

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]

RUNGS: Final = 8
PASSES: Final = 3
"""Runs out and back per rung, so that occasional losses show, too."""
BACK_MM_S: Final = 25.0
"""Speed of the return; a motor that loses steps at it is not set up yet."""
ROW_MM: Final = 9.0
MARGIN_SHARE: Final = 0.7
"""Share of the last good rung that becomes the limit: friction grows with dust, and torque falls with the supply
voltage. A margin of a third is common practice."""


def rungs(name: str, rig: Rig, axis: Axis, top: float | None) -> Floats:
    """(RUNGS,) float64, mm/s or mm/s^2: from half of the rig file's limit to ``top`` or twice the limit, in a constant
    ratio.

    Raises
    ------
    InputError
        ``top`` is not above half of the rig file's limit, or above what a rig file may state.
    """
    one = rig.x if axis == "x" else rig.y
    now = one.speed_mm_s if name == "speed" else one.accel_mm_s2
    last = 2.0 * now if top is None else top
    most = 2000.0 if name == "speed" else 50_000.0
    if not now / 2 < last <= most:
        unit = "mm/s" if name == "speed" else "mm/s^2"
        raise InputError(
            f"a last rung of {last:g} {unit} is outside {now / 2:g}..{most:g} {unit}",
            hint="the first rung is half of the rig file's limit; give a --top above it",
        )
    return np.geomspace(now / 2, last, RUNGS).round(0 if last > 50 else 1)


def design(name: str, rig: Rig, sheet: Sheet, axis: Axis = "x", top: float | None = None) -> Trial:
    """The sheet ``speed`` or ``acceleration`` for one axis.

    Raises
    ------
    SheetError
        The paper is too small.
        InputError
        ``top`` is too low.
    """
    values = rungs(name, rig, axis, top)
    left, upper, right, lower = sheet.box_mm
    along_end, across_end = (right, lower) if axis == "x" else (lower, right)
    along_begin, across_begin = (left + 8.0, upper + 16.0) if axis == "x" else (upper + 16.0, left + 8.0)
    if across_end - across_begin < RUNGS * ROW_MM + 4.0 or along_end - along_begin < 70.0:
        raise SheetError(f"the {sheet.name} sheet has no room for {RUNGS} rungs", hint="take a larger sheet")

    def at(along: float, across: float) -> tuple[float, float]:
        return (along, across) if axis == "x" else (across, along)

    slow = gently(rig)
    unit = "mm/s" if name == "speed" else "mm/s2"
    labels = Page()
    labels.text(f"{name.upper()} {axis.upper()}", left + 16.0, upper + 4.0)
    rows: list[Part] = []
    length = along_end - along_begin - 40.0
    for number, value in enumerate(values, start=1):
        across = across_begin + (number - 0.5) * ROW_MM
        before, run, after, ink = Page(), Page(), Page(), Page()
        before.line(at(along_begin, across - 3.0), at(along_begin, across))
        near, far = at(along_begin + 3.0, across - 1.5), at(along_begin + length, across - 1.5)
        for _ in range(PASSES):
            run.line(far, near)
        after.line(at(along_begin, across), at(along_begin, across + 3.0))
        ink.line(at(along_begin + 3.0, across + 1.5), at(along_begin + length, across + 1.5))
        labels.text(f"{number}: {value:g} {unit}", *at(along_begin + length + 3.0, across + 1.2), 2.4)
        fast = _fast(name, rig, axis, float(value))
        out = fast | {"motion.pen_down_speed_mm_s": BACK_MM_S}
        rows += [Part(before.drawing(), slow), Part(run.drawing(), out), Part(after.drawing(), slow)]
        rows.append(Part(ink.drawing(), fast))
    parts = [Part(labels.drawing(), slow), *rows]
    entries = (
        Entry(
            "held",
            "last rung, counted from 1, whose two ticks form one straight line (0 if there is none)",
            None,
            0,
            RUNGS,
            "rung",
        ),
        Entry(
            "clean",
            "last rung whose lower line, drawn at full speed, is unbroken and even",
            None,
            0,
            RUNGS,
            "rung",
            needed=False,
        ),
    )
    how = (
        (
            "CAUTION: stay at the machine with a hand on the switch of the motors' power. If it growls or hits an "
            "end, switch off; the rungs drawn by then are sufficient."
        ),
        (
            "At the left of every rung there are two ticks, one above the other. Find the last rung whose ticks form "
            "one straight line; once a step is lost, the ticks are offset."
        ),
        "Then look at the lines: broken or wobbly ink may require a lower limit.",
    )
    return Trial(
        name,
        f"{'Speed' if name == 'speed' else 'Acceleration'} ladder of {axis}",
        tuple(parts),
        entries,
        how,
        raised=_fast(name, rig, axis, float(values[-1])),
        options={"axis": axis, **({} if top is None else {"top": top})},
    )


def _fast(name: str, rig: Rig, axis: Axis, value: float) -> dict[str, object]:
    """Keys of the rig changed for a rung."""
    one = rig.x if axis == "x" else rig.y
    if name == "speed":
        return {
            f"axis.{axis}.speed_mm_s": value,
            "motion.pen_down_speed_mm_s": min(2000.0, max(value, rig.motion.pen_down_speed_mm_s)),
            **({"homing.fast_mm_s": value} if value < rig.homing.fast_mm_s else {}),
            **({"homing.slow_mm_s": value} if value < rig.homing.slow_mm_s else {}),
        }
    return {f"axis.{axis}.accel_mm_s2": value, "motion.pen_down_speed_mm_s": one.speed_mm_s}


def fit(trial: Trial, rig: Rig, sheet: Sheet, answers: Mapping[str, float], reading: float) -> Finding:  # noqa: ARG001  all fits have one signature
    """A limit with a margin below the last good rung.

    Raises
    ------
    InputError
        Even the first rung lost steps.
    """
    axis: Axis = "y" if trial.options.get("axis") == "y" else "x"
    top = trial.options.get("top")
    values = rungs(trial.name, rig, axis, None if top is None else float(top))
    held, clean = int(answers["held"]), answers.get("clean")
    if held < 1:
        raise InputError(
            "steps were lost on the first rung already",
            hint="look for a fault first: motor current, a rail that binds, a slack belt; then begin lower with --top",
        )
    one = rig.x if axis == "x" else rig.y
    key, unit = ("speed_mm_s", "mm/s") if trial.name == "speed" else ("accel_mm_s2", "mm/s^2")
    before = one.speed_mm_s if trial.name == "speed" else one.accel_mm_s2
    after = float(f"{MARGIN_SHARE * values[held - 1]:.3g}")
    changes: dict[str, object] = {f"axis.{axis}.{key}": after}
    figures = [FoundValue(f"{trial.name} of {axis}", before, after, None, unit)]
    notes = [f"{MARGIN_SHARE:.0%} of rung {held} ({values[held - 1]:g} {unit}), the last that lost no step."]
    if held == RUNGS:
        notes.append("No steps were lost on the last rung: a ladder with a higher --top may find a higher limit.")
    if trial.name == "speed" and clean is not None:
        ink = float(values[max(int(clean), 1) - 1])
        if int(clean) < 1:
            notes.append("The line is broken on the first rung already: try a wetter pen or more pressure.")
        now = rig.motion.pen_down_speed_mm_s
        changes["motion.pen_down_speed_mm_s"] = ink
        figures.append(FoundValue("speed with the pen down", now, ink, None, unit))
    if trial.name == "speed" and after < rig.homing.fast_mm_s:
        changes["homing.fast_mm_s"] = after
    return Finding(trial.name, tuple(figures), (), changes, tuple(notes))
