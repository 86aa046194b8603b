"""Terminal output: narrow or colourless terminals, captions in any script, and tapes."""

from __future__ import annotations

import io
import json
import subprocess
import sys

import numpy as np
import pytest
from PIL import ImageFont
from rich.console import Console

from linewright import cli
from linewright.cli import output
from linewright.cli.progress import ProgressBar
from linewright.cli.tables import drawings
from linewright.pictures import raster
from linewright.pictures.scene import Label, Scene
from linewright.planning.batch import Planned
from linewright.run.log import LogEntry

ENTRY = LogEntry(
    began="2026-11-25T10:00:00Z",
    ended="2026-11-25T10:10:00Z",
    picture="the-herring-drifter-off-marrow-quay.svg",
    sheet="A4",
    rig="harbour rig",
    rig_fingerprint="00",
    port="virtual",
    outcome="failed",
    fault="the board has said nothing for 6 s",
    strokes=12_345,
    first_stroke=17,
    pen_down_mm=1234.5,
    predicted_s=600.0,
    played_s=300.0,
    retransmitted_frames=0,
    damaged_frames=0,
    starved=0,
    underruns=0,
    rehearsal=1,
)


def shown(table, columns):
    text = io.StringIO()
    Console(file=text, width=columns, highlight=False).print(table)
    return text.getvalue().splitlines()


def test_the_log_is_read_at_sixty_columns():
    lines = shown(drawings.log_lines([ENTRY, ENTRY]), 60)
    assert max(map(len, lines)) <= 60
    text = " ".join(" ".join(lines).split())
    for word in (ENTRY.picture, "harbour rig", "18 to 12", "SIMULATION, failed", "the board has said nothing for 6 s"):
        assert word in text
    assert len(shown(drawings.log_table([ENTRY]), 200)) == 2


def test_whoever_waits_is_told_what_for(tmp_path, monkeypatch, capsys):
    told = []
    for name in ("say", "share"):
        monkeypatch.setattr(ProgressBar, name, lambda _, doing, *__: told.append(doing))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    for words in (["plan", "--text", "Q"], ["surprise", "--seed", "3", "--sheet", "A6"]):
        assert cli.run([*words, "-p", "out"]) == 0
        assert told[0] != "writing the pictures"
        assert told[-1] == "writing the pictures"
        assert not any("connect" in doing for doing in told)
        told.clear()
    assert cli.run(["methods"]) == 0
    assert told == []


def test_many_drawings_are_read_at_sixty_columns():
    facts = {"predicted_s": 75.4, "strokes": 1141, "pen_down_mm": 3240.0, "travel_mm": 1130.0, "sheet": "A4"}
    lines = shown(drawings.batch_table([Planned(f"drifter-{n}-row1-column{n}", facts=facts) for n in (1, 2)]), 60)
    assert max(map(len, lines)) <= 60
    figures = "1 min 15 s     1141  3.24 m  1.13 m  A4"
    assert sum(line.endswith(figures) for line in (line.rstrip() for line in lines)) == 2
    assert "".join(line[:16].strip() for line in lines[1:3]) == "drifter-1-row1-column1"


def test_no_line_of_a_table_ends_in_blanks_where_it_is_piped(capsys):
    output.console().print(drawings.log_table([ENTRY]))
    output.console(stderr=True).print(drawings.log_table([ENTRY]))
    said = capsys.readouterr()
    for text in said:
        assert "harbour rig" in text
        assert text.splitlines() == [line.rstrip() for line in text.splitlines()]


def test_prose_is_broken_between_words_and_commands_stay_whole():
    text = "home the machine first: `linewright board home --rig rig.toml`, and look at the antidisestablishmentarian"
    lines = output.broken(text, 30).splitlines()
    assert " ".join(line.strip() for line in lines) == text
    assert any("`linewright board home --rig rig.toml`," in line for line in lines)
    assert all(len(line) <= 30 or " " not in line.strip() or "`" in line for line in lines)
    assert output.broken("one\n  two", 30) == "one\n  two"


def test_no_colour_where_none_is_wanted(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    for wanted, coloured in (("", True), ("1", False)):
        stream = Terminal()
        monkeypatch.setattr("sys.stdout", stream)
        monkeypatch.setenv("TERM", "xterm-256color")
        monkeypatch.setenv("NO_COLOR", wanted)
        output.console().print("[red]danger[/]")
        assert ("\x1b[31m" in stream.getvalue()) == coloured
        assert "danger" in stream.getvalue()


def label(text):
    scene = Scene(60.0, 12.0, (Label(text, 2.0, 9.0, size_mm=6.0),), "a label")
    return np.asarray(raster.to_image(scene, long_side_px=600).convert("L"))


@pytest.mark.parametrize(
    "text", ["M\u00f6we", "H\u00e9ron", "\u0427\u0430\u0439\u043a\u0430", "\u0393\u03bb\u03ac\u03c1\u03bf\u03c2"]
)
def test_captions_show_every_letter(text):
    ink = label(text) < 128
    assert ink.any()
    # Missing letters are shown as boxes, so all texts of the same length would look the same.
    other = label("".join("\u00fc" if letter > "~" else letter for letter in text)) < 128
    assert (ink != other).sum() > 20
    assert not raster._has(ImageFont.load_default(40.0), next(letter for letter in text if letter > "~"))


def test_a_tape_is_read(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "corner.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
        '<path stroke="#123" fill="none" d="M5 5H20V15M30 5V20"/></svg>'
    )
    assert cli.run(["draw", "corner.svg", "--keep", "--port", "virtual:tape=run.tape", "--json"]) == 0
    capsys.readouterr()
    assert cli.run(["tape", "run.tape", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["strokes"], said["pulses_broken"], said["damaged"]) == (2, 0, False)
    assert (tmp_path / "out" / "run-tape.png").read_bytes().startswith(b"\x89PNG")
    assert cli.run(["tape", "corner.svg"]) == 2


def test_hands_beside_a_rig_in_another_window():
    """Input before a host connects is answered and ends nothing; the end of the input ends the rig."""
    process = subprocess.Popen(
        [sys.executable, "-c", "from linewright.cli import main; main()", "virtual", "--hands"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline().startswith("listening on 127.0.0.1:")
    process.stdin.write("press x\n")
    process.stdin.flush()
    assert process.stdout.readline() == "the machine is off, because no other window has connected yet\n"
    assert process.poll() is None
    process.communicate(timeout=60)
    assert process.returncode == 0
