"""Other operating systems, simulated: their modules are fakes, this system's are hidden."""

from __future__ import annotations

import builtins
import os
import select
import signal
import subprocess
import sys
import textwrap
import types
from pathlib import Path

import pytest

from linewright.cli.sheet import TypedKeys
from linewright.system import children, locks, memory, processors, signals
from linewright.system.keyboard import Keyboard
from linewright.system.pipes import WatchedPipe, pipes_can_be_selected

POSIX_ONLY = ("fcntl", "termios", "tty", "pty", "resource", "pwd", "grp")


@pytest.fixture
def elsewhere(monkeypatch):
    """A system without POSIX modules; returns the `msvcrt` that it has instead."""
    real = builtins.__import__

    def importing(name, *rest, **named):
        if name in POSIX_ONLY:
            raise ImportError(f"no module named {name!r} on this system")
        return real(name, *rest, **named)

    console = types.ModuleType("msvcrt")
    monkeypatch.setitem(sys.modules, "msvcrt", console)
    monkeypatch.setattr(builtins, "__import__", importing)
    return console


def on_a_terminal(monkeypatch):
    for stream in ("stdin", "stderr"):
        monkeypatch.setattr(
            sys, stream, types.SimpleNamespace(isatty=lambda: True, write=lambda _t: None, flush=lambda: None)
        )


def test_keys_of_a_console_are_those_of_a_terminal(elsewhere, monkeypatch):
    waiting = list("a\xe0H\x00M q")
    elsewhere.kbhit = lambda: bool(waiting)
    elsewhere.getwch = lambda: waiting.pop(0)
    on_a_terminal(monkeypatch)
    with Keyboard() as keyboard:
        assert keyboard.active
        assert keyboard.pressed() == "a\x1b[A\x1b[C q"
        assert keyboard.pressed(0.03) == ""
        waiting.append("\x03")  # Ctrl-C comes as a key while keys are read one by one
        with pytest.raises(KeyboardInterrupt):
            keyboard.pressed()
    assert not keyboard.active


def test_no_keys_without_a_terminal_or_a_console(elsewhere, monkeypatch):
    with Keyboard() as keyboard:
        assert not keyboard.active
    monkeypatch.delitem(sys.modules, "msvcrt")
    on_a_terminal(monkeypatch)
    with Keyboard() as keyboard:
        assert not keyboard.active
        assert keyboard.pressed() == ""


@pytest.mark.parametrize("taken", [False, True])
def test_a_file_is_held_by_either_system(taken, elsewhere, tmp_path):
    held = []

    def locking(descriptor, mode, count):
        if taken:
            raise OSError("held")
        held.append((mode, count))

    elsewhere.locking, elsewhere.LK_NBLCK = locking, 2
    with (tmp_path / "file").open("wb") as file:
        assert locks.hold(file.fileno()) is not taken
    assert held == ([] if taken else [(2, 1)])


def test_a_pipe_that_cannot_be_selected_is_handed_on(elsewhere):
    assert not pipes_can_be_selected()
    reading, writing = os.pipe()
    pipe = WatchedPipe(reading)
    assert select.select([pipe], [], [], 0)[0] == []
    os.write(writing, b"press x\n")
    assert select.select([pipe], [], [], 10)[0] == [pipe]
    assert pipe.read(100) == b"press x\n"
    os.close(writing)
    assert select.select([pipe], [], [], 10)[0] == [pipe]
    assert pipe.read(100) == b""
    pipe.close()
    os.close(reading)


def test_children_of_either_system_are_ended_with_all_that_they_started(tmp_path):
    assert children.apart("nt") == {"creationflags": 0x200}
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"], **children.apart())
    asked = []
    children.end(child, "nt", lambda words, **_: asked.append(words))
    assert asked == [["taskkill", "/PID", str(child.pid), "/T", "/F"]]
    assert child.poll() is not None
    grandchild = "'import time; print(1, flush=True); time.sleep(60)'"
    parent = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {grandchild}])"
    child = subprocess.Popen([sys.executable, "-c", parent], stdout=subprocess.PIPE, **children.apart())
    with child.stdout as said:
        assert said.readline() == b"1\n"
        children.end(child)
        assert said.read() == b""  # the grandchild also had it open, and has ended


def test_the_virtual_rig_draws_where_there_is_no_posix(tmp_path):
    """Both processes, and those that plan side by side, run with the modules hidden from our code."""
    (tmp_path / "sitecustomize.py").write_text(
        textwrap.dedent(f"""
            import builtins
            real = builtins.__import__
            def importing(name, globals=None, *rest, **named):
                if name in {POSIX_ONLY!r} and str((globals or {{}}).get("__name__", "")).startswith("linewright"):
                    raise ImportError("hidden: " + name)
                return real(name, globals, *rest, **named)
            builtins.__import__ = importing
        """)
    )
    for name in "ab":
        (tmp_path / f"{name}.svg").write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="20mm" viewBox="0 0 20 20">'
            '<path d="M2 2h9v9" stroke="black" fill="none"/></svg>'
        )
    environment = dict(os.environ, XDG_STATE_HOME=str(tmp_path / "state"))
    ours = [str(Path(__file__).resolve().parents[2] / side) for side in ("host", "device", "shared_protocol")]
    environment["PYTHONPATH"] = os.pathsep.join([str(tmp_path), *ours])
    start = "import fcntl, sys; from linewright import cli; sys.exit(cli.run(sys.argv[1:]))"

    def run(*words):
        command = [sys.executable, "-c", start, *words]
        return subprocess.run(
            command, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=120, check=False
        )

    drawn = run("draw", "a.svg", "--keep", "--port", "virtual", "--json", "-p", "out")
    assert drawn.returncode == 0, drawn.stderr + drawn.stdout
    assert '"finished": true' in drawn.stdout
    assert '"pulses_broken": 0' in drawn.stdout  # the tape was closed, and read whole
    planned = run("plan", "a.svg", "b.svg", "--no-pictures", "-o", "jobs")
    assert planned.returncode == 0, planned.stderr
    assert (tmp_path / "jobs" / "b.lw").exists()


def test_signals_of_a_system_without_hangups_and_with_loops_that_take_none(monkeypatch):
    monkeypatch.delattr(signal, "SIGHUP")
    assert signals.hangup() is None
    came = []
    with signals.Taken(lambda number, _frame: came.append(number)):
        os.kill(os.getpid(), signal.SIGTERM)
    assert came == [signal.SIGTERM]

    class Loop:
        def add_signal_handler(self, *_):
            raise NotImplementedError

    with signals.on_loop(Loop(), came.append, signals.INTERRUPT):
        pass  # and nothing is released that was not acquired


def test_what_is_ignored_stays_ignored():
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with signals.Taken(lambda *_: None):
            assert signal.getsignal(signal.SIGINT) is signal.SIG_IGN
            assert signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL
    finally:
        signal.signal(signal.SIGINT, before)


def test_freed_memory_goes_back_where_the_c_library_keeps_it(monkeypatch):
    def resident_mb() -> float:
        return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6

    if sys.platform == "linux" and "glibc" in os.confstr("CS_GNU_LIBC_VERSION"):
        pieces = [b"x" * 50_000 for _ in range(3000)]  # 150 MB in pieces that come from the heap
        last = b"x" * 50_000  # an object that keeps the heap from shrinking
        del pieces
        before_mb = resident_mb()
        memory.give_back(memory.MANY_POINTS)
        assert before_mb - resident_mb() > 100
        assert last
    monkeypatch.setattr("ctypes.CDLL", lambda _name: None)
    memory.give_back(memory.MANY_POINTS)  # there is no such function here: nothing happens


def test_memory_is_limited_where_the_system_can(elsewhere, monkeypatch):
    memory.limit(1)  # no such limit here: nothing happens
    monkeypatch.undo()
    code = "from linewright.system import memory; memory.limit(1 << 29); bytearray(1 << 30)"
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert "MemoryError" in ended.stderr


def test_processors_are_those_that_this_process_may_use(monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda _process: {1, 5, 6}, raising=False)
    monkeypatch.setattr(os, "cpu_count", lambda: 8)
    assert processors.usable() == 3
    # Systems without this function, and one that returns None.
    monkeypatch.delattr(os, "sched_getaffinity")
    assert processors.usable() == 8
    monkeypatch.setattr(os, "cpu_count", lambda: None)
    assert processors.usable() == 1


class Pressed:
    """A keyboard with this input, in pieces."""

    def __init__(self, *pieces):
        self.pieces = list(pieces)

    def pressed(self, _wait_s=0.0):
        return self.pieces.pop(0) if self.pieces else ""


def test_arrow_keys_count_without_enter():
    keys = TypedKeys(Pressed("\x1b[C", "\x1b[C\x1b[B5 -", "2.6\x7f5\r", "", "\n"))
    looked = []
    read = [keys.next(lambda: looked.append(1)) for _ in range(4)]
    assert read == ["\x1b[C", "\x1b[C\x1b[B", "5 -2.5", ""]
    assert looked == [1]
    assert TypedKeys(Pressed()).next(lambda: True) is None
