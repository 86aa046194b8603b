"""`rig new`: every set of answers gives a valid commented file, or is refused with a message."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import select
import subprocess
import sys
import termios
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linewright import cli
from linewright.errors import InputError, RigError
from linewright.rig.checks import bounds_of
from linewright.rig.draft import draft
from linewright.rig.questions import PIN_QUESTIONS, QUESTIONS, described, free_pins, read_answers, runs_of
from linewright.rig.review import review
from linewright.rig.rig import Rig
from linewright.rig.sections import Homing

NAMES = [question.name for question in QUESTIONS]
EVERYTHING = read_answers({str(row["name"]): row["default"] for row in described()})


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def test_without_an_answer_it_is_a_machine_of_common_parts():
    made = draft({})
    assert made.rig.board == "rp2040"
    assert made.steps_per_mm == 80
    answered = draft(EVERYTHING).rig
    assert not answered.assumed
    assert not [one for one in review(answered) if one.blocks or one.weight == "unknown"]
    assert made.rig.changed({"assumed": ()}) == answered
    # The text is the template with changed values, so all comments are kept.
    for line in Rig.default_text().splitlines():
        if "#" in line:
            assert line.partition("#")[2] in made.text


def test_a_homing_figure_is_the_same_wherever_it_stands():
    """In the commented default, for files that leave it out, and in what `rig new` works out."""
    assert draft({}).rig.homing == Rig.default().homing == Homing()


@pytest.mark.parametrize("known", [(), ("motor_v", "motor_a"), ("travel_x_mm", "travel_y_mm", "pulley_teeth")])
def test_no_figure_that_nobody_has_measured_is_called_good(known):
    """Replace all unanswered values: no result called good may change."""
    answers = {name: EVERYTHING[name] for name in known}
    rig = draft(answers).rig
    assert rig.assumed
    assert not {key for key in rig.assumed if key.startswith(tuple(known))}
    good = {one.said for one in review(rig) if one.weight == "good"}
    # A different machine with the same answers: other motors, supplies and travel.
    other = {"supply.motor_v": 12.0, "supply.motor_a": 1.0, "driver.current_a": 0.2, "axis.x.moving_mass_g": 4000.0}
    other |= {"supply.servo_a": 9.0, "supply.servo_stall_a": 8.0, "driver.logic_v": 5.0, "axis.y.drag_n": 30.0}
    changed = rig.changed({key: value for key, value in other.items() if key in rig.assumed})
    assert {one.said for one in review(changed) if one.weight == "good"} == good
    assert any("were not measured" in one.why for one in review(rig))


@pytest.mark.parametrize(
    ("name", "typed", "value"),
    [
        ("travel_x_mm", "450mm", 450.0),
        ("travel_x_mm", "45 cm", 450.0),
        ("travel_x_mm", "17.7 in", 449.58),  # 25.4 mm to the inch, by its definition of 1959
        ("travel_x_mm", '17,7"', 449.58),
        ("travel_x_mm", "0.45 m", 450.0),
        ("motor_v", "24 V", 24.0),
        ("current_a", "1100 mA", 1.1),
        ("mass_x_g", "0.5 kg", 500.0),
        ("holding_torque_n_m", "45 N cm", 0.45),
        ("inductance_mh", "4000 uH", 4.0),
        ("resistance_ohm", "2.3 \u03a9", 2.3),
        ("pulley_teeth", "20 teeth", 20),
        ("steps_per_turn", "200 Full steps", 200),
        ("step_a", "2 GPIO", 2),
    ],
)
def test_a_figure_may_be_written_with_its_unit(name, typed, value):
    assert read_answers({name: typed})[name] == pytest.approx(value)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"travel_x_mm": "450 ft"}, "unknown unit, 'ft'"),
        ({"pulley_teeth": "20 mm"}, "unknown unit, 'mm': allowed is a whole number 1..200 teeth$"),
        ({"drag_n": "300 g"}, "known units: N$"),
        ({"travel_x_mm": "wide"}, "is not a number"),
        ({"step_a": 2, "enable": 4}, "GPIO 4 is used already"),
        ({"step_a": 2, "servo_pin": 8, "enable": 8}, "GPIO 8 is used already"),
        ({"board": "rp2040", "step_a": 22}, "GPIO 23 is used already"),
        ({"board": "rp2040", "enable": 40}, "no GPIO 40|is not allowed"),
    ],
)
def test_a_wrong_unit_or_a_pin_that_is_taken_is_refused(given, words):
    with pytest.raises(InputError, match=words):
        read_answers(given)


def test_pins_that_are_offered_are_free():
    answers = {"board": "rp2040", "step_a": 6}
    for name in PIN_QUESTIONS[4:]:
        question = next(one for one in QUESTIONS if one.name == name)
        pin = question.usual(answers)
        assert pin in free_pins(answers, name)
        assert pin not in range(6, 10)
        answers[name] = pin
    assert len({*answers.values()}) == len(answers)
    assert runs_of([0, 1, 2, 5, 7, 8]) == "0 to 2, 5, 7 to 8"
    draft(read_answers({"step_a": 6}))


def test_a_file_of_answers_that_leaves_something_out_is_refused_where_nobody_can_be_asked(capsys, tmp_path):
    (tmp_path / "answers.json").write_text(json.dumps({"name": "harbour rig"}))
    assert cli.run(["rig", "new", "--answers", "answers.json"]) == 2
    assert "questions are not answered" in capsys.readouterr().err
    assert not (tmp_path / "rig.toml").exists()
    (tmp_path / "answers.json").write_text(json.dumps(EVERYTHING))
    assert cli.run(["rig", "new", "--answers", "answers.json"]) == 0
    assert Rig.load(tmp_path / "rig.toml").assumed == ()
    said = capsys.readouterr().out
    assert "it is the usual rig now" in said
    assert "linewright board bring-up" in said


def test_limits_follow_from_motor_supply_pulley_and_mass():
    strong = draft({})
    assert (strong.rig.x.speed_mm_s, strong.rig.x.accel_mm_s2) == (150.0, 1500.0)
    # By hand: 12 V, 0.4 A (0.4 x 30 = 12 V would never be reached, so 20 ohm: 8 V), 40 mH: tau = 2 ms, reversal
    # 2 ms x ln((12 + 8) / (12 - 8)) = 3.22 ms, 311 full steps/s, 311 / 200 x 40 mm = 62.1 mm/s.
    weak = {"motor_v": 12.0, "rated_current_a": 0.4, "current_a": 0.4, "resistance_ohm": 20.0, "inductance_mh": 40.0}
    made = draft({**weak, "holding_torque_n_m": 0.2, "mass_x_g": 3000.0})
    assert made.reaches[0].speed_mm_s == pytest.approx(62.1, abs=0.1)
    assert made.rig.x.speed_mm_s == 60.0
    # 0.2 / sqrt 2 = 0.1414 N m at 6.366 mm is 22.2 N, half 11.1, less 3 N: 8.1 N on 3.133 kg: 2.6 m/s2; 1.5 are asked.
    assert made.reaches[0].accel_mm_s2 == pytest.approx(2590, rel=0.01)
    heavy = draft({**weak, "holding_torque_n_m": 0.2, "mass_x_g": 30_000.0})
    assert heavy.rig.x.accel_mm_s2 <= heavy.reaches[0].accel_mm_s2 == pytest.approx(269, rel=0.01)


def test_what_is_not_known_is_left_out_and_named_by_the_check():
    made = draft({**EVERYTHING, "inductance_mh": None, "servo_a": None})
    assert made.rig.a.inductance_mh is None
    assert made.reaches == (None, None)
    assert (made.rig.x.speed_mm_s, made.rig.x.accel_mm_s2) == (60.0, 500.0)
    unknown = " ".join(one.said for one in review(made.rig) if one.weight == "unknown")
    assert "inductance_mh" in unknown
    assert "supply.servo_a" in unknown


def test_pins_lie_in_a_row_where_the_board_wants_them_to():
    pins = draft({"board": "rp2350", "step_a": 10}).rig.pins
    assert (pins.step_a, pins.step_b, pins.direction_a, pins.direction_b) == (10, 11, 12, 13)
    free = draft({"board": "portable", "step_a": 10, "step_b": 14, "direction_a": 3, "direction_b": 4}).rig
    assert (free.pins.step_b, free.pins.direction_a) == (14, 3)
    assert free.a.step_rate_hz == 4000
    assert free.x.speed_mm_s <= 50  # 4000 / 80


def test_no_switches_no_pins_for_them():
    rig = draft({"endstop_x": "none", "endstop_y": "max"}).rig
    assert rig.pins.endstop_x is None
    assert rig.pins.endstop_y == 9


@pytest.mark.parametrize(
    ("x", "y", "sheet"), [(310, 310, "A4"), (250, 180, "A5 landscape"), (500, 500, "A3"), (60, 60, "55x55mm")]
)
def test_the_sheet_is_the_largest_that_fits(x, y, sheet):
    assert draft({"travel_x_mm": float(x), "travel_y_mm": float(y)}).rig.sheet.size == sheet


numbers = {
    question.name: st.integers(int(b.low), int(b.high)) if b.whole else st.floats(b.low, b.high)
    for question in QUESTIONS
    if (b := bounds_of(Rig, question.keys[0])).is_number and not question.name.endswith("pin")
}


@settings(max_examples=25)
@given(st.fixed_dictionaries({}, optional=numbers), st.sampled_from(["rp2040", "portable", "virtual"]))
def test_any_answers_within_their_bounds_make_a_valid_file_or_are_refused_by_key(answers, board):
    """For any machine, the file is accepted by its reader, or the conflicting keys are listed."""
    try:
        made = draft({**answers, "board": board})
    except RigError as error:
        refused = error.issues
    else:
        refused = None
    if refused is not None:
        assert all(issue.key and issue.allowed for issue in refused)
        assert refused
        return
    assert Rig.parse(made.text).fingerprint() == made.rig.fingerprint()
    for axis, found in zip((made.rig.x, made.rig.y), made.reaches, strict=True):
        if found is not None:
            assert axis.speed_mm_s <= max(found.speed_mm_s, 1.0)
            assert axis.accel_mm_s2 <= max(found.accel_mm_s2, 1.0)
    assert made.rig.homing.fast_mm_s <= min(made.rig.x.speed_mm_s, made.rig.y.speed_mm_s)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"board": "toaster"}, "allowed is"),
        ({"travel_x_mm": "far"}, "is not a number"),
        ({"travel_x_mm": True}, "is not a number"),
        ({"travel_x_mm": -5}, "10..5000"),
        ({"travel_x_mm": "1e999"}, "10..5000"),
        ({"travel_x_mm": "nan"}, "10..5000"),
        ({"travel_x_mm": None}, "must be given"),
        ({"pulley_teeth": 20.5}, "whole number"),
        ({"name": ""}, "text"),
        ({"name": 7}, "text"),
        ({"colour": "red"}, "there is no question 'colour'"),
        ({"travel_x_mm": [1]}, "is not a number"),
    ],
)
def test_absurd_answers_are_refused_with_what_is_allowed(given, words):
    with pytest.raises(InputError, match=words):
        read_answers(given)


def test_answers_from_files_and_options_make_the_same_file(capsys, tmp_path):
    (tmp_path / "answers.json").write_text(
        json.dumps({"name": "harbour rig", "motor_v": 12, "inductance_mh": "unknown"})
    )
    assert cli.run(["rig", "new", "-o", "a.toml", "--answers", "answers.json", "--usual", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["steps_per_mm"] == 80
    assert said["sound"]
    words = ["--answer", "name=harbour rig", "--answer", "motor_v=12", "--answer", "inductance_mh=unknown", "--usual"]
    assert cli.run(["rig", "new", "-o", "b.toml", *words]) == 0
    assert (tmp_path / "a.toml").read_text() == (tmp_path / "b.toml").read_text()
    out = capsys.readouterr().out
    assert "200 x 16 / (2 mm x 20) = 80" in out
    assert "are not fully known" in out
    assert cli.run(["rig", "check", "a.toml"]) == 0


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "not valid JSON"),
        ("[1]", "no JSON object"),
        ("[" * 5000, "JSON"),
        ('{"board": "toaster"}', "board = 'toaster'"),
    ],
)
def test_bad_files_of_answers(content, words, capsys, tmp_path):
    (tmp_path / "answers.json").write_text(content)
    assert cli.run(["rig", "new", "--answers", "answers.json"]) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "rig.toml").exists()


def test_nothing_is_overwritten_and_no_terminal_is_said(capsys, tmp_path):
    (tmp_path / "rig.toml").write_text("mine")
    assert cli.run(["rig", "new", "--usual"]) == 2
    assert (tmp_path / "rig.toml").read_text() == "mine"
    assert cli.run(["rig", "new", "--usual", "-o", "no/such/rig.toml"]) == 2
    assert cli.run(["rig", "new", "--answers", "missing.json", "-o", "b.toml"]) == 2
    assert cli.run(["rig", "new", "--answer", "nonsense", "-o", "b.toml"]) == 2
    done = subprocess.run(
        [sys.executable, "-c", "from linewright.cli import main; main()", "rig", "new", "-o", "c.toml"],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "there is no terminal to ask on" in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["rig.toml"]


def test_the_questions_are_described_for_scripts(capsys):
    assert cli.run(["rig", "new", "--questions"]) == 0
    rows = json.loads(capsys.readouterr().out)["questions"]
    assert rows == described()
    assert [row["name"] for row in rows] == NAMES
    assert all(row["why"] and row["question"] for row in rows)
    # Their defaults are answers, too.
    assert draft(read_answers({row["name"]: row["default"] for row in rows})).rig.board == "rp2040"


class Terminal:
    """`rig new` on a separate terminal."""

    def __init__(self, *words):
        self.master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from linewright.cli import main; main()", "rig", "new", *words],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
        )
        os.close(slave)
        self.text = ""

    def until(self, words):
        deadline = time.monotonic() + 60
        while words not in self.text:
            assert time.monotonic() < deadline, self.text
            self._read()
        self.text = self.text.partition(words)[2]

    def type(self, line):
        os.write(self.master, (line + "\n").encode())

    def end(self):
        deadline = time.monotonic() + 60
        while (self.process.poll() is None or select.select([self.master], [], [], 0)[0]) and self._read():
            assert time.monotonic() < deadline, self.text
        os.close(self.master)
        return self.process.wait(30)

    def _read(self):
        if not select.select([self.master], [], [], 0.2)[0]:
            return True
        try:
            piece = os.read(self.master, 4096).decode()
        except OSError:
            return False
        self.text += piece
        return bool(piece)


def test_it_asks_on_a_terminal_and_back_goes_back(tmp_path):
    terminal = Terminal("-o", "asked.toml")
    terminal.until("What do you call the machine?")
    terminal.type("Harbour Rig")
    terminal.until("Which microcontroller")
    terminal.type("back")
    terminal.until("What do you call the machine?")
    terminal.type("Heron")
    terminal.until("Which microcontroller")
    terminal.type("toaster")
    terminal.until("is no answer here")
    terminal.type("help")
    # Only these three commands; those of bring-up do not apply to writing a file.
    terminal.until(
        "back: go back one question\r\nstop: leave without writing a file\r\nhelp: explain the question; Enter accepts"
    )
    said = terminal.text.rpartition("toaster")[2]
    # Once after the wrong answer, once after "help".
    assert said.count("virtual is a simulated board") <= 2
    for _ in range(60):
        terminal.type("")
        time.sleep(0.01)
    assert terminal.end() == 0, terminal.text
    rig = Rig.load(tmp_path / "asked.toml")
    assert rig.name == "Heron"
    assert rig.fingerprint() == draft({}).rig.fingerprint()


@pytest.mark.parametrize("leave", ["stop", "\x03", "\x04"])
def test_leaving_in_the_middle_writes_nothing(leave, tmp_path):
    terminal = Terminal("-o", "asked.toml")
    terminal.until("What do you call the machine?")
    os.write(terminal.master, (leave + ("\n" if leave == "stop" else "")).encode())
    assert terminal.end() == 130, terminal.text
    assert "Traceback" not in terminal.text
    assert list(tmp_path.iterdir()) == []
