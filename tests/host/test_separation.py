"""Colour separation: the model of mixed inks, and its inversion."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from host.photographs import hills
from linewright.drawing.strokes import Pen
from linewright.errors import InputError
from linewright.sources import methods
from linewright.sources.pens import read_pens
from linewright.sources.photograph import Photograph
from linewright.sources.picture import Wish
from linewright.sources.preparation import linear
from linewright.sources.separation import predicted, separated

INKS = (Pen("black", "#101010"), Pen("cyan", "#1a9cc7"), Pen("magenta", "#d13a8a"), Pen("yellow", "#f6d21f"))


def rgb_of(pen: Pen) -> np.ndarray:
    return np.array([int(pen.colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def test_mixtures_are_those_of_neugebauer_with_demichels_weights():
    """The sum over all 2^n overlaps by their shares of paper, written out (Demichel 1924, Neugebauer 1937)."""
    inks = np.array([rgb_of(pen) for pen in INKS])
    light = linear(inks.astype(np.float32)).astype(float)
    for cover in np.random.default_rng(1).random((20, 4)):
        total = np.zeros(3)
        for which in itertools.product((0, 1), repeat=4):
            weight = np.prod([c if w else 1 - c for c, w in zip(cover, which, strict=True)])
            total += weight * np.prod([light[i] if w else np.ones(3) for i, w in enumerate(which)], axis=0)
        mixed = predicted(cover, inks, true_tone=True)
        assert linear(mixed.astype(np.float32)) == pytest.approx(total, abs=2e-5)


def test_one_ink_is_murray_and_davies():
    """Reflectance a R_ink + (1 - a) R_paper (Murray 1936)."""
    ink = np.array([[0.0, 0.0, 0.0]])
    for cover in (0.0, 0.3, 0.8, 1.0):
        mixed = predicted(np.array([cover]), ink, true_tone=True)
        assert linear(mixed.astype(np.float32)) == pytest.approx(1 - cover, abs=1e-5)


@pytest.mark.parametrize("true_tone", [True, False])
def test_what_pens_can_mix_comes_back(true_tone):
    inks = np.array([rgb_of(pen) for pen in INKS])
    covers = np.random.default_rng(2).random((1, 200, 4)) * [0.6, 0.7, 0.7, 0.7]
    wanted = predicted(covers, inks, true_tone=true_tone)
    found = np.stack(separated(wanted.astype(np.float32), INKS, true_tone=true_tone), axis=-1)
    got = predicted(found.astype(float), inks, true_tone=true_tone)
    difference = deltaE_ciede2000(rgb2lab(wanted), rgb2lab(got))
    # At a difference of five, two adjacent colours are clearly different; mixtures on paper are viewed from a distance.
    assert np.median(difference) < 2.5
    assert np.quantile(difference, 0.95) < 6


def test_paper_stays_bare_and_a_pens_own_colour_is_that_pen():
    patches = np.array([[[1.0, 1.0, 1.0], *(rgb_of(pen) for pen in INKS)]], dtype=np.float32)
    found = np.stack(separated(patches, INKS, true_tone=False), axis=-1)[0]
    assert found[0].max() == 0.0
    for i in range(4):
        assert found[i + 1, i] > 0.75
        assert np.delete(found[i + 1], i).max() < 0.3


@pytest.mark.parametrize("count", [2, 3, 5, 8, 24])
def test_any_number_of_pens(count):
    rng = np.random.default_rng(count)
    pens = tuple(Pen(f"p{i}", "#" + "".join(f"{v:02x}" for v in rng.integers(0, 220, 3))) for i in range(count))
    layers = separated(rng.random((5, 6, 3)).astype(np.float32), pens, true_tone=False)
    assert len(layers) == count
    assert all(((one >= 0) & (one <= 1)).all() for one in layers)


def test_a_photograph_becomes_one_layer_for_each_pen_all_on_one_page():
    grey = hills(1)
    rgb = np.stack((grey, np.roll(grey, 9, axis=1), grey[::-1]), axis=2).astype(np.float32)
    pens = read_pens("night #101030 0.6, sea teal, rust #b3502a 0.4")
    picture = methods.chosen("hatching:contrast=none").drawn(Photograph(rgb), Wish(room_mm=(60.0, 45.0), pens=pens))
    drawing = picture.drawing
    assert {pen.name for pen in drawing.pens} == {"night", "sea", "rust"}
    assert [pen.name for pen in drawing.pens][-1] == "night", "the darkest pen comes last"
    assert set(np.unique(drawing.pen)) == {0, 1, 2}
    assert (drawing.points_mm <= [picture.width_mm, picture.height_mm]).all()


# Sets of pens


def test_pens_on_one_line():
    pens = read_pens("black, sea #1F6F8B 0.3, red 0.7mm, pale blue #aaccff 0.4 mm, #123456")
    assert pens == (
        Pen("black", "#000000"), Pen("sea", "#1f6f8b", 0.3), Pen("red", "#ff0000", 0.7),
        Pen("pale blue", "#aaccff", 0.4), Pen("#123456", "#123456"),
    )  # fmt: skip


def test_pens_of_a_file(tmp_path):
    path = tmp_path / "pens.toml"
    path.write_text('[[pen]]\nname = "sea"\ncolour = "teal"\nwidth_mm = 0.3\n[[pen]]\ncolour = "#ff8800"\n')
    assert read_pens(str(path)) == (Pen("sea", "#008080", 0.3), Pen("#ff8800", "#ff8800"))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", "0 pens"),
        (",,", "0 pens"),
        ("blakc", "'blakc' is no colour"),
        ("red 0.001", "outside 0.05..30 mm"),
        ("red 99", "outside 0.05..30 mm"),
        ("red, red", "two pens are called 'red'"),
        (", ".join(f"p{i} #0000{i:02x}" for i in range(25)), "25 pens"),
        ("missing.toml", "cannot read the pens"),
    ],
)
def test_wrong_sets_of_pens_are_refused_in_words(words, said):
    with pytest.raises(InputError, match=said) as refused:
        read_pens(words)
    assert refused.value.hint


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("pen = 3", "no \\[\\[pen\\]\\]"),
        ("[[pen]]\nname = 'x'", "has no colour"),
        ("[[pen]]\ncolour = 'red'\nwide = 3", "wide is not known"),
        ("[[pen]]\ncolour = 'red'\nwidth_mm = 'thick'", "is not a number"),
        ("[[pen]]\ncolour = 'red'\nwidth_mm = true", "is not a number"),
        ("[[pen", "not valid TOML"),
        ("\x00\xff", "not valid TOML"),
        ("x" * 70_000, "larger than"),
    ],
)
def test_wrong_files_of_pens_are_refused_in_words(tmp_path, text, said):
    path = tmp_path / "pens.toml"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match=said):
        read_pens(str(path))
