"""Colours and lines of a PDF's objects, as reported by pdfium."""

from __future__ import annotations

import ctypes
from typing import Any, Final

from linewright.sources.painting.marks import Cap, Join, Line, Paint

_CAPS: Final[dict[int, Cap]] = {0: "butt", 1: "round", 2: "square"}
_JOINS: Final[dict[int, Join]] = {0: "miter", 1: "round", 2: "bevel"}

MITER_LIMIT: Final = 10.0
"""Default if the file states none (ISO 32000-1, 8.4.3.5); pdfium does not report it."""


def paint_of(thing: Any, read: Any) -> Paint:
    """The colour of an object, read by one of two pdfium functions."""
    red, green, blue, alpha = (ctypes.c_uint() for _ in range(4))
    if not read(thing, red, green, blue, alpha):
        return Paint("#000000")
    share = alpha.value / 255
    return Paint(f"#{red.value:02x}{green.value:02x}{blue.value:02x}", share, opaque=share >= 1.0)


def line_of(thing: Any) -> Line:
    """How an object's outlines are stroked."""
    import pypdfium2.raw as raw

    width, phase = ctypes.c_float(), ctypes.c_float()
    raw.FPDFPageObj_GetStrokeWidth(thing, width)
    dashes: tuple[float, ...] = ()
    count = raw.FPDFPageObj_GetDashCount(thing)
    if 0 < count < 1000:
        array = (ctypes.c_float * count)()
        raw.FPDFPageObj_GetDashArray(thing, array, count)
        raw.FPDFPageObj_GetDashPhase(thing, phase)
        dashes = tuple(max(float(part), 0.0) for part in array)
        dashes = dashes * 2 if count % 2 else dashes
        dashes = dashes if sum(dashes) > 0 else ()
    return Line(
        paint_of(thing, raw.FPDFPageObj_GetStrokeColor),
        float(width.value),
        _CAPS.get(raw.FPDFPageObj_GetLineCap(thing), "butt"),
        _JOINS.get(raw.FPDFPageObj_GetLineJoin(thing), "miter"),
        MITER_LIMIT,
        dashes,
        float(phase.value),
    )
