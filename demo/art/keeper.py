"""A portrait for the demo: the keeper of the quay, who never lived. His head is modelled as solids for `camera`.

One unit is about 10 cm. The head looks along +z before it is turned; y is up.
"""

from __future__ import annotations

import numpy as np
from camera import (
    Scalars,
    Vectors,
    View,
    clouds,
    cone,
    developed,
    drum,
    ellipsoid,
    march,
    melted,
    normals,
    openness,
    ring,
    shadow,
    smoothstep,
    sphere,
    unit,
    vector,
)

TURN_DEG, NOD_DEG = 19.0, 2.0
EYE_X, EYE_Y, EYE_Z, EYE_R = 0.31, 0.13, 0.60, 0.150
GAZE = unit(vector(-0.24, 0.0, 1.0))
SKIN, EYES, LIPS, BEARD, BROWS, CAP, JERSEY = range(7)


def turned(p: Vectors) -> Vectors:
    """Points of the world in the frame of the head."""
    a, b = np.radians(TURN_DEG), np.radians(NOD_DEG)
    x, z = np.cos(a) * p[..., 0] - np.sin(a) * p[..., 2], np.sin(a) * p[..., 0] + np.cos(a) * p[..., 2]
    y, z = np.cos(b) * p[..., 1] - np.sin(b) * z, np.sin(b) * p[..., 1] + np.cos(b) * z
    return np.stack([x, y, z], axis=-1).astype(np.float32)


def mirrored(p: Vectors) -> Vectors:
    """Both halves of a face as its left one."""
    return np.stack([np.abs(p[..., 0]), p[..., 1], p[..., 2]], axis=-1)


def carved(a: Scalars, b: Scalars, k: float) -> Scalars:
    """``a`` without ``b``, the edge rounded over a width ``k``."""
    return -melted(-a, b, k)


def face(q: Vectors) -> Scalars:
    m = mirrored(q)
    d = ellipsoid(q, vector(0, 0.42, -0.08), vector(0.76, 0.86, 0.92))
    d = melted(d, ellipsoid(q, vector(0, -0.34, 0.16), vector(0.54, 0.68, 0.60)), 0.40)
    d = melted(d, ellipsoid(m, vector(0.43, -0.06, 0.44), vector(0.20, 0.15, 0.20)), 0.22)
    d = melted(d, cone(m, vector(0.10, 0.335, 0.765), vector(0.46, 0.345, 0.585), 0.060, 0.055), 0.14)
    d = carved(d, ellipsoid(m, vector(0.31, 0.14, 0.84), vector(0.20, 0.115, 0.15)), 0.14)
    # The lids: a ball about the eye, open in front between two planes.
    lid = sphere(m, vector(EYE_X, EYE_Y, EYE_Z), EYE_R + 0.028)
    rise = 0.62 * (m[..., 2] - EYE_Z)
    x = m[..., 0] - EYE_X
    above = (m[..., 1] - EYE_Y) - 0.34 * rise + 1.1 * x * x
    below = -(m[..., 1] - EYE_Y) - 0.42 * rise + 0.9 * x * x
    d = melted(d, np.minimum(np.maximum(lid, -above), np.maximum(lid, -below)), 0.035)
    # The nose and its wings.
    d = melted(d, cone(q, vector(0, 0.26, 0.77), vector(0, -0.12, 1.00), 0.062, 0.085), 0.11)
    d = melted(d, ellipsoid(q, vector(0, -0.155, 0.995), vector(0.115, 0.095, 0.105)), 0.05)
    d = melted(d, ellipsoid(m, vector(0.115, -0.185, 0.895), vector(0.070, 0.070, 0.095)), 0.05)
    d = carved(d, ellipsoid(m, vector(0.062, -0.262, 0.925), vector(0.034, 0.030, 0.050)), 0.03)
    # Cheek folds, ears, neck.
    d = carved(d, cone(m, vector(0.185, -0.20, 0.86), vector(0.34, -0.44, 0.69), 0.012, 0.022), 0.07)
    ear = ellipsoid(m, vector(0.80, 0.06, -0.08), vector(0.085, 0.25, 0.15))
    ear = carved(ear, ellipsoid(m, vector(0.88, 0.08, -0.02), vector(0.06, 0.16, 0.08)), 0.05)
    d = melted(d, ear, 0.06)
    return melted(d, cone(q, vector(0, -0.5, -0.14), vector(0, -1.7, -0.22), 0.46, 0.52), 0.15)


def eyes(q: Vectors) -> Scalars:
    return sphere(mirrored(q), vector(EYE_X, EYE_Y, EYE_Z), EYE_R)


def lips(q: Vectors) -> Scalars:
    m = mirrored(q)
    lower = cone(m, vector(0.0, -0.535, 0.775), vector(0.17, -0.500, 0.690), 0.060, 0.030)
    upper = cone(m, vector(0.035, -0.440, 0.790), vector(0.20, -0.485, 0.690), 0.045, 0.022)
    return np.minimum(lower, upper)


def strands(q: Vectors, fine: float) -> Scalars:
    """Waves down a beard, -1 to 1."""
    bend = 1.4 * np.sin(3.1 * q[..., 1] + 2.0 * q[..., 0]) + 0.8 * np.sin(7.3 * q[..., 1] - 4.0 * q[..., 0] + 1.0)
    turn = np.arctan2(q[..., 0], q[..., 2] + 0.3)
    return np.sin(fine * turn + bend) * 0.6 + np.sin(2.3 * fine * turn - 1.3 * bend + 3 * q[..., 1]) * 0.4


def beard(q: Vectors) -> Scalars:
    m = mirrored(q)
    wave = strands(q, 26.0)
    chin = ellipsoid(q, vector(0, -0.74, 0.30), vector(0.55, 0.54, 0.50))
    side = cone(m, vector(0.74, 0.30, -0.02), vector(0.50, -0.62, 0.22), 0.055, 0.22)
    d = melted(chin, side, 0.30)
    d = carved(d, ellipsoid(q, vector(0, -0.36, 0.86), vector(0.38, 0.23, 0.34)), 0.08)
    moustache = cone(m, vector(0.03, -0.360, 0.885), vector(0.30, -0.545, 0.725), 0.078, 0.062)
    moustache = melted(moustache, cone(m, vector(0.30, -0.545, 0.725), vector(0.40, -0.74, 0.60), 0.062, 0.050), 0.08)
    return melted(d, moustache, 0.04) - 0.013 * wave.astype(np.float32)


def brows(q: Vectors) -> Scalars:
    m = mirrored(q)
    d = np.minimum(
        cone(m, vector(0.14, 0.335, 0.850), vector(0.33, 0.385, 0.780), 0.046, 0.046),
        cone(m, vector(0.33, 0.385, 0.780), vector(0.54, 0.320, 0.600), 0.046, 0.026),
    )
    return d - 0.007 * np.sin(70 * m[..., 0] - 60 * m[..., 1]).astype(np.float32)


def cap(q: Vectors) -> Scalars:
    turn = np.arctan2(q[..., 0], q[..., 2] + 0.10)
    tilt = q[..., 1] + 0.10 * (q[..., 2] - 0.3) - 0.05 * q[..., 0]
    ribs = np.abs(np.sin(24 * turn)).astype(np.float32)
    crown = ellipsoid(q, vector(0, 0.66, -0.10), vector(0.80, 0.74, 0.96)) - 0.018 * ribs
    crown = np.maximum(crown, 0.70 - tilt)
    cuff = np.abs(ellipsoid(q, vector(0, 0.52, -0.09), vector(0.80, 0.98, 0.97))) - 0.045
    cuff = np.maximum(np.maximum(cuff, 0.50 - tilt), tilt - 0.80) - 0.020 * ribs - 0.02
    return np.minimum(crown, cuff)


def jersey(p: Vectors) -> Scalars:
    turn = np.arctan2(p[..., 0], p[..., 2] + 0.15)
    roll = melted(
        ring(p, vector(0, -1.20, -0.12), vector(0, 1, 0.10), 0.50, 0.16),
        drum(p, vector(0, -1.40, -0.14), vector(0, 1, 0.10), 0.66, 0.14, 0.10),
        0.06,
    ) - 0.014 * np.abs(np.sin(22 * turn)).astype(np.float32)
    m = mirrored(p)
    body = melted(
        ellipsoid(p, vector(0, -2.46, -0.22), vector(1.30, 1.30, 0.86)),
        cone(m, vector(0.30, -1.62, -0.22), vector(1.45, -2.15, -0.30), 0.36, 0.50),
        0.35,
    )
    knit = np.abs(np.sin(19 * p[..., 0]))
    return np.minimum(roll, body - 0.018 * knit.astype(np.float32))


def keeper(width: int, height: int) -> np.ndarray:
    def parts(p: Vectors) -> list[Scalars]:
        q = turned(p)
        return [face(q), eyes(q), lips(q), beard(q), brows(q), cap(q), jersey(p)]

    def everything(p: Vectors) -> Scalars:
        return np.minimum.reduce(parts(p))

    view = View(vector(0.0, 0.05, 11.0), vector(0.05, -0.30, 0.0), 0.178, width, height)
    rays = view.rays()
    depth = march(everything, view.eye, rays)
    seen = np.isfinite(depth)
    # Sky over water, out of focus.
    y = np.mgrid[:height, :width][0] / height
    sky = clouds((height, width), 5, 4, (2, 2))
    water = smoothstep(0.60, 0.63, y)
    level = (0.26 + 0.20 * sky) * (1 - water) + (0.17 + 0.06 * sky) * water
    picture = level[..., None] * vector(0.93, 1.0, 1.06)

    p = view.eye + depth[seen, None] * rays[seen]
    n = normals(everything, p, 0.003)
    which = np.stack(parts(p), axis=-1).argmin(axis=-1)
    q = turned(p)
    m = mirrored(q)
    key, fill = unit(vector(-0.75, 0.75, 0.85)), unit(vector(0.9, 0.1, 0.6))
    sun = np.clip(n @ key, 0, 1) * shadow(everything, p + 0.015 * n, key, 7.0)
    side = np.clip(n @ fill, 0, 1)
    dome = openness(everything, p, n) * (0.62 + 0.38 * n[:, 1])
    # Eyes: white, iris, pupil. The gaze is one direction for both, so that mirrored points need the true side back.
    centre = np.stack([np.sign(q[:, 0]) * EYE_X, np.full(len(q), EYE_Y), np.full(len(q), EYE_Z)], axis=-1)
    off = np.linalg.norm(unit(q - centre) - GAZE, axis=-1)
    ball = np.select([off < 0.20, off < 0.44], [0.015, 0.13], 0.62)
    cheek = np.exp(-(((m[:, 0] - 0.42) / 0.22) ** 2) - ((m[:, 1] + 0.10) / 0.20) ** 2)
    freckle = clouds((256, 256), 9, 6)[(q[:, 1] * 90).astype(int) % 256, (q[:, 0] * 90).astype(int) % 256]
    grey = 0.27 + 0.12 * strands(q, 60.0)
    wool = 0.075 + 0.02 * np.abs(np.sin(24 * np.arctan2(q[:, 0], q[:, 2] + 0.1)))
    albedo = np.select(
        [which == SKIN, which == EYES, which == LIPS, which == BEARD, which == BROWS, which == CAP],
        [0.50 - 0.05 * cheek + 0.03 * (freckle - 0.5), ball, 0.24, grey, 0.11, wool],
        0.12,
    )
    tint = np.choose(
        np.minimum(which, 6)[:, None],
        [vector(1.16, 0.92, 0.76), vector(0.95, 1.0, 1.04), vector(1.3, 0.82, 0.74), vector(1.04, 1.0, 0.95),
         vector(1.05, 1.0, 0.92), vector(0.75, 0.95, 1.30), vector(0.96, 1.0, 0.98)],
    )  # fmt: skip
    shine = np.clip((n * unit(key - rays[seen])).sum(-1), 0, 1)
    gloss = np.select([which == SKIN, which == EYES, which == LIPS], [0.07 * shine**18, 0.9 * shine**160, 0.10 * shine**30], 0.0)
    lit = albedo * (0.03 + 1.35 * sun + 0.10 * side + 0.34 * dome) + gloss * (0.25 + 0.75 * (sun > 0))
    picture[seen] = lit[:, None] * tint
    return developed(picture * 0.95, 17, vignette=0.15)
