"""`linewright board bring-up` with piped answers, without a terminal, without answers, and with Ctrl-C."""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import subprocess
import sys
import time

import pytest

from linewright import cli
from linewright.bringup.talk import Ask, Watch
from linewright.cli.bring_up import GLANCE_S, DialogueScreen, TypedLines
from linewright.rig.rig import Rig

START = [sys.executable, "-c", "from linewright.cli import main; main()", "board", "bring-up"]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "rig.toml").write_text(Rig.default_text(), encoding="utf-8")


def run(*words, typed=""):
    return subprocess.run([*START, *words], input=typed, capture_output=True, text=True, timeout=120, check=False)


def test_typed_answers_find_a_reversed_motor_and_stop(tmp_path):
    # The onlooker presses the switches; the rest is typed: greeting, switches, drivers, motor A, stop.
    typed = "\n\n\nyes\nyes\n\nleft\n\nright\n\nstop\n"
    done = run("--rig", "rig.toml", "--port", "virtual:reversed_a=1", "--json", typed=typed)
    assert done.returncode == 130, done.stderr
    said = json.loads(done.stdout)
    assert said["stopped"]
    assert not said["complete"]
    assert said["corrections"] == {"motor.a.reversed": True}
    assert [step["state"] for step in said["steps"]] == ["done"] * 4 + ["todo"] * 5
    assert Rig.load(tmp_path / "rig.toml").a.reversed
    assert "(virtual rig: the carriage went 2.0 mm left)" in done.stderr
    # It continues at that step.
    done = run("--rig", "rig.toml", "--port", "virtual", typed="stop\n")
    assert "Continuing the bring-up" in done.stdout
    assert "5 of 9" in done.stdout
    assert "1 of 9" not in done.stdout


def test_nobody_answers(tmp_path):
    done = run("--rig", "rig.toml", typed="")
    assert done.returncode == 2
    assert "the input has ended before bring-up was done; the machine is at rest, pen up, motors off" in done.stderr
    assert (tmp_path / "rig.toml").read_text() == Rig.default_text()


def test_ctrl_c_at_a_question():
    process = subprocess.Popen(
        [*START, "--rig", "rig.toml"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert any("Ready?" in line for line in process.stdout)
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "stopped" in errors
    assert "Traceback" not in errors


@pytest.mark.parametrize("keep", [0, 500, 2000])
def test_a_rig_file_half_written_is_refused_before_anything_is_asked(keep, tmp_path, capsys):
    (tmp_path / "rig.toml").write_text(Rig.default_text()[:keep])
    assert cli.run(["board", "bring-up", "--rig", "rig.toml", "--json"]) == 2
    assert "error" in json.loads(capsys.readouterr().out)


def test_real_machines_need_their_rig_file_and_their_own_eyes(capsys):
    assert cli.run(["board", "bring-up", "--port", "serial:/dev/none"]) == 2
    assert "needs the rig file" in capsys.readouterr().err
    assert cli.run(["board", "bring-up", "--port", "serial:/dev/none", "--rig", "rig.toml", "--show-me"]) == 2
    assert "you answer the questions yourself" in capsys.readouterr().err
    assert cli.run(["board", "bring-up", "--rig", "rig.toml", "--port", "serial:/dev/none"]) == 3


class Pipe:
    """Typed input, with its times."""

    def __init__(self):
        reading, self.writing = os.pipe()
        self.lines = TypedLines(reading)
        self.shown = []
        self.screen = DialogueScreen(self.shown.append, self.lines)

    def type(self, text):
        os.write(self.writing, text.encode())


@pytest.fixture
def pipe():
    pipe = Pipe()
    yield pipe
    os.close(pipe.writing)


def test_a_switch_that_is_pressed_needs_no_enter(pipe):
    looks = iter([False, False, True])
    assert pipe.screen.act(Watch("press x", "Press the x switch.", lambda: next(looks))) is None
    assert "Press the x switch. (Enter: it does not work)" in pipe.shown


def test_enter_or_too_long_a_wait_say_that_nothing_happens(pipe):
    pipe.type("\n")
    assert pipe.screen.act(Watch("press x", "Press.", lambda: False)) == ""
    assert pipe.screen.act(Watch("press x", "Press.", lambda: False, limit_s=0.0)) == "nothing"


def test_lines_come_whole_however_they_arrive(pipe):
    ask = Ask("name", "What is it called?", free=True)
    pipe.type("H\u00e9")
    pipe.type("ron\nsecond\n")
    assert pipe.screen.answer(ask) == "H\u00e9ron"
    assert pipe.screen.answer(ask) == "second"


def test_the_end_of_the_answers_is_the_end_for_good():
    reading, writing = os.pipe()
    screen = DialogueScreen(lambda _: None, TypedLines(reading))
    os.write(writing, b"last, without a line's end")
    os.close(writing)
    ask = Ask("name", "What is it called?", free=True)
    assert screen.answer(ask) == "last, without a line's end"
    for _ in range(2):
        with pytest.raises(EOFError):
            screen.answer(ask)
    with pytest.raises(EOFError):
        screen.act(Watch("press x", "Press.", lambda: False))


def test_a_machine_that_nobody_stands_beside_is_looked_at_while_somebody_thinks():
    pipe = Pipe()
    seen = []

    def glance():
        seen.append(1)
        if len(seen) == 2:
            pipe.type("yes\n")

    screen = DialogueScreen(pipe.shown.append, pipe.lines, None, glance)
    assert screen.answer(Ask("held", "Does it resist?")) == "yes"
    assert len(seen) >= 2
    os.close(pipe.writing)


def test_whoever_thinks_for_a_while_in_a_terminal_loses_nothing(tmp_path):
    # At a terminal the machine is polled while the user thinks: at the first question, before the board is connected,
    # yet, and at each step after it.
    ours, theirs = os.openpty()
    bring_up = subprocess.Popen([*START], stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True)
    os.close(theirs)
    shown = ""
    ends = (
        "to continue.",
        "[yes]",
        "yes, no",
        "resists)",
    )  # after "yes, no" the virtual rig's hands say what they feel
    for question, answer in (("1 of 9", ""), ("2 of 9", ""), ("3 of 9", ""), ("resist", "stop")):
        while question not in shown or not shown.rstrip().endswith(ends):
            assert select.select([ours], [], [], 60.0)[0], shown
            shown += os.read(ours, 4096).decode()
        time.sleep(3 * GLANCE_S)
        assert bring_up.poll() is None, shown
        os.write(ours, f"{answer}\n".encode())
        shown = ""
    with contextlib.suppress(OSError):  # reading a terminal fails after its other side has closed
        while piece := os.read(ours, 4096):
            shown += piece.decode()
    os.close(ours)
    assert bring_up.wait(60) == 130
    assert "Bring-up stops here" in shown
    assert "Traceback" not in shown


def test_a_rig_that_goes_away_in_mid_dialogue_is_said(lasting_rig):
    process, address = lasting_rig
    bring_up = subprocess.Popen(
        [*START, "--rig", "rig.toml", "--port", f"socket:{address}", "--from", "drivers"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert any("Ready?" in line for line in bring_up.stdout)
    process.terminate()
    process.wait(60)
    out, errors = bring_up.communicate("\n", timeout=60)
    assert bring_up.returncode == 3
    assert "switch the motor supply off" in out
    assert "Traceback" not in errors


@pytest.fixture
def lasting_rig():
    process = subprocess.Popen([sys.executable, "-m", "linewright.virtual"], stdout=subprocess.PIPE, text=True)
    yield process, process.stdout.readline().strip().removeprefix("listening on ")
    process.terminate()
    process.wait(60)
    process.stdout.close()


def test_an_unknown_step(capsys):
    assert cli.run(["board", "bring-up", "--from", "dance", "--show-me"]) == 2
    assert "the steps are: greeting, switches" in capsys.readouterr().err
    assert os.environ["XDG_STATE_HOME"]
