"""A herring drifter with her net down, cut open at the waterline. Two pens: tar and sea."""

from __future__ import annotations

import numpy as np
import shapely
from ink import Card, Points, area, ellipse, hatch, points, spline
from letters import write

SEED = 5
WATER_MM = 60.0
LEFT, RIGHT, TOP, FOOT = 9.0, 139.0, 9.0, 88.0


def gull(card: Card, x: float, y: float, size: float, turn: float) -> None:
    card.use("gull", f"translate({x} {y}) rotate({turn}) scale({size})")
    card.cover(ellipse(x, y - 0.8 * size, 5.2 * size, 2.4 * size))


def ship(card: Card) -> None:
    """The hull from stem (left) to counter (right), and all that stands on it; front parts first."""
    sheer = spline([(30.0, 46.2), (42, 50.2), (60, 53.2), (82, 54.0), (100, 52.2), (112.5, 48.8)])
    stem = spline([(30.0, 46.2), (30.6, 54), (32.2, 62), (35.4, 70.0)])
    keel = spline([(35.4, 70.0), (50, 71.6), (80, 72.8), (103.5, 73.2)])
    stern = spline([(112.5, 48.8), (111.8, 52.4), (109.4, 56.6), (105.4, 61.0), (103.4, 66.0), (103.5, 73.2)])
    hull = np.vstack([sheer, stern, keel[::-1], stem[::-1]])

    # Anchor, name plate, rubbing strakes and the boot-top at the waterline.
    card.raw(
        '<g transform="translate(36.2 53.6)"><circle cx="0" cy="-2.3" r="0.55"/>'
        '<path d="M0 -1.7V2.4M-1.3 -0.9H1.3M-1.9 0.9C-1.7 2.1 -0.9 2.5 0 2.5S1.7 2.1 1.9 0.9"/></g>'
    )
    card.cover(ellipse(36.2, 53.6, 2.4, 3.6))
    for drop in (1.9, 3.2):
        card.curve(np.column_stack([sheer[:, 0], sheer[:, 1] + drop])[3:-5])
    card.raw('<path transform="translate(93.4 56.4) scale(0.9)" d="M0 0V2.6L1.3 1L2.6 2.6V0M4.1 0L5.4 2.6L6.7 0"/>')
    for x in (52, 61, 70, 79, 88):
        card.oval(x, 58.0 + 0.4 * np.sin(x / 12), 1.15)
        card.oval(x, 58.0 + 0.4 * np.sin(x / 12), 0.55)
    for k in range(5):
        y = 63.2 + 1.75 * k
        x = np.linspace(33.6 + 0.45 * k, 104.0 - 0.3 * k, 60)
        card.curve(np.column_stack([x, y + 0.9 * ((x - 70) / 36) ** 2 * -1 + 0.6]), knot_mm=3.0)
    for x in np.arange(37.0, 103.0, 1.9):
        y = float(np.interp(x, keel[:, 0], keel[:, 1]))
        card.line(points(x, y - 1.7 + 0.5 * np.sin(x), x + 0.5, y - 0.4))
    for k in range(15):
        x = 109.6 - 0.45 * k
        y = float(np.interp(x, stern[:57, 0][::-1], stern[:57, 1][::-1]))
        card.line(points(x - 0.5, y - 0.6, x - 3.6 + 0.13 * k, y - 3.4 + 0.1 * k))
    # Screw and rudder.
    card.curve(spline([(104.2, 64.2), (110.2, 64.8), (111.0, 72.4), (104.4, 72.8)]), cover=False)
    for a in (0, 90, 180, 270):
        dx, dy = np.cos(np.radians(a + 35)) * 2.3, np.sin(np.radians(a + 35)) * 2.3
        card.curve(
            spline(
                [
                    (106.6, 68.6),
                    (106.6 + dx * 0.6 - dy * 0.35, 68.6 + dy * 0.6 + dx * 0.35),
                    (106.6 + dx, 68.6 + dy),
                    (106.6, 68.6),
                ]
            ),
            knot_mm=0.7,
        )
    card.cover(area(spline([(104.2, 64.2), (110.2, 64.8), (111.0, 72.4), (104.4, 72.8)])))
    card.curve(sheer)
    card.curve(stem)
    card.curve(stern)
    card.curve(keel)
    card.cover(hull)

    # The crew hauling at the bow, one in a sou'wester.
    for x, y, lean in ((47.0, 51.4, -1.6), (53.0, 52.6, -1.2)):
        card.oval(x + lean, y - 7.2, 1.0)
        card.line(points(x + lean - 1.8, y - 7.6, x + lean + 2.0, y - 7.6))
        card.curve(spline([(x + lean - 1.1, y - 7.6), (x + lean, y - 8.9), (x + lean + 1.1, y - 7.6)]))
        card.cover(ellipse(x + lean, y - 7.5, 1.9, 1.3))
        coat = points(
            x + lean - 1.0,
            y - 6.2,
            x + lean + 1.0,
            y - 6.2,
            x + 2.0,
            y + 0.4,
            x - 1.8,
            y + 0.2,
            x + lean - 1.0,
            y - 6.2,
        )
        card.line(coat)
        card.line(points(x + lean * 0.5, y - 4.6, x + 0.2, y - 0.8))
        card.cover(coat)
        card.line(points(x + lean - 0.4, y - 5.4, x + lean - 3.6, y - 3.4))

    # Wheelhouse with its windows, and the funnel behind it.
    house = points(74.0, 54.2, 74.0, 38.6, 88.0, 38.6, 88.0, 54.2)
    for x in (75.4, 79.6, 83.8):
        pane = points(x, 40.6, x + 2.9, 40.6, x + 2.9, 44.6, x, 44.6, x, 40.6)
        card.line(pane)
        card.line(points(x + 0.5, 43.6, x + 2.0, 41.4))
    for x in np.arange(76.0, 87.0, 2.0):
        card.line(points(x, 46.4, x, 53.6))
    card.line(points(72.6, 38.6, 89.4, 38.6, 88.6, 36.9, 73.4, 36.9, 72.6, 38.6))
    card.line(house)
    card.line(points(74.0, 45.5, 88.0, 45.5))
    card.cover(house, points(72.6, 38.6, 89.4, 38.6, 88.6, 36.9, 73.4, 36.9))
    tilt = 1.6

    def fx(x: float, y: float) -> tuple[float, float]:
        return (x + (54 - y) / 34 * tilt, y)

    funnel = np.array([fx(91.0, 54), fx(91.0, 20.6), fx(98.4, 20.6), fx(98.4, 54)])
    mouth = ellipse(94.7 + 33.4 / 34 * tilt, 20.6, 3.7, 0.85)
    card.oval(94.7 + 33.4 / 34 * tilt, 20.6, 3.7, 0.85)
    for y in (24.6, 25.8, 32.2, 33.4):
        x = np.linspace(-1, 1, 24)
        card.curve(np.column_stack([94.7 + (54 - y) / 34 * tilt + 3.7 * x, y + 0.8 * (1 - x**2)]), knot_mm=1.2)
    band = area(np.array([fx(91.0, 26.4), fx(98.4, 26.4), fx(98.4, 32.6), fx(91.0, 32.6)]))
    for k in range(7):
        u = 0.98 - 0.235 * k**0.82
        y = np.linspace(27.2, 31.9, 8)
        card.line(np.column_stack([94.7 + (54 - y) / 34 * tilt + 3.7 * u, y + 0.8 * (1 - u**2)])[[0, -1]])
    for u in (0.82, 0.6, 0.34):
        y = np.array([34.9, 52.0 if u > 0.7 else 46.0 if u > 0.5 else 40.0])
        card.line(np.column_stack([94.7 + (54 - y) / 34 * tilt + 3.7 * u, y]))
    card.line(funnel[:2])
    card.line(funnel[2:])
    card.cover(funnel, mouth, band)

    # Mizzen: mast, boom, gaff and the tan sail with its cloths.
    card.line(points(104.6, 52.0, 105.4, 18.0))
    card.line(points(105.8, 52.0, 106.2, 18.0))
    card.line(points(105.4, 18.0, 106.2, 18.0))
    sail = np.vstack(
        [
            spline([(106.6, 26.0), (112, 22.2), (119.0, 18.4)]),
            spline([(119.0, 18.4), (122.4, 30), (127.0, 45.2)]),
            spline([(127.0, 45.2), (116, 47.2), (106.3, 47.0)]),
            points(106.3, 47.0, 106.6, 26.0),
        ]
    )
    card.curve(sail[:29])
    card.curve(sail[29:58])
    card.curve(sail[58:87])
    for t in (0.14, 0.28, 0.42, 0.56, 0.70, 0.84):
        a, b = sail[int(28 * t)], sail[58 + int(28 * (1 - t))]
        mid = (a + b) / 2 + (1.4 * t, 0)
        card.curve(spline([a, mid, b]), knot_mm=3.0)
    card.line(points(106.0, 48.2, 129.0, 45.9))
    card.line(points(106.2, 25.2, 121.0, 16.6))
    card.cover(area(sail))
    # Foremast, stays and the line that carries the lamps.
    card.line(points(45.4, 51.0, 46.6, 15.0))
    card.line(points(46.8, 51.2, 47.4, 15.0))
    card.line(points(46.6, 15.0, 47.4, 15.0))
    card.cover(points(45.4, 51, 46.6, 15, 47.4, 15, 46.8, 51.2))
    card.line(points(30.4, 46.6, 46.6, 16.2))
    card.line(points(60.0, 53.0, 47.2, 16.2))
    card.line(points(54.4, 52.4, 47.1, 22.0))
    card.curve(spline([(47.4, 15.6), (62, 20.6), (78, 21.6), (92.2, 20.0)]))
    card.curve(spline([(47.4, 15.2), (47.4, 11.8)]))
    flag = np.vstack(
        [
            spline([(47.4, 11.4), (44.4, 10.6), (41.6, 12.0), (38.4, 11.2)]),
            spline([(38.4, 14.2), (41.6, 14.9), (44.4, 13.6), (47.4, 14.4)]),
        ]
    )
    card.curve(flag[: 29 + 14], knot_mm=1.0)
    card.line(np.vstack([flag[42], flag[43]]))
    card.curve(flag[43:], knot_mm=1.0)
    card.cover(area(flag))
    # Bulwark rail forward.
    for x in (58.0, 62.0, 66.0, 70.0):
        y = float(np.interp(x, sheer[:, 0], sheer[:, 1]))
        card.line(points(x, y, x, y - 3.4))
    card.curve(spline([(56.0, 49.2), (64, 50.1), (74.0, 50.6)]))


def smoke(card: Card, rng: np.random.Generator) -> None:
    """Puffs that grow as they drift over the deck, each with a curl; the near ones hide the far ones."""
    puffs = [
        (95.6, 17.9, 1.7),
        (93.6, 15.7, 2.3),
        (90.2, 16.6, 2.6),
        (87.6, 13.9, 3.2),
        (83.0, 15.6, 3.4),
        (78.8, 13.0, 3.3),
        (74.4, 15.2, 3.6),
        (69.6, 13.2, 3.0),
        (65.4, 15.4, 2.7),
        (61.6, 14.0, 2.0),
        (58.6, 15.6, 1.4),
    ]
    for x, y, r in puffs:
        turn = rng.uniform(-25, 25)
        card.oval(x, y, r, r * 0.88, start=turn + 40, end=turn + 400)
        t = np.linspace(0, 1.6 * np.pi, 30)
        curl = np.column_stack(
            [x + r * 0.55 * (1 - t / 7) * np.cos(t + 0.4), y + r * 0.48 * (1 - t / 7) * np.sin(t + 0.4)]
        )
        if r > 1.8:
            card.curve(curl, knot_mm=0.7)
        card.cover(ellipse(x, y, r, r * 0.88))


def net(card: Card) -> Points:
    """The drift net: corks along the surface, meshes that hang and sway."""
    x = np.linspace(LEFT - 2, 33.0, 12)
    corks = np.column_stack([x, WATER_MM + 1.2 + 0.5 * np.sin(x / 3.0)])
    for cx, cy in corks:
        card.oval(cx, cy, 1.05, 0.75)
        card.cover(ellipse(cx, cy, 1.05, 0.75))
    card.curve(spline(corks), knot_mm=2.0)
    sway = np.linspace(0, 1, 24)
    step = 3.3
    edge = 33.4

    def hang(x0: float, t: np.ndarray) -> Points:
        return np.column_stack([x0 + 1.6 * np.sin(2.6 * t) * t, WATER_MM + 1.6 + 22.6 * t])

    for direction in (-1, 1):
        for x0 in np.arange(LEFT - 14, edge + 14, step):
            mesh = hang(x0, sway)
            mesh[:, 0] += direction * 11.0 * (sway - 0.5)
            right = 33.6 - 0.4 * np.sin(6 * sway)
            inside = mesh[:, 0] < right + 1.6 * np.sin(2.6 * sway) * sway
            if inside.sum() > 2:
                card.curve(mesh[inside], knot_mm=2.0)
    bottom = hang(edge, np.array([1.0]))[0, 1]
    xs = np.linspace(LEFT, edge + 0.8, 30)
    card.curve(np.column_stack([xs, bottom + 0.4 * np.sin(xs / 2.4)]), knot_mm=1.6)
    card.curve(hang(edge, sway), knot_mm=2.0)
    return hang(edge, sway)


FISH = (
    '<path d="M-4.8 0.1C-3 -1.7 0.4 -2 3.4 -0.3L5.6 -1.7C5 -0.5 5 0.6 5.7 1.8L3.4 0.4C0.4 2 -3 1.7 -4.8 0.1Z"/>'
    '<circle cx="-3.3" cy="-0.25" r="0.3"/><path d="M-2.3 -1.1A2.2 2.2 0 0 1 -2.3 1.1"/>'
    '<path d="M-1.1 -0.2Q0.8 -0.5 2.6 0"/><path d="M-0.2 -1.55L0.9 -2.3L1.5 -1.2"/>'
)


def shoal(card: Card) -> None:
    """Herring by the dozen: one symbol, many places. The nearer fish hide the farther and the net."""
    card.symbol("herring", FISH)
    shape = spline(
        [
            (-4.8, 0.1),
            (-3, -1.3),
            (0, -1.75),
            (3.4, -0.3),
            (5.6, -1.7),
            (5.2, 0.1),
            (5.7, 1.8),
            (3.4, 0.4),
            (0, 1.75),
            (-3, 1.4),
        ],
        closed=True,
    )
    places = [
        (44, 78.5, 1.0, -6),
        (55, 81.0, 1.05, 3),
        (66, 77.6, 0.9, -4),
        (61.5, 85.0, 0.95, 2),
        (77, 82.0, 1.0, -3),
        (48, 84.6, 0.9, -5),
        (88, 78.4, 0.9, 4),
        (73, 86.0, 0.85, 0),
        (99, 82.0, 1.0, -4),
        (88.5, 85.2, 0.95, 3),
        (109.5, 78.4, 0.85, 2),
        (113, 85.0, 0.9, -3),
        (121.5, 80.6, 0.85, 3),
        (26.0, 75.0, 0.95, 12),
        (18.0, 69.0, 0.85, -14),
        (16.2, 81.0, 0.9, 8),
        (29.0, 67.4, 0.8, -8),
        (38.6, 73.2, 0.8, -2),
        (131.5, 84.0, 0.85, -2),
    ]
    for x, y, size, turn in places:
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        placed = shape * size @ np.array([[c, s], [-s, c]]) + (x, y)
        body = area(placed)
        if card.covered.intersects(body) or not card.window.contains(body):
            continue
        card.use("herring", f"translate({x} {y}) rotate({turn}) scale({size})")
        card.cover(body.buffer(0.35))


def sea(card: Card, rng: np.random.Generator) -> None:
    x = np.linspace(LEFT, RIGHT, 260)
    top = np.column_stack([x, WATER_MM + 0.75 * np.sin(x / 2.9) + 0.3 * np.sin(x / 1.31)])
    card.curve(top, knot_mm=1.0)
    for row, y in enumerate((62.6, 65.0, 67.8, 71.0, 74.6)):
        at = LEFT - rng.uniform(0, 10)
        while at < RIGHT:
            run = rng.uniform(8, 17)
            xs = np.linspace(at, at + run, 40)
            wave = np.column_stack([xs, y + 0.42 * np.sin(xs / 1.9 + row)])
            if wave[0, 0] > 35 or row < 2:
                card.curve(wave, knot_mm=1.1)
            at += run + rng.uniform(4, 10) + 2.4 * row


def frame(card: Card) -> None:
    """A border with scooped corners, doubled."""
    for inset, scoop in ((0.0, 5.0), (-1.6, 5.4)):
        x0, x1, y0, y1 = LEFT - 1 + inset, RIGHT + 1 - inset, TOP - 1 + inset, FOOT + 1 - inset
        card.raw(
            f'<path d="M{x0 + scoop} {y0}H{x1 - scoop}a{scoop} {scoop} 0 0 0 {scoop} {scoop}V{y1 - scoop}'
            f"a{scoop} {scoop} 0 0 0 {-scoop} {scoop}H{x0 + scoop}a{scoop} {scoop} 0 0 0 {-scoop} {-scoop}V{y0 + scoop}"
            f'a{scoop} {scoop} 0 0 0 {scoop} {-scoop}Z"/>'
        )


def draw() -> Card:
    rng = np.random.default_rng(SEED)
    card = Card(
        148,
        105,
        "A herring drifter",
        "Marrow Quay harbour fair, postcard three. Drawn by code for this project.",
        {"tar": ("#2b2622", 0.45), "sea": ("#1f6f8b", 0.45)},
    )
    card.layer("frame", "tar")
    frame(card)
    write(card, "MARROW QUAY", 48.0, 93.8, 4.6)
    write(card, "A HERRING DRIFTER", 104.5, 95.0, 2.8)
    card.line(points(76.6, 96.3, 82.6, 96.3))
    box = area(points(LEFT - 0.5, TOP - 0.5, RIGHT + 0.5, TOP - 0.5, RIGHT + 0.5, FOOT + 0.5, LEFT - 0.5, FOOT + 0.5))
    corners = [ellipse(x, y, 5.6) for x in (LEFT - 1, RIGHT + 1) for y in (TOP - 1, FOOT + 1)]
    card.window = shapely.difference(box, area(*corners))

    card.symbol(
        "gull",
        '<path d="M-5 -1.6C-3.4 -3.2 -1.4 -2.2 -0.4 -0.4C1.2 -2.6 3.4 -3.4 5.4 -2.2"/>'
        '<path d="M-1.9 -0.5C-0.9 -1 0.7 -0.5 1.6 0.5L0.2 0.3C-0.6 0.5 -1.4 0.2 -1.9 -0.5L-2.6 -0.3"/>',
    )
    card.layer("gulls", "tar")
    for x, y, size, turn in (
        (22, 24, 1.0, -8),
        (29, 15.5, 0.7, 6),
        (62, 31, 0.9, 4),
        (128, 17.5, 0.75, -10),
        (20.5, 38, 0.6, 8),
    ):
        gull(card, x, y, size, turn)
    card.layer("ship", "tar")
    ship(card)
    smoke(card, rng)
    card.layer("shoal", "sea")
    shoal(card)
    card.layer("sea", "sea")
    net(card)
    sea(card, rng)

    # Low hills with the quay's light, seen over the water.
    card.layer("shore", "tar")
    card.cover(area(np.vstack([points(LEFT, WATER_MM - 0.9, RIGHT, WATER_MM - 0.9, RIGHT, 90, LEFT, 90)])))
    hill = spline(
        [
            (LEFT - 1, 55.0),
            (18, 53.2),
            (26, 55.4),
            (36, 57.6),
            (60, 58.4),
            (100, 58.2),
            (116, 56.2),
            (126, 53.6),
            (134, 54.6),
            (141, 53.0),
        ]
    )
    card.curve(hill)
    land = area(np.vstack([hill, points(141, WATER_MM - 0.9, LEFT - 1, WATER_MM - 0.9)]))
    card.lines(hatch(land.intersection(card.window), 1.25, 0, inset_mm=0.45))
    card.cover(land)
    card.layer("sky", "tar")
    for x, y, w in (
        (12.0, 47.0, 13.0),
        (15.0, 49.6, 8.0),
        (55.0, 42.0, 14.0),
        (59.0, 44.6, 9.0),
        (67.0, 25.6, 13),
        (17.0, 30.5, 9.0),
        (128.0, 33.0, 14.0),
        (130.0, 35.6, 9.0),
    ):
        xs = np.linspace(x, x + w, 40)
        card.curve(np.column_stack([xs, y + 0.4 * np.sin(xs / 2.4)]), knot_mm=1.4)
    return card
