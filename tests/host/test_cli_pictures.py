"""Photographs on the command line: methods, comparison, pens."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
from PIL import Image

from host.photographs import hills
from linewright import cli
from linewright.drawing.strokes import Drawing
from linewright.pictures.contact_sheet import GAP_PX
from linewright.planning.comparison import ComparedMethod
from linewright.planning.comparison_sheet import caption, comparison_sheet
from linewright.sources import Picture
from linewright.sources.photograph import Photograph
from linewright.sources.tone.meter import MeterReading


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture
def photo(tmp_path) -> str:
    rgb = np.stack((hills(1), hills(2), hills(3)), axis=2)
    Image.fromarray((rgb * 255).astype(np.uint8)).save(tmp_path / "hills.png")
    return "hills.png"


def test_methods_lists_what_there_is_and_the_settings_of_one(capsys):
    assert cli.run(["methods"]) == 0
    out = capsys.readouterr().out
    for name in ("outline", "contours", "hatching", "streamlines", "stippling", "one-line", "waves", "spiral", "auto"):
        assert f"\n{name} " in out
    assert cli.run(["methods", "hatching", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    angle = next(one for one in shown["settings"] if one["name"] == "angle_deg")
    assert angle["allowed"] == "-180..180 deg"
    assert cli.run(["methods", "hatchin"]) == 2
    assert "did you mean hatching?" in capsys.readouterr().err


def test_lines_of_a_photograph_fill_the_sheet(photo, capsys):
    assert cli.run(["lines", photo, "--as", "hatching:angle_deg=0", "--sheet", "A6", "-o", "l.svg", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    # 64 x 48 pixels on 85 x 128 mm, turned: 128 across the room's height would need 96 mm, so 85 decides.
    assert (result["width_mm"], result["height_mm"]) == pytest.approx((85 * 4 / 3, 85.0))
    assert result["strokes"] > 50


def test_a_photograph_without_a_method_says_what_was_chosen(photo, capsys):
    assert cli.run(["plan", photo, "--sheet", "A6", "--no-pictures"]) == 0
    assert "note: auto takes strokes" in capsys.readouterr().err


def test_each_pen_has_a_preview_and_a_time(photo, tmp_path, capsys):
    words = ["plan", photo, "--as", "hatching", "--pens", "black, sky blue #3377cc 0.4", "--sheet", "A6", "-p", "out"]
    assert cli.run(words) == 0
    assert "pen sky blue" in capsys.readouterr().out
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"hills-png-pen-1-sky-blue.png", "hills-png-pen-2-black.png", "hills-png-preview.png"} <= names


def test_compare_draws_all_on_one_sheet(photo, tmp_path, capsys):
    words = ["compare", photo, "--sheet", "50x50mm", "--as", "hatching", "--as", "waves", "-o", "c.png", "--json"]
    assert cli.run(words) == 0
    result = json.loads(capsys.readouterr().out)
    assert [one["method"] for one in result["methods"]] == ["hatching", "waves"]
    assert all(0 <= one["tone_error"] < 0.1 for one in result["methods"])
    with Image.open(tmp_path / "c.png") as sheet:
        assert min(sheet.size) > 500
    assert cli.run(["plan", photo, "--sheet", "50x50mm", "--as", "waves", "--no-pictures", "--json"]) == 0
    planned_s = json.loads(capsys.readouterr().out)["predicted_s"]
    # A comparison skips the search for a better order, which saves little for rows.
    assert result["methods"][1]["predicted_s"] == pytest.approx(planned_s, rel=0.1)


def test_compare_tells_a_person_what_its_figures_are(photo, tmp_path, capsys):
    words = ["compare", photo, "--sheet", "50x50mm", "--as", "waves", "--as", "centre-lines"]
    assert cli.run(words) == 0
    out = capsys.readouterr().out
    assert "drawing time" in out
    assert "centre-lines (for line art)" in out
    assert "recommended" not in out  # they were named
    assert f"linewright draw {photo} --as waves" in out
    assert "likeness: of the structure seen, 1 is equal" in out
    assert out.rstrip().endswith("hills-methods.png")
    assert (tmp_path / "out" / "hills-methods.png").exists()


def test_the_commands_of_compare_draw_what_it_shows(photo, capsys):
    words = ["--sheet", "50x60mm", "--margin", "4.5", "--landscape"]
    assert cli.run(["compare", photo, *words, "--as", "waves", "--as", "hatching:angle_deg=30"]) == 0
    lines = [line.strip() for line in capsys.readouterr().out.splitlines() if line.startswith("  linewright draw ")]
    tail = "--sheet 50x60mm --margin 4.5 --landscape"
    assert lines == [f"linewright draw {photo} --as {way} {tail}" for way in ("waves", "hatching:angle_deg=30")]


def test_the_photograph_lies_on_the_sheet_like_the_drawings():
    drawing = Drawing.from_strokes([[(0.0, 0.0), (40.0, 30.0)]])
    entry = ComparedMethod("waves", 0.1, Picture(drawing, 40.0, 30.0), MeterReading(0.1, 0.0, 0.5, 0.2), drawing_s=61.0)
    assert caption(entry) == "waves   1 min 01 s   tone error 0.100"
    assert caption(entry, "waves") == "* waves   1 min 01 s   tone error 0.100"
    assert caption(entry, "spiral") == caption(entry)
    black = Photograph(np.zeros((30, 40, 3), dtype=np.float32))
    pixels = np.asarray(Image.open(io.BytesIO(comparison_sheet(black, [entry], pen_mm=0.5))).convert("L"))
    across = (pixels.shape[1] - 3 * GAP_PX) // 2
    left = pixels[GAP_PX:-GAP_PX, GAP_PX : GAP_PX + across]
    right = pixels[GAP_PX:-GAP_PX, across + 2 * GAP_PX : -GAP_PX]
    assert left.shape == right.shape
    # Above the captions: black on the left, paper on the right, except for the 4 pixels of the sheet's edge.
    rows, columns = np.nonzero(left[: int(0.9 * len(left))] < 10)
    paper_rows, paper_columns = np.nonzero(right[: int(0.9 * len(right))] > 250)
    for dark, bright in ((rows, paper_rows), (columns, paper_columns)):
        assert abs(dark.min() - bright.min()) <= 4
        assert abs(dark.max() - bright.max()) <= 4


def test_compare_names_what_it_cannot_do(photo, tmp_path, capsys):
    assert cli.run(["compare", "missing.png"]) == 2
    assert "there is no such file" in capsys.readouterr().err
    assert cli.run(["compare", photo, "--as", "lettering"]) == 2
    assert "not a method for photographs" in capsys.readouterr().err
    assert cli.run(["compare", photo, "--sheet", "50x50mm", "--as", "waves", "-o", "no/such/c.png"]) == 2
    assert "cannot be written" in capsys.readouterr().err
    assert cli.run(["compare", photo, "-o", "c.svg"]) == 2
    assert "c.svg does not end in .png" in capsys.readouterr().err
    Image.new("L", (40, 30), 255).save(tmp_path / "white.png")
    assert cli.run(["compare", "white.png", "--sheet", "50x50mm"]) == 2
    assert "no method finds anything to draw" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--as", "hatching:angle=3"), "has no setting"),
        (("--as", "nothing"), "there is no method"),
        (("--pens", "no-such-colour"), "is no colour"),
        (("--pens", "red 900"), "outside 0.05..30 mm"),
    ],
)
def test_wrong_options_are_named(photo, words, said, capsys):
    assert cli.run(["plan", photo, *words, "--no-pictures"]) == 2
    assert said in capsys.readouterr().err
