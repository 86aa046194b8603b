"""`FontFace`: one opened font: its characters, text shaped by HarfBuzz, and letters as outlines."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Final

import uharfbuzz

from linewright.files import read_bounded
from linewright.sources.painting.segments import Segments

MOST_BYTES: Final = 128 << 20
"""Largest font file: collections with all of Chinese have about 30 MB."""


@dataclass(frozen=True, slots=True)
class ShapedGlyph:
    """A positioned glyph of a shaped text, in em: offset ``dx``, ``dy`` (upward) from the pen position, and advance.

    ``cluster`` is the index of its first character.
    """

    number: int
    cluster: int
    advance: float
    dx: float
    dy: float


class FontFace:
    """A font.

    Parameters
    ----------
    path, number : the file, and the face's number in it.
    settings : axis values of a variable font.

    Attributes
    ----------
    ascent, descent, x_height, cap_height : in em, upward from the baseline; the descent is negative.
    underline, strike, thickness : in em: centre and thickness of such lines.
    sub_shift, super_shift : shift of subscripts and superscripts, em.
    axes : ``{tag: (least, usual, most)}`` of a variable font (OpenType ``fvar``).
    """

    def __init__(self, path: str, number: int = 0, settings: tuple[tuple[str, float], ...] = ()) -> None:
        data = read_bounded(path, MOST_BYTES)
        blob = uharfbuzz.Blob(data)
        self._face = uharfbuzz.Face(blob, number)
        self._font = uharfbuzz.Font(self._face)
        if settings:
            self._font.set_variations(dict(settings))
        self.per_em = float(self._face.upem or 1000)
        self._characters = set(self._face.unicodes)
        face = self._face
        self._has_colours = face.has_color_layers or face.has_color_paint or face.has_color_svg or face.has_color_png
        self._outlines: dict[int, Segments] = {}
        self._metrics(data, number)

    def _metrics(self, data: bytes, number: int) -> None:
        from fontTools.ttLib import TTFont

        font = TTFont(io.BytesIO(data), lazy=True, fontNumber=number)
        per_em = self.per_em
        fvar = font.get("fvar")
        axes = () if fvar is None else fvar.axes
        self.axes = {axis.axisTag: (axis.minValue, axis.defaultValue, axis.maxValue) for axis in axes}
        hhea = font.get("hhea")
        os2 = font.get("OS/2")
        self.ascent = 0.8 if hhea is None else hhea.ascent / per_em
        self.descent = -0.2 if hhea is None else hhea.descent / per_em
        self.x_height = (getattr(os2, "sxHeight", 0) or 0.45 * self.ascent * per_em) / per_em
        self.cap_height = (getattr(os2, "sCapHeight", 0) or 0.7 * per_em) / per_em
        self.sub_shift = getattr(os2, "ySubscriptYOffset", 0.2 * per_em) / per_em
        self.super_shift = getattr(os2, "ySuperscriptYOffset", 0.4 * per_em) / per_em
        self.strike = getattr(os2, "yStrikeoutPosition", 0.3 * per_em) / per_em
        post = font.get("post")
        self.underline = -0.1 if post is None else post.underlinePosition / per_em
        self.thickness = (0 if post is None else post.underlineThickness / per_em) or 0.05

    def is_coloured(self, glyph: int) -> bool:
        """Whether a glyph is coloured (OpenType ``COLR``, ``SVG``, ``sbix`` or ``CBDT``)."""
        if not self._has_colours:
            return False
        face, font = self._face, self._font
        return bool(
            (face.has_color_layers and face.get_glyph_color_layers(glyph))
            or (face.has_color_paint and face.glyph_has_color_paint(glyph))
            or (face.has_color_svg and face.get_glyph_color_svg(glyph))
            or (face.has_color_png and font.get_glyph_color_png(glyph))
        )

    def has(self, character: str) -> bool:
        """Whether there is a glyph for a character."""
        return ord(character) in self._characters

    def shaped(self, text: str, *, rtl: bool, features: dict[str, bool], vertical: bool = False) -> list[ShapedGlyph]:
        """The glyphs of a text of one direction, from left to right or top to bottom."""
        buffer = uharfbuzz.Buffer()
        buffer.add_codepoints([ord(character) for character in text])
        buffer.guess_segment_properties()
        buffer.direction = "ttb" if vertical else "rtl" if rtl else "ltr"
        buffer.cluster_level = uharfbuzz.BufferClusterLevel.MONOTONE_CHARACTERS
        uharfbuzz.shape(self._font, buffer, features)
        found = []
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            advance = -position.y_advance if vertical else position.x_advance
            found.append(
                ShapedGlyph(
                    info.codepoint,
                    info.cluster,
                    advance / self.per_em,
                    position.x_offset / self.per_em,
                    position.y_offset / self.per_em,
                )
            )
        return found

    def outline(self, glyph: int) -> Segments:
        """A glyph's closed outlines in em, y downward from the baseline."""
        found = self._outlines.get(glyph)
        if found is None:
            pen = _Pen(1.0 / self.per_em)
            self._font.draw_glyph_with_pen(glyph, pen)
            found = self._outlines[glyph] = pen.segments
        return found


class _Pen:
    """Receives a glyph's outline from fontTools."""

    def __init__(self, scale: float) -> None:
        self.segments = Segments()
        self._scale = scale
        self._at = self._start = (0.0, 0.0)

    def _point(self, point: tuple[float, float]) -> tuple[float, float]:
        return (point[0] * self._scale, -point[1] * self._scale)

    def moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802  names of fontTools' pen protocol
        self._at = self._start = self._point(point)
        self.segments.begin()

    def lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802  as fontTools names it
        end = self._point(point)
        self.segments.line(*self._at, *end)
        self._at = end

    def curveTo(self, *points: tuple[float, float]) -> None:  # noqa: N802  as fontTools names it
        first, second, end = (self._point(point) for point in points)
        self.segments.cubic((*self._at, *first, *second, *end))
        self._at = end

    def qCurveTo(self, *points: tuple[float, float]) -> None:  # noqa: N802  as fontTools names it
        control, end = (self._point(point) for point in points)
        self.segments.quadratic(*self._at, *control, *end)
        self._at = end

    def closePath(self) -> None:  # noqa: N802  as fontTools names it
        if self._at != self._start or self.segments.starts[-1] == len(self.segments):
            self.segments.line(*self._at, *self._start)
        self.segments.close()
        self._at = self._start

    def endPath(self) -> None:  # noqa: N802  as fontTools names it
        self.closePath()
