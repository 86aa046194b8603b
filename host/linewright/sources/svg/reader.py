"""`read_svg`: from an SVG to strokes in millimetres; `painting_of`: to a painting."""

from __future__ import annotations

import math
import os
from typing import Literal

from linewright.sources.painting.limits import FileLimits
from linewright.sources.painting.marks import Painting
from linewright.sources.painting.notes import Notes
from linewright.sources.painting.shading import FillHatching
from linewright.sources.painting.strokes import strokes_of
from linewright.sources.picture import Picture, Wish
from linewright.sources.svg.document import parse_document, read_bytes
from linewright.sources.svg.walk import paint

DEFAULT_TOLERANCE_MM = 0.02  # less than two motor steps at 80 steps/mm, and a tenth of the finest pen line


def painting_of(source: str | os.PathLike[str] | bytes, wish: Wish, limits: FileLimits | None = None) -> Painting:
    """Everything drawable of an SVG, in paint order.

    Parameters
    ----------
    source : path of an ``.svg`` or ``.svgz`` file, or its bytes.
    wish : page, layers, and style of words.
    limits : upper bounds; None: the defaults.

    Raises
    ------
    SourceError
        The file cannot be read, is no SVG, or exceeds a limit; the message has the place and a hint.
    """
    limits = limits or FileLimits()
    notes = Notes()
    name = "the picture" if isinstance(source, bytes) else os.fspath(source)
    data = source if isinstance(source, bytes) else read_bytes(source, limits)
    document = parse_document(data, name, limits, notes)
    return paint(document, limits, notes, wish)


def read_svg(
    source: str | os.PathLike[str] | bytes,
    *,
    tolerance_mm: float = DEFAULT_TOLERANCE_MM,
    pen_by: Literal["colour", "layer"] = "colour",
    limits: FileLimits | None = None,
    hatching: FillHatching | None = None,
    wish: Wish | None = None,
) -> Picture:
    """Read an SVG.

    Parameters
    ----------
    source : path of an ``.svg`` or ``.svgz`` file, or its bytes.
    tolerance_mm : largest deviation of a stroke from its curve, at the size of the picture, mm.
    pen_by : one pen per ink colour, or one per layer (groups directly below the ``<svg>``, by label, title or id).
    limits : upper bounds; None: the defaults.
    hatching : how fillings are shaded; None: only their outlines are drawn.
    wish : area on the sheet and all options, ``tolerance_mm`` and ``pen_by`` included; None:
        the picture keeps its stated size.

    Raises
    ------
    SourceError
        The file cannot be read, is no SVG, exceeds a limit, or has nothing to draw; the message has the place and a
        hint.
    ValueError
        ``tolerance_mm`` is not positive, or ``pen_by`` is invalid.
    """
    if wish is None:
        wish = Wish(tolerance_mm=tolerance_mm, pen_by=pen_by, fit="keep")
    if not (math.isfinite(wish.tolerance_mm) and wish.tolerance_mm > 0.0):
        raise ValueError(f"tolerance_mm = {wish.tolerance_mm!r}: must be above 0 mm")
    if wish.pen_by not in ("colour", "layer"):
        raise ValueError(f"pen_by = {wish.pen_by!r}: must be 'colour' or 'layer'")
    return strokes_of(painting_of(source, wish, limits), wish, hatching=hatching, limits=limits)
