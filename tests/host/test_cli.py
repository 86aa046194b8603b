"""The command line: output streams, exit codes, and error messages."""

from __future__ import annotations

import json
import os
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
import typer

from linewright import cli
from linewright.cli.app import app
from linewright.rig.rig import Rig
from linewright.tasks import cautions

ROOT = Path(__file__).resolve().parents[2]
HERON = ROOT / "demo" / "heron.svg"

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">{}</svg>'
SMALL = SVG.format(
    '<g stroke="#102030" fill="none"><path d="M10 10H40V30Z"/><circle cx="70" cy="30" r="12"/></g>'
    '<path stroke="#d8622a" d="M5 50H95"/>'
)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture
def small(tmp_path) -> Path:
    path = tmp_path / "small.svg"
    path.write_text(SMALL, encoding="utf-8")
    return path


def command(*words: object, to=subprocess.PIPE, **options) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", "from linewright.cli import main; main()", *map(str, words)],
        stdout=to,
        stderr=subprocess.PIPE,
        text=True,
        **options,
    )


# Help and streams


def test_no_words_at_all_print_the_help(capsys):
    assert cli.run([]) == 2
    out, errors = capsys.readouterr()
    assert out == ""
    assert errors.startswith("Usage: linewright")
    assert "next:" not in errors


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize(
    "words", [("--help",), ("plan", "small.svg"), ("plan", "small.svg", "--json"), ("rig", "default"), ("rig", "show")]
)
def test_output_that_goes_to_a_full_disk(words, small):
    with Path("/dev/full").open("w") as full:
        process = command(*words, to=full)
        _, errors = process.communicate(timeout=60)
    assert process.returncode == 2
    said = errors.removeprefix("machine: the default rig\n")
    assert (
        said == "linewright: the output cannot be written: No space left on device\n  next: free space on that disk\n"
    )


@pytest.mark.parametrize("words", [("plan", "small.svg", "--no-pictures"), ("draw", "small.svg")])
def test_closed_streams_are_nobody_to_tell(words, small):
    def close() -> None:
        for number in range(3):
            os.close(number)

    process = command(*words, preexec_fn=close)
    process.communicate(timeout=60)
    assert process.returncode == 0


def test_characters_that_an_encoding_lacks_have_plainer_ones(small):
    process = command("rig", "show", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    text, errors = process.communicate(timeout=60)
    assert (process.returncode, errors.removeprefix("machine: the default rig\n")) == (0, "")
    assert "1500 mm/s2" in text


def test_help_lists_the_commands_and_loads_nothing_heavy():
    process = command("--help")
    text, errors = process.communicate(timeout=60)
    assert process.returncode == 0
    assert errors == ""
    for name in ("lines", "plan", "draw", "rig", "virtual"):
        assert f"\n  {name} " in text
    # Modules that slow the start (bench/start_up.py) are not imported.
    heavy = "{'numpy', 'pydantic', 'shapely', 'scipy', 'PIL', 'serial', 'rich.console', 'starlette', 'asyncio'}"
    code = f"import sys; from linewright.cli import run; run(['--help']); print(sorted({heavy} & set(sys.modules)))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.endswith("\n[]\n")


def commands(group, path=()):
    for name, one in group.commands.items():
        if hasattr(one, "commands"):
            yield from commands(one, (*path, name))
        yield (*path, name)


def test_no_help_shows_a_type_of_the_language_it_is_written_in(capsys):
    found = [(), *commands(typer.main.get_command(app))]
    assert {("plan",), ("rig", "check"), ("board", "jog"), ("maker",)} <= set(found)
    for path in found:
        assert cli.run([*path, "--help"]) == 0
        text = capsys.readouterr().out
        assert text.startswith("Usage: linewright")
        for word in ("<", "list[", "range>", "[[", "TEXT", "INTEGER", "FLOAT", "<=x", "x>=", "None"):
            assert word not in text, (path, word)


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (("plan", "small.svg", "--out", "there"), " (do you mean --pictures or --output?)"),
        (("draw", "small.svg", "--out", "there"), " (do you mean --pictures?)"),
        (("plan", "small.svg", "--sheeet", "A4"), " (do you mean --sheet?)"),
        (("plan", "small.svg", "--border"), " (do you mean --frame?)"),
        (("draw", "small.svg", "--quick"), " (do you mean --effort?)"),
        (("plan", "small.svg", "--quiet"), ""),
    ],
)
def test_an_option_that_there_is_not_is_answered_with_what_was_meant(words, meant, capsys):
    assert cli.run(list(words)) == 2
    first = capsys.readouterr().err.splitlines()[0]
    assert first == f"linewright: No such option: {words[2]}{meant}"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("draw", "--effort", "banana", "small.svg"), "--effort: 'banana' is not one of quick, normal, best"),
        (("plan", "--pen-by=hue", "small.svg"), "--pen-by: 'hue' is not one of colour, layer"),
        (("tune",), "FILE is missing: a typical picture or saved program of yours"),
        (("board", "jog", "1"), "Y is missing: mm down; with --to, the position"),
        (("lines", "small.svg"), "--output is missing: the SVG of plain strokes to write"),
        (("drow",), "there is no command 'drow' (do you mean draw?)"),
        (("draw", "--effort"), "--effort: its value is missing"),
        (
            ("draw", "my", "heron.svg"),
            "heron.svg: this command takes fewer arguments; put a name with spaces in quotes",
        ),
        (("tape", "nowhere.tape"), "cannot read the tape nowhere.tape: No such file or directory"),
    ],
)
def test_what_cannot_be_is_told_in_our_words(words, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert cli.run(list(words)) == 2
    lines = capsys.readouterr().err.splitlines()
    assert next(line for line in lines if line.startswith("linewright: ")).startswith(f"linewright: {said}")


def test_a_drawing_and_a_photograph_of_one_name_keep_their_pictures_apart(tmp_path, capsys):
    names = []
    for file in ("heron.svg", "heron.jpg"):
        assert cli.run(["plan", str(ROOT / "demo" / file), "--effort", "quick", "--json"]) == 0
        names.append(set(json.loads(capsys.readouterr().out)["pictures"]))
    assert "out/heron-preview.svg" in names[0]
    assert "out/heron-jpg-preview.svg" in names[1]
    assert not names[0] & names[1]


@pytest.mark.parametrize("words", [("lines",), ("plan",), ("draw",), ("rig",), ("rig", "check"), ("virtual",)])
def test_every_command_has_help(words, capsys):
    assert cli.run([*words, "--help"]) == 0
    assert "Usage: linewright" in capsys.readouterr().out


def test_version(capsys):
    from linewright import __version__

    assert cli.run(["--version"]) == 0
    assert capsys.readouterr().out == f"linewright {__version__}\n"


def test_a_command_that_has_commands_is_answered_with_them(capsys):
    assert cli.run(["board"]) == 2
    said = capsys.readouterr()
    assert said.err.startswith("Usage: linewright board")
    assert "next:" not in said.err


def test_no_control_codes_without_a_terminal(small, capsys):
    assert cli.run(["plan", str(small)]) == 0
    out, errors = capsys.readouterr()
    assert "\x1b" not in out + errors
    assert "\r" not in out + errors


# Results of commands


def test_lines_writes_the_strokes(small, tmp_path, capsys):
    target = tmp_path / "strokes.svg"
    assert cli.run(["lines", str(small), "-o", str(target)]) == 0
    assert "3 strokes" in capsys.readouterr().out
    # Reading it gives the same strokes, to the written micrometre.
    from linewright.sources.svg import read_svg

    once, again = read_svg(small).drawing, read_svg(target).drawing
    assert again.points_mm == pytest.approx(once.points_mm, abs=0.0006)
    assert again.starts.tolist() == once.starts.tolist()


def test_lines_json(small, tmp_path, capsys):
    assert cli.run(["lines", str(small), "-o", str(tmp_path / "s.svg"), "--json"]) == 0
    out, errors = capsys.readouterr()
    said = json.loads(out)
    assert errors == ""
    assert said["strokes"] == 3
    assert said["pens"] == ["#102030", "#d8622a"]
    # A triangle of 30, 20 and hypot(30, 20), a circle of radius 12 (within its tolerance), a line of 90 mm.
    assert said["pen_down_mm"] == pytest.approx(30 + 20 + 1300**0.5 + 2 * 3.14159265 * 12 + 90, abs=0.3)


def test_plan_writes_previews_and_says_what_it_takes(small, tmp_path, capsys):
    assert cli.run(["plan", str(small), "--sheet", "A5", "--speed-map"]) == 0
    out, _ = capsys.readouterr()
    assert "A5" in out
    assert "of ink" in out
    names = {path.name for path in (tmp_path / "out").iterdir()}
    stems = ("small-preview", "small-speed", "small-pen-1-102030", "small-pen-2-d8622a")
    assert names == {f"{stem}.{kind}" for stem in stems for kind in ("svg", "png")}


def test_plan_json_has_the_promised_figures(small, capsys):
    assert cli.run(["plan", str(small), "--json", "--no-pictures"]) == 0
    out, errors = capsys.readouterr()
    said = json.loads(out)
    assert errors == ""
    wanted = {"strokes", "vertices", "pen_down_mm", "travel_mm", "ramps", "frame_bytes", "predicted_s", "warnings"}
    assert wanted <= set(said)
    assert said["strokes"] == 3
    assert said["pictures"] == []


def test_keep_keeps_the_size_and_fit_fills_the_sheet(small, capsys):
    lengths = {}
    for option in ("--keep", "--fit"):
        assert (
            cli.run(["plan", str(small), option, "-s", "A4", "-m", "10", "--turn", "0", "--json", "--no-pictures"]) == 0
        )
        lengths[option] = json.loads(capsys.readouterr().out)["pen_down_mm"]
    # 190 mm between the margins of an upright A4 for a page of 100 mm.
    assert lengths["--fit"] / lengths["--keep"] == pytest.approx(1.9, rel=1e-3)


def test_keep_turns_a_card_the_way_it_overhangs_least(small, capsys):
    assert cli.run(["plan", str(small), "--keep", "-s", "62x102mm", "-m", "2", "--json", "--no-pictures"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["strokes"] == 3
    assert said["warnings"] == []


def test_a_plan_is_kept_and_refused_for_another_rig(small, tmp_path, capsys):
    job, rig = tmp_path / "job.lw", tmp_path / "rig.toml"
    assert cli.run(["plan", str(small), "-o", str(job), "--no-pictures"]) == 0
    assert cli.run(["plan", str(job), "--json", "--no-pictures"]) == 0
    capsys.readouterr()
    assert cli.run(["rig", "default", "-o", str(rig)]) == 0
    rig.write_text(rig.read_text().replace("speed_mm_s = 120.0", "speed_mm_s = 90.0"))
    capsys.readouterr()
    assert cli.run(["draw", str(job), "--rig", str(rig), "--json"]) == 2
    said = json.loads(capsys.readouterr().out)
    assert "rig" in said["error"]
    assert "plan the picture again" in said["hint"]


def test_a_kept_plan_has_its_place_already(small, tmp_path, capsys):
    job = tmp_path / "job.lw"
    assert cli.run(["plan", str(small), "-o", str(job), "--no-pictures"]) == 0
    assert cli.run(["draw", str(job), "--sheet", "A5"]) == 2
    assert "its position, lines and pens are fixed" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [("--sheet", "A5"), ("--portrait",), ("--margin", "0"), ("--keep",), ("--turn", "0"), ("--pen-by", "layer")],
)
def test_looking_at_a_kept_plan_does_not_pretend_to_move_it(words, small, tmp_path, capsys):
    job = tmp_path / "job.lw"
    assert cli.run(["plan", str(small), "-o", str(job), "--no-pictures"]) == 0
    assert cli.run(["plan", str(job), "--no-pictures"]) == 0
    capsys.readouterr()
    assert cli.run(["plan", str(job), "--no-pictures", *words]) == 2
    assert "is a planned program" in capsys.readouterr().err


def test_rig_default_prints_the_commented_default(tmp_path, capsys):
    from linewright.rig.rig import Rig

    assert cli.run(["rig", "default"]) == 0
    text = capsys.readouterr().out
    assert text == Rig.default_text()
    path = tmp_path / "rig.toml"
    path.write_text(text)
    assert cli.run(["rig", "check", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["fingerprint"] == Rig.default().fingerprint()


def test_rig_default_does_not_overwrite(tmp_path, capsys):
    path = tmp_path / "rig.toml"
    path.write_text("mine")
    assert cli.run(["rig", "default", "-o", str(path)]) == 2
    assert path.read_text() == "mine"
    assert "exists already" in capsys.readouterr().err


@pytest.mark.skipif(not Path("/proc/self/limits").exists(), reason="limits the size of files, as Linux does")
def test_a_rig_file_that_does_not_fit_the_disk_leaves_nothing(tmp_path):
    def no_room() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))

    process = command("rig", "default", "-o", "rig.toml", preexec_fn=no_room)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 2
    assert errors.startswith("linewright: cannot write rig.toml: File too large\n  next: ")
    assert list(tmp_path.iterdir()) == []


def test_rig_schema_is_json(capsys):
    assert cli.run(["rig", "schema"]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == "Rig"


def test_rig_show(capsys):
    assert cli.run(["rig", "show"]) == 0
    assert "80 (motor A)" in capsys.readouterr().out
    assert cli.run(["rig", "show", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["steps_per_mm"] == [80.0, 80.0]


def test_virtual_lists_its_faults(capsys):
    assert cli.run(["virtual", "--faults"]) == 0
    assert "backlash_x_mm" in capsys.readouterr().out


# Drawing on the virtual rig


def test_draw_json_is_exact(small, tmp_path, capsys):
    assert cli.run(["draw", str(small), "--json", "-p", str(tmp_path / "shown")]) == 0
    out, errors = capsys.readouterr()
    said = json.loads(out)
    assert errors == ""
    assert said["finished"] is True
    assert said["played_ticks"] == said["predicted_ticks"]
    assert said["final_position_error_steps"] == 0
    assert said["pulses_broken"] == 0
    assert said["max_deviation_mm"] <= 0.0125 + 0.02  # one step of 1/80 mm, and the flattening tolerance
    # whole_rig.py asserts in virtual time that a clean wire needs no repetition; here a busy computer may answer late.
    assert isinstance(said["retransmitted_frames"], int)
    names = {path.name for path in (tmp_path / "shown").iterdir()}
    assert names == {f"small-{kind}.{ending}" for kind in ("preview", "drawn", "overlay") for ending in ("svg", "png")}


def test_lost_steps_are_told_although_the_board_cannot_know(small, tmp_path, capsys):
    # Parked in the middle, so that missing steps on the way back do not lead into an endstop.
    in_the_middle = Rig.default_text().replace("position_mm = [0.0, 0.0]", "position_mm = [150.0, 150.0]")
    (tmp_path / "rig.toml").write_text(in_the_middle, encoding="utf-8")
    assert cli.run(["draw", str(small), "-r", "rig.toml", "--port", "virtual:pull_out_a_hz=3000"]) == 0
    out = capsys.readouterr().out
    assert "lost steps" in out
    assert "of motor A" in out
    assert "of motor B" not in out


def test_draw_tells_a_person(small, capsys):
    assert cli.run(["draw", str(small)]) == 0
    out = capsys.readouterr().out
    assert "as predicted to the tick" in out
    assert "exact to the step" in out
    assert "all within limits" in out


def test_draw_shows_what_a_worn_machine_does(small, capsys):
    assert cli.run(["draw", str(small), "--port", "virtual:backlash_x_mm=0.4", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert 0.1 < said["max_deviation_mm"] < 0.45
    assert said["final_position_error_steps"] == 0


def test_virtual_prints_the_very_words_that_connect_to_it(tmp_path):
    from linewright.rig.rig import Rig

    (tmp_path / "mine.toml").write_text(Rig.default_text(), encoding="utf-8")
    process = command("virtual", "--rig", "mine.toml")
    assert process.stdout is not None
    assert process.stderr is not None
    address = process.stdout.readline().strip().removeprefix("listening on ")
    said = f"in another window: `linewright draw FILE --port socket:{address} --rig mine.toml`\n"
    assert process.stderr.readline() == f"a virtual rig of default (mine.toml); {said}"
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=60)
    assert process.returncode == 0


def test_draw_over_a_socket_to_a_rig_of_its_own(small, capsys):
    rig = command("virtual")
    try:
        assert rig.stdout is not None
        address = rig.stdout.readline().strip().removeprefix("listening on ")
        assert cli.run(["draw", str(small), "--port", f"socket:{address}", "--json"]) == 0
        said = json.loads(capsys.readouterr().out)
        assert said["final_position_error_steps"] == 0
        assert said["max_deviation_mm"] is None  # the tape is the other process's
        rig.communicate(timeout=60)
        assert rig.returncode == 0
    finally:
        rig.kill()
        rig.communicate()


# Ctrl-C at every stage


def test_ctrl_c_before_drawing_says_so(tmp_path):
    # A rig file on a slow disk keeps `plan` waiting at its very first stage.
    (tmp_path / "rig.toml").touch()
    (tmp_path / "sitecustomize.py").write_text(
        "import pathlib, time\nreal = pathlib.Path.open\n"
        "def slow(path, *rest, **named):\n"
        "    if path.name == 'rig.toml':\n"
        "        path.with_name('waits').touch()\n"
        "        time.sleep(60)\n"
        "    return real(path, *rest, **named)\n"
        "pathlib.Path.open = slow\n"
    )
    environment = dict(os.environ, PYTHONPATH=str(tmp_path))
    process = command("plan", HERON, "--rig", tmp_path / "rig.toml", start_new_session=True, env=environment)
    until = time.monotonic() + 60
    while not (tmp_path / "waits").exists():
        assert time.monotonic() < until
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "stopped before anything was drawn" in errors
    assert "Traceback" not in errors


class Interrupted:
    """A session that raises Ctrl-C."""

    def __init__(self, at):
        self.at, self.stopped = at, 0

    def __call__(self, *_):
        return self

    def greet(self):
        pass

    def hello(self):
        return SimpleNamespace(board="virtual", same_code=True)

    def unique_id(self):
        return ""

    def home(self):
        if self.at == "home":
            raise KeyboardInterrupt

    def stop(self):
        self.stopped += 1

    def close(self):
        pass


@pytest.mark.parametrize("at", ["home", "bouts"])
def test_ctrl_c_in_an_exercise_tells_that_the_machine_may_have_moved(at, monkeypatch, capsys):
    session = Interrupted(at)

    def bouts(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("linewright.board.session.Session", session)
    monkeypatch.setattr("linewright.virtual.port.open_transport", lambda *_, **__: session)
    monkeypatch.setattr("linewright.calibration.exercise.exercise", bouts)
    assert cli.run(["exercise"]) == 130
    said = capsys.readouterr().err
    assert "the machine may have moved" in said
    assert "before anything" not in said
    assert session.stopped == 1


def test_ctrl_c_where_nothing_would_be_drawn_speaks_of_no_drawing(monkeypatch, capsys):
    def pressed(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("linewright.cli.target.of_rig", pressed)
    for words in (["compare", "sea.png"], ["tune", "card.svg"], ["trial", "scale"]):
        assert cli.run(words) == 130
        assert capsys.readouterr().err == "linewright: stopped\n"


def test_ctrl_c_while_nobody_answers(small):
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        process = command("draw", small, "--port", f"socket:127.0.0.1:{deaf.getsockname()[1]}", start_new_session=True)
        deaf.settimeout(60)
        connection, _ = deaf.accept()
        with connection:
            connection.settimeout(60)
            assert connection.recv(1)  # its greeting has been sent
            process.send_signal(signal.SIGINT)
            _, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in errors


# Bad input


def refused(capsys, *words: object, code: int = 2) -> str:
    """Run it with and without --json, expect a refusal, and return the message."""
    assert cli.run([*map(str, words), "--json"]) == code
    out, errors = capsys.readouterr()
    said = json.loads(out)
    assert set(said) == {"error", "hint"}
    assert "bug" not in said["error"]
    assert errors == ""
    assert cli.run([*map(str, words)]) == code
    out, errors = capsys.readouterr()
    assert "\nlinewright: " in "\n" + errors
    assert "Traceback" not in errors
    return str(said["error"])


BILLION_LAUGHS = (
    '<!DOCTYPE svg [<!ENTITY a "ha">'
    + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True))
    + "]>"
    + SVG.format("<text>&i;</text>")
)

BAD_PICTURES = {
    "not an svg": "a letter to the harbour master",
    "another xml": "<html><body/></html>",
    "nothing in it": "",
    "an empty svg": SVG.format(""),
    "nan": SVG.format('<path stroke="#000" d="M nan 10 L 20 20"/>'),
    "a billion laughs": BILLION_LAUGHS,
    "cut off": SMALL[:150],
    "zero bytes": "\0" * 100,
}


@pytest.mark.parametrize("name", BAD_PICTURES)
def test_a_bad_picture_is_refused_with_its_name(name, tmp_path, capsys):
    path = tmp_path / "bad.svg"
    path.write_text(BAD_PICTURES[name], encoding="utf-8")
    assert "bad.svg" in refused(capsys, "plan", path)


def test_coordinates_beyond_all_machines_never_leave_the_sheet(tmp_path, capsys):
    path = tmp_path / "far.svg"
    path.write_text(SVG.format('<path stroke="#000" d="M0 0L1e9 1e9M10 10H20"/>'), encoding="utf-8")
    code = cli.run(["plan", str(path), "--json", "--no-pictures", "--keep"])
    said = json.loads(capsys.readouterr().out)
    if code == 0:
        assert said["warnings"]
        assert said["pen_down_mm"] < 400  # no more than crosses an A4 sheet
    else:
        assert code == 2
        assert "mm" in said["error"]


def test_a_huge_file_is_refused_before_it_is_read(tmp_path, capsys):
    path = tmp_path / "huge.svg"
    with path.open("wb") as file:
        file.write(SVG.format("").encode()[:-6])
        file.truncate(100_000_000)  # a sparse file
    assert "huge.svg" in refused(capsys, "plan", path)


def test_no_such_file(tmp_path, capsys):
    assert "there is no such file" in refused(capsys, "plan", tmp_path / "missing.svg")
    assert "folder" in refused(capsys, "plan", tmp_path)
    assert "missing.lw" in refused(capsys, "draw", tmp_path / "missing.lw")


def test_a_damaged_program(tmp_path, capsys):
    path = tmp_path / "job.lw"
    path.write_bytes(b"PK\x03\x04 not really")
    assert "job.lw" in refused(capsys, "draw", path)
    path.write_bytes(b"")
    assert refused(capsys, "draw", path) == f"{path} is not a saved program, or is damaged"


@pytest.mark.parametrize(
    ("content", "said"), [(b"", "the file is empty"), (b"a letter to the harbour master", "that is not a photograph")]
)
def test_what_is_wrong_with_a_photograph_is_not_said_of_an_svg(content, said, tmp_path, capsys):
    path = tmp_path / "x.jpg"
    path.write_bytes(content)
    message = refused(capsys, "plan", path)
    assert said in message
    assert "SVG" not in message


def test_an_svg_is_one_whatever_its_name(small, tmp_path, capsys):
    path = tmp_path / "x.jpg"
    path.write_bytes(small.read_bytes())
    assert cli.run(["plan", str(path), "--no-pictures"]) == 0


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("microsteps = 16", "microsteps = 0", "motor.a.microsteps"),
        ("belt_pitch_mm = 2.0", "belt_pitch_mm = 0.0", "motor.a.belt_pitch_mm"),
        ("travel_mm = 310.0", "travel_mm = -1", "axis.x.travel_mm"),
        ("speed_mm_s = 120.0", "speed_mm_s = nan", "axis.x.speed_mm_s"),
        ('type = "cartesian"', 'type = "polar"', "kinematics.type"),
    ],
)
def test_a_bad_rig_names_key_and_line(old, new, key, small, tmp_path, capsys):
    from linewright.rig.rig import Rig

    path = tmp_path / "rig.toml"
    text = Rig.default_text().replace(old, new)
    path.write_text(text)
    line = next(i for i, one in enumerate(text.splitlines(), 1) if one.startswith(new))
    for words in (("rig", "check", path), ("plan", small, "--rig", path), ("draw", small, "--rig", path)):
        message = refused(capsys, *words)
        assert key in message
        assert f"line {line}" in message


def test_ports_that_are_not_there(small, capsys):
    assert cli.run(["draw", str(small), "--port", "serial:/dev/no-such-port", "--json"]) == 3
    assert "there is no port" in json.loads(capsys.readouterr().out)["error"]
    with socket.create_server(("127.0.0.1", 0)) as server:
        free = server.getsockname()[1]
    assert "refused" in refused(capsys, "draw", small, "--port", f"socket:127.0.0.1:{free}", code=3)
    assert "names no port" in refused(capsys, "draw", small, "--port", "telepathy")


def test_a_board_that_does_not_answer(small, capsys):
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        keep: list[socket.socket] = []
        threading.Thread(target=lambda: keep.append(deaf.accept()[0]), daemon=True).start()
        port = f"socket:127.0.0.1:{deaf.getsockname()[1]}"
        assert cli.run(["draw", str(small), "--port", port, "--json"]) == 3
        for connection in keep:
            connection.close()
    said = json.loads(capsys.readouterr().out)
    assert "no board answered" in said["error"]
    assert "cable" in said["hint"]


@pytest.mark.parametrize(
    "words",
    [
        ("plan",),
        ("plan", "x.svg", "--colour-blind"),
        ("paint", "x.svg"),
        ("plan", "{small}", "--sheet", "A9"),
        ("plan", "{small}", "--margin", "1000"),
        ("plan", "{small}", "--margin", "nan"),
        ("plan", "{small}", "--turn", "sideways"),
        ("plan", "{small}", "-o", "job.zip"),
        ("plan", "{small}", "-o", "no/such/folder/job.lw"),
        ("plan", "{small}", "--sheet", "2000x2000mm", "--keep", "--rig", "missing.toml"),
        ("lines", "{small}", "-o", "no/such/folder/s.svg"),
        ("lines", "{small}", "-o", "s.svg", "--tolerance", "0"),
        ("draw", "{small}", "--port", "virtual:interpreter=abacus"),
        ("draw", "{small}", "--port", "virtual:backlash_x_mm=lots"),
        ("virtual", "--interpreter", "abacus"),
        ("virtual", "--fault", "gremlins=1"),
        ("virtual", "--listen", "0.0.0.0:0"),
    ],
)
def test_wrong_options_are_refused_with_a_way_out(words, small, capsys):
    filled = [word.replace("{small}", str(small)) for word in words]
    assert cli.run(filled) == 2
    errors = capsys.readouterr().err
    assert "Traceback" not in errors
    assert "bug" not in errors
    assert errors


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("board", "jog", "abc", "0"), "X: 'abc' is not a number"),
        (("exercise", "--seed", "abc"), "--seed: 'abc' is not a whole number; allowed is 0 or more"),
        (("exercise", "--bouts", "1.5"), "--bouts: '1.5' is not a whole number; allowed is 1 to 10000"),
        (("exercise", "--bouts=0"), "--bouts: 0 is out of range; allowed is 1 to 10000"),
        (("draw", "--effort", "x"), "--effort: 'x' is not one of quick, normal, best"),
    ],
)
def test_complaints_of_values_are_in_our_words(words, said, capsys):
    assert cli.run(words) == 2
    errors = capsys.readouterr().err
    assert said in errors
    for foreign in ("Input should", "unable to parse", "Value error"):
        assert foreign not in errors


@pytest.mark.parametrize("words", [("--margin", "abc"), ("--margin=abc",), ("-m", "abc")])
def test_a_wrong_value_is_repeated_and_the_hint_names_the_command(words, small, capsys):
    assert cli.run(["plan", str(small), *words]) == 2
    errors = capsys.readouterr().err
    assert "--margin" in errors
    assert "--margin: 'abc' is not a number" in errors
    assert "`linewright plan --help`" in errors


@pytest.mark.parametrize(
    "words",
    [("plan", "small.svg"), ("draw", "x.lw"), ("rig", "check", "x.toml"), ("plan", "small.svg", "-r", "x.toml")],
)
def test_files_that_may_not_be_read_are_named(words, small, tmp_path, monkeypatch, capsys):
    # Root may read everything, so the system call is replaced.
    (tmp_path / "x.lw").write_bytes(b"PK")
    (tmp_path / "x.toml").write_text("")
    hidden = next(word for word in reversed(words) if "." in word)
    real_open, real_access = open, os.access

    def opening(file, *rest, **more):
        if str(file).endswith(hidden):
            raise PermissionError(13, "Permission denied", str(file))
        return real_open(file, *rest, **more)

    monkeypatch.setattr("builtins.open", opening)
    monkeypatch.setattr("io.open", opening)
    monkeypatch.setattr(os, "access", lambda path, *rest: not str(path).endswith(hidden) and real_access(path, *rest))
    assert cli.run(list(words)) == 2
    errors = capsys.readouterr().err
    assert hidden in errors
    assert "Permission denied" in errors
    assert "bug" not in errors


def test_a_picture_beyond_the_margins_is_refused(tmp_path, capsys):
    path = tmp_path / "edge.svg"
    path.write_text(SVG.format('<path stroke="#000" d="M0 1H100"/>'), encoding="utf-8")
    message = refused(capsys, "plan", path, "--keep", "--sheet", "100x60mm", "--margin", "5", "--turn", "0")
    assert "no part of the picture lies within the margins" in message


@pytest.mark.parametrize("size", ["A2", "400x400mm", "9999x9999mm"])
@pytest.mark.parametrize("turn", ["auto", "0", "90"])
def test_a_picture_fitted_to_a_sheet_beyond_the_reach_loses_nothing(size, turn, capsys):
    assert cli.run(["plan", str(HERON), "--sheet", size, "--turn", turn, "--no-pictures", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert cli.run(["plan", str(HERON), "--no-pictures", "--json"]) == 0
    on_a4 = json.loads(capsys.readouterr().out)
    # The number of strokes joined over ink depends on the size; the drawn picture does not.
    larger = max(found["size_mm"]) / max(on_a4["size_mm"])
    assert found["pen_down_mm"] == pytest.approx(larger * on_a4["pen_down_mm"], rel=0.005)
    assert not any("cut at" in note or "not be drawn" in note for note in found["warnings"])
    (note,) = (note for note in found["warnings"] if "reach" in note)
    assert note.startswith(f"the {size} sheet does not lie within the machine's reach; the picture is fitted into")
    assert "The largest sheet it holds is A4" in note


def test_only_a_picture_that_keeps_its_size_is_cut_and_a_step_is_named(small, capsys):
    assert cli.run(["plan", str(HERON), "--sheet", "420x30mm", "--keep", "--no-pictures"]) == 0
    notes = capsys.readouterr().err
    assert "the 420x30mm sheet does not lie within the machine's reach" in notes
    assert "cut at the edge of the machine's reach" in notes
    assert "use --fit to draw all of it" in notes


def test_a_small_picture_keeps_its_size_within_the_reach_of_a_large_sheet(small, capsys):
    assert cli.run(["plan", str(small), "--sheet", "900x900mm", "--keep", "--no-pictures", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["strokes"] == 3
    assert not any("cut at" in note for note in found["warnings"])


@pytest.mark.parametrize("margin", ["10", "-1", "nan", "1e9"])
def test_a_margin_that_leaves_no_room_names_what_does(margin, small, capsys):
    message = refused(capsys, "plan", small, "--sheet", "20x30mm", "--margin", margin)
    assert "outside 0..10 mm (10 excluded)" in message


def test_a_bug_is_owned_up_to(monkeypatch, small, tmp_path, capsys):
    from linewright.planning import pipeline

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("of all things")

    monkeypatch.setattr(pipeline, "prepare", broken)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    assert cli.run(["plan", str(small)]) == cli.EXIT_BUG
    errors = capsys.readouterr().err
    assert "this is a bug in Linewright: ZeroDivisionError: of all things" in errors
    (saved,) = tmp_path.glob("linewright-bug-*.txt")
    assert "Traceback" in saved.read_text()
    with pytest.raises(ZeroDivisionError):
        cli.run(["plan", str(small), "--debug"])


# Cautions


def test_cautions_come_in_full_the_first_time_on_a_port(tmp_path):
    assert cautions.before_moving("virtual") == ()
    assert cautions.before_moving("serial:/dev/ttyACM0") == cautions.CAUTIONS
    cautions.remember("serial:/dev/ttyACM0")
    assert cautions.before_moving("serial:/dev/ttyACM0") == (cautions.SHORT,)
    assert cautions.before_moving("serial:/dev/ttyACM1") == cautions.CAUTIONS


def test_cautions_are_printed_beside_the_drawing_not_in_it(small, capsys):
    cli.run(["draw", str(small), "--port", "serial:/dev/no-such-port", "--json"])
    out, errors = capsys.readouterr()
    assert json.loads(out)["error"]
    assert errors.count("caution:") == len(cautions.CAUTIONS)


def test_cautions_survive_a_folder_that_cannot_be_written(monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", "/proc/none")
    cautions.remember("serial:/dev/ttyACM0")
    assert cautions.before_moving("serial:/dev/ttyACM0") == cautions.CAUTIONS
