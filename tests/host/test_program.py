"""Saved programs: round trip; invalid files are refused with a message, without a traceback."""

from __future__ import annotations

import hashlib
import io
import json
import stat
import zipfile
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from host.motion_cases import drawings, rig
from linewright import motion
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import ProgramError
from linewright.program import file as program_file
from linewright.program.program import PEN, Program
from linewright.rig.rig import Rig
from linewright.sheet.sizes import Sheet

COLUMNS = ("kind", "da", "db", "v_end", "servo_us", "dwell_ms", "rest_ticks", "ticks", "stroke_of_record")


@pytest.fixture(scope="module")
def program() -> Program:
    turn = np.linspace(0, 2 * np.pi, 40)
    strokes = [
        100 + 20 * np.column_stack((np.cos(turn), np.sin(turn))),
        [[10, 10], [10.0125, 10]],
        [[50, 60]],
        [[20, 20], [90, 25], [20, 20]],
    ]
    drawing = Drawing.from_strokes(strokes, pen=[0, 1, 0, 1], pens=(Pen(), Pen("red", "#cc2200", 0.8)))
    return motion.plan(drawing, Rig.default(), sheet=Sheet(210, 297, 10, "A4"))


def same(one: Program, other: Program) -> bool:
    arrays = all(np.array_equal(getattr(one, name), getattr(other, name)) for name in COLUMNS)
    places = all(
        np.array_equal(getattr(one.drawing, name), getattr(other.drawing, name))
        for name in ("points_mm", "starts", "pen")
    )
    plain = ("start_steps", "groups", "sheet", "sheet_position", "rig_name", "rig_fingerprint", "warnings")
    rest = all(getattr(one, name) == getattr(other, name) for name in plain)
    return arrays and places and rest and one.drawing.pens == other.drawing.pens


def test_a_saved_program_comes_back_whole(program, tmp_path):
    path = tmp_path / "job.lw"
    program_file.save(program, path)
    loaded = program_file.load(path)
    assert same(program, loaded)
    assert loaded.predicted_ticks == program.predicted_ticks
    assert np.array_equal(loaded.steps_matrix, program.steps_matrix)
    assert loaded.describe() == program.describe()
    loaded.check_rig(Rig.default())


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawings(), st.sampled_from(["default", "crossed", "coarse y"]))
def test_any_program_survives_the_file(tmp_path, drawing, name):
    made = motion.plan(drawing, rig(name))
    program_file.save(made, tmp_path / "job.lw")
    assert same(made, program_file.load(tmp_path / "job.lw"))


def test_figures_for_scripts(program):
    about = program.describe()
    json.dumps(about)
    assert about["strokes"] == 4
    assert about["vertices"] == 40 + 2 + 1 + 3
    # A polygon of 39 sides on a circle of 20 mm, one step, and 2 x sqrt(70^2 + 5^2).
    circle = 39 * 2 * 20 * np.sin(np.pi / 39)
    assert about["pen_down_mm"] == pytest.approx(circle + 0.0125 + 2 * np.hypot(70, 5), abs=1e-3)
    # Park to each group's strokes and back, straight.
    stops = [[0, 0], [120, 100], [50, 60], [0, 0]], [[0, 0], [10, 10], [10.0125, 10], [20, 20], [0, 0]]
    travel = sum(float(np.hypot(*np.diff(np.array(s, dtype=float), axis=0).T).sum()) for s in stops)
    travel -= 0.0125  # the one step is drawn, not travelled
    assert about["travel_mm"] == pytest.approx(travel, abs=0.1)
    assert about["ramps"] == np.count_nonzero(program.kind == 0)
    # Frames sent: here one payload for each pen, not all records in one.
    sent = program.packed()
    assert len(sent) == 2
    assert about["frame_bytes"] == sum(len(sent.payload(i)) for i in range(2))
    assert about["predicted_s"] == program.ticks.sum() / 5e6
    assert sum(pen["predicted_s"] for pen in about["pens"]) == pytest.approx(about["predicted_s"])
    assert [pen["strokes"] for pen in about["pens"]] == [2, 2]


def test_one_step_is_the_longest_move_for_one_step_of_one_motor(program):
    assert program.step_mm == pytest.approx(1 / 80)
    # Crossed belts: one step of one motor moves half a step along both axes.
    crossed = motion.plan(program.drawing, rig("crossed"))
    assert crossed.step_mm == pytest.approx(np.sqrt(0.5) / 80)


@pytest.mark.parametrize("keys", [{}, {"lean": 0.02}, {"play_mm": (0.2, 0.1)}])
def test_the_length_of_travel_is_that_of_the_trajectory(program, keys):
    shaped = replace(program, shape=replace(program.shape, **keys))
    path = shaped.trajectory
    steps = np.hypot(*np.diff(path.points_mm, axis=0).T)
    assert shaped.travel_mm == pytest.approx(steps[path.stroke < 0].sum(), rel=1e-12)
    assert shaped.start_mm == pytest.approx(path.points_mm[0], rel=1e-12)


def test_the_trajectory_tells_place_speed_and_time(program):
    path = program.trajectory
    assert len(path.points_mm) == program.ramps + 1
    assert path.points_mm[0].tolist() == path.points_mm[-1].tolist() == [0, 0]
    # Mean speed times duration is the length of each ramp.
    d = np.hypot(*np.diff(path.points_mm, axis=0).T)
    np.testing.assert_allclose(path.speed_mm_s.mean(axis=1) * path.ticks / 5e6, d, rtol=2e-3)
    assert path.speed_mm_s.max() <= 120 * np.sqrt(2) + 1e-6
    assert np.all(np.diff(path.start_ticks) > 0)
    pens = program.kind == 1
    assert path.start_ticks[-1] + path.ticks[-1] == program.predicted_ticks
    assert program.ticks[pens].tolist() == [150 * 5000] * 8


def test_another_rig_is_refused(program):
    program.check_rig(Rig.default().changed({"name": "same machine, other name"}))
    with pytest.raises(ProgramError, match="moves differently"):
        program.check_rig(Rig.default().changed({"axis.x.accel_mm_s2": 1499.0}))


def test_saving_replaces_and_leaves_nothing_half(program, tmp_path):
    path = tmp_path / "job.lw"
    path.write_text("something else")
    program_file.save(program, path)
    assert same(program, program_file.load(path))
    assert [entry.name for entry in tmp_path.iterdir()] == ["job.lw"]
    assert path.stat().st_mode & stat.S_IRUSR
    with pytest.raises(ProgramError, match="cannot write"):
        program_file.save(program, tmp_path / "no such folder" / "job.lw")
    folder = tmp_path / "folder.lw"
    folder.mkdir()
    with pytest.raises(ProgramError, match="cannot write"):
        program_file.save(program, folder)
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["folder.lw", "job.lw"]


@pytest.mark.parametrize("content", [b"", b"not a zip", b"PK\x03\x04" + bytes(100), b"<svg/>"])
def test_foreign_files_are_refused(content, tmp_path):
    path = tmp_path / "job.lw"
    path.write_bytes(content)
    with pytest.raises(ProgramError, match=r"not a saved program|damaged"):
        program_file.load(path)


def test_missing_files_are_refused(tmp_path):
    with pytest.raises(ProgramError, match="cannot read") as caught:
        program_file.load(tmp_path / "nothing.lw")
    assert caught.value.hint == "check the name and the permissions"


@pytest.fixture(scope="module")
def saved(program, tmp_path_factory) -> bytes:
    path = tmp_path_factory.mktemp("saved") / "job.lw"
    program_file.save(program, path)
    return path.read_bytes()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_damage_is_refused_or_harmless(saved, program, tmp_path, data):
    # Any byte changed, or any end cut off: a ProgramError, or exactly the same program (there are bytes that zip
    # ignores, such as time stamps).
    path = tmp_path / "job.lw"
    broken = bytearray(saved)
    if data.draw(st.booleans()):
        broken[data.draw(st.integers(0, len(saved) - 1))] ^= data.draw(st.integers(1, 255))
    else:
        del broken[data.draw(st.integers(0, len(saved) - 1)) :]
    path.write_bytes(broken)
    try:
        loaded = program_file.load(path)
    except ProgramError:
        return
    assert same(program, loaded)


def rewritten(saved: bytes, change) -> bytes:
    """The archive with its members changed by ``change(members)``."""
    with zipfile.ZipFile(io.BytesIO(saved)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    change(members)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


def in_json(**changes):
    def change(members):
        about = json.loads(members["program.json"])
        about.update(changes)
        members["program.json"] = json.dumps(about).encode()

    return change


def with_array(name, changed):
    """An array replaced by ``changed(array)``, listed with matching shape and checksum, so only plausibility checks
    can find it.
    """

    def change(members):
        array = changed(np.lib.format.read_array(io.BytesIO(members[f"{name}.npy"])))
        out = io.BytesIO()
        np.lib.format.write_array(out, array, version=(1, 0))
        members[f"{name}.npy"] = out.getvalue()
        about = json.loads(members["program.json"])
        about["arrays"][name]["shape"] = list(array.shape)
        about["arrays"][name]["sha256"] = hashlib.sha256(array.tobytes()).hexdigest()
        members["program.json"] = json.dumps(about).encode()

    return change


def in_array(name, place, value):
    def changed(array):
        array[place] = value
        return array

    return with_array(name, changed)


def as_rows(name):
    return with_array(name, lambda array: array[:, None])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (in_json(version=2), "version 2"),
        (in_json(format="other"), "not a Linewright program"),
        (in_json(groups=[]), "do not add up to the program"),
        (in_json(steps_matrix=[[1, 1], [1, 1]]), "are singular"),
        (in_json(steps_matrix=[1]), "not a 2 x 2 matrix"),
        (in_json(sheet=[-1, 2, 3, "x"]), "side"),
        (in_json(start_steps="ab"), "damaged"),
        (in_json(predicted_ticks=1), "playing time"),
        (lambda members: members.pop("da.npy"), "members are not those"),
        (lambda members: members.update({"extra": b""}), "members are not those"),
        (lambda members: members.update({"program.json": b"[1]"}), "not a Linewright program|damaged"),
        (lambda members: members.update({"program.json": b"[" * 100_000}), "damaged|not a Linewright program"),
        (lambda members: members.update({"da.npy": members["points_mm.npy"]}), "da does not have type int32"),
        (in_json(start_steps=[10**30, 0]), "32 bits"),
        (in_json(pens=[["x", '"/><script>', None], ["red", "#cc2200", 0.8]]), "colour"),
        (in_json(pens=[["x", "#000000", -1.0], ["red", "#cc2200", 0.8]]), "pen of -1"),
        (in_json(pen_width_mm=float("nan")), "pen of nan"),
        (in_json(sheet_offset_mm=[0, float("inf")]), "is not finite"),
        (in_array("kind", 0, 9), "unknown kind"),
        (in_array("kind", 0, 3), "no single end"),
        (in_array("da", 0, 20_000), "damaged"),
        (in_array("v_end", 0, 12_345), "durations"),
        (in_array("da", -1, 5), "not a ramp moves"),
        (with_array("da", lambda da: np.where(np.arange(len(da)) == 0, -da, da)), "is not its start"),
        (in_array("v_end", -2, 700), "while it moves"),
        (as_rows("kind"), "kind has type uint8 and shape"),
        (as_rows("pen"), "pen has type int64 and shape"),
        (in_array("ticks", 0, 5), "durations"),
        (in_array("points_mm", 0, np.nan), "broken strokes"),
        (in_array("pen", 0, 7), "unknown pen"),
        (in_array("stroke_of_record", 0, 99), "unknown stroke"),
    ],
)
def test_a_changed_program_is_refused_with_its_reason(saved, tmp_path, change, message):
    path = tmp_path / "job.lw"
    path.write_bytes(rewritten(saved, change))
    with pytest.raises(ProgramError, match=message):
        program_file.load(path)


def test_a_zip_bomb_is_refused_before_it_is_unpacked(saved, tmp_path):
    # 1.2 GB of zeros pack into 1.2 MB.
    path = tmp_path / "job.lw"
    with zipfile.ZipFile(io.BytesIO(saved)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, content in members.items():
            if name != "ticks.npy":
                archive.writestr(name, content)
        with archive.open("ticks.npy", "w") as member:
            for _ in range(75):
                member.write(bytes(16_000_000))
    with pytest.raises(ProgramError, match="unpacks to"):
        program_file.load(path)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"start_steps": (-80_000, 0)}, "the rig reaches 0..310"),
        ({"v_end": 1000}, "needs .* steps/s of motor"),
        ({"servo_us": 2400}, "moves the pen to .*2400 us; the rig's pen allows 1300..1600 us"),
    ],
)
def test_a_program_that_claims_a_rig_is_held_to_its_limits(changes, words):
    made = motion.plan(Drawing.from_strokes([[[10, 10], [200, 150]]]), Rig.default())
    made.check_rig(Rig.default())
    if "v_end" in changes:
        forged = replace(made, v_end=(made.v_end * changes["v_end"]).astype(np.int32))
    elif "servo_us" in changes:
        forged = replace(made, servo_us=np.where(made.kind == PEN, 2400, 0).astype(np.int32))
    else:
        forged = replace(made, **changes)
    with pytest.raises(ProgramError, match=words):
        forged.check_rig(Rig.default())


def test_a_small_file_that_unpacks_to_more_than_days_of_drawing_is_refused_unread(tmp_path):
    path = tmp_path / "bomb.lw"
    names = [f"{name}.npy" for name in (*program_file._COLUMNS, *program_file._DRAWING)]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in names:
            archive.writestr(name, bytes(20 << 20))
        archive.writestr("program.json", "{}")
    assert path.stat().st_size < 1 << 20
    with pytest.raises(ProgramError, match="unpacks to 251658242 bytes, more than 201326592"):
        program_file.load(path)
