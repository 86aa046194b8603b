"""`Thing`: one subject of the store, and the shelf that all of them stand on."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from linewright.sources.words.art import Art
from linewright.sources.words.figure import Figure, posed
from linewright.sources.words.plans import Bird, FourLegs, bird, four_legs
from linewright.sources.words.poses import POSES
from linewright.sources.words.script import drawn


@dataclass(frozen=True)
class Thing:
    """One subject.

    Parameters
    ----------
    name : what it is called first; in the singular.
    also : other words for it, of the same sort: ``seagull`` is drawn as a gull.
    near : words for what it is not, but comes nearest to; drawn only after saying so.
    size : height on paper beside a grown person, whose size is 1. Not to scale: a mouse is 0.3 and an elephant 1.7, or
        nothing could be seen of the mouse.
    theme : chapter of the store.
    art : script, or a body plan; None: the figure in its pose.
    figure : its body when it stands upright and uses its hands.
    pose : of the figure, for people.
    holds, wears : names of things that belong to it.
    can : what it does by nature: ``flies``, ``up`` (it hangs in the air), ``swims``, ``floats``, ``acts`` (it lives);
        ``carries`` (things stand on it), ``contains``, ``seats``, ``ridden``, ``stood`` (ridden standing), ``driven``,
        ``wheels``; ``looked`` (through), ``flat``, ``round``; of an instrument how it is played.
    worn : where it is worn, for clothes.
    by : what ``size`` measures: ``height``, or ``span``, the larger of height and width.
    """

    name: str
    also: tuple[str, ...] = ()
    size: float = 1.0
    theme: str = ""
    art: str | FourLegs | Bird | None = None
    figure: Figure | None = None
    pose: str = "stand"
    holds: tuple[str, ...] = ()
    wears: tuple[str, ...] = ()
    can: frozenset[str] = frozenset()
    worn: str = ""
    near: tuple[str, ...] = ()
    by: str = "height"

    @property
    def on_body(self) -> bool:
        """Whether it has no shape of its own, but takes that of the body that wears it."""
        return bool(self.worn) and isinstance(self.art, str) and re.match(r"&(?!push\b)", self.art) is not None

    def natural(self) -> Art:
        """As it is when nothing is said, in the units of its art, without what it holds and wears."""
        if isinstance(self.art, FourLegs):
            return four_legs(self.art)
        if isinstance(self.art, Bird):
            return bird(self.art)
        if self.art is not None:
            return drawn(self.art)
        assert self.figure is not None  # one of the two is given
        return posed(self.figure, POSES[self.pose])


ALIVE: Final = frozenset({"acts"})


def made(theme: str, name: str, size: float, art: str, *also: str, can: str = "", near: tuple[str, ...] = ()) -> Thing:
    """A thing without life, whose size is its span; ``can`` is a list with blanks between."""
    return Thing(name, also, size, theme, art, can=frozenset(can.split()), near=near, by="span")
