"""A wrongly wired virtual rig behaves like such a machine, and can be operated and observed."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.board.session import Session
from linewright.errors import PortError
from linewright.rig.rig import Rig
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.virtual.bench import Bench, MachineView
from linewright.virtual.bystander import COMMANDS, BesideProcess, Bystander
from linewright.virtual.port import open_transport

flags = st.sampled_from([0.0, 1.0])


def steps(words):
    """Signed steps of A and B, as `linewright.virtual.world` reads words."""
    words = np.asarray(words)
    a = (words & 1) * (((words >> 2) & 1).astype(int) * 2 - 1)
    b = ((words >> 1) & 1) * (((words >> 3) & 1).astype(int) * 2 - 1)
    return a, b


@given(st.booleans(), st.booleans(), flags, flags, flags, st.integers(0, 3))
def test_a_board_that_knows_how_it_is_wired_moves_right(wired_a, wired_b, wrong_a, wrong_b, swapped, told):
    """The motors' true steps are the board's, reversed once for the wiring and once for its setting."""
    bench = Bench(
        Machine(reversed=(wired_a, wired_b)), Faults(reversed_a=wrong_a, reversed_b=wrong_b, swapped_motors=swapped)
    )
    bench.believed(told, (-1, -1))
    words = np.arange(64, dtype=np.uint32)
    a, b = steps(words)
    a, b = a * (-1 if told & 1 else 1), b * (-1 if told & 2 else 1)
    if swapped:
        a, b = b, a
    got_a, got_b = steps(bench.to_motors(words))
    assert (got_a == a * (-1 if wired_a != bool(wrong_a) else 1)).all()
    assert (got_b == b * (-1 if wired_b != bool(wrong_b) else 1)).all()
    assert (bench.to_motors(words) >> 4 == words >> 4).all()


def test_a_rig_without_faults_changes_no_word():
    for reversed_motors in ((False, False), (True, False), (True, True)):
        bench = Bench(Machine(reversed=reversed_motors), Faults())
        bench.believed(reversed_motors[0] | reversed_motors[1] << 1, (-1, -1))
        words = np.arange(256, dtype=np.uint32)
        assert (bench.to_motors(words) == words).all()


def test_a_still_motor_makes_no_step():
    bench = Bench(Machine(), Faults(still_a=1.0))
    bench.believed(0, (-1, -1))
    a, b = steps(bench.to_motors(np.array([1, 2, 3, 7, 15], dtype=np.uint32)))
    assert not a.any()
    assert (b != 0).sum() == 4


@pytest.mark.parametrize(
    ("faults", "told", "seen"),
    [
        (Faults(), (8, 9), (True, False)),
        (Faults(), (9, 8), (False, True)),  # the file has the pins swapped
        (Faults(swapped_endstops=1.0), (8, 9), (False, True)),
        (Faults(swapped_endstops=1.0), (9, 8), (True, False)),  # which corrects swapped plugs
        (Faults(dead_x=1.0), (8, 9), (False, False)),
        (Faults(stuck_y=1.0), (8, 9), (True, True)),
    ],
)
def test_switches_are_read_where_the_board_looks_for_them(faults, told, seen):
    bench = Bench(Machine(endstop_pins=(8, 9)), faults)
    bench.believed(0, told)
    bench.fingers[0] = True
    assert bench.seen([False, False]) == seen


def test_an_inverted_servo_mirrors_around_its_middle():
    assert Bench(Machine(), Faults(inverted_servo=1.0)).to_servo(1300) == 1700
    assert Bench(Machine(), Faults(inverted_servo=1.0)).to_servo(0) == 0
    assert Bench(Machine(), Faults()).to_servo(1300) == 1300


def test_answers_on_a_narrow_terminal_are_broken_between_words(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "30")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    Bystander(in_words=True).hear(b"look\n")
    assert capsys.readouterr().out == "the machine is off, because no\n  other window has connected\n  yet\n"


def test_a_person_beside_a_rig_is_answered_in_words(capsys):
    class Seen:
        def __init__(self):
            self.done = []
            self.view = MachineView((40.0, 30.0), 1300, False, False)
            self.went_from_mm = (40.0, 30.0)

        def press(self, axis, on):
            self.done.append((axis, on))

        def power(self, on):
            self.done.append(on)

        def mend(self, fault):
            self.done.append(fault)

        def look(self):
            return self.view

    person, world = Bystander(in_words=True), Seen()
    person.hear(b"look\n\n")
    assert capsys.readouterr().out == "the machine is off, because no other window has connected yet\n"
    person.world = world
    person.hear(b"press x\nrelease x\npower on\nmend swapped_motors\nlook\nsing\n")
    assert world.done == [(0, True), (0, False), True, "swapped_motors"]
    pressed, released, power, mended, looked, wrong = capsys.readouterr().out.splitlines()
    assert pressed == "the x switch is pressed, until you type: release x"
    assert released == "the x switch is let go"
    assert power == "the motor supply is on"
    assert "40.0 mm from the left and 30.0 mm from the upper end of its rails (it has not moved)" in looked
    assert "slides freely; the pen is clear of the paper, its servo at 1300 us" in looked
    assert mended == "swapped_motors is repaired"
    assert wrong.startswith(f"not understood: sing; you can type: {COMMANDS}")
    world.view = MachineView((38.0, 30.5), 1600, True, True)
    person.hear(b"look\n")
    assert "(its last move went 2.0 mm left and 0.5 mm down); it is held by the motors; the pen is at" in (
        capsys.readouterr().out
    )


def test_hands_and_eyes_beside_a_rig_in_a_process_of_its_own():
    rig = Rig.default()
    link = open_transport("virtual:inverted_servo=1", rig=rig)
    try:
        beside = BesideProcess(link.rig)
        session = Session(link, rig)
        session.greet()
        assert beside.look().carriage_mm == pytest.approx((40.0, 30.0), abs=0.02)
        assert beside.look().pen_down  # commanded up, but the arm points the other way
        for axis, bit in (("x", 16), ("y", 32)):
            beside.press(axis, True)
            assert wait_for(session, lambda flags, bit=bit: flags & bit)
            beside.press(axis, False)
            assert wait_for(session, lambda flags, bit=bit: not flags & bit)
        assert link.rig.tell("mend inverted_servo") == "{}"
        assert "not understood" in link.rig.tell("mend skew_deg")
    finally:
        link.discard()
    with pytest.raises(PortError, match="ended"):
        beside.look()


def wait_for(session, true_of_flags):
    """The board polls its switches ten times a second at rest."""
    return any(true_of_flags(session.fresh_report()["flags"]) or time.sleep(0.05) for _ in range(1000))
