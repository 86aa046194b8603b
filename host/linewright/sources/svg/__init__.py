"""Strokes from SVG files: reading, up to a `Painting`; `linewright.sources.painting` makes the strokes.

Anything that cannot be drawn is reported in a warning. Hidden elements stay hidden. Nothing outside the file is read,
except fonts.

The stages of this package::

    bytes -> document -> walk -> Painting

and the parts of the walk, the upper ones using the lower ones::

    embedding (pictures inside), markers (at vertices)
    effects (opacity, clips, masks)
    writing (characters -> text_layout -> typesetting)
    outlines (shapes, path_data), tiles (patterns)
    scene (cascade, style, servers, affine): what all of them share
"""

from linewright.sources.painting.limits import FileLimits
from linewright.sources.painting.shading import FillHatching
from linewright.sources.svg.reader import DEFAULT_TOLERANCE_MM, painting_of, read_svg

__all__ = ["DEFAULT_TOLERANCE_MM", "FileLimits", "FillHatching", "painting_of", "read_svg"]
