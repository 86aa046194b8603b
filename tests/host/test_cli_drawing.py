"""Disturbances of a drawing from the command line: keys, signals, closed terminal, SIGKILL, `linewright resume`."""

from __future__ import annotations

import contextlib
import io
import json
import math
import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from linewright import cli
from linewright.board.drift import DriftCheck
from linewright.board.session_values import Control
from linewright.cli.keys import Keys
from linewright.cli.progress import StopOnSignals
from linewright.drawing.strokes import Drawing
from linewright.motion import plan
from linewright.program import file as program_file
from linewright.rig.rig import Rig
from linewright.run import journal
from linewright.run import log as drawing_log
from linewright.run.story import PROGRAM, Manner, Story
from linewright.simulation.replay import read_trace
from linewright.tasks.draw_task import DrawTask
from linewright.tasks.target import Target

COMMAND = "from linewright.cli import main; main()"
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">{}</svg>'
LINES = SVG.format("".join(f'<path stroke="#123" d="M10 {y}H90"/>' for y in range(8, 56, 4)))
TWO_PENS = SVG.format('<path stroke="#a00" d="M10 10H20"/><path stroke="#00a" d="M10 20H20"/>')


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch):
    """A folder with a picture, and a rig without endstops, which avoids homing."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    rig = Rig.default_text().replace('endstop = "min"', 'endstop = "none"')
    (tmp_path / "rig.toml").write_text(rig, encoding="utf-8")
    (tmp_path / "lines.svg").write_text(LINES, encoding="utf-8")
    (tmp_path / "pens.svg").write_text(TWO_PENS, encoding="utf-8")
    return tmp_path


def command(*words: object, **options) -> subprocess.Popen[str]:
    options = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "start_new_session": True} | options
    return subprocess.Popen([sys.executable, "-c", COMMAND, *map(str, words)], **options)


def draw_in_real_time(*more: str) -> subprocess.Popen[str]:
    return command("draw", "lines.svg", "--keep", "--rig", "rig.toml", "--port", "virtual:real_time=1", *more)


def wait_for_strokes(count: int) -> Story:
    deadline_s = time.monotonic() + 90
    while time.monotonic() < deadline_s:
        for story in journal.unfinished():
            if story.strokes_done >= count:
                return story
        time.sleep(0.02)
    raise AssertionError("no journal says so")


class Terminal:
    """A command on a separate terminal."""

    def __init__(self, *words: str) -> None:
        self.process, self._master = pty.fork()
        if self.process == 0:
            os.execv(sys.executable, [sys.executable, "-c", COMMAND, *words])
        self.text = ""

    def until(self, word: str) -> None:
        """Read until this text has appeared since the last call."""
        seen = ""
        deadline_s = time.monotonic() + 90
        while word not in seen:
            assert time.monotonic() < deadline_s, f"no {word!r} in {self.text[-2000:]}"
            if select.select([self._master], [], [], 0.2)[0]:
                seen += os.read(self._master, 65536).decode(errors="replace")
        self.text += seen

    def press(self, keys: str) -> None:
        os.write(self._master, keys.encode())

    def hang_up(self) -> None:
        os.close(self._master)

    def exit_code(self) -> int:
        """Wait for its end; reads the remaining output, on which it could block."""
        deadline_s = time.monotonic() + 90
        while time.monotonic() < deadline_s:
            ended, status = os.waitpid(self.process, os.WNOHANG)
            if ended:
                return os.waitstatus_to_exitcode(status)
            try:
                if select.select([self._master], [], [], 0.05)[0]:
                    self.text += os.read(self._master, 65536).decode(errors="replace")
            except OSError:
                time.sleep(0.05)
        raise AssertionError(f"still there: {self.text[-2000:]}")


# Keys


def asked(*keys: str, state: str = "drawing") -> list[tuple[str, int]]:
    control = Control()
    pressed = Keys(control, wanted=True)
    for key in keys:
        pressed.press(key, state)
    requests = []
    while request := control.take():
        requests.append(request)
    return requests


def test_each_key_is_one_request():
    assert asked(" ") == [("hold", 0)]
    assert asked(" ", " ") == [("hold", 0), ("carry on", 0)]
    assert asked("-", "-", "+") == [("pace", 230), ("pace", 205), ("pace", 230)]
    assert asked("x") == asked("X") == asked("x", "x") == []
    assert asked("?", "z", "\n") == []
    assert asked("\n", state="pen") == [("pen", 0)]
    assert asked("h", state="pen") == [("pen", 1)]
    assert asked("h") == []


def test_no_single_press_ends_a_drawing():
    """Any single key: nothing is abandoned, and no motor is cut."""
    for key in map(chr, range(256)):
        assert {name for name, _ in asked(key)} <= {"pace", "hold"}, key
    assert asked("q", "q") == [("abandon", 0)]
    assert asked("X", "X") == [("cut", 0)]
    assert asked("q", "X", "q") == asked("X", "q", "X") == []


def test_the_pace_stays_within_its_range_and_survives_a_hold():
    assert asked(*"-" * 20)[-1] == ("pace", 26)
    assert asked(*"+" * 3)[-1] == ("pace", 256)
    assert asked("-", " ", "-", " ") == [("pace", 230), ("hold", 0), ("pace", 205), ("carry on", 0)]


def test_no_keys_without_a_terminal():
    with Keys(Control(), wanted=True) as pressed:
        assert not pressed.active


def test_keys_on_a_terminal(place):
    port = "virtual:real_time=1"
    terminal = Terminal("draw", "lines.svg", "--keep", "--rig", "rig.toml", "--port", port)
    terminal.until("keys:")
    terminal.until("stroke 2 of")
    terminal.press(" ")
    terminal.until("holding, pen up")
    terminal.press("- ")
    terminal.until("drawing at 90%")
    terminal.press("q")
    terminal.until("q again stops")
    terminal.press("q")
    assert terminal.exit_code() == 130
    assert "stopped" in terminal.text
    assert "`linewright resume` continues this drawing" in terminal.text
    assert "all within limits" in terminal.text
    assert journal.unfinished()[0].ended == "abandoned"


def test_enter_says_that_the_other_pen_is_in(place):
    terminal = Terminal("draw", "pens.svg", "--rig", "rig.toml", "--ask-pens")
    terminal.until("mount the pen '#aa0000', then press Enter")
    terminal.press("\r")
    terminal.until("mount the pen '#0000aa', then press Enter")
    terminal.press("\r")
    assert terminal.exit_code() == 0
    assert "2 strokes" in terminal.text


def test_where_nobody_answers_for_the_first_pen_nothing_moves(place):
    process = command("draw", "pens.svg", "--rig", "rig.toml", "--ask-pens", stdin=subprocess.DEVNULL)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 2
    assert "the pen '#aa0000' must be mounted, and there is no terminal to ask on" in errors
    assert journal.unfinished() == []
    assert drawing_log.entries() == []


def test_part_of_a_drawing(place, capsys):
    words = ["draw", "pens.svg", "--rig", "rig.toml", "--json"]
    assert cli.run([*words, "--only", "pen=#0000AA", "--outline"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert [pen["name"] for pen in said["pens"]] == ["#0000aa"]
    assert (said["strokes"], said["finished"], said["pulses_broken"]) == (1, True, 0)
    # The box of one level line is the line itself: only it was drawn, despite the outline move.
    assert said["max_deviation_mm"] < 0.05
    assert cli.run([*words, "--from-stroke", "2"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["first_stroke"], said["finished"]) == (1, True)
    assert drawing_log.entries(1)[0].first_stroke == 1
    for more, message in (
        (["--only", "pen=green"], "its pens are #aa0000, #0000aa"),
        (["--only", "green"], "is not of the form"),
        (["--from-stroke", "3"], "there is no stroke 3: this drawing has 1 to 2"),
        (["--speed", "5"], "10 to 100"),
    ):
        assert cli.run([*words[:-1], *more]) == 2
        assert message in capsys.readouterr().err


@pytest.mark.parametrize(("said", "asks"), [(True, True), (False, False), (None, False)])
def test_resume_asks_for_pens_as_the_drawing_did_and_an_option_wins(said, asks, place, monkeypatch):
    rig = Rig.load("rig.toml")
    program = plan(Drawing.from_strokes([[(40.0, 40.0), (60.0, 40.0)], [(40.0, 50.0), (60.0, 50.0)]]), rig)
    manner = Manner(said, 0.4, DriftCheck(frozenset(), 0.25))
    file = Path("rig.toml").resolve()
    with journal.Journal.create(program, picture="x.svg", rig_file=file, port="virtual", manner=manner) as book:
        book.begin(1, 0)
    tasks = []
    monkeypatch.setattr("linewright.cli.drawing_report.carry_out", lambda task, **_: tasks.append(task))
    for more in ([], ["--same-pen"], ["--ask-pens", "--drift-limit", "0.5"]):
        assert cli.run(["resume", "--yes", *more]) == 0
    assert [task.ask_pens for task in tasks] == [asks, False, True]
    assert [task.pace for task in tasks] == [0.4] * 3
    assert [task.drift.limit_mm for task in tasks] == [0.25, 0.25, 0.5]


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_where_nobody_can_say_that_the_sheet_lies_where_it_lay_a_real_machine_is_not_moved(
    more, place, monkeypatch, capsys
):
    program = plan(
        Drawing.from_strokes([[(40.0, 40.0), (60.0, 40.0)], [(40.0, 50.0), (60.0, 50.0)]]), Rig.load("rig.toml")
    )
    with journal.Journal.create(
        program, picture="x.svg", rig_file=Path("rig.toml").resolve(), port="serial:/dev/none"
    ) as book:
        book.begin(1, 0)
    tasks = []
    monkeypatch.setattr("linewright.cli.drawing_report.carry_out", lambda task, **_: tasks.append(task))
    with Path(os.devnull).open() as nobody:
        monkeypatch.setattr("sys.stdin", nobody)
        words = ["resume", "--port", "serial:/dev/none", *more]
        assert cli.run(words) == 2
        said = "".join(capsys.readouterr())
        assert "there is no terminal to ask whether the sheet still lies in place" in said
        assert "--yes" in said
        assert tasks == []
        assert cli.run([*words, "--yes"]) == 0
    assert len(tasks) == 1


def test_a_folder_waits_for_each_next_sheet_on_a_real_machine(place, monkeypatch, capsys):
    program = plan(Drawing.from_strokes([[(40.0, 40.0), (60.0, 40.0)]]), Rig.load("rig.toml"))
    Path("jobs").mkdir()
    for name in ("one.lw", "two.lw"):
        program_file.save(program, Path("jobs") / name)
    tasks = []
    monkeypatch.setattr("linewright.cli.drawing_report.carry_out", lambda task, **_: tasks.append(task.name))
    words = ["draw", "jobs", "--rig", "rig.toml", "--port", "serial:/dev/none"]
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"\n")))
    assert cli.run(words) == 0
    assert "lay a new sheet for two.lw, then press Enter" in capsys.readouterr().err
    assert tasks == ["one.lw", "two.lw"]
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO()))
    assert cli.run(words) == 2
    assert "two.lw needs a new sheet, and there is no terminal to ask on" in capsys.readouterr().err
    assert tasks == ["one.lw", "two.lw", "one.lw"]


def test_a_slower_drawing_takes_its_time(place, capsys):
    words = ["draw", "lines.svg", "--keep", "--rig", "rig.toml", "--json"]
    assert cli.run(words) == 0
    full = json.loads(capsys.readouterr().out)
    assert cli.run([*words, "--speed", "50"]) == 0
    half = json.loads(capsys.readouterr().out)
    assert half["predicted_ticks"] == full["predicted_ticks"]
    # The time of pen lifts is constant; moves take twice as long.
    assert 1.4 < half["played_s"] / full["played_s"] < 2.0
    assert cli.run(["draw", "pens.svg", "--keep", "--rig", "rig.toml", "--speed", "50"]) == 0
    assert "at full speed; drawn at 50% of it" in capsys.readouterr().out


def test_a_folder_of_programs_is_drawn_sheet_after_sheet(place, capsys):
    (place / "pens2.svg").write_text(TWO_PENS, encoding="utf-8")
    assert cli.run(["plan", "pens.svg", "pens2.svg", "-o", "jobs", "--no-pictures", "--rig", "rig.toml"]) == 0
    assert cli.run(["draw", "jobs", "--rig", "rig.toml"]) == 0
    assert [entry.picture for entry in drawing_log.entries()] == ["pens2.lw", "pens.lw"]
    (place / "empty").mkdir()
    assert cli.run(["draw", "empty", "--rig", "rig.toml"]) == 2
    assert "no program in the folder empty" in capsys.readouterr().err


def test_where_nobody_can_press_enter_no_pen_is_taken_for_changed(place):
    """The end of standard input is not an answer: the second pen's lines would be drawn with the first pen."""
    words = ["draw", "pens.svg", "--rig", "rig.toml", "--ask-pens"]
    process = command(*words, stdin=subprocess.PIPE)
    process.stdin.write("\n")  # the first pen is confirmed, then the input ends
    process.stdin.close()
    process.stdin = None
    said = ""
    while "nobody can press Enter" not in said:
        line = process.stderr.readline()
        assert line, said
        said += line
    process.terminate()
    process.communicate(timeout=60)
    assert process.returncode == 128 + signal.SIGTERM
    (story,) = journal.unfinished()
    assert (story.ended, story.strokes_done) == ("abandoned", 1)


# Signals


@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT"])
def test_a_signal_stops_with_the_pen_up_and_leaves_what_can_be_carried_on(place, name):
    process = draw_in_real_time("--json")
    wait_for_strokes(1)
    process.send_signal(getattr(signal, name))
    out, errors = process.communicate(timeout=60)
    assert process.returncode == 128 + getattr(signal, name), errors
    assert "stopping with the pen up" in errors
    said = json.loads(out)
    assert said["finished"] is False
    assert said["pulses_broken"] == 0  # the stop itself obeys all limits
    (story,) = journal.unfinished()
    assert story.ended == "abandoned"
    (entry,) = drawing_log.entries()
    assert entry.began == story.began


def test_what_was_stopped_says_how_to_carry_on_and_is_not_called_abandoned(place, capsys):
    process = draw_in_real_time()
    wait_for_strokes(1)
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert errors.endswith("`linewright resume` continues this drawing\n")
    assert cli.run(["resume", "--show"]) == 0
    shown = capsys.readouterr().out
    assert "stopped by you, with the pen up" in shown
    for more in ([], ["--csv"], ["--json"]):
        assert cli.run(["log", *more]) == 0
        shown += capsys.readouterr().out
    assert shown.count("stopped") == 4
    assert "abandoned" not in shown


def test_a_board_that_dies_in_mid_drawing_is_answered_with_resume(place):
    board = command("virtual", "--rig", "rig.toml", "--real-time")
    try:
        address = board.stderr.readline().split("socket:")[1].split()[0]
        process = command("draw", "lines.svg", "--keep", "--rig", "rig.toml", "--port", f"socket:{address}")
        wait_for_strokes(1)
    finally:
        os.killpg(board.pid, signal.SIGKILL)  # a session of its own
        board.communicate()
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 3, errors
    assert "then `linewright resume` continues this drawing" in errors
    assert "try again" not in errors
    (story,) = journal.unfinished()
    (entry,) = drawing_log.entries()
    assert (story.ended, entry.outcome, entry.began) == ("failed", "failed", story.began)


def test_two_pens_drawn_with_one_are_told_how_to_be_changed(place):
    rig = Rig.load(place / "rig.toml")
    drawing = Drawing.from_strokes([[[20, 20], [40, 20]], [[20, 30], [40, 30]]], [0, 1])
    task = DrawTask("pens.svg", plan(drawing, rig), (), Target(rig, None, "socket:127.0.0.1:1"))
    (note,) = (note for note in task.notes() if "pens of this picture" in note)
    assert "--ask-pens" in note


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_while_the_port_is_opened_ends_with_its_number(number, place, monkeypatch, capsys):
    def opening(*_, **__):
        os.kill(os.getpid(), number)
        time.sleep(10)  # which the signal cuts short

    monkeypatch.setattr("linewright.virtual.port.open_transport", opening)
    monkeypatch.setattr("sys.stdout", sys.stdout)  # a hangup replaces both
    monkeypatch.setattr("sys.stderr", sys.stderr)
    assert cli.run(["draw", "lines.svg", "--rig", "rig.toml"]) == 128 + number
    if number != signal.SIGHUP:
        assert "linewright: stopped before anything was drawn\n" in capsys.readouterr().err


def test_sigterm_again_leaves_a_drawing_that_does_not_stop(place):
    deaf = "from linewright.board.session_values import Control; Control.abandon = lambda self: None; " + COMMAND
    words = ["draw", "lines.svg", "--keep", "--rig", "rig.toml", "--port", "virtual:real_time=1"]
    process = subprocess.Popen([sys.executable, "-c", deaf, *words], stderr=subprocess.PIPE, text=True)
    try:
        begun = wait_for_strokes(1)
        process.send_signal(signal.SIGTERM)
        wait_for_strokes(begun.strokes_done + 2)  # it continues as without the signal
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=60)
    finally:
        process.kill()
        process.communicate()
    assert process.returncode == 128 + signal.SIGTERM
    assert "stopped at once, while the pen was moving; the board stops by itself and raises the pen" in errors


@pytest.mark.parametrize(
    ("first", "second", "leaves"),
    [
        (signal.SIGTERM, signal.SIGTERM, True),
        (signal.SIGTERM, signal.SIGINT, True),
        (signal.SIGINT, signal.SIGINT, True),
        (signal.SIGTERM, signal.SIGHUP, False),
        (signal.SIGHUP, signal.SIGTERM, False),
        (signal.SIGHUP, signal.SIGHUP, False),
    ],
)
def test_what_a_second_signal_does(first, second, leaves, capfd):
    asked = []
    before = signal.getsignal(signal.SIGTERM)
    with StopOnSignals() as stop:
        stop.asks(lambda: asked.append(1))
        os.kill(os.getpid(), first)
        with pytest.raises(KeyboardInterrupt) if leaves else contextlib.nullcontext():
            os.kill(os.getpid(), second)
            time.sleep(0)
    assert asked == [1]
    assert stop.number == first
    assert signal.getsignal(signal.SIGTERM) is before


def test_what_was_counted_without_motor_power_is_drawn_again_from_the_stroke_that_is_named(place, capsys):
    """Without motor power, counted steps are not on paper."""
    draw = draw_in_real_time()
    begun = wait_for_strokes(3)
    draw.send_signal(signal.SIGINT)
    draw.communicate(timeout=60)
    (story,) = journal.unfinished()
    assert story.strokes_done >= begun.strokes_done
    beyond = story.strokes_done + 2
    assert cli.run(["resume", "--from-stroke", str(beyond), "--rig", "rig.toml", "--port", "virtual"]) == 2
    assert f"--from-stroke takes 1 to {beyond - 1} here" in capsys.readouterr().err
    assert cli.run(["resume", "--from-stroke", "2", "--rig", "rig.toml", "--port", "virtual:tape=run.tape"]) == 0
    drawn = read_trace(place / "run.tape", keep_drawn=True).drawn
    assert len(drawn) == len(range(8, 56, 4)) - 1
    assert not journal.unfinished()


def test_a_closed_terminal_stops_with_the_pen_up(place):
    terminal = Terminal("draw", "lines.svg", "--keep", "--rig", "rig.toml", "--port", "virtual:real_time=1")
    terminal.until("stroke 2 of")
    terminal.hang_up()
    assert terminal.exit_code() == 128 + signal.SIGHUP
    (story,) = journal.unfinished()
    assert story.ended == "abandoned"
    assert 1 <= story.strokes_done < 12


def test_a_suspended_laptop_finds_the_drawing_held_and_goes_on(place):
    """Stopped for longer than the time-outs of board and host, and of the motors' idle power."""
    rig = place / "rig.toml"
    text = rig.read_text().replace("host_silence_s = 0.7", "host_silence_s = 1.0")
    rig.write_text(text.replace("idle_after_s = 60.0", "idle_after_s = 1.0"))
    impatient = "from linewright.board import conversation; conversation.SILENCE_S = 2.0; " + COMMAND
    # A line, and a ring that takes six seconds.
    ring = " ".join(f"{40 + 25 * math.cos(i / 30):.3f},{30 + 25 * math.sin(i / 30):.3f}" for i in range(800))
    rings = f'<path stroke="#123" d="M1 1H9"/><polyline fill="none" stroke="#123" points="{ring}"/>'
    (place / "lines.svg").write_text(SVG.format(rings), encoding="utf-8")
    port = "virtual:real_time=1,tape=run.tape"
    words = ["draw", "lines.svg", "--keep", "--rig", "rig.toml", "--port", port, "--json"]
    process = subprocess.Popen([sys.executable, "-c", impatient, *words], stdout=subprocess.PIPE, text=True)
    wait_for_strokes(1)
    process.send_signal(signal.SIGSTOP)
    time.sleep(4.0)
    process.send_signal(signal.SIGCONT)
    out, _ = process.communicate(timeout=90)
    assert process.returncode == 0, out
    said = json.loads(out)
    assert said["finished"] is True
    assert said["final_position_error_steps"] == 0
    assert said["pulses_broken"] == 0
    assert said["max_deviation_mm"] <= 0.0125 + 0.02
    _, before, after = read_trace("run.tape", keep_drawn=True).drawn
    assert list(before[-1]) == list(after[0]), "the pen was lifted once, and came down on its very step"


# Carrying on


def test_kill_9_and_resume(place, capsys):
    process = draw_in_real_time()
    wait_for_strokes(2)
    process.kill()
    process.communicate()
    (story,) = journal.unfinished()
    assert story.ended == ""

    assert cli.run(["resume", "--list"]) == 0
    assert "lines.svg on A4" in capsys.readouterr().out
    assert cli.run(["resume", "--show", "-p", "shown"]) == 0
    assert f"{story.strokes_done} of 12 strokes" in capsys.readouterr().out
    assert {path.name for path in (place / "shown").iterdir()} == {"lines-left.svg", "lines-left.png"}

    assert cli.run(["resume", "--port", "virtual", "--json"]) == 0
    out, errors = capsys.readouterr()
    said = json.loads(out)
    assert "the sheet must lie exactly where it lay" in errors
    assert said["finished"] is True
    assert said["first_stroke"] == story.strokes_done
    assert said["played_ticks"] < said["predicted_ticks"]
    assert said["final_position_error_steps"] == 0
    assert said["pulses_broken"] == 0
    assert said["max_deviation_mm"] <= 0.0125 + 0.02
    assert journal.unfinished() == []
    resumed, killed = drawing_log.entries()
    assert (killed.outcome, killed.first_stroke, killed.played_s) == ("broke off", 0, None)
    assert killed.began == story.began
    assert killed.began <= killed.ended <= resumed.began
    assert (resumed.outcome, resumed.first_stroke) == ("finished", story.strokes_done)
    assert json.loads(resumed.settings)["sheet_mm"] == [210.0, 297.0]


def test_what_is_not_the_same_is_refused(place, capsys):
    def refused(*words: str) -> str:
        assert cli.run(["resume", "--json", *words]) == 2
        return str(json.loads(capsys.readouterr().out)["error"])

    assert "there is no drawing to resume" in refused()
    process = draw_in_real_time()
    wait_for_strokes(1)
    process.kill()
    process.communicate()
    (story,) = journal.unfinished()
    assert "not on 148 x 210 mm" in refused("--sheet", "A5")
    assert "there is no unfinished drawing 'heron'" in refused("heron")
    rig = place / "rig.toml"
    rig.write_text(rig.read_text().replace("speed_mm_s = 120.0", "speed_mm_s = 90.0"))
    assert "moves differently" in refused()
    (story.folder / PROGRAM).write_bytes(b"something else")
    assert "not the program that was being drawn" in refused()


def test_a_finished_drawing_leaves_no_journal(place, capsys):
    assert cli.run(["draw", "pens.svg", "--rig", "rig.toml", "--json"]) == 0
    assert list(journal.drawings().iterdir()) == []


def test_a_drawing_is_drawn_where_no_journal_can_be_kept(place, monkeypatch, capsys):
    monkeypatch.setenv("XDG_STATE_HOME", "/proc/none")
    assert cli.run(["draw", "pens.svg", "--rig", "rig.toml"]) == 0
    assert "cannot be resumed if it is interrupted" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("port", "board", "said"),
    [("serial:/dev/ttyACM0", "virtual", True), ("serial:/dev/ttyACM0", "rp2040", False), ("virtual", "virtual", False)],
)
def test_a_real_machine_with_the_virtual_rigs_file_is_told(port, board, said):
    rig = Rig.default().changed({"board": board})
    program = plan(Drawing.from_strokes([[(10, 10), (20, 10)]]), rig)
    task = DrawTask("x.svg", program, (), Target(rig, None, port))
    assert any("have not been checked" in note for note in task.notes()) == said
