"""Rules of the guessing game: the order in which parts of a drawing are shown, and the points for a guess."""

from __future__ import annotations

import difflib
import itertools
import random
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Drawing
from linewright.sources.words.inventing import SUBJECTS
from linewright.sources.words.lexicon import Lexicon, singulars
from linewright.sources.words.store import Thing, names, things

STAGES: Final = 6
"""Parts in which a drawing is shown; each reduces the points by one."""


@dataclass(frozen=True)
class Verdict:
    """Result of a guess: ``right``, ``near`` or ``wrong``, and a message."""

    kind: str
    words: str


def pick(rng: random.Random) -> str:
    """A random subject to be guessed."""
    return rng.choice(SUBJECTS)


def judge(guess: str, secret: str) -> Verdict:
    """Compare a guess with the secret; near is a thing of the same kind, or the same word with a typing error.

    Examples
    --------
    >>> judge("a seagull", "gull").kind
    'right'
    >>> judge("a tulip", "sunflower").kind
    'near'
    """
    word = re.sub(
        r"^(it is|it's|is it|a|an|the|some)\s+", "", re.sub(r"^(it is|it's|is it)\s+", "", _plain(guess))
    ).strip()
    if not word:
        return Verdict("wrong", "that is no guess")
    found = Lexicon(names()).noun(word.split())
    named = found[0] if found else ""
    if named == secret or word == secret or any(one == secret for one, _ in singulars(word)):
        return Verdict("right", f"yes, it is {with_article(secret)}")
    accepted = (secret, *things()[secret].also)
    if not named and max(difflib.SequenceMatcher(None, word, one).ratio() for one in accepted) > 0.75:
        return Verdict("right", f"yes, it is {with_article(secret)}")
    if any(part in secret.split() for part in word.split()):
        return Verdict("near", "very near: part of it is right")
    if named and _akin(things()[named], things()[secret]):
        return Verdict("near", "near: something of that sort")
    if not named:
        return Verdict("wrong", "no (and that word is not in the store)")
    return Verdict("wrong", "no")


def worth(shown: int, parts: int) -> int:
    """Points for a right guess with ``shown`` of the ``parts`` of the drawing visible: more when fewer are."""
    return parts + 1 - shown


def stages(drawing: Drawing, count: int = STAGES) -> list[Drawing]:
    """A drawing in parts of about equal length, the most revealing strokes last.

    Small strokes where a thing differs from others reveal most: eyes, mouths, marks. Long strokes reveal little, except
    the longest outline. So strokes of middle length far from the middle come first, short strokes and strokes near the
    densest part last.

    Parameters
    ----------
    drawing : strokes, mm; long ones are cut into pieces, so that an outline does not come at once.
    """
    pieces: list[np.ndarray[tuple[int, ...], np.dtype[np.float64]]] = []
    total = float(drawing.stroke_lengths_mm().sum())
    longest = max(total / (4 * count), 4.0)
    for stroke in drawing:
        pieces += _cut(stroke, longest)
    if not pieces:
        return [drawing]
    middles = np.array([piece.mean(axis=0) for piece in pieces])
    lengths = np.array(
        [float(np.hypot(*np.diff(piece, axis=0).T).sum()) if len(piece) > 1 else 0.0 for piece in pieces]
    )
    centre = np.median(middles, axis=0)
    spread = max(float(np.abs(middles - centre).max()), 1e-6)
    # Ink density around each piece: heads, with eyes and ears, are dense; bodies are not.
    near = np.array([np.hypot(*(middles - m).T) < 0.18 * spread for m in middles]) @ np.ones(len(pieces))
    telling = (
        0.6 * near / near.max()
        - 0.3 * np.minimum(lengths / longest, 1.0)
        - 0.1 * np.hypot(*(middles - centre).T) / spread
    )
    order = np.argsort(telling, kind="stable")
    ends = np.searchsorted(np.cumsum(lengths[order]), np.linspace(0, lengths.sum(), count + 1)[1:-1])
    parts = np.split(order, ends)
    return [Drawing.from_strokes([pieces[i] for i in part], pens=drawing.pens[:1]) for part in parts if len(part)]


def _cut(
    stroke: np.ndarray[tuple[int, ...], np.dtype[np.float64]], longest: float
) -> list[np.ndarray[tuple[int, ...], np.dtype[np.float64]]]:
    """A stroke in pieces of at most this length; neighbours share a point."""
    if len(stroke) < 2:
        return [stroke]
    run = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(stroke, axis=0).T))))
    count = max(1, int(np.ceil(run[-1] / longest)))
    cuts = sorted({0, len(stroke) - 1, *np.searchsorted(run, np.linspace(0, run[-1], count + 1)[1:-1]).tolist()})
    return [stroke[a : b + 1] for a, b in itertools.pairwise(cuts)]


def _plain(guess: str) -> str:
    return " ".join(re.findall(r"[^\W\d_]+(?:['-][^\W\d_]+)*", guess.lower()))


def with_article(word: str) -> str:
    """A word with ``a`` or ``an`` before it where the word takes an article."""
    return word if word == "scissors" else f"{'an' if word[0] in 'aeio' or word.startswith('um') else 'a'} {word}"


def _akin(one: Thing, other: Thing) -> bool:
    return one.theme == other.theme


def scored(players: Mapping[str, int]) -> str:
    """The score as text."""
    return ", ".join(f"{name} {count}" for name, count in players.items())
