"""Straightness of both rails, measured with the edge of a steel ruler.

Stations along a line carry numbered short dashes at a range of heights, a fifth of the reach apart. A ruler aligned
with the two end lines meets one dash of each station; its number gives the rail's deviation there: a straightedge
comparison as in ISO 230-1, with the scale drawn by the machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.design import Axis, Entry, Part, Trial, gently, machine_mm
from linewright.calibration.trial.finding import Finding, FoundValue
from linewright.calibration.trial.least_squares import COVERAGE
from linewright.calibration.trial.page import RUN_UP_MM, Page
from linewright.errors import InputError, SheetError
from linewright.machine.shape import MachineShape

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]

REACH_MM: Final = 0.5
LEAST_MM, MOST_MM = 0.2, 5.0
"""Range of measurable deviations: dashes closer than 0.04 mm cannot be distinguished, and larger deviations are visible
without a ruler."""
FAN: Final = 5
"""Dashes on either side of the middle one."""
NUMBER_MM: Final = 2.0
"""Height of a dash's number; every second dash has one, so that they do not touch."""
DASH_MM: Final = 1.2
GAP_MM: Final = 1.0
"""Gap between dashes: twice a common line width."""
STATIONS: Final = (5, 3)
"""Numbers of stations between the ends: five show a bow or an S shape; three, if there is less room, only a bow."""
STATION_MM: Final = (2 * FAN + 1) * (DASH_MM + GAP_MM) + 0.8
"""Length of a station."""
SCATTER_STEPS: Final = 0.5
"""Standard uncertainty of a station, in dash distances: half of one, by eye."""


def _axis_line(sheet: Sheet, axis: Axis) -> tuple[Floats, float]:
    """Positions of ends and stations along an axis, and position of the line across it, sheet mm."""
    left, top, right, bottom = sheet.box_mm
    begin, end, across = (left, right, top + 40.0) if axis == "x" else (top + 46.0, bottom, left + 30.0)
    for count in STATIONS:
        places = np.linspace(begin + 14.0, end - 14.0, count + 2)
        if places[1] - places[0] >= STATION_MM:
            return places, across
    raise SheetError(f"the {sheet.name} sheet has no room for the stations", hint="take a larger sheet")


def _step_mm(reach_mm: float) -> float:
    """Distance between dashes, mm."""
    return reach_mm / FAN


def design(rig: Rig, sheet: Sheet, reach_mm: float = REACH_MM) -> Trial:
    """The sheet ``straightness``.

    Parameters
    ----------
    reach_mm : largest measurable deviation.

    Raises
    ------
    SheetError
        The paper is too small.
        InputError
        The reach is outside the range that can be drawn and read.
    """
    if not LEAST_MM <= reach_mm <= MOST_MM:
        raise InputError(
            f"a reach of {reach_mm:g} mm is outside {LEAST_MM:g}..{MOST_MM:g} mm",
            hint=f"{REACH_MM:g} is the usual one; take more if the ruler's edge lies beyond the last dash",
        )
    left, top, _, _ = sheet.box_mm
    page = Page()
    page.text("STRAIGHTNESS", left + 16.0, top + 4.0)
    entries = []
    for axis in ("x", "y"):
        along, across = _axis_line(sheet, axis)
        _draw(page, along, across, axis, _step_mm(reach_mm))
        for number in range(1, len(along) - 1):
            entries.append(
                Entry(
                    f"{axis}{number}",
                    f"line along {axis}, station {number}: number of the dash at the ruler's edge",
                    0.0,
                    -FAN,
                    FAN,
                    "dash",
                )
            )
    how = (
        (
            "Place a steel ruler so that its edge passes through the middles of the two long end lines of the line "
            "along x."
        ),
        (
            f"At each station dashes are drawn at several heights, {_step_mm(reach_mm):g} mm apart, numbered from "
            f"-{FAN} "
            f"at the minus to {FAN} at the plus; every second one is numbered, without its sign."
        ),
        (
            "Write down the number of the dash that lies on the ruler's edge, halves allowed. If the edge lies beyond "
            f"the last dash, make a new sheet with a larger --reach than {reach_mm:g}."
        ),
        "Do the same for the line along y.",
    )
    return Trial(
        "straightness",
        "Straightness of both rails",
        (Part(page.drawing(), gently(rig)),),
        tuple(entries),
        how,
        options={"reach_mm": reach_mm},
    )


def _draw(page: Page, along: Floats, across: float, axis: Axis, step_mm: float) -> None:
    def dash(begin: float, end: float, off: float) -> None:
        page.line(*(((v, across + off) if axis == "x" else (across + off, v)) for v in (begin, end)))

    beyond = step_mm * FAN - REACH_MM  # additional width of a larger fan
    # Every dash is approached from the same side: a run-up before each takes up backlash across the line.
    for at in (along[0], along[-1]):
        dash(at - 1.0, at + 1.0, -RUN_UP_MM - beyond)
        dash(at - 6.0, at + 6.0, 0.0)
    for number, at in enumerate(along[1:-1], start=1):
        dash(at - 1.0, at + 1.0, -RUN_UP_MM - beyond)
        for k in range(-FAN, FAN + 1):
            middle = at + k * (DASH_MM + GAP_MM)
            dash(middle - DASH_MM / 2, middle + DASH_MM / 2, k * step_mm)
        dash(at, at, 2.5 + beyond)
        # Mark the sign of each end of the fan with plus or minus.
        for k in (-FAN, FAN):
            place = at + k * (DASH_MM + GAP_MM)
            dash(place - 0.8, place + 0.8, 3.5 + beyond)
            if k > 0:
                page.line(
                    *(
                        ((v, w) if axis == "x" else (w, v))
                        for v, w in ((place, across + beyond + 2.7), (place, across + beyond + 4.3))
                    )
                )
        for k in range(-FAN, FAN + 1, 2):
            middle, below = at + k * (DASH_MM + GAP_MM), across - step_mm * FAN
            x, y = (middle - 0.6, below - 3.0) if axis == "x" else (below - 5.0, middle + 1.0)
            page.text(str(abs(k)), x, y, NUMBER_MM)
        label = (at - 1.2, across + beyond + 9.0) if axis == "x" else (across + beyond + 6.0, at + 1.5)
        page.text(str(number), *label)


def fit(trial: Trial, rig: Rig, sheet: Sheet, answers: Mapping[str, float], reading: float) -> Finding:  # noqa: ARG001  all fits have one signature
    """Tables of each rail's sideways deviation: measured values plus the rig's present correction.

    Parameters
    ----------
    answers : number of the dash by name of the station.
    reading : not used; a fan is read to half a dash with any ruler.
    """
    step_mm = _step_mm(float(trial.options.get("reach_mm", REACH_MM)))
    changes: dict[str, object] = {}
    figures = []
    known = rig.shape
    for index, axis in enumerate(("x", "y")):
        along, across = _axis_line(sheet, axis)  # type: ignore[arg-type]  # x or y
        names = [f"{axis}{number}" for number in range(1, len(along) - 1)]
        # The dash on the ruler's edge was planned k steps aside, so the rail pushes by as much to the other side.
        shown = np.array([0.0, *(-step_mm * answers[name] for name in names), 0.0])
        places = np.array([machine_mm((at, across) if axis == "x" else (across, at), rig) for at in along])
        carriage = known.carriage_mm(places)[:, index]
        before = _aside(known, carriage, index)
        after = before + shown
        changes[f"corrections.straightness_{axis}_mm"] = [
            [round(float(at), 2), round(float(off), 3)] for at, off in zip(carriage, after, strict=True)
        ]
        figures.append(
            FoundValue(
                f"rail of {axis}, most off", _most(before), _most(after), COVERAGE * SCATTER_STEPS * step_mm, "mm"
            )
        )
    return Finding("straightness", tuple(figures), (), changes, ())


def _aside(known: MachineShape, carriage: Floats, axis: int) -> Floats:
    """(n,) sideways deviation that the rig already corrects, mm."""
    table = known.straight_x if axis == 0 else known.straight_y
    if not table:
        return np.zeros(len(carriage))
    places, off = np.array(table).T
    return np.asarray(np.interp(carriage, places, off))


def _most(off: Floats) -> float:
    """Largest deviation from the line through both ends, with its sign, mm."""
    chord = np.linspace(off[0], off[-1], len(off))
    return float((off - chord)[np.argmax(np.abs(off - chord))])
