"""Speed map: the path coloured by speed, with a legend in mm/s."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Points
from linewright.pictures.scene import BORDER_MM, TEXT_COLOUR, Ink, Label, Patch, Scene, Table

ANCHORS: Final = ((0x1E, 0x14, 0x5F), (0x7A, 0x1F, 0x86), (0xCF, 0x46, 0x5F), (0xF5, 0xA3, 0x1F))
"""Dark violet (slow) to amber (fast). Lightness increases monotonically, so the order is visible with any colour vision
and in grey prints. It ends below the lightness of paper, so that fast lines stay visible."""

LEVELS: Final = 20
"""Colours in the map: steps of 5 per cent of the top speed, about the smallest that can be distinguished side by
side."""

LEGEND_MM: Final = 14.0


@dataclass(frozen=True, eq=False)
class Track:
    """Planned motion as pieces of constant acceleration.

    Parameters
    ----------
    points_mm : (m + 1, 2) float64: start of each piece, and end of the last one.
    begin_mm_s, end_mm_s : (m,) float64: path speed at both ends of each piece.
    down : (m,) bool: pen on the paper.
    """

    points_mm: Points
    begin_mm_s: Points
    end_mm_s: Points
    down: NDArray[np.bool_]


def colour(share: float) -> str:
    """Colour of a speed; ``share`` 0..1 of the top speed."""
    at = min(max(share, 0.0), 1.0) * (len(ANCHORS) - 1)
    i = min(int(at), len(ANCHORS) - 2)
    low, high = ANCHORS[i], ANCHORS[i + 1]
    return "#" + "".join(f"{round(a + (b - a) * (at - i)):02x}" for a, b in zip(low, high, strict=True))


def speed_map(track: Track, table: Table, *, pen_width_mm: float, title: str = "speed map") -> Scene:
    """The pen-down path coloured by speed, with a legend in mm/s.

    ``table.footer_mm`` should leave `LEGEND_MM` for the legend.
    """
    moving = track.down & (track.points_mm[1:] != track.points_mm[:-1]).any(axis=1)
    begin, end = track.points_mm[:-1][moving], track.points_mm[1:][moving]
    v0, v1 = track.begin_mm_s[moving], track.end_mm_s[moving]
    top = nice_top(float(max(v0.max(), v1.max())) if len(v0) else 1.0)

    # A piece that accelerates through several colours is cut where the colour changes. At constant acceleration the
    # square of the speed is linear in the distance.
    parts = np.maximum(1, np.ceil(np.abs(v1 - v0) / top * LEVELS)).astype(np.int64)
    which = np.repeat(np.arange(len(parts)), parts)
    nth = np.arange(len(which)) - np.repeat(np.cumsum(parts) - parts, parts)
    t = np.stack([nth, nth + 1]) / parts[which]
    v = v0[which] + t * (v1 - v0)[which]
    change = v1**2 - v0**2
    share = np.where(change[which] != 0, (v**2 - v0[which] ** 2) / np.where(change == 0, 1, change)[which], t)
    ends = begin[which] + share[:, :, None] * (end - begin)[which]
    level = np.minimum((v.mean(axis=0) / top * LEVELS).astype(np.int64), LEVELS - 1)

    # Consecutive pieces of one colour become one stroke: smooth joints, and a shorter file.
    count = len(level)
    follows = np.zeros(count, dtype=bool)
    follows[1:] = (level[1:] == level[:-1]) & (ends[0][1:] == ends[1][:-1]).all(axis=1)
    first = np.flatnonzero(~follows)
    place = np.arange(count) + np.cumsum(~follows)
    points = np.empty((count + len(first), 2))
    points[place] = ends[1]
    points[place[first] - 1] = ends[0][first]
    runs = Drawing(
        table.on_canvas(points), np.append(place[first] - 1, len(points)), np.zeros(len(first), dtype=np.int64)
    )
    items: list[Ink | Patch | Label] = [*table.ground()]
    for i in range(LEVELS):
        part = runs.select(np.flatnonzero(level[first] == i))
        if len(part):
            shade = colour((i + 0.5) / LEVELS)
            items.append(Ink(f"speed-{top * i / LEVELS:g}", shade, pen_width_mm, part.points_mm, part.starts))
    items.extend(_legend(top, table))
    return Scene(table.width_mm, table.height_mm, tuple(items), title)


def nice_top(speed_mm_s: float) -> float:
    """End of the legend: the smallest of 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten that is not below the
    speed.
    """
    power = 10.0 ** math.floor(math.log10(max(speed_mm_s, 1e-3)))
    for factor in (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10):
        if speed_mm_s <= factor * power * (1 + 1e-9):
            return factor * power
    return 10 * power


def _legend(top: float, table: Table) -> list[Patch | Label]:
    width = min(90.0, table.width_mm - 2 * BORDER_MM - 24.0)
    y = table.footer_top_mm - 1.0
    cell = width / LEVELS
    items: list[Patch | Label] = [
        Patch(BORDER_MM + i * cell, y, cell + 0.05, 4.0, colour((i + 0.5) / LEVELS)) for i in range(LEVELS)
    ]
    for i in range(5):
        x = BORDER_MM + width * i / 4
        items.append(Patch(x - 0.1, y + 4.0, 0.2, 1.0, TEXT_COLOUR))
        items.append(Label(f"{top * i / 4:g}", x, y + 7.6, anchor="middle" if i else "start"))
    items.append(Label("mm/s", BORDER_MM + width + 3.5, y + 7.6))
    return items
