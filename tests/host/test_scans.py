"""Scans and photographs of drawings: the drawn strokes are found under any light."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage

from host.photographs import photograph
from host.test_areas import poster
from linewright.sources import choice, paper
from linewright.sources.photograph import Photograph
from linewright.sources.picture import Wish
from linewright.sources.tone.centre_lines import CentreLines
from linewright.sources.tone.coverage import inked

SIZE = (60.0, 80.0)
PIXEL = 0.2
TURN = np.linspace(0, 2 * np.pi, 60)
STROKES = [
    np.array([[8.0, 10.0], [50.0, 30.0]]),
    np.array([[10.0, 35.0], [45.0, 8.0]]),
    np.column_stack((30 + 12 * np.cos(TURN), 55 + 12 * np.sin(TURN))),
    np.array([[8.0, 60.0], [8.0, 66.0]]),  # an i without its dot
]
DOT, SPOT = (8.0, 57.0, 0.4), (50.0, 66.0, 2.5)


def drawing() -> np.ndarray:
    """Coverage of the strokes, the dot and the spot."""
    cover = inked(STROKES, SIZE, pen_mm=0.5, pixel_mm=PIXEL)
    y, x = (np.indices(cover.shape) + 0.5) * PIXEL
    for at_x, at_y, radius in (DOT, SPOT):
        cover = np.maximum(cover, np.clip((radius - np.hypot(x - at_x, y - at_y)) / PIXEL + 0.5, 0, 1))
    return cover


def seen(dark: float, *, table: bool) -> np.ndarray:
    """Greys with falling light, a hard shadow across a corner, grain, and optionally a table around."""
    rng = np.random.default_rng(1)
    y, x = np.indices(drawing().shape) / 400
    light = (0.95 - 0.3 * y) * (1 - 0.35 / (1 + np.exp(-(x + y - 1.1) * 150)))
    grain = ndimage.gaussian_filter(rng.normal(0, 1, light.shape), 1) * 0.03
    grey = (1 - dark * drawing()) * (0.96 + grain) * light
    if table:
        grey = np.pad(grey, 30, constant_values=0.2)
        grey[:10] *= 0.7
    return np.clip(grey + rng.normal(0, 0.01, grey.shape), 0, 1)


@pytest.mark.parametrize("dark", [0.35, 0.9])
@pytest.mark.parametrize("table", [False, True])
def test_what_was_drawn_is_drawn_once_and_nothing_else(dark, table):
    taken = photograph(seen(dark, table=table))
    assert choice.choose(taken, Wish()).method == "centre-lines"
    rim = 30 * PIXEL if table else 0.0
    wish = Wish(room_mm=(SIZE[0] + 2 * rim, SIZE[1] + 2 * rim), turn_deg=0)
    strokes = [stroke - rim for stroke in CentreLines().drawn(taken, wish).drawing]
    ours = inked(strokes, SIZE, pen_mm=0.5, pixel_mm=PIXEL) > 0.5
    theirs = drawing() > 0.5
    assert (ndimage.distance_transform_edt(~theirs)[ours] * PIXEL <= 0.5).mean() > 0.97
    assert (ndimage.distance_transform_edt(~ours)[theirs] * PIXEL <= 0.5).mean() > 0.97
    within = [stroke for stroke in strokes if (stroke > -1).all() and (stroke < np.array(SIZE) + 1).all()]
    assert len(within) == len(strokes)  # nothing of the table, nor of the paper's edge
    lines = [stroke for stroke in strokes if np.hypot(*(stroke.mean(axis=0) - SPOT[:2])) > SPOT[2]]
    long = [stroke for stroke in lines if np.hypot(*np.diff(stroke, axis=0).T).sum() > 5]
    assert len(long) == len(STROKES)


def test_a_spot_is_solid_and_the_dot_of_an_i_survives():
    strokes = CentreLines().drawn(photograph(seen(0.9, table=False)), Wish(room_mm=SIZE, turn_deg=0)).drawing
    ink = inked(list(strokes), SIZE, pen_mm=0.5, pixel_mm=PIXEL)
    y, x = (np.indices(ink.shape) + 0.5) * PIXEL
    assert ink[np.hypot(x - SPOT[0], y - SPOT[1]) < SPOT[2] - 0.3].mean() > 0.98
    assert ink[np.hypot(x - DOT[0], y - DOT[1]) < DOT[2]].mean() > 0.8
    assert ink[(np.abs(y - 58.6) < 0.3) & (np.abs(x - DOT[0]) < 2)].mean() < 0.1  # paper between the dot and the rest


@pytest.mark.parametrize("quality", [5, 30, 90])
def test_flat_colours_are_known_through_the_damage_of_compression(quality):
    stream = io.BytesIO()
    large = np.kron(poster(), np.ones((3, 3, 1)))
    Image.fromarray(np.round(large * 255).astype(np.uint8)).save(stream, "JPEG", quality=quality)
    damaged = Photograph(np.asarray(Image.open(stream), dtype=np.float32) / 255)
    assert choice.choose(damaged, Wish()).method == "areas"


def test_a_sheet_that_fills_the_picture_has_no_table():
    assert paper.page(seen(0.9, table=False).astype(np.float32)).all()
    found = paper.page(seen(0.9, table=True).astype(np.float32))
    assert not found[:28].any()
    assert found[50:-50, 50:-50].all()
