"""Malicious or damaged input from files, devices and boards: clear errors, bounded memory and time."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from linewire import messages
from linewright import cli
from linewright.board.conversation import Conversation
from linewright.cli import output
from linewright.errors import InputError, LinkError, PortBusy
from linewright.files import read_bounded
from linewright.maker.setup import load_maker
from linewright.planning import arrangement_file
from linewright.rig.rig import Rig
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.tape import TapeReader, TapeWriter
from linewright.tasks import connection, target
from linewright.tasks.front import Quiet

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="100" height="100">{}</svg>'


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.mark.parametrize("opening", [":not(", ":is(", "a:has("])
def test_a_selector_nested_without_end_costs_its_rule_alone(opening, capsys):
    closing = ")" * 3000
    style = f"<style>{opening * 3000}a{closing} {{fill:red}} line {{stroke:black}}</style>"
    Path("deep.svg").write_text(SVG.format(style + '<line x1="0" y1="0" x2="50" y2="50"/>'))
    assert cli.run(["lines", "deep.svg", "-o", "out.svg"]) == 0, capsys.readouterr().err


def test_no_name_acts_on_the_terminal(capsys):
    """ECMA-48: ESC and the C1 controls begin sequences; U+202E reverses the displayed order."""
    evil = "\x1b]0;x\x07 \x9b2J \x85 \u202eabc \x7f"
    for say in (output.say, output.prose, output.warn):
        say(f"layer {evil}\tb\nnext")
    output.error(evil, evil, as_json=False)
    output.console().print(evil)
    output.emit_json({"name": evil})
    said = capsys.readouterr()
    shown = said.out + said.err
    assert not set(shown) & set("\x1b\x07\x9b\x85\u202e\x7f")
    assert "\\x9b2J" in shown
    assert json.loads(said.out.splitlines()[-1])["name"] == evil


def test_a_file_is_read_to_a_limit():
    Path("large").write_bytes(bytes(1001))
    with pytest.raises(OSError, match="larger than 1,000 bytes"):
        read_bounded("large", 1000)
    Path("small").write_bytes(b"abc")
    assert read_bounded("small", 3) == b"abc"


def test_too_little_memory_is_said_and_is_no_bug(monkeypatch, capsys):
    def short(*_args, **_named):
        raise MemoryError

    monkeypatch.setattr("linewright.planning.pipeline.prepare", short)
    Path("lines.svg").write_text(SVG.format('<path d="M10 10h20" stroke="black" fill="none"/>'))
    assert cli.run(["plan", "lines.svg"]) == 2
    errors = capsys.readouterr().err
    assert "not enough memory for this command" in errors
    assert "bug" not in errors


class Liar:
    """A link with a board that acknowledges, but sends invalid reports."""

    name = "liar"

    def read(self, most, timeout_s):
        return b""

    def write(self, data):
        pass


def test_a_report_of_impossible_values_is_a_fault_of_the_link_and_no_bug():
    talk = Conversation(Liar())
    talk.endpoint.reports = 1
    talk.endpoint.peer_report[:] = bytes([99]) * messages.REPORT_SIZE
    with pytest.raises(LinkError, match="invalid: report: state = 99") as found:
        talk.report()
    assert "flash" in found.value.hint


@pytest.mark.parametrize(
    "port", ["socket:127.0.0.1:99999999999999", "socket:127.0.0.1:0", "socket:a:65536", "socket:::::"]
)
def test_no_such_address(port, capsys):
    assert cli.run(["board", "info", "--port", port]) == 2
    assert "names no port" in capsys.readouterr().err


def test_a_busy_rig_is_called_busy_and_not_looked_for_elsewhere(monkeypatch):
    def held(*_, **__):
        raise PortBusy("/dev/ttyX is busy", hint="close it")

    monkeypatch.setattr("linewright.virtual.port.open_transport", held)
    monkeypatch.setattr("linewright.board.ports.listed", lambda: pytest.fail("looked for on other ports"))
    aimed = target.Target(Rig.default(), None, "serial:/dev/ttyX")
    with pytest.raises(PortBusy, match="is busy"), connection.connected(aimed, Quiet()):
        pass


def test_a_folder_that_cannot_be_written_stops_a_drawing_before_it_begins(monkeypatch, capsys):
    Path("lines.svg").write_text(SVG.format('<path d="M10 10h20" stroke="black" fill="none"/>'))
    Path("taken").write_text("a file")
    monkeypatch.setattr("linewright.virtual.port.open_transport", lambda *_, **__: pytest.fail("connected"))
    assert cli.run(["draw", "lines.svg", "--keep", "-p", "taken"]) == 2
    assert "cannot write pictures to taken" in capsys.readouterr().err


def test_a_number_of_hundreds_of_digits_in_an_arrangement_is_refused():
    Path("card.toml").write_text(f'sheet = "A5"\n[[item]]\ntext = "a"\nwidth_mm = {"9" * 400}\n')
    with pytest.raises(InputError, match="too many digits"):
        arrangement_file.load("card.toml")


def test_a_page_without_height_is_drawn(tmp_path):
    """A DXF of one level line: a page of no height was divided by."""
    pytest.importorskip("ezdxf")
    groups = ["0", "SECTION", "2", "ENTITIES", "0", "LINE", "8", "0", "10", "0", "20", "0", "11", "90", "21", "0"]
    (tmp_path / "level.dxf").write_text("\n".join([*groups, "0", "ENDSEC", "0", "EOF"]) + "\n")
    assert cli.run(["lines", "level.dxf", "-o", "out.svg"]) == 0


def test_a_number_of_thousands_of_digits_in_a_makers_file_is_refused():
    Path("maker.toml").write_text(f"timeout_s = {'9' * 6000}\n")
    with pytest.raises(InputError, match="not valid TOML"):
        load_maker(Path("maker.toml"))


def test_a_tape_of_an_impossible_time_is_damaged(tmp_path):
    with TapeWriter(tmp_path / "a.tape", Machine.from_rig(Rig.default()), Faults()) as tape:
        tape.servo((1 << 64) - 1, 1500)
    reader = TapeReader(tmp_path / "a.tape")
    assert list(reader) == []
    assert reader.damaged


def test_a_log_of_any_length_is_asked_for(capsys):
    Path("state").mkdir()
    assert cli.run(["log", "--last", "9" * 20]) == 0
