"""`painting_of`: one page of a PDF: paths, images and letters in paint order."""

from __future__ import annotations

import ctypes
import itertools
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from linewright import units
from linewright.errors import InputError, SourceError
from linewright.sources.painting.limits import FileLimits, refuse
from linewright.sources.painting.marks import Clip, Mark, Paint, Painting
from linewright.sources.painting.matrices import IDENTITY, Matrix, multiply
from linewright.sources.pdf.letters import Letters
from linewright.sources.pdf.paints import line_of, paint_of
from linewright.sources.pdf.probe import first_look
from linewright.sources.source_file import size_of

if TYPE_CHECKING:
    from linewright.sources.picture import Wish

POINT_MM: Final = units.inches_to_mm(1 / 72)
"""Default user space unit (ISO 32000-1, 8.3.2.3)."""

FORM_DEPTH: Final = 24
"""Largest nesting of form XObjects; drawing programs nest a few."""

_PASSWORD: Final = 4  # FPDF_ERR_PASSWORD
_SECURITY: Final = 5  # FPDF_ERR_SECURITY


def looks_like_one(head: bytes) -> bool:
    """Whether a file starts like a PDF: the signature is in the first kilobyte."""
    return b"%PDF-" in head[:1024]


def painting_of(source: str, wish: Wish, limits: FileLimits | None = None) -> Painting:
    """Everything drawable of a page, in paint order.

    Parameters
    ----------
    source : path of the file.
    wish : page to draw.
    limits : upper bounds; None: the defaults.

    Raises
    ------
    SourceError
        The file cannot be read, is locked or damaged, has no such page, or exceeds a limit.
    InputError
        The extra for documents is not installed.
    """
    limits = limits or FileLimits()
    try:
        import pypdfium2
    except ImportError:
        raise InputError("PDFs need the package pypdfium2", hint="pip install 'linewright[documents]'") from None
    size = size_of(source)
    if size > limits.file_bytes:
        hint = "extract the page, or reduce the size of its pictures"
        raise refuse("the file is too large", size, limits.file_bytes, "bytes", where=source, hint=hint)
    first_look(source, wish.page)
    try:
        document = pypdfium2.PdfDocument(source)
    except pypdfium2.PdfiumError as error:
        if getattr(error, "err_code", None) in (_PASSWORD, _SECURITY):
            hint = "save it without a password from a program that can open it"
            raise SourceError("it is locked with a password", where=source, hint=hint) from None
        hint = "download it again, or save it again from a program that can open it"
        raise SourceError("it is not a PDF, or it is damaged or truncated", where=source, hint=hint) from None
    try:
        pages = len(document)
        if not 1 <= wish.page <= pages:
            hint = f"it has {pages} page{'s' if pages != 1 else ''}"
            raise SourceError(f"there is no page {wish.page}", where=source, hint=hint)
        try:
            page = document[wish.page - 1]
        except pypdfium2.PdfiumError:
            hint = "download it again, or save it again from a program that can open it"
            raise SourceError(f"page {wish.page} is damaged", where=source, hint=hint) from None
        painting = Painting(name=source)
        if pages > 1:
            painting.notes.add(f"page {wish.page} of {pages} is drawn")
        _PageWalk(painting, page, wish, limits).run()
        return painting
    finally:
        document.close()


@dataclass
class _PageWalk:
    """Conversion of one page to a painting."""

    painting: Painting
    page: Any
    wish: Wish
    limits: FileLimits
    clips: dict[tuple[Any, ...], int] = field(default_factory=dict)
    objects: int = 0
    font_letters: Letters | None = None

    def run(self) -> None:
        import pypdfium2.raw as raw

        left, bottom, right, top = self.page.get_cropbox()
        rotation = self.page.get_rotation()
        width, height = (right - left), (top - bottom)
        base: Matrix = {
            0: (1.0, 0.0, 0.0, -1.0, -left, top),
            90: (0.0, 1.0, 1.0, 0.0, -bottom, -left),
            180: (-1.0, 0.0, 0.0, 1.0, right, -bottom),
            270: (0.0, -1.0, -1.0, 0.0, top, right),
        }[rotation]
        if rotation % 180:
            width, height = height, width
        matrix = multiply((POINT_MM, 0.0, 0.0, POINT_MM, 0.0, 0.0), base)
        painting = self.painting
        painting.width_mm, painting.height_mm = width * POINT_MM, height * POINT_MM
        if not (math.isfinite(width) and math.isfinite(height) and min(width, height) > 0):
            hint = "save it again from a program that can open it"
            raise SourceError(f"its page is {width:g} x {height:g} points large", where=painting.name, hint=hint)
        segments = painting.segments
        segments.begin()
        corners = ((left, bottom), (right, bottom), (right, top), (left, top), (left, bottom))
        for begin, end in itertools.pairwise(corners):
            segments.line(*begin, *end)
        segments.close()
        edge = painting.add(Mark(matrix, silent=True, fill=Paint("#000000")))
        painting.clips.append(Clip((edge,), kind="page"))
        self.font_letters = Letters(self.page, painting)
        count = raw.FPDFPage_CountObjects(self.page)
        for number in range(count):
            self._object(raw.FPDFPage_GetObject(self.page, number), matrix, 0, 0)
        self.font_letters.finish()

    def _object(self, thing: Any, matrix: Matrix, clip: int, depth: int) -> None:
        import pypdfium2.raw as raw

        self.objects += 1
        if self.objects > self.limits.elements:
            hint = "simplify the drawing"
            limit = self.limits.elements
            raise refuse("too many objects", None, limit, "objects", where=self.painting.name, hint=hint)
        kind = raw.FPDFPageObj_GetType(thing)
        clip = self._clip(thing, matrix, clip)
        if kind == raw.FPDF_PAGEOBJ_PATH:
            self._path(thing, matrix, clip)
        elif kind == raw.FPDF_PAGEOBJ_TEXT:
            assert self.font_letters is not None
            self.font_letters.take(thing, matrix, clip)
        elif kind == raw.FPDF_PAGEOBJ_IMAGE:
            self._image(thing, matrix, clip)
        elif kind == raw.FPDF_PAGEOBJ_FORM:
            if depth >= FORM_DEPTH:
                self.painting.notes.add(f"forms nested more than {FORM_DEPTH} deep are left out")
                return
            inner = multiply(matrix, _matrix(thing))
            for number in range(raw.FPDFFormObj_CountObjects(thing)):
                self._object(raw.FPDFFormObj_GetObject(thing, number), inner, clip, depth + 1)
        elif kind == raw.FPDF_PAGEOBJ_SHADING:
            self.painting.notes.add("a shading that fills no outline is left out")

    def _path(self, thing: Any, matrix: Matrix, clip: int) -> None:
        import pypdfium2.raw as raw

        rule, stroked = ctypes.c_int(), ctypes.c_int()
        raw.FPDFPath_GetDrawMode(thing, rule, stroked)
        if not rule.value and not stroked.value:
            return
        count = raw.FPDFPath_CountSegments(thing)
        if not self._outlines(count, lambda i: raw.FPDFPath_GetPathSegment(thing, i)):
            return
        fill = paint_of(thing, raw.FPDFPageObj_GetFillColor) if rule.value else None
        line = line_of(thing) if stroked.value else None
        self.painting.add(
            Mark(
                multiply(matrix, _matrix(thing)),
                fill,
                line,
                even_odd=rule.value == raw.FPDF_FILLMODE_ALTERNATE,
                clip=clip,
            )
        )

    def _outlines(self, count: int, segment_at: Any) -> bool:
        """Read a path's segments; False if it has none that can be drawn."""
        import pypdfium2.raw as raw

        segments = self.painting.segments
        if len(segments) + count > self.limits.segments:
            limit = self.limits.segments
            hint = "simplify the drawing"
            raise refuse("too many lines and curves", None, limit, "segments", where=self.painting.name, hint=hint)
        x, y = ctypes.c_float(), ctypes.c_float()
        start = at = (0.0, 0.0)
        begun = any_drawn = False
        controls: list[tuple[float, float]] = []
        for number in range(count):
            segment = segment_at(number)
            raw.FPDFPathSegment_GetPoint(segment, x, y)
            point = (x.value, y.value)
            kind = raw.FPDFPathSegment_GetType(segment)
            if kind == raw.FPDF_SEGMENT_MOVETO:
                start, begun = point, False
            else:
                if not begun:
                    segments.begin()
                    begun = any_drawn = True
                if kind == raw.FPDF_SEGMENT_BEZIERTO:
                    controls.append(point)
                    if len(controls) < 3:
                        continue
                    segments.cubic((*at, *controls[0], *controls[1], *controls[2]))
                    controls = []
                else:
                    segments.line(*at, *point)
            at = point
            if begun and raw.FPDFPathSegment_GetClose(segment):
                if at != start:
                    segments.line(*at, *start)
                segments.close()
                at, begun = start, False
        return any_drawn

    def _clip(self, thing: Any, matrix: Matrix, parent: int) -> int:
        """The clip of an object within that of its form; equal clips are merged."""
        import pypdfium2.raw as raw

        path = raw.FPDFPageObj_GetClipPath(thing)
        count = raw.FPDFClipPath_CountPaths(path) if path else 0
        for number in range(max(count, 0)):
            length = raw.FPDFClipPath_CountPathSegments(path, number)
            segments = self.painting.segments
            rows, outlines = len(segments), len(segments.starts)

            def segment_at(i: int, number: int = number) -> Any:
                return raw.FPDFClipPath_GetPathSegment(path, number, i)

            drawn = self._outlines(length, segment_at)
            piece = segments.copied(rows, outlines)
            key = (parent, matrix, bytes(piece.rows), bytes(piece.kinds), tuple(piece.starts))
            if key in self.clips or not drawn:
                segments.drop(rows, outlines)
                parent = self.clips.get(key, parent)
                continue
            member = self.painting.add(Mark(matrix, silent=True, fill=Paint("#000000")))
            self.painting.clips.append(Clip((member,), parent))
            parent = self.clips[key] = len(self.painting.clips) - 1
        return parent

    def _image(self, thing: Any, matrix: Matrix, clip: int) -> None:
        import numpy as np
        import pypdfium2

        # pypdfium2's own object, for its decoding of colour spaces.
        image = pypdfium2.PdfImage(thing, page=self.page)
        width, height = image.get_px_size()
        if width * height > self.limits.photograph_px:
            self.painting.notes.add(f"an image of {width} x {height} pixels is too large and left out")
            return
        try:
            pixels = np.asarray(image.get_bitmap().to_pil().convert("RGB"))
        except (pypdfium2.PdfiumError, ValueError, NotImplementedError):
            self.painting.notes.add("an image cannot be decoded and is left out")
            return
        segments = self.painting.segments
        segments.begin()
        corners = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0))
        for begin, end in itertools.pairwise(corners):
            segments.line(*begin, *end)
        segments.close()
        # An image's first row is at the top of the unit square, where y is 1 (ISO 32000-1, 8.9.5.1).
        whole = multiply(multiply(matrix, _matrix(thing)), (1.0, 0.0, 0.0, -1.0, 0.0, 1.0))
        self.painting.add(Mark(whole, clip=clip, photograph=pixels))


def _matrix(thing: Any) -> Matrix:
    import pypdfium2.raw as raw

    found = raw.FS_MATRIX()
    if not raw.FPDFPageObj_GetMatrix(thing, found):
        return IDENTITY
    return (found.a, found.b, found.c, found.d, found.e, found.f)
