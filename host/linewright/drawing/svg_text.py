"""Text of a plain SVG whose user unit is the millimetre."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

DECIMALS: Final = 3
"""Decimals of a coordinate: a micrometre, a twelfth of a motor step at 80 steps/mm."""


def head(width_mm: float, height_mm: float, left_mm: float = 0.0, top_mm: float = 0.0) -> str:
    """The opening tag of an SVG of this size; ``left_mm`` and ``top_mm`` are the coordinates of its corner."""
    width, height = number(width_mm), number(height_mm)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{number(left_mm)} {number(top_mm)} {width} {height}" fill="none" '
        'stroke-linecap="round" stroke-linejoin="round">\n'
    )


def group(identity: str, name: str, colour: str, width_mm: float) -> str:
    """The opening tag of a pen's group, with its name as title."""
    from xml.sax.saxutils import quoteattr  # slow to import: loads an HTTP client

    title = name.replace("&", "&amp;").replace("<", "&lt;")
    return (
        f'<g id={quoteattr(identity)} stroke={quoteattr(colour)} stroke-width="{number(width_mm)}">'
        f"<title>{title}</title>\n"
    )


def stroke(points_mm: NDArray[np.float64]) -> str:
    """One stroke, (m, 2) mm, rounded to 0.001 mm."""
    if len(points_mm) == 1:  # a dot: a line without length, which round caps make visible
        return f'<path d="M{number(points_mm[0, 0])},{number(points_mm[0, 1])}h0"/>\n'
    pattern = " ".join([f"%.{DECIMALS}f,%.{DECIMALS}f"] * len(points_mm))
    return f'<polyline points="{pattern % tuple(points_mm.ravel().tolist())}"/>\n'


def number(value: float) -> str:
    """A number with as few characters as possible.

    Examples
    --------
    >>> number(210.0), number(1 / 3)
    ('210', '0.333')
    """
    return f"{value:.{DECIMALS}f}".rstrip("0").rstrip(".")
