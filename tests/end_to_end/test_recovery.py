"""The host process dies at any moment and another resumes: everything is drawn, and almost nothing twice.

If the board has kept the pen's position, nothing is drawn twice: the next host continues at the exact step.

In lockstep and virtual time. Death simulates SIGKILL: from one moment on, nothing of the host reaches wire or disk.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from paper import on_paper
from whole_rig import BY_HAND, HOMING, circle

from linewright.board.session import Session
from linewright.drawing.strokes import Drawing
from linewright.errors import LinkError
from linewright.motion import plan
from linewright.run import course, journal, recovery
from linewright.run.journal import Journal
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.units import TICK_HZ
from linewright.virtual.harness import LockstepRig

STROKES = [
    circle(30, 30, 12),
    [[20, 50], [60, 50], [60, 52]],
    [[60, 55], [20, 55]],
    circle(70, 30, 3, 24),
    [[80, 20]],
    [[80, 25], [81, 25]],
    [[80, 30], [95, 45], [80, 45]],
    circle(40, 75, 10, 60),
    [[10, 90], [90, 95], [10, 95]],
]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


class Killed(BaseException):
    """An exception that no code catches, like SIGKILL."""


class Mortal:
    """Link and observer of a host that dies at its ``deeds``-th operation on wire or disk."""

    def __init__(self, link, deeds):
        self._link = link
        self._left = deeds
        self.deeds = 0
        self.book = None

    def _does(self):
        self.deeds += 1
        if self._left is not None and self.deeds >= self._left:
            raise Killed

    def read(self, most, timeout_s):
        self._does()
        return self._link.read(most, timeout_s)

    def write(self, data):
        try:
            self._does()
        except Killed:
            self._link.write(data[: len(data) // 2])  # the system had written half of it
            raise
        self._link.write(data)

    def begin(self, number, record):
        self._does()
        self.book.begin(number, record)

    def done(self, record):
        before = self.book._strokes_done
        ends = self.book._stroke_ends
        if before < len(ends) and ends[before] <= record:
            self._does()
        self.book.done(record)


def live(link, rig, folder, deeds=None):
    """One host, from its start to its end or death; returns whether the drawing is finished, and the operations."""
    host = Mortal(link, deeds)
    story = journal.read(folder)
    program = story.load_program()
    with Journal.carry_on(story, program) as host.book:
        try:
            session = Session(host, rig)
            session.greet()
            at_park = not story.numbers  # the carriage has not moved yet
            place = recovery.take_up(session, story, program, rig, host, at_park=at_park)
            if place.tail is None:
                return True, host.deeds
            result = course.draw(session, program, tail=place.tail, witness=host)
            assert result.finished
            assert result.final_position_error_steps == 0
            assert result.underruns == 0
            assert result.played_ticks == result.predicted_ticks
        except Killed:
            return False, host.deeds
    return True, host.deeds


def begin(rig):
    program = plan(Drawing.from_strokes(STROKES), rig)
    with Journal.create(program, picture="harbour.svg") as book:
        return program, book.folder


def pass_time(link, seconds):
    """The host is dead, so the board's messages are discarded."""
    end = link.now + round(seconds * TICK_HZ)
    while link.now < end:
        link.read(4096, (end - link.now) / TICK_HZ)


@pytest.fixture(scope="module")
def deeds_of_a_whole_drawing(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        _, folder = begin(BY_HAND)
        lockstep = LockstepRig(Machine.from_rig(BY_HAND))
        with lockstep.host_time():
            finished, deeds = lockstep.run(lambda link: live(link, BY_HAND, folder))
    assert finished
    return deeds


@pytest.mark.parametrize("seed", range(50))
def test_a_host_killed_at_any_moment_while_the_board_goes_on(tmp_path, seed, deeds_of_a_whole_drawing):
    """The board draws until its queue is empty or the host is missing, and then reports the position to the next
    host.
    """
    rng = random.Random(seed)
    program, folder = begin(BY_HAND)
    lives = []

    def hosts(link):
        for _ in range(rng.choice((1, 1, 3))):
            finished, _ = live(link, BY_HAND, folder, rng.randrange(1, deeds_of_a_whole_drawing))
            lives.append(finished)
            pass_time(link, rng.choice((0.0, rng.uniform(0, 3), rng.uniform(3, 30))))
        finished, _ = live(link, BY_HAND, folder)
        assert finished

    lockstep = LockstepRig(Machine.from_rig(BY_HAND), tape=tmp_path / "run.tape")
    with lockstep.host_time():
        lockstep.run(hosts)
    paper = on_paper(program, [tmp_path / "run.tape"])
    assert paper.cut <= lives.count(False)
    assert paper.twice == 0
    assert paper.seam_mm == 0.0


def test_a_place_that_is_lost_and_cannot_be_found_is_not_taken_for_the_park_position():
    """Without endstops the carriage is at an unknown position; assuming the park position would shift the rest."""
    program, folder = begin(BY_HAND)
    with Journal.carry_on(journal.read(folder), program) as book:
        book.begin(1, 0)
        book.done(book._stroke_ends[1])
    story = journal.read(folder)

    def take_up(at_park):
        lockstep = LockstepRig(Machine.from_rig(BY_HAND))

        def host(link):
            session = Session(link, BY_HAND)
            session.greet()
            with Journal.carry_on(story, program) as book:
                return recovery.take_up(session, story, program, BY_HAND, book, at_park=at_park)

        with lockstep.host_time():
            return lockstep.run(host)

    with pytest.raises(LinkError, match="lost its position"):
        take_up(at_park=False)
    assert take_up(at_park=True).stroke == 2


@pytest.mark.parametrize("seed", range(12))
def test_a_power_cut_of_laptop_and_board(tmp_path, seed, deeds_of_a_whole_drawing):
    """Only the journal has the position. The board reports every 0.1 s, so at most one stroke is drawn twice."""
    rng = random.Random(1000 + seed)
    rig = HOMING
    program, folder = begin(rig)
    tapes = [tmp_path / "one.tape", tmp_path / "two.tape"]
    near = Faults(start_x_mm=5, start_y_mm=5)
    before = LockstepRig(Machine.from_rig(rig), faults=near, tape=tapes[0])
    with before.host_time():
        # Homing takes a few hundred more operations.
        before.run(lambda link: live(link, rig, folder, rng.randrange(300, deeds_of_a_whole_drawing)))
    x, y = before.world.carriage_mm
    after = LockstepRig(Machine.from_rig(rig), faults=Faults(start_x_mm=x, start_y_mm=y), tape=tapes[1], session=1234)
    with after.host_time():
        finished, _ = after.run(lambda link: live(link, rig, folder))
    assert finished
    paper = on_paper(program, tapes)
    assert paper.cut + paper.twice <= 1
