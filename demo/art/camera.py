"""A small camera: solids given by their distance, marched along rays, lit by a key light and a dome, with numpy alone.

Sphere tracing (Hart 1996): a ray may always go on by the distance to the nearest surface. Everything is deterministic,
so that the photographs of the demo can be taken again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Vectors = NDArray[np.float32]  # (..., 3)
Scalars = NDArray[np.float32]  # (...)
Solid = Callable[[Vectors], Scalars]

FAR = 40.0
NEAR_ENOUGH = 0.0015


def vector(*parts: float) -> Vectors:
    return np.array(parts, dtype=np.float32)


def unit(v: Vectors) -> Vectors:
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)


def sphere(p: Vectors, centre: Vectors, radius: float) -> Scalars:
    return np.linalg.norm(p - centre, axis=-1) - np.float32(radius)


def ellipsoid(p: Vectors, centre: Vectors, radii: Vectors) -> Scalars:
    """Close to the distance near the surface (Quilez's bound)."""
    q = (p - centre) / radii
    k0 = np.linalg.norm(q, axis=-1)
    k1 = np.maximum(np.linalg.norm(q / radii, axis=-1), 1e-6)
    return k0 * (k0 - 1.0) / k1


def cone(p: Vectors, a: Vectors, b: Vectors, ra: float, rb: float) -> Scalars:
    """A rod with round ends, ``ra`` thick at a and ``rb`` at b."""
    ba = b - a
    t = np.clip((p - a) @ ba / float(ba @ ba), 0.0, 1.0)
    return np.linalg.norm(p - a - t[..., None] * ba, axis=-1) - (np.float32(ra) + t * np.float32(rb - ra))


def ring(p: Vectors, centre: Vectors, axis: Vectors, major: float, minor: float) -> Scalars:
    q = p - centre
    along = q @ unit(axis)
    across = np.sqrt(np.maximum((q * q).sum(axis=-1) - along**2, 0.0))
    return np.hypot(across - np.float32(major), along) - np.float32(minor)


def drum(p: Vectors, centre: Vectors, axis: Vectors, radius: float, half: float, round_: float = 0.02) -> Scalars:
    """A cylinder with rounded rims."""
    q = p - centre
    along = q @ unit(axis)
    across = np.sqrt(np.maximum((q * q).sum(axis=-1) - along**2, 0.0))
    dx, dy = across - np.float32(radius - round_), np.abs(along) - np.float32(half - round_)
    return np.minimum(np.maximum(dx, dy), 0.0) + np.hypot(np.maximum(dx, 0.0), np.maximum(dy, 0.0)) - np.float32(round_)


def melted(a: Scalars, b: Scalars, k: float) -> Scalars:
    """Smooth union: the corner between two solids filled over a width ``k``."""
    h = np.maximum(k - np.abs(a - b), 0.0) / k
    return np.minimum(a, b) - h * h * np.float32(k / 4)


@dataclass(frozen=True)
class View:
    """Where the camera stands, what it looks at, and how wide it sees."""

    eye: Vectors
    at: Vectors
    wide: float  # half of the picture's height at distance 1
    width: int
    height: int

    def rays(self) -> Vectors:
        """(height, width, 3) unit directions."""
        forward = unit(self.at - self.eye)
        right = unit(np.cross(forward, vector(0, 1, 0)))
        up = np.cross(right, forward)
        y, x = np.mgrid[: self.height, : self.width].astype(np.float32)
        u = (x + 0.5 - self.width / 2) / (self.height / 2) * self.wide
        v = -(y + 0.5 - self.height / 2) / (self.height / 2) * self.wide
        return unit(forward + u[..., None] * right + v[..., None] * up).astype(np.float32)


def march(solid: Solid, eye: Vectors, rays: Vectors, steps: int = 90) -> Scalars:
    """(...) distance along each ray to the solid, infinite where it passes."""
    flat = rays.reshape(-1, 3)
    depth = np.zeros(len(flat), dtype=np.float32)
    live = np.arange(len(flat))
    done = np.full(len(flat), np.inf, dtype=np.float32)
    for _ in range(steps):
        if not len(live):
            break
        d = solid(eye + depth[live, None] * flat[live])
        hit = d < NEAR_ENOUGH * np.maximum(1.0, depth[live] * 0.3)
        done[live[hit]] = depth[live[hit]]
        depth[live] += d * np.float32(0.9)
        live = live[~hit & (depth[live] < FAR)]
    return done.reshape(rays.shape[:-1])


def normals(solid: Solid, p: Vectors, e: float = 0.002) -> Vectors:
    """By differences at the corners of a tetrahedron."""
    corners = np.array([[1, -1, -1], [-1, -1, 1], [-1, 1, -1], [1, 1, 1]], dtype=np.float32)
    total = np.zeros_like(p)
    for corner in corners:
        total += corner * solid(p + e * corner)[..., None]
    return unit(total)


def shadow(solid: Solid, p: Vectors, light: Vectors, soft: float = 10.0, steps: int = 28) -> Scalars:
    """1 where the light is seen, 0 where it is hidden, with a soft edge."""
    light_seen = np.ones(p.shape[:-1], dtype=np.float32)
    depth = np.full(p.shape[:-1], 0.03, dtype=np.float32)
    for _ in range(steps):
        d = solid(p + depth[..., None] * light)
        light_seen = np.minimum(light_seen, np.clip(soft * d / depth, 0.0, 1.0))
        depth += np.clip(d, 0.02, 0.4)
    return light_seen


def openness(solid: Solid, p: Vectors, n: Vectors) -> Scalars:
    """How much of the dome a point sees, 0 to 1, from a few distances along its normal."""
    closed = np.zeros(p.shape[:-1], dtype=np.float32)
    for k, step in enumerate((0.03, 0.08, 0.16, 0.3, 0.5)):
        closed += np.maximum(step - solid(p + step * n), 0.0) * np.float32(0.9 / (1 + 2 * k) / step)
    return np.clip(1.0 - closed, 0.0, 1.0)


def clouds(shape: tuple[int, int], seed: int, octaves: int = 6, base: tuple[int, int] = (3, 3)) -> Scalars:
    """Noise of many scales, 0 to 1."""
    from PIL import Image

    rng = np.random.default_rng(seed)
    total, weight = np.zeros(shape, dtype=np.float32), 1.0
    for octave in range(octaves):
        size = (base[0] * 2**octave + 2, base[1] * 2**octave + 2)
        grid = Image.fromarray(rng.random(size).astype(np.float32))
        total += weight * np.asarray(grid.resize(shape[::-1], Image.Resampling.BICUBIC))
        weight *= 0.52
    return (total - total.min()) / np.ptp(total)


def smoothstep(low: float, high: float, x: Scalars) -> Scalars:
    t = np.clip((x - low) / (high - low), 0.0, 1.0)
    return t * t * (3 - 2 * t)


def developed(light: Vectors, seed: int, *, grain: float = 0.006, vignette: float = 0.25) -> NDArray[np.uint8]:
    """Linear light to an 8-bit sRGB picture, with the fall-off of a lens and a little grain."""
    rows, columns = light.shape[:2]
    y, x = np.mgrid[:rows, :columns]
    out = np.hypot((x - columns / 2) / columns, (y - rows / 2) / rows)
    light = light * (1 - vignette * (2 * out[..., None]) ** 2)
    light = np.clip(light, 0.0, None)
    light = light / (1 + 0.25 * light) * 1.25  # a film's shoulder: bright places bend towards white
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    encoded += np.random.default_rng(seed).normal(0, grain, light.shape[:2])[..., None]
    return np.round(np.clip(encoded, 0, 1) * 255).astype(np.uint8)
