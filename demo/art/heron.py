"""A heron in the reeds, before a low sun. Two pens: night blue and orange."""

from __future__ import annotations

import numpy as np
import shapely
from ink import Card, Points, area, ellipse, hatch, points, spline, turned
from letters import write

SEED = 7
WATER_MM = 103.0


def blade(x: float, y: float, tip_x: float, tip_y: float, width_mm: float, bend: float) -> tuple[Points, Points]:
    """Outline and midrib of a reed blade from its root to its tip; ``bend`` moves its middle sideways, mm."""
    t = np.linspace(0, 1, 40)
    mx = x + (tip_x - x) * t**1.5 + bend * np.sin(np.pi * t)
    my = y + (tip_y - y) * t
    w = width_mm / 2 * (0.55 + 0.9 * np.sin(np.pi * t) ** 0.7 * (1 - t)) * (1 - t**6)
    mid = np.column_stack([mx, my])
    normal = np.gradient(mid, axis=0)[:, ::-1] * (1, -1)
    normal /= np.hypot(*normal.T)[:, None]
    left, right = mid + normal * w[:, None], mid - normal * w[:, None]
    left[-1] = right[-1] = mid[-1]
    return np.vstack([left, right[::-1]]), mid[3:26]


def cattail(card: Card, x: float, y: float, top_x: float, top_y: float) -> None:
    """A stalk with its brown head, hatched along the head, and the thin spike above."""
    lean = (top_x - x) / (y - top_y)
    head = 11.0

    def at(d: float) -> tuple[float, float]:
        return (top_x - lean * d, top_y + d)

    c0, c1 = at(4.0), at(4.0 + head)
    r = 1.35
    outline = np.vstack(
        [
            ellipse(c0[0], c0[1], r, start=180, end=360),
            ellipse(c1[0], c1[1], r, start=0, end=180),
            [[c0[0] - r, c0[1]]],
        ]
    )
    card.curve(outline, cover=False, knot_mm=0.7)
    inside = area(outline)
    card.lines(hatch(inside, 0.62, 90 + np.degrees(lean), inset_mm=0.3))
    card.cover(inside)
    card.line(points(top_x, top_y, c0[0], c0[1] - r))
    card.curve(spline([(c1[0], c1[1] + r), ((c1[0] + x) / 2 - 0.6, (c1[1] + y) / 2), (x, y)]))


def reeds(card: Card, rng: np.random.Generator, plants: list[tuple[float, float, float, float, float, float]]) -> None:
    for x, y, tx, ty, w, bend in plants:
        outline, rib = blade(x, y, tx, ty, w, bend)
        card.curve(outline, knot_mm=1.6)
        if rng.random() < 0.75:
            card.curve(rib, knot_mm=2.0)
        card.cover(outline)


def heron(card: Card) -> None:
    """The bird, facing left; front parts first."""
    # Eye, bill and the black stripe that runs into the crest.
    card.oval(41.6, 33.3, 0.85)
    card.oval(41.75, 33.3, 0.3)
    bill_low = spline([(20.5, 38.4), (30, 37.0), (36.2, 36.6), (39.6, 35.2)])
    bill_high = spline([(20.5, 38.4), (28, 35.2), (34, 33.1), (38.2, 31.9)])
    card.curve(bill_high)
    card.curve(bill_low)
    card.curve(spline([(23.5, 37.6), (31, 35.6), (38.4, 34.2)]))
    stripe = np.vstack(
        [
            spline([(40.2, 31.0), (43, 30.9), (46, 32.0), (52, 35.2), (60.5, 40.8)]),
            spline([(60.5, 40.8), (52, 36.8), (47, 35.0), (43.6, 33.4), (41.2, 31.9), (40.2, 31.0)]),
        ]
    )
    card.curve(stripe, knot_mm=1.0)
    card.lines(hatch(area(stripe), 0.6, 24, inset_mm=0.2))
    card.curve(spline([(46.2, 34.6), (52, 38.2), (57.2, 43.2)]))

    crown = spline([(38.2, 31.9), (40.0, 29.9), (43.2, 29.2), (46.4, 30.4), (48.6, 33.2)])
    nape = spline(
        [(48.6, 33.2), (50.6, 38.5), (51.3, 44), (50.0, 50), (47.0, 55.5), (45.9, 60), (47.6, 63.6), (52.5, 65.2)]
    )
    throat = spline(
        [
            (39.6, 35.2),
            (42.6, 37.8),
            (45.0, 42),
            (45.2, 47),
            (42.8, 52.5),
            (39.4, 58.5),
            (38.2, 65),
            (40.2, 71.5),
            (44.6, 78.5),
            (51, 84.6),
            (58, 88.6),
        ]
    )
    back = spline([(52.5, 65.2), (60, 67.0), (68, 72.6), (76, 82), (83.5, 94.5)])
    belly = spline([(58, 88.6), (64, 90.2), (70, 91.2), (77, 93.6), (83.5, 94.5)])
    body = np.vstack([bill_low, throat, belly, back[::-1], nape[::-1], crown[::-1], bill_high[::-1]])

    # Streaks down the front of the neck and the plumes that hang from the breast.
    for (x, y), (u, v) in zip(
        [
            (43.3, 39.5),
            (45.0, 43.2),
            (45.2, 46.6),
            (44.3, 50.0),
            (42.6, 53.4),
            (40.9, 56.8),
            (39.8, 60.2),
            (39.4, 63.8),
        ],
        [(0.9, 2.4), (0.45, 2.5), (-0.3, 2.5), (-1.0, 2.4), (-1.4, 2.3), (-1.2, 2.4), (-0.5, 2.5), (0.1, 2.6)],
        strict=True,
    ):
        card.line(points(x + 1.2, y, x + 1.2 + u, y + v))
        card.line(points(x + 2.3, y + 0.9, x + 2.3 + u, y + 0.9 + v * 0.8))
    for i, (dx, dy) in enumerate([(-1.8, 11), (-0.6, 12.6), (1.2, 13.2), (2.8, 12.0), (4.4, 10.6)]):
        x, y = 40.4 + i * 1.15, 69.5 + i * 1.7
        card.curve(spline([(x, y), (x + dx * 0.2, y + dy * 0.45), (x + dx, y + dy)]))

    # Wing: an edge, three rows of coverts, the long flight feathers, a dark shoulder.
    wing = spline([(47.6, 66.4), (44.8, 70.2), (46.6, 76.2), (54, 82.8), (64, 87.6), (74, 91.6), (81.2, 93.4)])
    card.curve(wing)
    shoulder = np.vstack(
        [
            spline([(46.6, 67.6), (45.3, 70.4), (46.3, 74.0), (49.0, 76.6)]),
            spline([(49.0, 76.6), (50.6, 72.6), (49.6, 69.0), (46.6, 67.6)]),
        ]
    )
    card.lines(hatch(area(shoulder), 0.85, 62, inset_mm=0.1))
    upper = spline([(49.5, 68.2), (58, 71.4), (66, 77.4), (73.5, 85.2), (80.6, 92.6)])
    for row, (reach, n) in enumerate([(0.30, 6), (0.52, 7), (0.74, 7)]):
        for i in range(n):
            t = 0.10 + (0.60 + 0.08 * row) * (i + 0.5 * (row % 2)) / n
            a = upper[int(t * (len(upper) - 1))]
            b = wing[int(min(0.98, t + 0.16) * (len(wing) - 1))]
            at = a + (b - a) * reach
            along = np.array([0.80, 0.60])
            across = np.array([-0.60, 0.80])
            s = 2.35 + 0.25 * row
            card.curve(
                spline(
                    [
                        at - across * s * 0.42 - along * 0.3,
                        at + along * s * 0.75 - across * s * 0.22,
                        at + along * s,
                        at + along * s * 0.62 + across * s * 0.34,
                        at - along * 0.4 + across * s * 0.45,
                    ]
                ),
                knot_mm=0.8,
            )
    for i in range(7):
        t = i / 6
        start = np.array([59 + 9.5 * t, 83.6 - 6.6 * t])
        tip = np.array([77.2 + 3.6 * t, 92.2 + 0.4 * t])
        mid = (start + tip) / 2 + (0.9 - 2.4 * t, 1.1 - 1.5 * t)
        card.curve(spline([start, mid, tip]))
    for i in range(5):
        t = i / 4
        start = np.array([53.5 + 3.0 * i, 67.4 + 1.1 * i + 0.25 * i * i])
        card.curve(spline([start, start + (5.4, 4.4 + t), start + (10.6, 10.6 + t)]))
    for part in (crown, nape, throat, belly, back):
        card.curve(part)

    # Legs with their knees; the water swallows the feet.
    for x, y, dx in ((55.2, 88.0, 0.0), (63.8, 90.6, 2.6)):
        knee = y + 12.6
        left = spline(
            [
                (x - 0.9, y),
                (x + 0.4 + dx * 0.5, knee - 4),
                (x + 0.3 + dx, knee),
                (x + 0.1 + dx, knee + 5),
                (x - 0.5 + dx, 118),
            ]
        )
        right = spline(
            [
                (x + 1.9, y + 0.6),
                (x + 1.7 + dx * 0.5, knee - 4),
                (x + 2.2 + dx, knee),
                (x + 1.3 + dx, knee + 4),
                (x + 0.7 + dx, 118),
            ]
        )
        card.curve(left)
        card.curve(right)
        for k in range(5):
            card.line(points(x + 0.5 + dx * 0.96, knee - 1.5 + 0.8 * k, x + 1.8 + dx * 0.96, knee - 1.3 + 0.8 * k))
        card.cover(np.vstack([left, right[::-1]]))
    card.cover(body)


def dragonfly(card: Card) -> None:
    """Resting on the tall reed: four wings from one symbol, turned."""
    card.symbol(
        "wing", '<path d="M0 0C2 -1.6 5 -1.9 6.4 -0.7C6.8 0.2 4 0.9 0 0Z"/><path d="M0.4 -0.1Q3.4 -0.7 5.6 -0.5"/>'
    )
    card.raw('<g transform="translate(28.6 55.5) rotate(-24)">')
    for turn in (-18, 14):
        card.use("wing", f"rotate({turn})")
        card.use("wing", f"scale(-1 1) rotate({turn})")
    card.raw('<circle cx="0" cy="-1.5" r="0.75"/>')
    card.raw('<path d="M0 -0.7V1.2M-0.45 1.3C-0.5 4 -0.2 7 0 8.6C0.2 7 0.5 4 0.45 1.3M-0.4 3H0.4M-0.35 4.8H0.35"/>')
    card.raw("</g>")
    body = turned(points(-0.7, -2, 0.7, -2, 0.6, 8.6, -0.6, 8.6), -24) + (28.6, 55.5)
    card.cover(area(body).buffer(0.4))


def draw() -> Card:
    rng = np.random.default_rng(SEED)
    card = Card(
        105,
        148,
        "A heron in the reeds",
        "Marrow Quay harbour fair, postcard one. Drawn by code for this project.",
        {"night": ("#1f3347", 0.45), "sun": ("#d8622a", 0.45)},
    )
    left, right, foot, spring = 9.0, 96.0, 128.0, 52.5
    arch = np.vstack([ellipse(52.5, spring, 43.5, start=180, end=360), points(right, foot, left, foot, left, spring)])
    card.layer("frame", "night")
    card.raw(f'<path d="M{left} {foot}V{spring}A43.5 43.5 0 0 1 {right} {spring}V{foot}Z"/>')
    card.raw('<path d="M7.4 129.6V52.5A45.1 45.1 0 0 1 97.6 52.5V129.6Z"/>')
    write(card, "MARROW QUAY", 52.5, 133.6, 4.6)
    write(card, "A HERON IN THE REEDS", 52.5, 140.8, 2.4)
    card.window = area(arch).buffer(-0.6)

    card.layer("near-reeds", "night")
    dragonfly(card)
    cattail(card, 20.5, 130, 16.0, 62)
    cattail(card, 88.0, 130, 91.2, 70)
    cattail(card, 79.0, 130, 80.0, 84)
    reeds(
        card,
        rng,
        [
            (17.5, 132, 11.0, 74, 3.4, -2.0),
            (23.5, 132, 29.5, 57.5, 3.6, -1.5),
            (27.5, 132, 36.5, 92, 3.0, -1.0),
            (13.0, 133, 22.5, 86, 3.4, -2.0),
            (33.0, 134, 45.0, 109, 3.0, -2.0),
            (84.0, 132, 72.5, 99, 3.2, 2.0),
            (91.0, 133, 87.5, 60, 3.6, 2.2),
            (95.0, 132, 94.6, 84, 3.0, -1.0),
            (77.5, 134, 68.0, 111, 2.6, 0.8),
        ],
    )
    card.layer("heron", "night")
    heron(card)

    card.layer("far-reeds", "night")
    reeds(
        card,
        rng,
        [
            (31.0, 116, 24.5, 84, 2.2, 1.0),
            (34.5, 115, 39.0, 96, 2.0, -0.8),
            (81.5, 115, 84.0, 66, 2.6, -1.2),
            (77.0, 114, 73.0, 78, 2.2, 1.0),
        ],
    )
    card.layer("water", "night")
    for x, y, rx in ((55.3, 118.0, 5.0), (66.4, 118.0, 5.0), (55.3, 118.0, 8.6), (66.4, 118.0, 8.2)):
        card.oval(x, y, rx, rx * 0.22, start=15, end=165)
        card.oval(x, y, rx, rx * 0.22, start=200, end=340)
    card.cover(area(ellipse(60.8, 118.2, 15.5, 2.9)))
    card.line(points(left, WATER_MM, right, WATER_MM))
    for i in range(10):
        y = WATER_MM + 2.3 + 2.4 * i
        x = left + rng.uniform(-6, 4)
        while x < right:
            run = rng.uniform(11, 27) * (0.6 + 0.03 * i)
            t = np.linspace(0, 1, 30)
            wave = np.column_stack([x + run * t, y + 0.28 * np.sin(t * run / 3.2 + i)])
            card.curve(wave, knot_mm=1.5)
            x += run + rng.uniform(6, 13)

    card.layer("sun", "sun")
    disc = ellipse(62.0, 47.0, 25.0)
    card.oval(62.0, 47.0, 25.0)
    inside = shapely.intersection(area(disc), card.window)
    y = 71.0
    gap = 0.85
    i = 0
    while y > 23.5:
        row = points(30, y, 95, y)[:: -1 if i % 2 else 1]
        cut = shapely.intersection(shapely.LineString(row), inside.buffer(-0.45))
        for piece in getattr(cut, "geoms", [cut]):
            if not piece.is_empty:
                card.line(np.asarray(piece.coords))
        y -= gap
        gap *= 1.055
        i += 1
    card.cover(disc)

    card.layer("sky", "night")
    for x, y, w in (
        (14.5, 44.0, 19.0),
        (10.0, 47.4, 14.0),
        (66.0, 17.5, 13.0),
        (72.0, 20.6, 9.0),
        (86.5, 56.5, 9.0),
        (84.0, 60.0, 12.0),
    ):
        t = np.linspace(0, 1, 40)
        card.curve(np.column_stack([x + w * t, y + 0.35 * np.sin(t * w / 2.5)]), knot_mm=1.5)
    for x, y, span in ((22, 27, 6.0), (31, 21.5, 4.4), (36.5, 26.5, 3.4)):
        wings = f"q{span / 4} {-span / 3} {span / 2} {span / 12}q{span / 4} {-span * 0.42} {span / 2} 0"
        card.raw(f'<path d="M{x - span / 2} {y}{wings}"/>')
    card.layer("far-shore", "night")
    ridge = spline(
        [(9, 95.0), (18, 93.2), (27, 95.4), (38, 97.2), (52, 98.6), (68, 97.2), (80, 94.6), (90, 93.0), (97, 94.2)]
    )
    card.curve(ridge)
    shore = area(np.vstack([ridge, points(97, WATER_MM, 9, WATER_MM)]))
    card.lines(hatch(shore, 1.8, 0, inset_mm=0.6))
    return card
