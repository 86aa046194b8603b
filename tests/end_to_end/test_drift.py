"""Homing during a drawing measures lost steps exactly, and stops beyond the limit."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from whole_rig import ALLOWED_MM, BY_HAND, HOMING, STEP_MM, assert_clean

from linewright import cli
from linewright.board.drift import DriftCheck, Drifted
from linewright.board.session import Session
from linewright.board.session_values import Control
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import BoardFault, InputError
from linewright.motion import plan
from linewright.rig.rig import Rig
from linewright.run import course, journal
from linewright.run import log as drawing_log
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.replay import read_trace
from linewright.virtual.harness import LockstepRig

ALWAYS = DriftCheck(frozenset(("start", "pens", "end")), 0.3)
PENS = (Pen("black"), Pen("red", "#c00000"), Pen("blue", "#0000c0"))
# Out at 100 mm/s at most, and back to park in one fast move, in which a motor loses steps above 8500 steps/s.
FAR = [[5, 5], [80, 5]]
NEAR = [[4, 8], [8, 8]]  # no move there is as fast
SLIPS = Faults(pull_out_a_hz=8500.0)


def draw(tmp_path, strokes, pens, drift, *, faults=None, control=None, ask_for_pens=False, on_progress=None, seen=None):
    program = plan(Drawing.from_strokes(strokes, pens, PENS), HOMING)
    lockstep = LockstepRig(Machine.from_rig(HOMING), faults=faults, tape=tmp_path / "run.tape")

    def host(link):
        session = Session(link, HOMING)
        session.greet()
        session.home()
        return course.draw(
            session,
            program,
            drift=drift,
            control=control,
            ask_for_pens=ask_for_pens,
            witness=seen,
            on_progress=on_progress or (lambda _: None),
        )

    with lockstep.host_time():
        return program, lockstep, lockstep.run(host)


def test_a_sound_machine_has_no_drift_and_draws_as_without_checks(tmp_path):
    program, _, result = draw(tmp_path, [FAR, NEAR, NEAR], [0, 1, 2], ALWAYS)
    assert [drift.moment for drift in result.drifts] == ["start", "pens", "pens", "end"]
    # The switch is read once a millisecond, which at 4 mm/s is a third of a step.
    assert all(abs(drift.x_steps) <= 1 and abs(drift.y_steps) <= 1 for drift in result.drifts)
    assert result.finished
    assert result.final_position_error_steps == 0
    assert result.played_ticks == result.predicted_ticks == program.predicted_ticks
    trace = read_trace(tmp_path / "run.tape", program.drawing)
    assert_clean(trace)
    assert (trace.deviation.strokes_drawn, trace.deviation.strokes_cut, trace.deviation.stray_runs) == (3, 0, 0)
    assert trace.deviation.max_mm <= ALLOWED_MM + STEP_MM


def test_lost_steps_are_found_to_the_step_and_stop_the_drawing_between_pens(tmp_path):
    """The board's own count shows no error; homing detects it, and the second pen does not draw in the wrong place."""

    class Book:
        reached = 0

        def begin(self, number, record):
            pass

        def done(self, record):
            self.reached = max(self.reached, record)

    book = Book()
    with pytest.raises(Drifted, match=r"lost its position: x [+-]\d+\.\d+ mm .*the limit is 0.3 mm") as caught:
        draw(tmp_path, [FAR, NEAR], [0, 1], ALWAYS, faults=SLIPS, seen=book)
    lost, _ = read_trace(tmp_path / "run.tape").lost_steps
    assert lost > 100
    found = caught.value.drift
    assert found.moment == "pens"
    assert found.x_steps == pytest.approx(-lost, abs=2)  # they were lost on the way back
    assert found.x_mm == pytest.approx(found.x_steps / 80)
    assert abs(found.y_steps) <= 1
    program = plan(Drawing.from_strokes([FAR, NEAR], [0, 1], PENS), HOMING)
    assert book.reached == program.groups[0].records[1]


def test_at_the_end_it_is_reported_and_the_drawing_counts_as_finished(tmp_path):
    _, _, result = draw(tmp_path, [NEAR, FAR], [0, 0], DriftCheck(frozenset(("end",)), 0.3), faults=SLIPS)
    assert result.finished
    (found,) = result.drifts
    assert found.beyond(0.3)
    assert found.x_steps == pytest.approx(-read_trace(tmp_path / "run.tape").lost_steps[0], abs=2)


def test_the_user_changes_the_pen_after_the_check(tmp_path):
    control = Control()
    asked = []

    def on_progress(now):
        if now.state == "pen":
            asked.append((now.pen.name, len(asked)))
            control.pen_changed()

    _, _, result = draw(
        tmp_path, [NEAR, NEAR], [0, 1], ALWAYS, control=control, ask_for_pens=True, on_progress=on_progress
    )
    assert result.finished
    assert [name for name, _ in asked] == ["red"]
    assert [drift.moment for drift in result.drifts] == ["start", "pens", "end"]


def test_a_slower_pace_outlives_the_check(tmp_path):
    control = Control()
    paces = []

    def on_progress(now):
        if not paces:
            control.slow_to(0.5)
        paces.append((now.stroke, now.state, now.pace))

    draw(tmp_path, [FAR, FAR], [0, 1], DriftCheck(frozenset(("pens",)), 0.3), control=control, on_progress=on_progress)
    assert {pace for stroke, state, pace in paces if stroke == 2 and state == "drawing"} <= {0.0, 0.5}
    assert any(pace == 0.5 for stroke, _, pace in paces if stroke == 2)


@pytest.mark.parametrize("moment", ["start", "pens"])
def test_abandoning_in_the_middle_of_a_check(tmp_path, moment):
    control = Control()

    def on_progress(now):
        if now.state == "homing":
            control.abandon()

    check = DriftCheck(frozenset((moment,)), 0.3)
    program, lockstep, result = draw(tmp_path, [NEAR, NEAR], [0, 1], check, control=control, on_progress=on_progress)
    assert not result.finished
    assert result.records_done == (program.groups[0].records[1] if moment == "pens" else 0)
    assert lockstep.board.pen.is_up()
    assert_clean(read_trace(tmp_path / "run.tape"))


def test_cutting_the_motors_in_the_middle_of_a_check(tmp_path):
    control = Control()

    def on_progress(now):
        if now.state == "homing":
            control.cut()

    with pytest.raises(BoardFault, match="motors cut"):
        draw(tmp_path, [NEAR], [0], ALWAYS, control=control, on_progress=on_progress)


def test_what_the_user_says_comes_before_what_the_rig_file_says():
    rig = HOMING.changed({"drift.check": ["end"], "drift.limit_mm": 0.5})
    assert DriftCheck.of(rig) == DriftCheck(frozenset(("end",)), 0.5)
    assert DriftCheck.of(rig, "start, pens", 0.1) == DriftCheck(frozenset(("start", "pens")), 0.1)
    assert DriftCheck.of(rig, "none") == DriftCheck(frozenset(), 0.5)
    assert rig.fingerprint() == HOMING.fingerprint()
    with pytest.raises(InputError, match="--check-drift 'noon' is not a moment"):
        DriftCheck.of(rig, "noon")
    with pytest.raises(InputError, match="a drift limit of -1 mm is not above 0"):
        DriftCheck.of(rig, "end", -1.0)
    with pytest.raises(InputError, match="has no endstops"):
        DriftCheck.of(BY_HAND, "end")


# From the command line

PENS_SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">
<path stroke="#a00" d="M5 5H85"/><path stroke="#00a" d="M5 20H20"/></svg>"""


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    (tmp_path / "pens.svg").write_text(PENS_SVG, encoding="utf-8")
    (tmp_path / "rig.toml").write_text(Rig.default_text().replace("check = []", 'check = ["end"]'), encoding="utf-8")
    return tmp_path


@pytest.mark.slow
def test_drift_on_the_command_line(place, capsys):
    assert cli.run(["draw", "pens.svg", "--keep", "--rig", "rig.toml", "--json"]) == 0
    (drift,) = json.loads(capsys.readouterr().out)["drift"]
    assert drift["moment"] == "end"
    assert abs(drift["x_steps"]) <= 1
    (entry,) = drawing_log.entries()
    assert entry.drift_x_mm == drift["x_mm"]

    slips = ["draw", "pens.svg", "--keep", "--port", "virtual:pull_out_a_hz=8000"]
    assert cli.run([*slips, "--check-drift", "pens"]) == 3
    assert "lost its position: x " in capsys.readouterr().err
    (story,) = journal.unfinished()
    assert (story.ended, story.strokes_done) == ("failed", 1)
    assert abs(drawing_log.entries()[0].drift_x_mm) > 0.3

    assert cli.run([*slips, "--check-drift", "end"]) == 3
    out, errors = capsys.readouterr()
    assert "at the end: x " in out
    assert "at the end the machine was off by more than 0.3 mm" in errors
    assert drawing_log.entries()[0].outcome == "finished"
    assert cli.run([*slips, "--check-drift", "end", "--drift-limit", "400"]) == 0
    assert cli.run(["log"]) == 0
    assert ", drift x " in capsys.readouterr().out
