"""Strokes packed as bytes for the page's canvas; docs/DESK.md has the layout."""

from __future__ import annotations

import struct
from collections import OrderedDict
from threading import Lock
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from linewright import units

if TYPE_CHECKING:
    from linewright.drawing.strokes import Drawing
    from linewright.program.program import Program
    from linewright.rig.rig import Rig

MAGIC: Final = b"LWG1"
TIMES: Final = 1
ITEMS: Final = 2
"""Flag: item numbers follow the strokes."""

KEPT_BYTES: Final = 200_000_000
"""Memory limit of geometry kept for pages: five drawings of 10^6 vertices, or hundreds of previews."""


def packed(
    drawing: Drawing,
    *,
    points_mm: NDArray[np.float64] | None = None,
    times: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
    item: NDArray[np.uint16] | None = None,
) -> bytes:
    """Strokes as bytes.

    Parameters
    ----------
    points_mm : (n, 2) vertices on the sheet; None: the drawing is in sheet coordinates.
    times : (n,) playing time at each vertex, s, and (n,) speed there, mm/s.
    item : (k,) number of each stroke's item.
    """
    points = drawing.points_mm if points_mm is None else points_mm
    flags = (TIMES if times is not None else 0) | (ITEMS if item is not None else 0)
    parts = [
        MAGIC + struct.pack("<III", len(drawing), len(points), flags),
        points.astype("<f4").tobytes(),
        drawing.starts.astype("<u4").tobytes(),
        _words(drawing.pen),
    ]
    if times is not None:
        parts += [column.astype("<f4").tobytes() for column in times]
    if item is not None:
        parts.append(_words(item))
    return b"".join(parts)


def _words(numbers: NDArray[Any]) -> bytes:
    data = numbers.astype("<u2").tobytes()
    return data + b"\0" * (-len(data) % 4)


def of_program(program: Program, rig: Rig) -> bytes:
    """The strokes of a program on its sheet, in drawing order, with times and speeds."""
    points = rig.sheet.position.on_sheet(program.drawing.points_mm)
    return packed(program.drawing, points_mm=points, times=at_vertices(program))


def at_vertices(program: Program) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(n,) playing time in s from the program's start and (n,) speed in mm/s at every vertex of its drawing.

    Ramps and vertices share only the path, so both are located by the fraction of their stroke before them; a stroke of
    length zero, a dot, has one time.
    """
    drawing, path = program.drawing, program.trajectory
    strokes = len(drawing)
    counts = np.diff(drawing.starts)
    of_vertex = np.repeat(np.arange(strokes), counts)
    step_mm = np.hypot(*np.diff(drawing.points_mm, axis=0).T)
    step_mm = np.append(0.0, np.where(np.diff(of_vertex) == 0, step_mm, 0.0))
    vertex_at = of_vertex * 2.0 + _share(step_mm, of_vertex, strokes)

    drawn = np.flatnonzero(path.stroke >= 0)
    of_ramp = path.stroke[drawn].astype(np.int64)
    ramp_mm = np.hypot(*np.diff(path.points_mm, axis=0)[drawn].T)
    end_share = _share(ramp_mm, of_ramp, strokes)
    begin_share = np.append(0.0, end_share[:-1])
    first = np.append(True, np.diff(of_ramp) != 0) if len(of_ramp) else np.empty(0, dtype=np.bool_)
    begin_share = np.where(first, 0.0, begin_share)
    begin_s = units.ticks_to_s(1) * path.start_ticks[drawn]
    end_s = begin_s + units.ticks_to_s(1) * path.ticks[drawn]
    # Each ramp begins and ends at a fraction of its stroke; these increase from ramp to ramp.
    at = np.column_stack((of_ramp * 2.0 + begin_share, of_ramp * 2.0 + end_share)).ravel()
    when = np.column_stack((begin_s, end_s)).ravel()
    fast = path.speed_mm_s[drawn].ravel()
    if not len(at):
        return np.zeros(len(of_vertex)), np.zeros(len(of_vertex))
    return np.interp(vertex_at, at, when), np.interp(vertex_at, at, fast)


def _share(step_mm: NDArray[np.float64], of: NDArray[np.int64], strokes: int) -> NDArray[np.float64]:
    """Fraction of its stroke's length up to the end of each step, 0 to 1."""
    whole = np.bincount(of, step_mm, minlength=strokes)
    before = np.concatenate(([0.0], np.cumsum(whole)))[of]
    way = np.cumsum(step_mm) - before
    return np.clip(way / np.where(whole[of] > 0, whole[of], 1.0), 0.0, 1.0)


class GeometryShelf:
    """Recent geometry that pages may request by id; thread-safe."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._held: OrderedDict[str, bytes] = OrderedDict()
        self._number = 0

    def put(self, data: bytes, kind: str = "g") -> str:
        """Store data; returns its id."""
        with self._lock:
            self._number += 1
            name = f"{kind}{self._number}"
            self._held[name] = data
            while sum(map(len, self._held.values())) > KEPT_BYTES and len(self._held) > 1:
                self._held.popitem(last=False)
            return name

    def get(self, name: str) -> bytes | None:
        """The bytes; None: unknown id, or dropped."""
        with self._lock:
            if name in self._held:
                self._held.move_to_end(name)
            return self._held.get(name)

    def drop(self, name: str | None) -> None:
        """Drop geometry that is not shown any more."""
        with self._lock:
            self._held.pop(name or "", None)
