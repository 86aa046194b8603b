"""Layout of text (SVG 2, section 11.5): chunks, anchors, spacing, paths, writing modes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.sources.painting.bounds import bounds
from linewright.sources.painting.flatten import flatten, piece_counts, transform_rows
from linewright.sources.painting.matrices import Matrix, multiply, scaling, translation
from linewright.sources.painting.segments import ROW, Segments
from linewright.sources.svg.characters import Character, Span, TextPath
from linewright.sources.svg.lengths import length_px
from linewright.sources.svg.style import Font
from linewright.sources.svg.typesetting import Cluster, Metrics, Typesetter

Floats = NDArray[np.float64]

RTL_CLASSES: Final = ("R", "AL")


@dataclass(frozen=True, slots=True, eq=False)
class PlacedCluster:
    """A positioned cluster: matrix from letter units (px from its origin) to text units; None beyond its path.

    ``width`` : its extent in its own units; its advance is in text units.
    """

    cluster: Cluster
    span: Span
    matrix: Matrix | None
    width: float


@dataclass(frozen=True, slots=True, eq=False)
class Rail:
    """A path for text: points (n, 2) in text units, and the running length at each."""

    points: Floats
    along: Floats

    def at(self, distance: float) -> tuple[float, float, float] | None:
        """Position and direction (radians) at a distance from the start; None beyond the ends."""
        if distance < 0.0 or distance > self.along[-1] or len(self.points) < 2:
            return None
        i = min(max(int(np.searchsorted(self.along, distance, side="right")) - 1, 0), len(self.points) - 2)
        delta = self.points[i + 1] - self.points[i]
        room = self.along[i + 1] - self.along[i]
        share = (distance - self.along[i]) / room if room > 0.0 else 0.0
        x, y = self.points[i] + share * delta
        return float(x), float(y), math.atan2(float(delta[1]), float(delta[0]))


class Layout:
    """Lays out the characters of one text.

    Parameters
    ----------
    typesetter : makes letters from characters.
    rail : returns the path of a ``textPath``; None if it has none.
    viewport : for percentages.
    outlines : always use outlines of a font.
    """

    def __init__(
        self,
        typesetter: Typesetter,
        rail: Callable[[TextPath], Rail | None],
        viewport: tuple[float, float],
        *,
        outlines: bool,
    ) -> None:
        self._typesetter = typesetter
        self._rail = rail
        self._viewport = viewport
        self._outlines = outlines
        self._split: set[Span] = set()

    def placed(self, characters: list[Character], writing: str) -> list[PlacedCluster]:
        """All clusters in order of chunks; ``writing`` : ``writing-mode`` of the whole text."""
        if not characters:
            return []
        vertical = writing in ("tb", "tb-rl", "vertical-rl", "vertical-lr")
        self._split = _in_several_parts(characters)
        starts = [0]
        for i in range(1, len(characters)):
            if _begins(characters, i):
                starts.append(i)
        x = y = 0.0
        found: list[PlacedCluster] = []
        for low, high in pairwise([*starts, len(characters)]):
            chunk = characters[low:high]
            x = chunk[0].x if chunk[0].x is not None else x
            y = chunk[0].y if chunk[0].y is not None else y
            made, x, y = self._chunk(chunk, low, x, y, vertical)
            found += made
        return found

    def _chunk(
        self, chunk: list[Character], low: int, x: float, y: float, vertical: bool
    ) -> tuple[list[PlacedCluster], float, float]:
        clusters = self._clusters(chunk, low, vertical)
        spans = [chunk[cluster.first - low].span for cluster in clusters]
        self._space(clusters, chunk, low)
        scales = self._stretch(clusters, spans)
        widths = [cluster.advance for cluster in clusters]
        total = sum(widths)
        anchor = chunk[0].span.style.font.anchor
        rtl = chunk[0].span.style.font.direction == "rtl"
        share = {"start": 1.0 if rtl else 0.0, "middle": 0.5, "end": 0.0 if rtl else 1.0}.get(anchor, 0.0)
        path = chunk[0].path
        if path is not None:
            return self._on_path(path, clusters, spans, scales, chunk, low, share * total, x, y)
        found = []
        along = -share * total
        shift_x = shift_y = 0.0
        for cluster, span, scale in zip(clusters, spans, scales, strict=True):
            first = chunk[cluster.first - low]
            for character in chunk[cluster.first - low : cluster.first - low + cluster.count]:
                shift_x += character.dx
                shift_y += character.dy
            turn = _turn(math.radians(first.rotate))
            if vertical:
                at = translation(x + shift_x, y + shift_y + along)
            else:
                at = translation(x + shift_x + along, y + shift_y)
            matrix = multiply(at, self._letter(cluster, span, scale, vertical, turn))
            found.append(PlacedCluster(cluster, span, matrix, cluster.advance / scale))
            along += cluster.advance
        if vertical:
            return found, x + shift_x, y + shift_y + along
        return found, x + shift_x + along, y + shift_y

    def _letter(self, cluster: Cluster, span: Span, scale: float, vertical: bool, turn: Matrix) -> Matrix:
        """Matrix of a letter: baseline, shifts, its own rotation, stretching, and vertical writing."""
        metrics = self._typesetter.metrics(span.style.font, self._outlines)
        up = self._rise(span, metrics)
        if not vertical:
            return multiply(translation(0.0, -up), multiply(turn, scaling(scale, 1.0)))
        up = span.shift_px
        if cluster.upright:
            return multiply(turn, translation(up, 0.0))
        # Letters lying on their side are centred on the column's middle line, each by its own font (CSS Writing Modes
        # 4, section 4.2: the central baseline).
        middle = (metrics.ascent + metrics.descent) / 2.0 if cluster.middle is None else cluster.middle
        lying = multiply(turn, _turn(math.pi / 2.0))
        return multiply(lying, multiply(translation(0.0, middle - up), scaling(scale, 1.0)))

    def _rise(self, span: Span, metrics: Metrics) -> float:
        """Upward shift of letters, px."""
        shift = span.shift_px
        for word in span.shift_words:
            shift += metrics.super_shift if word == "super" else -metrics.sub_shift
        lines = {
            "middle": metrics.x_height / 2, "central": (metrics.ascent + metrics.descent) / 2,
            "hanging": 0.8 * metrics.ascent, "mathematical": 0.5 * metrics.ascent,
            "text-before-edge": metrics.ascent, "before-edge": metrics.ascent, "text-top": metrics.ascent,
            "text-after-edge": metrics.descent, "after-edge": metrics.descent, "text-bottom": metrics.descent,
            "ideographic": metrics.descent,
        }  # fmt: skip
        return shift - lines.get(span.baseline, 0.0)

    def _clusters(self, chunk: list[Character], low: int, vertical: bool) -> list[Cluster]:
        """The chunk's letters from left to right, for scripts of any direction."""
        text = "".join(character.text for character in chunk)
        base = 1 if chunk[0].span.style.font.direction == "rtl" else 0
        runs: list[tuple[int, int, int]] = []  # begin, end, level
        levels = _levels(text, base)
        # Overridden letters have one direction, whatever their script (CSS Writing Modes 4, section 2.2).
        levels = [base if one.span.overrides else level for one, level in zip(chunk, levels, strict=True)]
        for i, level in enumerate(levels):
            # Individually moved or rotated letters are still shaped together, so they keep their kerning; so are
            # letters of spans that differ in colour only (CSS Text 3, section 7.3).
            if runs and runs[-1][2] == level and chunk[i].span.style.font == chunk[i - 1].span.style.font:
                runs[-1] = (runs[-1][0], i + 1, level)
            else:
                runs.append((i, i + 1, level))
        found: list[Cluster] = []
        for begin, end, level in _visual(runs):
            found += self._typesetter.clusters(
                text[begin:end],
                low + begin,
                chunk[begin].span.style.font,
                rtl=level % 2 == 1,
                outlines=self._outlines,
                vertical=vertical,
            )
        return found

    def _space(self, clusters: list[Cluster], chunk: list[Character], low: int) -> None:
        """Apply letter and word spacing."""
        for number, cluster in enumerate(clusters):
            font = chunk[cluster.first - low].span.style.font
            letter = self._spacing(font.letter_spacing, font)
            if letter and not cluster.joins and (number < len(clusters) - 1 or chunk[-1].text == " "):
                cluster.advance += letter
                cluster.spacing = letter
            if cluster.space:
                cluster.advance += self._spacing(font.word_spacing, font)
            if cluster.advance < 0.0:
                cluster.parts = []
                cluster.advance = 0.0

    def _spacing(self, text: str, font: Font) -> float:
        if text == "normal":
            return 0.0
        return length_px(text, "x", self._viewport, font.size_px) or 0.0

    def _stretch(self, clusters: list[Cluster], spans: list[Span]) -> list[float]:
        """Fit spans to their stated lengths; returns the stretching of the letters."""
        scales = [1.0] * len(clusters)
        for span in _stating_length(spans):
            assert span.length_px is not None
            if span in self._split:
                self._typesetter.note("textLength of a text whose letters begin anew in its middle is left out")
                continue
            mine = [i for i, one in enumerate(spans) if one.is_in(span)]
            natural = sum(clusters[i].advance for i in mine)
            if span.stretches and natural > 0.0 and span.length_px > 0.0:
                share = span.length_px / natural
                for i in mine:
                    clusters[i].advance *= share
                    scales[i] *= share
            elif len(mine) > 1:
                more = (span.length_px - natural) / (len(mine) - 1)
                for i in mine:
                    clusters[i].advance += more
                clusters[mine[-1]].advance -= more
        return scales

    def _on_path(
        self,
        path: TextPath,
        clusters: list[Cluster],
        spans: list[Span],
        scales: list[float],
        chunk: list[Character],
        low: int,
        back: float,
        x: float,
        y: float,
    ) -> tuple[list[PlacedCluster], float, float]:
        rail = self._rail(path)
        if rail is None or len(rail.points) < 2:
            return [], x, y
        if any(cluster.upright for cluster in clusters):
            self._typesetter.note("letters that stand upright are not turned along a path; they are drawn beside it")
        length = float(rail.along[-1])
        start = path.start
        offset = (
            length * float(start[:-1]) / 100.0
            if start.endswith("%") and start[:-1].replace(".", "", 1).lstrip("-").isdigit()
            else length_px(start, "other", self._viewport) or 0.0
        )
        distance = offset - back + (chunk[0].x or 0.0)
        found = []
        across = 0.0
        for cluster, span, scale in zip(clusters, spans, scales, strict=True):
            first = chunk[cluster.first - low]
            if first is not chunk[0] and first.x is not None:
                distance = offset + first.x
            distance += first.dx
            across += first.dy
            middle = (cluster.advance - cluster.spacing * scale) / 2.0
            place = rail.at(distance + middle)
            if place is None:
                found.append(PlacedCluster(cluster, span, None, cluster.advance / scale))
            else:
                at = multiply(translation(place[0], place[1]), _turn(place[2]))
                letter = self._letter(cluster, span, scale, False, _turn(math.radians(first.rotate)))
                matrix = multiply(at, multiply(translation(-middle, across), letter))
                found.append(PlacedCluster(cluster, span, matrix, cluster.advance / scale))
            distance += cluster.advance
        end = rail.points[-1]
        return found, float(end[0]), float(end[1])


def _begins(characters: list[Character], i: int) -> bool:
    """Whether a chunk starts at a character: a position of its own, or another path."""
    one = characters[i]
    return one.path is not characters[i - 1].path or (one.path is None and (one.x is not None or one.y is not None))


def _in_several_parts(characters: list[Character]) -> set[Span]:
    """Spans with ``textLength`` that extend over several chunks."""
    first: dict[Span, int] = {}
    found = set()
    chunk = 0
    for i, character in enumerate(characters):
        chunk += bool(i and _begins(characters, i))
        at: Span | None = character.span
        while at is not None:
            if at.length_px is not None and first.setdefault(at, chunk) != chunk:
                found.add(at)
            at = at.around
    return found


def _stating_length(spans: list[Span]) -> list[Span]:
    """Spans with ``textLength``, inner ones first."""
    found: dict[Span, int] = {}
    for span in dict.fromkeys(spans):
        at: Span | None = span
        depth = 0
        while at is not None:
            if at.length_px is not None:
                found[at] = max(found.get(at, 0), depth)
            at, depth = at.around, depth + 1
    return sorted(found, key=lambda span: found[span])


def _turn(angle: float) -> Matrix:
    cosine, sine = math.cos(angle), math.sin(angle)
    return (cosine, sine, -sine, cosine, 0.0, 0.0)


def _visual(runs: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Runs in visual order: from the deepest level on, runs of at least that level are reversed (UAX 9, rule L2)."""
    order = list(runs)
    for level in range(max((run[2] for run in runs), default=0), 0, -1):
        i = 0
        while i < len(order):
            j = i
            while j < len(order) and order[j][2] >= level:
                j += 1
            order[i:j] = order[i:j][::-1]
            i = max(j, i + 1)
    return order


def _levels(text: str, base: int) -> list[int]:
    """Embedding level of each character (Unicode Annex 9); all at the base level if nothing is written right to
    left.
    """
    import unicodedata

    if base == 0 and not any(unicodedata.bidirectional(c) in ("R", "AL", "AN", "RLE", "RLO", "RLI") for c in text):
        return [0] * len(text)
    try:
        from bidi import algorithm
    except ImportError:
        return [1 if unicodedata.bidirectional(c) in RTL_CLASSES else base for c in text]
    storage = algorithm.get_empty_storage()
    storage["base_level"], storage["base_dir"] = base, ("L", "R")[base]
    algorithm.get_embedding_levels(text, storage)
    for mark, one in enumerate(storage["chars"]):
        one["index"] = mark
    algorithm.explicit_embed_and_overrides(storage)
    algorithm.resolve_weak_types(storage)
    algorithm.resolve_neutral_types(storage, False)
    algorithm.resolve_implicit_levels(storage, False)
    levels = [base] * len(text)
    for one in storage["chars"]:
        levels[one["index"]] = one["level"]
    return levels


def rail_of(segments: Segments, matrix: Matrix) -> Rail:
    """The path for text: its outlines in order, flattened to 1/2000 of their size."""
    kinds = np.frombuffer(bytes(segments.kinds), dtype=np.uint8)
    rows = np.array(segments.rows).reshape(-1, ROW)
    rows = transform_rows(kinds, rows, np.broadcast_to(np.array(matrix), (len(rows), 6)))
    box = bounds(kinds, rows)
    size = 1.0 if box is None else max(box[2], box[3], 1e-9)
    starts = np.array([*segments.starts, len(kinds)], dtype=np.int64)
    closed = np.array(segments.closed, dtype=bool)
    lines = flatten(kinds, rows, starts, closed, piece_counts(kinds, rows, size / 2000.0))
    steps = np.hypot(*np.diff(lines.points_mm, axis=0).T)
    # The gap between outlines has length 0.
    steps[lines.starts[1:-1] - 1] = 0.0
    return Rail(lines.points_mm, np.concatenate(([0.0], np.cumsum(steps))))


def transformed(segments: Segments, matrix: Matrix, target: Segments) -> None:
    """Append transformed outlines of lines and cubics."""
    a, b, c, d, e, f = matrix
    rows = np.array(segments.rows).reshape(-1, 2)
    mapped = rows @ np.array(((a, b), (c, d))) + (e, f)
    before = len(target)
    target.rows.frombytes(mapped.tobytes())
    target.kinds.extend(segments.kinds)
    target.starts.extend(start + before for start in segments.starts)
    target.closed.extend(segments.closed)
