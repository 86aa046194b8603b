"""Scale, squareness and straightness from one photograph: camera, sheet and machine are fitted together.

The paper's edges are straight, square and of known length, which determines the camera. The picture is transformed by

::

    centred pixel * (1 + k1 r^2 + k2 r^4 + k3 r^6)   ->   projective map   ->   mm of paper

(radial distortion as in D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37, 1971, inverted;
r in half diagonals of the picture). The crosses are shifted by the machine's errors (scale, squareness, straightness)
and as a whole by position and rotation of the paper. All of it is one least-squares problem of 21 unknowns and about
500 measurements. The lens bends paper edges and rows of crosses, the machine only the rows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.design import machine_mm
from linewright.calibration.trial.finding import Finding, FoundValue, Residual
from linewright.calibration.trial.least_squares import solve
from linewright.calibration.trial.marks import grid
from linewright.errors import InputError

if TYPE_CHECKING:
    from linewright.calibration.trial.picture import Sighting
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]

READ_MM: Final = 0.03
EDGE_MM: Final = 0.08
"""Standard uncertainties of a cross and of a point of the paper's edge: twice the residuals on rendered pictures."""
OUTLIER: Final = 4.0
"""Standard uncertainties above which a measurement is rejected."""
WORST_RMS_MM: Final = 0.35
"""Largest accepted mean residual of the crosses; above it the picture shows another sheet, or paper that is not
flat."""
PAPER_READING_MM: Final = 0.2
"""Standard uncertainty of a measured paper size."""
PAPER_SQUARE_DEG: Final = 0.02
"""Squareness of cut paper: 0.1 mm on 297 mm, as office paper has (common practice)."""
ISO_TOLERANCE_MM: Final = 2.0
"""Tolerance of ISO 216 for a side of 150 to 600 mm (from memory)."""
BENDS: Final = (2, 3)
"""Degrees of the Legendre polynomials for straightness: a bow and an S."""


@dataclass(frozen=True, eq=False)
class Map:
    """Residual at each cross.

    Parameters
    ----------
    sheet_mm : (m, 2) float64, planned position.
    off_mm : (m, 2) float64, deviation not explained by the fit.
    """

    sheet_mm: Floats
    off_mm: Floats


def fit(sighting: Sighting, rig: Rig, sheet: Sheet, paper_mm: tuple[float, float] | None) -> tuple[Finding, Map]:
    """Errors of the machine from a picture.

    Parameters
    ----------
    sighting : edges and crosses found in the picture.
    rig, sheet : as drawn; the rig's present corrections are taken into account.
    paper_mm : measured width and height of the paper; None: its nominal size within the tolerance of ISO 216, which is
        not accurate enough to correct the scale.

    Raises
    ------
    InputError
        The residuals are too large.
    """
    width, height = paper_mm or (sheet.width_mm, sheet.height_mm)
    x, y = grid(sheet)
    asked = np.column_stack((x[sighting.column], y[sighting.row]))
    known = rig.shape
    belt = known.carriage_mm(asked + machine_mm((0.0, 0.0), rig)) / rig.scale
    spans = [(float(belt[:, axis].min()), float(belt[:, axis].max())) for axis in (0, 1)]
    shapes = [_shapes(belt[:, axis], *spans[axis]) for axis in (0, 1)]
    centre = (np.array(sighting.size_px) - 1) / 2.0
    half = float(np.hypot(*np.array(sighting.size_px))) / 2.0
    marks = (sighting.marks_px - centre) / half
    edges = [(points - centre) / half for points in sighting.edges_px]
    limits = (("x", 0.0), ("y", 0.0), ("x", width), ("y", height))

    def machine(unknown: Floats) -> Floats:
        """(m, 2) positions at which the machine puts the crosses, in its own frame."""
        q = belt * (1.0 + unknown[11:13])
        lean = unknown[13]
        tables = [np.interp(q[:, axis], *_table(known, axis)) for axis in (0, 1)]
        bends = [shapes[axis] @ unknown[14 + 2 * axis : 16 + 2 * axis] for axis in (0, 1)]
        return np.column_stack((q[:, 0] + lean * q[:, 1] + tables[1] + bends[1], q[:, 1] + tables[0] + bends[0]))

    def predicted(unknown: Floats, kept: NDArray[np.bool_] | None = None) -> Floats:
        camera, lens = np.append(unknown[:8], 1.0).reshape(3, 3), unknown[8:11]
        drawn = machine(unknown)
        c, s = math.cos(unknown[18]), math.sin(unknown[18])
        on_paper = drawn @ np.array([[c, s], [-s, c]]) + unknown[19:21]
        off = [((_on_paper(marks, camera, lens) - on_paper) / READ_MM).ravel()]
        for points, (axis, at) in zip(edges, limits, strict=True):
            place = _on_paper(points, camera, lens)[:, "xy".index(axis)]
            off.append((place - at) / EDGE_MM)
        weighted = np.concatenate(off)
        return weighted if kept is None else weighted[kept]

    unknown = _start(asked, rig, marks)
    everything = np.ones(len(predicted(unknown)), dtype=np.bool_)
    kept = everything
    for _ in range(3):
        use = kept
        found = solve(lambda u: predicted(u, use), np.zeros(int(use.sum())), unknown, 1.0, scale=_SIZES)  # noqa: B023  called at once
        unknown = found.values
        kept = np.abs(predicted(unknown)) < OUTLIER * max(found.scatter, 1.0)
    off_mm = -predicted(unknown)[: 2 * len(asked)].reshape(-1, 2) * READ_MM
    rms = float(np.sqrt(np.mean(np.square(off_mm))))
    if rms > WORST_RMS_MM or kept.mean() < 0.8:
        raise InputError(
            f"the picture does not show a flat sheet of {width:g} x {height:g} mm drawn by this machine: {rms:.2f} mm "
            "remain on average",
            hint="lay the sheet flat, give the paper's measured size with --paper, and the form of this sheet",
        )
    finding = _finding(rig, unknown, found.stated, spans, paper_mm, (width, height), rms)
    return finding, Map(asked, -off_mm)


_SIZES: Final = np.array(
    [300.0, 300.0, 300.0, 300.0, 300.0, 300.0, 1.0, 1.0, 1.0, 1.0, 1.0, *([1.0] * 7), 1.0, 100.0, 100.0]
)
"""Magnitudes of the unknowns: camera (8), lens (3), scales, squareness, straightness (4), rotation, position (2)."""


def _on_paper(points: Floats, camera: Floats, lens: Floats) -> Floats:
    """(n, 2) positions on the paper, mm, of centred, scaled pixels."""
    r2 = (points**2).sum(axis=1)
    straight = points * (1.0 + r2 * (lens[0] + r2 * (lens[1] + r2 * lens[2])))[:, None]
    lifted = straight @ camera[:, :2].T + camera[:, 2]
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


def _start(asked: Floats, rig: Rig, marks: Floats) -> Floats:
    """Initial values: crosses at their planned positions, no lens distortion."""
    rows = []
    for (u, v), (px, py) in zip(marks, asked, strict=True):
        rows.append([u, v, 1, 0, 0, 0, -px * u, -px * v])
        rows.append([0, 0, 0, u, v, 1, -py * u, -py * v])
    camera = np.linalg.lstsq(np.array(rows), asked.ravel(), rcond=None)[0]
    offset = -machine_mm((0.0, 0.0), rig)
    scale = rig.scale - 1.0
    return np.array([*camera, 0.0, 0.0, 0.0, *scale, rig.shape.lean, 0.0, 0.0, 0.0, 0.0, 0.0, *offset])


def _shapes(along: Floats, low: float, high: float) -> Floats:
    """(m, 2) the polynomials of `BENDS` over an axis; neither contains an offset or a slope."""
    share = 2.0 * (along - low) / (high - low) - 1.0
    return np.column_stack([np.polynomial.legendre.Legendre.basis(order)(share) for order in BENDS])


def _table(known: object, axis: int) -> tuple[Floats, Floats]:
    table = np.array(getattr(known, "straight_x" if axis == 0 else "straight_y") or ((0.0, 0.0),))
    return table[:, 0], table[:, 1]


def _finding(
    rig: Rig,
    unknown: Floats,
    stated: Floats,
    spans: list[tuple[float, float]],
    paper_mm: tuple[float, float] | None,
    size: tuple[float, float],
    rms: float,
) -> Finding:
    before = rig.corrections
    size_off = PAPER_READING_MM if paper_mm else ISO_TOLERANCE_MM
    figures: list[FoundValue] = []
    changes: dict[str, object] = {}
    notes = [f"{rms:.3f} mm remain at the crosses on average."]
    for i, (name, was) in enumerate((("x", before.scale_x), ("y", before.scale_y))):
        sure = math.hypot(float(stated[11 + i]), size_off / size[i])
        figures.append(FoundValue(f"scale of {name}", 100 * was, 100 * float(unknown[11 + i]), 100 * sure, "%"))
        if paper_mm:
            changes[f"corrections.scale_{name}"] = round(float(unknown[11 + i]), 6)
    if not paper_mm:
        notes.append(
            f"The scale is not corrected, because paper may differ by {ISO_TOLERANCE_MM:g} mm from its nominal size "
            "(ISO 216). Measure it, and give --paper WIDTHxHEIGHT."
        )
    lean_deg = math.degrees(math.atan(float(unknown[13])))
    sure = math.hypot(math.degrees(float(stated[13])), PAPER_SQUARE_DEG)
    figures.append(FoundValue("squareness", before.squareness_deg, lean_deg, sure, "degrees"))
    changes["corrections.squareness_deg"] = round(lean_deg, 5)
    known = rig.shape
    for axis, name in enumerate("xy"):
        places = np.linspace(*spans[axis], 9)
        bend = _shapes(places, *spans[axis]) @ unknown[14 + 2 * axis : 16 + 2 * axis]
        sure = float(np.hypot(*stated[14 + 2 * axis : 16 + 2 * axis]))
        carriage = places * (1.0 + float(unknown[11 + axis]))
        old = np.interp(carriage, *_table(known, axis))
        figures.append(FoundValue(f"rail of {name}, most off", _most(old), _most(old + bend), sure, "mm"))
        if np.abs(bend).max() > sure:
            changes[f"corrections.straightness_{name}_mm"] = [
                [round(float(at), 2), round(float(off), 3)] for at, off in zip(carriage, old + bend, strict=True)
            ]
    return Finding("photo", tuple(figures), (), changes, tuple(notes))


def _most(off: Floats) -> float:
    chord = np.linspace(off[0], off[-1], len(off))
    return float((off - chord)[np.argmax(np.abs(off - chord))])


def worst(left: Map, count: int = 5) -> tuple[Residual, ...]:
    """The crosses with the largest residuals."""
    far = np.hypot(*left.off_mm.T)
    order = np.argsort(-far)[:count]
    return tuple(
        Residual(
            f"cross at ({left.sheet_mm[i, 0]:.0f}, {left.sheet_mm[i, 1]:.0f}) mm", float(far[i]), float(far[i]), "mm"
        )
        for i in order
    )
