"""Strokes written as SVG: round trip, and atomic writing."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import InputError
from linewright.pictures.strokes_svg import write_svg_strokes
from linewright.sources.svg import read_svg

PENS = (Pen("black", "#000000"), Pen('red & "thin"', "#ff0000", 0.5), Pen("<x>", "#00ff00"))

micrometres = st.integers(0, 200_000)
# Neighbours differ, since reading merges repeated points.
stroke = st.lists(st.tuples(micrometres, micrometres), min_size=1, max_size=8).map(
    lambda points: [p for i, p in enumerate(points) if i == 0 or p != points[i - 1]]
)


@given(st.lists(st.tuples(stroke, st.integers(0, 2)), min_size=1, max_size=10))
def test_what_is_written_reads_back_the_same(tmp_path_factory, chosen) -> None:
    drawing = Drawing.from_strokes([np.array(s) / 1000.0 for s, _ in chosen], [p for _, p in chosen], PENS)
    path = tmp_path_factory.getbasetemp() / "strokes.svg"
    write_svg_strokes(drawing, 200.0, 200.0, path, pen_width_mm=0.3)
    back = read_svg(path, pen_by="layer")
    assert back.warnings == ()
    assert (back.width_mm, back.height_mm) == pytest.approx((200.0, 200.0))
    order = np.argsort(drawing.pen, kind="stable")  # pens are written one after another
    assert len(back.drawing) == len(drawing)
    for got, number in zip(back.drawing, order, strict=True):
        np.testing.assert_allclose(got, drawing.stroke(number), atol=1e-9)
    used = [PENS[i].colour for i in range(3) if i in drawing.pen]
    assert [p.colour for p in back.drawing.pens] == used
    assert [p.name for p in back.drawing.pens] == [PENS[i].name for i in range(3) if i in drawing.pen]


def test_coordinates_are_rounded_to_a_micrometre(tmp_path: Path) -> None:
    path = tmp_path / "a.svg"
    write_svg_strokes(Drawing.from_strokes([[(1 / 3, 2 / 3), (99.99996, 0.0)]]), 100.0, 50.5, path, pen_width_mm=0.3)
    text = path.read_text()
    assert '<polyline points="0.333,0.667 100.000,0.000"/>' in text
    assert 'width="100mm" height="50.5mm" viewBox="0 0 100 50.5"' in text


def test_pens_have_their_own_width_or_the_rigs(tmp_path: Path) -> None:
    path = tmp_path / "a.svg"
    drawing = Drawing.from_strokes([[(0, 0), (1, 1)], [(1, 0), (2, 1)]], [0, 1], PENS)
    write_svg_strokes(drawing, 10.0, 10.0, path, pen_width_mm=0.8)
    assert re.findall(r'stroke-width="([0-9.]+)"', path.read_text()) == ["0.8", "0.5"]


def test_an_empty_drawing_is_a_valid_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.svg"
    write_svg_strokes(Drawing.from_strokes([]), 10.0, 10.0, path, pen_width_mm=0.3)
    assert path.read_text().rstrip().endswith("</svg>")


def test_a_failed_write_leaves_the_old_file_and_no_litter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.svg"
    path.write_text("old")

    def full(*_args: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(InputError, match="No space left"):
        write_svg_strokes(Drawing.from_strokes([[(0, 0), (1, 1)]]), 10.0, 10.0, path, pen_width_mm=0.3)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_impossible_targets_and_sizes(tmp_path: Path) -> None:
    drawing = Drawing.from_strokes([[(0, 0), (1, 1)]])
    with pytest.raises(InputError, match="cannot be written"):
        write_svg_strokes(drawing, 10.0, 10.0, tmp_path / "no" / "such" / "folder.svg", pen_width_mm=0.3)
    for size in ((0.0, 10.0), (10.0, -1.0), (float("nan"), 1.0)):
        with pytest.raises(InputError, match="cannot be written"):
            write_svg_strokes(drawing, *size, tmp_path / "a.svg", pen_width_mm=0.3)


def test_the_file_has_the_mode_of_any_new_file(tmp_path: Path) -> None:
    path, plain = tmp_path / "a.svg", tmp_path / "plain"
    plain.write_text("")
    write_svg_strokes(Drawing.from_strokes([[(0, 0), (1, 1)]]), 10.0, 10.0, path, pen_width_mm=0.3)
    assert path.stat().st_mode == plain.stat().st_mode
