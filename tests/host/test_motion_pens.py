"""Pens with their own speed, heights, tip and ink: each part is planned for its pen, joined to one program."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from linewright import cli
from linewright.cli.tables.drawings import plan_table
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import InputError, PlanError
from linewright.motion import plan
from linewright.motion.pens import joined, plan_for_pens
from linewright.program import file as program_file
from linewright.program.program import PEN
from linewright.rig.rig import Rig
from linewright.run.part import only_pen
from linewright.sources.pens import read_pens

RIG = Rig.default()
STROKES = [[[20, 20], [60, 20], [60, 40]], [[30, 50], [80, 50]], [[20, 60], [90, 70]], [[25, 80], [85, 80]]]


def drawing(*pens: Pen, of: tuple[int, ...] = (0, 0, 1, 1)) -> Drawing:
    return Drawing.from_strokes(STROKES, list(of), pens)


def test_plain_pens_are_planned_at_once():
    both = drawing(Pen("black"), Pen("sea", "#1f6f8b", 0.3))
    assert plan_for_pens(both, RIG).kind.tobytes() == plan(both, RIG).kind.tobytes()


def test_parts_that_are_joined_are_what_is_planned_at_once():
    """The planner's own result for two pens, record by record, with rests at the same places."""
    both = drawing(Pen("black"), Pen("sea", "#1f6f8b"))
    parts = [plan(both.select(np.flatnonzero(both.pen == i)), RIG) for i in (0, 1)]
    whole, at_once = joined(parts), plan(both, RIG)
    for name in ("kind", "da", "db", "v_end", "servo_us", "dwell_ms", "ticks", "stroke_of_record"):
        assert np.array_equal(getattr(whole, name), getattr(at_once, name)), name
    assert whole.groups == at_once.groups


def test_each_pen_keeps_to_its_speed_and_heights_and_the_file_holds_it(tmp_path):
    slow = Pen("brush", "#aa0000", speed_mm_s=20.0, up_us=1200, down_us=1700)
    program = plan_for_pens(drawing(Pen("black"), slow), RIG)
    way = program.trajectory
    for pen, top in ((0, RIG.motion.pen_down_speed_mm_s), (1, 20.0)):
        mine = np.isin(way.stroke, np.flatnonzero(program.drawing.pen == pen))
        fastest = way.speed_mm_s[mine].max()
        assert 0.9 * top < fastest <= top * (1 + 1e-6)
    first, end = program.groups[1].records
    pulses = set(program.servo_us[first:end][program.kind[first:end] == PEN].tolist())
    assert pulses == {1200, 1700}
    assert set(program.servo_us[:first][program.kind[:first] == PEN].tolist()) == {RIG.pen.up_us, RIG.pen.down_us}
    assert program.rig_fingerprint == RIG.fingerprint()
    program_file.save(program, tmp_path / "pens.lw")
    again = program_file.load(tmp_path / "pens.lw")
    again.check_rig(RIG)
    assert again.groups == program.groups
    assert np.array_equal(again.ticks, program.ticks)


def test_a_tip_beside_the_first_one_is_allowed_for():
    beside = Pen("sea", "#1f6f8b", offset_mm=(1.5, -0.5))
    plain, moved = (plan_for_pens(drawing(Pen("black"), pen), RIG) for pen in (Pen("sea", "#1f6f8b"), beside))
    ends = [program.steps_at(program.drawing.select(np.array([2]))) for program in (plain, moved)]
    # 80 steps/mm: the carriage stands 1.5 mm further left and 0.5 mm further down, so the tip is at its place.
    assert (ends[1] - ends[0]).tolist() == [[-120, 40]] * len(ends[0])
    assert any("with an offset of -1.5, 0.5 mm" in note for note in moved.warnings)


@pytest.mark.parametrize(("ink_mm", "groups"), [(1000.0, [4]), (110.0, [2, 1, 1]), (100.0, [1] * 4), (1.0, [1] * 4)])
def test_no_stroke_is_begun_that_the_ink_does_not_last_for(ink_mm, groups):
    # Lengths by hand: 40 + 20, 50, sqrt(70^2 + 10^2) = 70.7, 60 mm.
    program = plan_for_pens(drawing(Pen("dip", ink_mm=ink_mm), of=(0, 0, 0, 0)), RIG)
    assert [end - first for first, end in (group.strokes for group in program.groups)] == groups
    assert {group.pen for group in program.groups} == {0}
    lengths = program.drawing.stroke_lengths_mm()
    for group in program.groups:
        assert lengths[slice(*group.strokes)].sum() <= ink_mm or group.strokes[1] - group.strokes[0] == 1
    # A pen used twice is in the table once.
    assert list(plan_table(program, "dip").columns[0].cells).count("pen dip") == 1


def test_one_pen_of_a_drawing_keeps_its_speed_heights_place_and_ink(tmp_path):
    """The part of one pen has the same records as in the whole program, also from a file."""
    brush = Pen("brush", "#aa0000", None, 20.0, 1200, 1700, (1.5, -0.5), 60.0)
    kept = tmp_path / "pens.lw"
    program_file.save(plan_for_pens(drawing(Pen("black", ink_mm=50.0), brush), RIG), kept)
    whole = program_file.load(kept)
    part = only_pen(whole, "Brush")
    first, end = whole.groups[2].records[0], whole.groups[3].records[1]
    for name in ("da", "db", "v_end", "servo_us", "dwell_ms", "ticks"):
        assert np.array_equal(getattr(part, name), getattr(whole, name)[first:end]), name
    assert [group.strokes for group in part.groups] == [(0, 1), (1, 2)]
    assert set(part.servo_us[part.kind == PEN].tolist()) == {1200, 1700}
    assert part.trajectory.speed_mm_s.max() <= RIG.x.speed_mm_s * 1.5
    assert np.array_equal(part.drawing.points_mm, whole.drawing.points_mm[whole.drawing.starts[2] :])
    assert part.warnings == ("the pen 'brush' is filled, sharpened or dipped once on the way", part.warnings[1])
    assert part.warnings[1].startswith("the pen 'brush' is drawn with an offset of")
    program_file.save(part, kept)  # which checks its consistency
    assert program_file.load(kept).predicted_ticks == part.predicted_ticks
    with pytest.raises(InputError, match="green") as refused:
        only_pen(whole, "green")
    assert refused.value.hint == "its pens are black, brush"


def test_heights_that_cannot_be_are_refused():
    with pytest.raises(PlanError, match="the pen 'flat' does not suit the rig"):
        plan_for_pens(drawing(Pen("flat", "#aa0000", up_us=1500, down_us=1500), of=(0, 0, 0, 0)), RIG)


def test_a_file_of_pens(tmp_path):
    (tmp_path / "pens.toml").write_text(
        '[[pen]]\nname = "dip"\ncolour = "#aa0000"\nwidth_mm = 0.4\nspeed_mm_s = 30\nup_us = 1250\ndown_us = 1580\n'
        "offset_mm = [-0.5, 1]\nink_m = 2.5\n"
    )
    assert read_pens(str(tmp_path / "pens.toml")) == (
        Pen("dip", "#aa0000", 0.4, 30.0, 1250, 1580, (-0.5, 1.0), 2500.0),
    )
    for line, words in (
        ("ink_m = 0", "ink_m = 0 is outside"),
        ('speed_mm_s = "fast"', "is not a number"),
        ("offset_mm = 3", "is no pair"),
        ("offset_mm = [90, 0]", "offset_mm = 90 is outside"),
        ("ink = 3", "ink is not known"),
    ):
        (tmp_path / "pens.toml").write_text(f'[[pen]]\ncolour = "red"\n{line}\n')
        with pytest.raises(InputError, match=words):
            read_pens(str(tmp_path / "pens.toml"))


def test_the_file_of_pens_in_the_docs_can_be_used(tmp_path):
    page = Path(__file__).parents[2] / "docs" / "COMMANDS.md"
    example = page.read_text(encoding="utf-8").partition("```toml\n[[pen]]")[2].partition("```")[0]
    (tmp_path / "pens.toml").write_text(f"[[pen]]{example}", encoding="utf-8")
    fine, brush = read_pens(str(tmp_path / "pens.toml"))
    assert (fine.name, fine.is_plain) == ("fine", True)
    assert brush == Pen("brush", "#1f6f8b", 1.2, 30.0, 1250, 1620, (-0.4, 0.2), 4000.0)


def test_the_pens_of_a_drawing_are_those_of_the_file(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    lines = "".join(f'<path stroke="#a00" d="M5 {y}H45"/>' for y in (5, 15, 25))
    (tmp_path / "lines.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">{lines}</svg>'
    )
    (tmp_path / "pens.toml").write_text(
        '[[pen]]\nname = "dip"\ncolour = "#aa0000"\nink_m = 0.05\n[[pen]]\nname = "sea"\ncolour = "#1f6f8b"\n'
    )
    assert cli.run(["draw", "lines.svg", "--keep", "--pens", "pens.toml", "--same-pen"]) == 0
    said = capsys.readouterr()
    assert "the pen 'dip' is filled, sharpened or dipped twice" in said.err
    assert "not needed: sea" in said.err
    assert "all within limits" in said.out
