"""A request is carried out by the machine that it was made for, or not at all."""

import time
from dataclasses import replace

import pytest

import linewright
from linewright.desk.archive import Archive
from linewright.desk.drawing import DrawingDesk, Wanted
from linewright.desk.geometry import GeometryShelf
from linewright.desk.machine import DeskMachine, MachineWish
from linewright.desk.questions import DeskNotes, Questions
from linewright.desk.screen import Screen
from linewright.errors import InputError, LinkError
from linewright.rig.rig import Rig
from linewright.tasks.draw_task import DrawTask
from linewright.tasks.target import Target

LIMIT_S = 60.0

ABSENT = Target(Rig.default(), None, port="serial:/dev/no-such-port")


def until(true):
    """Wait for a condition set by another thread."""
    end_s = time.monotonic() + LIMIT_S
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.005)


@pytest.fixture
def made():
    """A desk's machine on the virtual rig, not yet connected, and its screen."""
    screen = Screen()
    target = Target(Rig.default(), None, port="virtual")
    machine = DeskMachine(target, screen, DeskNotes(screen), Questions(screen), lambda _target: None)
    yield machine, screen
    machine.close()


@pytest.fixture
def drawing(made, tmp_path, monkeypatch):
    """The drawings of a machine, and a drawing to request."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    machine, screen = made
    desk = DrawingDesk(screen, machine, GeometryShelf(), Archive(tmp_path / "archive"))
    program = linewright.plan(linewright.letters("heron")).program
    ended = []
    return (
        desk,
        Wanted(DrawTask("heron", program, (), machine.target, reads_tape=False), "g1", "trial", over=ended.append),
        ended,
    )


def wish(done, undone=lambda _why: None):
    return MachineWish("home", "Homing", lambda met: done.append(met.meant.rig.name), undone)


def renamed(target, name):
    return replace(target, rig=target.rig.model_copy(update={"name": name}))


def test_what_waits_for_a_machine_that_is_not_met_is_not_done_by_the_next(made):
    machine, _ = made
    done, undone = [], []
    machine.ask(wish(done, lambda why: undone.append(str(why))))
    machine.connect(renamed(machine.target, "the next one"))
    machine.ask(wish(done))
    machine.start()
    until(lambda: done)
    assert (done, undone) == (["the next one"], ["another machine was chosen meanwhile"])


def test_what_waits_for_the_machine_that_is_held_is_done_there_before_it_goes(made):
    """With its own rig, never with the next machine's."""
    machine, _ = made
    done = []

    def choose_another(met):
        machine._show_busy(None)  # as between two requests
        machine.ask(wish(done))
        machine.connect(renamed(machine.target, "the next one"))
        machine.ask(wish(done))

    machine.connect(renamed(machine.target, "the first"))
    machine.ask(MachineWish("home", "Homing", choose_another))
    machine.start()
    until(lambda: len(done) == 2)
    assert done == ["the first", "the next one"]


def test_a_machine_that_is_not_there_undoes_what_is_asked_of_it(made):
    machine, screen = made
    undone = []
    machine.connect(ABSENT)
    machine.start()
    for n in range(2):  # the first does not block the second
        machine.ask(MachineWish("jog", "Moving", lambda _met: None, lambda why: undone.append(str(why))))
        until(lambda n=n: len(undone) == n + 1)
    assert "no-such-port" in undone[0]
    machine.connect(None)
    until(lambda: screen.get("machine")["state"] == "off")
    machine.ask(MachineWish("jog", "Moving", lambda _met: None, lambda why: undone.append(str(why))))
    until(lambda: len(undone) == 3)
    assert undone[2] == "no machine is connected"


def test_a_drawing_that_a_busy_machine_refuses_leaves_no_trace(drawing, made):
    desk, wanted, _ = drawing
    machine, screen = made
    machine._show_busy("Switching the motors off")
    with pytest.raises(LinkError, match="busy: Switching"):
        desk.draw(wanted)
    assert not desk.under_way
    assert screen.get("drawing") is None
    machine._show_busy(None)
    desk.draw(wanted)
    assert screen.get("drawing")["state"] == "starting"
    with pytest.raises(InputError, match="drawn already"):
        desk.draw(wanted)


def test_a_drawing_ends_where_its_machine_is_not_there(drawing, made):
    desk, wanted, ended = drawing
    machine, screen = made
    machine.connect(ABSENT)
    desk.draw(wanted)
    machine.start()
    until(lambda: ended)
    assert (ended, screen.get("drawing")["state"]) == ([False], "failed")
    assert "no-such-port" in screen.get("drawing")["error"]["text"]


def test_a_drawing_that_is_abandoned_before_it_begins_is_not_drawn(drawing, made):
    desk, wanted, ended = drawing
    machine, screen = made
    desk.draw(wanted)
    desk.abandon()
    machine.start()
    until(lambda: ended)
    assert (ended, screen.get("drawing")["state"]) == ([False], "abandoned")
