"""Small photographs with known results, for the tests of tone methods."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from linewright.sources.photograph import Photograph
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer


def silent(_state: str, _done: float) -> None:
    """A report that does nothing."""


def layer(
    coverage: NDArray[np.floating], width_mm: float = 80.0, height_mm: float = 60.0, pen_mm: float = 0.5
) -> Layer:
    return Layer(Field(coverage.astype(np.float32), width_mm, height_mm, pen_mm), 0, silent, lambda text: None)


def photograph(grey: NDArray[np.floating]) -> Photograph:
    """A photograph from (h, w) greys, 0..1."""
    return Photograph(np.repeat(np.asarray(grey, dtype=np.float32)[:, :, None], 3, axis=2))


def wedge(rows: int = 60, columns: int = 80) -> NDArray[np.float64]:
    """Coverage from 0 at the left to 1 at the right."""
    return np.tile((np.arange(columns) + 0.5) / columns, (rows, 1))


def disc(rows: int, columns: int, radius: float, *, oversize: int = 8) -> NDArray[np.float64]:
    """Coverage 1 within a centred circle; pixels on its edge by their covered share."""
    y, x = np.mgrid[: rows * oversize, : columns * oversize] / oversize
    centre = 0.5 / oversize
    inside = np.hypot(x + centre - columns / 2, y + centre - rows / 2) < radius
    return inside.reshape(rows, oversize, columns, oversize).mean(axis=(1, 3))


def hills(seed: int, rows: int = 48, columns: int = 64) -> NDArray[np.float64]:
    """Smooth greys, 0..1, different for each seed."""
    noise = np.random.default_rng(seed).random((6, 8)).astype(np.float32)
    grey = np.asarray(Image.fromarray(noise).resize((columns, rows), Image.Resampling.BICUBIC), dtype=np.float64)
    return np.clip((grey - grey.min()) / np.ptp(grey), 0, 1)
