"""Growth: plants grown by rewriting rules from the foot of the sheet, weeds or a tree.

Rules in the manner of P. Prusinkiewicz and A. Lindenmayer ("The Algorithmic Beauty of Plants", 1990, sections 1.6 and
1.7): a bud becomes a stem with side buds; the rule and the angles are random.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources import settings
from linewright.sources.patterns.finish import finished
from linewright.sources.picture import Picture, Wish


@dataclass(frozen=True)
class Plant:
    """Growth parameters of one kind of plant.

    Parameters
    ----------
    rules : replacements of a bud ``B``, chosen at random; ``F`` is a segment, ``L`` a leaf.
    rounds : number of rewriting rounds.
    turn_deg : angle of ``+`` and ``-``, and its random variation.
    shrink : length of a twig's segments relative to its stem's.
    bend_deg : random bend per segment.
    leaf : length of a leaf relative to a segment.
    """

    rules: tuple[str, ...]
    rounds: int
    turn_deg: float
    shrink: float
    bend_deg: float
    leaf: float


KINDS: Final[dict[str, Plant]] = {
    "weed": Plant(("FF[+B]F[-B]FB", "FF[-B]F[+B]FB", "FFF[+B]FB", "FFF[-B]FB"), 4, 24.0, 0.74, 9.0, 0.8),
    "tree": Plant(("F[+FB][-FB]", "FF[+B][-FB]", "FF[+FB][-B]"), 7, 23.0, 0.82, 4.0, 0.9),
}


@dataclass(frozen=True)
class Growth:
    """Settings of the pattern."""

    seed: int = settings.seed()
    kind: str = settings.choice("of plant; any: the seed's choice", "any", "any", *KINDS)
    plants: int = settings.number("how many; 0: the seed's choice", 0, 0, 40)

    def read(self, source: str, wish: Wish) -> Picture:
        """The pattern in its area; ``source`` is not used."""
        del source
        rng = np.random.default_rng(self.seed)
        kind = str(rng.choice(list(KINDS))) if self.kind == "any" else self.kind
        width, height = wish.room_mm
        # A plant needs forty pen widths of ground.
        most = max(2, int(width / (40 * wish.pen_width_mm)))
        count = self.plants or (1 if kind == "tree" else min(int(rng.integers(4, 8)), most))
        strokes: list[Points] = []
        for i in range(count):
            wish.report("growing", i / count)
            # On a narrow sheet branching angles are smaller, so the plant grows tall.
            slim = min(max(width / height, 0.65), 1.1)
            lines = grown(replace(KINDS[kind], turn_deg=KINDS[kind].turn_deg * slim), rng)
            points = np.concatenate(lines)
            low, high = points.min(axis=0), points.max(axis=0)
            tall = height * (0.97 if count == 1 else float(rng.uniform(0.55, 0.97)))
            scale = min(tall / (high[1] - low[1]), width * (0.98 if count == 1 else 0.9) / (high[0] - low[0]))
            # Evenly spaced along the ground with random shifts; each plant lies completely within the sheet.
            x = width * ((i + 0.5) / count + (float(rng.uniform(-0.2, 0.2)) / count if count > 1 else 0.0))
            x = min(max(x, -low[0] * scale), width - high[0] * scale)
            for line in lines:
                strokes.append(
                    np.column_stack((x + line[:, 0] * scale, height - (line[:, 1] - min(low[1], 0.0)) * scale))
                )
        return finished(strokes, wish, name="growth", joins=False)


def word(plant: Plant, rng: np.random.Generator) -> str:
    """The plant as a word: every bud rewritten by a random rule, for all rounds."""
    now = "B"
    for _ in range(plant.rounds):
        now = "".join(plant.rules[int(rng.integers(len(plant.rules)))] if letter == "B" else letter for letter in now)
    return now.replace("B", "L")


def grown(plant: Plant, rng: np.random.Generator) -> list[Points]:
    """Stems and leaves as lines from (0, 0) upward (y points up), one per stem, for few pen lifts."""
    lines: list[Points] = []
    x = y = 0.0
    angle, size = math.pi / 2, 1.0
    kept: list[tuple[float, float, float, float, list[tuple[float, float]]]] = []
    line = [(x, y)]
    turn, bend = math.radians(plant.turn_deg), math.radians(plant.bend_deg)
    for letter in word(plant, rng):
        if letter == "F":
            angle += float(rng.normal(0.0, bend))
            step = size * float(rng.uniform(0.8, 1.2))
            x, y = x + step * math.cos(angle), y + step * math.sin(angle)
            line.append((x, y))
        elif letter in "+-":
            angle += (turn + float(rng.normal(0.0, turn / 6))) * (1 if letter == "+" else -1)
        elif letter == "[":
            kept.append((x, y, angle, size, line))
            line, size = [(x, y)], size * plant.shrink
        elif letter == "]":
            if len(line) > 1:
                lines.append(_curved(np.array(line)))
            x, y, angle, size, line = kept.pop()
        else:
            lines.append(_leaf(x, y, angle, size * plant.leaf))
    if len(line) > 1:
        lines.append(_curved(np.array(line)))
    return lines


def _curved(line: Points) -> Points:
    """A stem with rounded corners: cut twice at a quarter and three quarters of each segment (G. M. Chaikin 1974), ends
    kept.
    """
    for _ in range(2):
        if len(line) < 3:
            return line
        a, b = line[:-1], line[1:]
        cut = np.stack((0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b), axis=1).reshape(-1, 2)
        line = np.vstack((line[:1], cut[1:-1], line[-1:]))
    return line


def _leaf(x: float, y: float, angle: float, size: float) -> Points:
    """A slim leaf with its tip in this direction, as one line there and back."""
    t = np.linspace(0.0, 1.0, 9)
    side = 0.16 * np.sin(np.pi * t**0.8)
    there = np.column_stack((t, side))
    back = np.column_stack((t[::-1], -side[::-1]))[1:]
    leaf = np.vstack((there, back)) * size
    c, s = math.cos(angle), math.sin(angle)
    return np.asarray(leaf @ np.array([[c, s], [-s, c]]) + (x, y))
