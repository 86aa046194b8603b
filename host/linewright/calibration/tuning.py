"""Chooses shaper and acceleration for a drawing on a machine that rings.

Every candidate is planned and simulated on a model that only rings, at the frequencies from the ringing sheet; the
deviation of its lines is the wobble. The fastest candidate within the allowed wobble is chosen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from linewright.errors import InputError
from linewright.motion import plan

if TYPE_CHECKING:
    from linewright.drawing.strokes import Drawing
    from linewright.rig.rig import Rig

SHAPERS: Final = ("none", "zv", "zvd")
TIP_MOST_MM: Final = 1_000.0
"""Length of ink for testing plans for the tip, which take a hundred times as long as others. The saving is extrapolated
to the whole drawing."""
SWINGS_MM: Final = (0.05, 0.02)
"""Tested swings per corner with a shaper: a tenth of a common line, and an invisible one."""
SHARES: Final = (1.0, 0.6, 0.35)
"""Tested shares of the rig file's acceleration: without a shaper only a lower acceleration reduces ringing."""
SAMPLE_STEPS: Final = 8
"""Sampling interval of drawn lines, steps: 0.1 mm at 80 steps/mm."""
MOST_MM: Final = 20_000.0
"""Length of ink that is tested: from a longer drawing strokes are sampled evenly, so that the result takes seconds."""
WORST_SHARE: Final = 0.999
"""Quantile of the deviation used as wobble, so that single corners of a long drawing do not decide."""


@dataclass(frozen=True)
class Candidate:
    """One candidate setting.

    Parameters
    ----------
    name : in words.
    changes : keys of the rig file.
    predicted_s : playing time of the drawing.
    wobble_mm, rms_mm : deviation of the lines, largest and RMS.
    """

    name: str
    changes: Mapping[str, object]
    predicted_s: float
    wobble_mm: float
    rms_mm: float


@dataclass(frozen=True)
class TuningResult:
    """Tested candidates, and the best one.

    Parameters
    ----------
    now : the rig file's settings.
    tried : all others, fastest first.
    best : the fastest within the allowed wobble, or the one with the least wobble if none is.
    within : whether ``best`` is within the allowed wobble.
    """

    now: Candidate
    tried: tuple[Candidate, ...]
    best: Candidate
    within: bool

    def describe(self) -> dict[str, Any]:
        """The result as a dict for JSON."""

        def one(candidate: Candidate) -> dict[str, Any]:
            return {
                "name": candidate.name,
                "changes": dict(candidate.changes),
                "predicted_s": candidate.predicted_s,
                "wobble_mm": round(candidate.wobble_mm, 4),
                "rms_mm": round(candidate.rms_mm, 4),
            }

        return {
            "now": one(self.now),
            "tried": [one(candidate) for candidate in self.tried],
            "best": one(self.best),
            "within": self.within,
        }


def tune(
    drawing: Drawing, rig: Rig, wobble_mm: float, report: Callable[[str, float], None] = lambda *_: None
) -> TuningResult:
    """Test every candidate on a drawing.

    Parameters
    ----------
    drawing : in machine coordinates, as it would be drawn.
    rig : with the frequencies from its ringing sheet.
    wobble_mm : allowed deviation of the lines.
    report : called with the present candidate and the share done.

    Raises
    ------
    InputError
        No frequency is known.
    """
    if not rig.smoothing.x_hz and not rig.smoothing.y_hz:
        raise InputError(
            "the ringing frequencies of the machine are not known: smoothing.x_hz and smoothing.y_hz are 0",
            hint="measure them with `linewright trial ringing` and `linewright fit`, then tune",
        )
    # Corrections change the drives' path, not the wobble of the pen; without them the model is that of a machine
    # without errors.
    plain = rig.changed({"corrections": {}})
    sample = _sample(drawing)
    candidates: list[tuple[str, dict[str, object]]] = [("as it is", {}), *_candidates(rig)]
    tried = []
    for number, (name, changes) in enumerate(candidates):
        report(f"trying {name}", number / len(candidates))
        tried.append(_tried(name, changes, plain, drawing, sample))
    now = tried.pop(0)
    report("trying plans for the tip", 1.0)
    tried.append(_for_the_tip(plain, drawing, now, wobble_mm))
    tried.sort(key=lambda candidate: candidate.predicted_s)
    calm = [candidate for candidate in (now, *tried) if candidate.wobble_mm <= wobble_mm]
    best = (
        min(calm, key=lambda candidate: candidate.predicted_s)
        if calm
        else min((now, *tried), key=lambda candidate: candidate.wobble_mm)
    )
    return TuningResult(now, tuple(tried), best, bool(calm))


def _candidates(rig: Rig) -> list[tuple[str, dict[str, object]]]:
    found: list[tuple[str, dict[str, object]]] = []
    for share in SHARES:
        accel = {
            "axis.x.accel_mm_s2": round(share * rig.x.accel_mm_s2, 1),
            "axis.y.accel_mm_s2": round(share * rig.y.accel_mm_s2, 1),
        }
        found.append((f"no shaper, {share:.0%} of the acceleration", {"smoothing.shaper": "none", **accel}))
    for shaper in SHAPERS[1:]:
        for swing in SWINGS_MM:
            found.append(
                (f"{shaper}, corners swing {swing:g} mm", {"smoothing.shaper": shaper, "smoothing.swing_mm": swing})
            )
    return found


def _for_the_tip(rig: Rig, drawing: Drawing, now: Candidate, wobble_mm: float) -> Candidate:
    """The best plan for the tip within the allowed wobble, timed on a part of the drawing."""
    part = _sample(drawing, TIP_MOST_MM)
    changes = {"smoothing.shaper": "tip", "smoothing.swing_mm": wobble_mm}
    tip = _tried(f"tip, within {wobble_mm:g} mm", changes, rig, part, part)
    if len(part) == len(drawing):
        return tip
    share = tip.predicted_s / plan(part, rig).predicted_s
    name = f"{tip.name} (by {len(part)} of {len(drawing)} strokes)"
    return replace(tip, name=name, predicted_s=share * now.predicted_s)


def _sample(drawing: Drawing, most_mm: float = MOST_MM) -> Drawing:
    """The drawing, or evenly sampled strokes of a long one."""
    total = float(drawing.stroke_lengths_mm().sum())
    every = max(1, int(np.ceil(total / most_mm)))
    return drawing.select(np.arange(0, len(drawing), every))


def _tried(name: str, changes: Mapping[str, object], rig: Rig, drawing: Drawing, sample: Drawing) -> Candidate:
    from linewright.simulation.faults import Faults
    from linewright.simulation.machine import Machine
    from linewright.simulation.shortcut import draw_on

    changed = rig.changed(changes) if changes else rig
    smoothing = rig.smoothing
    rings = Faults(
        ringing_x_hz=smoothing.x_hz,
        ringing_y_hz=smoothing.y_hz,
        ringing_damping=min(smoothing.x_damping, smoothing.y_damping),
    )
    program = plan(sample, changed)
    ink = draw_on(Machine.from_rig(rig), rings, program)
    off = []
    for i, stroke in enumerate(program.drawing):
        points = shapely.points(ink.stroke(i)[::SAMPLE_STEPS])
        planned = shapely.LineString(stroke) if len(stroke) > 1 else shapely.Point(stroke[0])
        off.append(shapely.distance(points, planned))
    far = np.concatenate(off)
    seconds = (
        program.predicted_s if sample is drawing or len(sample) == len(drawing) else plan(drawing, changed).predicted_s
    )
    return Candidate(
        name, changes, seconds, float(np.quantile(far, WORST_SHARE)), float(np.sqrt(np.mean(np.square(far))))
    )
