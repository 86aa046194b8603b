"""Drawing files as paintings: shapes in paint order, and the strokes made from them.

A reader (SVG, PDF, DXF) makes a `Painting`: outlines as curves in the file's units, with fill, stroke, order and clips.
`strokes_of` then makes strokes at the size on the sheet::

    Painting -> placed -> lines, edges, shading -> sight (clips, what is covered) -> Picture
"""

from linewright.sources.painting.limits import FileLimits
from linewright.sources.painting.marks import Clip, Line, Mark, Paint, Painting
from linewright.sources.painting.shading import FillHatching
from linewright.sources.painting.strokes import strokes_of

__all__ = ["Clip", "FileLimits", "FillHatching", "Line", "Mark", "Paint", "Painting", "strokes_of"]
