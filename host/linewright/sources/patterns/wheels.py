"""Wheels: the curve of a pen in a toothed wheel that rolls inside a toothed ring, repeated with several holes.

The hypotrochoid in closed form (e.g. E. H. Lockwood, "A Book of Curves", Cambridge University Press 1961): for radii
R and r and the pen at a distance d from the wheel's centre

    x = (R - r) cos t + d cos((R - r) t / r),    y = (R - r) sin t - d sin((R - r) t / r).

With N and n teeth it closes after n / gcd(N, n) turns and has N / gcd(N, n) petals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.errors import SourceError
from linewright.sources import settings
from linewright.sources.patterns.density import overfull
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish

RINGS: Final = (96, 105, 120, 144, 150, 180, 192, 210, 240)
"""Numbers of teeth with many divisors, so that most wheels give a pattern that closes before it is too dense."""

INK_SHARE: Final = 0.42
"""Largest share of paper covered by lines, crossings counted twice: a third with crossings counted once."""

PROPOSALS: Final = 8
"""Number of random candidates; the least dense is drawn."""


@dataclass(frozen=True)
class _Gear:
    """One pair of ring and wheel.

    Parameters
    ----------
    ring, wheel : numbers of teeth.
    hole : hole of the outermost line, as a share of the wheel.
    copies : number of nested lines.
    twist : rotation of each copy relative to the one before, as a share of the total rotation.
    """

    ring: int
    wheel: int
    hole: float
    copies: int
    twist: float

    def scale(self, wish: Wish) -> float:
        """Radius of the ring, mm."""
        return min(wish.room_mm) / 2 / (1 - self.wheel / self.ring + self.hole * self.wheel / self.ring)

    def step(self, wish: Wish) -> float:
        """Distance between holes: two pens at the tips of the petals."""
        return max(2.2 * wish.pen_width_mm / (self.scale(wish) * self.wheel / self.ring), self.hole / 26)


@dataclass(frozen=True)
class Wheels:
    """Settings; 0 leaves a choice to the seed."""

    seed: int = settings.seed()
    ring: int = settings.number("teeth of the ring; 0: the seed's choice", 0, 0, 1000)
    wheel: int = settings.number("teeth of the wheel; 0: the seed's choice", 0, 0, 999)
    hole: float = settings.number("of the outermost line, as a share of the wheel; 0: the seed's choice", 0.0, 0.0, 2.0)
    copies: int = settings.number("lines one in the other; 0: as many as stay apart", 0, 0, 60)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        count = PROPOSALS if 0 in (self.ring, self.wheel, self.hole) else 1
        proposals = [self._proposed(rng, wish) for _ in range(count)]
        best = min(proposals, key=lambda one: overfull(_lines(one, wish, 45), wish.pen_width_mm) - 0.02 * one.copies)
        copies = self.copies or best.copies
        return finished(_lines(replace(best, copies=copies), wish, 90), wish, name="wheels", joins=False)

    def _proposed(self, rng: np.random.Generator, wish: Wish) -> _Gear:
        ring, wheel = self._teeth(rng, wish)
        hole = self.hole or float(rng.uniform(0.75, 1.05))
        gear = _Gear(ring, wheel, hole, 1, float(rng.uniform(-1.0, 1.0)))
        # At most as many lines as leave two thirds of the paper white.
        length = _length(_lines(gear, wish, 45)[0])
        room = math.pi * (min(wish.room_mm) / 2) ** 2 * (1 - ((1 - 2 * wheel / ring) ** 2) * 0.8)
        most = max(1, int(INK_SHARE * room / (length * wish.pen_width_mm)))
        return replace(gear, copies=max(1, min(14, most, int((hole - 0.2) / gear.step(wish)))))

    def _teeth(self, rng: np.random.Generator, wish: Wish) -> tuple[int, int]:
        """Teeth of ring and wheel: a pair that closes with 5 to 40 petals, no denser than three pens around the
        sheet.
        """
        most = min(40, int(math.pi * min(wish.room_mm) / (6 * wish.pen_width_mm)))
        if self.ring and self.wheel >= self.ring:
            raise SourceError(
                f"a wheel of {self.wheel} teeth does not roll inside a ring of {self.ring}",
                hint=f"take a wheel of {self.ring - 1} teeth or fewer, or a larger ring",
            )
        if self.ring and self.wheel:
            return self.ring, self.wheel
        pairs = [
            (n, w)
            for n in ((self.ring,) if self.ring else RINGS)
            for w in ((self.wheel,) if self.wheel else range(max(n // 4, 1), n * 4 // 5))
            if w < n and 5 <= n // math.gcd(n, w) <= max(most, 6) and w // math.gcd(n, w) >= 2
        ]
        if not pairs:
            wheel = self.wheel or max(self.ring * 2 // 5, 1)
            return max(self.ring, wheel + 1), wheel
        return pairs[int(rng.integers(len(pairs)))]


def _lines(gear: _Gear, wish: Wish, points_per_petal: int) -> list[Points]:
    """All copies, centred in the area, mm."""
    share = math.gcd(gear.ring, gear.wheel)
    twist = gear.twist * math.tau / (gear.ring / share) / max(gear.copies, 2)
    lines = []
    for i in range(gear.copies):
        hole = max(gear.hole - i * gear.step(wish), 0.02)
        line = hypotrochoid(gear.ring, gear.wheel, hole, gear.wheel // share, points_per_petal) * gear.scale(wish)
        c, s = math.cos(i * twist), math.sin(i * twist)
        lines.append(line @ np.array([[c, s], [-s, c]]) + np.array(wish.room_mm) / 2)
    return lines


def hypotrochoid(ring: int, wheel: int, hole: float, turns: int, points_per_petal: int = 90) -> Points:
    """(n, 2) float64: the curve for a ring of radius 1, closed.

    Parameters
    ----------
    hole : distance of the pen from the wheel's centre, as a share of the wheel's radius.
    turns : revolutions of the wheel around the ring.
    """
    r = wheel / ring
    petals = ring // math.gcd(ring, wheel)
    t = np.linspace(0.0, turns * math.tau, petals * points_per_petal + 1)
    inner, ratio = 1 - r, (1 - r) / r
    line = np.column_stack(
        (inner * np.cos(t) + hole * r * np.cos(ratio * t), inner * np.sin(t) - hole * r * np.sin(ratio * t))
    )
    line[-1] = line[0]
    return line


def _length(line: Points) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())
