"""Flashing, against the real Unix MicroPython with a real file system behind a fake serial port."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import re
import select
import socket
import subprocess
import sys
import threading

import pytest

from fake_board import FakeBoard
from linewright import cli
from linewright.board import files as board_files
from linewright.board import flashing, prompt
from linewright.board.flashing import flash
from linewright.board.prompt import Prompt
from linewright.board.session import Session
from linewright.errors import FlashError, InputError, NoAnswer, PortError, PromptError
from linewright.rig.rig import Rig
from linewright.virtual.pipe import find_micropython

# The fake board is not an rp2, so it gets the portable files.
PLATFORM = sys.platform
ON_BOARD = [re.sub(r"\.py$", ".mpy", f.name) if f.name != "main.py" else f.name for f in board_files.shipped(PLATFORM)]


@pytest.fixture
def board(tmp_path):
    boards = []

    def make(**options):
        try:
            find_micropython()
        except PortError as missing:
            pytest.skip(f"{missing} ({missing.hint})")
        folder = tmp_path / f"board{len(boards)}"
        folder.mkdir()
        boards.append(FakeBoard(folder, **options))
        return boards[-1]

    yield make
    for one in boards:
        one.unplug()


def put_code_on(board, **options):
    with Prompt(board.path) as found:
        return flash(found, **options)


def files_of(board):
    """Everything on the board, as {name: CRC-32}."""
    said = board.run(
        "import os, binascii\n"
        "def walk(p):\n"
        " for e in os.ilistdir(p or '.'):\n"
        "  n = p + e[0]\n"
        "  if e[1] == 0x4000: walk(n + '/')\n"
        "  else: print(n, binascii.crc32(open(n, 'rb').read()))\n"
        "walk('')"
    )
    return {line.split()[0]: int(line.split()[1]) for line in said.splitlines()}


def write(board, name, text):
    board.run(f"with open({name!r}, 'w') as f: f.write({text!r})")


def lacks(board):
    """Missing files, by the installed main.py."""
    return board.run("import sys\nsys.modules.pop('main', None)\nimport main\nprint(main.lacking())").strip()


def test_everything_arrives_compiled_and_starts(board):
    it = board()
    seen = []
    result = put_code_on(it, on_progress=lambda done, total: seen.append((done, total)))
    assert "the portable one is installed, for rigs up to 4000 steps/s" in result.warnings[0]
    assert result.architecture == "x64"  # the architecture of this computer's Unix build
    assert result.files == result.copied == len(ON_BOARD)
    assert set(files_of(it)) == {*ON_BOARD, "files.txt", "digest.txt"}
    assert it.run("print(open('digest.txt').read())").strip() == f"{board_files.digest():08x}"
    assert seen[0][0] == 0
    assert seen[-1] == (result.bytes_copied, result.bytes_copied)
    assert lacks(it) == ""
    # The compiled files run on this interpreter: the kernel, in native code, renders a ramp to words.
    said = it.run(
        "from array import array\n"
        "from lineboard import kernel, board\n"
        "state = kernel.new_state()\n"
        "state[kernel.S_OVERHEAD] = 20\n"
        "print(kernel.load(state, 100, 50, 1000, kernel.PLENTY), kernel.__file__)"
    ).split()
    assert said == ["100", "/flash/lineboard/kernel.mpy"]


def test_a_second_time_copies_nothing(board):
    it = board()
    put_code_on(it)
    before = files_of(it)
    again = put_code_on(it)
    assert (again.copied, again.bytes_copied) == (0, 0)
    assert files_of(it) == before


def test_source_instead_of_compiled_and_back(board):
    it = board()
    assert put_code_on(it, compiled=False).architecture is None
    assert {"lineboard/kernel.py", "main.py"} <= set(files_of(it))
    assert it.run("from linewire import messages\nprint(messages.PROTOCOL)").strip() == "1"
    assert put_code_on(it).architecture == "x64"
    assert set(files_of(it)) == {*ON_BOARD, "files.txt", "digest.txt"}


def test_what_the_user_keeps_on_the_board_stays(board):
    it = board()
    it.run("import os\nos.mkdir('mine')")
    for name, text in (("mine/notes.txt", "a"), ("pins.txt", "2 3"), ("main.py", "print(1)")):
        write(it, name, text)
    result = put_code_on(it)
    assert "the previous main.py on the board was renamed main-before-1.py" in result.warnings
    kept = files_of(it)
    assert {"mine/notes.txt", "pins.txt", "main-before-1.py"} <= set(kept)
    # Our own main.py is replaced, a foreign second one is kept.
    write(it, "main.py", "print(2)")
    assert "the previous main.py on the board was renamed main-before-2.py" in put_code_on(it).warnings
    assert it.run("print(open('main-before-1.py').read(), open('main-before-2.py').read())").split() == [
        "print(1)",
        "print(2)",
    ]
    assert files_of(it)["pins.txt"] == kept["pins.txt"]


def test_a_damaged_file_is_seen_and_replaced(board):
    it = board()
    put_code_on(it)
    good = files_of(it)
    write(it, "lineboard/pen.mpy", "M")
    assert put_code_on(it).copied == len(ON_BOARD)
    assert files_of(it) == good


@pytest.fixture
def versions(tmp_path, monkeypatch):
    """Two small versions of the board's code; returns a function that selects the shipped one."""
    real_main = next(file.path for file in board_files.listed() if file.name == "main.py")
    names = ("lineboard/__init__.py", "lineboard/a.py", "linewire/__init__.py", "linewire/deep/b.py")

    def ship(version):
        folder = tmp_path / f"version{version}"
        files = [board_files.BoardFile("main.py", real_main)]
        for name in names:
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(f"VERSION = {version}\n" * 40, encoding="utf-8")
            files.append(board_files.BoardFile(name, path))
        monkeypatch.setattr(board_files, "listed", lambda: tuple(files))

    return ship


def standing_code(board):
    """The installed files, without those being copied or removed."""
    found = files_of(board)
    return {name: crc for name, crc in found.items() if not name.startswith(("incoming", "outgoing"))}


def flash_until_unplugged(board, pieces):
    """Flash, and lose power after this number of pieces of code; True if flashing was complete before."""
    board.pieces, board.unplug_after = 0, pieces
    try:
        put_code_on(board, compiled=False)
    except PortError:
        board.unplug()
        board.unplug_after = None
        board.plug_in()
        return False
    board.unplug_after = None
    return True


@pytest.mark.slow
@pytest.mark.parametrize("old", [False, True])
def test_unplugged_anywhere_the_board_has_the_old_code_or_the_new_or_says_what_is_missing(board, versions, old):
    it = board()
    if old:
        versions(1)
        put_code_on(it, compiled=False)
    before = standing_code(it)
    image = it.image()
    versions(2)
    put_code_on(it, compiled=False)
    after = standing_code(it)
    seen = []
    for pieces in range(200):
        it.set_image(image)
        over = flash_until_unplugged(it, pieces)
        found = standing_code(it)
        seen.append("before" if found == before else "after" if found == after else "neither")
        if seen[-1] == "neither":
            assert "digest.txt" not in found
            assert lacks(it)
        # In all cases the next attempt completes.
        put_code_on(it, compiled=False)
        assert files_of(it) == after
        if over:
            break
    assert seen[0] == "before"
    assert seen[-1] == "after"
    assert seen == sorted(seen, key=["before", "neither", "after"].index)


def test_power_lost_while_the_folders_change_places(board, versions):
    versions(1)
    it = board()
    put_code_on(it, compiled=False)
    image = it.image()
    versions(2)
    said = set()
    for line in range(1, 30):
        it.set_image(image)
        lines = []

        def cut(code, line=line, lines=lines):
            if "files.txt" not in code or "put(" not in code:
                return code
            lines[:] = code.splitlines()
            return "\n".join([*lines[:line], "raise RuntimeError('power')"])

        it.spoil = cut
        with pytest.raises(FlashError, match="RuntimeError: power"):
            put_code_on(it, compiled=False)
        it.spoil = None
        it.unplug()
        it.plug_in()
        assert "digest.txt" not in standing_code(it)
        said.add(lacks(it))
        assert put_code_on(it, compiled=False).files == 5
        assert it.run("from lineboard import a\nprint(a.VERSION)").strip() == "2"
        if line == len(lines):
            break
    assert "copying it was interrupted" in said
    assert "2 of its files are missing, such as lineboard/__init__.py" in said


def test_what_has_arrived_is_not_copied_again(board, versions):
    versions(1)
    it = board()
    assert not flash_until_unplugged(it, 22)
    arrived = [name for name in files_of(it) if name.startswith("incoming/")]
    assert arrived
    assert put_code_on(it, compiled=False).copied == 5 - len(arrived) + 1  # the last one was truncated


def test_a_full_board_is_refused_before_anything_is_written(board):
    it = board(blocks=20)  # 80 kB
    with pytest.raises(FlashError, match=r"flash is full: \d+ bytes are free, \d+ are needed") as caught:
        put_code_on(it)
    assert "mpremote fs rm" in caught.value.hint
    assert files_of(it) == {}


def test_as_much_room_as_is_asked_for_is_enough(board, monkeypatch):
    monkeypatch.setattr(flashing, "SPARE_BYTES", 0)
    with pytest.raises(FlashError) as caught:
        put_code_on(board(blocks=20))
    needed, free = (int(re.search(rf"(\d+) (bytes )?are {what}", str(caught.value))[1]) for what in ("needed", "free"))
    # The space of an empty file system is additional.
    it = board(blocks=needed // 4096 + 20 - free // 4096)
    put_code_on(it)
    assert set(files_of(it)) == {*ON_BOARD, "files.txt", "digest.txt"}


@pytest.mark.parametrize("error", [FlashError("refused"), KeyboardInterrupt()])
def test_a_board_that_keeps_its_code_is_started_again(board, error):
    started = threading.Event()
    it = board(on_start=lambda fd, quit_fd: started.set())
    with pytest.raises(type(error)), Prompt(it.path):
        raise error
    assert started.wait(60)


def test_a_board_that_fills_up_on_the_way_gets_its_room_back(board, monkeypatch):
    it = board(blocks=20)
    monkeypatch.setattr(flashing, "SPARE_BYTES", -(1 << 20))  # as if the checksum were wrong
    with pytest.raises(FlashError, match="flash is full"):
        put_code_on(it)
    assert files_of(it) == {}


def test_a_flash_that_forgets_is_noticed(board):
    it = board()
    it.spoil = lambda code: code.replace("f.close()", "f.seek(0)\nf.write(b'?')\nf.close()")
    with pytest.raises(FlashError, match="differ from what was written") as caught:
        put_code_on(it)
    assert "worn out" in caught.value.hint
    it.spoil = None
    assert put_code_on(it).copied == len(ON_BOARD)


def test_compiled_files_of_another_version_become_source(board, monkeypatch):
    real = flashing.look
    # The same processor, native code of version 1 instead of 3.
    monkeypatch.setattr(
        flashing, "look", lambda prompt: (f := real(prompt)) and dataclasses.replace(f, mpy=f.mpy & ~0x300 | 0x100)
    )
    it = board()
    result = put_code_on(it)
    assert result.architecture is None
    assert "version 6.1, and mpy-cross makes 6.3 here" in " ".join(result.warnings)
    assert "lineboard/kernel.py" in files_of(it)


def test_a_board_that_takes_no_compiled_files_gets_source(board, monkeypatch):
    real = flashing.look
    monkeypatch.setattr(flashing, "look", lambda prompt: dataclasses.replace(real(prompt), mpy=0))
    assert put_code_on(board()).architecture is None


class Scripted:
    """A prompt with a given report of its version."""

    def __init__(self, account):
        self._account = account

    def run(self, code):
        if isinstance(self._account, Exception):
            raise self._account
        return self._account


@pytest.mark.parametrize(
    ("account", "message"),
    [
        ("('circus', (9, 2, 1), 'rp2', 'a board', 0, 100000, 900000, 4096)\n", "runs circus 9.2.1, not MicroPython"),
        (
            "('micropython', (1, 22, 2), 'rp2', 'a board', 0, 9, 9, 9)\n",
            "MicroPython 1.22.2; 1.23.0 or later is needed",
        ),
        ("no idea\n", "does not report its version"),
        ("('micropython',)\n", "does not report its version"),
        (PromptError("ImportError: no module named 'gc'"), "no module named 'gc'"),
    ],
)
def test_what_is_not_micropython_or_too_old_is_refused_with_instructions(account, message):
    with pytest.raises(FlashError, match=message) as caught:
        flash(Scripted(account))
    for word in ("MicroPython 1.23 or later", ".uf2", "BOOTSEL"):
        assert word in caught.value.hint


def test_no_prompt_at_all(board, monkeypatch, capsys):
    monkeypatch.setattr(prompt, "ENTER_S", 0.3)
    monkeypatch.setattr(prompt, "ANSWER_S", 0.3)
    it = board()
    it.talks = False
    with pytest.raises(NoAnswer, match="no MicroPython prompt") as caught:
        Prompt(it.path)
    assert "BOOTSEL" in caught.value.hint
    assert capsys.readouterr().out == ""


def test_no_such_port():
    with pytest.raises(PortError, match="there is no port"):
        Prompt("/dev/no-such-port")


def test_mpremote_missing(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "mpremote.transport_serial", None)
    with pytest.raises(InputError, match=r"mpremote, .*, is not installed") as caught:
        Prompt("/dev/null")
    assert caught.value.hint == "pip install 'linewright[board]'"


# The installed main.py if the code cannot start.


def explained(board, what, asked):
    """The answer of `main.explain` to these bytes."""
    said = board.run(
        "import main, io\n"
        f"i = io.BytesIO({asked!r})\no = io.BytesIO()\n"
        f"main.explain({what!r}, i.read, o.write)\nprint(repr(o.getvalue()))"
    )
    return eval(said)


def test_an_incomplete_board_answers_frames_with_words_until_the_prompt_is_wanted(board):
    it = board()
    put_code_on(it)
    it.run("import os\nos.remove('digest.txt')")
    assert lacks(it) == "copying it was interrupted"
    it.run("os.remove('files.txt')")
    assert lacks(it) == "copying it was interrupted"
    words = b"linewright: the board's code cannot start: x\r\n"
    assert explained(it, "x", b"\x00\x05abc\x00 \x03 \r \r\x03") == words * 4
    assert explained(it, "x", b"\r\x03") == words


def test_the_host_understands_those_words():
    from linewright.board.conversation import Conversation

    class Line:
        said = b"MPY: soft reboot\r\nlinewright: the board's code cannot start: 3 of its files are missing\r\n"

        def read(self, most, timeout_s):
            said, self.said = self.said, b""
            return said

        def write(self, data):
            pass

    with pytest.raises(NoAnswer, match="the board says: the board's code cannot start: 3 of its files") as caught:
        Conversation(Line()).ask("ask")
    assert "linewright board flash" in caught.value.hint


# The command.


@pytest.fixture(autouse=True)
def _own_state(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.mark.parametrize("port", ["virtual", "socket:127.0.0.1:9", "serial:", "tty"])
def test_only_a_serial_port_can_be_flashed(port, capsys):
    assert cli.run(["board", "flash", "--port", port, "--json"]) == cli.EXIT_INPUT
    said = json.loads(capsys.readouterr().out)
    assert "serial port" in said["error"]


@pytest.fixture
def greeter():
    """In place of the microcontroller's port, a virtual rig answers at the other end of the line."""
    # Started beforehand, because a process started while the host opens the port would block it briefly.
    rig = subprocess.Popen([sys.executable, "-m", "linewright.virtual", "--stay"], stdout=subprocess.PIPE, text=True)
    host, _, port = rig.stdout.readline().strip().removeprefix("listening on ").rpartition(":")

    def on_start(fd, quit_fd):
        with socket.create_connection((host, int(port)), timeout=20) as other:
            before = b"\0"
            while True:
                readable, _, _ = select.select([fd, other, quit_fd], [], [])
                if quit_fd in readable:
                    return
                if fd in readable:
                    byte = os.read(fd, 1)  # one byte, because bytes after such a request are for the prompt
                    before = (before + byte)[-3:]
                    if before == b"\0\r\x03":  # after a whole frame; within one, a checksum may look like it
                        return
                    other.sendall(byte)
                if other in readable:
                    if not (said := other.recv(4096)):
                        return
                    os.write(fd, said)

    def until_it_ends(fd, quit_fd):
        with contextlib.suppress(ConnectionError):  # the rig is ended before the board is unplugged
            on_start(fd, quit_fd)

    yield until_it_ends
    rig.terminate()
    rig.wait(60)
    rig.stdout.close()


def explains(fd, quit_fd):
    """As `main.explain` does, without its end."""
    while True:
        readable, _, _ = select.select([fd, quit_fd], [], [])
        if quit_fd in readable:
            return
        if 0 in os.read(fd, 4096):
            os.write(fd, b"linewright: the board's code cannot start: MemoryError: \r\n")


def test_flash_copies_starts_and_greets(board, greeter, capsys):
    it = board(on_start=greeter)
    assert cli.run(["board", "flash", "--port", f"serial:{it.path}", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["digest"] == f"{board_files.digest():08x}"
    assert said["files"] == said["copied"] == len(ON_BOARD)
    assert said["architecture"] == "x64"
    assert said["flash_free_bytes"] > 0
    # It was tested, but without a named rig it received no settings.
    assert [(check["name"], check["outcome"]) for check in said["checks"]] == [
        ("link", "passed"),
        ("code", "passed"),
        ("queue", "passed"),
    ]
    assert said["passed"]
    # `board info` by the same port.
    it.unplug()
    it.plug_in()
    assert lacks(it) == ""


def test_flash_for_people(board, greeter, capsys):
    it = board(on_start=greeter)
    assert cli.run(["board", "flash", "--port", f"serial:{it.path}", "--source"]) == 0
    out, errors = capsys.readouterr()
    assert "as source, which the board compiles itself" in out
    assert f"{board_files.digest():08x}" in out
    assert [line.partition(":")[0] for line in errors.splitlines()] == ["machine", "note"]
    assert re.search(r"^link +passed", out, re.MULTILINE)


def test_flash_with_a_rig_file_tests_the_board_with_it(board, greeter, tmp_path, capsys):
    rig_file = tmp_path / "rig.toml"
    rig_file.write_text(Rig.default_text(), encoding="utf-8")
    it = board(on_start=greeter)
    assert cli.run(["board", "flash", "--port", f"serial:{it.path}", "--rig", str(rig_file), "--json"]) == 0
    said = capsys.readouterr()
    assert {check["name"]: check["outcome"] for check in json.loads(said.out)["checks"]} == {
        "link": "passed",
        "code": "passed",
        "rig": "passed",
        "state": "passed",
        "position": "note",
        "endstops": "passed",
        "pen": "passed",
        "queue": "passed",
        "clock": "not run",
    }
    assert "caution" in said.err, "the pen rises"


def test_a_check_that_fails_fails_flashing(board, greeter, monkeypatch, capsys):
    monkeypatch.setattr("linewright.board.self_test.QUEUE_RECORDS", 10_000)
    it = board(on_start=greeter)
    assert cli.run(["board", "flash", "--port", f"serial:{it.path}", "--json"]) == cli.EXIT_LINK
    said = json.loads(capsys.readouterr().out)
    assert not said["passed"]
    assert said["checks"][-1]["outcome"] == "failed"


def test_update_replaces_other_code_alone_and_keeps_the_files_of_the_user(board, greeter, monkeypatch, capsys):
    it = board(on_start=greeter)
    put_code_on(it)
    write(it, "notes.txt", "mine")
    with Prompt(it.path) as found:
        found.restart()
    before = files_of(it)
    asked = ["board", "update", "--port", f"serial:{it.path}"]
    assert cli.run(asked) == 0
    out, _ = capsys.readouterr()
    assert "nothing to do" in out
    assert f"{board_files.digest():08x}" in out
    assert files_of(it) == before

    write(it, "lineboard/kernel.mpy", "of another version")
    heard = []
    hello = Session.hello

    def of_another_version(session, *given):
        greeting = hello(session, *given)
        heard.append(greeting)
        if len(heard) == 1:
            greeting = session.greeting = dataclasses.replace(greeting, digest=0xBEEF)
        return greeting

    monkeypatch.setattr(Session, "hello", of_another_version)
    assert cli.run([*asked, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["before"], said["updated"], said["passed"]) == ("0000beef", True, True)
    assert said["digest"] == f"{board_files.digest():08x}"
    assert said["copied"] == said["files"], "whole folders change places"
    it.unplug()
    it.plug_in()
    assert files_of(it) == before


def test_update_gives_its_code_to_a_board_that_has_none(board, greeter, monkeypatch, capsys):
    it = board(on_start=greeter)
    hello = Session.hello
    monkeypatch.setattr(Session, "hello", lambda session, limit_s=0.5: hello(session, limit_s))
    assert cli.run(["board", "update", "--port", f"serial:{it.path}"]) == 0
    out, errors = capsys.readouterr()
    assert "no code with this protocol version answers" in out + errors
    assert re.search(r"^code +passed", out, re.MULTILINE)


def test_flash_says_when_the_board_does_not_start_afterwards(board, capsys):
    it = board(on_start=explains)
    assert cli.run(["board", "flash", "--port", f"serial:{it.path}", "--json"]) == cli.EXIT_LINK
    assert "cannot start: MemoryError" in json.loads(capsys.readouterr().out)["error"]


def test_flash_unplugged_half_way_names_what_to_do(board, capsys):
    it = board()
    it.unplug_after = 40
    assert cli.run(["board", "flash", "--port", f"serial:{it.path}", "--json"]) == cli.EXIT_LINK
    said = json.loads(capsys.readouterr().out)
    assert "has disappeared" in said["error"]
    assert "continues where it stopped" in said["hint"]


def test_flash_stopped_with_ctrl_c_leaves_the_board_running(board, monkeypatch, capsys):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    started = threading.Event()
    it = board(on_start=lambda fd, quit_fd: started.set())
    monkeypatch.setattr(flashing, "_copy", interrupted)
    assert cli.run(["board", "flash", "--port", f"serial:{it.path}", "--json"]) == cli.EXIT_STOPPED
    said = json.loads(capsys.readouterr().out)
    assert "still runs its previous code" in said["error"]
    assert "continues where it stopped" in said["hint"]
    assert started.wait(60)
