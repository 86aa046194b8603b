"""Synthetic drawings that look like real ones, for the benches; every run makes the same."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing

TOLERANCE_MM = 0.02

Points = NDArray[np.float64]


def flatten(curve: Points) -> Points:
    """Thin a dense curve (n, 2) to chords within TOLERANCE_MM, as a flattener would: segment length from curvature."""
    step = np.hypot(*np.diff(curve, axis=0).T)
    heading = np.unwrap(np.arctan2(*np.diff(curve, axis=0).T[::-1]))
    bend = np.abs(np.diff(heading, append=heading[-1])) / np.maximum(step, 1e-9)
    # A chord of length c on curvature k departs by c^2 k / 8.
    wanted = np.minimum(np.sqrt(8 * TOLERANCE_MM / np.maximum(bend, 1e-4)), 10.0)
    share = np.concatenate([[0.0], np.cumsum(step / wanted)])
    count = max(2, int(np.ceil(share[-1])) + 1)
    at = np.linspace(0.0, share[-1], count)
    return np.column_stack([np.interp(at, share, curve[:, 0]), np.interp(at, share, curve[:, 1])])


def blob(rng: np.random.Generator, size_mm: float, *, closed: bool = True) -> Points:
    """A smooth random curve."""
    t = np.linspace(0, 2 * np.pi if closed else 4.0, 2000)
    x = np.zeros_like(t)
    y = np.zeros_like(t)
    for k in range(1, 7):
        x += rng.normal() / k**1.5 * np.cos(k * t + rng.uniform(0, 6.3))
        y += rng.normal() / k**1.5 * np.sin(k * t + rng.uniform(0, 6.3))
    return flatten(np.column_stack([x, y]) * size_mm / 2 + rng.uniform(30, 170, 2))


def circle(rng: np.random.Generator, radius_mm: float) -> Points:
    count = max(8, int(np.ceil(np.pi / np.arccos(1 - TOLERANCE_MM / radius_mm))))
    t = np.linspace(0, 2 * np.pi, count + 1)
    return np.column_stack([np.cos(t), np.sin(t)]) * radius_mm + rng.uniform(30, 170, 2)


def drawings() -> dict[str, Drawing]:
    """Named drawings, mm, within 0..200 or close to it."""
    rng = np.random.default_rng(20261125)
    sets: dict[str, list[Points]] = {}
    sets["outlines"] = [blob(rng, float(rng.uniform(10, 60)), closed=bool(rng.random() < 0.5)) for _ in range(150)]
    sets["small letters"] = [blob(rng, float(rng.uniform(2, 5)), closed=False) for _ in range(500)]
    sets["circles"] = [circle(rng, float(rng.uniform(0.8, 25))) for _ in range(150)]
    slant = np.array([0.35, 1.0])
    sets["hatching"] = [
        p + np.array([[0.0, 0.0], [1.0, 1.0]]) * slant * rng.uniform(3, 25) for p in rng.uniform(20, 180, (1200, 1, 2))
    ]
    sets["facets"] = [np.cumsum(rng.normal(0, 4, (12, 2)), axis=0) + rng.uniform(50, 150, 2) for _ in range(250)]
    wander = np.cumsum(rng.normal(0, 1, (40000, 2)), axis=0)
    kernel = np.hanning(60) / np.hanning(60).sum()
    smooth = np.column_stack([np.convolve(wander[:, i], kernel, "valid") for i in (0, 1)])
    sets["one line"] = [flatten(smooth * 0.35 + 100)]
    return {
        name: Drawing.from_strokes([np.clip(stroke, 0.0, 300.0) for stroke in strokes])
        for name, strokes in sets.items()
    }
