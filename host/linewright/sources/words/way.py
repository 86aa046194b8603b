"""`Words`: from a sentence to strokes that fit the requested size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import SourceError
from linewright.sources import settings
from linewright.sources.picture import Picture, Wish
from linewright.sources.words import own
from linewright.sources.words.arranging import arrange
from linewright.sources.words.art import Art
from linewright.sources.words.hiding import Stroke, visible
from linewright.sources.words.lexicon import COLOURS, Lexicon
from linewright.sources.words.phrases import Reading
from linewright.sources.words.reading import read
from linewright.sources.words.staging import Stage
from linewright.sources.words.store import Thing, names, things

LEAST_MM: Final = 20.0
"""Smallest size; smaller pictures are illegible."""

_SHORTEST: Final = 1.2
"""In pen widths: shorter visible remains of hidden lines are left out, to save pen lifts."""

_EXAMPLE: Final = '"an owl in rubber boots on a unicycle by the sea"'


@dataclass(frozen=True)
class Words:
    """Settings.

    Parameters
    ----------
    seed : random seed; another gives another picture of the same sentence.
    caption : text below the picture: ``none``, or the ``sentence``.
    """

    seed: int = settings.seed()
    caption: str = settings.choice("what is written below the picture", "none", "none", "sentence")

    def read(self, source: str, wish: Wish) -> Picture:
        """The picture of a sentence, as large as the requested size allows.

        Raises
        ------
        SourceError
            If no word of the sentence can be drawn, or the text is not a sentence.
        """
        if min(wish.room_mm) < LEAST_MM:
            raise SourceError(
                f"a room of {wish.room_mm[0]:.4g} x {wish.room_mm[1]:.4g} mm is too small for a picture, which needs "
                f"{LEAST_MM:g} mm each way",
                hint="take a larger sheet or a smaller margin",
            )
        reading, all_things, wrong = understood(source)
        art = arrange(reading, Stage(all_things, self.seed), self.seed)
        drawing, width_mm, height_mm = placed(art, wish, " ".join(source.split()) if self.caption != "none" else "")
        return Picture(drawing, width_mm, height_mm, (*told(reading), *wrong))


def understood(sentence: str) -> tuple[Reading, Mapping[str, Thing], list[str]]:
    """Parsed sentence, all available things, and error messages about the user's own things.

    Raises
    ------
    SourceError
        If nothing in it can be drawn.
    """
    mine, wrong = own.load()
    known = {**things(), **mine}
    lexicon = Lexicon({**names(), **{name: name for name in mine}})
    reading = read(sentence, lexicon)
    if not reading.subjects and not reading.scenes:
        said = "; ".join(_unknown(word, near) for word, near in reading.unknown.items())
        raise SourceError(
            f"nothing in the sentence can be drawn{': ' + said if said else ''}",
            hint=f"only English is understood, and `linewright words list` lists what is known; write something such as {_EXAMPLE}",
        )
    return reading, known, wrong


def told(reading: Reading) -> tuple[str, ...]:
    """Notes on what the picture leaves out or changes."""
    return (*(_unknown(word, near) for word, near in reading.unknown.items()), *dict.fromkeys(reading.notes))


def _unknown(word: str, near: tuple[str, ...]) -> str:
    shown = word if len(word) <= 30 else f"{word[:26]}..."
    nearest = f"; nearest to it is {' or '.join(near)}" if near else ""
    return f"{shown!r} is not known and not drawn{nearest}"


def placed(art: Art, wish: Wish, caption: str = "") -> tuple[Drawing, float, float]:
    """The visible strokes of a picture in drawing order, fitted to the requested size, with its width and height in
    mm.
    """
    x0, y0, x1, y1 = art.bounds()
    wide, high = max(x1 - x0, 1.0), max(y1 - y0, 1.0)
    foot = 0.13 if caption else 0.0
    width_mm, height_mm = wish.fitted_mm(wide, high * (1 + foot))
    k = width_mm / wide
    strokes = visible(art.shapes, _SHORTEST * wish.pen_width_mm / k)
    points = [np.column_stack(((s.points[:, 0] - x0) * k, (y1 - s.points[:, 1]) * k)) for s in strokes]
    pens, which = _pens(strokes, wish)
    if caption:
        written = _written(caption, width_mm, high * foot * k, wish)
        points += [line + (0.0, high * k) for line in written]
        which += [0] * len(written)
    return Drawing.from_strokes(points, which, pens), width_mm, height_mm


def _written(
    caption: str, width_mm: float, height_mm: float, wish: Wish
) -> list[np.ndarray[tuple[int, ...], np.dtype[np.float64]]]:
    """The caption as strokes, in a strip below the picture."""
    from linewright.sources.lettering import Lettering

    strip = replace(wish, room_mm=(width_mm, height_mm * 0.8), turn_deg=0)
    picture = Lettering(face="running", align="centre").read(caption, strip)
    return [line + (0.0, height_mm * 0.2) for line in picture.drawing]


def _pens(strokes: list[Stroke], wish: Wish) -> tuple[tuple[Pen, ...], list[int]]:
    """The pens, and the pen index of each stroke. Each colour in the sentence has its own pen.

    If the user has named pens, each colour uses the nearest of them.
    """
    said = list(dict.fromkeys(stroke.pen for stroke in strokes if stroke.pen))
    if wish.pens:
        pens = wish.pens
        index = {"": 0, **{name: _nearest(COLOURS[name], pens) for name in said}}
    else:
        pens = (wish.one_pen("black"), *(Pen(name, COLOURS[name]) for name in said))
        index = {"": 0, **{name: i + 1 for i, name in enumerate(said)}}
    return pens, [index[stroke.pen] for stroke in strokes]


def _nearest(colour: str, pens: tuple[Pen, ...]) -> int:
    wanted = _rgb(colour)
    return int(np.argmin([np.square(_rgb(pen.colour) - wanted).sum() for pen in pens]))


def _rgb(colour: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], dtype=np.float64)
