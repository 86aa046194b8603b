"""A lighthouse in the rain: the beams are where the rain is not. Two pens: slate and amber."""

from __future__ import annotations

import numpy as np
from ink import Card, Points, area, ellipse, hatch, points, spline
from letters import write

SEED = 11
LAMP = (60.0, 42.5)


def half_width(y: float) -> float:
    """Half the width of the tower at height y: a straight taper with a flared foot, mm."""
    return 5.6 + (y - 50.0) * 0.075 + max(0.0, y - 96.0) ** 2 * 0.012


def tower(card: Card) -> None:
    cx = LAMP[0]
    # Dome, lantern room and gallery.
    card.oval(cx, 28.2, 0.9, cover=True)
    card.line(points(cx, 29.1, cx, 31.4))
    card.line(points(cx, 27.3, cx, 23.8))
    card.cover(points(cx - 0.8, 23.2, cx + 0.8, 23.2, cx + 0.8, 31, cx - 0.8, 31))
    dome = np.vstack(
        [
            spline([(cx - 5.4, 37.8), (cx - 4.6, 34.4), (cx - 1.6, 31.8), (cx, 31.4)]),
            spline([(cx, 31.4), (cx + 1.6, 31.8), (cx + 4.6, 34.4), (cx + 5.4, 37.8)]),
        ]
    )
    card.curve(dome)
    for dx in (-2.6, 2.6):
        card.curve(spline([(cx + dx * 0.35, 31.9), (cx + dx * 0.9, 34.0), (cx + dx, 37.6)]))
    for k in range(5):
        card.curve(
            spline([(cx + 2.2 + 0.45 * k, 33.4 + 0.5 * k), (cx + 3.2 + 0.28 * k, 35.6), (cx + 3.4 + 0.35 * k, 37.5)])
        )
    card.line(points(cx - 6.2, 37.8, cx + 6.2, 37.8, cx + 6.2, 39.0, cx - 6.2, 39.0, cx - 6.2, 37.8))
    room = points(cx - 4.6, 39.0, cx + 4.6, 39.0, cx + 4.6, 47.2, cx - 4.6, 47.2)
    for x in (-4.6, -1.6, 1.6, 4.6):
        card.line(points(cx + x, 39.0, cx + x, 47.2))
    card.line(points(cx - 9.2, 47.2, cx + 9.2, 47.2, cx + 9.2, 48.6, cx - 9.2, 48.6, cx - 9.2, 47.2))
    rail = 43.8
    for x in (-9.0, -7.4, -5.8, 5.8, 7.4, 9.0):
        card.line(points(cx + x, 47.2, cx + x, rail))
    for y in (rail, 45.5):
        card.line(points(cx - 9.0, y, cx - 4.6, y))
        card.line(points(cx + 4.6, y, cx + 9.0, y))
    for side in (-1, 1):
        card.curve(spline([(cx + side * 8.6, 48.6), (cx + side * 7.0, 50.8), (cx + side * 5.7, 52.6)]))
    card.cover(dome, room, points(cx - 9.2, 37.8, cx + 9.2, 37.8, cx + 9.2, 48.6, cx - 9.2, 48.6))
    card.cover(points(cx - 8.6, 48.6, cx + 8.6, 48.6, cx + 5.7, 52.6, cx - 5.7, 52.6))

    # The shaft: door, windows, then the bands hatched with lines that sag like hoops.
    door = np.vstack(
        [points(cx - 2.1, 108.6, cx - 2.1, 100.6), ellipse(cx, 100.6, 2.1, start=180, end=360), points(cx + 2.1, 108.6)]
    )
    card.curve(door, knot_mm=0.7)
    card.line(points(cx, 98.5, cx, 108.6))
    card.cover(area(np.vstack([door, door[:1]])))
    for x, y in ((cx - 1.2, 61.0), (cx + 1.0, 74.5), (cx - 0.6, 88.0)):
        pane = np.vstack(
            [
                points(x - 1.0, y + 3, x - 1.0, y),
                ellipse(x, y, 1.0, start=180, end=360),
                points(x + 1.0, y + 3, x - 1.0, y + 3),
            ]
        )
        card.curve(pane, knot_mm=0.6)
        card.line(points(x, y - 0.9, x, y + 3))
        card.cover(area(pane).buffer(0.5))
    y = 55.2
    while y < 104:
        band = int((y - 54.0) // 8.6) % 2 == 0
        edge = abs((y - 54.0) % 8.6) < 0.9
        if band or edge:
            w = half_width(y)
            x = np.linspace(-1, 1, 40)
            card.curve(
                np.column_stack([cx + x * w, y + 1.1 * (1 - x**2)])[:: -1 if int(y / 0.92) % 2 else 1], knot_mm=2.0
            )
        y += 0.92
    ys = np.linspace(52.6, 107.2, 60)
    left = np.column_stack([[cx - half_width(v) for v in ys], ys])
    right = np.column_stack([[cx + half_width(v) for v in ys], ys])
    card.curve(left, knot_mm=3.0)
    card.curve(right, knot_mm=3.0)
    for k, y0, y1 in (
        (0.80, 64.0, 70.5),
        (0.62, 65.0, 70.0),
        (0.80, 81.5, 87.5),
        (0.62, 82.5, 87.0),
        (0.8, 98.4, 104.0),
    ):
        seg = np.linspace(y0, y1, 12)
        card.curve(np.column_stack([[cx + k * half_width(v) for v in seg], seg]), knot_mm=3.0)
    foot = np.column_stack(
        [cx + np.linspace(-1, 1, 40) * half_width(107.2), 107.2 + 1.6 * (1 - np.linspace(-1, 1, 40) ** 2)]
    )
    card.curve(foot, knot_mm=2.0)
    card.cover(np.vstack([left, right[::-1]]), np.vstack([foot, foot[:1]]))


def cottage(card: Card) -> None:
    """The keeper's house, lamp lit, chimney smoking in spite of it all."""
    wall = points(70.5, 106.5, 70.5, 97.0, 86.5, 97.0, 86.5, 107.0)
    roof = points(69.0, 97.4, 73.0, 91.0, 84.4, 91.0, 88.0, 97.4, 69.0, 97.4)
    card.line(points(80.0, 91.0, 80.0, 87.6, 82.6, 87.6, 82.6, 91.0))
    card.line(points(79.4, 87.6, 83.2, 87.6))
    card.cover(points(79.6, 91, 79.6, 87.4, 83, 87.4, 83, 91))
    card.line(roof)
    for k in range(1, 6):
        card.line(points(73.0 + k * 1.9 - 0.5 * (5 - k) / 5, 91.6, 69.0 + k * 3.17, 96.8))
    card.cover(roof)
    card.oval(74.6, 101.0, 1.7)
    card.line(points(74.6, 99.3, 74.6, 102.7))
    card.line(points(72.9, 101.0, 76.3, 101.0))
    card.line(points(79.4, 106.6, 79.4, 100.0, 83.0, 100.0, 83.0, 106.8))
    card.oval(82.2, 103.6, 0.3)
    card.line(wall)
    card.cover(np.vstack([wall, wall[:1]]))


def walker(card: Card) -> None:
    """Somebody with an umbrella, bringing the milk."""
    x, y = 34.0, 99.0
    canopy = np.vstack([ellipse(x, y, 5.4, 4.6, start=180, end=360)])
    card.curve(canopy, knot_mm=0.9)
    for a, b in ((-5.4, -1.8), (-1.8, 1.8), (1.8, 5.4)):
        card.oval(x + (a + b) / 2, y, 1.8, 0.8, start=180, end=360)
    for d in (-1.8, 1.8):
        card.curve(spline([(x, y - 4.6), (x + d * 0.7, y - 3.2), (x + d, y - 0.1)]))
    card.line(points(x, y - 4.6, x, y - 5.8))
    card.line(points(x, y - 0.7, x, y + 4.6))
    card.cover(np.vstack([canopy, canopy[:1]]))
    card.oval(x + 1.7, y + 1.7, 1.15)
    card.cover(ellipse(x + 1.7, y + 1.7, 1.15))
    coat = spline(
        [
            (x + 1.2, y + 2.8),
            (x + 0.4, y + 5.4),
            (x - 0.6, y + 9.4),
            (x + 4.4, y + 9.4),
            (x + 3.0, y + 5.0),
            (x + 2.4, y + 2.8),
        ]
    )
    card.curve(coat, knot_mm=0.8)
    card.lines(hatch(area(coat), 0.8, 80, inset_mm=0.3))
    card.line(points(x + 0.9, y + 9.4, x + 0.7, y + 12.0, x - 0.4, y + 12.0))
    card.line(points(x + 2.9, y + 9.4, x + 3.1, y + 12.0, x + 2.0, y + 12.0))
    card.line(points(x + 3.2, y + 5.6, x + 5.0, y + 7.8))
    can = points(x + 4.3, y + 7.8, x + 5.9, y + 7.8, x + 5.9, y + 10.0, x + 4.3, y + 10.0, x + 4.3, y + 7.8)
    card.line(can)
    card.cover(coat, can)


def rocks(card: Card, rng: np.random.Generator) -> Points:
    top = points(
        8,
        117,
        13,
        114.6,
        19,
        115.2,
        24,
        111.4,
        30,
        111.0,
        38,
        111.2,
        44,
        109.2,
        49,
        107.6,
        53,
        107.0,
        70,
        106.6,
        88,
        107.2,
        92,
        109.8,
        97,
        111.0,
    )
    card.line(top)
    mass = np.vstack(
        [
            top,
            points(
                97,
                119.5,
                90,
                121.0,
                82,
                119.4,
                74,
                121.6,
                64,
                119.8,
                55,
                121.4,
                46,
                119.0,
                36,
                120.6,
                26,
                118.6,
                17,
                120.0,
                8,
                118.6,
            ),
        ]
    )
    # Facets: cracks that run down from the skyline, one side of each shaded.
    for x0, y0, x1, y1, x2, y2 in (
        (24, 111.4, 26.5, 115.0, 23.5, 118.2),
        (44, 109.2, 42.0, 113.4, 45.4, 118.6),
        (53, 107.0, 55.4, 112.0, 52.6, 116.4),
        (65, 106.7, 63.4, 111.8, 66.2, 118.6),
        (78, 106.9, 80.4, 111.4, 77.6, 118.6),
        (88, 107.2, 86.6, 112.6, 89.2, 119.2),
        (33, 111.1, 34.8, 114.4, 33.2, 119.0),
        (14.5, 114.7, 16.2, 117.0, 15.0, 119.0),
    ):
        card.line(points(x0, y0, x1, y1, x2, y2))
        shade = area(points(x0, y0, x1, y1, x2, y2, x2 + 4.6, y2 - 1.2, x1 + 4.6, y1 - 0.6, x0 + 2.6, y0 + 0.8))
        card.lines(hatch(shade.intersection(area(mass)), 0.95, 62, inset_mm=0.35))
    for _ in range(5):
        x = rng.uniform(12, 94)
        y = rng.uniform(114, 118)
        card.line(points(x, y, x + rng.uniform(1.2, 2.6), y + rng.uniform(-0.8, 0.2)))
    return mass


def sea(card: Card) -> None:
    """Rows of waves, each crest hiding the one behind; the front ones break."""
    for row, (y, length, high) in enumerate(((126.6, 15.0, 3.6), (123.4, 12.0, 2.8), (120.4, 9.5, 2.0))):
        x = 2.0 - row * 4.0
        while x < 100:
            crest = spline(
                [
                    (x, y),
                    (x + length * 0.34, y - high * 0.34),
                    (x + length * 0.60, y - high * 1.02),
                    (x + length * 0.80, y - high * 1.05),
                    (x + length * 0.90, y - high * 0.62),
                    (x + length * 0.84, y - high * 0.34),
                    (x + length * 0.77, y - high * 0.5),
                ]
            )
            card.curve(crest, knot_mm=0.8)
            fall = spline([(x + length * 0.62, y - high * 0.95), (x + length * 0.68, y - high * 0.35), (x + length, y)])
            card.curve(fall, knot_mm=1.0)
            if row == 0:
                card.curve(
                    spline(
                        [
                            (x + length * 0.3, y + 0.3),
                            (x + length * 0.52, y - high * 0.28),
                            (x + length * 0.6, y - high * 0.62),
                        ]
                    )
                )
            body = np.vstack([crest[: 14 * 4 + 1], fall[::-1][:1], [[x + length, y + 5], [x, y + 5]]])
            card.cover(area(body))
            x += length


def draw() -> Card:
    rng = np.random.default_rng(SEED)
    card = Card(
        105,
        148,
        "A lighthouse in the rain",
        "Marrow Quay harbour fair, postcard two. Drawn by code for this project.",
        {"slate": ("#22303c", 0.45), "amber": ("#e09a1a", 0.45)},
    )
    card.layer("frame", "slate")
    card.raw('<rect x="6.6" y="8.6" width="91.8" height="121" rx="3"/>')
    card.raw('<rect x="8" y="10" width="89" height="118.2" rx="1.8"/>')
    write(card, "MARROW QUAY", 52.5, 133.6, 4.6)
    write(card, "A LIGHT IN THE RAIN", 52.5, 140.8, 2.4)
    card.window = area(points(8.5, 10.5, 96.5, 10.5, 96.5, 127.7, 8.5, 127.7))

    card.layer("sea", "slate")
    sea(card)
    card.layer("people", "slate")
    walker(card)
    card.layer("tower", "slate")
    cottage(card)

    # The lamp, seen through the panes, and its beams: warm rays first, then the room they take from the rain.
    cx, cy = LAMP
    beams: list[Points] = []
    card.layer("light", "amber")
    for side, far in ((-1, 8.5 - cx), (1, 96.5 - cx)):
        start = cx + side * 10.4
        low = points(start, cy + 3.2, cx + far, cy + abs(far) * 0.36 + 1.0)
        high = points(start, cy - 2.4, cx + far, cy - abs(far) * 0.27 - 1.0)
        beams.append(np.vstack([high, low[::-1]]))
        for k in range(9):
            t = k / 8
            a = high[0] + (low[0] - high[0]) * t
            b = high[1] + (low[1] - high[1]) * t
            reach = 1.0 if k in (0, 8) else (0.46, 0.80, 0.58, 0.94)[k % 4]
            begin = 0.0 if k in (0, 8) else 0.04 + 0.05 * (k % 2)
            card.line(np.vstack([a + (b - a) * begin, a + (b - a) * reach]))
    card.oval(cx, cy, 1.3)
    card.oval(cx, cy, 2.3, 3.0)
    for y in (100.0, 100.65, 101.35, 102.0):
        card.raw(f'<line x1="73.6" y1="{y}" x2="75.6" y2="{y}"/>')
    card.layer("tower", "slate")
    tower(card)
    card.layer("rocks", "slate")
    mass = rocks(card, rng)
    card.cover(mass)

    # Clouds: three scalloped banks with shading beneath.
    card.layer("clouds", "slate")
    for lobes in (
        [(12, 19.5, 5.0), (19.5, 17.0, 6.4), (28.0, 19.0, 5.2), (34.5, 21.0, 3.6)],
        [(66, 17.5, 3.6), (73, 16.0, 5.6), (82, 17.4, 6.8), (91.5, 18.6, 5.8), (97, 21, 4.0)],
        [(40.0, 16.2, 3.0), (45.6, 15.4, 4.4), (51.4, 16.6, 3.2)],
    ):
        bank = area(*[ellipse(x, y, r, r * 0.86) for x, y, r in lobes])
        base = max(y + 0.45 * r for x, y, r in lobes)
        bank = bank.intersection(area(points(0, 0, 105, 0, 105, base, 0, base)))
        outline = np.asarray(bank.exterior.coords)
        x_low, x_high = outline[:, 0].min(), outline[:, 0].max()
        card.line(points(x_low + 1.2, base + 1.4, x_high - 4.0, base + 1.4))
        for i, (x, y, r) in enumerate(lobes):
            others = [ellipse(u, v, s, s * 0.86) for j, (u, v, s) in enumerate(lobes) if j < i]
            before = card.covered
            if others:
                card.cover(*others)
            clip = card.window
            card.window = clip.intersection(area(points(0, 0, 105, 0, 105, base, 0, base)))
            card.oval(x, y, r, r * 0.86, start=90, end=450)
            for k in (0.62, 0.36):
                card.oval(x, y, r * k, r * 0.86 * k, start=20, end=80)
            card.window = clip
            card.covered = before
        card.line(points(x_low, base, x_high, base))
        card.cover(
            bank.buffer(0.7), area(points(x_low, base, x_high - 3.0, base, x_high - 3.0, base + 2.2, x_low, base + 2.2))
        )

    # Rain, everywhere but in the light, under the clouds and in the lee.
    card.layer("rain", "slate")
    card.cover(*beams)
    card.cover(card.covered.buffer(0.9))
    slope = 0.26
    for column in np.arange(4.0, 132.0, 4.5):
        y = 20.0 + rng.uniform(0, 10)
        while y < 119:
            run = rng.uniform(6.0, 12.0)
            x = column - slope * (y - 10)
            for piece in card.visible(points(x, y, x - slope * run, y + run)):
                if np.hypot(*(piece[0] - piece[-1])) > 1.6:
                    card.line(piece)
            y += run + rng.uniform(4.0, 9.0)
    return card
