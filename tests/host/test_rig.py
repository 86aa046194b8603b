"""The rig file: errors name key, line, value and range. Outside checks: jsonschema, tomlkit, closed forms."""

from __future__ import annotations

import json
import math
import re

import jsonschema
import numpy as np
import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from linewire import messages
from linewright import units
from linewright.errors import RigError
from linewright.rig.board_settings import board_settings
from linewright.rig.doubts import doubts
from linewright.rig.rig import FILE_LIMIT_BYTES, Rig
from linewright.rig.sheet_place import lies_within
from linewright.rig.toml_lines import find_places, line_of
from linewright.sheet.sizes import Sheet

DEFAULT = Rig.default_text()


def refused(text: str) -> RigError:
    with pytest.raises(RigError) as caught:
        Rig.parse(text, where="my.toml")
    return caught.value


def with_value(key: str, value: str) -> str:
    """The default file with one value replaced; the key is unique in it or the first of its name."""
    out, count = re.subn(rf"(?m)^{key} = [^#\n]*", f"{key} = {value} ", DEFAULT, count=1)
    assert count == 1
    return out


def line_with(text: str, start: str) -> int:
    return 1 + next(i for i, line in enumerate(text.splitlines()) if line.startswith(start))


# The default


def test_the_default_rig_is_sound_and_holds_a4_either_way():
    rig = Rig.default()
    assert doubts(rig) == ()
    # MOTION.md: 200 x 16 / (2 mm x 20) = 80 steps/mm (common practice).
    assert rig.steps_per_mm.tolist() == [80.0, 80.0]
    assert rig.kinematics_matrix.tolist() == [[80.0, 0.0], [0.0, 80.0]]
    assert rig.paper == Sheet(210, 297, 10.0, "A4")
    assert lies_within(rig.paper, rig)
    assert lies_within(Sheet.named("A4 landscape"), rig)


def test_the_default_file_states_every_key():
    def keys(schema, node, prefix=()):
        node = schema["$defs"][node["$ref"].split("/")[-1]] if "$ref" in node else node
        for name, inner in node.get("properties", {}).items():
            yield (*prefix, name)
            yield from keys(schema, inner, (*prefix, name))

    schema = json.loads(Rig.schema_text())
    # Settings that few machines need are comments.
    rare = {("pins", "rest_current"), ("pins", "motor_power")}
    assert all(f"\n# {name} = " in DEFAULT for _, name in rare)
    assert set(keys(schema, schema)) == set(find_places(DEFAULT)) | {("axis",), ("motor",)} | rare


def test_the_default_file_carries_the_cautions_where_they_matter():
    # Cautions, each in the section that it concerns.
    for section, words in {
        "[motor.a]": "current limit",
        "[pen]": "stall current",
        "[pins]": "5 V",
    }.items():
        before = DEFAULT[: DEFAULT.index(f"\n{section}\n")]
        assert words in before[before.rindex("\n\n") :], section
    for words in ("Disconnect the power", "switch within reach", "unattended", "grounds", "Mains"):
        assert words in DEFAULT


def test_somebody_elses_validator_accepts_the_default_and_refuses_a_bad_one():
    schema = json.loads(Rig.schema_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    raw = tomlkit.parse(DEFAULT).unwrap()
    assert list(validator.iter_errors(raw)) == []
    raw["axis"]["x"]["travel_mm"] = -3
    raw["extra"] = 1
    assert {e.validator for e in validator.iter_errors(raw)} == {"minimum", "additionalProperties"}


# Problems


@pytest.mark.parametrize(
    ("key", "value", "dotted", "allowed"),
    [
        ("travel_mm", "9.9", "axis.x.travel_mm", "10..5000 mm"),
        ("travel_mm", "inf", "axis.x.travel_mm", "10..5000 mm"),
        ("travel_mm", "nan", "axis.x.travel_mm", "10..5000 mm"),
        ("travel_mm", '"310"', "axis.x.travel_mm", "10..5000 mm"),
        ("travel_mm", "true", "axis.x.travel_mm", "10..5000 mm"),
        ("travel_mm", "1979-05-27", "axis.x.travel_mm", "10..5000 mm"),
        ("speed_mm_s", "0", "axis.x.speed_mm_s", "1..2000 mm/s"),
        ("accel_mm_s2", "-1", "axis.x.accel_mm_s2", "1..50000 mm/s^2"),
        ("endstop", '"left"', "axis.x.endstop", '"min" or "max" or "none"'),
        ("pulley_teeth", "0", "motor.a.pulley_teeth", "1..200 teeth"),
        ("pulley_teeth", "20.0", "motor.a.pulley_teeth", "a whole number 1..200 teeth"),
        ("belt_pitch_mm", "0", "motor.a.belt_pitch_mm", "0.2..25 mm"),
        ("steps_per_turn", "0", "motor.a.steps_per_turn", "4..10000 full steps"),
        ("microsteps", "0", "motor.a.microsteps", "1..256 per full step"),
        ("reversed", "1", "motor.a.reversed", "true or false"),
        ("up_us", "499", "pen.up_us", "500..2500 us"),
        ("down_us", "2501", "pen.down_us", "500..2500 us"),
        ("junction_deviation_mm", "0", "motion.junction_deviation_mm", "0.001..1 mm"),
        ("step_width_us", "0.5", "driver.step_width_us", "1..20 us"),
        ("offset_mm", "[1.0]", "sheet.offset_mm", "a pair of numbers [x, y], each 0..5000 mm"),
        ("offset_mm", "[1.0, -2.0]", "sheet.offset_mm", "a pair of numbers [x, y], each 0..5000 mm"),
        ("offset_mm", "5", "sheet.offset_mm", "a pair of numbers"),
        ("position_mm", "[311.0, 0.0]", "park.position_mm", "x must be 0..310 mm"),
        ("size", '"A9"', "sheet.size", "no sheet size 'A9'"),
        ("margin_mm", "105.0", "sheet.margin_mm", "outside 0..105 mm"),
        ("step_a", "48", "pins.step_a", "0..47 GPIO"),
        ("step_b", "2", "pins.step_b", "already pins.step_a"),
        ("type", '"polar"', "kinematics.type", '"cartesian" or "crossed-belt"'),
        ("board", '"stm32"', "board", '"virtual" or "pico" or "pico-w"'),
        ("name", '""', "name", "text of 1..80 characters"),
        ("slow_mm_s", "31.0", "homing.slow_mm_s", "at most fast_mm_s = 30"),
        ("fast_mm_s", "121.0", "homing.fast_mm_s", "at most 120 mm/s"),
        ("backoff_mm", "100.0", None, ""),
        ("step_rate_hz", "131072", "motor.a.step_rate_hz", "100..131071 steps/s"),
        # 2 us high, 2 us low and 1 us set-up: 200 000 words/s; 8 us wide: 1e6/17 = 58 823.
        ("step_width_us", "12.0", "motor.a.step_rate_hz", "at most 40000 steps/s"),
        ("down_us", "1300", "pen.down_us", "must differ from pen.up_us"),
    ],
)
def test_every_problem_names_key_line_value_and_range(key, value, dotted, allowed):
    text = with_value(key, value)
    if dotted is None or (key, value) == ("step_width_us", "12.0"):  # these two are within their limits
        Rig.parse(text)
        return
    error = refused(text)
    assert [issue.key for issue in error.issues] == [dotted]
    issue = error.issues[0]
    assert issue.line == line_with(text, f"{key} =")
    assert allowed in issue.allowed
    assert f"line {issue.line}: {dotted} = " in str(error)
    assert "my.toml" in str(error)


def test_pulses_too_long_for_the_step_rate_are_refused():
    # 15 us high, 15 us low, 1 us set-up: 1e6 / 31 = 32 258 steps/s.
    error = refused(with_value("step_width_us", "15.0"))
    assert [(i.key, i.allowed) for i in error.issues] == [
        ("motor.a.step_rate_hz", "must be at most 32258 steps/s"),
        ("motor.b.step_rate_hz", "must be at most 32258 steps/s"),
    ]


def test_all_problems_are_listed_at_once_in_the_order_of_the_file():
    text = with_value("travel_mm", "-1")
    text = text.replace("pulley_teeth = 20", "pulley_teeth = 0", 1).replace("lift_ms", "lft_ms")
    text = text.replace("step_b = 3", "step_b = 2").replace('"A4"', '"B7"').replace("[park]", "[prak]")
    keys = [issue.key for issue in refused(text).issues]
    assert keys == [
        "axis.x.travel_mm",
        "motor.a.pulley_teeth",
        "pen.lft_ms",
        "sheet.size",
        "prak",
        "pins.step_b",
    ]


def test_unknown_keys_get_the_nearest_known_one():
    assert "did you mean axis.x.travel_mm?" in str(refused(DEFAULT.replace("travel_mm =", "travel =", 1)))
    assert "did you mean homing?" in str(refused(DEFAULT.replace("[homing]", "[hominq]")))
    moved = DEFAULT.replace("[motion]\n", "[motion]\nup_us = 3\n")
    assert "it belongs in the table [pen]" in str(refused(moved))


def test_missing_keys_and_tables_are_named():
    error = refused(re.sub(r"(?m)^travel_mm.*\n", "", DEFAULT, count=1))
    assert [(i.key, i.line) for i in error.issues] == [("axis.x.travel_mm", line_with(DEFAULT, "[axis.x]"))]
    assert (
        "axis.x.travel_mm is missing; allowed is 10..5000 mm; write it into [axis.x], as `linewright rig default` shows"
        in str(error)
    )
    error = refused('name = "x"\n')
    assert {i.key for i in error.issues} == {"kinematics", "axis", "motor", "pen"}
    assert "pen is missing; allowed is a table of keys; write it as [pen], as" in str(error)
    assert "None" not in str(error)


def test_a_crossed_belt_needs_equal_steps():
    crossed = with_value("type", '"crossed-belt"')
    rig = Rig.parse(crossed)
    # A = x + y, B = x - y: one mm along x turns both motors forward, one along y turns B backward.
    assert (rig.kinematics_matrix @ [1, 0]).tolist() == [80, 80]
    assert (rig.kinematics_matrix @ [0, 1]).tolist() == [80, -80]
    error = refused(crossed.replace("pulley_teeth = 20", "pulley_teeth = 16", 1))
    assert [i.key for i in error.issues] == ["motor.b"]
    assert "100 steps/mm" in str(error)


def test_real_boards_need_their_switches_wired():
    text = with_value("board", '"rp2040"').replace("endstop_y = 9", "")
    assert [i.key for i in refused(text).issues] == ["pins.endstop_y"]
    assert 'pins.endstop_y is missing, but axis.y.endstop = "min"; write its GPIO there' in str(refused(text))
    Rig.parse(text.replace('endstop = "min"', 'endstop = "none"'))
    Rig.parse(text.replace('"rp2040"', '"virtual"'))
    beyond = with_value("board", '"rp2040"').replace("servo = 7", "servo = 30")
    assert "GPIO 0..29" in str(refused(beyond))


# Files


def test_a_file_is_read_with_its_name_and_lines(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(DEFAULT.replace("\n", "\r\n"), encoding="utf-8-sig", newline="")
    assert Rig.load(path) == Rig.default()
    path.write_text(with_value("travel_mm", "1"), encoding="utf-8")
    with pytest.raises(RigError, match=re.escape(str(path))):
        Rig.load(str(path))


@pytest.mark.parametrize("text", ["[pen]\nup_us = 1\nup_us = 2\n", "[pen]\nup_us = 1\n[pen]\nup_us = 2\n"])
def test_what_stands_twice_is_not_taken_for_a_missing_bracket(text):
    with pytest.raises(RigError, match="not valid TOML") as caught:
        Rig.parse(text)
    assert "keep one of the two" in caught.value.hint


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "is empty"),
        (b"# only a comment\n", "is empty"),
        (b"\nname = ", r"rig\.toml, line 2, at the end: not valid TOML: Invalid value"),
        (b"name = 'a'\n[axis.x\n", "line 2, column 8"),
        (b"[pen]\nup_us = 1\nup_us = 2\n", "line 3, column"),
        (b"a = " + b"[" * 5000, "nested too deeply|not valid TOML"),
        (b"a = 1" + b"0" * 5000, "not valid TOML"),
        (b"a = 0x" + b"f" * 20000, "no such key"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "is not UTF-8 text"),
        (b"\x00\x00", "not valid TOML"),
        (b"x" * 300_000, "larger than 262144 bytes"),
    ],
)
def test_what_is_no_rig_file_is_refused_in_plain_words(tmp_path, data, message):
    path = tmp_path / "rig.toml"
    path.write_bytes(data)
    with pytest.raises(RigError, match=message) as caught:
        Rig.load(path)
    assert len(str(caught.value)) < 2000


def test_a_file_that_cannot_be_read_is_named(tmp_path, monkeypatch):
    with pytest.raises(RigError, match=r"nowhere\.toml: No such file") as caught:
        Rig.load(tmp_path / "nowhere.toml")
    assert "check the name" in caught.value.hint
    assert "default" in caught.value.hint
    with pytest.raises(RigError, match="directory"):
        Rig.load(tmp_path)

    def deny(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", deny)
    (tmp_path / "rig.toml").touch()
    with pytest.raises(RigError, match="Permission denied"):
        Rig.load(tmp_path / "rig.toml")


def test_a_large_file_is_not_read_to_its_end(tmp_path):
    (tmp_path / "rig.toml").write_bytes(bytes(FILE_LIMIT_BYTES + 1))
    with pytest.raises(RigError, match="larger than"):
        Rig.load(tmp_path / "rig.toml")


@given(st.text(max_size=200) | st.binary(max_size=200).map(lambda b: b.decode("latin-1")))
def test_any_text_is_a_rig_or_a_rig_error(text):
    """Any text at all yields a rig or a RigError, never another exception."""
    with pytest.raises(RigError):
        Rig.parse(text)


_KEYS = [p for p in find_places(DEFAULT) if p and p[-1] not in ("x", "y", "a", "b")]


@given(
    st.dictionaries(
        st.sampled_from([".".join(p) for p in _KEYS]),
        st.none()
        | st.booleans()
        | st.integers()
        | st.floats()
        | st.text(max_size=5)
        | st.lists(st.floats(), max_size=3),
        min_size=1,
        max_size=4,
    )
)
def test_any_change_is_a_rig_whose_settings_the_board_takes_or_a_rig_error(changes):
    """For any values, the file is refused or every setting is within the board's ranges."""
    try:
        rig = Rig.default().changed(changes)
    except RigError:
        return
    for name, _, low, high, _ in messages.SETTINGS:
        assert low <= board_settings(rig)[name] <= high, name


# Places


def test_lines_are_found_like_tomlkit_parses_keys():
    text = 'a = """\nb = 1\n"""\n"c d".e = [\n  1, # ]\n  "]",\n]\n[t."x.y"]\nz = 1\n[u]\nv = { w = 3 }\n'
    places = find_places(text)
    assert places == {
        ("a",): 1,
        ("c d",): 4,
        ("c d", "e"): 4,
        ("t", "x.y"): 8,
        ("t", "x.y", "z"): 9,
        ("u",): 10,
        ("u", "v"): 11,
    }
    assert line_of(places, ("u", "v", "w")) == 11
    assert line_of(places, ("no",)) is None


# Settings, fingerprint, warnings


def test_settings_are_the_boards_own_names_within_its_ranges():
    told = board_settings(Rig.default())
    assert set(told) == {entry[0] for entry in messages.SETTINGS}
    for name, _, low, high, _ in messages.SETTINGS:
        assert isinstance(told[name], int)
        assert low <= told[name] <= high
    # By hand: 310 mm x 80 = 24800 steps; 30 mm/s x 80 = 2400; 1500 mm/s^2 x 80 = 120 000.
    assert (told["x_high"], told["home_fast_x"], told["accel"]) == (24800, 2400, 120_000)
    assert (told["home_backoff_x"], told["home_accel_y"], told["step_width_ns"]) == (240, 40_000, 2000)
    assert (told["kinematics"], told["home_end_x"], told["pin_servo"], told["host_silence_ms"]) == (0, 1, 7, 700)


def test_settings_at_the_ends_of_every_range_suit_the_board():
    one_tooth = {f"motor.{m}.pulley_teeth": 1 for m in "ab"} | {"homing.fast_mm_s": 20.0}
    coarsest = {f"motor.{m}.{k}": v for m in "ab" for k, v in {"belt_pitch_mm": 25.0, "pulley_teeth": 1}.items()}
    for changes in (
        coarsest | {f"motor.{m}.microsteps": 1 for m in "ab"} | {"homing.slow_mm_s": 0.1, "homing.accel_mm_s2": 1.0},
        one_tooth | {"axis.x.accel_mm_s2": 50_000.0, "axis.x.travel_mm": 5000.0},
        {"guard.idle_after_s": 0.0, "guard.host_silence_s": 600.0},
        {"guard.idle_after_s": 3600.0, "guard.host_silence_s": 0.5},
    ):
        told = board_settings(Rig.default().changed(changes))
        for name, _, low, high, _ in messages.SETTINGS:
            assert low <= told[name] <= high, (name, changes)


@pytest.mark.parametrize("kind", ["cartesian", "crossed-belt"])
def test_step_space_acceleration_is_the_least_over_all_directions(kind):
    rig = Rig.default().changed({"kinematics.type": kind, "axis.y.accel_mm_s2": 900.0})
    angle = np.linspace(0, 2 * math.pi, 100_001)
    steps = np.array([np.cos(angle), np.sin(angle)])  # unit directions in step space
    mm = np.abs(np.linalg.solve(rig.kinematics_matrix, steps))
    with np.errstate(divide="ignore"):
        allowed = np.min(np.array([[1500.0], [900.0]]) / mm, axis=0)
    # The scan misses the least direction by at most half its step, 3e-5 rad: 1 - cos is 5e-10.
    assert rig.step_space_accel_steps_s2() == pytest.approx(allowed.min(), rel=1e-8)


@pytest.mark.parametrize("kind", ["cartesian", "crossed-belt"])
def test_soft_limits_admit_every_point_of_the_reach(kind):
    rig = Rig.default().changed({"kinematics.type": kind, "axis.x.travel_mm": 100.006, "axis.y.travel_mm": 99.99})
    told = board_settings(rig)
    rng = np.random.default_rng(5)
    xy = rng.uniform(0, 1, (200_000, 2)) * rig.travel_mm
    for side in (0, 1):
        xy[: len(xy) // 4, side] = np.where(rng.random(len(xy) // 4) < 0.5, 0, rig.travel_mm[side])
    a, b = np.rint(rig.kinematics_matrix @ xy.T)
    x, y = (a, b) if kind == "cartesian" else ((a + b) / 2, (a - b) / 2)
    assert told["x_low"] <= x.min() <= x.max() <= told["x_high"]
    assert told["y_low"] <= y.min() <= y.max() <= told["y_high"]


def test_the_fingerprint_ignores_what_does_not_move_anything():
    rig = Rig.default()
    bare = "\n".join(line.split("#")[0] for line in DEFAULT.splitlines())
    tables = re.split(r"(?m)^(?=\[)", bare)
    shuffled = tables[0] + "\n".join(reversed(tables[1:]))
    assert Rig.parse(shuffled).fingerprint() == rig.fingerprint()
    assert Rig.parse(DEFAULT.replace("310.0", "310")).fingerprint() == rig.fingerprint()
    for key, value in {
        "name": "another",
        "board": "rp2040",
        "pins.servo": 20,
        "guard.idle_after_s": 5.0,
        "pen.width_mm": 0.2,
        "sheet.size": "A5",
        "sheet.margin_mm": 3.0,
        "homing.slow_mm_s": 1.0,
    }.items():
        assert rig.changed({key: value}).fingerprint() == rig.fingerprint(), key


def test_the_fingerprint_changes_with_everything_that_moves_something():
    rig = Rig.default()
    changes = {
        "kinematics.type": "crossed-belt",
        "axis.x.travel_mm": 311.0,
        "axis.y.speed_mm_s": 121.0,
        "axis.y.accel_mm_s2": 1501.0,
        "axis.x.endstop": "max",
        "motor.a.belt_pitch_mm": 2.5,
        "motor.b.pulley_teeth": 16,
        "motor.a.steps_per_turn": 400,
        "motor.a.microsteps": 32,
        "motor.b.reversed": True,
        "motor.a.step_rate_hz": 30_000,
        "motion.junction_deviation_mm": 0.02,
        "motion.pen_down_speed_mm_s": 50.0,
        "driver.step_width_us": 3.0,
        "driver.direction_setup_us": 2.0,
        "pen.up_us": 1200,
        "pen.down_us": 1700,
        "pen.lift_ms": 100,
        "pen.lower_ms": 100,
        "homing.backoff_mm": 4.0,
        "sheet.offset_mm": [6.0, 5.0],
        "park.position_mm": [1.0, 0.0],
    }
    prints = {rig.changed({key: value}).fingerprint() for key, value in changes.items()} | {rig.fingerprint()}
    assert len(prints) == len(changes) + 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"axis.x.speed_mm_s": 600.0},
            "asks 48000 steps/s of motor a; its step_rate_hz = 40000 holds it to 500.0 mm/s",
        ),
        ({"sheet.size": "A3"}, "beyond axis.y.travel_mm = 310"),
        ({"sheet.offset_mm": [101.0, 0.0]}, "ends at x = 311 mm"),
        ({"pen.up_us": 900}, "outside 1000..2000 us"),
        ({"pen.up_us": 1590}, "only 10 us apart"),
        ({"motion.junction_deviation_mm": 0.3}, "rounded corners will show"),
        # v^2 / 2a = 3600 / 1000 = 3.6 mm of overrun against 3 mm of backing off.
        ({"homing.fast_mm_s": 60.0}, "needs 3.6 mm to stop"),
        ({"axis.y.endstop": "none"}, "axis y has no endstop"),
        ({"sheet.offset_mm": (500.0, 5.0)}, "nothing can be drawn on it"),
        ({"sheet.offset_mm": (200.0, 5.0)}, "lines beyond that are cut off"),
    ],
)
def test_doubts_are_told(changes, words):
    assert any(words in warning for warning in doubts(Rig.default().changed(changes)))


def test_pins_left_to_the_default_are_told():
    text = with_value("board", '"rp2350"').replace('endstop = "min"', 'endstop = "none"')
    rig = Rig.parse(text[: text.index("[pins]")])
    assert any("[pins] is not in the file" in warning for warning in doubts(rig))


def test_a_change_below_a_single_value_is_no_change_in_silence():
    with pytest.raises(RigError, match="name = "):
        Rig.default().changed({"name.first": "x"})


def test_a_rig_cannot_be_changed_in_place():
    with pytest.raises(ValueError, match="frozen"):
        Rig.default().name = "other"


# Units


def test_lengths_have_css_sizes():
    # CSS Values and Units 3, 5.2: 1in = 2.54cm = 25.4mm = 101.6Q = 6pc = 72pt = 96px.
    for text in ("1in", "2.54cm", "25.4mm", "101.6q", "6pc", "72pt", "96px", "25.4", " 1 IN "):
        assert units.length_mm(text) == pytest.approx(25.4, rel=1e-14)


@pytest.mark.parametrize("text", ["", "mm", "1 2", "nan", "inf", "1e999", "1ell", "--1", "\u0661"])
def test_what_is_no_length_is_refused(text):
    with pytest.raises(ValueError, match="is not a length"):
        units.length_mm(text)
