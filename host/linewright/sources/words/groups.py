"""`Group`: drawings that belong together, and how groups are put side by side.

Units are paper units: an adult is 95 high. A group stands on y = 0.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from linewright.sources.words.art import Anchor, Art, scale, shift

PERSON: Final = 95.0
"""Height of an adult, units."""


@dataclass(frozen=True, eq=False)
class Group:
    """Drawings that belong together.

    Parameters
    ----------
    art : in units of paper, on y = 0.
    up : it is in the air, not on the ground.
    afloat : it floats in water.
    living : it faces right and may be mirrored to face another.
    fixed : it must not be mirrored, because the sentence says what is to its left or right.
    """

    art: Art
    up: bool = False
    afloat: bool = False
    living: bool = False
    fixed: bool = False

    def moved(self, x: float, y: float) -> Group:
        """The group moved by (x, y)."""
        return replace(self, art=self.art.moved(shift(x, y)))

    def mirrored(self) -> Group:
        """The group facing the other way."""
        return replace(self, art=self.art.moved(scale(-1, 1)))


def joined(groups: list[Group], first: Group) -> Group:
    """Groups from back to front as one group, with the places of ``first``."""
    art = Art(tuple(s for g in groups for s in g.art.shapes), first.art.places)
    return replace(first, art=art)


def grounded(art: Art, *, keep_below: bool) -> Art:
    """The drawing standing on y = 0; a boat's waves may stay below."""
    x0, y0, x1, _ = art.bounds()
    if keep_below and y0 < 0:
        return art
    del x0, x1
    return art.moved(shift(0, -y0))


def fitted(art: Art, frame: Anchor, tall: float) -> Art:
    """The drawing scaled to a frame's width, and to a height of ``tall`` frame widths at most."""
    x0, y0, x1, y1 = art.bounds()
    k = min(frame.size * 0.88 / max(x1 - x0, 1e-6), frame.size * tall * 0.95 / max(y1 - y0, 1e-6))
    return art.moved(shift(-(x0 + x1) / 2, -(y0 + y1) / 2), scale(k), shift(frame.x, frame.y))


def middle_of(group: Group) -> float:
    """Middle between its left and right ends, along x."""
    x0, _, x1, _ = group.art.bounds()
    return (x0 + x1) / 2
