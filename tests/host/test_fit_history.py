"""No trial sheet is applied twice, and the last fit can be undone."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest

from linewright.calibration.trial import history
from linewright.cli import run
from linewright.rig.rig import Rig

TEXT = Rig.default_text()


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "rig.toml").write_text(TEXT)
    return tmp_path


def sheet(capsys, *more: str) -> dict[str, str]:
    capsys.readouterr()
    assert run(["trial", "backlash", "--rig", "rig.toml", "--json", *more]) == 0
    said: dict[str, str] = json.loads(capsys.readouterr().out)
    return said


def fill(table: str, **figures: str) -> None:
    rows = list(csv.DictReader(Path(table).read_text(encoding="utf-8").splitlines()))
    for row in rows:
        row["measured"] = figures.get(row["name"].replace("-", "_"), "")
    with Path(table).open("w", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def test_the_same_sheet_is_recognised_and_another_one_is_not(place, capsys):
    first = sheet(capsys)
    fill(first["table"], x_upper="6", y_left="2.5")
    assert run(["fit", first["table"], "--rig", "rig.toml"]) == 0
    assert "`linewright fit --undo --rig rig.toml` restores it" in capsys.readouterr().out
    once = (place / "rig.toml").read_text()
    # Again, by the same form, by changed values in it, and by the name of its sheet.
    assert run(["fit", first["table"], "--rig", "rig.toml"]) == 2
    assert "this sheet has corrected rig.toml already" in capsys.readouterr().err
    fill(first["table"], x_upper="5", y_left="2")
    assert run(["fit", first["table"], "--rig", "rig.toml"]) == 2
    assert run(["fit", "backlash", "x-upper=6", "y-left=2.5", "--rig", "rig.toml"]) == 2
    assert (place / "rig.toml").read_text() == once
    # A new sheet is drawn with the corrections, so its values are added, even if they are the same.
    second = sheet(capsys)
    fill(second["table"], x_upper="6", y_left="2.5")
    assert run(["fit", second["table"], "--rig", "rig.toml"]) == 0
    twice = Rig.load("rig.toml").corrections
    assert twice.backlash_x_mm == pytest.approx(2 * Rig.parse(once).corrections.backlash_x_mm)


def test_figures_of_a_sheet_that_nobody_knows_count_once(place, capsys, monkeypatch):
    words = ["fit", "backlash", "x-upper=6", "y-left=2.5", "--rig", "rig.toml"]
    assert run(words) == 0
    once = (place / "rig.toml").read_text()
    capsys.readouterr()
    # Even if the user confirms that it was drawn with the present file.
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    assert run(words) == 2
    assert "this measurement has corrected rig.toml already" in capsys.readouterr().err
    assert (place / "rig.toml").read_text() == once


def test_a_name_means_the_newest_sheet_of_this_rig(place, capsys):
    sheet(capsys)
    assert run(["fit", "backlash", "x-upper=6", "y-left=2.5", "--rig", "rig.toml", "--json"]) == 0
    said = capsys.readouterr()
    assert "the newest 'backlash' sheet" in said.err
    assert json.loads(said.out)["kept"]
    # The rig has changed since that sheet was made, so other figures of it are refused, too.
    assert run(["fit", "backlash", "x-upper=7", "y-left=2.5", "--rig", "rig.toml"]) == 2
    assert "linewright trial backlash --rig rig.toml" in capsys.readouterr().err


def test_undo_goes_back_step_by_step_and_no_farther(place, capsys):
    first = sheet(capsys)
    fill(first["table"], x_upper="6", y_left="2.5")
    assert run(["fit", first["table"], "--rig", "rig.toml"]) == 0
    once = (place / "rig.toml").read_text()
    second = sheet(capsys)
    fill(second["table"], x_upper="2", y_left="1")
    assert run(["fit", second["table"], "--rig", "rig.toml"]) == 0
    assert run(["fit", "--undo", "--rig", "rig.toml"]) == 0
    assert (place / "rig.toml").read_text() == once
    assert run(["fit", "--undo", "--rig", "rig.toml"]) == 0
    assert (place / "rig.toml").read_text() == TEXT
    assert run(["fit", "--undo", "--rig", "rig.toml"]) == 2
    assert "there is no fit of rig.toml to undo" in capsys.readouterr().err
    # After undoing a fit, the sheet may be fitted again.
    assert run(["fit", first["table"], "--rig", "rig.toml"]) == 0
    assert (place / "rig.toml").read_text() == once


def test_undo_keeps_what_was_changed_by_hand_since(place, capsys):
    assert run(["fit", "backlash", "x-upper=6", "y-left=2.5", "--rig", "rig.toml"]) == 0
    mine = re.sub(r"backlash_x_mm = [0-9.]+", "backlash_x_mm = 0.2", (place / "rig.toml").read_text())
    (place / "rig.toml").write_text(mine)
    capsys.readouterr()
    assert run(["fit", "--undo", "--rig", "rig.toml"]) == 2
    assert "corrections.backlash_x_mm in rig.toml is not what the fit of 'backlash' wrote" in capsys.readouterr().err
    assert (place / "rig.toml").read_text() == mine
    assert run(["fit", "--undo", "--rig", "default"]) == 2
    assert run(["fit", "photo", "--undo", "--rig", "rig.toml"]) == 2
    assert run(["fit", "--rig", "rig.toml"]) == 2


@pytest.mark.parametrize("damage", ["", "{", "{}", '[{"what": 3, "odd": 1}]'])
def test_a_damaged_history_is_an_empty_one(damage):
    history.FILE.path.parent.mkdir(parents=True)
    history.FILE.path.write_text(damage)
    assert history.entries() == []


def test_a_wrong_figure_is_refused_when_it_is_typed_and_the_others_are_kept(monkeypatch, capsys):
    typed = iter(["6", "99", "two", "", "2.5", ""])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    asked = []

    def prompt(text, **_):
        asked.append(text)
        return next(typed)

    monkeypatch.setattr("typer.prompt", prompt)
    assert run(["fit", "backlash", "--rig", "rig.toml"]) == 0
    said = capsys.readouterr().err
    assert [text.partition(":")[0] for text in asked] == [
        "x-upper",
        "x-lower",
        "x-lower",
        "x-lower",
        "y-left",
        "y-right",
    ]
    assert "[drawn: 0 " in asked[0]
    assert "99" in said
    assert "is not a number" in said
    assert Path("rig.toml.before-1").exists()


def test_measuring_goes_back_and_stops(monkeypatch, capsys):
    before = Path("rig.toml").read_bytes()
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    asked = []

    def prompt(text, **_):
        asked.append(text.partition(":")[0])
        return next(typed)

    monkeypatch.setattr("typer.prompt", prompt)
    typed = iter(["back", "", "6", "2.5", "stop"])
    assert run(["fit", "backlash", "--rig", "rig.toml"]) == 130
    assert asked == ["x-upper", "x-upper", "x-upper", "x-lower", "y-left"]
    assert "is needed here" in capsys.readouterr().err
    assert Path("rig.toml").read_bytes() == before
    asked.clear()
    typed = iter(["6", "back", "2.5", "2.5", "2.5", ""])
    assert run(["fit", "backlash", "--rig", "rig.toml"]) == 0
    assert asked == ["x-upper", "x-lower", "x-upper", "x-lower", "y-left", "y-right"]
