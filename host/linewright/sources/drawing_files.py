"""Readers of drawing files by kind, and the strokes of a drawing file."""

from __future__ import annotations

from pathlib import Path
from typing import Final, Protocol

from linewright.sources.painting.limits import FileLimits
from linewright.sources.painting.marks import Painting
from linewright.sources.painting.shading import FillHatching
from linewright.sources.picture import Picture, Wish
from linewright.sources.source_file import source_file


class Reader(Protocol):
    """A reader of one kind of drawing file."""

    def __call__(self, source: str, wish: Wish, limits: FileLimits | None = None) -> Painting:
        """Everything drawable of a file, in paint order.

        Raises
        ------
        SourceError
            The file cannot be read, is not of this kind, or exceeds a limit.
        """


def reader_of(source: str) -> Reader:
    """The reader for a file, by its first bytes. Unknown files go to the SVG reader, which reports what is wrong."""
    from linewright.sources import dxf, pdf, svg
    from linewright.sources.dxf.reader import looks_like_one as looks_like_dxf
    from linewright.sources.pdf.reader import looks_like_one as looks_like_pdf

    path = Path(source)
    with source_file(path) as stream:
        head = stream.read(HEAD_BYTES)
    if looks_like_pdf(head) or path.suffix.lower() == ".pdf":
        return pdf.painting_of
    return dxf.painting_of if looks_like_dxf(path, head) else svg.painting_of


HEAD_BYTES: Final = 1024
"""A PDF has its signature within this many bytes of its start."""


def read_drawing(source: str, wish: Wish, hatching: FillHatching | None = None) -> Picture:
    """The strokes of a drawing file, at its size on the sheet.

    Parameters
    ----------
    hatching : how fillings are shaded; None: only their edges are drawn.

    Raises
    ------
    SourceError
        The file cannot be read, exceeds a limit, or has nothing to draw; the message has the place and a hint.
    """
    from linewright.sources.painting.strokes import strokes_of

    return strokes_of(reader_of(source)(source, wish), wish, hatching=hatching)
