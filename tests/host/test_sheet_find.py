"""Position and rotation of the sheet from its corners, applied to drawings."""

from __future__ import annotations

import json
import os
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright import cli
from linewright.cli.sheet import _way
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError
from linewright.planning.placement import to_machine
from linewright.rig.rig import Rig
from linewright.rig.sheet_found import sheet_found
from linewright.rig.sheet_place import sheet_on
from linewright.sheet.sizes import Sheet

A5 = Sheet.named("A5")


def corners(offset, turn_deg, names=("top left", "top right", "bottom left")):
    """By complex numbers: a turn is a factor of modulus one."""
    factor = np.exp(1j * np.radians(turn_deg))
    places = {"top left": 0, "top right": A5.width_mm, "bottom left": 1j * A5.height_mm}
    found = {name: complex(*offset) + factor * places[name] for name in names}
    return {name: (z.real, z.imag) for name, z in found.items()}


@given(st.floats(0, 200), st.floats(0, 200), st.floats(-4.9, 4.9), st.sampled_from([2, 3]))
def test_the_place_and_the_turn_come_back(x, y, turn, count):
    names = ("top left", "top right", "bottom left")[:count]
    found = sheet_found(A5, corners((x, y), turn, names))
    assert found.offset_mm == pytest.approx((x, y), abs=0.006)
    assert found.turn_deg == pytest.approx(turn, abs=0.0006)
    assert found.off_mm < 1e-6


def test_corners_that_cannot_be_are_refused():
    good = corners((20, 20), 1.0)
    for wrong, words in (
        ({"top left": good["top left"]}, "two corners are needed"),
        ({**good, "top right": good["bottom left"]}, "mm from those of a A5 sheet"),
        (corners((20, 20), 9.0), "rotated by 9.0 degrees"),
        (corners((-20, 20), 0.0), "outside the machine's range"),
    ):
        with pytest.raises(InputError, match=words):
            sheet_found(A5, wrong)


def test_what_is_drawn_lies_on_the_sheet_as_it_was_found():
    rig = Rig.default().changed({"sheet.size": "A5", "sheet.offset_mm": [20.0, 10.0], "sheet.turn_deg": 2.0})
    on = sheet_on(rig)
    strokes = Drawing.from_strokes([[[20.0, 30.0], [100.0, 30.0]], [[-50.0, 60.0], [100.0, 60.0]]])
    placed = to_machine(strokes, on, rig)
    factor = np.exp(1j * np.radians(2.0))
    expected = [complex(20, 10) + factor * complex(*point) for point in ((20, 30), (100, 30), (10, 60), (100, 60))]
    assert placed.points_mm[:, 0] + 1j * placed.points_mm[:, 1] == pytest.approx(expected, abs=1e-9)
    assert placed.cut.length_mm == pytest.approx(60.0)  # from -50 to the margin, along the sheet's own edge
    assert rig.fingerprint() != rig.changed({"sheet.turn_deg": 0.0}).fingerprint()


@pytest.mark.parametrize(
    ("typed", "way"),
    [
        ("\x1b[C\x1b[C\x1b[B", (2.0, 1.0)),
        ("^[[D^[[A", (-1.0, -1.0)),
        ("5 -2.5", (5.0, -2.5)),
        ("-1,5 ; 2", (-1.5, 2.0)),
        ("3", (3.0, 0.0)),
        ("left", None),
        ("1 2 3", None),
    ],
)
def test_what_is_typed_moves_the_pen(typed, way):
    assert _way(typed) == way


@pytest.mark.parametrize(("board", "code"), [("virtual", 0), ("rp2040", 0)])
def test_on_the_command_line(board, code, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    text = Rig.default_text().replace('board = "virtual"', f'board = "{board}"').replace('size = "A4"', 'size = "A6"')
    (tmp_path / "rig.toml").write_text(text)
    reading, writing = os.pipe()
    os.write(writing, b"nonsense\n-90 0\n5 0\n\x1b[C\x1b[C\n3 1\n\n5 2.83\n\nskip\n")
    os.close(writing)
    with os.fdopen(reading) as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        assert cli.run(["sheet", "find", "--rig", "rig.toml", "--port", "virtual", "--json"]) == code
    said = capsys.readouterr()
    facts = json.loads(said.out)
    # The file says 5, 5: two arrows and 3, 1 make 10, 6. Then from 110, 5 to 115, 7.83: 1.83 on 105 mm are 1 degree.
    assert facts["offset_mm"] == pytest.approx([10.0, 6.0], abs=0.02)
    assert facts["turn_deg"] == pytest.approx(1.0, abs=0.02)
    assert "arrow keys, two numbers" in said.err
    assert "x = 0.00, y = 5.00 mm: the end of the travel\n  x = 5.00, y = 5.00 mm\n" in said.err
    now = Rig.load(tmp_path / "rig.toml")
    if board == "virtual":
        assert now.sheet.turn_deg == facts["turn_deg"]
        assert list(now.sheet.offset_mm) == facts["offset_mm"]
    else:
        assert re.search("SIMULATION", said.err) or facts["rehearsal"]
        assert (tmp_path / "rig.toml").read_text() == text
