"""Files of lines and shapes, by kind: which reader makes a `Painting` of them, and that painting as strokes."""

from __future__ import annotations

from typing import Protocol

from linewright.sources.painting.limits import Limits
from linewright.sources.painting.marks import Painting
from linewright.sources.painting.shading import Hatching
from linewright.sources.picture import Picture, Wish


class Reader(Protocol):
    """A reader of one kind of drawing file."""

    def __call__(self, source: str, wish: Wish, limits: Limits | None = None) -> Painting:
        """Everything drawable of a file, in paint order.

        Raises
        ------
        SourceError
            When it cannot be read, is not of its kind, or breaks a limit.
        """


def reader_of(_source: str) -> Reader:
    """The reader for a file. What nothing else claims is taken for an SVG, whose reader says what is wrong with it."""
    from linewright.sources.svg import painting_of

    return painting_of


def read_drawing(source: str, wish: Wish, hatching: Hatching | None = None) -> Picture:
    """The strokes of a drawing file, at the size that it has on the sheet.

    Parameters
    ----------
    hatching : how fillings are shaded; none: only their edges are drawn.

    Raises
    ------
    SourceError
        When the file cannot be read, breaks a limit, or has nothing to draw; with place and way out.
    """
    from linewright.sources.painting.strokes import strokes_of

    return strokes_of(reader_of(source)(source, wish), wish, hatching=hatching)
