"""`read_svg`: from the bytes of an SVG to a `Drawing` in millimetres."""

from __future__ import annotations

import math
import os
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import SourceError
from linewright.sources.picture import Picture
from linewright.sources.svg.clip import clip
from linewright.sources.svg.dashes import cut_dashes, dash_intervals, user_lengths
from linewright.sources.svg.document import Document, line_of, parse_document, read_bytes
from linewright.sources.svg.fillings import Hatching, concatenated, fill
from linewright.sources.svg.flatten import (
    Floats,
    Ints,
    Polylines,
    extents,
    flatten,
    merge_repeats,
    piece_counts,
    transform_rows,
)
from linewright.sources.svg.harvest import Harvest
from linewright.sources.svg.limits import Limits, refuse
from linewright.sources.svg.notes import Notes
from linewright.sources.svg.paint import colour_name
from linewright.sources.svg.segments import ROW
from linewright.sources.svg.walk import harvest

DEFAULT_TOLERANCE_MM = 0.02  # less than two motor steps at 80 steps/mm, and a tenth of the finest pen line
_LEAST_SIDE_MM = 1.0  # of a picture that states no size: a page has sides, even where all lines run along its edge
_LOOSE = "unlayered"  # name of the pen for what lies outside of all layers


def read_svg(
    source: str | os.PathLike[str] | bytes,
    *,
    tolerance_mm: float = DEFAULT_TOLERANCE_MM,
    pen_by: Literal["colour", "layer"] = "colour",
    limits: Limits | None = None,
    hatching: Hatching | None = None,
) -> Picture:
    """Read an SVG.

    Parameters
    ----------
    source : path of an ``.svg`` or ``.svgz`` file, or its bytes.
    tolerance_mm : how far a stroke may stray from the curve it stands for, at the size of the picture, mm.
    pen_by : one pen per ink colour, or one per layer (groups directly below the ``<svg>``, by label, title or id).
    limits : upper bounds; the usual ones when left out.
    hatching : how filled shapes are filled; none: only their outlines are drawn.

    Raises
    ------
    SourceError
        When the file cannot be read, is no SVG, breaks a limit, or has nothing to draw; with place and way out.
    ValueError
        When ``tolerance_mm`` is not a positive number, or ``pen_by`` is neither word.
    """
    if not (math.isfinite(tolerance_mm) and tolerance_mm > 0.0):
        raise ValueError(f"tolerance_mm = {tolerance_mm!r}: must be above 0 mm")
    if pen_by not in ("colour", "layer"):
        raise ValueError(f"pen_by = {pen_by!r}: must be 'colour' or 'layer'")
    limits = limits or Limits()
    notes = Notes()
    name = "the picture" if isinstance(source, bytes) else os.fspath(source)
    data = source if isinstance(source, bytes) else read_bytes(source, limits)
    document = parse_document(data, name, limits, notes)
    found = harvest(document, limits, notes)
    lines = _polylines(found, document, tolerance_mm, limits)
    fillings = None if hatching is None else fill(lines, found, hatching, limits.vertices, name)
    lines = _dashed(lines, found, document, tolerance_mm, limits, notes)
    lines = lines if fillings is None else concatenated(lines, fillings)
    lines = _without_invisible_points(lines, found, notes)
    lines = _clipped(lines, found, notes)
    if not len(lines):
        reasons = "; ".join(notes.texts()[:3])
        raise SourceError(
            "nothing to draw: the picture has no visible lines" + (f" ({reasons})" if reasons else ""),
            where=name,
            hint="turn texts into paths, trace photographs, and show hidden layers",
        )
    pen, pens = _pens(lines, found, pen_by)
    width_mm, height_mm = found.width_mm, found.height_mm
    if not found.size_stated:
        reach_mm = np.maximum(lines.points_mm.max(axis=0), 0.0)
        notes.add(f"the file states no size; its lines reach {reach_mm[0]:.4g} x {reach_mm[1]:.4g} mm from the origin")
        width_mm, height_mm = (float(side) for side in np.maximum(reach_mm, _LEAST_SIDE_MM))
    drawing = Drawing(lines.points_mm, lines.starts, pen, pens)
    return Picture(drawing, width_mm, height_mm, notes.texts())


def _polylines(found: Harvest, document: Document, tolerance_mm: float, limits: Limits) -> Polylines:
    """Segments to polylines in mm, one an outline; refuses what is not finite, too far out or too much."""
    segments = found.segments
    kinds: NDArray[np.uint8] = np.frombuffer(bytes(segments.kinds), dtype=np.uint8)
    starts: Ints = np.array([*segments.starts, len(kinds)], dtype=np.int64)
    owner: Ints = np.array(found.owner, dtype=np.int64)
    closed = np.array(segments.closed, dtype=bool)
    if not len(kinds):
        return flatten(kinds, np.empty((0, ROW)), np.zeros(1, dtype=np.int64), closed, np.empty(0, dtype=np.int64))
    matrices = np.array([one.matrix for one in found.outlines])
    row_owner = np.repeat(owner, np.diff(starts))
    with np.errstate(over="ignore", invalid="ignore"):  # infinities are looked for right below
        rows = transform_rows(kinds, np.array(segments.rows).reshape(-1, ROW), matrices[row_owner])
        reach = extents(kinds, rows)
    outside = np.flatnonzero(~(reach <= limits.coordinate_mm) | ~np.isfinite(rows).all(axis=1))
    if len(outside):
        element = found.outlines[row_owner[outside[0]]].element
        where = document.where(element)
        hint = "correct the number or the transform, or delete the element"
        if not np.isfinite(rows[outside[0]]).all():
            raise SourceError("a coordinate is not a finite number", where=where, hint=hint)
        raise refuse(
            "a coordinate is too far out", float(reach[outside[0]]), limits.coordinate_mm, "mm", where=where, hint=hint
        )
    counts = piece_counts(kinds, rows, tolerance_mm)
    vertices = int(counts.sum()) + len(owner)
    if vertices > limits.vertices:
        raise _too_many_points(vertices, limits, document)
    lines = flatten(kinds, rows, starts, closed, counts)
    return _with_closed_fillings(Polylines(lines.points_mm, lines.starts, owner), found)


def _with_closed_fillings(lines: Polylines, found: Harvest) -> Polylines:
    """Draw the edge of a filling back to its start, as the filling itself is closed even where its path is not."""
    filled = np.array([one.filled for one in found.outlines])[lines.owner]
    first, last = lines.starts[:-1], lines.starts[1:] - 1
    open_ended = filled & (lines.points_mm[first] != lines.points_mm[last]).any(axis=1)
    if not open_ended.any():
        return lines
    points = np.insert(lines.points_mm, lines.starts[1:][open_ended], lines.points_mm[first[open_ended]], axis=0)
    starts = lines.starts + np.concatenate(([0], np.cumsum(open_ended)))
    return Polylines(points, starts, lines.owner)


def _dashed(
    lines: Polylines, found: Harvest, document: Document, tolerance_mm: float, limits: Limits, notes: Notes
) -> Polylines:
    """Cut the strokes of dashed elements into their dashes; all others pass unchanged."""
    dashed = np.array([bool(one.dashes) for one in found.outlines], dtype=bool)[lines.owner]
    if not dashed.any():
        return lines
    pieces: list[Floats] = []
    owners: list[int] = []
    points_left = limits.vertices - lines.points_mm.shape[0]
    for i in range(len(lines)):
        stroke = lines.points_mm[lines.starts[i] : lines.starts[i + 1]]
        owner = int(lines.owner[i])
        one = found.outlines[owner]
        if not dashed[i] or len(stroke) < 2:
            pieces.append(stroke)
            owners.append(owner)
            continue
        with np.errstate(over="ignore", invalid="ignore"):  # a period that is no number is looked for below
            along = user_lengths(stroke, one.matrix)
            length = float(along[-1])
            scale = length / one.path_length if one.path_length else 1.0
            pattern = [part * scale for part in one.dashes]
            period_mm = sum(pattern) / length * float(np.hypot(*np.diff(stroke, axis=0).T).sum())
        if not tolerance_mm <= period_mm < math.inf:
            which = "finer than the tolerance" if period_mm < tolerance_mm else "longer than numbers go"
            notes.add(f"dashes {which} are drawn as an unbroken line", line_of(one.element))
            pieces.append(stroke)
            owners.append(owner)
            continue
        points_left -= 2 * math.ceil(length / sum(pattern)) * len(pattern) // 2
        if points_left < 0:
            raise _too_many_points(limits.vertices - points_left, limits, document)
        intervals = dash_intervals(length, pattern, one.dash_offset * scale)
        dashes = cut_dashes(stroke, along, intervals, dots=one.dots)
        pieces.extend(dashes)
        owners.extend([owner] * len(dashes))
    starts = np.concatenate(([0], np.cumsum([len(piece) for piece in pieces]))).astype(np.int64)
    points = np.concatenate(pieces) if pieces else np.empty((0, 2))
    cut = Polylines(points, starts, np.array(owners, dtype=np.int64))
    return merge_repeats(cut, np.zeros(len(cut), dtype=bool))


def _without_invisible_points(lines: Polylines, found: Harvest, notes: Notes) -> Polylines:
    """Leave out strokes without length whose line caps show nothing (SVG 2, section 13.5.4)."""
    single = np.diff(lines.starts) == 1
    if not single.any():
        return lines
    dots = np.array([one.dots for one in found.outlines], dtype=bool)[lines.owner]
    invisible = single & ~dots
    count = int(invisible.sum())
    if count:
        element = found.outlines[lines.owner[np.flatnonzero(invisible)[0]]].element
        notes.add(
            "a line without length shows nothing and is not drawn; round line caps would make it a dot",
            line_of(element),
            count,
        )
    return lines.select(~invisible)


def _clipped(lines: Polylines, found: Harvest, notes: Notes) -> Polylines:
    """Cut the strokes of each viewport to it, in place of the drawing order."""
    regions = np.array([one.clip for one in found.outlines], dtype=np.int64)[lines.owner]
    parts: list[Polylines] = []
    cut = 0
    # Runs of strokes with the same region, so that the order of drawing stays that of the file.
    edges = np.flatnonzero(np.diff(regions)) + 1
    for low, high in zip([0, *edges], [*edges, len(lines)], strict=True):
        run = Polylines(
            lines.points_mm[lines.starts[low] : lines.starts[high]],
            lines.starts[low : high + 1] - lines.starts[low],
            lines.owner[low:high],
        )
        if high > low and regions[low] >= 0:
            run, lost = clip(run, found.clips[regions[low]])
            cut += lost
        parts.append(run)
    if cut:
        notes.add(
            f"{cut} line{'s reach' if cut > 1 else ' reaches'} over the edge of the picture and "
            f"{'are' if cut > 1 else 'is'} cut there"
        )
    if len(parts) == 1:
        return parts[0]
    sizes = np.concatenate([np.diff(part.starts) for part in parts])
    starts = np.concatenate(([0], np.cumsum(sizes))).astype(np.int64)
    return Polylines(
        np.concatenate([part.points_mm for part in parts]), starts, np.concatenate([part.owner for part in parts])
    )


def _pens(lines: Polylines, found: Harvest, pen_by: Literal["colour", "layer"]) -> tuple[Ints, tuple[Pen, ...]]:
    """Pen of each stroke, and the pens in the order in which the file first uses them."""
    number_of: dict[str, int] = {}
    pens: list[Pen] = []
    of_outlines = np.full(len(found.outlines), -1, dtype=np.int64)
    for owner in dict.fromkeys(lines.owner.tolist()):
        one = found.outlines[owner]
        layer = found.layers[one.layer] if one.layer >= 0 else _LOOSE
        name = colour_name(one.colour) if pen_by == "colour" else layer
        if name not in number_of:
            number_of[name] = len(pens)
            pens.append(Pen(name, one.colour))
        of_outlines[owner] = number_of[name]
    return of_outlines[lines.owner], tuple(pens)


def _too_many_points(vertices: int, limits: Limits, document: Document) -> SourceError:
    return refuse(
        "too many points",
        vertices,
        limits.vertices,
        "points",
        where=document.name,
        hint="allow a larger tolerance, or simplify the picture",
    )
