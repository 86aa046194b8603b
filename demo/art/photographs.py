"""The photographs of the demo, taken with `camera`: a heron, a lighthouse, a diving helmet, and the keeper of the quay.

.venv/bin/python demo/art/photographs.py [heron|lighthouse|helmet|keeper] [--small]
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from camera import (
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
from keeper import keeper
from PIL import Image, ImageDraw, ImageFilter

HERE = Path(__file__).resolve().parents[1]
SIZES = {"heron": (1200, 1600), "lighthouse": (1200, 1600), "helmet": (1200, 1500), "keeper": (1200, 1500)}


FAR_AWAY = 1e3


# --- a brass diving helmet on a table --------------------------------------------------------------------------------

WINDOWS = [(unit(vector(0, 0.02, 1)), 0.40), (unit(vector(0.97, 0.05, 0.2)), 0.30), (unit(vector(-0.97, 0.05, 0.2)), 0.30),
           (unit(vector(0, 0.82, 0.57)), 0.24)]
HEAD = vector(0, 1.15, 0)


def helmet(width: int, height: int) -> np.ndarray:
    def brass(p):
        d = sphere(p, HEAD, 1.0)
        d = melted(d, drum(p, vector(0, 0.22, 0), vector(0, 1, 0), 0.80, 0.16, 0.04), 0.10)
        d = np.minimum(d, drum(p, vector(0, 0.10, 0), vector(0, 1, 0), 0.98, 0.06, 0.03))
        plate = np.maximum(ellipsoid(p, vector(0, -0.52, 0), vector(1.42, 0.72, 1.12)), -(p[..., 1] + 0.98))
        d = melted(d, plate, 0.08)
        rim = np.abs(ellipsoid(p, vector(0, -0.52, 0), vector(1.47, 0.72, 1.17)))
        d = np.minimum(d, np.maximum(rim - 0.03, np.abs(p[..., 1] + 0.86) - 0.07))
        for way, size in WINDOWS:
            at = HEAD + 0.94 * way
            d = np.where(sphere(p, at, size + 0.25) < 0.05, np.minimum(np.maximum(d, -drum(p, at, way, size - 0.02, 0.14)),
                np.minimum(ring(p, at + 0.07 * way, way, size, 0.075), ring(p, at - 0.02 * way, way, size + 0.07, 0.05))), d)
            side = unit(np.cross(way, vector(0, 1, 0.001)))
            up = np.cross(side, way)
            for k in range(8):
                a = (k + 0.5) * np.pi / 4
                bolt = at + 0.06 * way + (size + 0.085) * (np.cos(a) * side + np.sin(a) * up)
                d = np.minimum(d, sphere(p, bolt.astype(np.float32), 0.035))
        at, way = HEAD + 1.02 * WINDOWS[0][0], WINDOWS[0][0]
        for k in (-0.17, 0.0, 0.17):
            d = np.minimum(d, cone(p, at + vector(k, -0.38, 0), at + vector(k, 0.38, 0), 0.022, 0.022))
            d = np.minimum(d, cone(p, at + vector(-0.38, k, 0.01), at + vector(0.38, k, 0.01), 0.022, 0.022))
        for k in range(14):
            a = 2 * np.pi * (k + 0.5) / 14
            d = np.minimum(d, sphere(p, vector(0.89 * np.sin(a), 0.185, 0.89 * np.cos(a)), 0.052))
        # The elbow of the air hose, behind the head to the right, and the lug on top.
        d = np.minimum(d, cone(p, vector(0.62, 1.72, -0.45), vector(0.98, 1.98, -0.62), 0.16, 0.13))
        d = np.minimum(d, ring(p, vector(0.98, 1.98, -0.62), vector(0.36, 0.26, -0.17), 0.14, 0.045))
        return np.minimum(d, ring(p, vector(0, 2.16, -0.1), vector(0, 0, 1), 0.15, 0.05))

    def glass(p):
        d = np.full(p.shape[:-1], FAR_AWAY, dtype=np.float32)
        for way, size in WINDOWS:
            d = np.minimum(d, drum(p, HEAD + 0.86 * way, way, size + 0.02, 0.03))
        return d

    def floor(p):
        return p[..., 1] + np.float32(0.98)

    def everything(p):
        return np.minimum(np.minimum(brass(p), glass(p)), floor(p))

    def room(d):
        """What brass mirrors: two soft boxes, a dim wall, a dark floor."""
        left = smoothstep(0.80, 0.93, d @ unit(vector(-0.75, 0.62, 0.55))) * 5.0
        right = smoothstep(0.90, 0.96, d @ unit(vector(0.95, 0.25, 0.35))) * 1.6
        top = smoothstep(0.86, 0.97, d @ unit(vector(0.1, 1.0, -0.2))) * 1.2
        wall = 0.10 + 0.30 * smoothstep(-0.2, 0.9, d[..., 1])
        return (left + right + top + wall * (d[..., 1] > -2)) * (0.35 + 0.65 * smoothstep(-0.5, 0.1, d[..., 1]))

    view = View(vector(0.95, 1.15, 5.9), vector(0.05, 0.62, 0), 0.335, width, height)
    rays = view.rays()
    depth = march(everything, view.eye, rays)
    seen = np.isfinite(depth)
    light = unit(vector(-0.7, 0.75, 0.6))
    picture = np.zeros((*depth.shape, 3), dtype=np.float32)
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, width, dtype=np.float32)[None]
    wall = 0.55 - 0.33 * np.hypot(x - 0.25, 1.1 * (y - 0.35)) + 0.03 * clouds((height, width), 4)
    picture[:] = (wall * 0.75)[..., None] * vector(0.93, 0.97, 1.0)
    p = view.eye + depth[seen, None] * rays[seen]
    n = normals(everything, p)
    sun = np.clip(n @ light, 0, 1) * shadow(everything, p + 0.01 * n, light, 7.0)
    dome = openness(everything, p, n)
    away = rays[seen] - 2 * (rays[seen] * n).sum(-1)[:, None] * n
    parts = np.stack([brass(p), glass(p), floor(p)], axis=-1).argmin(axis=-1)
    fresnel = (1 - np.clip(-(rays[seen] * n).sum(-1), 0, 1)) ** 5
    stain = 0.80 + 0.35 * np.interp(np.sin(9 * p[:, 0] + 3 * np.sin(7 * p[:, 1])) * np.sin(8 * p[:, 2] + 5 * p[:, 1]), [-1, 1], [0, 1])
    metal = (0.10 + 0.32 * sun + 0.95 * room(away) * (0.45 + 0.55 * dome))[:, None] * vector(0.86, 0.60, 0.26) * stain[:, None] * (0.25 + 0.75 * dome[:, None])
    pane = (0.012 + 0.30 * room(away) * (0.25 + fresnel))[:, None] * vector(0.8, 0.95, 1.0)
    table = ((0.10 + 0.42 * sun) * (0.35 + 0.65 * dome))[:, None] * vector(0.62, 0.47, 0.36)
    grain = 0.8 + 0.25 * np.sin(34 * p[:, 0] + 5 * np.sin(2.5 * p[:, 2]) + 2 * np.sin(11 * p[:, 0]))
    table *= grain[:, None]
    faded = np.exp(-np.maximum(depth[seen] - 7.5, 0) / 5)[:, None]
    table = table * faded + picture[seen] * (1 - faded)
    picture[seen] = np.select([parts[:, None] == 0, parts[:, None] == 1], [metal, pane], table)
    return developed(picture * 1.15, 11)


# --- a heron in the reeds ---------------------------------------------------------------------------------------------

def heron(width: int, height: int) -> np.ndarray:
    neck = [vector(*q) for q in ((0.42, 1.62, 0), (0.62, 1.82, 0.02), (0.66, 2.08, 0.03), (0.47, 2.30, 0.03), (0.34, 2.52, 0.02),
                                 (0.38, 2.78, 0.01), (0.55, 2.93, 0))]
    thick = (0.20, 0.155, 0.125, 0.105, 0.095, 0.09, 0.10)

    def bird(p):
        d = ellipsoid(p, vector(-0.10, 1.42, 0), vector(0.72, 0.36, 0.33))
        d = melted(d, cone(p, vector(-0.35, 1.42, 0), vector(-1.12, 1.02, 0), 0.24, 0.05), 0.18)
        d = melted(d, ellipsoid(p, vector(0.30, 1.50, 0), vector(0.36, 0.34, 0.27)), 0.2)
        for a, b, ra, rb in zip(neck[:-1], neck[1:], thick[:-1], thick[1:], strict=True):
            d = melted(d, cone(p, a, b, ra, rb), 0.07)
        d = melted(d, ellipsoid(p, vector(0.66, 2.97, 0), vector(0.20, 0.105, 0.10)), 0.05)
        d = melted(d, cone(p, vector(0.08, 1.2, 0.12), vector(0.05, 0.98, 0.12), 0.13, 0.05), 0.08)
        for k in range(3):  # long feathers that hang from the breast
            d = melted(d, cone(p, vector(0.50, 1.62, 0.06 * k), vector(0.66 + 0.04 * k, 1.16 + 0.05 * k, 0.05 * k + 0.02), 0.07, 0.008), 0.05)
        return melted(d, cone(p, vector(-0.08, 1.2, -0.12), vector(-0.10, 0.98, -0.12), 0.13, 0.05), 0.08)

    def wing(p):
        return melted(ellipsoid(p, vector(-0.22, 1.47, 0.23), vector(0.66, 0.30, 0.15)),
                      cone(p, vector(-0.5, 1.36, 0.24), vector(-1.18, 0.96, 0.16), 0.14, 0.03), 0.12)

    def horn(p):
        d = cone(p, vector(0.80, 2.965, 0), vector(1.32, 2.86, 0), 0.062, 0.008)
        for x, z in ((0.05, 0.12), (-0.10, -0.12)):
            d = np.minimum(d, cone(p, vector(x, 1.0, z), vector(x + 0.06, 0.52, z), 0.034, 0.026))
            d = np.minimum(d, cone(p, vector(x + 0.06, 0.52, z), vector(x, -0.4, z), 0.036, 0.028))
        return d

    def plume(p):
        d = cone(p, vector(0.56, 3.05, 0.02), vector(0.02, 2.86, 0.05), 0.035, 0.008)
        return np.minimum(d, cone(p, vector(0.62, 3.03, 0.075), vector(0.76, 3.0, 0.06), 0.03, 0.03))

    def eye(p):
        return sphere(p, vector(0.735, 3.0, 0.085), 0.032)

    def everything(p):
        return np.minimum(np.minimum(np.minimum(bird(p), wing(p)), np.minimum(horn(p), plume(p))), eye(p))

    view = View(vector(0.0, 1.55, 8.2), vector(0.02, 1.50, 0), 0.262, width, height)
    rays = view.rays()
    line = int(height * 0.815)  # where the water begins, in the picture
    depth = march(everything, view.eye, rays, 70)
    seen = np.isfinite(depth)
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    x = np.linspace(0, 1, width, dtype=np.float32)[None]
    mist = 0.50 - 0.26 * smoothstep(0.25, 0.80, y + 0.05 * np.sin(5 * x)) + 0.30 * np.exp(-(((x - 0.24) / 0.30) ** 2 + ((y - 0.17) / 0.22) ** 2))
    mist = mist - 0.13 * clouds((height, width), 21, 5, (3, 2)) * smoothstep(0.0, 0.5, y)
    picture = np.repeat(mist[..., None], 3, axis=2) * vector(1.0, 0.965, 0.90)
    _stand(picture, 5, 190, line, 0.42, 1.5, (0.30, 0.62), 3.0)  # far reeds, in mist
    _stand(picture, 6, 60, line, 0.24, 2.6, (0.45, 0.92), 1.3)
    p = view.eye + depth[seen, None] * rays[seen]
    n = normals(everything, p)
    light = unit(vector(-0.62, 0.55, 0.50))
    sun = np.clip(n @ light, 0, 1) * shadow(everything, p + 0.012 * n, light, 9.0)
    dome = openness(everything, p, n) * (0.55 + 0.45 * n[:, 1])
    rim = (1 - np.clip(-(rays[seen] * n).sum(-1), 0, 1)) ** 3
    parts = np.stack([bird(p), wing(p), horn(p), plume(p), eye(p)], axis=-1).argmin(axis=-1)
    feather = 0.78 + 0.30 * np.abs(np.sin(26 * (p[:, 0] * 0.62 + p[:, 1] * 0.95) + 2.2 * np.sin(6 * p[:, 0])))
    pale = 0.58 * np.where(p[:, 1] > 1.6, 1.12, 0.95)
    # Dark dashes down the front of the neck.
    front = smoothstep(0.02, 0.10, p[:, 2] + 0.25 * (p[:, 0] - 0.45)) * smoothstep(1.55, 1.75, p[:, 1]) * smoothstep(2.75, 2.5, p[:, 1])
    streak = 1 - 0.34 * front * smoothstep(0.1, 0.8, np.sin(30 * p[:, 1] + 9 * p[:, 0])) * smoothstep(0.3, 0.7, np.abs(np.sin(21 * p[:, 0] + 7 * p[:, 1])))
    body = pale * streak
    tip = smoothstep(-0.55, -0.95, p[:, 0])
    albedo = np.select([parts == 0, parts == 1, parts == 2, parts == 3], [body, 0.30 * feather * (1 - 0.72 * tip), 0.40, 0.035], 0.02)
    tint = np.select([(parts == 2)[:, None]], [vector(1.0, 0.78, 0.45)], vector(0.95, 0.98, 1.03))
    picture[seen] = (albedo * (0.16 + 1.45 * sun + 0.50 * dome) + 0.16 * rim * dome)[:, None] * tint
    glint = np.linalg.norm(p - vector(0.725, 3.012, 0.115), axis=-1) < 0.012
    picture[seen] = np.where(glint[:, None], 1.2, picture[seen])
    # Water: the same upside down, drawn out by ripples that grow towards the camera.
    rows = np.arange(height - line)
    rng = np.random.default_rng(8)
    phase = rng.uniform(0, 7, 5)
    wave = sum(np.sin(rows * 0.9 / (1 + 0.02 * rows) * (0.25 + 0.21 * k) + phase[k]) for k in range(5))
    ripple = clouds((height - line, width), 31, 5, (14, 3)) - 0.5
    source = np.clip(line - 1 - (rows[:, None] * 0.95 + (2 + 0.10 * rows[:, None]) * (0.5 * wave[:, None] + 2.2 * ripple)), 0, line - 1).astype(int)
    aside = np.clip(np.arange(width)[None] + ((3 + 0.05 * rows[:, None]) * 3 * ripple).astype(int), 0, width - 1)
    water = picture[source, aside] * 0.66 + 0.035
    water *= 1 + 0.30 * ripple[..., None] * smoothstep(0, 60, rows.astype(np.float32))[:, None, None]
    picture[line:] = water
    legs = smoothstep(0, 1, np.abs(np.arange(width) - 0.505 * width) / (0.10 * width))
    picture[line : line + 6] *= (0.80 + 0.20 * legs)[None, :, None]
    _stand(picture, 7, 15, height + 40, 0.035, 6.5, (0.75, 1.25), 2.2, sides=True)  # near reeds, out of focus at both sides
    return developed(picture * 0.98, 12, vignette=0.32)


def _stand(picture, seed, count, foot, tone, thick, tall, blur, *, sides=False):
    """Reeds: bent blades with a lit side and, on some, a seed head; drawn large and blurred as their distance asks."""
    height, width = picture.shape[:2]
    rng = np.random.default_rng(seed)
    scale = height / 1600
    cover = Image.new("L", (width, height), 0)
    bright = Image.new("L", (width, height), 0)
    draw, lit = ImageDraw.Draw(cover), ImageDraw.Draw(bright)
    for _ in range(count):
        x = rng.uniform(-0.02, 1.02) * width
        if sides:
            x = (rng.uniform(-0.02, 0.17) if rng.random() < 0.5 else rng.uniform(0.84, 1.02)) * width
        long, lean = rng.uniform(*tall) * height * 0.62, rng.normal(0.0, 0.10)
        t = np.linspace(0, 1, 24)
        px = x + lean * long * t**2 + 0.02 * long * np.sin(3 * t + rng.uniform(0, 6))
        py = foot - long * t
        half = thick * scale * (1 - 0.85 * t) * rng.uniform(0.6, 1.4) + 0.4
        edge = [*zip(px - half, py, strict=True), *zip((px + half)[::-1], py[::-1], strict=True)]
        draw.polygon(edge, fill=255)
        lit.polygon([*zip(px - half, py, strict=True), *zip((px - 0.2 * half)[::-1], py[::-1], strict=True)], fill=int(rng.uniform(120, 220)))
        if rng.random() < 0.35:
            w, h, cy = thick * scale * 2.1, 0.055 * height * rng.uniform(0.7, 1.2), py[-1]
            draw.ellipse((px[-1] - w, cy - h / 2, px[-1] + w, cy + h / 2), fill=255)
    soft = [np.asarray(one.filter(ImageFilter.GaussianBlur(blur * scale)), dtype=np.float32)[..., None] / 255 for one in (cover, bright)]
    shade = (tone * vector(1.0, 0.95, 0.80)) * (1 + 0.9 * soft[1])
    picture[:] = picture * (1 - soft[0]) + shade * soft[0]


# --- a lighthouse in the rain -----------------------------------------------------------------------------------------

def lighthouse(width: int, height: int) -> np.ndarray:
    foot, top = vector(0, 0.55, 0), vector(0, 4.3, 0)
    up = vector(0, 1, 0)
    bumps = clouds((256, 256), 41, 6, (5, 5))

    def tower(p):
        t = np.clip((p[..., 1] - foot[1]) / (top[1] - foot[1]), 0, 1)
        radius = 0.62 - 0.25 * t + 0.10 * np.exp(-t * 14)
        d = (np.hypot(p[..., 0], p[..., 2]) - radius) * 0.95
        return np.maximum(d, np.maximum(p[..., 1] - top[1], foot[1] - 0.6 - p[..., 1]))

    def iron(p):
        d = drum(p, vector(0, 4.36, 0), up, 0.60, 0.07)
        d = np.minimum(d, drum(p, vector(0, 4.22, 0), up, 0.48, 0.08))
        d = np.minimum(d, ring(p, vector(0, 4.72, 0), up, 0.57, 0.018))
        d = np.minimum(d, ring(p, vector(0, 4.58, 0), up, 0.57, 0.012))
        for k in range(12):
            a = 2 * np.pi * k / 12
            c, s = 0.57 * np.cos(a), 0.57 * np.sin(a)
            d = np.minimum(d, cone(p, vector(c, 4.4, s), vector(c, 4.72, s), 0.016, 0.016))
            if k % 2:
                d = np.minimum(d, cone(p, vector(0.5 * c, 4.4, 0.5 * s), vector(0.5 * c, 5.05, 0.5 * s), 0.02, 0.02))
        d = np.minimum(d, np.maximum(ellipsoid(p, vector(0, 5.06, 0), vector(0.40, 0.34, 0.40)), 5.05 - p[..., 1]))
        d = np.minimum(d, ring(p, vector(0, 5.06, 0), up, 0.37, 0.04))
        d = np.minimum(d, sphere(p, vector(0, 5.46, 0), 0.07))
        d = np.minimum(d, cone(p, vector(0, 5.46, 0), vector(0, 5.82, 0), 0.018, 0.01))
        for y, a in ((1.5, 1.45), (2.45, 1.75), (3.4, 1.4)):
            r = 0.62 - 0.25 * (y - 0.55) / 3.75
            d = np.minimum(d, drum(p, vector(r * np.cos(a), y, r * np.sin(a)), vector(np.cos(a), 0, np.sin(a)), 0.11, 0.05))
        return d

    def lamp(p):
        return drum(p, vector(0, 4.72, 0), up, 0.20, 0.26)

    def rock(p):
        d = ellipsoid(p, vector(0.1, -0.35, 0.1), vector(1.9, 1.15, 1.5))
        d = melted(d, ellipsoid(p, vector(-1.7, -0.55, 0.5), vector(1.3, 0.80, 0.9)), 0.4)
        d = melted(d, ellipsoid(p, vector(1.95, -0.62, 0.3), vector(1.2, 0.85, 0.9)), 0.4)
        u = ((p[..., 0] * 0.31 + p[..., 1] * 0.23 + 5) % 1 * 255).astype(int)
        v = ((p[..., 2] * 0.29 + p[..., 1] * 0.37 + 5) % 1 * 255).astype(int)
        steps = 0.09 * np.abs(np.sin(5.5 * p[..., 1] + 2.6 * p[..., 0] + 2 * np.sin(2 * p[..., 2])))
        return (d - 0.34 * bumps[v, u] + steps + 0.05) * 0.6

    def everything(p):
        return np.minimum(np.minimum(tower(p), iron(p)), np.minimum(lamp(p), rock(p)))

    view = View(vector(1.2, 1.25, 13.5), vector(0.15, 2.35, 0), 0.285, width, height)
    rays = view.rays()
    depth = march(everything, view.eye, rays, 110)
    y = np.linspace(0, 1, height, dtype=np.float32)[:, None]
    x = np.linspace(0, 1, width, dtype=np.float32)[None]
    sky = clouds((height, width), 51, 6, (3, 2))
    billow = clouds((height, width), 52, 6, (4, 3))
    air = 0.10 + 0.34 * smoothstep(0.25, 0.85, sky) * (0.5 + 0.7 * billow) + 0.22 * smoothstep(0.35, 0.85, y)
    picture = np.repeat(air[..., None], 3, axis=2) * vector(0.92, 0.97, 1.05)
    # The sea: a plane with waves, mirroring the sky, with foam around the rock.
    sea_depth = np.where(rays[..., 1] < -1e-4, (-0.42 - view.eye[1]) / np.minimum(rays[..., 1], -1e-4), np.inf)
    wet = (sea_depth < depth) & (sea_depth < 400)
    at = view.eye + np.where(wet, sea_depth, 1.0)[..., None] * rays
    px, pz = at[..., 0], at[..., 2]
    slope = sum(
        np.cos(k * (px * np.cos(a) + pz * np.sin(a)) * 1.0 + b) * w
        for k, a, b, w in ((1.1, 1.3, 0.0, 0.5), (2.3, 1.9, 1.0, 0.42), (3.7, 1.1, 2.0, 0.36), (6.1, 1.6, 0.4, 0.30), (9.7, 2.1, 5.0, 0.22), (15.0, 1.4, 3.0, 0.15))
    )
    calm = np.exp(-np.where(wet, sea_depth, 0) / 55)
    swell = 0.20 + 0.085 * slope * calm + 0.30 * (1 - calm)
    near_rock = np.where(wet, rock(np.where(wet[..., None], at, 50.0).astype(np.float32)), 9.0)
    patches = clouds((height, width), 57, 6, (60, 12))
    foam = smoothstep(0.55, 0.0, near_rock) * (0.5 + 0.9 * patches) + 0.55 * smoothstep(0.72, 0.9, patches + 0.09 * slope) * calm
    water = np.clip(swell, 0.02, 1)[..., None] * vector(0.85, 0.97, 1.03) + np.clip(foam, 0, 1)[..., None] * 0.62
    picture = np.where(wet[..., None], water, picture)
    seen = np.isfinite(depth) & ~wet
    p = view.eye + depth[seen, None] * rays[seen]
    n = normals(everything, p, 0.004)
    light = unit(vector(-0.85, 0.50, 0.45))
    sun = np.clip(n @ light, 0, 1) * shadow(everything, p + 0.02 * n, light, 6.0)
    dome = openness(everything, p, n) * (0.6 + 0.4 * n[:, 1])
    parts = np.stack([tower(p), iron(p), lamp(p), rock(p)], axis=-1).argmin(axis=-1)
    band = ((p[:, 1] - 0.35) / 0.98).astype(int) % 2 == 1
    stain = 0.85 + 0.18 * np.sin(7 * p[:, 0] + 2 * np.sin(3 * p[:, 1])) * np.sin(1.3 * p[:, 1])
    albedo = np.select([(parts == 0) & band, parts == 0, parts == 1], [0.14, 0.86 * stain, 0.06], 0.17)
    tint = np.select([((parts == 0) & band)[:, None]], [vector(1.5, 0.62, 0.52)], vector(1.0, 1.0, 1.0))
    mirror = np.clip((n * unit(light - rays[seen])).sum(-1), 0, 1) ** 24 * 0.30 * (parts != 0)
    shaded = (albedo * (0.10 + 1.05 * sun + 0.42 * dome) + mirror * dome)[:, None] * tint
    picture[seen] = np.where((parts == 2)[:, None], 3.2 * vector(1.0, 0.93, 0.72), shaded)
    # Beams to both sides, and the glow of the lamp in wet air.
    lamp_at = unit(vector(0, 4.72, 0) - view.eye)
    forward = unit(view.at - view.eye)
    right = unit(np.cross(forward, up))
    above = np.cross(right, forward)
    scale = float(lamp_at @ forward) * view.wide
    cx = width / 2 + float(lamp_at @ right) / scale * height / 2
    cy = height / 2 - float(lamp_at @ above) / scale * height / 2
    dx, dy = (x * width - cx) / height, (y * height - cy) / height
    far = np.hypot(dx, dy)
    behind = (~seen & ~wet) | (far < 0.03)
    for way in (-0.10, np.pi - 0.14):
        turn = np.angle(np.exp(1j * (np.arctan2(dy, dx) - way)))
        beam = np.exp(-((turn / 0.075) ** 2)) * np.exp(-far / 0.55) * smoothstep(0.01, 0.06, far) * (0.75 + 0.5 * billow)
        picture += (1.15 * beam * behind)[..., None] * vector(1.0, 0.95, 0.80)
    picture += (0.85 * np.exp(-far / 0.035) + 0.16 * np.exp(-far / 0.14))[..., None] * vector(1.0, 0.93, 0.75)
    # Rain: slanting streaks of three distances.
    rng = np.random.default_rng(61)
    for count, long, wide, level in ((1500, 0.035, 1, 70), (700, 0.07, 2, 80), (140, 0.13, 3, 75)):
        layer = Image.new("L", (width, height), 0)
        draw = ImageDraw.Draw(layer)
        for _ in range(count):
            x0, y0 = rng.uniform(-0.1, 1.1) * width, rng.uniform(-0.1, 1.0) * height
            run = long * height * rng.uniform(0.6, 1.3)
            draw.line((x0, y0, x0 - 0.30 * run, y0 + run), fill=int(level * rng.uniform(0.4, 1.3)), width=max(1, round(wide * height / 1600)))
        picture += np.asarray(layer.filter(ImageFilter.GaussianBlur(0.8)), dtype=np.float32)[..., None] / 255 * 0.30
    return developed(picture * 1.05, 13, vignette=0.35)


TAKEN = {"heron": heron, "lighthouse": lighthouse, "helmet": helmet, "keeper": keeper}


def main() -> None:
    """Take one photograph or all."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("which", nargs="*", choices=[*TAKEN, []], default=list(TAKEN))
    parser.add_argument("--small", action="store_true", help="a quarter of the size, to look at")
    parser.add_argument("--to", type=Path, default=HERE, help="folder")
    given = parser.parse_args()
    for name in given.which or TAKEN:
        width, height = (side // (4 if given.small else 1) for side in SIZES[name])
        image = Image.fromarray(TAKEN[name](width, height))
        image.save(given.to / f"{name}.jpg", quality=82, optimize=True)


if __name__ == "__main__":
    main()
