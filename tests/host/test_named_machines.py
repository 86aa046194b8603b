"""No command opens a machine's port before it has said on the screen which machine it is about."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

from linewright import cli
from linewright.cli.app import app
from linewright.errors import PortError
from linewright.rig.rig import Rig

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
    ("sheet", "find"): [],
}
"""Every command that takes a port, and what it cannot be without."""
ELSEWHERE = {("desk",), ("resume",)}
"""The desk shows its machine on its page; resume needs a drawing that was broken off (`test_cli_drawing`)."""


def commands(group: object, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], list[str]]]:
    """Every command with the names of its parameters."""
    inner = getattr(group, "commands", None)
    if not inner:
        yield path, [parameter.name for parameter in group.params]  # type: ignore[attr-defined]  # what has no commands is one itself, of click
        return
    for name, one in inner.items():
        yield from commands(one, (*path, name))


def test_every_command_with_a_port_is_listed_here():
    found = {path for path, names in commands(typer.main.get_command(app)) if "port" in names}
    assert found == set(ASKED) | ELSEWHERE


@pytest.fixture
def opened(tmp_path, monkeypatch, capsys):
    """What was on the screen each time that a port was to be opened; none ever is."""
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


@pytest.mark.parametrize("path", ASKED)
def test_a_machine_is_named_before_its_port_is_opened(path, opened):
    before = Path("rig.toml").read_bytes()
    port = "serial:/dev/none" if path == ("board", "flash") else PORT
    code = cli.run([*path, *ASKED[path], "--rig", "rig.toml", "--port", port])
    assert code != 70
    assert all(NAME in screen or "rig.toml" in screen for screen in opened[:1])
    assert Path("rig.toml").read_bytes() == before
    assert opened or code
