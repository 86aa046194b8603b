"""Photographs on the command line: methods, comparison, pens."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image

from host.photographs import hills
from linewright import cli


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
    assert "note: cross-hatching" in capsys.readouterr().err


def test_each_pen_has_a_preview_and_a_time(photo, tmp_path, capsys):
    words = ["plan", photo, "--as", "hatching", "--pens", "black, sky blue #3377cc 0.4", "--sheet", "A6", "-p", "out"]
    assert cli.run(words) == 0
    assert "pen sky blue" in capsys.readouterr().out
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"hills-pen-1-sky-blue.png", "hills-pen-2-black.png", "hills-preview.png"} <= names


def test_compare_draws_all_on_one_sheet(photo, tmp_path, capsys):
    words = ["compare", photo, "--sheet", "50x50mm", "--as", "hatching", "--as", "waves", "-o", "c.png", "--json"]
    assert cli.run(words) == 0
    result = json.loads(capsys.readouterr().out)
    assert [one["method"] for one in result["methods"]] == ["hatching", "waves"]
    assert all(0 <= one["tone_error"] < 0.1 for one in result["methods"])
    with Image.open(tmp_path / "c.png") as sheet:
        assert min(sheet.size) > 500


def test_compare_names_what_it_cannot_do(photo, tmp_path, capsys):
    assert cli.run(["compare", "missing.png"]) == 2
    assert "there is no such file" in capsys.readouterr().err
    assert cli.run(["compare", photo, "--as", "lettering"]) == 2
    assert "no method for photographs" in capsys.readouterr().err
    assert cli.run(["compare", photo, "--sheet", "50x50mm", "--as", "waves", "-o", "no/such/c.png"]) == 2
    assert "cannot be written" in capsys.readouterr().err
    Image.new("L", (40, 30), 255).save(tmp_path / "white.png")
    assert cli.run(["compare", "white.png", "--sheet", "50x50mm"]) == 2
    assert "no method has found anything to draw" in capsys.readouterr().err


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
