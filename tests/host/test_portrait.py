"""Portraits: faces, framing and mask against other detectors and known data; strokes against desired coverage."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import skimage
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image
from scipy import ndimage
from skimage import data
from skimage.feature import Cascade

from host.photographs import silent
from linewright.drawing.strokes import Points
from linewright.errors import InputError
from linewright.sources import choice, faces, methods, person, photograph
from linewright.sources.faces import Face
from linewright.sources.photograph import Photograph
from linewright.sources.picture import Picture, Wish
from linewright.sources.tone import dabs, flow, small_faces
from linewright.sources.tone import portrait as portraits
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.field import Field
from linewright.sources.tone.laying import LONGEST_PENS, Bed, laid, laid_by_lenses
from linewright.sources.tone.method import PIXELS_PER_PEN
from linewright.sources.tone.portrait import (
    DASH_PENS,
    DASHES,
    Sitter,
    _features_lifted,
    edges,
    longest_pens,
    thinned,
)
from linewright.sources.tone.settling import settled

A5 = Wish(room_mm=(128.0, 190.0))
KEEPER = Path(__file__).resolve().parents[2] / "demo" / "keeper.jpg"


def astronaut() -> np.ndarray:
    return (data.astronaut() / 255).astype(np.float32)


def a_face(left: float = 100, top: float = 80, width: float = 60, height: float = 80) -> Face:
    eyes = ((left + 0.3 * width, top + 0.4 * height), (left + 0.7 * width, top + 0.4 * height))
    mouth = ((left + 0.35 * width, top + 0.8 * height), (left + 0.65 * width, top + 0.8 * height))
    return Face(left, top, width, height, eyes, mouth)


def other_detector(grey: np.ndarray, least: int) -> list[dict[str, int]]:
    """Faces by the LBP cascade that ships with scikit-image, which shares nothing with the networks used here."""
    cascade = Cascade(str(Path(skimage.__file__).parent / "data" / "lbpcascade_frontalface_opencv.xml"))
    sizes = {"min_size": (least, least), "max_size": (4 * least, 4 * least)}
    found: list[dict[str, int]] = cascade.detect_multi_scale(
        img=np.round(grey * 255).astype(np.uint8), scale_factor=1.1, step_ratio=1, **sizes
    )
    return found


# Faces


def test_a_face_is_found_where_another_detector_finds_it():
    (face,) = faces.found(astronaut())
    boxes = other_detector(astronaut().mean(axis=2), 60)
    middles = [(box["c"] + box["width"] / 2, box["r"] + box["height"] / 2) for box in boxes]
    x, y = face.left + face.width / 2, face.top + face.height / 2
    assert min(np.hypot(x - u, y - v) for u, v in middles) < face.width / 4
    (left_x, left_y), (right_x, right_y) = face.eyes
    assert face.left < left_x < right_x < face.left + face.width
    assert face.mouth[0][1] > max(left_y, right_y)


def test_the_eyes_of_the_demos_keeper_are_found_where_he_was_modelled():
    with Image.open(KEEPER) as opened:
        picture = np.asarray(opened.resize((600, 750)), dtype=np.float32) / 255
    (face,) = faces.found(picture)
    # The fronts of the eyeballs in demo/art/keeper.py, projected through its camera.
    assert np.abs(np.array(face.eyes) - [(280, 286), (399, 286)]).max() < 12


def test_a_cat_a_cup_and_a_scrap_have_no_face():
    for picture in (data.chelsea(), data.coffee(), data.chelsea()[:20, :20]):
        assert faces.found((picture / 255).astype(np.float32)) == ()


@given(st.floats(0, 350), st.floats(0, 250), st.floats(10, 200), st.sampled_from(["head", "whole", "face:1"]))
def test_a_frame_lies_on_the_photograph_and_holds_the_face_that_lies_there(left, top, width, asked):
    face = a_face(left, top, width, 1.3 * width)
    x0, y0, x1, y1 = faces.frame((face,), (400, 300), asked)
    assert 0 <= x0 < x1 <= 400
    assert 0 <= y0 < y1 <= 300
    assert x0 <= left
    assert y0 <= top
    assert x1 >= min(400, left + width)
    assert y1 >= min(300, top + 1.3 * width)


def test_a_group_is_framed_as_one_and_passers_by_are_not():
    big, other, tiny = a_face(100, 100, 60, 80), a_face(250, 90, 50, 70), a_face(20, 20, 10, 14)
    x0, y0, x1, y1 = faces.frame((big, other, tiny), (400, 400), "head")
    assert x0 > 30
    assert y0 > 34
    assert x1 >= 300
    assert y1 >= 180
    assert faces.frame((big, other, tiny), (400, 400), "face:2")[0] > 160


def test_a_whole_figure_is_not_cropped_unasked():
    small, large = a_face(width=30, height=40), a_face(width=60, height=80)
    assert faces.frame((small,), (300, 400), "auto") == (0, 0, 300, 400)
    assert faces.frame((large,), (300, 400), "auto") == faces.frame((large,), (300, 400), "head") != (0, 0, 300, 400)


@given(st.floats(40, 330), st.floats(40, 200), st.floats(20, 90), st.floats(0.3, 3.0), st.floats(0.5, 2.0))
def test_a_closer_frame_holds_the_head_and_stays_within_the_wide_one(left, top, width, broad, high):
    face = a_face(left, top, width, 1.3 * width)
    wide = faces.frame((face,), (400, 300), "head")
    x0, y0, x1, y1 = (round(v) for v in wide)
    yy, xx = np.mgrid[y0:y1, x0:x1]
    away = ((xx - left - width / 2) / (broad * width / 2)) ** 2 + ((yy - top - width / 2) / (high * width)) ** 2
    near = faces.closer((x0, y0, x1, y1), face, (away < 1).astype(np.float32))
    assert x0 <= near[0] <= max(x0, left)
    assert y0 <= near[1] <= max(y0, top)
    assert min(x1, left + width) <= near[2] <= x1
    assert min(y1, top + 1.3 * width) <= near[3] <= y1
    hair = np.flatnonzero((away < 1)[: round(top + 1.3 * width) - y0].any(axis=0)) + x0
    reach = faces.MOST_BESIDE * width
    assert near[0] <= max(hair[0] + 1, left + width / 2 - reach + 1)
    assert near[2] >= min(hair[-1], left + width / 2 + reach - 1)


@pytest.mark.parametrize("to_the_right", [True, False])
def test_the_frame_of_a_profile_holds_the_back_of_the_head(to_the_right):
    """Three heads in profile were cut through behind the ear."""
    face = a_face(200, 100, 60, 80)
    eyes = ((236.0, 130.0), (248.0, 130.0)) if to_the_right else ((212.0, 130.0), (224.0, 130.0))
    face = replace(face, eyes=eyes)
    nose, back = (262.0, 155.0) if to_the_right else (198.0, 305.0)
    wide = faces.frame((face,), (460, 300), "head")
    x0, y0, x1, y1 = (round(v) for v in wide)
    yy, xx = np.mgrid[y0:y1, x0:x1]
    head = (np.abs(xx - (nose + back) / 2) < abs(nose - back) / 2) & (yy > 60) & (yy < 190)
    for left, _, right, _ in (wide, faces.closer((x0, y0, x1, y1), face, head.astype(np.float32))):
        assert left <= min(nose, back)
        assert right >= max(nose, back)


def test_a_narrow_head_is_drawn_larger_than_one_with_wide_hair():
    face = a_face(150, 100, 60, 80)
    wide = (90.0, 50.0, 270.0, 240.0)
    yy, xx = np.mgrid[50:240, 90:270]
    narrow, broad = ((np.hypot((xx - 180) / r, (yy - 120) / 60) < 1).astype(np.float32) for r in (34, 60))
    widths = [box[2] - box[0] for box in (faces.closer(wide, face, mask) for mask in (narrow, broad))]
    assert widths[0] < 110 < 120 < widths[1]


@pytest.mark.parametrize("asked", ["face:2", "face:0", "face", "nose", "face:x"])
def test_a_frame_that_is_not_there_is_refused(asked):
    with pytest.raises(InputError, match="frame"):
        faces.frame((a_face(),), (400, 300), asked)


# The person


def sitter(seed: int) -> tuple[np.ndarray, np.ndarray, Face]:
    """A head with shoulders before a mottled wall, the true mask of the person, and the face."""
    rng = np.random.default_rng(seed)
    rows, columns = 300, 240
    yy, xx = np.mgrid[:rows, :columns]
    face = a_face(85, 70, 70, 95)
    head = ((xx - 120) / 48) ** 2 + ((yy - 110) / 68) ** 2 < 1
    body = (yy > 165) & (np.abs(xx - 120) < 22 + 90 * np.clip((yy - 170) / 60, 0, 1))
    truth = head | body
    wall = ndimage.gaussian_filter(rng.random((rows, columns, 3)), (6, 6, 0)) * 2 - 0.6
    rgb = np.array([0.35, 0.45, 0.4]) + 0.25 * wall
    rgb[body] = [0.15, 0.15, 0.3]
    rgb[head] = [0.8, 0.6, 0.5]
    rgb += rng.normal(0, 0.02, rgb.shape)
    return np.clip(rgb, 0, 1).astype(np.float32), truth, face


@pytest.mark.parametrize("seed", [1, 2])
def test_the_mask_is_where_the_person_is(seed):
    rgb, truth, face = sitter(seed)
    found = person.mask(rgb, (face,))
    assert found is not None
    overlap = np.logical_and(found > 0.5, truth).sum() / np.logical_or(found > 0.5, truth).sum()
    assert overlap > 0.95


@pytest.mark.parametrize("turn_deg", [0.0, 25.0])
def test_hair_as_dark_as_the_wall_is_still_part_of_the_head(turn_deg):
    rgb, truth, face = sitter(4)
    dark = np.random.default_rng(5).normal(0.1, 0.02, rgb.shape).astype(np.float32)
    rgb[~truth] = dark[~truth]
    rows, columns = np.indices(truth.shape)
    turn = np.deg2rad(turn_deg)
    higher = (110 - rows) * np.cos(turn) + (columns - 120) * np.sin(turn)  # than the middle of the head, along it
    hair = (higher > 38) & (np.hypot(columns - 120, rows - 110) < 60) & truth
    rgb[hair] = dark[hair]
    middle = np.array([120.0, 110.0])
    eyes = [middle + np.array([along * np.cos(turn), along * np.sin(turn)]) for along in (-15.0, 15.0)]
    found = person.mask(rgb, (replace(face, eyes=tuple(tuple(map(float, eye)) for eye in eyes)),))
    assert found is not None
    crown = hair & (higher < 60)
    assert (found > 0.5)[crown].mean() > 0.7


def test_all_of_the_demos_keeper_is_the_person_and_the_wall_is_not():
    """He looks aside, in a hat that is wider than his face."""
    rgb = photograph.load(str(KEEPER)).rgb
    found = person.mask(rgb, faces.found(rgb))
    assert found is not None
    assert found[300:420, 250:880].mean() > 0.98  # the hat
    assert found[200:850, :200].mean() < 0.02  # the wall at both sides
    assert found[200:850, 960:].mean() < 0.02
    left, _, right, _ = methods.chosen("portrait").part(rgb)  # type: ignore[attr-defined]  # a tone method
    assert abs((left + right) / 2 - 565) < 0.1 * (right - left)  # the middle of the hat


def test_a_banner_that_touches_the_head_is_not_the_person():
    rgb, truth, face = sitter(3)
    rgb, truth = (np.pad(part, ((0, 0), (90, 90), *((0, 0),) * (part.ndim - 2)), mode="edge") for part in (rgb, truth))
    wide = face.moved(90.0, 0.0, 1.0)
    banner = np.zeros_like(truth)
    banner[95:150, 230:] = True
    rgb[banner & ~truth] = [0.75, 0.62, 0.4]
    box = (138, 0, 282, 300)
    around = person.surroundings(box, (420, 300), (wide,))
    assert around[0] < box[0]
    assert around[2] > box[2]
    left, top, right, bottom = around
    found = person.mask(rgb[top:bottom, left:right], (wide.moved(-left, -top, 1.0),))
    assert found is not None
    kept = (found > 0.5)[banner[top:bottom, left:right] & ~truth[top:bottom, left:right]]
    assert kept.mean() < 0.1


def test_without_a_face_nobody_is_cut_out():
    assert person.mask(astronaut(), ()) is None


# Flow


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 90.0, 135.0])
def test_directions_run_along_stripes(angle_deg):
    turn = np.deg2rad(-angle_deg)
    yy, xx = np.mgrid[:80, :80]
    stripes = 0.5 + 0.5 * np.sin((-np.sin(turn) * xx + np.cos(turn) * yy) * 2 * np.pi / 12)
    cosine, sine = flow.along(stripes.astype(np.float32), 2.5, angle_deg + 50)
    inner = np.s_[20:60, 20:60]
    # Twice the angle away from it, as a cosine: 1 is along, -1 is across.
    assert float((cosine * np.cos(2 * turn) + sine * np.sin(2 * turn))[inner].mean()) > 0.98


def test_calm_directions_follow_the_form_and_not_the_grain_but_still_a_sharp_line():
    grain = ndimage.gaussian_filter(np.random.default_rng(3).normal(size=(160, 160)), 1.5)
    yy, xx = np.mgrid[:160, :160]
    skin = (0.1 + 0.8 * xx / 160 + 0.02 * grain / grain.std()).astype(np.float32)
    inner = np.s_[40:120, 40:120]
    fine, calm = (flow.along(skin, 2.5, 90.0, scales)[0][inner] for scales in (flow.FINE, flow.calm(200.0)))
    assert float(calm.std()) < 0.03 < 0.1 < float(fine.std())
    assert float(flow.along(skin, 2.5, 45.0, flow.calm(200.0))[0][inner].mean()) < -0.8  # -1 is upright, as the form
    skin[np.abs(yy - xx) < 3] = 1.0
    _, sine = flow.along(skin, 2.5, 135.0, flow.calm(200.0))
    assert float(np.diag(sine)[40:120].mean()) > 0.9  # down to the right, as the line


def test_a_dark_line_answers_once_and_an_edge_weakly():
    picture = np.zeros((60, 60), dtype=np.float32)
    picture[:, 29:32] = 1.0
    cosine, sine = flow.along(picture, 2.5, 45.0)
    answer = flow.dark_lines(picture, cosine, sine, 1.2)[30]
    assert answer.argmax() == 30
    assert answer[30] > 0.5
    assert answer[:24].max() < 0.05
    assert answer[37:].max() < 0.05
    even = np.full((60, 60), 0.7, dtype=np.float32)
    assert flow.dark_lines(even, *flow.along(even, 2.5, 45.0), 1.2).max() < 0.05


# Strokes


def test_eyes_and_mouths_are_lifted_from_the_skin_and_nothing_else_is():
    face = a_face()
    coverage = np.full((240, 260), 0.4, dtype=np.float32)
    mouth = np.mean(face.mouth, axis=0).astype(int)
    eye = np.array(face.eyes[0]).astype(int)
    for x, y in (mouth, eye, (130, 20)):
        coverage[y - 1 : y + 2, x - 6 : x + 7] = 0.6
    lifted = _features_lifted(coverage, (face,))
    assert lifted[mouth[1], mouth[0]] > 0.64
    assert lifted[eye[1], eye[0]] > 0.64
    assert lifted[mouth[1] + 3, mouth[0]] < 0.4
    far = np.ones(coverage.shape, dtype=bool)
    far[80:172, 88:172] = False
    assert (lifted[far] == coverage[far]).all()
    assert lifted[20, 130] == coverage[20, 130]
    # A face at the rim, or outside, changes no shape and breaks nothing.
    for gone in (face.moved(-130, -110, 1.0), face.moved(900, 900, 1.0)):
        assert _features_lifted(coverage, (gone,)).shape == coverage.shape


def bed(coverage: np.ndarray, weight: np.ndarray | None = None, pen_mm: float = 0.5) -> Bed:
    size = (coverage.shape[1] * 0.2, coverage.shape[0] * 0.2)
    cosine, sine = np.zeros(coverage.shape), np.ones(coverage.shape)
    weight = np.ones_like(coverage) if weight is None else weight
    return Bed(Field(coverage.astype(np.float32), *size, pen_mm), cosine, sine, weight.astype(np.float32), 0.4)


@pytest.mark.parametrize("tone", [0.2, 0.4, 0.6])
def test_even_tones_come_out_as_dark_as_they_are(tone):
    plain = bed(np.full((200, 200), tone))
    bend = ndimage.gaussian_filter(np.random.default_rng(1).normal(size=(200, 200)), 25) * 100
    lines = laid_by_lenses(replace(plain, cosine=np.cos(bend), sine=np.sin(bend)), silent)
    ink = inked(lines, (40.0, 40.0), pen_mm=0.5, pixel_mm=0.2)
    assert float(ink[20:-20, 20:-20].mean()) == pytest.approx(tone, abs=0.05)


def test_strokes_stay_on_the_picture_and_out_of_what_does_not_matter():
    weight = np.ones((100, 120))
    weight[:, :60] = 0.0
    lines = laid(bed(np.full((100, 120), 0.5), weight), silent)
    points = np.concatenate(lines)
    assert points.min() >= 0
    assert points[:, 0].max() <= 24
    assert points[:, 1].max() <= 20
    assert points[:, 0].min() > 11.5


def test_less_ink_leaves_out_what_is_needed_least():
    coverage = np.full((120, 120), 0.25)
    coverage[50:54, :] = 1.0
    cosine, sine = np.ones((120, 120)), np.zeros((120, 120))
    field = Field(coverage.astype(np.float32), 24.0, 24.0, 0.5)
    whole = Bed(field, cosine, sine, np.ones((120, 120), dtype=np.float32), 0.4)
    full, few = laid_by_lenses(whole, silent), laid_by_lenses(whole, silent, ink_high_mm=50.0)
    assert length(few) <= 50.0 < length(full)
    assert all(np.array_equal(a, b) for a, b in zip(few, full, strict=False))
    assert abs(few[0][:, 1].mean() - 10.4) < 0.5  # the dark band comes first


def test_ink_that_is_there_is_not_laid_again():
    coverage = np.zeros((100, 100))
    coverage[48:51, 10:90] = 1.0
    plain = bed(coverage)
    level = Bed(plain.field, np.ones((100, 100)), np.zeros((100, 100)), plain.weight, 0.4)
    lines = laid(level, silent)
    assert length(lines) >= 14
    assert laid(level, silent, already=lines) == []


def test_short_strokes_are_laid_only_where_they_are_asked_for():
    spots = np.zeros((60, 60), dtype=np.float32)
    spots[28:31, 26:34] = 1.0  # three pens long
    assert not laid(bed(spots), silent)
    assert laid(replace(bed(spots), least_pens=2.0), silent)


@pytest.mark.parametrize("tone", [0.08, 0.25])
def test_dashes_make_pale_tones_that_long_lines_leave_bare(tone):
    plain = bed(np.full((150, 150), tone))
    dashed = replace(plain, longest_pens=np.full((150, 150), 2.0, dtype=np.float32))
    dashes = laid_by_lenses(dashed, silent)
    assert max(length([dash]) for dash in dashes) <= 2.5 * 0.5
    assert inked(dashes, (30.0, 30.0), pen_mm=0.5, pixel_mm=0.2)[20:-20, 20:-20].mean() == pytest.approx(tone, abs=0.03)


def test_pale_skin_is_dashes_and_dark_skin_and_clothes_are_lines():
    coverage = np.full((100, 90), 0.2, dtype=np.float32)
    coverage[:, 30:] = 0.9
    head = np.ones((100, 90), dtype=np.float32)
    head[60:] = 0.0
    long = longest_pens(Field(coverage, 9.0, 10.0, 0.5), head)
    assert (long[:60, :15] == DASH_PENS).all()
    assert (long[:60, 45:] > 10 * DASH_PENS).all()
    assert (long[60:] == LONGEST_PENS).all()


@pytest.mark.parametrize("dashes", [DASHES, DASHES / 2])
def test_a_large_face_has_as_many_dashes_as_time_allows(dashes):
    coverage = np.full((500, 400), 0.3, dtype=np.float32)
    field = Field(coverage, 100.0, 125.0, 0.5)
    long = longest_pens(field, np.ones_like(coverage), dashes)
    count = float((coverage / long).sum()) * 0.25**2 / 0.5**2  # pixels and pens in mm
    assert count == pytest.approx(dashes, rel=0.05)
    assert DASH_PENS < long.max() < 20 * DASH_PENS


def test_a_portrait_with_fewer_lines_has_far_fewer_dashes(monkeypatch):
    """Each dash costs a pen lift, so in little time lines say more."""
    asked = []
    monkeypatch.setattr(portraits, "longest_pens", lambda *values: (asked.append(values[-1]), longest_pens(*values))[1])
    for words in ("portrait", "portrait:kept=0.5"):
        portrait.__wrapped__(words)
    assert asked[0] == DASHES
    assert asked[1] < 0.5**3 * DASHES


def uneven(gaps_mm: np.ndarray, side_mm: float = 24.0) -> list[Points]:
    """Upright lines with such gaps between them."""
    places = np.cumsum(gaps_mm)
    return [np.array([(x, 0.5), (x, side_mm - 0.5)]) for x in places[places < side_mm - 0.6]]


def far_error(lines: list[Points], field: Field) -> float:
    ink = inked(lines, (field.width_mm, field.height_mm), pen_mm=field.pen_mm, pixel_mm=0.2)
    return float(np.square(ndimage.gaussian_filter(ink - field.coverage, 4.0)[20:-20, 20:-20]).mean())


@given(seed=st.integers(0, 10_000))
@settings(max_examples=5)
def test_uneven_lines_settle_evenly_in_their_order(seed):
    random = np.random.default_rng(seed)
    field = Field(np.full((120, 120), 0.4, dtype=np.float32), 24.0, 24.0, 0.5)
    lines = uneven(1.25 * random.uniform(0.6, 1.4, 30))
    settled_lines = settled(lines, field, np.ones((120, 120), dtype=np.float32), 20)
    places = np.array([line[:, 0].mean() for line in settled_lines])
    before = np.array([line[0, 0] for line in lines])
    assert len(settled_lines) == len(lines)
    assert np.std(np.diff(places)[2:-2]) < 0.7 * np.std(np.diff(before)[2:-2])
    assert far_error(settled_lines, field) < 0.6 * far_error(lines, field)


def test_lines_settle_only_where_they_are_free_and_beside_what_is_there():
    field = Field(np.full((120, 120), 0.4, dtype=np.float32), 24.0, 24.0, 0.5)
    held = np.zeros((120, 120), dtype=np.float32)
    lines = uneven(np.tile([0.8, 1.7], 9))
    assert all(same is line for line, same in zip(lines, settled(lines, field, held, 5), strict=True))
    held[:, 60:] = 1.0  # the right half is free
    for line, other in zip(lines, settled(lines, field, held, 5), strict=True):
        assert (other is line) == (line[0, 0] < 11.8)
    (line,) = settled([lines[4]], field, np.ones_like(held), 20, already=[lines[3]])  # 0.8 mm to its left
    assert line[:, 0].mean() > lines[4][0, 0] + 0.1
    assert settled([], field, held, 5) == []


def length(strokes: list[Points]) -> float:
    return sum(float(np.hypot(*np.diff(stroke, axis=0).T).sum()) for stroke in strokes)


# The whole


@cache
def portrait(words: str) -> Picture:
    return methods.chosen(words).drawn(Photograph(astronaut()), A5)  # type: ignore[attr-defined]  # a tone method


def test_a_drawn_face_is_still_a_face_to_a_detector_that_took_no_part():
    picture = portrait("portrait")
    grey = 1 - inked(list(picture.drawing), (picture.width_mm, picture.height_mm), pen_mm=0.5, pixel_mm=0.4)
    boxes = other_detector(ndimage.gaussian_filter(grey, 1.0), 90)
    assert any(box["width"] > 90 for box in boxes)


def test_the_background_is_left_out_unless_it_is_wanted():
    def in_the_corner(words: str) -> float:
        picture = portrait(words)
        ink = inked(list(picture.drawing), (picture.width_mm, picture.height_mm), pen_mm=0.5, pixel_mm=0.5)
        return float(ink[: len(ink) // 8, : ink.shape[1] // 8].mean())

    assert in_the_corner("portrait") < 0.01 < in_the_corner("portrait:background=keep")


def test_the_edge_of_a_pale_head_is_drawn_where_nothing_else_shows_it():
    pen_mm, radius_mm = 0.5, 20.0
    side = round(60 * PIXELS_PER_PEN / pen_mm)
    y, x = (np.indices((side, side)) + 0.5) * 60 / side - 30
    disc = (np.hypot(x, y) < radius_mm).astype(np.float32)
    everywhere, nothing = np.ones_like(disc), np.zeros_like(disc)
    sitter = Sitter(nothing, nothing, everywhere, disc, (), 60.0, 60.0, ())
    turn = np.linspace(0, 2 * np.pi, 200)
    middle, inner = (30 + r * np.column_stack((np.cos(turn), np.sin(turn))) for r in (5.0, radius_mm - 0.6))
    (line,) = edges(sitter, [middle], pen_mm)
    assert np.hypot(*(line - 30).T) == pytest.approx(radius_mm - pen_mm / 2, abs=0.12)
    assert np.hypot(*np.diff(line, axis=0).T).sum() == pytest.approx(2 * np.pi * (radius_mm - pen_mm / 2), rel=0.02)
    assert edges(sitter, [inner], pen_mm) == []
    (half,) = edges(sitter, [inner[:100]], pen_mm)
    assert half[:, 1].max() < 32
    assert edges(replace(sitter, head=nothing), [middle], pen_mm) == []
    assert edges(replace(sitter, person=None), [middle], pen_mm) == []
    assert edges(replace(sitter, person=everywhere), [middle], pen_mm) == []


@settings(max_examples=40)
@given(st.floats(20, 150), st.floats(20, 150))
@example(57.1275, 214.1844)  # whose sides are no whole pixels, each by another share
def test_edges_are_found_at_any_size_of_the_picture(width_mm, height_mm):
    rows, columns = (round(side * PIXELS_PER_PEN / 0.5) for side in (height_mm, width_mm))
    person = np.zeros((rows, columns), dtype=np.float32)
    person[10:-10, 10:-10] = 1.0
    sitter = Sitter(0 * person, 0 * person, 0 * person + 1, person, (), width_mm, height_mm, ())
    (line,) = edges(sitter, [np.array([[width_mm / 2, height_mm / 2]])], 0.5)
    assert (line > 0).all()
    assert (line < (width_mm, height_mm)).all()


def test_auto_takes_a_portrait_for_a_face_that_is_large_enough_on_the_sheet():
    taken = Photograph(astronaut())
    assert choice.choose(taken, A5).method == "portrait"
    assert choice.choose(taken, Wish(room_mm=(10.0, 12.0))).method == "strokes"


def test_dark_clothes_stay_apart_and_are_not_black(monkeypatch):
    rgb, truth, face = sitter(6)
    left, right = (np.s_[255:295, 20:100], np.s_[255:295, 140:220])
    rgb[240:, :120], rgb[240:, 120:] = 0.32, 0.12
    rgb += np.random.default_rng(7).normal(0, 0.02, rgb.shape).astype(np.float32)
    monkeypatch.setattr(faces, "found_in", lambda taken, framing: (face,))
    way = methods.chosen("portrait:frame=whole,background=keep")
    posed = way.posed(Photograph(np.clip(rgb, 0, 1)), Wish(room_mm=(48.0, 60.0)))  # one pixel each
    assert posed.coverage.shape == truth.shape
    pale, dark = posed.coverage[left].mean(), posed.coverage[right].mean()
    assert pale + 0.06 < dark < 0.55


def test_auto_says_how_many_faces_there_are(monkeypatch):
    taken = Photograph(np.random.default_rng(1).random((240, 320, 3), dtype=np.float32))
    several = (a_face(left=40), a_face(left=180))
    for found, words in ((several[:1], "there is a face "), (several, "there are 2 faces, the largest ")):
        monkeypatch.setattr(faces, "found_in", lambda taken, framing, found=found: found)
        chosen = choice.choose(taken, A5)
        assert (chosen.method, chosen.why[: len(words)]) == ("portrait", words)


def test_a_portrait_before_a_white_wall_is_no_flat_picture():
    wall = np.ones((460, 460, 3), dtype=np.float32)
    wall[130:330, 130:330] = astronaut()[20:220, 120:320]
    assert choice.choose(Photograph(wall), A5).method == "portrait"


@settings(max_examples=5)
@given(st.integers(0, 1000))
def test_a_picture_without_a_face_is_drawn_whole_and_says_so(seed):
    grey = ndimage.gaussian_filter(np.random.default_rng(seed).random((60, 80)), 6)
    grey = (grey - grey.min()) / np.ptp(grey)
    taken = Photograph(np.repeat(grey[:, :, None], 3, axis=2).astype(np.float32))
    picture = methods.chosen("portrait").drawn(taken, Wish(room_mm=(40.0, 30.0)))  # type: ignore[attr-defined]  # any method of photographs
    assert (picture.width_mm, picture.height_mm) == pytest.approx((40.0, 30.0))
    assert any("no face" in note for note in picture.warnings)


# Fewer lines


@given(share=st.floats(0.25, 1.0), seed=st.integers(0, 99))
def test_of_fewer_lines_no_place_becomes_bare_before_the_others(share, seed):
    """A jacket comes after all of the hair, but keeps its share of lines; the most needed strokes stay."""
    rng = np.random.default_rng(seed)
    hair, jacket = rng.uniform([0, 0], [60, 30], (200, 2)), rng.uniform([0, 60], [60, 90], (200, 2))
    strokes = [np.array([place, place + [rng.uniform(2, 6), 0.0]]) for place in (*hair, *jacket)]
    long_mm = np.array([stroke[1, 0] - stroke[0, 0] for stroke in strokes])
    left = thinned(strokes, long_mm, share * long_mm.sum(), 15.0)
    place = {id(stroke): number for number, stroke in enumerate(strokes)}
    kept = np.array([place[id(stroke)] for stroke in left])
    assert (np.diff(kept) > 0).all()
    assert share * long_mm.sum() - 6 <= long_mm[kept].sum() <= share * long_mm.sum() + 1e-9
    assert long_mm[kept[kept < 200]].sum() >= 0.9 * share * long_mm[:200].sum()  # the hair's before the jacket's
    assert long_mm[kept[kept >= 200]].sum() >= 0.2 * share * long_mm[200:].sum()
    assert 0 in kept


@pytest.mark.parametrize("words", ["portrait:frame=whole,kept=0.5", "portrait", "hatching:angle_deg=30", "waves"])
def test_a_way_with_less_ink_is_written_as_it_is_read(words):
    name = words.partition(":")[0]
    paler = methods.chosen(words).with_ink(0.25)
    assert methods.chosen(methods.in_words(name, paler)) == paler
    assert methods.in_words(name, methods.chosen(words)) == words


# Small faces


def error(wanted: np.ndarray, lines: list[Points]) -> float:
    """The squared error, seen through the blur, of lines on the grid of the dabs."""
    pen = dabs.PIXELS_PER_PEN
    rows, columns = wanted.shape
    ink = inked(lines, (columns, rows), pen_mm=pen, pixel_mm=1.0)
    return float((ndimage.gaussian_filter(ink - wanted, dabs.BLUR_PENS * pen) ** 2).sum())


def test_dabs_are_laid_where_a_dab_is_wanted_and_nowhere_else():
    place = np.array([[20.0, 34.0], [38.0, 24.0]])
    wanted = inked([place], (60.0, 50.0), pen_mm=dabs.PIXELS_PER_PEN, pixel_mm=1.0)
    everywhere = np.ones(wanted.shape, dtype=bool)
    lines = dabs.dabs(wanted, everywhere)
    assert np.abs(np.sort(lines[0][[0, -1], 0]) - place[:, 0]).max() < 1.5
    assert error(wanted, lines) < 0.02 * error(wanted, [])
    assert dabs.dabs(np.zeros_like(wanted), everywhere) == []
    assert dabs.dabs(wanted, ~everywhere) == []


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 1000))
def test_every_dab_brings_the_drawing_nearer(seed):
    spots = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(48, 60)), 4)
    wanted = (spots > 0.03).astype(np.float32)
    lines = dabs.dabs(wanted, np.ones(wanted.shape, dtype=bool))
    whole = error(wanted, lines)
    assert whole < 0.35 * error(wanted, [])
    assert all(error(wanted, lines[:i] + lines[i + 1 :]) > whole for i in range(0, len(lines), 3))


@pytest.mark.parametrize("light", [1.0, 0.35])
def test_skin_is_paper_and_features_are_solid_whatever_the_skin(light):
    face = a_face(40, 30, 80, 104)
    grey = np.full((180, 160), 0.8, dtype=np.float32)
    features = (*face.eyes, tuple(np.mean(face.mouth, axis=0)))
    for x, y in features:
        grey[int(y) - 4 : int(y) + 4, int(x) - 8 : int(x) + 8] = 0.2
    wanted = small_faces.two_tones(light * grey, face)
    assert all(wanted[int(y), int(x)] > 0.9 for x, y in features)
    assert wanted[100, 80] < 0.05
    assert wanted[40, 80] < 0.05


def test_the_edge_of_a_person_is_drawn_and_the_edge_of_the_picture_is_not():
    person_mask = np.zeros((60, 60), dtype=np.float32)
    person_mask[20:, 15:45] = 1.0
    at = small_faces.rim(person_mask)
    assert at[22, 30] == at[40, 17] == at[40, 42] == 1
    assert at[40, 30] == at[10, 30] == at[59, 30] == 0


def test_a_small_face_at_the_rim_stays_on_the_picture_and_a_passer_by_who_is_left_out_has_none():
    grey = np.tile(np.repeat([0.1, 0.9], 6), (60, 5)).astype(np.float32)
    face = a_face(-10, -10, 40, 50)
    lines, inside = small_faces.drawn(grey, None, (face,), 2.5)
    assert lines
    assert inside[5, 5] == 1
    assert inside[5, 55] == 0
    assert small_faces.drawn(grey, 0 * grey, (face,), 2.5)[0] == []
    assert small_faces.drawn(grey, None, (face.moved(-300, 0, 1.0),), 2.5)[0] == []


def test_a_small_face_in_a_whole_figure_is_still_a_face_to_a_detector_that_took_no_part():
    figure = np.pad(astronaut(), ((60, 120), (100, 100), (0, 0)), mode="edge")
    picture = methods.chosen("portrait:frame=whole").drawn(Photograph(figure), Wish(room_mm=(72.0, 74.0)))  # type: ignore[attr-defined]  # a tone method
    size = (picture.width_mm, picture.height_mm)
    grey = 1 - inked(list(picture.drawing), size, pen_mm=0.5, pixel_mm=0.125)
    boxes = other_detector(ndimage.gaussian_filter(grey, 1.0), 70)
    assert any(box["width"] < 200 and box["r"] < grey.shape[0] / 2 for box in boxes)
