"""Trial sheets: they can be drawn, measurements give the machine's errors, and impossible values are refused."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats
from typer import Abort

from linewright.calibration.rehearsal.guided import _laid_on
from linewright.calibration.rehearsal.ruler import measure
from linewright.calibration.trial import catalogue, combs, form, ladders, lengths, returns, waves
from linewright.calibration.trial.design import program_of
from linewright.calibration.trial.least_squares import READING_SHARE, solve
from linewright.calibration.trial.page import Page
from linewright.cli import run
from linewright.errors import InputError, SheetError
from linewright.motion.pen_lifts import PenLifts
from linewright.rig.edit import changed_text, edit_rig
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import sheet_on
from linewright.sheet.sizes import Sheet
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.shortcut import draw_on

RIG = Rig.default()
SHEET = sheet_on(RIG)


def found(name, faults, rig=RIG, seed=1, **options):
    trial = catalogue.design(name, rig, SHEET, options)
    ink = draw_on(Machine.from_rig(rig), faults, program_of(trial, rig, SHEET))
    answers = measure(trial, ink, SHEET, rig, np.random.default_rng(seed))
    checked = form.checked(trial, rig, SHEET, {key: repr(value) for key, value in answers.items()})
    return catalogue.kind(name).fit(trial, rig, SHEET, checked.answers, 0.1)


@pytest.mark.parametrize("sheet", ["A4", "A4 landscape", "A3"])
@pytest.mark.parametrize("name", list(catalogue.KINDS))
def test_every_sheet_fits_and_is_drawn_whole(name, sheet):
    rig = RIG.changed({"axis.x.travel_mm": 440.0, "axis.y.travel_mm": 440.0})
    lies = Sheet.named(sheet)
    trial = catalogue.design(name, rig, lies)
    program = program_of(trial, rig, lies)
    assert len(program.drawing) == len(trial.drawing)
    x0, y0, x1, y1 = trial.drawing.bounds_mm()
    left, top, right, bottom = lies.box_mm
    assert left <= x0 <= x1 <= right
    assert top <= y0 <= y1 <= bottom
    assert program.end_steps == program.start_steps
    assert len({entry.name for entry in trial.entries}) == len(trial.entries)


@pytest.mark.parametrize("name", ["heights", "straightness"])
def test_what_is_measured_on_a_turned_sheet_belongs_to_where_it_was_drawn(name):
    # The maps of heights and rails lie in the machine, so the marks are drawn along its axes, however paper lies.
    turned = RIG.changed({"sheet.offset_mm": [5.0, 5.0], "sheet.turn_deg": 1.5, "axis.y.travel_mm": 330.0})
    straight = turned.changed({"sheet.turn_deg": 0.0})
    trial = catalogue.design(name, turned, SHEET)
    program = program_of(trial, turned, SHEET)
    assert np.array_equal(program.drawing.points_mm, program_of(trial, straight, SHEET).drawing.points_mm)
    program.check_rig(turned)
    answers = {entry.name: entry.expected for entry in trial.entries}
    of_turned, of_straight = (
        catalogue.kind(name).fit(trial, rig, SHEET, answers, 0.1).changes for rig in (turned, straight)
    )
    assert of_turned == of_straight


def test_a_trial_sheet_that_would_miss_turned_paper_is_refused():
    reach = {"axis.x.travel_mm": 440.0, "axis.y.travel_mm": 440.0}
    turned = RIG.changed({"sheet.offset_mm": [5.0, 5.0], "sheet.turn_deg": 5.0, **reach})
    with pytest.raises(SheetError, match="turned by 5 degrees"):
        program_of(catalogue.design("photo", turned, Sheet.named("A4")), turned, Sheet.named("A4"))


@pytest.mark.parametrize("name", [name for name in catalogue.KINDS if name != "scale"])
def test_a_sheet_that_is_too_small_is_refused(name):
    with pytest.raises(SheetError):
        program_of(catalogue.design(name, RIG, Sheet.named("60x60mm")), RIG, Sheet.named("60x60mm"))


# Published figures


def test_the_fit_and_its_uncertainty_against_scipy():
    # scipy.stats.linregress, an independent library, is the reference: slope, intercept and both standard errors.
    rng = np.random.default_rng(4)
    x = np.linspace(0, 10, 12)
    y = 3.0 + 0.7 * x + rng.normal(0, 0.2, 12)
    reference = stats.linregress(x, y)
    ours = solve(lambda p: p[0] + p[1] * x, y, np.zeros(2), scatter=1e-12)
    assert ours.values == pytest.approx([reference.intercept, reference.slope], rel=1e-9)
    assert ours.stated / 3.0 == pytest.approx([reference.intercept_stderr, reference.stderr], rel=1e-6)


def test_rounding_has_the_uncertainty_of_the_guide():
    # JCGM 100:2008, 4.3.7: a value known to lie within +- a, equally likely everywhere, has a / sqrt(3); two ends, each
    # rounded to a unit (a = 1/2) and laid on as well: sqrt(4) of it.
    assert math.sqrt(4) * 0.5 / math.sqrt(3) == pytest.approx(READING_SHARE, abs=0.03)


def test_the_range_of_five_values_is_what_control_charts_say():
    # d2 for n = 5 is 2.326 (ISO 7870-2, from memory): the integral of 1 - F^n - (1 - F)^n over the normal distribution.
    d2, _ = integrate.quad(lambda x: 1 - stats.norm.cdf(x) ** 5 - (1 - stats.norm.cdf(x)) ** 5, -8, 8)
    assert d2 == pytest.approx(returns.RANGE_TO_DEVIATION, abs=5e-4)


def test_repeatability_is_that_of_iso_230_2():
    # ISO 230-2: R = max(2 s+ + 2 s- + |B|, 4 s+, 4 s-) (from memory). With ranges of 0.2326 and 0.1163 mm of five, s is
    # 0.1 and 0.05; B = 0.3: 0.2 + 0.1 + 0.3 = 0.6.
    trial = catalogue.design("repeatability", RIG, SHEET)
    answers = {entry.name: 0.0 for entry in trial.entries} | {"x1-first": 0.2326, "x1-second": 0.1163, "x1-step": 0.3}
    finding = returns.fit(trial, RIG, SHEET, answers, 0.1)
    assert finding.figure("repeatability of x").after == pytest.approx(0.6, abs=1e-4)
    assert finding.figure("repeatability of y").after == 0.0


def test_squareness_from_the_diagonals_alone_is_the_law_of_cosines():
    # A rhombus with sides s and an angle of 90 - e degrees has the diagonals s sqrt(2 +- 2 sin e).
    trial = catalogue.design("squareness", RIG, SHEET)
    spans = {span.name: span for span in lengths.spans_of("squareness", SHEET)}
    lean = math.radians(1.0)

    def shown(span):
        dx, dy = (b - a for a, b in zip(span.begin, span.end, strict=True))
        return math.hypot(dx + math.tan(lean) * dy, dy)

    finding = lengths.fit(trial, RIG, SHEET, {name: shown(span) for name, span in spans.items()}, 0.1)
    assert finding.figure("squareness").after == pytest.approx(1.0, abs=1e-9)
    assert finding.figure("scale of x").after == pytest.approx(0.0, abs=1e-9)
    assert max(abs(residual.off) for residual in finding.residuals) < 1e-9


def test_waves_have_the_frequency_of_speed_over_length():
    # f = v / lambda: at 60 mm/s, four waves on 12 mm are 20 Hz.
    trial = catalogue.design("ringing", RIG, SHEET)
    number = waves.SPEEDS_MM_S.index(60.0) + 1
    finding = waves.fit(trial, RIG, SHEET, {f"x{number}-waves": 4, f"x{number}-length": 12.0}, 0.1)
    assert finding.figure("ringing of x").after == pytest.approx(20.0)
    assert finding.changes["smoothing.x_hz"] == 20.0


def test_points_are_laid_on_each_other_like_scipy_does():
    from scipy.spatial.transform import Rotation

    rng = np.random.default_rng(0)
    asked = rng.normal(size=(30, 2)) * 50
    turn = np.array([[math.cos(0.2), -math.sin(0.2)], [math.sin(0.2), math.cos(0.2)]])
    moved = asked @ turn + (3.0, -7.0) + rng.normal(0, 0.01, (30, 2))
    ours = _laid_on(moved, asked)
    flat = [np.column_stack((p - p.mean(axis=0), np.zeros(30))) for p in (asked, moved)]
    rotation, _ = Rotation.align_vectors(*flat)
    assert np.abs(ours - (rotation.apply(flat[1])[:, :2] + asked.mean(axis=0))).max() < 1e-9


# From a fault to its result


def test_combs_show_backlash_to_a_twentieth_of_a_millimetre():
    finding = found("backlash", Faults(backlash_x_mm=0.37, backlash_y_mm=0.12))
    for axis, truth in (("x", 0.37), ("y", 0.12)):
        figure = finding.figure(f"backlash of {axis}")
        assert abs(figure.after - truth) < figure.stated
        assert abs(figure.after - truth) < combs.LESS_MM
        assert finding.changes[f"corrections.backlash_{axis}_mm"] == pytest.approx(figure.after, abs=1e-4)


@pytest.mark.parametrize("name", ["squareness", "circle"])
def test_lengths_show_scale_and_squareness_at_once(name):
    faults = Faults(scale_x=0.012, scale_y=-0.021, skew_deg=1.3)
    finding = found(name, faults)
    for figure, truth in (("scale of x", 1.2), ("scale of y", -2.1), ("squareness", 1.3)):
        assert abs(finding.figure(figure).after - truth) < finding.figure(figure).stated


def test_a_corrected_rig_draws_the_same_sheet_true_and_finds_nothing_more():
    faults = Faults(scale_x=0.012, scale_y=-0.021, skew_deg=1.3, backlash_x_mm=0.3)
    rig = RIG
    for name in ("backlash", "squareness"):
        rig = rig.changed(found(name, faults, rig).changes)
    again = found("squareness", faults, rig, seed=2)
    for name in ("scale of x", "scale of y", "squareness"):
        figure = again.figure(name)
        assert abs(figure.after - figure.before) < figure.stated
    # The check sheet agrees although it is drawn with the corrections, because results are absolute.
    circle = found("circle", faults, rig, seed=3)
    assert abs(circle.figure("squareness").after - 1.3) < circle.figure("squareness").stated


def test_a_ruler_shows_bent_rails():
    finding = found("straightness", Faults(bow_x_mm=0.5, bow_y_mm=-0.4))
    rig = RIG.changed(finding.changes)
    again = found("straightness", Faults(bow_x_mm=0.5, bow_y_mm=-0.4), rig, seed=2)
    for axis in "xy":
        before, after = finding.figure(f"rail of {axis}, most off"), again.figure(f"rail of {axis}, most off")
        assert abs(before.after) > 0.1
        assert abs(after.after - after.before) < after.stated


@pytest.mark.parametrize("reach_mm", [0.5, 1.2])
def test_marks_of_straightness_are_numbered_and_reach_as_far_as_is_asked(reach_mm, monkeypatch):
    written = []
    monkeypatch.setattr(Page, "text", lambda _, text, *__: written.append(text))
    trial = catalogue.design("straightness", RIG, SHEET, {"reach_mm": reach_mm})
    last = trial.entries[0].high
    fans = len(trial.entries)
    assert all(written.count(str(number)) >= 2 * fans for number in range(1, int(last) + 1, 2))
    answers = {entry.name: last for entry in trial.entries}
    finding = catalogue.kind("straightness").fit(trial, RIG, SHEET, answers, 0.1)
    for axis in "xy":
        assert abs(finding.figure(f"rail of {axis}, most off").after) == pytest.approx(reach_mm, abs=0.05)


def test_labels_stay_legible_on_the_machine_that_they_are_for():
    labels, *dashes = catalogue.design("heights", RIG, SHEET).parts
    pulses = [part.changes["pen.down_us"] for part in dashes if "pen.down_us" in part.changes]
    raised_us = RIG.pen.up_us
    assert abs(labels.changes["pen.down_us"] - raised_us) == max(abs(pulse - raised_us) for pulse in pulses)
    # Letters are drawn slowly where the lines beside them make the machine ring.
    letters, *lines = catalogue.design("ringing", RIG, SHEET).parts
    for axis in "xy":
        key = f"axis.{axis}.accel_mm_s2"
        assert letters.changes[key] < min(line.changes.get(key, getattr(RIG, axis).accel_mm_s2) for line in lines)


def test_dashes_show_where_the_paper_lies():
    faults = Faults(paper_tilt_x_us=70.0, paper_tilt_y_us=-50.0, paper_bow_us=30.0)
    finding = found("heights", faults)
    rig = RIG.changed(finding.changes)
    trial = catalogue.design("squareness", rig, SHEET)
    pressed = draw_on(Machine.from_rig(rig), faults, program_of(trial, rig, SHEET)).pressure_us
    assert pressed.min() > 10
    assert pressed.max() < 50


def test_the_ladder_finds_the_last_rung_that_held():
    # Motor A loses steps above 9600 steps/s: 120 mm/s.
    finding = found("speed", Faults(pull_out_a_hz=9600.0))
    values = ladders.rungs("speed", RIG, "x", None)
    last = values[values <= 120.0].max()
    assert finding.changes["axis.x.speed_mm_s"] == pytest.approx(ladders.MARGIN_SHARE * last, rel=0.01)


def test_ringing_is_found_within_its_statement():
    finding = found("ringing", Faults(ringing_x_hz=14.0, ringing_y_hz=27.0))
    for axis, truth in (("x", 14.0), ("y", 27.0)):
        figure = finding.figure(f"ringing of {axis}")
        assert abs(figure.after - truth) < figure.stated
        assert figure.stated < 0.15 * truth
    RIG.changed(finding.changes)
    assert "smoothing.shaper" not in finding.changes  # nothing is enabled without a request
    assert any("linewright tune" in note for note in finding.notes)


def test_repeatability_shows_play():
    finding = found("repeatability", Faults(backlash_x_mm=0.4))
    assert finding.figure("reversal value of x").after == pytest.approx(0.4, abs=0.1)
    assert finding.figure("reversal value of y").after == pytest.approx(0.0, abs=0.1)
    assert not finding.changes


# Nonsense


GOOD = {span.name: f"{span.length_mm:.1f}" for span in lengths.spans_of("squareness", SHEET)}
NONSENSE = [
    ({"1-3": ""}, "1 measurement is missing: 1-3"),
    ({"1-3": "long"}, "is not a number"),
    ({"1-3": "nan"}, "is not a number"),
    ({"1-3": "6.3 in"}, r"in inches"),
    ({"1-3": "6.3"}, "looks like inches"),
    ({"1-3": "16.0"}, "looks like centimetres"),
    ({"1-3": "1600"}, "is not plausible"),
    ({"1-3": "-160"}, "is not plausible"),
    ({"1-3": "240", "1-7": "160"}, "look swapped"),
    ({"9-9": "160"}, "no measurement '9-9'"),
]


@pytest.mark.parametrize(("change", "words"), NONSENSE, ids=range(len(NONSENSE)))
def test_what_cannot_have_been_measured_is_refused(change, words):
    with pytest.raises(InputError, match=words):
        form.checked(catalogue.design("squareness", RIG, SHEET), RIG, SHEET, GOOD | change)


def test_a_comma_and_a_unit_are_understood():
    trial = catalogue.design("squareness", RIG, SHEET)
    answers = form.checked(trial, RIG, SHEET, GOOD | {"1-3": "160,4", "4-6": "16.01 cm", "7-9": "160.2mm"}).answers
    assert [answers[name] for name in ("1-3", "4-6", "7-9")] == pytest.approx([160.4, 160.1, 160.2])


def test_a_count_of_waves_that_is_wrong_by_one_is_noticed():
    trial = catalogue.design("ringing", RIG, SHEET)
    answers = {}
    for number, (speed, count) in enumerate(zip(waves.SPEEDS_MM_S, (3, 3, 3, 5, 3), strict=True), start=1):
        answers |= {f"x{number}-waves": float(count), f"x{number}-length": 3 * speed / 20.0}
    with pytest.raises(InputError, match="x4-length"):
        waves.fit(trial, RIG, SHEET, answers, 0.1)
    with pytest.raises(InputError, match="only one of its two values"):
        waves.fit(trial, RIG, SHEET, {"x1-waves": 3.0}, 0.1)
    with pytest.raises(InputError, match="machines ring at"):
        waves.fit(trial, RIG, SHEET, {"x1-waves": 3.0, "x1-length": 50.0}, 0.1)


def test_a_ladder_on_which_nothing_held_changes_nothing():
    trial = catalogue.design("speed", RIG, SHEET)
    with pytest.raises(InputError, match="on the first rung already"):
        ladders.fit(trial, RIG, SHEET, {"held": 0.0}, 0.1)
    with pytest.raises(InputError, match="a last rung of 10 mm/s is outside"):
        catalogue.design("speed", RIG, SHEET, {"top": 10.0})


# The command line


def test_the_whole_way_on_the_command_line(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rig.toml").write_text(Rig.default_text())
    assert run(["trial", "squareness", "--rig", "rig.toml", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    table = tmp_path / said["table"]
    lines = table.read_text().splitlines()
    grown = {name: float(value) * 1.01 for name, value in GOOD.items()}
    filled = [lines[0], *(line + f"{grown[line.split(',')[1]]:.2f}" for line in lines[1:])]
    table.write_text("\n".join(filled))
    assert run(["fit", said["table"], "--rig", "rig.toml", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["changes"]["corrections.scale_x"] == pytest.approx(0.01, abs=2e-4)
    assert Rig.load("rig.toml").corrections.scale_y == pytest.approx(0.01, abs=2e-4)
    assert (tmp_path / "rig.toml.before-1").read_text() == Rig.default_text()
    # The sheet was drawn before the correction, and its number is known: fitting it again changes nothing.
    corrected = (tmp_path / "rig.toml").read_text()
    assert run(["fit", said["table"], "--rig", "rig.toml"]) == 2
    assert "this sheet has corrected rig.toml already" in capsys.readouterr().err
    assert (tmp_path / "rig.toml").read_text() == corrected


@pytest.mark.parametrize("name", list(catalogue.KINDS))
def test_all_printed_commands_are_about_one_rig(name, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.toml").write_text(Rig.default_text())
    for option in ([], ["--rig", "mine.toml"]):
        assert run(["trial", name, *option]) == 0
        said = capsys.readouterr()
        drawn, fitted = (line for line in said.out.splitlines() if "  linewright " in line)
        assert fitted.endswith("--rig mine.toml") if option else "--rig" not in fitted
        # A ladder goes beyond the rig file's limits, so it is drawn with a file of its own.
        raised = name in ("speed", "acceleration")
        assert ("-rig.toml" in drawn) == raised
        assert ("--rig mine.toml" in drawn) == (bool(option) and not raised)
        assert ("for the default rig" in said.err) == (not option)


def test_the_docs_name_the_sheets_as_the_command_does():
    page = Path(__file__).parents[2] / "docs" / "COMMANDS.md"
    row = next(line for line in page.read_text().splitlines() if line.startswith("| `linewright trial NAME`"))
    assert row.rpartition(": ")[2].rstrip(" |").split(", ") == list(catalogue.KINDS)


def filled_in(table):
    """A form of the sheet 'squareness', with all lengths drawn 1 % too long."""
    lines = table.read_text().splitlines()
    grown = {name: float(value) * 1.01 for name, value in GOOD.items()}
    table.write_text("\n".join([lines[0], *(line + f"{grown[line.split(',')[1]]:.2f}" for line in lines[1:])]))


@pytest.mark.parametrize("made_for", [[], ["--rig", "before.toml"]], ids=["the default rig", "the rig as it was"])
def test_a_sheet_of_another_rig_corrects_nothing(made_for, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "before.toml").write_text(Rig.default_text())
    assert run(["trial", "squareness", *made_for]) == 0
    filled_in(tmp_path / "trial" / "squareness.csv")
    edit_rig("before.toml", {"corrections.scale_x": -0.00479})
    (tmp_path / "rig.toml").write_text((tmp_path / "before.toml").read_text())
    capsys.readouterr()
    before = (tmp_path / "rig.toml").read_text()
    for name in ("squareness.csv", "squareness.json"):
        if name.endswith(".json"):
            said = json.loads((tmp_path / "trial" / name).read_text())
            (tmp_path / "trial" / name).write_text(json.dumps(said | {"measurements": GOOD}))
        assert run(["fit", f"trial/{name}", "--rig", "rig.toml"]) == 2
        said = capsys.readouterr().err
        assert "corrections.scale_x (drawn with 0, now -0.00479)" in said
        assert "draw the sheet again: `linewright trial squareness --rig rig.toml`" in said
        assert (tmp_path / "rig.toml").read_text() == before
        assert run(["fit", f"trial/{name}", "--rig", "rig.toml", "--only-show"]) == 0
        capsys.readouterr()
    # Speed settings do not affect measured lengths.
    (tmp_path / "rig.toml").write_text(changed_text(Rig.default_text(), {"axis.x.accel_mm_s2": 900.0}))
    assert run(["fit", "trial/squareness.csv", "--rig", "rig.toml"]) == 0


def test_typed_figures_are_not_counted_twice(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rig.toml").write_text(Rig.default_text())
    words = ["fit", "backlash", "x-upper=6", "y-left=2.5", "--rig", "rig.toml"]
    assert run(words) == 0
    assert "drawn with rig.toml as it is now, which has no correction yet" in capsys.readouterr().err
    before = (tmp_path / "rig.toml").read_text()
    assert run(words) == 2
    assert "this measurement has corrected rig.toml already" in capsys.readouterr().err
    assert (tmp_path / "rig.toml").read_text() == before
    words = ["fit", "backlash", "x-upper=6.2", "y-left=2.5", "--rig", "rig.toml"]
    assert run(words) == 2
    said = capsys.readouterr().err
    assert "it is not confirmed that this sheet was drawn with rig.toml as it is now" in said
    assert "corrections.backlash_x_mm = 0.3" in said
    assert (tmp_path / "rig.toml").read_text() == before
    # On a terminal it asks, and stops if the answer is no.
    for answer, code in ((False, 130), (True, 0)):
        monkeypatch.setattr("sys.stdin.isatty", lambda: True)
        monkeypatch.setattr("typer.confirm", lambda _text, answer=answer, **_: answer or (_ for _ in ()).throw(Abort))
        assert run(words) == code
        assert ((tmp_path / "rig.toml").read_text() == before) is not answer


def test_values_can_be_given_as_arguments_and_nothing_is_written_without_a_rig_file(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(["fit", "backlash", "x-upper=6", "y-left=2.5"]) == 0
    out = capsys.readouterr().out
    assert "0.300" in out
    assert "nothing was written" in out
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["fit", "nothing.csv"], "cannot read nothing.csv"),
        (["fit", "backlash"], "there are no measurements"),
        (["fit", "photo"], "add --photo PICTURE"),
        (["fit", "photo", "a=1"], "add --photo PICTURE"),
        (["fit", "backlash", "x-upper"], "is not a measurement"),
        (["fit", "backlash", "x-upper=1", "x-upper=2"], "given twice"),
        (["fit", "backlash", "x-upper=99", "y-left=0"], r"outside -4..18"),
        (["fit", "backlash", "x-upper=1", "y-left=0", "--reading", "0"], "--reading 0"),
        (["trial", "handstand"], "no trial sheet 'handstand'"),
        (["trial", "speed", "--axis", "z"], "no axis 'z'"),
        (["trial", "backlash", "--axis", "x"], "takes no option 'axis'"),
        (["trial", "backlash", "--sheet", "A6"], "no room"),
    ],
)
def test_bad_words_are_answered(words, said, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(words) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("form.json", "{", "is not a form, or is damaged"),
        ("form.json", "{}", "is not a form, or is damaged"),
        (
            "form.json",
            '{"trial": "backlash", "measurements": [], "sheet": [1], "rig": {}}',
            "is not a form, or is damaged",
        ),
        ("form.csv", "", "lacks the columns"),
        ("form.csv", "a,b\n1,2\n", "lacks the columns"),
        ("form.csv", "trial,name,measured\nbacklash,x-upper,1\nscale,1-3,2\n", "of 2 trial sheets"),
        ("form.csv", "trial,name,measured\nbacklash,x-upper,1\nbacklash,x-upper,2\n", "names a measurement twice"),
        ("form.csv", "trial,name,measured\nhandstand,x-upper,1\n", "no trial sheet"),
    ],
)
def test_a_form_that_is_none_is_refused(name, text, said, capsys, tmp_path):
    (tmp_path / name).write_text(text)
    assert run(["fit", str(tmp_path / name)]) == 2
    assert said in capsys.readouterr().err
    (tmp_path / name).write_bytes(b"\xff\xfe\x00\x01")
    assert run(["fit", str(tmp_path / name)]) == 2
    assert "not a text file" in capsys.readouterr().err


def test_pen_heights_are_tried_where_the_raised_pen_is_near():
    """Heights as after bring-up, 80 us apart: no dash is drawn with the pen raised, and all are within the rig's
    range.
    """
    rig = Rig.default().changed({"pen.up_us": 1600, "pen.down_us": 1520, "sheet.size": "A5"})
    sheet = sheet_on(rig)
    trial = catalogue.design("heights", rig, sheet)
    program = program_of(trial, rig, sheet)
    program.check_rig(rig)
    dashes = [int(part.changes["pen.down_us"]) for part in trial.parts[1:] if "pen.down_us" in part.changes]
    assert dashes == list(range(1580, 1419, -20))
    answers = {entry.name: 4.0 for entry in trial.entries}  # the first whole dash is the fourth: 1520, touched at 1530
    finding = catalogue.kind("heights").fit(trial, rig, sheet, answers | {"wait": 1.0}, 0.1)
    assert set(np.array(finding.changes["corrections.pen_height.change_us"]).ravel()) == {1530.0 - 30.0 - 1520.0}


def test_the_pens_near_height_clears_the_highest_place_and_its_time_is_what_was_seen():
    """Groups wait 30, 45, 60 ms ... between pulse and way; the third clean means 60, and 20 for the servo's frame."""
    trial = catalogue.design("heights", RIG, SHEET)
    names = [entry.name for entry in trial.entries]
    waited = [part.changes["pen.near_ms"] for part in trial.parts if "pen.near_ms" in part.changes]
    assert waited == [30, 45, 60, 75, 90, 105, 120]
    program = program_of(trial, RIG, SHEET)
    assert set(waited) <= set(program.dwell_ms.tolist())
    answers = {name: 4.0 + number % 3 for number, name in enumerate(names) if name != "wait"} | {"wait": 3.0}
    finding = catalogue.kind("heights").fit(trial, RIG, SHEET, answers, 0.1)
    rig = RIG.changed(finding.changes)
    assert rig.pen.near_ms == 80
    # Touched first at the fourth of the dashes from 1500 us, on average half a step before it: 1550 us; 40 us clear.
    assert PenLifts.from_rig(rig).near_us == pytest.approx(1550 - 40, abs=1)
    unseen = {name: value for name, value in answers.items() if name != "wait"}
    by_rule = RIG.changed(catalogue.kind("heights").fit(trial, RIG, SHEET, unseen, 0.1).changes)
    assert by_rule.pen.near_us == rig.pen.near_us
    assert 20 + 0.375 * 70 <= by_rule.pen.near_ms < 50  # 60 degrees in 250 ms, and a frame
    # None of them is clean: the pen waits until it is fully raised.
    never = catalogue.kind("heights").fit(trial, RIG, SHEET, answers | {"wait": 8.0}, 0.1)
    assert not PenLifts.from_rig(RIG.changed(never.changes)).overlap
