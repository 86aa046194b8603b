"""SIGKILL of the drawing command at random moments: everything is drawn, and nothing twice.

Only the machine is simulated: commands are separate processes, and so is the rig, which outlives them,
in real time. The board keeps the pen's position throughout; test_recovery.py shows in virtual time that a power cut
of the board repeats at most the current stroke.
"""

from __future__ import annotations

import contextlib
import json
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from paper import on_paper

from linewright.drawing.strokes import Drawing
from linewright.motion import plan
from linewright.program import file as program_file
from linewright.program.program import Program
from linewright.rig.rig import Rig
from linewright.run import journal
from linewright.simulation.replay import read_trace
from linewright.simulation.tape import SERVO, TapeReader

COMMAND = "from linewright.cli import main; main()"
PATIENCE_S = 60.0


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    text = Rig.default_text().replace('endstop = "min"', 'endstop = "none"')  # avoids homing
    (tmp_path / "rig.toml").write_text(text, encoding="utf-8")
    return tmp_path


@contextlib.contextmanager
def staying_rig(tape):
    """A virtual rig that outlives its hosts, until the block ends; its port."""
    command = [sys.executable, "-m", "linewright.virtual", "--stay", "--real-time", "--rig", "rig.toml"]
    with subprocess.Popen([*command, "--tape", tape], stdout=subprocess.PIPE, text=True) as process:
        try:
            yield "socket:" + process.stdout.readline().split()[-1]
            process.terminate()
            assert process.wait(PATIENCE_S) == 0
        finally:
            process.kill()


def drawing(seed: int, seconds: float) -> Program:
    """Spirals, each of more ramps than the board's queue holds, and angles; they take so long to draw."""
    rng = random.Random(seed)
    rig = Rig.load("rig.toml")
    strokes = []
    while True:
        x, y = rng.uniform(30, 150), rng.uniform(30, 240)
        turn = np.linspace(0, 2 * np.pi * rng.uniform(2, 6), 2500)
        strokes.append(np.column_stack((x + (2 + turn / 3) * np.cos(turn), y + (2 + turn / 3) * np.sin(turn))))
        strokes.append([[x, y], [x + rng.uniform(3, 9), y + 20], [x + 30, y - rng.uniform(3, 9)]])
        program = plan(Drawing.from_strokes(strokes), rig)
        if program.predicted_s >= seconds:
            return program


def live(port: str, ends_after_s: float | None) -> bool:
    """Run one command and kill it at this time after the start of its program; True if the drawing is finished."""
    begun = len(begins())
    words = ["resume", "--yes"] if journal.unfinished() else ["draw", "job.lw", "--rig", "rig.toml"]
    command = [sys.executable, "-c", COMMAND, *words, "--port", port, "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        deadline_s = time.monotonic() + PATIENCE_S
        if ends_after_s is not None and ends_after_s >= 0:
            while len(begins()) == begun and process.poll() is None and time.monotonic() < deadline_s:
                time.sleep(0.01)
            time.sleep(ends_after_s)
            process.kill()
        elif ends_after_s is not None:
            time.sleep(-ends_after_s)
            process.kill()
        out, errors = process.communicate(timeout=PATIENCE_S)
    assert process.returncode in (0, -signal.SIGKILL), (out, errors)
    # It may have been killed after it had finished.
    return process.returncode == 0 or (words[0] == "resume" and not journal.unfinished())


def begins() -> list[str]:
    """Lines of all journals that record the start of a program."""
    lines = []
    for book in journal.drawings().glob(f"*/{journal.JOURNAL}"):
        lines += [line for line in book.read_text(encoding="utf-8").splitlines() if " begin " in line]
    return lines


def kill_again_and_again(kills: int, seed: int, seconds: float) -> int:
    """Draw pictures of this duration until the command has been killed this many times; returns the strokes cut."""
    rng = random.Random(seed)
    killed = cut = pictures = 0
    while killed < kills:
        pictures += 1
        program = drawing(seed + pictures, seconds)
        program_file.save(program, "job.lw")
        deaths = 0
        with staying_rig("run.tape") as port:
            while killed + deaths < kills:
                # One kill in five during start, connection and homing; the others while the pen draws.
                at_s = -rng.uniform(0.1, 1.2) if rng.random() < 0.2 else rng.uniform(0.0, 2.0)
                if live(port, at_s):
                    break
                deaths += 1
            else:
                assert live(port, None)
        paper = on_paper(program, [Path("run.tape")])
        assert paper.cut <= deaths
        assert paper.twice == 0
        assert paper.seam_mm == 0.0
        # The next command uses the folder of one that was killed before its start or after its last line.
        assert journal.unfinished() == []
        assert journal.damaged() == {}
        assert len(list(journal.drawings().iterdir())) <= deaths
        killed += deaths
        cut += paper.cut
    print(f"killed {killed} times in {pictures} pictures; {cut} strokes cut, each taken up again on its very step")
    return cut


def test_a_rig_whose_host_is_killed_brakes_within_its_limits_and_lifts_the_pen(place):
    """By the rig's own clock, motion ends within 1 s of the host's end, even on a busy computer."""
    program_file.save(drawing(3, 8.0), "job.lw")
    command = [sys.executable, "-m", "linewright.virtual", "--real-time", "--rig", "rig.toml", "--tape", "run.tape"]
    with subprocess.Popen([*command, "--report", "report.json"], stdout=subprocess.PIPE, text=True) as process:
        try:
            assert not live("socket:" + process.stdout.readline().split()[-1], ends_after_s=0.5)
            assert process.wait(PATIENCE_S) == 0
        finally:
            process.kill()
    report = json.loads(Path("report.json").read_text(encoding="utf-8"))
    assert report["ended"] == "the host has disconnected"
    trace = read_trace("run.tape")
    assert trace.steps_a > 1000
    assert trace.broken == 0
    assert report["left_s"] < trace.total_s < report["left_s"] + 1.0
    tape = TapeReader("run.tape")
    last_us = [int(entry.values[0]) for entry in tape if entry.kind == SERVO][-1]
    assert not tape.machine.pen_is_down(last_us)


def test_a_few_times(place):
    kill_again_and_again(4, seed=1, seconds=5.0)


@pytest.mark.slow
def test_fifty_times(place):
    # On a busy computer a short picture may be in the board's queue before its host is killed; these are not short.
    assert kill_again_and_again(50, seed=2, seconds=60.0) >= 1
