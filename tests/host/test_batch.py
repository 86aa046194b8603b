"""Planning of many drawings at once. Outside check: the same drawings planned alone, byte for byte."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from linewright import cli
from linewright.errors import InputError
from linewright.planning import batch
from linewright.planning.plan_task import PlanTask
from linewright.rig.rig import Rig

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">{}</svg>'
PICTURES = {
    "buoy.svg": SVG.format('<circle cx="30" cy="20" r="15" stroke="#000" fill="none"/>'),
    "quay.svg": SVG.format('<path d="M5 30H55M5 34H55M10 30V10" stroke="#000"/>'),
    "torn.svg": "<svg",
}


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name, text in PICTURES.items():
        Path(name).write_text(text, encoding="utf-8")


@pytest.fixture
def cluster(tmp_path):
    """Address of a real scheduler with one worker, each a process in its own folder."""
    place = tmp_path / "elsewhere"
    place.mkdir()
    quiet = {"cwd": place, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    note = place / "scheduler.json"
    words = ["--scheduler-file", str(note), "--no-dashboard"]
    scheduler = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", *words], **quiet
    )
    until = time.monotonic() + 60
    address = None
    while address is None:  # the file exists before it is complete, and the worker must not read it then
        assert time.monotonic() < until
        time.sleep(0.1)
        with contextlib.suppress(OSError, ValueError):
            address = json.loads(note.read_text(encoding="utf-8"))["address"]
    worker = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_worker", "--nthreads", "1", "--no-nanny", *words], **quiet
    )
    there = "import sys, distributed; distributed.Client(sys.argv[1]).wait_for_workers(1, timeout=60)"
    subprocess.run([sys.executable, "-c", there, address], check=True, **quiet)
    yield address
    for process in (worker, scheduler):
        process.kill()
        process.wait()


def piece(source, **more):
    return batch.BatchItem(PlanTask(source, Rig.default()), **more)


def alone(source):
    name = Path(source).stem
    assert cli.run(["plan", source, "-o", f"alone/{name}.lw", "-p", "alone"]) == 0
    return {path.name: path.read_bytes() for path in Path("alone").glob(f"{name}*")}


def test_several_drawings_give_the_same_bytes_as_each_alone(capsys):
    Path("alone").mkdir()
    assert cli.run(["plan", "buoy.svg", "quay.svg", "-o", "jobs", "-p", "seen", "--workers", "2"]) == 0
    out = capsys.readouterr().out
    assert "buoy.svg" in out
    assert "together" in out
    many = {path.name: path.read_bytes() for folder in ("jobs", "seen") for path in Path(folder).iterdir()}
    assert many == alone("buoy.svg") | alone("quay.svg")
    assert {path.name for path in Path("jobs").iterdir()} == {"buoy.lw", "quay.lw"}


def test_what_is_wrong_with_one_does_not_stop_the_others(capsys):
    code = cli.run(["plan", "torn.svg", "quay.svg", "none.svg", "--json", "-o", "jobs", "--no-pictures"])
    assert code == 2
    torn, quay, none = json.loads(capsys.readouterr().out)["drawings"]
    assert (torn["source"], torn["code"]) == ("torn.svg", 2)
    assert "not well-formed" in torn["error"]
    assert none["error"] == "none.svg: there is no such file"
    assert none["hint"]
    assert quay["code"] == 0
    assert quay["strokes"] == 3
    assert quay["program"] == str(Path("jobs") / "quay.lw")
    assert not (Path("jobs") / "torn.lw").exists()


def test_a_person_is_told_which_failed(capsys):
    assert cli.run(["plan", "torn.svg", "quay.svg"]) == 2
    out, errors = capsys.readouterr()
    assert "failed" in out
    assert "torn.svg, line 1" in errors


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["quay.svg", "sub/quay.svg"], "files of the same name"),
        (["quay.svg", "quay.svg"], "files of the same name"),
        (["quay.svg", "buoy.svg", "-o", "all.lw"], "names one program"),
        (["quay.svg", "old.lw"], "a planned program"),
        (["quay.svg", "buoy.svg", "--text", "Ahoy"], "only one of them"),
        (["quay.svg", "buoy.svg", "-o", "torn.svg"], "cannot be a folder"),
        (["--cluster", "tcp://127.0.0.1:1"], "none was named"),
    ],
)
def test_what_cannot_be_asked_of_several_is_refused(words, what, capsys):
    assert cli.run(["plan", *words]) == 2
    assert what in capsys.readouterr().err


def test_a_bug_stays_with_its_drawing(monkeypatch):
    def broken(*_args, **_options):
        raise ZeroDivisionError("oh")

    monkeypatch.setattr("linewright.planning.pipeline.prepare", broken)
    planned = batch.plan_piece(piece("quay.svg"))
    assert planned.code == 70
    assert "ZeroDivisionError" in planned.error
    assert "in broken" in planned.details


def at_the_worst_moment(monkeypatch, happens):
    """Processes started from now on run an action when they open the picture ``stuck.svg``."""
    Path("stuck.svg").write_text(PICTURES["buoy.svg"], encoding="utf-8")
    Path("sitecustomize.py").write_text(
        "import os, pathlib, signal, time\nreal = pathlib.Path.open\n"
        f"def opened(path, *rest, **named):\n    if path.name == 'stuck.svg':\n        {happens}\n"
        "    return real(path, *rest, **named)\n"
        "pathlib.Path.open = opened\n",
        encoding="utf-8",
    )
    monkeypatch.setenv("PYTHONPATH", os.fspath(Path.cwd()))


def test_a_killed_process_fails_its_drawing_only(monkeypatch):
    # It is killed, as by the system when memory runs out, and so is the retry.
    at_the_worst_moment(monkeypatch, "os.kill(os.getpid(), signal.SIGKILL)")
    results = list(batch.plan_here([piece("quay.svg"), piece("stuck.svg"), piece("buoy.svg")], 2))
    by_source = {planned.source: planned for planned in results}
    assert by_source["quay.svg"].code == by_source["buoy.svg"].code == 0
    assert by_source["stuck.svg"].code == 70
    assert "was killed" in by_source["stuck.svg"].error


def test_a_cluster_gives_the_same_bytes_and_tells_failures(cluster, capsys):
    Path("alone").mkdir()
    sources = ["buoy.svg", "torn.svg", "quay.svg"]
    assert cli.run(["plan", *sources, "--cluster", cluster, "-o", "jobs", "-p", "seen", "--json"]) == 2
    said = json.loads(capsys.readouterr().out)["drawings"]
    assert [one["code"] for one in said] == [0, 2, 0]
    assert said[1]["error"].startswith("torn.svg, line 1")
    many = {path.name: path.read_bytes() for folder in ("jobs", "seen") for path in Path(folder).iterdir()}
    assert many == alone("buoy.svg") | alone("quay.svg")


@pytest.mark.slow
def test_no_scheduler_is_said(capsys):
    assert cli.run(["plan", "quay.svg", "--cluster", "tcp://127.0.0.1:1"]) == 2
    assert "no Dask scheduler answers at tcp://127.0.0.1:1" in capsys.readouterr().err


def test_without_the_package_the_extra_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError) as refused:
        next(batch.plan_there([piece("quay.svg")], "tcp://127.0.0.1:1"))
    assert "linewright[cluster]" in refused.value.hint


def test_ctrl_c_leaves_nothing_behind(monkeypatch):
    at_the_worst_moment(monkeypatch, "time.sleep(100)")
    process = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from linewright.cli import main; main()",
            "plan",
            "stuck.svg",
            "quay.svg",
            "-o",
            "jobs",
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    until = time.monotonic() + 60
    while not (Path("jobs") / "quay.lw").exists():  # one is finished, the other waits
        assert time.monotonic() < until
        time.sleep(0.05)
    children = _children(process.pid)
    assert children
    process.send_signal(signal.SIGINT)
    out, errors = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    assert errors.splitlines()[0].startswith("machine: ")
    assert errors.count("\n") == 2
    assert "stopped" in errors
    until = time.monotonic() + 60  # the tracker of shared memory ends a little later than the command
    while any(map(_alive, children)):
        assert time.monotonic() < until
        time.sleep(0.05)
    assert [path.name for path in Path("jobs").iterdir()] == ["quay.lw"]


def _children(pid):
    found = []
    for each in Path(f"/proc/{pid}/task").glob("*/children"):
        with contextlib.suppress(OSError):  # a thread that has just ended
            found += [int(word) for word in each.read_text(encoding="ascii").split()]
    return found


def _alive(pid):
    try:
        return ") Z" not in Path(f"/proc/{pid}/stat").read_text(encoding="ascii")
    except OSError:
        return False


def test_redrawing_and_effort_are_options_of_planning(capsys):
    # Three by three cells: 8 odd nodes, so four strokes, and one where sides may be drawn twice.
    lines = "".join(f"M{10 * i} 0V30M0 {10 * i}H30" for i in range(4))
    sides = "".join(f"M{10 * x} {10 * y}h10M{10 * y} {10 * x}v10" for x in range(3) for y in range(4))
    for path, redraw, strokes in ((sides, "0", 4), (sides, "100", 1), (lines, "100", 8)):
        Path("net.svg").write_text(SVG.format(f'<path d="{path}" stroke="#000"/>'), encoding="utf-8")
        words = ["plan", "net.svg", "--keep", "--no-pictures", "--json", "--redraw", redraw, "--effort", "quick"]
        assert cli.run(words) == 0
        said = json.loads(capsys.readouterr().out)
        assert said["strokes"] == strokes or path == lines
