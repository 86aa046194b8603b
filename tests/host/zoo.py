"""Unusual strokes that break careless geometry code, shared by all geometry tests.

``SOUND`` holds drawings that every step must carry, ``DAMAGED`` those with coordinates that are no numbers, which a
step must refuse with one of our errors. ``drawings()`` makes more of the sound kind.
"""

from __future__ import annotations

import math

import numpy as np
from hypothesis import strategies as st

from linewright.drawing.strokes import Drawing, Pen

TWO_PENS = (Pen("black", "#000000"), Pen("red", "#cc0000"))

_circle = [(50 + 20 * math.cos(t), 50 + 20 * math.sin(t)) for t in np.linspace(0, 2 * math.pi, 100)[:-1].tolist()]
_star = [(50 + 30 * math.cos(t), 50 + 30 * math.sin(t)) for t in (0.0, 2.513, 5.027, 7.540, 10.053)]

SHAPES: dict[str, list[list[tuple[float, float]]]] = {
    "empty": [],
    "one point": [[(3.0, 4.0)]],
    "two dots at one place": [[(3.0, 4.0)], [(3.0, 4.0)]],
    "a dot written as a line": [[(3.0, 4.0), (3.0, 4.0)]],
    "one line": [[(10.0, 10.0), (90.0, 40.0)]],
    "level and upright": [[(10.0, 10.0), (90.0, 10.0)], [(10.0, 10.0), (10.0, 90.0)]],
    "duplicate points": [[(1.0, 1.0), (1.0, 1.0), (5.0, 1.0), (5.0, 1.0), (5.0, 1.0), (5.0, 7.0)]],
    "a stroke twice": [[(1.0, 1.0), (5.0, 2.0)], [(1.0, 1.0), (5.0, 2.0)]],
    "there and back": [[(1.0, 1.0), (5.0, 2.0)], [(5.0, 2.0), (1.0, 1.0)]],
    "closed square": [[(10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0), (10.0, 10.0)]],
    "closed circle": [[*_circle, _circle[0]]],
    "almost closed": [[*_circle, (_circle[0][0], _circle[0][1] + 0.01)]],
    "collinear": [[(float(i), 2.0 * i) for i in range(20)]],
    "collinear, back on itself": [[(0.0, 5.0), (30.0, 5.0), (10.0, 5.0), (40.0, 5.0)]],
    "spike": [[(0.0, 0.0), (10.0, 0.0), (10.0, 30.0), (10.0, 0.0), (20.0, 0.0)]],
    "self-crossing": [[*_star, _star[0]]],
    "figure of eight": [[(10.0, 10.0), (50.0, 50.0), (50.0, 10.0), (10.0, 50.0), (10.0, 10.0)]],
    "touching ends": [[(0.0, 0.0), (10.0, 0.0)], [(20.0, 5.0), (10.0, 0.0)], [(20.0, 5.0), (0.0, 0.0)]],
    "many ends at one place": [[(50.0, 50.0), (50 + 40 * math.cos(i), 50 + 40 * math.sin(i))] for i in range(25)],
    "tiny": [[(1e-9, 1e-9), (2e-9, 1e-9), (2e-9, 3e-9)]],
    "smallest numbers": [[(0.0, 0.0), (5e-324, 5e-324)], [(5e-324, 0.0), (0.0, 1e-300)]],
    "tiny closed": [[(5.0, 5.0), (5.0 + 1e-6, 5.0), (5.0, 5.0 + 1e-6), (5.0, 5.0)]],
    "huge": [[(-1e9, -1e9), (1e9, 1e9)], [(0.0, 1e9), (1e9, 0.0), (1e9, 1e9)]],
    "tiny beside huge": [[(0.0, 0.0), (1e-6, 0.0)], [(1e9, 1e9), (1e9, 1e9 + 1)]],
    "minus zero": [[(0.0, 0.0), (1.0, 1.0)], [(-0.0, -0.0), (1.0, 1.0)]],
}

SOUND: dict[str, Drawing] = {
    **{name: Drawing.from_strokes(strokes) for name, strokes in SHAPES.items()},
    "two pens": Drawing.from_strokes(
        [[(0, 0), (10, 0)], [(10, 0), (20, 0)], [(20, 0), (30, 0)], [(5, 5)]], pen=[0, 1, 0, 1], pens=TWO_PENS
    ),
}

DAMAGED: dict[str, Drawing] = {
    "NaN": Drawing.from_strokes([[(0.0, 0.0), (1.0, 1.0)], [(1.0, math.nan), (2.0, 2.0)]]),
    "infinite": Drawing.from_strokes([[(0.0, 0.0), (math.inf, 1.0)]]),
    "minus infinite": Drawing.from_strokes([[(0.0, -math.inf)]]),
}


@st.composite
def drawings(
    draw: st.DrawFn, *, low_mm: float = -50.0, high_mm: float = 250.0, most_strokes: int = 12, pens: int = 2
) -> Drawing:
    """Drawings of few strokes: coarse coordinates, so that ends, vertices and strokes coincide often."""
    fine = st.floats(low_mm, high_mm, allow_nan=False, width=32)
    coarse = st.integers(int(low_mm) // 10, int(high_mm) // 10).map(lambda n: 10.0 * n)
    point = st.tuples(fine | coarse, fine | coarse)
    stroke = st.lists(point, min_size=1, max_size=8)
    closed = st.lists(point, min_size=3, max_size=8).map(lambda s: [*s, s[0]])
    strokes = draw(st.lists(stroke | closed, max_size=most_strokes))
    of = [draw(st.integers(0, pens - 1)) for _ in strokes]
    return Drawing.from_strokes(strokes, pen=of, pens=TWO_PENS[:pens])
