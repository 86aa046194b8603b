"""`linewright board` on virtual rigs: status, check, homing, jog, and errors."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys

import pytest

from end_to_end.whole_rig import BY_HAND
from linewire import messages
from linewright import cli
from linewright.board.session import Session
from linewright.rig.rig import Rig
from linewright.simulation.machine import Machine
from linewright.tasks import cautions
from linewright.virtual.harness import LockstepRig


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture(scope="module")
def no_switches(tmp_path_factory):
    """A rig file with a zero set by hand, which avoids the virtual seconds of homing."""
    path = tmp_path_factory.mktemp("rig") / "rig.toml"
    path.write_text(Rig.default_text().replace('endstop = "min"', 'endstop = "none"'), encoding="utf-8")
    return path


@pytest.fixture
def lasting():
    """Starts rigs that keep running."""
    started = []

    def start(*options):
        process = subprocess.Popen(
            [sys.executable, "-m", "linewright.virtual", "--stay", *options], stdout=subprocess.PIPE, text=True
        )
        started.append(process)
        return "socket:" + process.stdout.readline().strip().removeprefix("listening on ")

    yield start
    for process in started:
        process.send_signal(signal.SIGTERM)
        process.wait(60)
        process.stdout.close()


@pytest.fixture
def board(capsys):
    """Runs one command; returns the object it prints."""

    def run(*words, port, expect=0):
        code = cli.run(["board", *map(str, words), "--port", port, "--json"])
        out, _ = capsys.readouterr()
        said = json.loads(out)
        assert code == expect, said
        return said

    return run


def test_info_changes_nothing(lasting, board):
    port = lasting()
    for _ in range(2):
        said = board("info", port=port)
        assert said["state"] == "asleep"
        assert said["same_code"]
        assert said["position_mm"] is None
        assert said["endstop_x"] is None
        assert (said["motors_on"], said["pen_up"]) == (False, None)


def test_by_hand_from_homing_to_cutting(lasting, board, no_switches):
    port = lasting("--rig", str(no_switches))
    rig = ("--rig", no_switches)
    park = list(Rig.default().park.position_mm)
    said = board("home", *rig, port=port)
    assert said["state"] == "ready"
    assert said["position_mm"] == park
    assert said["switches"] == {}

    # Relative moves add up, to the step; 80 steps/mm.
    said = board("jog", 10, 4.5, *rig, port=port)
    assert said["position_mm"] == [park[0] + 10, park[1] + 4.5]
    said = board("jog", "-7.25", "-1", *rig, port=port)
    assert said["position_mm"] == [park[0] + 2.75, park[1] + 3.5]
    said = board("jog", "--to", 30.0125, 20, *rig, port=port)
    assert said["position_steps"] == [2401, 1600]

    said = board("pen", "down", *rig, port=port)
    assert (said["servo_us"], said["pen_up"]) == (Rig.default().pen.down_us, False)
    assert board("pen", 1450, *rig, port=port)["servo_us"] == 1450
    # The pen is raised before the machine moves.
    assert board("jog", 1, 1, *rig, port=port)["pen_up"]

    assert board("cut", *rig, port=port)["cut"]
    said = board("info", *rig, port=port)
    assert (said["state"], said["fault"], said["motors_on"]) == ("unhomed", "motors cut", False)
    said = board("jog", 1, 1, *rig, port=port, expect=cli.EXIT_LINK)
    assert "does not know where the pen is" in said["error"]
    assert "board home" in said["hint"]


def test_home_says_how_well_the_approaches_agree(lasting, board):
    said = board("home", port=lasting())
    assert said["homed"]
    assert set(said["switches"]) == {"x", "y"}
    for found in said["switches"].values():
        assert found["passes"] == Rig.default().homing.passes
        assert found["spread_mm"] == found["spread_steps"] / 80 <= 0.05


def test_check_passes_before_and_after_homing(lasting, board, no_switches):
    port = lasting("--rig", str(no_switches))
    before = {one["name"]: one for one in board("check", "--rig", no_switches, port=port)["checks"]}
    assert before["position"]["outcome"] == "note"
    assert before["clock"]["outcome"] == "not run"
    place = board("home", "--rig", no_switches, port=port)["position_steps"]
    said = board("check", "--rig", no_switches, port=port)
    assert {one["outcome"] for one in said["checks"]} == {"passed"}
    names = [one["name"] for one in said["checks"]]
    assert names == ["link", "code", "rig", "state", "position", "endstops", "pen", "queue", "clock"]
    assert board("info", "--rig", no_switches, port=port)["position_steps"] == place


def test_check_fails_where_the_board_refuses_the_rig(board, tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text(Rig.default_text().replace("step_rate_hz = 40000", "step_rate_hz = 110000"), encoding="utf-8")
    said = board("check", "--rig", rig, port="virtual", expect=cli.EXIT_LINK)
    assert not said["passed"]
    last = said["checks"][-1]
    assert (last["name"], last["outcome"]) == ("rig", "failed")
    assert "max_rate = 110000" in last["said"]
    assert "1..100000" in last["said"]


def test_check_fails_on_other_code_and_stops_there(board, monkeypatch):
    from linewright.board import files as board_files

    monkeypatch.setattr(board_files, "digest", lambda: 0x1234)
    said = board("check", port="virtual", expect=cli.EXIT_LINK)
    assert [one["name"] for one in said["checks"]] == ["link", "code"]
    assert "00001234" in said["checks"][-1]["said"]
    assert "board flash" in said["checks"][-1]["hint"]
    # Status is allowed; moves are not.
    assert not board("info", port="virtual")["same_code"]
    said = board("home", port="virtual", expect=cli.EXIT_LINK)
    assert "board flash" in said["hint"]


@pytest.mark.parametrize(
    ("words", "error", "hint"),
    [
        (("jog", 1000, 0), "x = 1000", "x goes from 0 to 310 mm"),
        (("jog", "--to", 5, "-0.5"), "y = -0.5 mm is out of reach", "0 to 310 mm"),
        (("pen", 2600), "2600 us is outside 1100..1800 us", "stall"),
        (("pen", "sideways"), "'sideways' is not a pen height", "up, down"),
    ],
)
def test_what_the_machine_cannot_do_is_refused(lasting, board, no_switches, words, error, hint):
    port = lasting("--rig", str(no_switches))
    board("home", "--rig", no_switches, port=port)
    said = board(*words, "--rig", no_switches, port=port, expect=cli.EXIT_INPUT)
    assert error in said["error"]
    assert hint in said["hint"]


def test_moving_before_homing_names_the_next_step(board):
    said = board("jog", 1, 1, port="virtual", expect=cli.EXIT_LINK)
    assert "linewright board home --port virtual" in said["hint"]
    assert "linewright virtual --stay" in said["hint"]


def test_a_stuck_switch_is_seen_by_check_and_named_by_home(lasting, board):
    port = lasting("--fault", "stuck_x=1")
    found = {one["name"]: one for one in board("check", port=port)["checks"]}["endstops"]
    assert (found["outcome"], found["said"]) == ("note", "pressed: x")
    said = board("home", port=port, expect=cli.EXIT_LINK)
    assert "fault 'switch stuck'" in said["error"]
    assert "free it by hand" in said["hint"]
    said = board("check", port=port, expect=cli.EXIT_LINK)
    found = {one["name"]: one for one in said["checks"]}["state"]
    assert (found["outcome"], found["said"]) == ("failed", "faulted, fault 'switch stuck'")


def test_tables_for_people(capsys, no_switches):
    assert cli.run(["board", "info"]) == 0
    out = capsys.readouterr().out
    assert "asleep" in out
    # The raised height is not known, so the state is unknown instead of "not up".
    assert re.search("(?m)^pen +not known yet: the next command sends the rig's settings", out)
    assert "the code of this host" in out
    assert cli.run(["board", "check", "--rig", str(no_switches)]) == 0
    out, errors = capsys.readouterr()
    assert "round trips" in out
    assert re.search("(?m)^pen +passed +up", out)
    assert "\x1b" not in out + errors
    assert cli.run(["board", "home", "--rig", str(no_switches)]) == 0
    assert "position: x" in capsys.readouterr().out
    assert cli.run(["board", "pen", "down"]) == 0
    assert "pen at 1600 us (down)" in capsys.readouterr().out
    assert cli.run(["board", "pen", "1450"]) == 0
    assert "pen at 1450 us (down, or at another height)" in capsys.readouterr().out
    assert cli.run(["board", "cut"]) == 0
    assert "motors off, pen up" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["flash", "update", "info", "check", "home", "jog", "pen", "cut"])
def test_every_command_has_help(name, capsys):
    assert cli.run(["board", name, "--help"]) == 0
    out = capsys.readouterr().out
    for option in ("--port", "--rig", "--json"):
        assert option in out


@pytest.mark.parametrize("words", [("home",), ("jog", "1", "1"), ("pen", "up"), ("check",)])
def test_cautions_come_before_anything_moves(words, capsys, monkeypatch):
    code = cli.run(["board", *words, "--port", "serial:/dev/no-such-port"])
    assert code == cli.EXIT_LINK
    errors = capsys.readouterr().err
    assert errors.count("caution:") == len(cautions.CAUTIONS)
    assert errors.index("caution:") < errors.index("there is no port")
    # A port that could not be opened does not count as announced.
    assert cautions.before_moving("serial:/dev/no-such-port") == cautions.CAUTIONS


def test_ctrl_c_says_where_to_look(board, monkeypatch):
    def interrupted(session):
        raise KeyboardInterrupt

    monkeypatch.setattr(Session, "home", interrupted)
    said = board("home", port="virtual", expect=cli.EXIT_STOPPED)
    assert said["error"] == "stopped"
    assert "board info" in said["hint"]


@pytest.mark.parametrize("words", [("info",), ("cut",)])
def test_what_moves_nothing_comes_without_cautions(words, capsys):
    assert cli.run(["board", *words, "--port", "serial:/dev/no-such-port"]) == cli.EXIT_LINK
    assert "caution" not in capsys.readouterr().err


def test_ctrl_c_while_jogging_stops_the_carriage_where_it_is_known(tmp_path):
    class Interrupted:
        """A link with Ctrl-C during a move."""

        def __init__(self, link):
            self.link, self.armed, self.session = link, False, None
            self.write = link.write

        def read(self, most, timeout_s):
            report = self.session.report() if self.armed else {}
            if report.get("state") == messages.DRAWING and report["a"] > 4000:
                self.armed = False
                raise KeyboardInterrupt
            return self.link.read(most, timeout_s)

    def host(link):
        link = Interrupted(link)
        link.session = session = Session(link, BY_HAND)
        session.greet()
        session.home()
        link.armed = True
        with pytest.raises(KeyboardInterrupt):
            session.jog((300, 300))
        standing = session.settle()
        report = session.fresh_report()
        # It continues from its position, exact to the step.
        session.jog((200, 100))
        return standing, report, session.report()

    lockstep = LockstepRig(Machine.from_rig(BY_HAND), tape=tmp_path / "run.tape")
    with lockstep.host_time():
        standing, stopped, after = lockstep.run(host)
    assert standing.position_kept
    assert 4000 < stopped["a"] < 24_000
    assert (after["a"], after["b"]) == (16_000, 8_000)
