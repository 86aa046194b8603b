"""Which method suits a picture, and why: line art, flat colours, or a photograph."""

from __future__ import annotations

import weakref
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from linewright.sources import faces, photograph
from linewright.sources.memory import PHOTOGRAPHS
from linewright.sources.photograph import Photograph
from linewright.sources.picture import Picture, Wish
from linewright.sources.preparation import LUMA, Preparation

if TYPE_CHECKING:
    from linewright.sources.tone.method import ToneMethod

FACE_PENS: Final = 14.0
"""Width of a face, in pens, from which on a portrait shows more of it than tones do: eyes and mouth are then two pens
high. By trial on groups."""

LOOK_PX: Final = 500
"""Longer side of the small copy that is looked at."""

TWO_TONED: Final = 0.9
"""Share of the variance of a picture that two tones explain, above which it is black and white (Otsu 1979, eta)."""

LINE_SHARE: Final = 0.25
"""Ink covers no more of a sheet of line art than this; more are shapes."""

LINE_PX: Final = 4.0
"""Half the width of lines of line art in the small copy: wider ones are shapes."""

FLAT_SHARE: Final = 0.8
"""Share of pixels whose neighbours are exactly alike; noise and shading of photographs leave less than a third."""

ALIKE: Final = 2 / 255
"""Steps of an 8-bit picture that compression leaves in flat colours."""


@dataclass(frozen=True)
class MethodChoice:
    """A method with its settings, and the reason in words."""

    method: str
    why: str


@dataclass(frozen=True)
class Automatic(Preparation):
    """Looks at the picture and takes what suits it; says what and why."""

    def read(self, source: str, wish: Wish) -> Picture:
        """The strokes of the method chosen; an SVG keeps its own lines."""
        from linewright.sources.tone.method import needs_extra

        if Path(source).is_file() and not photograph.looks_like_one(Path(source)):
            from linewright.sources.drawing_files import read_drawing

            picture = read_drawing(source, wish)
            return replace(picture, warnings=("its own lines: it is a drawing and no photograph", *picture.warnings))
        needs_extra()
        wish.report("reading", 0.0)
        taken = photograph.load(source)
        way, choice = self.way(taken, wish)
        picture = way.drawn(taken, wish, source)
        return replace(picture, warnings=(f"{choice.method}: {choice.why}", *picture.warnings))

    def way(self, taken: Photograph, wish: Wish) -> tuple[ToneMethod, MethodChoice]:
        """The method for a photograph, with what was said about preparation; and the choice in words."""
        from linewright.sources import methods
        from linewright.sources.tone.method import ToneMethod

        key = ("choice", weakref.ref(taken), self.crop, self.turned_deg, wish.room_mm, wish.turn_deg, wish.one_pen_mm())
        choice = PHOTOGRAPHS.recall(key, lambda: choose(replace(taken, rgb=self.framed(taken.rgb)), wish))
        way = methods.chosen(choice.method)
        if not isinstance(way, ToneMethod):
            raise TypeError(f"{choice.method} is not for photographs")
        usual = Preparation()
        said = {f.name: getattr(self, f.name) for f in fields(Preparation)}
        return replace(way, **{k: v for k, v in said.items() if v != getattr(usual, k)}), choice


def choose(taken: Photograph, wish: Wish) -> MethodChoice:
    """The method for a picture on a sheet."""
    from scipy import ndimage
    from skimage.filters import threshold_otsu

    step = max(1, max(taken.rgb.shape[:2]) // LOOK_PX)
    rgb = taken.rgb[::step, ::step]
    grey = rgb @ LUMA
    if np.ptp(grey) < 1 / 255:
        return MethodChoice("hatching", "the picture is of one tone")
    level = threshold_otsu(grey)
    ink = grey <= level
    share = float(ink.mean())
    between = share * (1 - share) * (float(grey[ink].mean()) - float(grey[~ink].mean())) ** 2
    explained = between / float(grey.var())
    if explained > TWO_TONED and share < LINE_SHARE:
        depth = ndimage.distance_transform_edt(ink)
        ridge = depth[(depth == ndimage.maximum_filter(depth, size=3)) & ink]
        if float(np.quantile(ridge, 0.9)) <= LINE_PX:
            return MethodChoice(
                "centre-lines:background=even",
                f"line art: two tones explain {explained:.0%} of it, and its lines are thin",
            )
    across = np.abs(np.diff(rgb, axis=1)).max(axis=2)[:-1] <= ALIKE
    down = np.abs(np.diff(rgb, axis=0)).max(axis=2)[:, :-1] <= ALIKE
    flat = float((across & down).mean())
    if flat > FLAT_SHARE and not _is_gradient(grey):
        return MethodChoice("areas", f"flat colours: {flat:.0%} of its pixels are like their neighbours")
    people = faces.found(taken.rgb)
    if people:
        left, top, right, bottom = faces.frame(people, (taken.rgb.shape[1], taken.rgb.shape[0]), "auto")
        on_paper = wish.fitted_mm(right - left, bottom - top)[0] / (right - left)
        pens = people[0].width * on_paper / wish.one_pen_mm()
        if pens >= FACE_PENS:
            count = len(faces.worth_showing(people))
            what = "a face" if count == 1 else f"{count} faces, the largest"
            return MethodChoice("portrait", f"there is {what} {pens:.0f} pens wide on the sheet")
    return MethodChoice("cross-hatching:form=1", "a photograph: its tones change from place to place")


def _is_gradient(grey: np.ndarray[tuple[int, ...], np.dtype[np.float32]]) -> bool:
    """Whether tones change smoothly over the whole: more levels are in use than flat colours have."""
    counts = np.bincount(np.round(grey * 255).astype(np.int64).ravel(), minlength=256)
    in_use = np.sort(counts)[::-1].cumsum() / counts.sum()
    return bool(int(np.searchsorted(in_use, 0.9)) + 1 > GRADIENT_LEVELS)


GRADIENT_LEVELS: Final = 24
"""Grey levels that make up nine tenths of a picture: flat colours, as many as there are pens to buy in a box."""
