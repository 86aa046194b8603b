"""A board that has kept its position resumes at the exact step where the pen was lifted: no gap, no double ink."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from paper import on_paper
from whole_rig import BY_HAND, CROSSED, zoo

from linewire.records import END, PEN, RAMP, REST
from linewright.board.session import Session
from linewright.board.session_values import Control
from linewright.drawing.strokes import Drawing
from linewright.motion import plan
from linewright.program.remainder import Tail
from linewright.rig.board_settings import board_settings
from linewright.run import course, journal, recovery
from linewright.run.journal import Journal
from linewright.simulation.machine import Machine
from linewright.virtual.harness import LockstepRig

# A circle, hatching, a trembling line, two dots, and a line drawn back and forth.
SHAPES = Drawing.from_strokes([zoo()[i] for i in (0, 3, 5, 7, 8, 9)])
PROGRAM = plan(SHAPES, BY_HAND)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.mark.parametrize(
    ("rig", "seed"),
    [
        pytest.param(BY_HAND, 0, id="cartesian"),
        pytest.param(BY_HAND, 1, id="cartesian again", marks=pytest.mark.slow),
        pytest.param(CROSSED, 2, id="crossed-belt", marks=pytest.mark.slow),
    ],
)
def test_a_drawing_that_is_abandoned_again_and_again(tmp_path, rig, seed):
    rng = random.Random(seed)
    program = plan(SHAPES, rig)
    with Journal.create(program, picture="zoo.svg") as book:
        folder = book.folder
    places = []

    def hosts(link):
        while True:
            story = journal.read(folder)
            control = Control()
            until_s = rng.uniform(0.02, 2.5)
            with Journal.carry_on(story, program) as book:
                session = Session(link, rig)
                session.greet()
                place = recovery.take_up(session, story, program, rig, book, at_park=not places)
                if place.tail is None:
                    return None
                places.append(place)
                begun_s = None

                def on_progress(now, control=control, until_s=until_s):
                    nonlocal begun_s
                    begun_s = now.played_s if begun_s is None else begun_s
                    if now.played_s - begun_s >= until_s:
                        control.abandon()

                result = course.draw(
                    session, program, tail=place.tail, control=control, on_progress=on_progress, witness=book
                )
                assert result.underruns == 0
                if result.finished:
                    assert result.final_position_error_steps == 0
                    return result

    lockstep = LockstepRig(Machine.from_rig(rig), tape=tmp_path / "run.tape")
    with lockstep.host_time():
        result = lockstep.run(hosts)
    assert result is None or result.played_ticks <= result.predicted_ticks
    assert sum(place.in_stroke for place in places) >= 5
    paper = on_paper(program, [tmp_path / "run.tape"])
    assert paper.cut >= 5
    assert paper.twice == 0
    assert paper.seam_mm == 0.0


def records_of(tail, frames):
    """Columns of a tail's first frames as a board decodes them: kind, first, second, end speed."""
    from dual.record_reader import Reader
    from linewire import records

    reader = Reader()
    found = []
    for frame in range(min(frames, len(tail.packed))):
        read, ended = reader.payload(tail.packed.payload(frame))
        assert ended == records.NOTHING
        found += read
    return found


def test_from_any_step_of_any_ramp_a_tail_leads_to_the_end_within_the_limits():
    """The last ramp of every stroke and many others, cut at the start, one step later, half-way, and one step before
    the end.
    """
    accel = board_settings(BY_HAND)["accel"]
    cut = 0
    drawn = (PROGRAM.kind == RAMP) & (PROGRAM.stroke_of_record >= 0)
    ends = np.concatenate((PROGRAM.kind[1:] != RAMP, [True])) | (PROGRAM.v_end == 0)
    for record in np.union1d(np.flatnonzero(drawn)[::12], np.flatnonzero(drawn & ends)):
        move = np.array([PROGRAM.da[record], PROGRAM.db[record]])
        n = int(np.abs(move).max())
        for done in sorted({0, 1, n // 2, n - 1} & set(range(n))):
            way = np.sign(move) * (np.abs(move) * done // n)
            steps = PROGRAM.position_steps[record] + way
            tail = Tail.in_stroke(PROGRAM, int(record), (int(steps[0]), int(steps[1])), BY_HAND)
            assert tail is not None
            to_its_end = cut % 50 == 0
            rows = records_of(tail, len(tail.packed) if to_its_end else 2)
            cut += 1
            assert rows[0][0] == PEN
            assert rows[0][1] == BY_HAND.pen.down_us
            at, speed = steps.copy(), 0
            for number, (kind, first, second, v_end) in enumerate(rows, tail.first):
                if kind != RAMP:
                    assert speed == 0 or kind == REST
                    speed = 0
                    continue
                at += (first, second)
                planned = int(PROGRAM.v_end[number]) ** 2 - int(PROGRAM.v_start[number]) ** 2
                assert v_end**2 - speed**2 <= max(2 * accel * np.hypot(first, second), planned)
                if number > record:
                    assert v_end <= PROGRAM.v_end[number]
                    assert (at == PROGRAM.position_steps[number + 1]).all()
                speed = v_end
            if to_its_end:
                assert rows[-1][0] == END
                assert tail.first + len(rows) == len(PROGRAM)
                assert tuple(at) == PROGRAM.end_steps
    assert cut > 200


def test_a_place_in_no_stroke_or_beside_its_ramp_has_no_tail_of_its_own():
    lowers, lifts = PROGRAM.pen_stops[:2]
    inside = int(lowers) + 3
    a, b = (int(step) for step in PROGRAM.position_steps[inside])
    assert Tail.in_stroke(PROGRAM, inside, (a, b), BY_HAND) is not None
    assert Tail.in_stroke(PROGRAM, inside, (a + 400, b - 300), BY_HAND) is None
    assert Tail.in_stroke(PROGRAM, int(lowers), (a, b), BY_HAND) is None
    assert Tail.in_stroke(PROGRAM, int(lifts), (a, b), BY_HAND) is None
    assert Tail.in_stroke(PROGRAM, 0, PROGRAM.start_steps, BY_HAND) is None
    assert Tail.in_stroke(PROGRAM, len(PROGRAM), PROGRAM.end_steps, BY_HAND) is None
