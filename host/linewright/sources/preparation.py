"""Preparation of a photograph: crop, rotation, background, contrast."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.errors import InputError
from linewright.sources import paper, settings
from linewright.sources.blur import blurred

if TYPE_CHECKING:
    from linewright.sources.photograph import Floats32

LUMA: Final = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
"""Weights of red, green and blue in luma (ITU-R BT.709, the primaries of sRGB)."""

PALEST: Final = 0.1
"""Smallest allowed coverage of the darkest parts."""

ADAPTIVE_CLIP: Final = 0.006
"""Clip limit of the local histograms. Chosen by eye on our demo photographs: 0.01 and more shows noise in skies, 0.003
has little effect."""

ADAPTIVE_SHARE: Final = 0.4
"""Share of the equalised picture in the result. By eye: with 1 the corners of its tiles show in even skies."""

EDGE_REACH: Final = 0.012
EDGE_GAIN: Final = 0.7
"""Gain of the unsharp mask, and its radius as a share of the longer side. By eye: a white bird on mist needs it to be
visible; more leaves halos."""

STRETCH: Final = (0.002, 0.998)
"""Quantiles mapped to black and white, so that a few hot pixels do not decide the range."""

CLEAR_DELTA_E: Final = 12.0
"""CIE 1976 colour difference up to which a pixel connected to the border counts as background: about five times the
just noticeable one (2.3; Mahy, Van Eycken and Oosterlinck 1994), which allows for shading."""

LOOK_PX: Final = 500
"""Longer side of the copy on which the background is found."""

CLEARED_LEAST: Final = 0.02
CLEARED_MOST: Final = 0.97
"""Shares of the picture below which nothing, and above which nearly everything, has been cleared."""

OF_RIM: Final = 0.9
"""Share of the border that is uniform around an object in front of an even background; the object may touch the border
a little."""

BACKGROUNDS: Final = (
    "even: removes uneven light on paper and everything beside the paper; clear: turns the background that touches "
    "the rim into paper"
)


@dataclass(frozen=True)
class Preparation:
    """Settings of every method for photographs."""

    crop: str = settings.text("keep only LEFT/TOP/WIDTH/HEIGHT, per cent of the picture, such as 10/0/80/100")
    turned_deg: int = settings.number("turn the photograph clockwise first, by quarters", 0, 0, 270, "deg")
    contrast: str = settings.choice(
        "adaptive: evens out local contrast and sharpens edges; stretch: full range from black to white; none: "
        "unchanged",
        "adaptive",
        "adaptive",
        "stretch",
        "none",
    )
    background: str = settings.choice(
        BACKGROUNDS,
        "keep",
        "keep",
        "even",
        "clear",
    )
    tone: str = settings.choice(
        "gentle: ink by the darkness of the grey on a screen; true: ink by measured light, which is far more",
        "gentle",
        "gentle",
        "true",
    )
    darkest: float = settings.number(
        "coverage of the darkest parts; less: fewer lines, further apart",
        1.0,
        PALEST,
        1.0,
        also=("spac", "dens", "pitch", "gap", "dist", "spars"),
    )

    @property
    def of_frame(self) -> tuple[object, ...]:
        """The settings that `framed` depends on."""
        return self.crop, self.turned_deg

    @property
    def of_pixels(self) -> tuple[object, ...]:
        """The settings that `framed` and `prepared` depend on."""
        return *self.of_frame, self.contrast, self.background

    def framed(self, rgb: Floats32) -> Floats32:
        """(h, w, 3) float32, rotated and cropped by the settings."""
        if self.turned_deg % 90:
            raise InputError(f"turned_deg = {self.turned_deg} is not a multiple of 90", hint="use 0, 90, 180 or 270")
        rgb = np.rot90(rgb, -self.turned_deg // 90) if self.turned_deg else rgb
        return _cropped(rgb, self.crop)

    def prepared(self, rgb: Floats32) -> Floats32:
        """(h, w, 3) float32, 0..1, encoded, of a framed photograph: background and contrast by the settings."""
        if self.background == "clear":
            rgb = _cleared(rgb)
        elif self.background == "even":
            rgb = paper.evened(rgb, LUMA)
        if self.contrast == "none":
            return rgb
        grey = rgb @ LUMA
        wanted = _stretched(grey)
        if self.contrast == "adaptive":
            wanted = _adapted(wanted)
        # Keep the hue: all three channels shift like the grey.
        return np.clip(rgb + (wanted - grey)[:, :, None], 0.0, 1.0)

    def said(self, rgb: Floats32) -> tuple[str, ...]:
        """Remarks on preparing a framed photograph: what ``background=clear`` removes."""
        if self.background != "clear":
            return ()
        step = max(1, max(rgb.shape[:2]) // LOOK_PX)
        cleared, of_rim = _background(rgb[::step, ::step])
        share = float(cleared.mean())
        if share < CLEARED_LEAST:
            return ("background=clear has cleared nothing: the rim is not of one colour; crop the picture first",)
        words = f"background=clear has made {share:.0%} of the picture paper"
        if of_rim < OF_RIM:
            return (f"{words}; {1 - of_rim:.0%} of the rim looks different and is kept",)
        return (words if share < CLEARED_MOST else f"{words}: hardly anything is left to draw",)

    def coverage(self, rgb: Floats32) -> Floats32:
        """(h, w) float32, 0..1: the share of paper to be covered with ink.

        Paper reflects all light, ink none, and the eye averages both (Murray and Davies 1936): coverage is 1 -
        luminance, which is ``true``. That needs far more ink than looks good, because a grey that looks half as light
        reflects a fifth; ``gentle`` uses 1 - encoded grey, close to 1 - L*/100.
        """
        grey = (linear(rgb) if self.tone == "true" else rgb) @ LUMA
        return np.asarray(np.clip(1.0 - grey, 0.0, 1.0) * np.float32(self.darkest), dtype=np.float32)


def linear(rgb: Floats32) -> Floats32:
    """Linear light of encoded sRGB values, 0..1 (IEC 61966-2-1)."""
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4).astype(np.float32)


def lightness(colour: str) -> float:
    """Luma of ``#rrggbb``, encoded, 0..1."""
    return float(np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]) @ LUMA)


def _cropped(rgb: Floats32, words: str) -> Floats32:
    if not words:
        return rgb
    wrong = InputError(
        f"crop = {words} is not within the picture",
        hint="write LEFT/TOP/WIDTH/HEIGHT in per cent, such as 10/0/80/100; all of it lies within 0..100",
    )
    try:
        left, top, width, height = (float(part) / 100 for part in words.split("/"))
    except ValueError:
        raise wrong from None
    if not (min(left, top) >= 0 and min(width, height) > 0 and left + width <= 1 and top + height <= 1):
        raise wrong
    rows, columns = rgb.shape[:2]
    y0, x0 = min(int(top * rows), rows - 1), min(int(left * columns), columns - 1)
    y1, x1 = max(y0 + 1, round((top + height) * rows)), max(x0 + 1, round((left + width) * columns))
    return rgb[y0:y1, x0:x1]


def _stretched(grey: Floats32) -> Floats32:
    low, high = np.quantile(grey[:: max(1, grey.shape[0] // 1000), :: max(1, grey.shape[1] // 1000)], STRETCH)
    if high - low < 1 / 255:  # uniform: nothing to stretch, and white must stay white
        return grey
    return np.asarray(np.clip((grey - low) / (high - low), 0.0, 1.0), dtype=np.float32)


def _adapted(grey: Floats32) -> Floats32:
    """Contrast-limited adaptive histogram equalisation (Zuiderveld, in Graphics Gems IV, 1994), and unsharp masking."""
    if min(grey.shape) < 16 or np.ptp(grey) < 1 / 255:
        return grey
    from skimage.exposure import equalize_adapthist

    adapted = np.asarray(equalize_adapthist(grey, clip_limit=ADAPTIVE_CLIP), dtype=np.float32)
    even = grey + np.float32(ADAPTIVE_SHARE) * (adapted - grey)
    # Lines do not show edges by themselves, so the darker side of an edge is darkened and the lighter one lightened.
    soft = blurred(even, EDGE_REACH * max(grey.shape))
    return np.asarray(np.clip(even + np.float32(EDGE_GAIN) * (even - soft), 0.0, 1.0), dtype=np.float32)


def _cleared(rgb: Floats32) -> Floats32:
    """Make white what is connected to the border and hardly differs from it."""
    from scipy import ndimage

    soft = ndimage.gaussian_filter(_background(rgb)[0].astype(np.float32), 1.0)[:, :, None]
    return np.asarray(rgb * (1 - soft) + soft, dtype=np.float32)


def _background(rgb: Floats32) -> tuple[NDArray[np.bool_], float]:
    """(h, w) mask of what is connected to the border and hardly differs from it; and the uniform share of the
    border.
    """
    from scipy import ndimage
    from skimage.color import rgb2lab

    lab = rgb2lab(ndimage.gaussian_filter(rgb, (1, 1, 0)))
    rim = np.concatenate((lab[0], lab[-1], lab[:, 0], lab[:, -1]))
    alike = np.linalg.norm(lab - np.median(rim, axis=0), axis=2) < CLEAR_DELTA_E
    labels, _ = ndimage.label(alike)
    around = np.concatenate((labels[0], labels[-1], labels[:, 0], labels[:, -1]))
    return np.isin(labels, np.unique(around[around > 0])), float((around > 0).mean())
