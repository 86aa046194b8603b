"""Complete user tasks without terminal or page: the test is the front."""

from __future__ import annotations

import io
import sys
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest

from linewright.board.drift import Drift, DriftCheck
from linewright.calibration.rehearsal.ruler import measure
from linewright.calibration.trial.design import program_of
from linewright.errors import InputError, ProgramError
from linewright.planning.pipeline import Lines, Placement
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import sheet_on
from linewright.run import journal
from linewright.run import log as drawing_log
from linewright.run.story import Manner
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.shortcut import draw_on
from linewright.tasks import drawing, fitting, hand_moves, planning, resuming, trials
from linewright.tasks.draw_task import DrawTask
from linewright.tasks.fitting import FitTask
from linewright.tasks.front import Cancelled, Quiet
from linewright.tasks.planning import Outputs, PlanTask, Spread
from linewright.tasks.subject import NamedSource, Subject, composition, subject
from linewright.tasks.target import at_port, of_rig
from linewright.tasks.trials import TrialTask

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    '<g fill="none"><path stroke="{}" d="M5 5H20V15M5 20H50"/><path stroke="{}" d="M5 30H40M5 35H40"/></g></svg>'
)


class Person(Quiet):
    """A front that records messages, changes pens, and abandons a drawing at a set stroke.

    Parameters
    ----------
    enough : strokes after which it abandons; None: never.
    answer : to every question.
    """

    def __init__(self, enough=None, answer=None):
        super().__init__()
        self.enough = enough
        self.answer = answer
        self.seen = []
        self.doing = []
        self.asked = []
        self.met = None

    def machine(self, target):
        self.met = target

    def progress(self, doing, done=None):
        self.doing.append((doing, done))

    def confirm(self, question, about):
        self.asked.append((question, about))
        return self.answer

    def ready(self, what):
        self.asked.append(what)
        return self.answer is not None

    @contextmanager
    def steering(self, control, pace):
        def told(now):
            if now.state == "pen" and (not self.seen or self.seen[-1].state != "pen"):
                control.pen_changed()
            self.seen.append(now)
            if self.enough is not None and now.stroke > self.enough:
                control.abandon()

        yield told


class Impatient(Person):
    """A front that ends every task at its first progress report."""

    def progress(self, doing, done=None):
        raise Cancelled(doing)


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(sys, "stdin", None)  # tasks must not use it
    rig = Rig.default_text().replace('endstop = "min"', 'endstop = "none"')
    (tmp_path / "rig.toml").write_text(rig, encoding="utf-8")
    (tmp_path / "quay.svg").write_text(SVG.format("#123", "#123"), encoding="utf-8")
    (tmp_path / "pens.svg").write_text(SVG.format("#a00", "#00a"), encoding="utf-8")
    return tmp_path


def planned(place, source="quay.svg", front=None):
    rig = Rig.load(place / "rig.toml")
    return planning.plan(PlanTask(source, rig, Placement(fit="keep")), front or Quiet())


def task_for(place, source="quay.svg", **more):
    job = planned(place, source)
    target = at_port(of_rig(place / "rig.toml"), "virtual")
    return DrawTask(source, job.program, job.warnings, target, **more)


def test_what_was_named_is_found_without_a_terminal(place):
    (place / "note.txt").write_text("\N{ZERO WIDTH NO-BREAK SPACE}Quay\n", encoding="utf-8")
    assert subject(NamedSource(text_file="note.txt"), None, Quiet()) == Subject("Quay\n", "lettering", "quay")
    piped = NamedSource(text_file="-", piped=io.BytesIO(b"xxx"))
    assert subject(piped, "lettering:face=running", Quiet()) == Subject("xxx", "lettering:face=running", "xxx")
    assert subject(NamedSource("a/quay.svg"), None, Quiet()) == Subject("a/quay.svg", None, "quay.svg")
    with pytest.raises(InputError, match="SOURCE and --text were given"):
        subject(NamedSource("quay.svg", "Quay"), None, Quiet())


def test_a_composition_has_a_number_that_can_be_typed_again():
    assert composition(7) == (7, "surprise:seed=7")
    number, pattern = composition(None)
    assert 1 <= number < 10_000
    assert pattern == f"surprise:seed={number}"


def test_a_plan_leaves_the_files_that_are_wanted(place):
    person = Person()
    program = planned(place, "pens.svg", person).program
    assert person.doing[0] == ("making lines", 0.0)
    written = planning.write(program, "pens.svg", Outputs(place / "pens.lw", place / "out"))
    assert {path.suffix for path in written} == {".svg", ".png"}
    assert sum("-pen-" in path.name for path in written) == 2 * len(written) / 3
    kept = planning.plan(PlanTask("pens.lw", Rig.load(place / "rig.toml")), person)
    assert kept.program.predicted_ticks == program.predicted_ticks


def test_a_kept_program_is_not_planned_anew(place):
    planning.write(planned(place).program, "quay.svg", Outputs(place / "quay.lw"))
    with pytest.raises(InputError, match="is a planned program"):
        planning.plan(PlanTask("quay.lw", Rig.load(place / "rig.toml"), lines=Lines("hatching")), Quiet())


def test_whoever_waits_ends_a_plan(place):
    with pytest.raises(Cancelled):
        planned(place, front=Impatient())


def test_two_sources_of_one_name_are_refused_before_anything_is_planned(place):
    rig = Rig.load(place / "rig.toml")
    person = Person()
    with pytest.raises(InputError, match="would write files of the same name"):
        planning.plan_many([PlanTask("a/quay.svg", rig), PlanTask("b/quay.svg", rig)], Outputs(), Spread(), person)
    assert person.doing == []


@pytest.mark.slow
def test_what_is_wrong_with_one_source_does_not_stop_the_other(place):
    rig = Rig.load(place / "rig.toml")
    tasks = [PlanTask("none.svg", rig), PlanTask("quay.svg", rig)]
    (bad, nothing), (good, files) = planning.plan_many(tasks, Outputs(place / "out"), Spread(workers=1), Person())
    assert (bad.code, nothing) == (2, [])
    assert good.code == 0
    assert [path.name for path in files] == ["quay.lw"]


def test_a_drawing_is_drawn_logged_and_leaves_no_journal(place):
    person = Person()
    drawn = drawing.draw(task_for(place), person)
    assert drawn.finished
    assert drawn.result.final_position_error_steps == 0
    assert drawn.trace.broken == 0
    assert person.met.port == "virtual"
    assert person.seen[-1].stroke == 4
    (entry,) = drawing_log.entries()
    assert (entry.outcome, entry.strokes) == ("finished", 4)
    assert journal.unfinished() == []
    assert person.notes == []


def test_an_abandoned_drawing_is_carried_on_to_its_end(place):
    # The virtual rig loses its position with the link, so the rest begins with a complete stroke.
    person = Person(enough=1)
    stopped = drawing.draw(task_for(place), person)
    assert ("homing", None) in person.doing
    assert not stopped.finished
    assert stopped.can_carry_on
    story = resuming.find("quay.svg")
    assert resuming.unfinished() == [story]
    target = at_port(of_rig(place / "rig.toml"), None, before=story.port)
    broken = resuming.look(story, target.rig)
    assert 1 <= broken.stroke < 4
    pictures = resuming.picture_of_rest(broken, place / "out")
    assert all(path.stat().st_size for path in pictures)
    rest = drawing.draw(resuming.rest_of(broken, target), Person())
    assert rest.finished
    assert rest.result.first_record == broken.program.pen_stops[2 * broken.stroke]
    assert resuming.unfinished() == []
    assert [entry.outcome for entry in drawing_log.entries()] == ["finished", "stopped"]


def test_what_is_carried_on_is_drawn_as_it_was_asked_for(place):
    drift = DriftCheck(frozenset(), 0.2)
    drawing.draw(task_for(place, pace=0.5, pens_said=False, drift=drift), Person(enough=1))
    story = resuming.find()
    assert story.manner == Manner(ask_pens=False, pace=0.5, drift=drift)
    target = at_port(of_rig(place / "rig.toml"), None, before=story.port)
    rest = resuming.rest_of(resuming.look(story, target.rig), target)
    assert (rest.pace, rest.drift) == (0.5, drift)


def test_one_pen_of_several_is_asked_for_by_its_name(place):
    one = task_for(place, "pens.svg", ask_pens=True).with_only("#0000aa")
    person = Person(answer=True)
    assert drawing.draw(one, person).finished
    assert person.asked == ["mount the pen '#0000aa'"]


def test_another_rig_does_not_carry_on(place):
    drawing.draw(task_for(place), Person(enough=1))
    with pytest.raises(ProgramError):
        resuming.look(resuming.find(), Rig.default().changed({"axis.x.travel_mm": 222.0}))


def test_each_pen_is_asked_for_where_that_is_wanted(place):
    person = Person(answer=True)
    assert drawing.draw(task_for(place, "pens.svg", ask_pens=True), person).finished
    assert person.asked == ["mount the pen '#aa0000'"]
    asked = [now.pen.colour for now in person.seen if now.state == "pen"]
    assert set(asked) == {"#0000aa"}
    silent = Person()
    assert drawing.draw(task_for(place, "pens.svg"), silent).finished
    assert not any(now.state == "pen" for now in silent.seen)


def test_an_end_before_anything_moves_leaves_nothing_to_carry_on(place):
    with pytest.raises(Cancelled):
        drawing.draw(task_for(place), Impatient())
    assert journal.unfinished() == []


def test_where_no_journal_can_be_kept_that_is_said_and_it_is_drawn(place, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", "/proc/none")
    person = Person()
    assert drawing.draw(task_for(place), person).finished
    assert any("cannot be resumed if it is interrupted" in note for note in person.notes)


def test_drift_beyond_the_limit_is_told(place):
    (place / "rig.toml").write_text(Rig.default_text(), encoding="utf-8")
    drawn = drawing.draw(task_for(place, drift=DriftCheck(frozenset({"end"}), 0.5)), Person())
    assert len(drawn.result.drifts) == 1
    assert not drawn.too_far_off
    off = replace(drawn.result, drifts=(Drift("end", 0, 50, 0.0, -0.6),))
    assert replace(drawn, result=off).too_far_off


def test_a_board_by_hand(place):
    (place / "rig.toml").write_text(Rig.default_text(), encoding="utf-8")
    person = Person()
    stands = hand_moves.home(at_port(of_rig(place / "rig.toml"), "virtual"), person)
    assert set(stands.switches) == {"x", "y"}
    assert stands.status.position_mm is not None


def test_a_servo_goes_beyond_the_pens_own_heights_only_where_somebody_says_so(place):
    """The default rig's heights are 1300 and 1600 us, and its board takes 200 us more."""
    real = replace(of_rig(place / "rig.toml"), port="serial:/dev/none", board="rp2040")
    for height in ("500", "1099", "1801", "9" * 5000):
        with pytest.raises(InputError, match=r"outside 1100..1800|not a pen height"):
            hand_moves.pen(real, Person(), height, tried=True)
    with pytest.raises(InputError, match="stall current") as refused:
        hand_moves.pen(real, Quiet(), "1750")
    assert "--try" in refused.value.hint
    asked = []

    class Careful(Person):
        def confirm(self, question, about):
            asked.append(about)
            return False

    with pytest.raises(InputError, match="has not moved"):
        hand_moves.pen(real, Careful(), "1150")
    assert "1300 to 1600" in asked[0]
    assert hand_moves.pen(at_port(of_rig(place / "rig.toml"), "virtual"), Person(), "1750").servo_us == 1750


def test_a_sheet_that_was_made_is_fitted_once(place):
    """The machine draws 1 % too long; what a ruler says of its sheet is written into the rig file, and not twice."""
    target = of_rig(place / "rig.toml")
    sheet = sheet_on(target.rig)
    made, files = trials.make(TrialTask("scale", target, place / "trial"))
    assert files.program.exists()
    assert "scale" in trials.names()
    faults = Faults.parse(["scale_x=0.01"])
    ink = draw_on(Machine.from_rig(target.rig), faults, program_of(made, target.rig, sheet))
    measured = measure(made, ink, sheet, target.rig, np.random.default_rng(1))
    answers = {name: f"{value:.1f}" for name, value in measured.items()}

    shown = fitting.fit(FitTask("scale", target, answers, only_show=True), Person())
    assert shown.kept is None
    fitted = fitting.fit(FitTask("scale", target, {}), Person(), lambda trial: answers)
    assert fitted.kept is not None
    after = of_rig(place / "rig.toml")
    assert after.rig != target.rig
    with pytest.raises(InputError):
        fitting.fit(FitTask("scale", after, answers), Person(answer=True))
    fitting.undo(after)
    assert of_rig(place / "rig.toml").rig == target.rig


def test_a_figure_that_cannot_have_been_measured_is_refused(place):
    made, _ = trials.make(TrialTask("scale", of_rig(place / "rig.toml"), place / "trial"))
    entry = made.entries[0]
    fitting.refuse_absurd(entry, f"{entry.expected:g}")
    with pytest.raises(InputError):
        fitting.refuse_absurd(entry, "3")


def test_without_measurements_and_nobody_to_ask_nothing_is_fitted(place):
    with pytest.raises(InputError, match="there are no measurements"):
        fitting.fit(FitTask("scale", of_rig(place / "rig.toml")), Person())
