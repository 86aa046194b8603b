"""Choice of the machine by commands, its announcement, and separation of simulations."""

from __future__ import annotations

import json
import re
from types import SimpleNamespace

import pytest
from typer.main import get_command

from linewright import cli
from linewright.board import machines, ports
from linewright.bringup import steps
from linewright.cli import next_steps, target
from linewright.cli.app import app
from linewright.cli.terminal import Terminal
from linewright.errors import InputError, PortError
from linewright.rig.rig import Rig
from linewright.run import log as drawing_log
from linewright.tasks.connection import connected

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm"><path stroke="#123" d="M5 5H20V15"/></svg>'
REAL = Rig.default_text().replace('board = "virtual"', 'board = "rp2040"').replace('name = "default"', 'name = "quay"')


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "real.toml").write_text(REAL)
    next_steps.know(lambda: get_command(app))
    (tmp_path / "corner.svg").write_text(SVG)
    return tmp_path


def run(capsys, *words):
    code = cli.run(words)
    said = capsys.readouterr()
    return code, said.out, said.err


@pytest.mark.parametrize(
    "words",
    [
        ("draw", "corner.svg"),
        ("exercise",),
        ("board", "info"),
        ("board", "check"),
        ("board", "home"),
        ("board", "bring-up"),
        ("board", "jog", "1", "1"),
        ("board", "pen", "up"),
        ("board", "cut"),
    ],
)
def test_a_real_machine_is_never_silently_the_virtual_rig(words, capsys):
    code, out, err = run(capsys, *words, "--rig", "real.toml")
    assert code == 2
    assert "no port is known for quay (real.toml)" in err
    assert "--port serial:PATH" in err
    assert "--port virtual" in err
    assert out == ""
    assert drawing_log.entries() == []


def test_a_simulation_is_asked_for_said_and_marked(capsys):
    code, out, err = run(capsys, "draw", "corner.svg", "--rig", "real.toml", "--port", "virtual")
    assert code == 0
    assert "SIMULATION of quay (real.toml) on the virtual rig: nothing real moves" in err
    assert "SIMULATION" in out
    (entry,) = drawing_log.entries()
    assert entry.rehearsal == 1
    assert "SIMULATION, finished" in run(capsys, "log")[1]
    run(capsys, "draw", "corner.svg")  # the default rig is virtual, so this is not a simulation
    assert drawing_log.entries(1)[0].rehearsal == 0


@pytest.mark.parametrize("words", [("--port", "virtual"), ("--show-me",)])
def test_a_simulated_bring_up_changes_nothing_but_a_copy(words, place, capsys, monkeypatch):
    import os

    typed, writing = os.pipe()
    os.write(writing, b"\n\n\nyes\nyes\n\nleft\n\nright\n\nstop\n")
    os.close(writing)
    # Up to the pen's heights, which a simulation measures.
    monkeypatch.setattr(steps, "STEPS", steps.STEPS[:6])
    stdin = os.fdopen(typed)
    monkeypatch.setattr("sys.stdin", stdin)
    port = "virtual:reversed_a=1" if words[0] == "--port" else None
    code, out, err = run(
        capsys, "board", "bring-up", "--rig", "real.toml", *((words[0], port) if port else words), "--json"
    )
    stdin.close()
    assert code == (130 if port else 0), err
    said = json.loads(out)
    assert said["rehearsal"]
    assert said["corrections"]
    assert (place / "real.toml").read_text() == REAL
    assert (place / "real.rehearsal.toml").read_text() != REAL
    assert "the copy real.rehearsal.toml" in re.sub(r"\s+", " ", err)
    assert sorted(path.name for path in place.glob("real*")) == [
        "real.rehearsal.toml",
        "real.rehearsal.toml.before-1",
        "real.toml",
    ]


def test_the_usual_rig_needs_no_naming(capsys):
    assert run(capsys, "rig", "use", "real.toml")[0] == 0
    code, _, err = run(capsys, "board", "home", "--port", "virtual")
    assert code == 0
    assert "quay (real.toml, the usual rig)" in err
    # Another rig can still be named, also the default one.
    assert "the default rig on the virtual rig" in run(capsys, "board", "home", "--rig", "default")[2]
    assert run(capsys, "rig", "use", "--none")[0] == 0
    assert "the default rig" in run(capsys, "board", "home")[2]


def test_the_rig_without_a_file_can_be_the_usual_one(place, capsys):
    (place / "any.toml").write_text(Rig.default_text())
    assert cli.run(["rig", "use", "any.toml"]) == 0
    assert machines.usual() is not None
    assert cli.run(["rig", "use", "default"]) == 0
    assert "commands use the default rig" in capsys.readouterr().out
    assert machines.usual() is None


def test_a_usual_rig_that_is_gone_is_said(place, capsys):
    run(capsys, "rig", "use", "real.toml")
    (place / "real.toml").unlink()
    code, _, err = run(capsys, "plan", "corner.svg")
    assert code == 2
    assert "linewright rig use FILE" in err


def test_a_damaged_memory_is_an_empty_one(place):
    machines.use(place / "real.toml")
    for damage in ("", "{", "[]", '{"usual": 3}', '{"usual": "", "met": [{}]}'):
        machines.FILE.path.write_text(damage)
        assert machines.memory() == machines.Memory()


def aim(rig_file="real.toml", port=None):
    return target.aim(None if rig_file is None else machines.Path(rig_file), port, said=False)


def test_the_port_is_remembered_by_rig_file(place):
    machines.met(place / "real.toml", board="rp2040", unique="e66", port="serial:/dev/a")
    assert aim().port == "serial:/dev/a"
    assert aim(port="virtual").port == "virtual"  # a named rig takes precedence
    machines.met(place / "real.toml", board="rp2040", unique="e66", port="serial:/dev/b")
    assert aim().port == "serial:/dev/b"
    assert len(machines.memory().met) == 1
    (place / "ladder.toml").write_text(REAL)
    with pytest.raises(InputError, match="no port is known"):
        aim("ladder.toml")
    machines.describes(place / "ladder.toml", place / "real.toml")
    assert aim("ladder.toml").port == "serial:/dev/b"


class FakeSession:
    """A board that identifies itself."""

    def __init__(self, unique, board="rp2040"):
        self.unique = unique
        self.greeting = SimpleNamespace(board=board, same_code=True)

    def hello(self):
        return self.greeting

    def unique_id(self):
        return self.unique


def test_a_board_is_found_again_on_another_port(place, monkeypatch, capsys):
    machines.met(place / "real.toml", board="rp2040", unique="e66", port="serial:/dev/a")
    opened = []

    def opening(port, rig=None):
        opened.append(port)
        if port == "serial:/dev/a":
            raise PortError("there is no port /dev/a")
        return SimpleNamespace(close=lambda: None)

    monkeypatch.setattr("linewright.virtual.port.open_transport", opening)
    monkeypatch.setattr("linewright.board.session.Session", lambda link, rig: FakeSession("e66"))
    # By the serial number of its USB device.
    monkeypatch.setattr(ports, "listed", lambda: [ports.Seen("serial:/dev/b", "board", "e66")])
    with connected(aim(), Terminal(as_json=False)) as (_, at):
        assert at.port == "serial:/dev/b"
    assert opened == ["serial:/dev/b"]
    assert "is on serial:/dev/b now" in capsys.readouterr().err
    assert aim().port == "serial:/dev/b"
    # By querying the board if USB has no serial number.
    machines.met(place / "real.toml", board="rp2040", unique="e66", port="serial:/dev/a")
    there = [ports.Seen("serial:/dev/c", "adapter"), ports.Seen("serial:/dev/d", "adapter")]
    monkeypatch.setattr(ports, "listed", lambda: there)
    monkeypatch.setattr(
        ports, "asked", lambda seen: ports.Seen(seen.port, "", unique="e66" if seen.port.endswith("d") else "")
    )
    with connected(aim(), Terminal(as_json=False)) as (_, at):
        assert at.port == "serial:/dev/d"


def test_another_board_on_the_port_is_not_taken_for_the_one_that_is_meant(place, monkeypatch):
    machines.met(place / "real.toml", board="rp2040", unique="e66", port="serial:/dev/a")
    monkeypatch.setattr(
        "linewright.virtual.port.open_transport", lambda port, rig=None: SimpleNamespace(close=lambda: None)
    )
    monkeypatch.setattr("linewright.board.session.Session", lambda link, rig: FakeSession("e99"))
    monkeypatch.setattr(ports, "listed", list)
    with pytest.raises(InputError, match="answers another board"), connected(aim(), Terminal(as_json=False)):
        pass
    # If its port is named, it is the machine's new board.
    with connected(aim(port="serial:/dev/a"), Terminal(as_json=False)) as (_, at):
        assert at.unique == "e99"
    assert machines.memory().of(place / "real.toml").unique == "e99"


def test_a_virtual_board_behind_a_socket_is_a_simulation(place, monkeypatch, capsys):
    monkeypatch.setattr(
        "linewright.virtual.port.open_transport", lambda port, rig=None: SimpleNamespace(close=lambda: None)
    )
    monkeypatch.setattr("linewright.board.session.Session", lambda link, rig: FakeSession("", "virtual"))
    aimed = aim(port="socket:127.0.0.1:4000")
    assert not aimed.rehearses
    with connected(aimed, Terminal(as_json=False)) as (_, at):
        assert at.rehearses
    assert "SIMULATION of quay" in capsys.readouterr().err
    assert machines.memory().met == ()


# Printed commands.


def test_a_printed_command_means_the_same_machine(place):
    aim(port="virtual:dead_x=1")
    assert next_steps.command("board", "home") == ("linewright board home --rig real.toml --port virtual:dead_x=1")
    assert next_steps.command("trial", "scale") == "linewright trial scale --rig real.toml"
    assert next_steps.command("rig", "check") == "linewright rig check real.toml"
    assert next_steps.command("rig", "check", "other.toml") == "linewright rig check other.toml"
    assert next_steps.command("draw", "a b.svg", "--rig", "x.toml", "--port", "virtual") == (
        "linewright draw 'a b.svg' --rig x.toml --port virtual"
    )
    assert next_steps.command("methods") == "linewright methods"
    # Required arguments are included.
    assert next_steps.completed("put it on with `linewright board flash`") == (
        "put it on with `linewright board flash --rig real.toml --port serial:PATH`"
    )
    words = "home first: `linewright board home`, or see `linewright methods`; nothing of `linewright nonsense`"
    assert next_steps.completed(words) == (
        "home first: `linewright board home --rig real.toml --port virtual:dead_x=1`, or see `linewright methods`; "
        "nothing of `linewright nonsense`"
    )


def test_the_usual_machine_needs_nothing_added(place):
    machines.use(place / "real.toml")
    machines.met(place / "real.toml", board="rp2040", unique="e66", port="serial:/dev/a")
    aim(None)
    assert next_steps.command("board", "home") == "linewright board home"
    aim("real.toml")
    assert next_steps.command("board", "home") == "linewright board home"
    aim("default")
    assert next_steps.command("board", "home") == "linewright board home --rig default"
