"""`linewright board bring-up` as it is typed: answers over a pipe, no terminal, no answers, Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys

import pytest

from linewright import cli
from linewright.rig import Rig

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
    # And it carries on there.
    done = run("--rig", "rig.toml", "--port", "virtual", typed="stop\n")
    assert "Carrying on" in done.stdout
    assert "5 of 9" in done.stdout
    assert "1 of 9" not in done.stdout


def test_nobody_answers(tmp_path):
    done = run("--rig", "rig.toml", typed="")
    assert done.returncode == 2
    assert "nobody answers any more; the machine stands, pen up, motors free" in done.stderr
    assert (tmp_path / "rig.toml").read_text() == Rig.default_text()


def test_ctrl_c_at_a_question():
    process = subprocess.Popen(
        [*START, "--rig", "rig.toml"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    while "Ready?" not in process.stdout.readline():
        pass
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
    assert "the eyes and fingers are yours" in capsys.readouterr().err
    assert cli.run(["board", "bring-up", "--rig", "rig.toml", "--port", "serial:/dev/none"]) == 3


def test_an_unknown_step(capsys):
    assert cli.run(["board", "bring-up", "--from", "dance", "--show-me"]) == 2
    assert "the steps are: greeting, switches" in capsys.readouterr().err
    assert os.environ["XDG_STATE_HOME"]
