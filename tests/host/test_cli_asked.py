"""Texts, patterns and surprises as sources of `lines`, `plan` and `draw`."""

from __future__ import annotations

import inspect
import io
import json
import re
import sys
from dataclasses import dataclass

import pytest
from PIL import Image

from linewright import cli
from linewright.cli.expanded import expanded
from linewright.sources.svg import read_svg


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


def typed(text: str, monkeypatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))


def test_a_text_becomes_strokes_of_the_size_asked_for(tmp_path, capsys):
    words = ["lines", "--text", "HHH", "--as", "lettering:size_mm=12", "-o", "h.svg", "--json"]
    assert cli.run(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["strokes"] == 9
    assert told["warnings"] == []
    _, top, _, foot = read_svg(tmp_path / "h.svg").drawing.bounds_mm()
    assert foot - top == pytest.approx(12.0, abs=1e-3)


@pytest.mark.parametrize("command", [("plan", "--no-pictures"), ("draw",)])
def test_a_text_is_planned_and_drawn(command, capsys):
    name, *more = command
    words = [
        name,
        "--text",
        "Marrow\nQuay",
        "--as",
        "lettering:face=running,size_mm=8",
        "--sheet",
        "A6",
        *more,
        "--json",
    ]
    assert cli.run(words) == 0
    told = json.loads(capsys.readouterr().out)
    # Ten letters, some of them joined.
    assert told["strokes"] >= 6


def test_lines_of_the_standard_input_stay_lines(monkeypatch, capsys):
    typed("one\ntwo\nthree\n", monkeypatch)
    assert cli.run(["lines", "--text-file", "-", "-o", "a.svg", "--json"]) == 0
    three = json.loads(capsys.readouterr().out)["strokes"]
    assert cli.run(["lines", "--text", "one\ntwo\nthree", "-o", "b.svg", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["strokes"] == three


def test_a_text_file_with_a_byte_order_mark(tmp_path, capsys):
    (tmp_path / "a.txt").write_bytes(b"\xef\xbb\xbfTide")
    assert cli.run(["lines", "--text-file", "a.txt", "-o", "a.svg"]) == 0
    assert "has no letter for" not in capsys.readouterr().err


def test_missing_letters_are_named(capsys):
    assert cli.run(["lines", "--text", "tea \u8336", "-o", "a.svg"]) == 0
    errors = capsys.readouterr().err
    assert "note: the face 'plain' has no letter for \u8336 U+8336" in errors
    assert "to avoid gaps, spell them in Latin, Greek or Cyrillic letters" in errors
    assert cli.run(["lines", "--text", "\u65e5\u672c", "-o", "a.svg"]) == 2
    assert "next: spell them in" in capsys.readouterr().err


def test_a_wrong_pattern_is_answered_with_patterns_only(capsys):
    assert cli.run(["plan", "--pattern", "nothing"]) == 2
    errors = capsys.readouterr().err
    assert "there is no pattern 'nothing'" in errors
    assert "hatching" not in errors
    assert "wheels" in errors


def test_a_seed_is_a_whole_number_with_all_its_digits(capsys):
    assert cli.run(["methods", "wheels"]) == 0
    assert "0..2147483648" in capsys.readouterr().out
    for wrong in ("-1", "1.5", "many"):
        assert cli.run(["plan", "--pattern", f"wheels:seed={wrong}"]) == 2
        assert "next: take a whole number of 0..2147483648" in capsys.readouterr().err


@pytest.mark.parametrize("pattern", ["wheels:seed=3", "ribbon", "tiles:across=5,strands=3"])
def test_a_pattern_becomes_strokes(pattern, capsys):
    assert cli.run(["lines", "--pattern", pattern, "--sheet", "A6", "-o", "a.svg", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["pen_down_mm"] > 500


def test_a_pattern_is_turned_without_shrinking(capsys):
    sizes = []
    for turn in ("0", "90"):
        words = ["plan", "--pattern", "ribbon:spacing_mm=5", "--sheet", "A6", "--turn", turn, "--no-pictures", "--json"]
        assert cli.run(words) == 0
        sizes.append(json.loads(capsys.readouterr().out)["pen_down_mm"])
    assert sizes[1] == pytest.approx(sizes[0], rel=0.1)


def test_a_surprise_says_how_to_get_it_again(tmp_path, capsys):
    assert cli.run(["surprise", "--sheet", "A6", "-p", "one"]) == 0
    out = capsys.readouterr().out
    seed, sheet = re.search(r"linewright surprise --seed (\d+) --sheet (\S+)", out).groups()
    assert cli.run(["surprise", "--seed", seed, "--sheet", sheet, "-p", "two"]) == 0
    assert f"linewright draw --pattern surprise:seed={seed} --sheet A6" in capsys.readouterr().out
    (first,) = (tmp_path / "one").glob("*.svg")
    assert first.read_bytes() == (tmp_path / "two" / first.name).read_bytes()


def test_every_method_has_settings_that_its_help_lists(capsys):
    from linewright.sources.methods import METHODS

    for name, method in METHODS.items():
        if method.takes in ("text", "seed"):
            assert cli.run(["methods", name, "--json"]) == 0
            told = json.loads(capsys.readouterr().out)
            assert told["settings"][0]["name"] in ("seed", "face")


def test_one_pen_is_chosen_by_name_colour_and_width(tmp_path, capsys):
    words = ["lines", "--pattern", "ribbon", "--sheet", "A6", "-o", "a.svg", "--json", "--pens"]
    assert cli.run([*words, "sea #1f6f8b 1.0, red"]) == 0
    wide = json.loads(capsys.readouterr().out)
    assert wide["pens"] == ["sea"]
    assert "it uses one pen, sea; the other 1 of --pens are not used" in wide["warnings"]
    assert "#1f6f8b" in (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert cli.run([*words, "black 0.3"]) == 0
    # A finer pen draws closer lines, almost in proportion.
    assert json.loads(capsys.readouterr().out)["pen_down_mm"] > 1.3 * wide["pen_down_mm"]


def test_specimens_show_every_face_and_pattern(tmp_path, capsys):
    assert cli.run(["methods", "--specimens", "all.png", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"picture": "all.png"}
    with Image.open(tmp_path / "all.png") as image:
        assert min(image.size) > 1500
        assert image.convert("L").getextrema() == (0, 255)
    assert cli.run(["methods", "--specimens", "all.txt"]) == 2
    assert "all.txt does not end in .png" in capsys.readouterr().err
    assert not (tmp_path / "all.txt").exists()
    assert cli.run(["methods", "--specimens", "gone/all.png"]) == 2
    assert "gone/all.png cannot be written: No such file" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "no picture to draw was named"),
        (["a.svg", "--text", "b"], "SOURCE and --text were given"),
        (["--text", "a", "--pattern", "wheels"], "--text and --pattern were given"),
        (["--text", "a", "--as", "wheels"], "--text does not go with wheels"),
        (["--text", ""], "the text is empty"),
        (["--pattern", "lettering"], "--pattern does not go with lettering"),
        (["--pattern", "weels"], "there is no pattern 'weels'"),
        (["heron.jpg", "--as", "lettering"], "--as lettering writes text and takes no picture"),
        (["--pattern", "wheels", "--as", "hatching"], "--as does not go with --pattern"),
        (["a.svg", "--as", "wheels"], "makes a pattern"),
        (["--text-file", "gone.txt"], "gone.txt: there is no such file"),
        (["--text-file", "."], ".: that is a folder"),
        (["--text-file", "bad.txt"], "byte 1 is not UTF-8 text"),
        (["--text-file", "long.txt"], "more than 1,000,000 bytes"),
        (["--pattern", "surprise", "--sheet", "30x30mm"], "is too small for a composition"),
    ],
)
def test_what_does_not_go_together_is_refused(words, message, tmp_path, capsys):
    (tmp_path / "bad.txt").write_bytes(b"a\xff\xfe")
    (tmp_path / "long.txt").write_bytes(b"x" * 1_000_001)
    assert cli.run(["lines", *words, "-o", "x.svg"]) == 2
    errors = capsys.readouterr().err
    assert message in errors
    assert "next: " in errors
    assert not (tmp_path / "x.svg").exists()


@dataclass(frozen=True)
class Size:
    width: int = 1


@dataclass(frozen=True, kw_only=True)
class Box:
    size: Size
    name: str = "box"


def test_a_command_that_takes_one_value_is_shown_with_the_fields_that_it_is_made_of():
    @expanded
    def show(box: Box) -> str:
        """Show it."""
        return f"{box.name} {box.size.width}"

    assert list(inspect.signature(show).parameters) == ["width", "name"]
    assert show(width=3, name="crate") == "crate 3"
    assert show.__doc__ == "Show it."
