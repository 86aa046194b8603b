"""Rewriting systems and their turtle graphics (A. Lindenmayer, "Mathematical models for cellular interactions in
development", J. Theor. Biol. 18, 1968; P. Prusinkiewicz and A. Lindenmayer, "The Algorithmic Beauty of Plants",
1990).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.errors import InputError

LONGEST: Final = 4_000_000
"""Most letters: one more order would be more ink than a sheet holds."""


@dataclass(frozen=True)
class Rules:
    """A rewriting system.

    Parameters
    ----------
    axiom : the start word.
    rewrite : replacement of each letter; letters without an entry are kept.
    turn_deg : angle of ``+`` and ``-``.
    draws : letters that draw one step.
    """

    axiom: str
    rewrite: dict[str, str] = field(default_factory=dict)
    turn_deg: float = 90.0
    draws: str = "F"

    def rewritten(self, order: int) -> str:
        """The word after ``order`` rounds.

        Raises
        ------
        InputError : it would have more than `LONGEST` letters.
        """
        word = self.axiom
        table = str.maketrans(self.rewrite)
        for _ in range(order):
            word = word.translate(table)
            if len(word) > LONGEST:
                raise InputError(
                    f"order {order} makes more than {LONGEST:,} letters", hint="take a lower order or wider spacing"
                )
        return word


def turtle(word: str, rules: Rules) -> list[Points]:
    """Interpret a word: a drawing letter is one step, ``+`` turns left, ``-`` right, ``[`` pushes the state, ``]`` pops
    it.

    Returns
    -------
    list of (n, 2) float64, steps; each ``]`` starts a new line, the first starts at (0, 0) toward +x, y upward
    """
    turn = math.radians(rules.turn_deg)
    x = y = angle = 0.0
    kept: list[tuple[float, float, float]] = []
    line = [(x, y)]
    lines = []
    for letter in word:
        if letter in rules.draws:
            x, y = x + math.cos(angle), y + math.sin(angle)
            line.append((x, y))
        elif letter == "+":
            angle += turn
        elif letter == "-":
            angle -= turn
        elif letter == "[":
            kept.append((x, y, angle))
        elif letter == "]":
            x, y, angle = kept.pop()
            lines.append(line)
            line = [(x, y)]
    lines.append(line)
    return [np.array(one) for one in lines if len(one) > 1] or [np.zeros((1, 2))]
