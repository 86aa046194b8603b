"""Selects a method for a picture, with the reason: line art, flat colours, or a photograph."""

from __future__ import annotations

import contextlib
import weakref
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np

from linewright.sources import faces, paper, photograph
from linewright.sources.memory import PHOTOGRAPHS
from linewright.sources.photograph import Floats32, Photograph
from linewright.sources.picture import Picture, Report, Wish
from linewright.sources.preparation import LUMA, Preparation
from linewright.sources.side_by_side import both

if TYPE_CHECKING:
    from collections.abc import Callable

    from linewright.sources.tone.method import ToneMethod

T = TypeVar("T")

TAKES: Final = "auto takes "
"""Start of the sentence that reports the selected method."""

PORTRAIT: Final = "portrait"
"""The method that prepares photographs in its own way."""

FACE_PENS: Final = 14.0
"""Width of a face, in pens, above which a portrait shows more of it than tones do: eyes and mouth are then two pens
high. Found by trial on groups."""

LOOK_PX: Final = 800
"""Longer side of the reduced copy that is examined."""

BARE: Final = 0.72
"""Smallest share of bare paper in line art."""

INKED: Final = 0.1
"""Coverage above which a pixel is not bare."""

LINE_SHARE: Final = 0.25
"""Largest share of ink in line art; with more there are filled shapes."""

LINE_PX: Final = 6.0
"""Largest half width of lines in the reduced copy; wider ones are shapes."""

SHARP: Final = 0.6
"""Step across a pixel at the edge of ink, relative to the darkness of the ink: pen lines have 0.7 and more in the
reduced copy, dark objects in a scene less than 0.5 (on the pictures of scikit-image and our own)."""

PAGE_LEAST: Final = 0.4
"""Smallest share of the picture for paper on a table."""

LIGHT_LEAST: Final = 0.4
"""Darkest light on a paper, relative to the brightest: larger changes mean a scene."""

FLAT_SHARE: Final = 0.7
"""Share of pixels like their neighbours in flat colours; noise and shading of photographs leave less than a third."""

ALIKE: Final = 5 / 255
"""Steps between neighbours left by compression in flat colours, in the reduced copy."""

COLOURS: Final = 12
SPREAD: Final = 4
FEW_TONES: Final = 0.9
"""Flat colours: at most this many tones, each within this many grey levels on either side, and together this share of
all even pixels. Together they cover at most a third of the range of tones, which shading exceeds."""


class _InVain(Exception):
    """Stops a preparation that the selected method does not use."""


@dataclass(frozen=True)
class MethodChoice:
    """A method with its settings, and the reason in words."""

    method: str
    why: str


@dataclass(frozen=True)
class Automatic(Preparation):
    """Selects the method that suits the picture, and reports it with the reason."""

    def read(self, source: str, wish: Wish) -> Picture:
        """The strokes by the selected method; an SVG keeps its own lines."""
        from linewright.sources.tone.method import needs_extra

        if not photograph.looks_like_one(Path(source)):
            from linewright.sources.drawing_files import read_drawing

            picture = read_drawing(source, wish)
            why = f"{TAKES}its own lines: it is a drawing and no photograph"
            return replace(picture, warnings=(why, *picture.warnings))
        needs_extra()
        wish.report("reading", 0.0)
        taken = photograph.load(source)
        way, choice = self.way(taken, wish, source)
        picture = way.drawn(taken, wish, source)
        return replace(picture, warnings=(f"{TAKES}{choice.method}: {choice.why}", *picture.warnings))

    def way(self, taken: Photograph, wish: Wish, source: str = "the picture") -> tuple[ToneMethod, MethodChoice]:
        """The method for a photograph, with remarks of its preparation, and the choice in words.

        The photograph is prepared in parallel, as all methods but the portrait need it.
        """
        return self._while_prepared(taken, wish, source, lambda way, choice, _report: (way, choice))

    def glimpsed(self, taken: Photograph, wish: Wish, wide: Wish, source: str) -> Picture:
        """A first look: the strokes for a wish with wider pens, while the photograph is prepared for the right ones."""

        def look(way: ToneMethod, _choice: MethodChoice, report: Report) -> Picture:
            return way.drawn(taken, replace(wide, report=report), source)

        return self._while_prepared(taken, wish, source, look)

    def _while_prepared(
        self, taken: Photograph, wish: Wish, source: str, then: Callable[[ToneMethod, MethodChoice, Report], T]
    ) -> T:
        """What ``then`` makes with the method that suits the photograph, while the photograph is prepared."""
        from linewright.sources.tone.method import ToneMethod

        said = {f.name: getattr(self, f.name) for f in fields(Preparation)}
        other_way = False

        def chosen(report: Report) -> T:
            nonlocal other_way
            choice = self._choice(taken, replace(wish, report=report))
            other_way = choice.method == PORTRAIT
            return then(self._method(choice), choice, report)

        def prepared(report: Report) -> None:
            def unless_in_vain(doing: str, done: float) -> None:
                if other_way:
                    raise _InVain
                report(doing, done)

            with contextlib.suppress(_InVain):
                ToneMethod(**said).on_sheet(taken, replace(wish, report=unless_in_vain), source)

        return both(chosen, prepared, wish.report)[0]

    def _choice(self, taken: Photograph, wish: Wish) -> MethodChoice:
        """`choose`, remembered."""
        key = ("choice", weakref.ref(taken), self.crop, self.turned_deg, wish.room_mm, wish.turn_deg, wish.one_pen_mm())
        wish.report("looking at the photograph", 0.0)
        return PHOTOGRAPHS.recall(key, lambda: choose(taken, wish, self))

    def _method(self, choice: MethodChoice) -> ToneMethod:
        """The method of a choice, prepared as the settings say."""
        from linewright.sources import methods
        from linewright.sources.tone.method import ToneMethod

        way = methods.chosen(choice.method)
        if not isinstance(way, ToneMethod):
            raise TypeError(f"{choice.method} is not for photographs")
        usual = Preparation()
        own = {f.name: getattr(self, f.name) for f in fields(Preparation)}
        return replace(way, **{name: value for name, value in own.items() if value != getattr(usual, name)})


def choose(taken: Photograph, wish: Wish, framing: Preparation | None = None) -> MethodChoice:
    """Select the method for a picture on a sheet.

    Parameters
    ----------
    framing : its settings rotate and crop the picture before; None: not rotated or cropped.
    """
    framing = framing or Preparation()
    whole = framing.framed(taken.rgb)
    rgb = _smaller(whole)
    grey = rgb @ LUMA
    if np.ptp(grey) < 1 / 255:
        return MethodChoice("hatching", "the picture is of one tone")
    (bare, flat), people = both(
        lambda _: (_line_art(rgb), _flat(grey)), lambda _: faces.found_in(taken, framing), wish.report
    )
    if bare:
        return MethodChoice("centre-lines", f"line art: {bare:.0%} of it is bare paper, and its lines are thin")
    # Before flat colours, because a portrait in front of a white or blurred wall is flat in most pixels, too.
    if people:
        left, top, right, bottom = faces.frame(people, (whole.shape[1], whole.shape[0]), "auto")
        on_paper = wish.fitted_mm(right - left, bottom - top)[0] / (right - left)
        pens = people[0].width * on_paper / wish.one_pen_mm()
        if pens >= FACE_PENS:
            count = len(faces.worth_showing(people))
            what = "is a face" if count == 1 else f"are {count} faces, the largest"
            return MethodChoice(PORTRAIT, f"there {what} {pens:.0f} pens wide on the sheet")
    if flat > FLAT_SHARE:
        return MethodChoice("areas", f"flat colours: {flat:.0%} of its pixels are like their neighbours")
    return MethodChoice("strokes", "a photograph without a large face: its tones change from place to place")


def _smaller(rgb: Floats32) -> Floats32:
    """A reduced copy by averaging, which removes grain and compression artefacts."""
    import cv2

    scale = min(1.0, LOOK_PX / max(rgb.shape[:2]))
    size = max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale))
    return np.asarray(cv2.resize(np.ascontiguousarray(rgb), size, interpolation=cv2.INTER_AREA), dtype=np.float32)


_AROUND: Final = np.ones((3, 3), dtype=np.uint8)
"""A pixel and its neighbours."""


def _steps(grey: Floats32) -> Floats32:
    """Difference between the darkest and the lightest of each pixel and its neighbours."""
    import cv2

    return np.asarray(cv2.dilate(grey, _AROUND) - cv2.erode(grey, _AROUND), dtype=np.float32)


def _line_art(rgb: Floats32) -> float:
    """Share of bare paper if a picture is thin ink on paper in any light; 0 otherwise."""
    from scipy import ndimage

    light = paper.light_on(rgb @ LUMA)
    on_page = paper.page(light)
    if on_page.mean() < PAGE_LEAST or np.quantile(light[on_page], 0.05) < LIGHT_LEAST * np.quantile(
        light[on_page], 0.95
    ):
        return 0.0
    cover = np.clip(1.0 - paper.evened(rgb, LUMA, light) @ LUMA, 0.0, 1.0)
    bare = float((cover < INKED)[on_page].mean())
    if bare < BARE:
        return 0.0
    ink = (cover > max(INKED, 5.0 * paper.grain(cover))) & on_page
    if not 0.0 < float(ink[on_page].mean()) < LINE_SHARE:
        return 0.0
    steps = _steps(cover)
    at_edge = ink & ~ndimage.binary_erosion(ink)
    if np.median(steps[at_edge]) < SHARP * np.quantile(cover[ink], 0.9):
        return 0.0
    depth = ndimage.distance_transform_edt(ink)
    ridge = depth[(depth == ndimage.maximum_filter(depth, size=3)) & ink]
    return bare if float(np.quantile(ridge, 0.9)) <= LINE_PX else 0.0


def _flat(grey: Floats32) -> float:
    """Share of pixels like their neighbours if there are few tones; 0 if tones change smoothly.

    Compression spreads each colour by a few levels, so neighbours and tones are compared with tolerances.
    """
    import cv2

    calm = np.asarray(cv2.medianBlur(grey, 3), dtype=np.float32)
    steep = _steps(calm)
    even = np.asarray(cv2.erode((steep <= ALIKE).astype(np.uint8), _AROUND)) > 0
    counts = np.bincount(np.round(calm[even] * 255).astype(np.int64), minlength=256).astype(np.float64)
    if counts.sum() == 0:
        return 0.0
    total, taken = counts.sum(), 0.0
    low, high = np.searchsorted(counts.cumsum() / total, (0.01, 0.99))
    most = min(COLOURS, max(1, int((high - low + 1) / (2 * SPREAD + 1) / 3)))
    for _ in range(most):
        sums = np.convolve(counts, np.ones(2 * SPREAD + 1), mode="same")
        top = int(np.argmax(sums))
        taken += float(sums[top])
        counts[max(0, top - SPREAD) : top + SPREAD + 1] = 0
    return float((steep <= ALIKE).mean()) if taken > FEW_TONES * total else 0.0
