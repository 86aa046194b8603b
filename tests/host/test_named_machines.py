"""Commands name a machine on the screen before they open its port or write its files."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from linewright import cli
from linewright.cli.app import app
from linewright.cli.exit_codes import EXIT_INPUT
from linewright.drawing.strokes import Drawing
from linewright.errors import InputError, PortError
from linewright.motion import plan
from linewright.rig import edit
from linewright.rig.rig import Rig
from linewright.run.journal import Journal

NAME = "the boathouse machine"
PORT = "socket:127.0.0.1:9"
ASKED = {
    ("draw",): ["lines.svg", "--keep"],
    ("guess",): [],
    ("exercise",): ["--yes"],
    ("board", "flash"): [],
    ("board", "info"): [],
    ("board", "check"): [],
    ("board", "home"): [],
    ("board", "bring-up"): [],
    ("board", "jog"): ["10", "10"],
    ("board", "pen"): ["up"],
    ("board", "cut"): [],
    ("board", "update"): [],
    ("sheet", "find"): [],
}
"""Every command that takes a port, with its required arguments."""
ELSEWHERE = {("desk",), ("resume",)}
"""Tested separately: the desk serves a page, and resume needs an interrupted drawing."""
READ = {
    ("lines",): ["lines.svg", "-o", "strokes.svg"],
    ("compare",): ["none.jpg"],
    ("plan",): ["lines.svg", "--keep", "--no-pictures"],
    ("surprise",): ["--sheet", "1x1mm"],
    ("trial",): ["backlash"],
    ("tape",): ["none.tape"],
    ("arrange", "list"): ["card.toml"],
    ("rig", "check"): [],
    ("rig", "wiring"): [],
    ("rig", "show"): [],
}
"""Every command that only reads a rig file, with arguments that make it read the file or refuse."""
WRITE = {("fit",), ("tune",), ("rig", "new"), ("rig", "use")}
"""Every command that writes about a machine without moving it: each is tried below."""
NO_MACHINE = {
    ("methods",): [],
    ("virtual",): ["--faults"],
    ("log",): [],
    ("ports",): [],
    ("arrange", "add"): ["card.toml", "lines.svg"],
    ("arrange", "move"): ["card.toml", "words", "--by", "1,1"],
    ("arrange", "remove"): ["card.toml", "words"],
    ("maker", "example"): [],
    ("maker", "new"): [],
    ("maker", "check"): [],
    ("words", "list"): [],
    ("words", "sheet"): ["words.svg", "heron"],
    ("words", "add"): ["lines.svg", "--name", "quayline"],
    ("rig", "default"): [],
    ("rig", "schema"): [],
}
"""Every command that uses no machine of the user, or, like `virtual`, only a simulated one."""


def commands(group: object, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], list[str]]]:
    """Every command with the names of its parameters."""
    inner = getattr(group, "commands", None)
    if not inner:
        yield path, [parameter.name for parameter in group.params]  # type: ignore[attr-defined]  # a click object without subcommands is a command
        return
    for name, one in inner.items():
        yield from commands(one, (*path, name))


def test_every_command_is_listed_here():
    known = dict(commands(typer.main.get_command(app)))
    assert {path for path, names in known.items() if "port" in names} == set(ASKED) | ELSEWHERE
    told = set(ASKED) | ELSEWHERE | set(READ) | WRITE | {("virtual",)}
    assert {path for path, names in known.items() if "rig_file" in names} <= told
    listed = [*ASKED, *ELSEWHERE, *READ, *WRITE, *NO_MACHINE]
    assert sorted(listed) == sorted(known)


@pytest.mark.parametrize("path", [*READ, *NO_MACHINE], ids=" ".join)
def test_a_command_that_only_reads_names_its_machine_and_changes_nothing_about_any(path, opened, monkeypatch, capsys):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(Path("elsewhere").resolve()))
    Path("card.toml").write_text('sheet = "A6"\n[[item]]\nid = "words"\ntext = "Quay"\n')
    assert cli.run(["rig", "use", "rig.toml"]) == 0
    capsys.readouterr()
    kept = [Path("rig.toml"), Path("state/linewright/machines.json")]
    before = [path.read_bytes() for path in kept]
    if path in READ:
        assert cli.run([*path, *READ[path]]) != 70
        said = "".join(capsys.readouterr())
        assert NAME in said or "rig.toml" in said
    else:
        assert cli.run([*path, *NO_MACHINE[path]]) != 70
    assert [path.read_bytes() for path in kept] == before
    assert opened == []


@pytest.fixture
def opened(tmp_path, monkeypatch, capsys):
    """The screen at each attempt to open a port; no port is opened."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    Path("rig.toml").write_text(Rig.default_text().replace('name = "default"', f'name = "{NAME}"'))
    Path("lines.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="20mm" viewBox="0 0 20 20">'
        '<path d="M2 2h9" stroke="black" fill="none"/></svg>'
    )
    screens: list[str] = []

    def refuse(*_: object, **__: object) -> None:
        said = capsys.readouterr()
        screens.append(said.out + said.err)
        raise PortError("nothing is opened here")

    for where in ("linewright.virtual.port.open_transport", "linewright.board.transport.open_pyserial"):
        monkeypatch.setattr(where, refuse)
    monkeypatch.setattr("linewright.board.ports.listed", list)
    with Path(os.devnull).open() as nobody:
        monkeypatch.setattr("sys.stdin", nobody)
        yield screens


def test_resume_names_the_machine_of_the_drawing_before_its_port_is_opened(opened):
    strokes = [[(40.0, 40.0), (60.0, 40.0)], [(40.0, 50.0), (60.0, 50.0)]]
    program = plan(Drawing.from_strokes(strokes), Rig.load("rig.toml"))
    with Journal.create(program, picture="lines.svg", rig_file=Path("rig.toml").resolve(), port=PORT) as book:
        book.begin(1, 0)
    assert cli.run(["resume", "--yes"]) != 0
    assert NAME in opened[0]


def test_the_desk_names_its_machine_before_its_page_is_served(opened, monkeypatch, capsys):
    screens = []
    monkeypatch.setattr("linewright.desk.server.serve", lambda *_: screens.append("".join(capsys.readouterr())))
    assert cli.run(["desk", "--rig", "rig.toml", "--no-browser"]) == 0
    assert NAME in screens[0]
    assert opened == []


MEASURED = [
    "1-3=161",
    "4-6=161",
    "7-9=161",
    "1-7=240",
    "2-8=240",
    "3-9=240",
    "1-9=289",
    "3-7=289",
    "1-6=201",
    "3-4=201",
    "4-9=201",
    "6-7=201",
]
"""The sheet of a machine that is 0.6 % too large along x: Pythagoras."""


def test_a_machine_is_named_before_its_file_is_written(opened, monkeypatch, capsys):
    screens = []
    written = edit.replacing

    def seen(path):
        screens.append("".join(capsys.readouterr()))
        return written(path)

    monkeypatch.setattr("linewright.rig.edit.replacing", seen)
    before = Path("rig.toml").read_bytes()
    for words in (["fit", "squareness", *MEASURED], ["fit", "--undo"]):
        assert cli.run([*words, "--rig", "rig.toml"]) == 0
    assert Path("rig.toml").read_bytes() == before
    assert len(screens) >= 2
    assert all(NAME in screen for screen in screens)

    def ended(*_, **__):
        screens.append("".join(capsys.readouterr()))
        raise InputError("nothing is tuned here")

    monkeypatch.setattr("linewright.tasks.tuning.tune", ended)
    assert cli.run(["tune", "lines.svg", "--rig", "rig.toml"]) == EXIT_INPUT
    assert NAME in screens[-1]
    assert opened == []


def test_a_new_machine_is_named_before_its_file_is_written_and_the_usual_one_when_it_changes(
    opened, monkeypatch, capsys
):
    screens = []

    def written(data, path, **_):
        screens.append("".join(capsys.readouterr()))
        Path(path).write_bytes(data)

    monkeypatch.setattr("linewright.cli.new_rig.write_file", written)
    assert cli.run(["rig", "new", "-o", "new.toml", "--usual", "--answer", "name=the ferry machine"]) == 0
    assert "the ferry machine (new.toml)" in screens[0]
    capsys.readouterr()
    assert cli.run(["rig", "use", "rig.toml"]) == 0
    assert f"{NAME} (rig.toml) is the usual rig" in "".join(capsys.readouterr())
    assert opened == []


@pytest.mark.parametrize("path", ASKED)
def test_a_machine_is_named_before_its_port_is_opened(path, opened):
    before = Path("rig.toml").read_bytes()
    port = "serial:/dev/none" if path in {("board", "flash"), ("board", "update")} else PORT
    code = cli.run([*path, *ASKED[path], "--rig", "rig.toml", "--port", port])
    assert code != 70
    assert all(NAME in screen or "rig.toml" in screen for screen in opened[:1])
    assert Path("rig.toml").read_bytes() == before
    assert opened or code
