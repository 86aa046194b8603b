"""One photograph gives scale, squareness and straightness, despite distortion, perspective, blur, noise and shadow."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

cv2 = pytest.importorskip("cv2")

from linewright.calibration.rehearsal.camera import Shot, photograph
from linewright.calibration.trial import catalogue, photo_fit, picture
from linewright.calibration.trial.design import program_of
from linewright.cli import run
from linewright.errors import InputError
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import sheet_on
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.shortcut import draw_on

RIG = Rig.default()
SHEET = sheet_on(RIG)
FAULTS = Faults(scale_x=0.013, scale_y=-0.008, skew_deg=1.2)
TRUTH = {"scale of x": 1.3, "scale of y": -0.8, "squareness": 1.2}
PAPER = (210.0, 297.0)
SMALL = Shot(width_px=1500, height_px=2000)


def drawn(name="photo", faults=FAULTS, rig=RIG):
    return draw_on(Machine.from_rig(rig), faults, program_of(catalogue.design(name, rig, SHEET), rig, SHEET))


@pytest.fixture(scope="module")
def ink():
    return drawn()


def found(image):
    return photo_fit.fit(picture.sight(image, SHEET), RIG, SHEET, PAPER)


def assert_true(finding, left, within_mm=0.1):
    """Every result within its stated uncertainty, and every cross within the intended accuracy."""
    for name, truth in TRUTH.items():
        figure = finding.figure(name)
        assert abs(figure.after - truth) < figure.stated, name
    assert np.hypot(*left.off_mm.T).max() < within_mm
    # Position of the corner of A4 farthest from the zero, by the results and by the true values.
    for axis, side in (("x", 210.0), ("y", 297.0)):
        name = f"scale of {axis}"
        assert abs(finding.figure(name).after - TRUTH[name]) / 100.0 * side < within_mm


def test_twelve_megapixels_give_a_tenth_of_a_millimetre(ink):
    # The bar: 4000 x 3000 pixels, known distortion, tilt, blur, noise and a shadow; 0.1 mm on A4.
    finding, left = found(photograph(ink, SHEET, RIG, Shot()))
    assert_true(finding, left)
    assert np.sqrt(np.mean(left.off_mm**2)) < 0.02


WAYS = {
    "straight above": {"tilt_deg": 0.0, "pan_deg": 0.0, "roll_deg": 0.0, "k1": 0.0, "k2": 0.0},
    "tilted": {"tilt_deg": 18.0, "pan_deg": 12.0},
    "barrel": {"k1": -0.1, "k2": 0.03},
    "upside down": {"roll_deg": 178.0},
    "sideways": {"roll_deg": 90.0, "width_px": 2000, "height_px": 1500},
    "noisy": {"noise": 10.0},
    "a little soft": {"blur_px": 2.0},
    "a hard shadow": {"shadow": (0.2, 0.3)},
    "laid askew": {"laid_deg": 2.0, "laid_mm": (2.0, -1.5)},
}


@pytest.mark.parametrize("way", list(WAYS))
def test_it_does_not_matter_how_the_picture_is_taken(ink, way):
    finding, left = found(photograph(ink, SHEET, RIG, replace(SMALL, **WAYS[way])))
    assert_true(finding, left, within_mm=0.15)


def test_bent_rails_are_told_from_a_bent_picture():
    bent = replace(FAULTS, bow_x_mm=0.6, bow_y_mm=-0.5)
    finding, _ = found(photograph(drawn(faults=bent), SHEET, RIG, SMALL))
    x, y = np.array(finding.changes["corrections.straightness_x_mm"]).T
    truth = 0.6 * 4 * (x + 3) / 310 * (1 - (x + 3) / 310)  # the zero is 3 mm off the switch
    # Offset and slope of a rail are part of the other results, so only the deviation from a line is compared.
    apart = (y - np.polyval(np.polyfit(x, y, 1), x)) - (truth - np.polyval(np.polyfit(x, truth, 1), x))
    assert np.abs(apart).max() < 0.03


def test_what_is_found_makes_the_machine_true():
    finding, _ = found(photograph(drawn(), SHEET, RIG, SMALL))
    rig = RIG.changed(finding.changes)
    again, _ = photo_fit.fit(picture.sight(photograph(drawn(rig=rig), SHEET, rig, SMALL), SHEET), rig, SHEET, PAPER)
    for name in TRUTH:
        figure = again.figure(name)
        assert abs(figure.after - figure.before) < figure.stated


def test_a_paper_that_was_not_measured_does_not_correct_the_scale(ink):
    finding, _ = photo_fit.fit(picture.sight(photograph(ink, SHEET, RIG, SMALL), SHEET), RIG, SHEET, None)
    assert "corrections.scale_x" not in finding.changes
    assert "corrections.squareness_deg" in finding.changes
    assert finding.figure("scale of x").stated > 0.9
    assert any("--paper" in note for note in finding.notes)


BAD = {
    "mirrored": ({"mirrored": True}, "is mirrored"),
    "cropped": ({"shift_px": (400.0, 0.0)}, "lies outside"),
    "blurred": ({"blur_px": 9.0}, "blurred|cannot be found|crosses can be found"),
    "too far away": ({"fill": 0.2}, "no sheet of paper"),
    "nearly dark": ({"shadow": (0.95, 0.0)}, "cannot be found|no sheet|outside|faint|crosses|distinguished from"),
}


@pytest.mark.parametrize("name", list(BAD))
def test_a_bad_picture_is_refused_with_words(ink, name):
    change, words = BAD[name]
    with pytest.raises(InputError, match=words) as refused:
        found(photograph(ink, SHEET, RIG, replace(SMALL, **change)))
    assert refused.value.hint


def test_a_picture_of_something_else_is_refused(ink):
    rng = np.random.default_rng(0)
    for image in (
        np.zeros((2000, 1500), np.uint8),
        np.full((2000, 1500), 255, np.uint8),
        rng.integers(0, 255, (2000, 1500), dtype=np.uint8),
        photograph(drawn("squareness"), SHEET, RIG, SMALL),
        photograph(replace(ink, starts=ink.starts[:2]), SHEET, RIG, SMALL),
    ):
        with pytest.raises(InputError):
            found(image)


def test_paper_of_another_size_does_not_fit(ink):
    sighting = picture.sight(photograph(ink, SHEET, RIG, SMALL), SHEET)
    finding, _ = photo_fit.fit(sighting, RIG, SHEET, (215.0, 297.0))
    # A wrong paper size makes the scale wrong by as much and cannot be detected, so it must be measured.
    assert finding.figure("scale of x").after == pytest.approx(1.3 + 100 * 5 / 210 * 1.013, abs=0.2)


def test_on_the_command_line(ink, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    shot = tmp_path / "sheet.jpg"
    cv2.imwrite(str(shot), photograph(ink, SHEET, RIG, SMALL), [cv2.IMWRITE_JPEG_QUALITY, 90])
    rig = tmp_path / "rig.toml"
    rig.write_text(Rig.default_text())
    words = ["fit", "photo", "--photo", str(shot), "--rig", str(rig)]
    assert run([*words, "--paper", "210x297", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["changes"]["corrections.scale_x"] == pytest.approx(0.013, abs=3e-4)
    assert Rig.load(rig).corrections.squareness_deg == pytest.approx(1.2, abs=0.05)
    # Applying the same photograph again would correct the same error twice.
    once = rig.read_text()
    assert run(words) == 2
    assert "has corrected" in capsys.readouterr().err
    assert rig.read_text() == once
    assert run(["fit", "--undo", "--rig", str(rig)]) == 0
    assert Rig.load(rig).corrections == Rig.default().corrections
    assert run([*words, "--paper", "210x297"]) == 0
    assert rig.read_text() == once
    capsys.readouterr()
    assert run([*words, "--only-show", "--map", str(tmp_path / "left.png")]) == 0
    assert "the remaining error at each cross" in capsys.readouterr().out
    assert (tmp_path / "left.png").read_bytes().startswith(b"\x89PNG")
    assert run([*words, "--map", "left.gif"]) == 2
    assert run(["fit", "backlash", "--map", "left.png"]) == 2
    capsys.readouterr()
    for more, message in (
        (["--paper", "297x210"], "is not the size"),
        (["--paper", "big"], "no sheet size"),
    ):
        assert run([*words, *more]) == 2
        assert message in capsys.readouterr().err
    for picture_file, message in (("none.jpg", "cannot read"), ("rig.toml", "not a readable picture")):
        assert run(["fit", "photo", "--photo", str(tmp_path / picture_file)]) == 2
        assert message in capsys.readouterr().err
    assert run(["fit", "photo", "x=1"]) == 2
    assert run(["fit", "backlash", "--paper", "A4"]) == 2
    small = tmp_path / "small.png"
    cv2.imwrite(str(small), np.zeros((100, 100), np.uint8))
    assert run(["fit", "photo", "--photo", str(small)]) == 2
    assert "only 100 x 100 pixels" in capsys.readouterr().err


def test_without_opencv_it_says_what_to_install(monkeypatch, tmp_path, capsys):
    import importlib

    def missing(name):
        raise ImportError(name)

    monkeypatch.setattr(importlib, "import_module", missing)
    with pytest.raises(InputError) as refused:
        picture.read(tmp_path / "x.jpg")
    assert "linewright[vision]" in refused.value.hint
