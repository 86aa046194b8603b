"""Ramp sets that look like real drawings, for the benches of the wire.

Each set is drawn on a plain 80 steps/mm rig with a small planner of its own (junction speeds, two passes, ramps split
where acceleration changes), so that the bench of the record format does not depend on the planner it serves.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

STEPS_PER_MM = 80.0  # 200 x 16 / (2 mm x 20), common practice
SPEED_MM_S = 150.0
ACCEL_MM_S2 = 2000.0
JUNCTION_MM = 0.05
TOLERANCE_MM = 0.02

Points = NDArray[np.float64]
Ramps = NDArray[np.int64]


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


def drawings() -> dict[str, list[Points]]:
    """Named lists of strokes in mm, deterministic."""
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
    return sets


def ramps(strokes: list[Points]) -> Ramps:
    """Ramps (m, 4) int64 of kind, da, db, v_end: kind 0 is a ramp, 1 a pen action (its other columns are 0)."""
    rows: list[Ramps] = []
    here = np.zeros(2)
    done = np.zeros(2, dtype=np.int64)
    for stroke in strokes:
        for path in (np.vstack([here, stroke[0]]), stroke):
            part, done = _ramps_of_path(path, done)
            rows += [part, np.array([[1, 0, 0, 0]])]
        here = stroke[-1]
    return np.vstack(rows)


def _ramps_of_path(path_mm: Points, done: NDArray[np.int64]) -> tuple[Ramps, NDArray[np.int64]]:
    delta = np.diff(path_mm, axis=0)
    length = np.hypot(delta[:, 0], delta[:, 1])
    keep = length > 1e-6
    delta, length = delta[keep], length[keep]
    start = path_mm[0]
    if not len(length):
        return np.empty((0, 4), dtype=np.int64), done
    unit = delta / length[:, None]
    top = (SPEED_MM_S / np.abs(unit).max(axis=1)) ** 2
    accel = ACCEL_MM_S2 / np.abs(unit).max(axis=1)
    cosine = np.clip((unit[1:] * unit[:-1]).sum(axis=1), -1, 1)
    half = np.sqrt((1 + cosine) / 2)
    radius = JUNCTION_MM * half / np.maximum(1 - half, 1e-12)
    fit = np.minimum(length[1:], length[:-1]) / 2 / np.maximum(np.sqrt((1 - cosine) / (1 + cosine + 1e-12)), 1e-12)
    cap = ACCEL_MM_S2 * np.minimum(radius, fit)
    w = np.zeros(len(length) + 1)
    w[1:-1] = np.minimum(cap, np.minimum(top[1:], top[:-1]))
    budget = np.concatenate([[0.0], np.cumsum(2 * accel * length)])
    w = np.minimum.accumulate(w - budget) + budget
    w = (np.minimum.accumulate((w + budget)[::-1]))[::-1] - budget
    pieces_mm: list[float] = []
    owner: list[int] = []
    speed: list[float] = []
    for i, d in enumerate(length):
        w0, w1, a = w[i], w[i + 1], accel[i]
        peak = min((w0 + w1) / 2 + a * d, top[i])
        up = max((peak - w0) / (2 * a), 0.0)
        down = max((peak - w1) / (2 * a), 0.0)
        for piece, end in ((up, peak), (d - up - down, peak), (down, w1)):
            if piece > 1e-6:
                pieces_mm.append(piece)
                owner.append(i)
                speed.append(float(np.sqrt(max(end, 0.0))))
    along = np.cumsum(np.array(pieces_mm)[:, None] * unit[owner], axis=0) + start
    target = np.rint(along * STEPS_PER_MM).astype(np.int64)
    steps = np.diff(np.vstack([done, target]), axis=0)
    v_end = np.floor(np.array(speed) * STEPS_PER_MM).astype(np.int64)
    moved = np.any(steps != 0, axis=1)
    long = np.abs(steps).max(initial=0)
    assert long <= 16383, long
    out = np.column_stack([np.zeros(len(steps), dtype=np.int64), steps, v_end])[moved]
    return out, target[-1]
