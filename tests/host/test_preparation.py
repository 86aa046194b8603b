"""Preparation of photographs: cropping, rotation, evening out, contrast."""

from __future__ import annotations

import numpy as np
import pytest
from skimage import data
from skimage.color import rgb2gray

from host.photographs import hills
from linewright.sources.preparation import Preparation, linear


def rgb_of(grey: np.ndarray) -> np.ndarray:
    return np.repeat(np.asarray(grey, dtype=np.float32)[:, :, None], 3, axis=2)


def test_cropping_keeps_the_part_named_and_comes_after_turning():
    grey = np.arange(200.0).reshape(10, 20) / 200
    kept = Preparation(crop="50/20/25/50").framed(rgb_of(grey))
    assert kept[:, :, 0] == pytest.approx(grey[2:7, 10:15])
    turned = Preparation(turned_deg=90).framed(rgb_of(grey))
    assert turned.shape[:2] == (20, 10)
    assert turned[0, -1, 0] == pytest.approx(grey[0, 0])  # the top left corner goes to the top right


def test_uneven_light_on_paper_is_taken_out_and_ink_stays():
    y, x = np.mgrid[:200, :300]
    light = 0.45 + 0.5 * x / 300
    ink = (np.abs(x % 40 - 20) < 2) & (y > 20)
    even = Preparation(background="even", contrast="none").prepared(rgb_of(np.where(ink, 0.15, 1.0) * light))[:, :, 0]
    paper = even[~ink]
    assert np.quantile(paper, 0.02) > 0.85
    assert even[ink].max() < 0.3


def test_what_joins_the_rim_becomes_paper_and_what_it_encloses_does_not():
    grey = np.full((80, 100), 0.6)
    grey[20:60, 30:70] = 0.1
    grey[35:45, 45:55] = 0.6  # the same tone, enclosed
    clear = Preparation(background="clear", contrast="none").prepared(rgb_of(grey))[:, :, 0]
    assert clear[5:15, 5:95].min() > 0.99
    assert clear[40, 35] < 0.15
    assert clear[40, 50] == pytest.approx(0.6, abs=0.05)


def test_clearing_says_what_it_cleared_or_that_it_could_not():
    grey = np.full((80, 100), 0.6)
    grey[20:60, 30:70] = 0.1
    assert Preparation().said(rgb_of(grey)) == ()
    clear = Preparation(background="clear")
    assert clear.said(rgb_of(grey)) == ("background=clear has made 78% of the picture paper",)  # 80, less its soft rim
    grey[60:, 30:70] = 0.1  # now it reaches the rim: 40 of its 360 pixels, and their soft sides
    assert "12% of the rim looks different" in clear.said(rgb_of(grey))[0]
    noise = np.random.default_rng(1).random((8, 10, 3)).repeat(10, 0).repeat(10, 1).astype(np.float32)
    assert "cleared nothing" in clear.said(noise)[0]
    assert "hardly anything is left" in clear.said(rgb_of(np.full((80, 100), 0.6)))[0]


@pytest.mark.parametrize("contrast", ["adaptive", "stretch", "none"])
def test_no_contrast_leaves_the_range_or_moves_white_paper(contrast):
    for grey in (hills(1), 0.4 + 0.2 * hills(2), np.ones((40, 40)), np.zeros((40, 40))):
        done = Preparation(contrast=contrast).prepared(rgb_of(grey))
        assert 0 <= done.min() <= done.max() <= 1
    assert Preparation(contrast=contrast).prepared(rgb_of(np.ones((40, 40)))).min() == 1.0


def test_stretching_a_pale_picture_reaches_black_and_white():
    done = Preparation(contrast="stretch").prepared(rgb_of(0.4 + 0.2 * hills(2)))
    assert (float(done.min()), float(done.max())) == pytest.approx((0.0, 1.0), abs=0.01)


def test_true_tone_is_the_light_that_is_missing_and_gentle_tone_the_grey():
    """18 % reflectance is the middle grey of photography, and 50 in CIE L*; sRGB encodes it as 118 of 255."""
    grey = rgb_of(np.full((2, 2), 118 / 255))
    assert Preparation(tone="true").coverage(grey) == pytest.approx(1 - 0.18, abs=0.003)
    assert Preparation(tone="gentle").coverage(grey) == pytest.approx(1 - 118 / 255, abs=1e-6)
    assert Preparation(darkest=0.5).coverage(rgb_of(np.zeros((2, 2)))) == pytest.approx(0.5)


def test_grey_is_that_of_scikit_image():
    """Both by ITU-R BT.709; scikit-image rounds the weights to 0.2125, 0.7154, 0.0721."""
    picture = (data.astronaut()[::8, ::8] / 255).astype(np.float32)
    assert 1 - Preparation().coverage(picture) == pytest.approx(rgb2gray(picture), abs=5e-4)
    assert linear(np.array([0.0, 0.04045, 0.5, 1.0], np.float32)) == pytest.approx([0, 0.0031308, 0.21404, 1], abs=1e-5)
