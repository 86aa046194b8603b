"""Tidying of strokes: duplicates and needless vertices are removed, touching ends joined, and strokes ordered for
little travel.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from linewright.drawing.strokes import Drawing
from linewright.errors import InputError
from linewright.system.memory import give_back
from linewright.tidy.cost import BY_LENGTH, Cost
from linewright.tidy.dedupe import dedupe
from linewright.tidy.join import join
from linewright.tidy.order import order, travel, travel_mm
from linewright.tidy.over_ink import joined_over_ink
from linewright.tidy.overlaps import without_overlaps
from linewright.tidy.simplify import simplify
from linewright.tidy.touches import cut_at_touches
from linewright.tidy.trails import trails
from linewright.tidy.watcher import Watcher

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.tidy.tour import Effort

__all__ = [
    "BY_LENGTH",
    "Cost",
    "Tidiness",
    "Tidying",
    "Watcher",
    "dedupe",
    "join",
    "order",
    "simplify",
    "tidy",
    "travel",
    "travel_mm",
]

# Shares of the tolerance whose sum keeps it: a dropped copy is within the first of the original; a closed gap adds ink
# at most half its width from either end; a dropped vertex is within the last of the remaining line.
_COPY_SHARE: Final = 1 / 8
_GAP_SHARE: Final = 0.75
_VERTEX_SHARE: Final = 3 / 8

_OF_PEN_WIDTH: Final = 0.1
"""Share of its width by which a line may move without being visible (common practice)."""

_OVER_INK_WIDTHS: Final = 10.0
"""In line widths: longer moves over ink wet the paper more than a pen lift costs (common practice)."""

_LEAST_CUT: Final = 20.0
"""In multiples of ``hidden_mm``, which is a tenth of a line width: shorter overlaps are not worth a cut."""


@dataclass(frozen=True)
class Tidiness:
    """Tidying options of the user.

    Parameters
    ----------
    redraw_mm : longest path that may be drawn a second time to save one pen lift. None: only straight moves over ink
        from one stroke to the next, up to ten line widths.
    effort : effort spent on the order.
    """

    redraw_mm: float | None = None
    effort: Effort = "normal"


@dataclass(frozen=True)
class Tidying:
    """Tidying parameters.

    Parameters
    ----------
    tolerance_mm : ink moves by at most this, and ends this close are joined. 0.05 mm is a tenth of a common pen
        line and invisible. With 0 only exact duplicates are dropped and equal ends joined.
    hidden_mm : ink this close to other ink of the same pen along its whole length is dropped.
    start_mm, end_mm : where each pen starts, and where it goes at the end; None: it may end anywhere.
    cost : cost of a pen-up move: its length, or its time on a rig.
    widths_mm : line widths of the drawing's pens; empty: unknown, and no moves over ink are made.
    wanted : the user's options.
    """

    tolerance_mm: float = 0.05
    hidden_mm: float = 0.05
    start_mm: tuple[float, float] = (0.0, 0.0)
    end_mm: tuple[float, float] | None = None
    cost: Cost = BY_LENGTH
    widths_mm: tuple[float, ...] = ()
    wanted: Tidiness = Tidiness()

    @classmethod
    def on(cls, rig: Rig, drawing: Drawing, wanted: Tidiness | None = None) -> Tidying:
        """Parameters for least time from park to park on a rig; the tolerance is a tenth of the finest line's width."""
        widths_mm = tuple(pen.width_mm or rig.pen.width_mm for pen in drawing.pens)
        park = rig.park.position_mm
        tolerance_mm = _OF_PEN_WIDTH * min(widths_mm)
        return cls(tolerance_mm, tolerance_mm, park, park, Cost.of_rig(rig), widths_mm, wanted or Tidiness())


def tidy(drawing: Drawing, tidying: Tidying | None = None, watcher: Watcher | None = None) -> Drawing:
    """Remove duplicates and overlaps, draw networks in few trails, join, simplify, order, and join over ink, pen by
    pen.

    Parameters
    ----------
    drawing : strokes, mm.
    watcher : receives progress, and may stop the work early.

    Returns
    -------
    Drawing
        Every point of it lies within the tolerance of the given ink, and all given ink within the tolerance and
        ``hidden_mm`` together of it, in the same pen (with ``redraw_mm``, ends move by another tolerance to
        the lines they touch; moves over ink lie on existing ink). Pens draw in the order of ``drawing.pens``.
        The same input gives the same output.

    Raises
    ------
    InputError
        If a coordinate is not a finite number.
    """
    tidying = tidying or Tidying()
    _refuse_damage(drawing)
    say = (watcher or Watcher()).report
    say("removing duplicates", 0.0)
    once = dedupe(drawing, tolerance_mm=tidying.tolerance_mm * _COPY_SHARE)
    once = without_overlaps(once, tolerance_mm=tidying.hidden_mm, least_mm=_LEAST_CUT * tidying.hidden_mm)
    give_back(drawing.vertices)
    redraw_mm = tidying.wanted.redraw_mm
    if redraw_mm:
        once = cut_at_touches(once, tolerance_mm=tidying.tolerance_mm)
    say("joining strokes", 0.0)
    few = trails(once, tolerance_mm=tidying.tolerance_mm * _GAP_SHARE, redraw_mm=redraw_mm or 0.0)
    joined = join(few, tolerance_mm=tidying.tolerance_mm * _GAP_SHARE)
    lean = simplify(joined, tolerance_mm=tidying.tolerance_mm * _VERTEX_SHARE)
    ordered = order(
        lean,
        start_mm=tidying.start_mm,
        end_mm=tidying.end_mm,
        cost=tidying.cost,
        effort=tidying.wanted.effort,
        watcher=watcher,
    )
    if not tidying.widths_mm:
        return ordered
    widths_mm = np.array(tidying.widths_mm)
    longest_mm = _OVER_INK_WIDTHS * widths_mm if redraw_mm is None else np.full(len(widths_mm), redraw_mm)
    return joined_over_ink(ordered, longest_mm, widths_mm)


def _refuse_damage(drawing: Drawing) -> None:
    """Raise `InputError` if a coordinate is NaN or infinite."""
    finite = np.isfinite(drawing.points_mm).all(axis=1)
    if not finite.all():
        at = int(np.argmin(finite))
        x, y = drawing.points_mm[at]
        raise InputError(
            f"stroke {drawing.stroke_at(at)} has a point at ({x}, {y}) mm, which is not a finite position",
            hint="the picture is damaged",
        )
