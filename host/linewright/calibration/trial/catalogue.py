"""List of the trial sheets in their recommended order."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from linewright.calibration.trial import combs, edges, heights, ladders, lengths, marks, returns, waves
from linewright.calibration.trial.design import Trial
from linewright.calibration.trial.finding import Finding
from linewright.errors import InputError

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet


@dataclass(frozen=True)
class Kind:
    """One kind of trial sheet.

    Parameters
    ----------
    about : description in one line.
    design : makes the sheet from rig, paper and options.
    fit : computes the result from trial, rig as drawn, paper, answers and resolution of reading.
    options : names of the options of ``design``.
    """

    about: str
    design: Callable[..., Trial]
    fit: Callable[[Trial, Rig, Sheet, Mapping[str, float], float], Finding]
    options: tuple[str, ...] = ()


def _named(design: Callable[..., Trial], name: str) -> Callable[..., Trial]:
    def made(rig: Rig, sheet: Sheet, **options: Any) -> Trial:
        return design(name, rig, sheet, **options)

    return made


KINDS: Final[Mapping[str, Kind]] = {
    "backlash": Kind("backlash of both axes, read from combs without a ruler", combs.design, combs.fit),
    "straightness": Kind(
        "straightness of the rails, read against a ruler's edge", edges.design, edges.fit, ("reach_mm",)
    ),
    "squareness": Kind(
        "scale and squareness together, from sides and diagonals", _named(lengths.design, "squareness"), lengths.fit
    ),
    "scale": Kind("scale alone, from six lengths", _named(lengths.design, "scale"), lengths.fit),
    "circle": Kind(
        "scale and squareness, from two circles; a good check", _named(lengths.design, "circle"), lengths.fit
    ),
    "photo": Kind("scale, squareness and straightness, from one photograph", marks.design, marks.fit),
    "heights": Kind(
        "pen height at which the pen touches the paper, over the sheet", heights.design, heights.fit, ("press_us",)
    ),
    "speed": Kind(
        "speed at which an axis begins to lose steps", _named(ladders.design, "speed"), ladders.fit, ("axis", "top")
    ),
    "acceleration": Kind(
        "acceleration at which an axis begins to lose steps",
        _named(ladders.design, "acceleration"),
        ladders.fit,
        ("axis", "top"),
    ),
    "ringing": Kind("vibration frequency of the carriage", waves.design, waves.fit),
    "repeatability": Kind("repeatability of a position", returns.design, returns.fit),
}
"""In recommended order: each sheet corrects errors that would disturb later ones."""


def kind(name: str) -> Kind:
    """The kind with this name.

    Raises
    ------
    InputError
        There is no such sheet.
    """
    if name not in KINDS:
        raise InputError(f"there is no trial sheet {name!r}", hint=f"there are: {', '.join(KINDS)}")
    return KINDS[name]


def design(name: str, rig: Rig, sheet: Sheet, options: Mapping[str, object] | None = None) -> Trial:
    """Make a trial sheet for a rig.

    Raises
    ------
    InputError
        There is no such sheet, it does not have an option, or it does not fit the paper.
    """
    chosen = kind(name)
    given = {key: value for key, value in (options or {}).items() if value is not None}
    for key in given:
        if key not in chosen.options:
            takes = ", ".join(chosen.options) or "none"
            raise InputError(f"the trial sheet '{name}' takes no option {key!r}", hint=f"it takes: {takes}")
    return chosen.design(rig, sheet, **given)
