"""A new user's session: from the first question about the machine to the log of drawings.

The user types commands of the README, then only commands that the program has printed, unchanged, with placeholders
replaced by names of pictures.
"""

from __future__ import annotations

import csv
import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from typer.main import get_command

from linewright import cli
from linewright.calibration.rehearsal.ruler import measure
from linewright.calibration.trial import form as forms
from linewright.cli.app import app
from linewright.program import file as program_file
from linewright.rig.rig import Rig
from linewright.run import journal
from linewright.run import log as drawing_log
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.shortcut import draw_on

ROOT = Path(__file__).resolve().parents[2]
PAGES = ("README.md", "docs/COMMANDS.md", "docs/BRING-UP.md")
"""Pages that a new user has read."""
PENS = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm"><path stroke="#a00" d="M5 5H50"/>'
    '<path stroke="#00a" d="M5 15H50M5 20H50M5 25H50M5 30H50"/></svg>'
)
ANSWERS = {
    "name": "quay",
    "board": "virtual",
    "travel_x_mm": "16 cm",
    "travel_y_mm": "8.3 in",
    "sheet": "A5",
    "microsteps": "4",
}
CROOKED = "scale_x=0.01,skew_deg=0.8,backlash_x_mm=0.3,paper_tilt_x_us=40"


class Newcomer:
    """A user who types what the screen shows."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self.capsys = capsys
        self.screen = "\n".join((ROOT / name).read_text(encoding="utf-8") for name in PAGES)
        self.pages = self.screen
        self.typed: list[str] = []

    def commands(self) -> list[str]:
        """Every command on the screen, in the order in which it was printed."""
        found = re.findall(
            r"`linewright ([^`]+)`|(?:^|\s)linewright ([a-z-]+(?: [^\s`]+)*)$", self.screen, re.MULTILINE
        )
        return [one or other for one, other in found]

    def printed(self, begins: str, **blanks: str) -> list[str]:
        """The newest printed command with this beginning, with its placeholders filled in."""
        known = [one for one in self.commands() if one.startswith(begins)]
        assert known, f"nothing on the screen says: linewright {begins}"
        words = shlex.split(known[-1])
        return [blanks.get(word, word) for word in words]

    def types(self, begins: str, *more: str, code: int = 0, **blanks: str) -> str:
        """Run a printed command and read its output."""
        words = [*self.printed(begins, **blanks), *more]
        self.typed.append(" ".join(words))
        self.capsys.readouterr()
        assert cli.run(words) == code, self.capsys.readouterr().err
        said = self.capsys.readouterr()
        self.screen += f"\n{said.err}\n{said.out}"
        return said.err + said.out

    def starts(self, begins: str, *more: str, answers: str | None = None) -> subprocess.Popen[str]:
        """Type a printed command in a window of its own."""
        words = [*self.printed(begins), *more]
        process = subprocess.Popen(
            [sys.executable, "-c", "from linewright.cli import main; main()", *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        if answers is not None:
            assert process.stdin is not None
            process.stdin.write(answers)
            process.stdin.flush()
        return process

    def reads(self, process: subprocess.Popen[str]) -> str:
        """Output of a window until it closes."""
        out, err = process.communicate(timeout=300)
        self.screen += f"\n{err}\n{out}"
        return err + out


def until_strokes(count: int) -> None:
    deadline_s = time.monotonic() + 120
    while not any(story.strokes_done >= count for story in journal.unfinished()):
        assert time.monotonic() < deadline_s
        time.sleep(0.02)


def fill_in(table: Path, faults: Faults) -> None:
    """Measure the sheet drawn by an uncorrected machine with a simulated ruler, and fill in its form."""
    read = forms.read(table.with_suffix(".json"), Rig.default(), measured=False)
    program = program_file.load(table.with_suffix(".lw"))
    ink = draw_on(Machine.from_rig(read.rig), faults, program)
    figures = measure(read.trial, ink, read.sheet, read.rig, np.random.default_rng(1))
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    for row in rows:
        value = figures.get(row["name"])
        row["measured"] = "" if value is None else f"{value:g}"
    with table.open("w", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


@pytest.mark.slow
def test_a_new_user_types_only_what_the_screen_says(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "pens.svg").write_text(PENS, encoding="utf-8")
    me = Newcomer(capsys)

    # The machine is named once.
    said = me.types("rig new", *(f"--answer={name}={value}" for name, value in ANSWERS.items()), "--usual")
    assert "it is the usual rig now" in said
    said = me.types("rig check")
    assert "were not measured" in said
    me.types("rig wiring -o")
    assert (tmp_path / "wiring.svg").exists()

    # Bring-up: wrongly wired, with answers by observation.
    monkeypatch.setattr("linewright.cli.bring_up.standard_input", lambda: None)
    said = me.types("board bring-up --rig rig.toml --port virtual:")
    assert "quay" in said
    rig = Rig.load(tmp_path / "rig.toml")
    assert rig.a.reversed
    assert rig.pen.up_us > rig.pen.down_us  # its arm points the other way

    # Four sheets: drawn, measured, fitted; the last one on a machine that is corrected already.
    me.types("trial")
    faults = Faults.parse(CROOKED.split(","))
    for name in ("backlash", "squareness", "heights", "repeatability"):
        said = me.types("trial NAME", NAME=name)
        assert "quay (rig.toml, the usual rig)" in said
        me.types(f"draw trial/{name}.lw", "--port", f"virtual:{CROOKED}")
        fill_in(tmp_path / "trial" / f"{name}.csv", faults)
        said = me.types(f"fit trial/{name}.csv")
    corrected = Rig.load(tmp_path / "rig.toml").corrections
    assert corrected.backlash_x_mm == pytest.approx(0.3, abs=0.1)
    assert corrected.scale_x == pytest.approx(0.01, abs=0.003)
    assert corrected.squareness_deg == pytest.approx(0.8, abs=0.2)
    # A repeated fit is recognised, and the fit can be undone.
    me.types("fit trial/squareness.csv", code=2)
    me.types("fit --undo")
    assert Rig.load(tmp_path / "rig.toml").corrections != corrected

    # A picture of two pens: planned, then drawn with a change of pens.
    said = me.types("plan SOURCE -o job.lw", SOURCE="pens.svg")
    assert "draw job.lw --ask-pens" in said
    window = me.starts("draw job.lw", answers="\n\n")
    said = me.reads(window)
    assert window.returncode == 0, said
    assert said.index("mount the pen '#aa0000'") < said.index("mount the pen '#0000aa'")

    # Stopped with Ctrl-C, and carried on.
    window = me.starts("draw job.lw", "--same-pen", "--port", "virtual:real_time=1")
    until_strokes(1)
    window.send_signal(signal.SIGINT)
    said = me.reads(window)
    assert window.returncode == 130, said
    assert "finished" not in me.types("resume", "--show")
    me.types("resume")

    # Killed, and carried on.
    window = me.starts("draw job.lw", "--same-pen", "--port", "virtual:real_time=1")
    until_strokes(2)
    window.kill()
    window.communicate()
    me.types("resume")
    assert journal.unfinished() == []

    me.types("log")
    outcomes = [entry.outcome for entry in drawing_log.entries()]
    assert outcomes[:5] == ["finished", "broke off", "finished", "stopped", "finished"]
    assert set(outcomes) == {"finished", "broke off", "stopped"}
    every_printed_command_is_one(me)


def every_printed_command_is_one(me: Newcomer) -> None:
    """Each printed command is accepted unchanged, including placeholders."""
    top = get_command(app)
    me.screen = me.screen.removeprefix(me.pages)
    assert len(me.commands()) > 15
    for line in dict.fromkeys(me.commands()):
        words = shlex.split(line)
        if "..." in words or "*.svg" in words:
            continue
        place = top
        while hasattr(place, "commands") and words and words[0] in place.commands:
            place = place.commands[words.pop(0)]
        if hasattr(place, "commands"):
            assert not words, f"`linewright {line}` names no command"
            continue
        filled = [_FILLED.get(word, word) for word in words]
        place.make_context("linewright", filled)


_FILLED = {"X": "1", "Y": "1", "WIDTHxHEIGHT": "148x210"}
"""Placeholders that are not file names."""
