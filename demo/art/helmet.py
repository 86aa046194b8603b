"""A brass diving helmet, hatched like an engraving, in a frame of rope. One pen: sepia."""

from __future__ import annotations

import numpy as np
import shapely
from ink import Card, Points, area, ellipse, hatch, points, spline, turned
from letters import write

CX, CY, R = 52.5, 53.0, 27.5  # the bonnet: a sphere a little taller than wide


def bolt_ring(card: Card, cx: float, cy: float, rx: float, ry: float, n: int, size: float, phase: float = 0.0) -> None:
    """Slotted bolts around an ellipse, each turned its own way."""
    for k in range(n):
        t = 2 * np.pi * k / n + phase
        x, y = cx + rx * np.cos(t), cy + ry * np.sin(t)
        place = ellipse(x, y, size)
        if card.covered.intersects(area(place)):
            continue
        card.use("bolt", f"translate({x:.3f} {y:.3f}) rotate({(k * 47) % 180}) scale({size:.3f})")
        card.cover(place)


def front_window(card: Card) -> None:
    """The round light: grille, glass with its gleam, a doubled flange and eight bolts."""
    cx, cy = CX, 55.0
    for x in (-5.2, 0.0, 5.2):
        half = np.sqrt(11.2**2 - x**2)
        for dx in (-0.6, 0.6):
            card.line(points(cx + x + dx, cy - half, cx + x + dx, cy + half))
        card.cover(points(cx + x - 0.6, cy - 12, cx + x + 0.6, cy - 12, cx + x + 0.6, cy + 12, cx + x - 0.6, cy + 12))
    for y in (-5.2, 0.0, 5.2):
        half = np.sqrt(11.2**2 - y**2)
        for dy in (-0.6, 0.6):
            card.line(points(cx - half, cy + y + dy, cx + half, cy + y + dy))
    bars = [
        points(cx - 12, cy + y - 0.6, cx + 12, cy + y - 0.6, cx + 12, cy + y + 0.6, cx - 12, cy + y + 0.6)
        for y in (-5.2, 0.0, 5.2)
    ]
    card.cover(*bars)
    glass = area(ellipse(cx, cy, 11.0))
    gleam = area(
        spline([(44.4, 52.4), (46.6, 47.8), (51.0, 45.8), (51.4, 47.6), (48.4, 49.6), (46.6, 53.4)], closed=True)
    )
    shade = glass.difference(gleam.buffer(0.5)).difference(area(ellipse(cx - 7.5, cy - 8.0, 12.5)))
    for p in hatch(shade, 1.35, 45, inset_mm=0.5):
        card.line(p)
    card.oval(cx, cy, 11.2)
    card.oval(cx, cy, 12.6)
    card.cover(ellipse(cx, cy, 12.6))
    bolt_ring(card, cx, cy, 14.5, 14.5, 10, 1.0, np.pi / 10)
    card.oval(cx, cy, 16.4)
    for degrees in np.arange(5.0, 104.0, 4.0):
        t = np.radians(degrees)
        if 5.0 < (degrees - 18) % 36 < 31.0:
            card.line(
                points(cx + 13.3 * np.cos(t), cy + 13.3 * np.sin(t), cx + 15.8 * np.cos(t), cy + 15.8 * np.sin(t))
            )
    card.cover(ellipse(cx, cy, 16.4))


def side_windows(card: Card) -> None:
    """Two lights seen at a slant."""
    for side in (-1, 1):
        x, y = CX + side * 23.6, 55.6
        for dy in (-4.2, 0.0, 4.2):
            half = 3.4 * np.sqrt(max(0.0, 1 - (dy / 8.2) ** 2))
            card.line(points(x - half, y + dy, x + half, y + dy))
        for dx in (-1.3, 1.3):
            half = 8.2 * np.sqrt(1 - (dx / 3.4) ** 2)
            card.line(points(x + dx, y - half, x + dx, y + half))
        card.oval(x, y, 3.4, 8.2)
        card.oval(x, y, 4.6, 9.7)
        card.cover(ellipse(x, y, 4.6, 9.7))
        bolt_ring(card, x, y, 5.5, 11.0, 6, 0.7)
        card.oval(x + side * 0.2, y, 6.6, 12.2)
        card.cover(ellipse(x + side * 0.2, y, 6.6, 12.2))


def top_light(card: Card) -> None:
    """The small light above, with its guard, and the lifting eye."""
    x, y = CX, 31.2
    for dx in (-3.0, 0.0, 3.0):
        half = 3.4 * np.sqrt(1 - (dx / 6.0) ** 2)
        card.line(points(x + dx, y - half, x + dx, y + half))
    card.oval(x, y, 6.0, 3.4)
    card.oval(x, y, 7.4, 4.5)
    card.cover(ellipse(x, y, 7.4, 4.5))
    bolt_ring(card, x, y, 8.8, 5.5, 8, 0.7, np.pi / 8)
    card.oval(x, y, 10.2, 6.5)
    card.cover(ellipse(x, y, 10.2, 6.5))
    card.oval(x, 22.4, 1.7)
    card.oval(x, 22.4, 3.1)
    card.cover(ellipse(x, 22.4, 3.1))


def collar(card: Card) -> None:
    """The ring on which the bonnet is turned and locked, seen from a little above."""
    card.oval(CX, 80.0, 19.0, 3.0, start=180, end=0)
    for y, w, h in ((80.6, 21.4, 3.6), (85.2, 21.4, 3.6), (87.0, 20.4, 3.4)):
        card.oval(CX, y, w, h, start=180, end=0)
    for side in (-1, 1):
        card.line(points(CX + side * 21.4, 80.6, CX + side * 21.4, 85.2))
    for k in range(-5, 6):
        x = CX + k * 3.75
        y = 80.6 + 3.6 * np.sqrt(1 - (k * 3.75 / 21.4) ** 2)
        card.line(points(x, y + 0.5, x, y + 4.1))
    front = np.vstack([ellipse(CX, 80.6, 21.4, 3.6, start=180, end=0), ellipse(CX, 85.2, 21.4, 3.6, start=0, end=180)])
    skirt = np.vstack([ellipse(CX, 85.2, 21.4, 3.6, start=180, end=0), ellipse(CX, 87.0, 20.4, 3.4, start=0, end=180)])
    card.cover(area(front), area(skirt))


def corselet(card: Card) -> None:
    """The breastplate: collar, shoulders, the rim with its studs and wing nuts."""
    outline_left = spline(
        [
            (CX - 19.6, 88.0),
            (CX - 26, 91.6),
            (CX - 34.6, 96.0),
            (CX - 37.6, 103.0),
            (CX - 37.0, 112.0),
            (CX - 32.0, 118.6),
        ]
    )
    rim = spline([(CX - 32.0, 118.6), (CX - 17, 122.4), (CX, 123.6), (CX + 17, 122.4), (CX + 32.0, 118.6)])
    outline_right = outline_left.copy()
    outline_right[:, 0] = 2 * CX - outline_right[:, 0]
    plate = np.vstack([outline_left, rim, outline_right[::-1]])
    inner = area(plate).buffer(-5.4)

    # Maker's plate, studs, wing nuts, the rim, then tone along the shoulders.
    card.oval(CX, 107.4, 11.6, 5.6)
    card.oval(CX, 107.4, 10.4, 4.5)
    write(card, "M Q", CX, 105.6, 3.6)
    card.cover(ellipse(CX, 107.4, 11.6, 5.6))
    band = area(plate).buffer(-2.7).exterior
    n = 22
    for k in range(n):
        p = band.interpolate((k + 0.5) / n, normalized=True)
        if p.y < 93.5:
            continue
        place = ellipse(p.x, p.y, 1.15)
        card.use("bolt", f"translate({p.x:.3f} {p.y:.3f}) rotate({(k * 67) % 180}) scale(1.15)")
        card.cover(place)
    for side in (-1, 1):
        x, y = CX + side * 20.4, 101.6
        card.use("wing-nut", f"translate({x} {y}) rotate({side * 18})")
        card.cover(area(turned(ellipse(x, y, 4.9, 2.8), side * 18, (x, y))))
    edge = np.asarray(inner.exterior.coords)
    keep = edge[:, 1] > 94.4
    first = int(np.argmax(~keep))
    edge = np.roll(edge[:-1], -first, axis=0)
    edge = edge[edge[:, 1] > 94.4]
    card.curve(edge, knot_mm=1.6)
    for p in (outline_left, rim, outline_right):
        card.curve(p, knot_mm=1.4)
    # Hatching that follows the rolled shoulders: copies of the outline drawn inward, shorter and shorter.
    for side in (-1, 1):
        for k in range(11):
            d = 1.25 * k
            arc = spline(
                [
                    (CX + side * (30.2 - d), 97.6 + 0.15 * d),
                    (CX + side * (31.4 - d * 1.02), 104.0),
                    (CX + side * (30.6 - d), 110.5 - 0.2 * d),
                    (CX + side * (28.2 - d), 114.6 - 0.1 * d),
                ]
            )
            low, high = (0.05 + 0.05 * k, 1.0) if side < 0 else (0.0, 1.0 - 0.02 * k)
            part = arc[int(low * len(arc)) : int(high * len(arc))]
            if k < (7 if side < 0 else 11):
                for q in card.visible(part):
                    for piece in _inside(q, inner.buffer(-0.5)):
                        card.curve(piece, knot_mm=2.0)
    card.cover(area(plate))


def _inside(p: Points, shape: shapely.Geometry) -> list[Points]:
    cut = shapely.intersection(shapely.LineString(p), shape)
    return [np.asarray(g.coords) for g in getattr(cut, "geoms", [cut]) if not g.is_empty and g.length > 1.0]


def bonnet(card: Card) -> None:
    """The sphere and its tone: meridians on the dark side, parallels above, a highlight left alone."""
    outline = np.vstack(
        [
            spline(
                [
                    (CX - 19.0, 80.0),
                    (CX - 24.6, 72.0),
                    (CX - 27.4, 62),
                    (CX - 27.0, 49),
                    (CX - 22.6, 36.4),
                    (CX - 13.4, 27.8),
                    (CX, 24.8),
                    (CX + 13.4, 27.8),
                    (CX + 22.6, 36.4),
                    (CX + 27.0, 49),
                    (CX + 27.4, 62),
                    (CX + 24.6, 72.0),
                    (CX + 19.0, 80.0),
                ]
            ),
        ]
    )
    card.curve(outline, knot_mm=2.0)
    ball = area(np.vstack([outline, outline[:1]]))
    inner = ball.buffer(-0.7)
    # Meridians: half ellipses about the vertical axis. Light falls from the upper left.
    for k in range(24):
        u = 0.975 - 0.039 * k
        # Neighbours end at different latitudes: lines that meet at the poles would make a blot.
        short = (0.0, 0.30, 0.15, 0.30)[k % 4]
        t = np.linspace(-1.02 + 0.022 * k + short, 1.16 - 0.9 * short, 60)
        m = np.column_stack([CX + R * u * np.cos(t), CY + 0.5 + 28.0 * np.sin(t)])
        for piece in _inside(m, inner):
            card.curve(piece, knot_mm=2.2)
    for k in range(9):
        u = 0.975 - 0.040 * k
        t = np.linspace(-0.15 + 0.09 * k, 1.12 - 0.9 * (0.0, 0.3, 0.15, 0.3)[k % 4], 50)
        m = np.column_stack([CX - R * u * np.cos(t), CY + 0.5 + 28.0 * np.sin(t)])
        for piece in _inside(m, inner):
            card.curve(piece, knot_mm=2.2)
    card.cover(ball)
    card.oval(CX, 80.6, 21.4, 3.6, start=180, end=360)


def hose(card: Card) -> None:
    """Air comes from behind and above: a ribbed hose over the right shoulder."""
    line = spline(
        [
            (70.5, 33.5),
            (79.5, 26.2),
            (88.4, 29.5),
            (90.2, 41.0),
            (88.6, 54.0),
            (90.6, 68.0),
            (88.6, 80.0),
            (91.5, 92.0),
            (103, 99),
        ]
    )
    slope = np.gradient(line, axis=0)
    normal = np.column_stack([slope[:, 1], -slope[:, 0]]) / np.hypot(*slope.T)[:, None]
    a, b = line + 2.1 * normal, line - 2.1 * normal
    card.curve(a, knot_mm=1.6)
    card.curve(b, knot_mm=1.6)
    run = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    for d in np.arange(1.2, run[-1], 2.9):
        i = int(np.searchsorted(run, d))
        tangent = np.array([normal[i][1], -normal[i][0]])
        card.curve(spline([a[i], line[i] - 0.55 * tangent, b[i]]), knot_mm=1.4)
    card.cover(np.vstack([a, b[::-1]]))


def rope(card: Card, x0: float, y0: float, x1: float, y1: float, pitch: float = 7.0) -> None:
    """A laid rope as a frame: one strand symbol, repeated along each side; a turk's head at each corner."""
    nx, ny = round((x1 - x0 - 6) / pitch), round((y1 - y0 - 6) / pitch)
    px, py = (x1 - x0 - 6) / nx, (y1 - y0 - 6) / ny
    card.symbol("strand", f'<path d="M0 {1.3}C{pitch * 0.5} {1.3} {pitch * 0.45} {-1.3} {pitch} {-1.3}"/>')
    for k in range(nx):
        for y in (y0, y1):
            card.use("strand", f"translate({x0 + 3 + px * k:.3f} {y})")
    for k in range(ny):
        for x in (x0, x1):
            card.use("strand", f"translate({x} {y0 + 3 + py * k:.3f}) rotate(90)")
    for d in (-1.3, 1.3):
        for y in (y0, y1):
            card.raw(f'<path d="M{x0 + 2.6} {y + d}H{x1 - 2.6}"/>')
        for x in (x0, x1):
            card.raw(f'<path d="M{x + d} {y0 + 2.6}V{y1 - 2.6}"/>')
    for x in (x0, x1):
        for y in (y0, y1):
            card.raw(f'<circle cx="{x}" cy="{y}" r="2.9"/>')
            card.use("star", box=(x - 2.2, y - 2.2, 4.4, 4.4))


def draw() -> Card:
    card = Card(
        105,
        148,
        "A brass diving helmet",
        "Marrow Quay harbour fair, postcard four. Drawn by code for this project.",
        {"sepia": ("#5b3a1e", 0.45)},
    )
    card.symbol("bolt", '<path d="M1 0A1 1 0 0 1 -1 0A1 1 0 0 1 1 0H-1"/>')
    card.symbol(
        "wing-nut",
        '<circle cx="0" cy="0" r="1.2"/><path d="M1.1 -0.5C2 -2 4 -1.8 4 0S2 2 1.1 0.5"/>'
        '<path d="M-1.1 -0.5C-2 -2 -4 -1.8 -4 0S-2 2 -1.1 0.5"/>',
    )
    card.symbol("star", '<path d="M0 -5L1.2 -1.2L5 0L1.2 1.2L0 5L-1.2 1.2L-5 0L-1.2 -1.2Z"/>', view_box="-5 -5 10 10")
    card.layer("frame", "sepia")
    rope(card, 8.5, 10.0, 96.5, 129.5)
    card.layer("words", "sepia")
    write(card, "MARROW QUAY", 52.5, 133.9, 4.6)
    write(card, "A BRASS DIVING HELMET", 52.5, 141.0, 2.4)
    card.window = area(points(10.3, 11.8, 94.7, 11.8, 94.7, 127.7, 10.3, 127.7))

    card.layer("helmet", "sepia")
    collar(card)
    front_window(card)
    side_windows(card)
    top_light(card)
    bonnet(card)
    corselet(card)
    card.layer("hose", "sepia")
    hose(card)
    card.layer("bubbles", "sepia")
    for x, y, r in (
        (22.5, 34.0, 2.6),
        (17.4, 27.6, 1.7),
        (24.6, 24.4, 1.2),
        (19.6, 19.2, 2.2),
        (27.4, 17.4, 0.9),
        (16.4, 43.0, 1.1),
        (31.0, 27.0, 0.8),
        (77.0, 18.4, 1.3),
        (82.5, 16.0, 0.8),
    ):
        card.oval(x, y, r)
        card.oval(x, y, r * 0.6, start=200, end=265)
    card.layer("weed", "sepia")
    for x, lean, tall in ((14.5, -1.0, 34.0), (18.0, 1.2, 24.0), (91.2, 1.0, 22.0)):
        t = np.linspace(0, 1, 60)
        stem = np.column_stack([x + lean * t + 1.3 * np.sin(9 * t), 128.5 - tall * t])
        card.curve(stem, knot_mm=1.6)
        for k in range(6, 56, 7):
            side = 1 if k % 2 else -1
            p = stem[k]
            leaf = spline([p, p + (side * 1.6, -2.2), p + (side * 1.5, -4.4), p + (side * 0.3, -2.4), p])
            card.curve(leaf, knot_mm=0.9)
    return card
