"""The endurance test reports axis, speed and direction of lost steps; a good machine passes."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from linewright.board.session import Session
from linewright.calibration.exercise import Bout, Tally, exercise
from linewright.cli.tables import exercise as exercise_report
from linewright.errors import BoardFault, InputError
from linewright.rig.rig import Rig
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.virtual.harness import LockstepRig

# A small machine that homes quickly: the board's code is played step by step.
SMALL = Rig.default().changed(
    {
        "axis.x.travel_mm": 60.0,
        "axis.y.travel_mm": 50.0,
        "sheet.size": "40x30mm",
        "sheet.margin_mm": 2.0,
        "homing.passes": 1,
        "homing.backoff_mm": 1.0,
        "homing.slow_mm_s": 10.0,
        "motor.a.microsteps": 4,
        "motor.b.microsteps": 4,
    }
)


def tally_of(faults: Faults, bouts: int, **options) -> Tally:
    lockstep = LockstepRig(Machine.from_rig(SMALL), faults=faults)

    def host(link):
        session = Session(link, SMALL)
        session.greet()
        return exercise(session, SMALL, bouts=bouts, moves=2, seed=3, **options)

    with lockstep.host_time():
        return lockstep.run(host)


def test_a_sound_machine_keeps_its_place():
    told = []
    tally = tally_of(Faults(), 12, pen_down=True, on_bout=lambda number, bout: told.append((number, bout)))
    assert not any(bout.lost for bout in tally.bouts)
    assert [number for number, _ in told] == list(range(12))
    # A dozen bouts are every axis, sense and speed once.
    assert len({(bout.axis, bout.sense, bout.share) for bout in tally.bouts}) == 12
    assert all("lost no step" in words for words in tally.verdict(SMALL))


def test_a_weak_motor_is_named_with_the_speed_at_which_it_gives_way():
    # 20 steps/mm: motor A loses steps above 100 mm/s, below the rig file's 120 and above three quarters of it.
    tally = tally_of(Faults(pull_out_a_hz=2000.0), 12)
    assert {(bout.axis, bout.share) for bout in tally.bouts if bout.lost} == {("x", 1.0)}
    words = " ".join(tally.verdict(SMALL))
    assert "x lost steps both ways, from 120 mm/s on" in words
    assert "axis.x.speed_mm_s = 90" in words
    assert "y lost no step" in words


@pytest.mark.parametrize("hertz", [1100.0, 500.0, 250.0])
def test_a_machine_that_loses_nearly_all_its_steps_ends_in_a_table_and_a_verdict(hertz):
    """Motor A loses steps above 55, 25 and 12.5 mm/s; it homes at 30, and its slow moves use 30 as well."""
    tally = tally_of(Faults(pull_out_a_hz=hertz), 12)
    words = " ".join(tally.verdict(SMALL))
    assert any(bout.lost for bout in tally.bouts if bout.axis == "x")
    assert "x lost steps" in words
    if tally.homed_at:
        assert len(tally.bouts) == 12
        assert not any(bout.lost_steps for bout in tally.bouts if bout.axis == "y")
    if hertz < 600.0:
        assert tally.homed_at < 1.0
        assert "while homing" in words or "no longer finds" in words
    table = Console(file=io.StringIO(), width=60)
    table.print(exercise_report.tally_table(tally, SMALL))
    heads, *rows = table.file.getvalue().splitlines()
    assert heads.split() == ["towards", "mm/s", "bouts", "moves", "distance", "lost", "in", "most", "lost"]
    assert len(rows) == len({(bout.axis, bout.sense, bout.share) for bout in tally.bouts})


def test_a_dead_switch_is_no_lost_step():
    with pytest.raises(BoardFault, match="switch missing"):
        tally_of(Faults(dead_x=1.0), 2)


def test_losses_one_way_only_are_said_to_be_so():
    bouts = [
        Bout("x", sense, share, 4, 800.0, False, 40 if sense == "+" and share == 1.0 else 0, 0)
        for sense in "+-"
        for share in (0.5, 0.75, 1.0)
    ]
    assert "only towards +" in Tally(tuple(bouts)).verdict(SMALL)[0]
    slow = Tally((Bout("y", "-", 0.75, 1, 800.0, False, 0, 0), Bout("y", "+", 0.5, 2, 800.0, False, 0, 0)))
    assert slow.verdict(SMALL)[-1] == f"y lost no step in 3 moves, up to {0.75 * SMALL.y.speed_mm_s:g} mm/s."
    lame = Tally((Bout("y", "-", 0.5, 4, 800.0, False, None, None),))
    assert "look for a fault" in " ".join(lame.verdict(SMALL)).lower()
    assert lame.describe(SMALL)["bouts"][0]["lost_steps"] is None


def test_a_machine_without_switches_cannot_be_exercised():
    blind = SMALL.changed({"axis.x.endstop": "none"})
    with pytest.raises(InputError, match="needs a switch on both axes"):
        exercise(None, blind, bouts=1)  # refused before the session is touched
