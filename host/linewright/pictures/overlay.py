"""The drawn path on top of the planned one, with a magnified view of the largest deviation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from linewright.drawing.crop import clip
from linewright.drawing.strokes import Drawing, Indices, Points
from linewright.pictures.scene import BORDER_MM, EDGE_COLOUR, PAPER_COLOUR, Ink, Label, Patch, Scene, Table

# Orange and blue of the palette of Okabe and Ito, "Color Universal Design" (2008), which is distinguishable with common
# colour vision deficiencies. The orange is wide and light below the thin dark blue, so grey prints show both.
PLANNED_COLOUR: Final = "#e69f00"
DRAWN_COLOUR: Final = "#0072b2"
PLANNED_OPACITY: Final = 0.5

DRAWN_MM: Final = 0.15
PLANNED_SHARE: Final = 1.7
"""Width of the planned line in pen widths; the drawn one is much thinner, so that the planned one shows on both
sides."""

LONG_SIDE_PX: Final = 2400
"""Longer side of the picture: 1.5 times that of a preview, because differences are small."""

THIN_MM: Final = 0.05
"""Spacing of points of the drawn trace, which has one per step."""

FOOTER_MM: Final = 44.0
LENS_MM: Final = 36.0
"""Side of the magnified view."""

LENS_VIEWS: Final = 16.0
"""Width of the magnified view in deviations: shows the deviation and its surroundings."""

LENS_LOW_MM, LENS_HIGH_MM = 0.4, 20.0
"""Smallest and largest part of the sheet in the magnified view: about thirty steps of a common rig, to a large
fault."""


@dataclass(frozen=True)
class Worst:
    """Largest distance of the drawn trace from the planned strokes, and its place."""

    mm: float
    at_mm: tuple[float, float]


def worst(planned: Drawing, drawn: Drawing) -> Worst:
    """The point of the drawn trace farthest from the nearest planned segment.

    For pictures only: the virtual rig compares stroke by stroke.
    """
    if not len(planned) or not len(drawn):
        return Worst(0.0, (0.0, 0.0))
    stroke = np.repeat(np.arange(len(planned)), np.diff(planned.starts))
    first = np.flatnonzero(np.append(stroke[1:] == stroke[:-1], False))
    singles = planned.starts[:-1][np.diff(planned.starts) == 1]
    a = planned.points_mm[np.concatenate((first, singles))]
    b = planned.points_mm[np.concatenate((first + 1, singles))]
    tree = shapely.STRtree(shapely.linestrings(np.stack([a, b], axis=1)))
    points = shapely.points(drawn.points_mm)
    _, distance = tree.query_nearest(points, return_distance=True, all_matches=False)
    i = int(np.argmax(distance))
    return Worst(float(distance[i]), (float(drawn.points_mm[i, 0]), float(drawn.points_mm[i, 1])))


def thinned(points_mm: Points, starts: Indices, grain_mm: float) -> tuple[Points, Indices]:
    """Keep one point per ``grain_mm`` of path, and both ends of each stroke."""
    if len(points_mm) < 2:
        return points_mm, starts
    way = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points_mm, axis=0).T))))
    grain = np.floor(way / grain_mm)
    keep = np.ones(len(points_mm), dtype=bool)
    keep[1:] = grain[1:] != grain[:-1]
    keep[starts[:-1]] = True
    keep[starts[1:] - 1] = True
    lengths = np.add.reduceat(keep.astype(np.int64), starts[:-1])
    return points_mm[keep], np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)


def overlay(
    planned: Drawing,
    drawn: Drawing,
    table: Table,
    *,
    pen_width_mm: float,
    worst_place: Worst | None = None,
    notes: tuple[str, ...] = (),
    title: str = "planned and drawn",
) -> Scene:
    """Planned strokes wide and light, the drawn trace thin and dark, and a lens on the worst place.

    Parameters
    ----------
    planned, drawn : the same coordinates, as ``table.lies`` says.
    table : its ``footer_mm`` should be `FOOTER_MM`.
    worst_place : place to magnify; computed from the strokes if None.
    notes : lines beside the lens.
    """
    found = worst(planned, drawn) if worst_place is None else worst_place
    points, starts = thinned(drawn.points_mm, drawn.starts, THIN_MM)
    items: list[Ink | Patch | Label] = [
        *table.ground(),
        Ink(
            "planned",
            PLANNED_COLOUR,
            pen_width_mm * PLANNED_SHARE,
            table.on_canvas(planned.points_mm),
            planned.starts,
            PLANNED_OPACITY,
        ),
        Ink("drawn", DRAWN_COLOUR, DRAWN_MM, table.on_canvas(points), starts),
    ]
    items.extend(_lens(planned, drawn, table, found))
    x, y = BORDER_MM + LENS_MM + 5.0, table.footer_top_mm + 3.4
    for colour, width, text in ((PLANNED_COLOUR, 1.2, "planned"), (DRAWN_COLOUR, 0.5, "drawn")):
        items.append(Patch(x, y - 0.9 - width / 2, 7.0, width, colour))
        items.append(Label(text, x + 9.0, y))
        y += 4.4
    for note in notes:
        items.append(Label(note, x, y))
        y += 4.0
    return Scene(table.width_mm, table.height_mm, tuple(items), title)


def _lens(planned: Drawing, drawn: Drawing, table: Table, found: Worst) -> list[Ink | Patch | Label]:
    side = min(max(found.mm * LENS_VIEWS, LENS_LOW_MM), LENS_HIGH_MM)
    cx, cy = found.at_mm
    box = (cx - side / 2, cy - side / 2, cx + side / 2, cy + side / 2)
    zoom = LENS_MM / side
    left, top = BORDER_MM, table.footer_top_mm

    def seen(drawing: Drawing, name: str, colour: str, width_mm: float, opacity: float = 1.0) -> Ink:
        inside = width_mm / 2 / zoom  # round ends stay within the frame
        part = clip(drawing, (box[0] + inside, box[1] + inside, box[2] - inside, box[3] - inside))
        points = (part.points_mm - np.array(box[:2])) * zoom + (left, top)
        return Ink(name, colour, width_mm, points, part.starts, opacity)

    mark = table.on_canvas(np.array([[cx, cy]]))[0]
    ring = max(2.0, side / 2)
    return [
        Patch(left, top, LENS_MM, LENS_MM, PAPER_COLOUR, EDGE_COLOUR, 0.25),
        seen(planned, "planned, magnified", PLANNED_COLOUR, 1.2, PLANNED_OPACITY),
        seen(drawn, "drawn, magnified", DRAWN_COLOUR, 0.4),
        Patch(float(mark[0]) - ring, float(mark[1]) - ring, 2 * ring, 2 * ring, None, "#333333", 0.25),
        Label(f"x {zoom:.0f}: {side:.2g} mm of the sheet", left, top + LENS_MM + 3.4, 2.2),
    ]
