"""Tuning chooses the fastest setting within the allowed wobble of a drawing, and states its time."""

from __future__ import annotations

import json

import numpy as np
import pytest

from linewright.calibration import tuning
from linewright.calibration.tuning import MOST_MM, _sample, tune
from linewright.cli import run
from linewright.cli.tables.tuning import verdict
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError
from linewright.rig.rig import Rig

TURN = np.linspace(0, 2 * np.pi, 60)
CARD = Drawing.from_strokes(
    [
        [[20, 20], [80, 20], [80, 60], [20, 60], [20, 20]],
        np.column_stack((50 + 15 * np.cos(TURN), 40 + 15 * np.sin(TURN))),
        [[25, 30], [35, 50], [45, 30], [55, 50]],
    ]
)


@pytest.fixture(autouse=True)
def _one_stroke_for_the_tip(monkeypatch):
    """Plans for the tip take seconds, so one stroke represents the drawing."""
    monkeypatch.setattr(tuning, "TIP_MOST_MM", 1.0)


def rings(x_hz: float, y_hz: float) -> Rig:
    return Rig.default().changed({"smoothing.x_hz": x_hz, "smoothing.y_hz": y_hz})


def test_a_machine_that_rings_badly_is_calmed():
    choice = tune(CARD, rings(10.0, 13.0), 0.1)
    assert choice.within
    assert choice.now.wobble_mm > 0.3
    assert choice.best.wobble_mm <= 0.1
    assert choice.best.changes
    assert all(c.predicted_s >= choice.best.predicted_s for c in choice.tried if c.wobble_mm <= 0.1)
    # The recommendation is valid in the rig file.
    rings(10.0, 13.0).changed(choice.best.changes)


@pytest.mark.slow
def test_plans_for_the_tip_are_tried_and_timed_on_a_part(monkeypatch):
    monkeypatch.setattr(tuning, "TIP_MOST_MM", 1_000.0)
    whole = tune(CARD, rings(14.0, 19.0), 0.05)
    tip = next(c for c in whole.tried if c.name.startswith("tip"))
    assert tip.wobble_mm <= 0.05
    assert whole.best is tip
    monkeypatch.setattr(tuning, "TIP_MOST_MM", 200.0)
    part = next(c for c in tune(CARD, rings(14.0, 19.0), 0.05).tried if c.name.startswith("tip"))
    assert part.name == "tip, within 0.05 mm (by 2 of 3 strokes)"
    assert part.predicted_s == pytest.approx(tip.predicted_s, rel=0.1)


def test_a_stiff_machine_keeps_its_speed():
    told = []
    choice = tune(CARD, rings(150.0, 180.0), 0.1, lambda doing, done: told.append((doing, done)))
    assert choice.best is choice.now
    # Progress shows the tried settings and the completed share.
    shares = [done for _, done in told]
    assert len(told) > 3
    assert shares == sorted(shares)
    assert 0.0 <= shares[0] < shares[-1] <= 1.0


def test_where_nothing_is_calm_enough_the_calmest_is_taken_and_said_to_be():
    choice = tune(CARD, rings(8.0, 9.0), 0.006)
    assert not choice.within
    assert choice.best.wobble_mm == min(c.wobble_mm for c in (choice.now, *choice.tried))


def test_without_a_measured_frequency_there_is_nothing_to_tune():
    with pytest.raises(InputError, match="ringing frequencies of the machine are not known"):
        tune(CARD, rings(0.0, 0.0), 0.1)


def test_of_a_long_drawing_strokes_are_taken_evenly():
    many = Drawing.from_strokes([[[10, y % 200], [210, y % 200]] for y in range(400)])
    part = _sample(many)
    assert float(part.stroke_lengths_mm().sum()) <= MOST_MM * 1.01
    assert len(part) == 100
    assert _sample(CARD).vertices == CARD.vertices


def test_the_command_writes_what_it_chose(tmp_path, capsys):
    rig = tmp_path / "rig.toml"
    rig.write_text(Rig.default_text())
    picture = tmp_path / "card.svg"
    path = '<path d="M5 5H50V30H5Z M9 9L40 25" fill="none" stroke="black"/>'
    picture.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm">{path}</svg>')
    assert run(["fit", "ringing", "x3-waves=4", "x3-length=24", "y3-waves=4", "y3-length=20", "--rig", str(rig)]) == 0
    capsys.readouterr()
    assert run(["tune", str(picture), "--rig", str(rig), "--sheet", "A6", "--wobble", "0.08", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    after = Rig.load(rig)
    for key, value in said["best"]["changes"].items():
        place = after
        for part in key.split("."):
            place = getattr(place, part)
        assert place == value
    assert run(["tune", str(picture), "--rig", str(rig), "--wobble", "0"]) == 2
    assert run(["tune", str(tmp_path / "none.svg"), "--rig", str(rig)]) == 2


def test_a_new_rig_file_holds_no_frequency_that_nobody_has_measured(tmp_path, capsys):
    rig = tmp_path / "rig.toml"
    assert run(["rig", "new", "--output", str(rig), "--usual"]) == 0
    before = rig.read_bytes()
    capsys.readouterr()
    picture = tmp_path / "card.svg"
    path = '<path d="M5 5H50V30H5Z M9 9L40 25" fill="none" stroke="black"/>'
    picture.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm">{path}</svg>')
    assert run(["tune", str(picture), "--rig", str(rig)]) == 2
    said = capsys.readouterr().err
    assert "ringing frequencies of the machine are not known" in said
    assert "linewright trial ringing" in said
    assert rig.read_bytes() == before


def test_what_best_means_is_said():
    words = verdict(tune(CARD, rings(10.0, 13.0), 0.1), 0.1)
    assert "fastest setting whose lines stay within 0.1 mm" in words
    assert "--wobble" in words
