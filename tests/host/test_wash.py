"""Colour washes: each area in its colour, with a gap to other colours and lines."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from linewright.errors import SourceError
from linewright.sources import methods
from linewright.sources.pens import read_pens
from linewright.sources.photograph import Photograph
from linewright.sources.picture import Picture, Wish

PENS = "black 0.3, peachpuff 0.8, skyblue 0.5"


def harbour() -> Photograph:
    """Sand at the left, sky at the right, a dark disc over both, white below."""
    rows, columns = np.indices((90, 120))
    rgb = np.empty((90, 120, 3), dtype=np.float32)
    rgb[...] = np.where(columns[..., None] < 60, (0.98, 0.82, 0.68), (0.50, 0.78, 0.92))
    rgb[60:] = 1.0
    rgb[np.hypot(rows - 30, columns - 60) < 14] = 0.05
    return Photograph(rgb)


def drawn(words: str = "wash", pens: str = PENS) -> Picture:
    way = methods.chosen(words)
    wish = Wish(room_mm=(80.0, 60.0), pens=read_pens(pens) if pens else ())
    return way.drawn(harbour(), wish)  # type: ignore[attr-defined]  # a method for photographs


def inks(picture: Picture) -> dict[str, shapely.Geometry]:
    """Area covered by each pen, at its true width."""
    found = {}
    for number, pen in enumerate(picture.drawing.pens):
        lines = [
            shapely.linestrings(s) for s, p in zip(picture.drawing, picture.drawing.pen, strict=True) if p == number
        ]
        found[pen.name] = shapely.union_all(shapely.buffer(lines, (pen.width_mm or 0.5) / 2))
    return found


@pytest.mark.parametrize("gap", [0.2, 1.5])
def test_colours_keep_their_gap_to_each_other_and_to_the_lines(gap):
    """Distances of what the pens cover, by shapely."""
    ink = inks(drawn(f"wash:gap={gap}"))
    for one, other in (("peachpuff", "skyblue"), ("peachpuff", "black"), ("skyblue", "black")):
        apart = shapely.distance(ink[one], ink[other])
        # Distances are kept on a grid of 0.075 mm.
        assert gap - 0.08 <= apart < gap + 1.5


def test_each_place_has_its_own_colour_and_white_stays_paper():
    ink = inks(drawn())
    assert ink["peachpuff"].bounds[2] < 40.5
    assert ink["skyblue"].bounds[0] > 39.5
    assert all(ink[name].bounds[3] < 41.0 for name in ("peachpuff", "skyblue"))
    # Six tenths of the area without disc and gaps are covered.
    assert 0.4 < ink["peachpuff"].area / (40.0 * 40.0 - np.pi * 9.3**2 / 2) < 0.62


def test_darkness_is_the_lines_part():
    """A dark grey place gets no blue, though blue ink would be nearer to it in lightness than paper is."""
    grey = np.full((90, 120, 3), 0.95, dtype=np.float32)
    grey[:, 60:] = 0.1
    wish = Wish(room_mm=(80.0, 60.0), pens=read_pens("black 0.3, skyblue"))
    picture = methods.chosen("wash").drawn(Photograph(grey), wish)  # type: ignore[attr-defined]  # for photographs
    assert len(picture.drawing) > 0
    assert inks(picture)["skyblue"].is_empty


def test_more_strength_is_more_ink():
    areas = [inks(drawn(f"wash:strength={strength}"))["skyblue"].area for strength in (0.2, 0.4, 0.8)]
    assert areas[1] > 1.6 * areas[0]
    assert areas[2] > 1.5 * areas[1]


def test_pens_that_were_not_named_are_said_and_too_many_are_refused():
    picture = drawn(pens="")
    assert [pen.name for pen in picture.drawing.pens] == ["peachpuff", "skyblue", "black"]
    assert "--pens" in picture.warnings[-1]
    with pytest.raises(SourceError, match="one to 3 others: it was given 5"):
        drawn(pens="black, red, green, blue, tan")
