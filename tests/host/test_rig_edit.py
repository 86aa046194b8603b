"""Editing keys of a rig file keeps the rest of its text, and the result is valid."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.errors import RigError
from linewright.rig.edit import changed_text, edit_rig
from linewright.rig.rig import Rig

TEXT = Rig.default_text()


def lines_that_differ(before: str, after: str) -> list[tuple[str, str]]:
    return [(a, b) for a, b in zip(before.splitlines(), after.splitlines(), strict=True) if a != b]


def test_a_changed_key_keeps_its_comment_and_everything_around_it():
    after = changed_text(TEXT, {"axis.x.speed_mm_s": 90.0})
    [(old, new)] = lines_that_differ(TEXT, after)
    assert old.startswith("speed_mm_s = 120.0           # top speed of a light home-built carriage")
    assert new == old.replace("120.0", "90.0")


@given(
    key=st.sampled_from(["axis.x.travel_mm", "pen.width_mm", "homing.slow_mm_s", "sheet.margin_mm"]),
    value=st.floats(10.0, 25.0),
)
def test_every_comment_survives_any_change_and_the_value_reads_back_exactly(key, value):
    after = changed_text(TEXT, {key: value})
    place = tomllib.loads(after)
    for part in key.split("."):
        place = place[part]
    assert place == value
    comments = [line.partition("#")[2] for line in TEXT.splitlines()]
    assert [line.partition("#")[2] for line in after.splitlines()] == comments


def test_a_change_that_makes_no_valid_rig_is_refused_with_the_line():
    with pytest.raises(RigError, match=r"line \d+: axis.x.travel_mm = -5") as refused:
        changed_text(TEXT, {"axis.x.travel_mm": -5.0})
    assert "after the change" in str(refused.value)


def test_an_unknown_key_is_refused():
    with pytest.raises(RigError, match="wobble"):
        changed_text(TEXT, {"axis.x.wobble": 1.0})


def test_a_key_inside_a_number_is_refused():
    with pytest.raises(RigError, match="not a table"):
        changed_text(TEXT, {"axis.x.travel_mm.more": 1.0})


def test_a_key_that_is_new_gets_its_note_and_one_that_is_taken_out_is_gone():
    without = changed_text(TEXT, {"homing.passes": None})
    assert "passes" not in tomllib.loads(without)["homing"]
    again = changed_text(without, {"homing.passes": 3}, {"homing.passes": "three are enough"})
    assert "passes = 3 # three are enough" in again
    assert changed_text(TEXT, {"pen.nothing": None}) == TEXT
    assert changed_text(TEXT, {"nothing.at.all": None}) == TEXT


def test_a_section_that_is_new_stands_at_the_end_with_its_note():
    without = TEXT.partition("[guard]")[0]
    after = changed_text(without, {"guard.idle_after_s": 5.0}, {"guard": "when the board acts on its own"})
    assert after.startswith(without)
    assert after.endswith("\n\n# when the board acts on its own\n[guard]\nidle_after_s = 5.0\n")


def test_numbers_of_numpy_become_plain_ones():
    after = changed_text(TEXT, {"sheet.offset_mm": np.array([1.5, 2.5]), "axis.x.travel_mm": np.float64(300)})
    assert tomllib.loads(after)["sheet"]["offset_mm"] == [1.5, 2.5]


def test_a_text_that_is_broken_off_is_refused_where_it_ends():
    half = TEXT[: TEXT.index("[axis.y]") + 5]
    with pytest.raises(RigError, match="not valid TOML"):
        changed_text(half, {"axis.x.travel_mm": 300.0})


def test_half_a_rig_is_refused_though_it_is_toml():
    half = TEXT[: TEXT.index("[axis.y]")]
    with pytest.raises(RigError, match=r"axis\.y"):
        changed_text(half, {"axis.x.travel_mm": 300.0})


@pytest.mark.parametrize("text", [TEXT, TEXT.replace("\n", "\r\n"), "\ufeff" + TEXT], ids=["lf", "crlf", "bom"])
def test_the_file_is_replaced_and_the_old_one_kept(tmp_path: Path, text: str):
    path = tmp_path / "rig.toml"
    path.write_bytes(text.encode())
    first = edit_rig(path, {"axis.x.travel_mm": 300.0})
    second = edit_rig(path, {"axis.x.travel_mm": 290.0})
    assert first.kept == tmp_path / "rig.toml.before-1"
    assert second.kept == tmp_path / "rig.toml.before-2"
    assert first.kept.read_bytes() == text.encode()
    assert Rig.load(second.kept).x.travel_mm == 300.0
    assert Rig.load(path).x.travel_mm == second.rig.x.travel_mm == 290.0
    assert path.read_bytes().count(b"\r\n") == text.count("\r\n")
    assert path.read_bytes().startswith(b"\xef\xbb\xbf") == text.startswith("\ufeff")


def test_nothing_is_written_where_nothing_changes_or_the_change_is_refused(tmp_path: Path):
    path = tmp_path / "rig.toml"
    path.write_text(TEXT)
    assert edit_rig(path, {"axis.x.travel_mm": 310.0}).kept is None
    with pytest.raises(RigError):
        edit_rig(path, {"axis.x.travel_mm": 1e9})
    assert [p.name for p in tmp_path.iterdir()] == ["rig.toml"]
    assert path.read_text() == TEXT


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path: Path):
    with pytest.raises(RigError, match="cannot read the rig file"):
        edit_rig(tmp_path / "none.toml", {})
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RigError, match="not UTF-8"):
        edit_rig(tmp_path / "bytes.toml", {})


def test_a_link_is_followed_and_the_old_file_lies_beside_what_it_leads_to(tmp_path: Path):
    real = tmp_path / "real" / "rig.toml"
    real.parent.mkdir()
    real.write_text(TEXT)
    link = tmp_path / "rig.toml"
    link.symlink_to(real)
    edited = edit_rig(link, {"axis.x.travel_mm": 300.0})
    assert link.is_symlink()
    assert edited.kept == real.with_name("rig.toml.before-1")
