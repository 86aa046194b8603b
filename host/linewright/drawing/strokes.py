"""`Drawing`: pen-down polylines in millimetres, grouped by pen, as flat arrays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.drawing import svg_text

Points = NDArray[np.float64]
Indices = NDArray[np.int64]

SHOWN_EDGE_MM: Final = 5.0
"""White around the strokes in a notebook."""

SHOWN_WIDTH_MM: Final = 0.5
"""Line width of a pen that states none: the default rig's pen."""


@dataclass(frozen=True)
class Pen:
    """Properties of one pen.

    Parameters
    ----------
    name : what the user calls it.
    colour : of its ink, ``#rrggbb``.
    width_mm : of its line; None: the rig's own.
    speed_mm_s : top speed of this pen; None: the rig's.
    up_us, down_us : servo pulses that raise it and lower it; None: the rig's own.
    offset_mm : offset of its tip from that of the first pen, x to the right, y down the sheet.
    ink_mm : line length after which it must be refilled, sharpened or dipped; None: no limit.
    """

    name: str = "black"
    colour: str = "#000000"
    width_mm: float | None = None
    speed_mm_s: float | None = None
    up_us: int | None = None
    down_us: int | None = None
    offset_mm: tuple[float, float] = (0.0, 0.0)
    ink_mm: float | None = None

    @property
    def is_plain(self) -> bool:
        """Whether speed, heights, offset and ink are all the rig's own."""
        return self == Pen(self.name, self.colour, self.width_mm)


@dataclass(frozen=True, eq=False, repr=False)
class Drawing:
    """Pen-down polylines.

    Parameters
    ----------
    points_mm : (n, 2) float64, mm. x to the right, y downward, origin at the top left corner of the sheet
        (the direction in which pictures are written; the rig says how that lies on the machine).
    starts : (k + 1,) int64. Stroke ``i`` is ``points_mm[starts[i]:starts[i + 1]]``; the last entry is ``n``.
    pen : (k,) int64, index into ``pens``.
    pens : the pens, in the order in which they draw.
    """

    points_mm: Points
    starts: Indices
    pen: Indices
    pens: tuple[Pen, ...] = field(default=(Pen(),))

    @classmethod
    def from_strokes(
        cls, strokes: Iterable[object], pen: Sequence[int] | None = None, pens: tuple[Pen, ...] = (Pen(),)
    ) -> Drawing:
        """Build from a sequence of (m, 2) array-likes in mm. One point makes a dot; empty strokes are dropped."""
        arrays = [np.asarray(s, dtype=np.float64).reshape(-1, 2) for s in strokes]
        lengths = np.array([len(a) for a in arrays], dtype=np.int64)
        pens_of = np.zeros(len(arrays), dtype=np.int64) if pen is None else np.asarray(pen, dtype=np.int64)
        keep = lengths > 0
        starts = np.concatenate(([0], np.cumsum(lengths[keep]))).astype(np.int64)
        kept = [a for a, k in zip(arrays, keep, strict=True) if k]
        points = np.concatenate(kept) if kept else np.empty((0, 2))
        return cls(points, starts, pens_of[keep], pens)

    def __post_init__(self) -> None:
        if self.points_mm.ndim != 2 or self.points_mm.shape[1] != 2:
            raise ValueError(f"points_mm has shape {self.points_mm.shape}, not (n, 2)")
        if len(self.starts) != len(self.pen) + 1 or self.starts[0] != 0 or self.starts[-1] != len(self.points_mm):
            raise ValueError("starts must run from 0 to len(points_mm) with one entry more than pen")

    def __repr__(self) -> str:
        pens = ", ".join(pen.name for pen in self.pens)
        return f"<Drawing of {len(self)} strokes with {self.vertices} vertices, pens: {pens}>"

    def __len__(self) -> int:
        """Number of strokes."""
        return len(self.pen)

    def __iter__(self) -> Iterator[Points]:
        for i in range(len(self)):
            yield self.stroke(i)

    @classmethod
    def one_after_the_other(cls, parts: Sequence[Drawing]) -> Drawing:
        """All strokes of one or more drawings that have the same pens."""
        if len(parts) == 1:
            return parts[0]
        offsets = np.cumsum([0, *(part.vertices for part in parts)])
        starts = [part.starts[:-1] + offset for part, offset in zip(parts, offsets[:-1], strict=True)]
        return cls(
            np.concatenate([part.points_mm for part in parts]),
            np.append(np.concatenate(starts), offsets[-1]).astype(np.int64),
            np.concatenate([part.pen for part in parts]),
            parts[0].pens,
        )

    def _repr_svg_(self) -> str:
        """SVG of the strokes on white, for notebooks."""
        left, top, right, bottom = self.bounds_mm()
        edge = SHOWN_EDGE_MM
        width, height = right - left + 2 * edge, bottom - top + 2 * edge
        ground = (
            f'<rect x="{left - edge:g}" y="{top - edge:g}" width="{width:g}" height="{height:g}" fill="#ffffff"/>\n'
        )
        pieces = [svg_text.head(width, height, left - edge, top - edge), ground]
        for number, pen in enumerate(self.pens):
            width_mm = SHOWN_WIDTH_MM if pen.width_mm is None else pen.width_mm
            pieces.append(svg_text.group(f"pen-{number + 1}", pen.name, pen.colour, width_mm))
            pieces += [svg_text.stroke(self.stroke(int(i))) for i in (self.pen == number).nonzero()[0]]
            pieces.append("</g>\n")
        return "".join((*pieces, "</svg>\n"))

    def stroke(self, i: int) -> Points:
        """Stroke ``i`` as an (m, 2) view, mm."""
        return self.points_mm[self.starts[i] : self.starts[i + 1]]

    def stroke_at(self, vertex: int) -> int:
        """Which stroke a vertex (index into ``points_mm``) belongs to."""
        return int(np.searchsorted(self.starts, vertex, side="right")) - 1

    @property
    def vertices(self) -> int:
        """Number of vertices of all strokes."""
        return len(self.points_mm)

    def bounds_mm(self) -> tuple[float, float, float, float]:
        """``(x_min, y_min, x_max, y_max)`` in mm; four zeros for an empty drawing."""
        if not len(self.points_mm):
            return (0.0, 0.0, 0.0, 0.0)
        low, high = self.points_mm.min(axis=0), self.points_mm.max(axis=0)
        return (float(low[0]), float(low[1]), float(high[0]), float(high[1]))

    def stroke_lengths_mm(self) -> Points:
        """(k,) float64: pen-down length of each stroke, mm."""
        if not len(self):
            return np.empty(0)
        steps = np.hypot(*np.diff(self.points_mm, axis=0).T)
        running = np.concatenate(([0.0], np.cumsum(steps)))
        return np.asarray(running[self.starts[1:] - 1] - running[self.starts[:-1]])

    def transformed(self, matrix: NDArray[np.float64]) -> Drawing:
        """Apply a (2, 3) affine matrix, mm to mm."""
        return replace(self, points_mm=self.points_mm @ matrix[:, :2].T + matrix[:, 2])

    def closed(self) -> NDArray[np.bool_]:
        """(k,) bool: strokes of at least three points whose last point equals the first."""
        first, last = self.starts[:-1], self.starts[1:] - 1
        same = (self.points_mm[first] == self.points_mm[last]).all(axis=1)
        return np.asarray(same & (last - first >= 2))

    def keep_points(self, keep: NDArray[np.bool_]) -> Drawing:
        """Keep only the points marked in ``keep``, (n,) bool; each stroke must keep at least one."""
        counts = np.add.reduceat(keep, self.starts[:-1], dtype=np.int64) if len(self) else np.empty(0, np.int64)
        starts = np.concatenate(([0], np.cumsum(counts))).astype(np.int64)
        return replace(self, points_mm=self.points_mm[keep], starts=starts)

    def select(self, strokes: Indices, backwards: NDArray[np.bool_] | None = None) -> Drawing:
        """The strokes with these indices, in this order. ``backwards`` (one flag per index) reverses a stroke."""
        lengths = np.diff(self.starts)[strokes]
        starts = np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
        within = np.arange(starts[-1]) - np.repeat(starts[:-1], lengths)
        if backwards is not None:
            within = np.where(np.repeat(backwards, lengths), np.repeat(lengths, lengths) - 1 - within, within)
        take = np.repeat(self.starts[:-1][strokes], lengths) + within
        return replace(self, points_mm=self.points_mm[take], starts=starts, pen=self.pen[strokes])
