"""Strokes as bytes, decoded as docs/DESK.md describes; and positions of the pen over time."""

import struct

import numpy as np
import pytest

from linewright import units
from linewright.desk import geometry
from linewright.drawing.strokes import Drawing
from linewright.motion import plan
from linewright.planning.placement import to_machine
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import sheet_on


def read(data: bytes) -> dict[str, np.ndarray]:
    """An independent reader, from the table of the document."""
    assert data[:4] == b"LWG1"
    strokes, vertices, flags = struct.unpack("<III", data[4:16])
    found, at = {"flags": np.array(flags)}, 16

    def block(name: str, kind: str, count: int) -> None:
        nonlocal at
        size = np.dtype(kind).itemsize * count
        found[name] = np.frombuffer(data[at : at + size], kind)
        at += size + -size % 4

    block("points", "<f4", 2 * vertices)
    block("starts", "<u4", strokes + 1)
    block("pen", "<u2", strokes)
    if flags & 1:
        block("time", "<f4", vertices)
        block("speed", "<f4", vertices)
    if flags & 2:
        block("item", "<u2", strokes)
    assert at == len(data)
    return found


ZOO = {
    "a line": [[(0, 0), (100, 0)]],
    "three strokes": [[(0, 0), (10, 0), (10, 10)], [(20, 20), (20, 40)], [(50, 50), (60, 50), (60, 60), (50, 50)]],
    "a dot": [[(5, 5), (5, 5)], [(20, 5), (30, 5)]],
    "many vertices": [[(x, 10 * np.sin(x / 7)) for x in range(120)]],
    "doubled vertices": [[(0, 0), (0, 0), (30, 0), (30, 0), (30, 0), (60, 10)]],
}


def drawn(strokes, rig):
    sheet = sheet_on(rig)
    on_sheet = Drawing.from_strokes([np.array(stroke, dtype=np.float64) + 30.0 for stroke in strokes])
    placed = to_machine(on_sheet, sheet, rig)
    return on_sheet, plan(placed, rig, sheet=sheet)


@pytest.mark.parametrize("name", ZOO)
def test_times_at_the_ends_of_strokes_are_the_programs_own(name):
    """The first ramp of a stroke begins at its first vertex, and the last one ends at its last: to the tick."""
    _, program = drawn(ZOO[name], Rig.default())
    times, speeds = geometry.at_vertices(program)
    path, starts = program.trajectory, program.drawing.starts
    assert (np.diff(times) >= -1e-9).all()
    for stroke in range(len(program.drawing)):
        ramps = np.flatnonzero(path.stroke == stroke)
        if not len(ramps):
            continue  # a dot is a move of the pen alone
        first, last = starts[stroke], starts[stroke + 1] - 1
        assert times[first] == pytest.approx(units.ticks_to_s(int(path.start_ticks[ramps[0]])))
        end_ticks = int(path.start_ticks[ramps[-1]] + path.ticks[ramps[-1]])
        assert times[last] == pytest.approx(units.ticks_to_s(end_ticks))
        assert speeds[first] == speeds[last] == 0.0
    assert speeds.max() <= max(Rig.default().x.speed_mm_s, Rig.default().y.speed_mm_s) * 1.5


def test_the_middle_of_a_straight_line_is_passed_at_half_its_time():
    """A trapezoid is symmetrical in time, so the middle vertex is passed at half of it."""
    _, program = drawn([[(0, 0), (40, 0), (80, 0)]], Rig.default())
    times, speeds = geometry.at_vertices(program)
    if len(times) == 3:  # the plan keeps the vertex
        assert times[1] == pytest.approx((times[0] + times[2]) / 2, abs=2e-3)
        assert speeds[1] == max(speeds)


@pytest.mark.parametrize("turn_deg", [0.0, 1.5])
def test_a_program_comes_back_to_where_it_lies_on_the_sheet(turn_deg):
    rig = Rig.default().changed({"sheet.turn_deg": turn_deg, "sheet.offset_mm": [12.0, 7.0]})
    on_sheet, program = drawn(ZOO["three strokes"], rig)
    found = read(geometry.of_program(program, rig))
    assert int(found["flags"]) == geometry.TIMES
    assert found["points"].reshape(-1, 2) == pytest.approx(on_sheet.points_mm, abs=1e-3)
    assert found["starts"].tolist() == on_sheet.starts.tolist()
    assert found["time"][-1] <= program.predicted_s


def test_items_and_odd_counts_of_strokes_are_padded():
    drawing = Drawing.from_strokes([np.array([[i, 0.0], [i, 5.0]]) for i in range(3)])
    found = read(geometry.packed(drawing, item=np.array([0, 0, 1], dtype=np.uint16)))
    assert found["item"].tolist() == [0, 0, 1]
    assert found["pen"].tolist() == [0, 0, 0]
    assert found["points"].tolist() == drawing.points_mm.ravel().tolist()


def test_the_shelf_keeps_the_newest(monkeypatch):
    monkeypatch.setattr(geometry, "KEPT_BYTES", 250)
    shelf = geometry.GeometryShelf()
    names = [shelf.put(bytes(100)) for _ in range(4)]
    assert [shelf.get(name) is not None for name in names] == [False, False, True, True]
    assert shelf.get("g99") is None
    assert shelf.get(shelf.put(bytes(1000))) is not None  # one larger than the limit is kept, alone
