"""The card writer's capitals: one-stroke letters drawn for Marrow Quay, each a symbol.

Drawn on a grid 6 high with the foot at y = 6; a width and SVG path data per letter. Numbers in the data are grid
units and become millimetres when a size is chosen, so that a symbol is used without scaling and keeps its pen width.
"""

from __future__ import annotations

import re

from ink import Card

GRID_HEIGHT = 6.0
GAP = 1.5  # between letters, grid units
SPACE = 3.2  # between words, grid units

LETTERS: dict[str, tuple[float, str]] = {
    "A": (4.6, "M0 6L2.3 0L4.6 6M0.9 3.9H3.7"),
    "B": (3.4, "M0 3H2A1.5 1.5 0 0 0 2 0H0V6H1.9A1.5 1.5 0 0 0 1.9 3"),
    "D": (4.0, "M0 0V6H1.2A2.8 3 0 0 0 1.2 0Z"),
    "E": (3.0, "M3 0H0V6H3M0 2.9H2.4"),
    "F": (3.0, "M3 0H0V6M0 2.9H2.4"),
    "G": (4.6, "M4.4 1.2A2.6 3 0 1 0 4.6 4.4V3.4H2.9"),
    "H": (3.8, "M0 0V6M3.8 0V6M0 2.9H3.8"),
    "I": (0.0, "M0 0V6"),
    "L": (2.9, "M0 0V6H2.9"),
    "M": (5.2, "M0 6L0.6 0L2.6 4L4.6 0L5.2 6"),
    "N": (4.0, "M0 6V0L4 6V0"),
    "O": (5.2, "M2.6 0A2.6 3 0 0 0 2.6 6A2.6 3 0 0 0 2.6 0Z"),
    "Q": (5.2, "M2.6 0A2.6 3 0 0 0 2.6 6A2.6 3 0 0 0 2.6 0ZM3.1 4.3C3.6 5 4.4 6.2 5.4 6.6"),
    "R": (3.5, "M0 6V0H1.8A1.6 1.6 0 0 1 1.8 3.2H0M1.7 3.2L3.5 6"),
    "S": (3.2, "M3 0.9C2.4 -0.2 0.2 -0.4 0.2 1.5C0.2 3.4 3.2 2.5 3.2 4.5C3.2 6.5 0.5 6.3 0 5"),
    "T": (4.0, "M0 0H4M2 0V6"),
    "U": (4.0, "M0 0V4A2 2 0 0 0 4 4V0"),
    "V": (4.4, "M0 0L2.2 6L4.4 0"),
    "W": (6.4, "M0 0L1.5 6L3.2 1.4L4.9 6L6.4 0"),
    "Y": (4.4, "M0 0L2.2 2.9L4.4 0M2.2 2.9V6"),
}


def width_mm(text: str, height_mm: float) -> float:
    """Width of a line of text, mm."""
    grid = sum(SPACE if c == " " else LETTERS[c][0] + GAP for c in text) - GAP
    return grid * height_mm / GRID_HEIGHT


def write(card: Card, text: str, centre_mm: float, top_mm: float, height_mm: float) -> None:
    """Write one line around ``centre_mm``; each letter of each size becomes one symbol."""
    scale = height_mm / GRID_HEIGHT
    x = centre_mm - width_mm(text, height_mm) / 2
    for c in text:
        if c == " ":
            x += SPACE * scale
            continue
        width, path = LETTERS[c]
        name = f"letter-{c}-{round(height_mm * 100)}"
        card.symbol(name, f'<path d="{_scaled(path, scale)}"/>')
        card.use(name, f"translate({x:.3f} {top_mm:.3f})")
        x += (width + GAP) * scale


def _scaled(path: str, scale: float) -> str:
    """Scale path data; the flags and the rotation of an arc (third to fifth number) are no lengths."""
    out = []
    for command, numbers in re.findall(r"([A-Z])([^A-Z]*)", path):
        values = [float(n) for n in re.findall(r"-?[\d.]+", numbers)]
        keep = {2, 3, 4} if command == "A" else set()
        out.append(command + " ".join(f"{v if i % 7 in keep else v * scale:.4g}" for i, v in enumerate(values)))
    return "".join(out)
