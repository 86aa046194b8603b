"""Bring-up on wrongly wired virtual rigs: the dialogue follows the simulated machine's behaviour."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from types import SimpleNamespace

import pytest

from linewright.board.session import Session
from linewright.bringup.dialogue import Dialogue
from linewright.bringup.directions import FORWARDS, WAYS, judge, way_of
from linewright.bringup.hands import Hands
from linewright.bringup.notebook import Notebook, machine_key
from linewright.bringup.onlooker import Onlooker
from linewright.bringup.steps import STEPS
from linewright.bringup.talk import Ask, Choice, StepCommand, Talk, Watch
from linewright.errors import InputError
from linewright.rig.rig import Rig
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.virtual.bystander import BesideWorld
from linewright.virtual.harness import LockstepRig

# A machine of postcard size, so that its tests are short.
TEXT = Rig.default_text().replace("travel_mm = 310.0", "travel_mm = 90.0").replace("passes = 2 ", "passes = 1 ")
SMALL = Rig.parse(TEXT)
NAMES = [step.name for step in STEPS]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


class Witness:
    """Answers truthfully by the machine's state, unless set otherwise, and records what was said."""

    def __init__(self, world, rig, answers=None, on=None):
        self.onlooker = Onlooker(BesideWorld(world), rig)
        self.answers = {key: list(lines) for key, lines in (answers or {}).items()}
        self.on = on or {}
        self.world = world
        self.said = []
        self.asked = []

    def hear(self, kind, text):
        self.said.append((kind, text))

    def answer(self, ask):
        self.asked.append(ask.key)
        truth = self.onlooker.answers(ask)
        if ask.key in self.on:
            self.on.pop(ask.key)(self.world)
        if self.answers.get(ask.key):
            line = self.answers[ask.key].pop(0)
            if isinstance(line, type):
                raise line
            return line
        assert ask.key != "after trouble", self.said[-2:]
        return truth

    def act(self, watch):
        self.asked.append(watch.key)
        return self.onlooker.acts(watch)

    def texts(self, *kinds):
        return " ".join(text for kind, text in self.said if kind in kinds)


class Walk:
    """One bring-up in lockstep."""

    def __init__(
        self, tmp_path, faults="", *, rig_text=None, answers=None, on=None, start=None, machine=None, board="rp2040 e66"
    ):
        self.file = tmp_path / "rig.toml"
        if not self.file.exists():
            self.file.write_text(rig_text or TEXT, encoding="utf-8")
        rig = Rig.load(self.file)
        lockstep = LockstepRig(machine or Machine.from_rig(rig), faults=Faults.parse(filter(None, faults.split(","))))
        self.person = Witness(lockstep.world, rig, answers, on)
        self.world = lockstep.world

        def host(link):
            self.hands = Hands(Session(link, rig), rig, self.file)
            notebook = Notebook(lambda: board)
            self.carried_on = notebook.read(rig)
            self.notebook = notebook
            return Dialogue(STEPS, self.hands, self.person, notebook).walk(start)

        with lockstep.host_time():
            self.walked = lockstep.run(host)
        self.rig = Rig.load(self.file)


PEN_KEYS = {"pen.up_us", "pen.down_us", "pen.near_us", "pen.near_ms"}

# Faults that the rig file can put right.


def test_a_sound_machine_is_brought_up_without_a_correction(tmp_path):
    walk = Walk(tmp_path)
    assert walk.walked.complete
    assert list(walk.walked.states) == NAMES
    assert walk.hands.corrections.keys() <= PEN_KEYS
    assert walk.person.texts("found") == ""
    # Heights for lifting during travel: up, just clear of the contact, down.
    pen = walk.rig.pen
    assert pen.near_us
    assert 0 < (pen.near_us - pen.up_us) / (pen.down_us - pen.up_us) < 1


@pytest.mark.parametrize(
    ("kinematics", "faults", "corrected"),
    [
        pytest.param("cartesian", "reversed_a=1", {"motor.a.reversed": True}, marks=pytest.mark.slow),
        pytest.param("crossed-belt", "reversed_b=1", {"motor.b.reversed": True}, marks=pytest.mark.slow),
        ("crossed-belt", "reversed_a=1,reversed_b=1", {"motor.a.reversed": True, "motor.b.reversed": True}),
        ("cartesian", "swapped_endstops=1", {"pins.endstop_x": 9, "pins.endstop_y": 8}),
        pytest.param("crossed-belt", "inverted_servo=1", {"pen.up_us": 1600}, marks=pytest.mark.slow),
        (
            "cartesian",
            "reversed_b=1,swapped_endstops=1,inverted_servo=1",
            {"motor.b.reversed": True, "pins.endstop_x": 9},
        ),
    ],
)
def test_what_the_rig_file_can_put_right_is_written_into_it(faults, corrected, kinematics, tmp_path):
    text = TEXT.replace('type = "cartesian" ', f'type = "{kinematics}" ')
    walk = Walk(tmp_path, faults, rig_text=text)
    assert walk.walked.complete
    assert corrected.items() <= walk.hands.corrections.items()
    after = walk.file.read_text(encoding="utf-8")
    for line in text.splitlines():
        if "#" in line:
            assert line.partition("#")[2] in after  # comments stay
    assert walk.hands.kept.read_text(encoding="utf-8") == text
    assert len(list(tmp_path.glob("rig.toml.before-*"))) == 1

    # After the correction the same machine needs no further one.
    again = Walk(tmp_path, faults, machine=Machine.from_rig(Rig.parse(text)), start="greeting")
    assert again.walked.complete
    assert again.hands.corrections.keys() <= PEN_KEYS
    x, y = again.world.carriage_mm
    assert (x, y) == pytest.approx((93.0, 93.0), abs=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("kinematics", ["cartesian", "crossed-belt"])
@pytest.mark.parametrize("which", range(16))
def test_every_mixture_of_what_can_be_put_right(which, kinematics, tmp_path):
    names = ("reversed_a", "reversed_b", "swapped_endstops", "inverted_servo")
    faults = ",".join(f"{name}=1" for i, name in enumerate(names) if which >> i & 1)
    text = TEXT.replace('type = "cartesian" ', f'type = "{kinematics}" ')
    walk = Walk(tmp_path, faults, rig_text=text)
    assert walk.walked.complete
    rig = walk.rig
    assert (rig.a.reversed, rig.b.reversed) == (bool(which & 1), bool(which & 2))
    assert (rig.pins.endstop_x, rig.pins.endstop_y) == ((9, 8) if which & 4 else (8, 9))
    assert (rig.pen.up_us > rig.pen.down_us) == bool(which & 8)
    assert walk.world.carriage_mm == pytest.approx((93.0, 93.0), abs=0.05)


def test_a_motor_that_the_file_calls_reversed_wrongly_is_turned_back(tmp_path):
    text = TEXT.replace("reversed = false ", "reversed = true ", 1)
    machine = Machine.from_rig(SMALL)
    walk = Walk(tmp_path, rig_text=text, machine=machine)
    assert walk.walked.complete
    assert walk.hands.corrections["motor.a.reversed"] is False


@pytest.mark.parametrize("wired", [(True, True), (False, True)])
def test_contacts_of_the_other_kind_show_themselves_when_they_are_pressed(wired, tmp_path):
    walk = Walk(tmp_path, machine=replace(Machine.from_rig(SMALL), opens=wired))
    assert walk.walked.complete
    assert walk.rig.y.endstop_contact == "normally-closed"
    assert walk.rig.x.endstop_contact == ("normally-closed" if wired[0] else "normally-open")


def test_another_kind_of_kinematics_is_seen_from_the_first_move(tmp_path):
    crossed = SMALL.changed({"kinematics.type": "crossed-belt"})
    walk = Walk(tmp_path, machine=Machine.from_rig(crossed))
    assert walk.walked.complete
    assert walk.rig.kinematics.type == "crossed-belt"
    other_way = tmp_path / "other"
    other_way.mkdir()
    text = TEXT.replace('type = "cartesian" ', 'type = "crossed-belt" ')
    walk = Walk(other_way, rig_text=text, machine=Machine.from_rig(SMALL))
    assert walk.walked.complete
    assert walk.rig.kinematics.type == "cartesian"


# Faults that the user must correct: named, with a remedy, and found to be gone afterwards.


@pytest.mark.parametrize(
    ("fault", "step", "words"),
    [
        pytest.param("dead_x=1", "switches", "x switch is missing", marks=pytest.mark.slow),
        ("dead_y=1", "switches", "y switch is missing"),
        ("stuck_x=1", "switches", "x switch is stuck"),
        pytest.param("stuck_y=1", "switches", "y switch is stuck", marks=pytest.mark.slow),
        ("swapped_motors=1", "motor-a", "the two motors are swapped"),
        pytest.param("still_a=1", "motor-a", "motor a did not move", marks=pytest.mark.slow),
        ("still_b=1", "motor-b", "motor b did not move"),
    ],
)
def test_what_hands_must_put_right_is_named_and_tried_again(fault, step, words, tmp_path):
    def mend(world):
        world.rewire(Faults())

    walk = Walk(tmp_path, fault, answers={"after trouble": ["again"]}, on={"after trouble": mend})
    assert words in walk.person.texts("found").lower()
    # It is found in its own step, before anything depends on it.
    before = walk.person.said[: next(i for i, (_, text) in enumerate(walk.person.said) if words in text.lower())]
    assert [text for kind, text in before if kind == "title"][-1].endswith(STEPS[NAMES.index(step)].title)
    assert walk.walked.complete
    assert walk.person.texts("next")


def test_swapped_and_reversed_at_once(tmp_path):
    walk = Walk(
        tmp_path,
        "swapped_motors=1,reversed_a=1",
        answers={"after trouble": ["again"]},
        on={"after trouble": lambda world: world.rewire(Faults(reversed_a=1.0))},
    )
    assert walk.walked.complete
    assert walk.hands.corrections["motor.a.reversed"] is True


def test_a_switch_that_fails_later_ends_homing_with_its_name(tmp_path):
    """A plug came off between the switch test and homing."""
    walk = Walk(
        tmp_path,
        on={"ready homing": lambda world: world.rewire(Faults(dead_y=1.0))},
        answers={"after trouble": ["stop"]},
    )
    assert walk.walked.states["homing"] == "failed"
    assert "switch missing" in walk.person.texts("found")
    assert walk.walked.stopped


# Changing to other steps.


def test_back_again_skip_help_and_nonsense(tmp_path):
    walk = Walk(
        tmp_path,
        answers={
            "ready switches": ["what?", "help", "back"],
            "ready drivers": ["skip"],
            "despite": ["no", "yes"],
            "ready motor-b": [],
            "ready pen": ["stop"],
        },
    )
    # "back" returned to the greeting, which was repeated.
    assert walk.person.asked.count("ready greeting") == 2
    assert walk.walked.states["drivers"] == "skipped"
    # Without tested drivers, the step of motor A asks for confirmation: no (skipped), then yes for motor B.
    assert walk.walked.states["motor-a"] == "skipped"
    assert walk.walked.states["motor-b"] == "done"
    assert "depend on it" in walk.person.texts("caution")
    assert "'what?' is no answer here" in walk.person.texts("next")
    assert "another" not in walk.person.texts("good")
    assert walk.walked.stopped
    assert not walk.world.look().powered


def test_it_carries_on_another_day(tmp_path):
    first = Walk(tmp_path, "reversed_a=1", answers={"ready pen": ["stop"]})
    assert first.walked.stopped
    second = Walk(tmp_path, "reversed_a=1", machine=Machine.from_rig(SMALL))
    assert second.carried_on
    assert second.walked.complete
    assert "ready motor-a" not in second.person.asked
    # Rewired since: earlier results no longer count.
    second.file.write_text(second.file.read_text().replace("enable = 6", "enable = 10"))
    third = Walk(tmp_path, "reversed_a=1", answers={"ready switches": ["stop"]})
    assert not third.carried_on


def test_what_was_found_on_one_board_is_nothing_on_another(tmp_path):
    """After a simulation or an exchange of the board, endstops, drivers and directions are checked again."""
    rehearsed = Walk(tmp_path, answers={"ready pen": ["stop"]}, board=f"virtual {tmp_path / 'rig.toml'}")
    assert rehearsed.walked.states["motor-b"] == "done"
    real = Walk(tmp_path, answers={"ready switches": ["stop"]}, board="rp2040 e66")
    assert not real.carried_on
    assert real.walked.states == {"greeting": "done"}
    other = Walk(tmp_path, answers={"ready switches": ["stop"]}, board="rp2040 e67")
    assert not other.carried_on
    again = Walk(tmp_path, answers={"ready switches": ["stop"]}, board=f"virtual {tmp_path / 'rig.toml'}")
    assert again.carried_on


class Answering:
    """A session with an identified board."""

    def __init__(self, board, unique, *, greets=True):
        self.greeting = SimpleNamespace(board=board, same_code=True) if greets else None
        self.unique = unique

    def unique_id(self):
        return self.unique


def test_a_machine_is_known_by_its_board_and_not_by_a_path(tmp_path):
    one, other = tmp_path / "one.toml", tmp_path / "other.toml"
    real = Answering("rp2040", "e66")
    assert machine_key(real, "serial:/dev/a", one) == machine_key(real, "serial:/dev/b", other)
    keys = {
        machine_key(real, "serial:/dev/a", one),
        machine_key(Answering("rp2040", "e67"), "serial:/dev/a", one),
        machine_key(Answering("virtual", ""), "socket:127.0.0.1:4000", one),
        machine_key(Answering("portable", ""), "serial:/dev/a", one),
        machine_key(Answering("portable", ""), "serial:/dev/b", one),
    }
    assert len(keys) == 5
    # The virtual rig counts as one machine over all ports, but never as a board's.
    nobody = Answering("", "", greets=False)
    assert machine_key(nobody, "virtual", one) == machine_key(Answering("virtual", ""), "socket:127.0.0.1:4000", one)
    assert machine_key(nobody, "serial:/dev/a", one) == ""
    assert machine_key(real, "serial:/dev/a", None) == ""


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"states": 3}', '{"states": {"greeting": "done"}, "said": {}}'])
def test_a_damaged_notebook_is_a_new_one(damage, tmp_path):
    rig_file = tmp_path / "rig.toml"
    rig_file.write_text(TEXT)
    notebook = Notebook(lambda: "rp2040 e66")
    notebook.enter("greeting", "done", "hello")
    notebook.write(SMALL)
    assert Notebook(lambda: "rp2040 e66").read(SMALL)
    (file,) = (tmp_path / "state" / "linewright" / "bring-up").iterdir()
    file.write_text(damage)
    assert not Notebook(lambda: "rp2040 e66").read(SMALL)


@pytest.mark.parametrize(
    "key",
    [f"ready {name}" for name in NAMES]
    + ["press x", "held", "way A", "how far B", "raised", "touch", "at zero", "clear x"],
)
def test_wherever_it_ends_motors_are_off_pen_up_and_the_file_whole(key, tmp_path):
    # Ctrl-C and the end of the answers alternately: both end bring-up in the same way.
    ending = (KeyboardInterrupt, EOFError)[len(key) % 2]

    class Leaves(Witness):
        def answer(self, ask):
            if ask.key == key:
                raise ending
            return super().answer(ask)

        def act(self, watch):
            if watch.key == key:
                raise ending
            return super().act(watch)

    file = tmp_path / "rig.toml"
    file.write_text(TEXT)
    rig = SMALL
    lockstep = LockstepRig(Machine.from_rig(rig), faults=Faults(reversed_a=1.0))
    person = Leaves(lockstep.world, rig)

    def host(link):
        session = Session(link, rig)
        hands = Hands(session, rig, file)
        notebook = Notebook(lambda: machine_key(session, "serial:/dev/x", file))
        with pytest.raises(ending):
            Dialogue(STEPS, hands, person, notebook).walk()

    with lockstep.host_time():
        lockstep.run(host)
    assert not lockstep.world.look().powered
    assert not lockstep.world.look().pen_down
    Rig.load(file)  # valid after any of the corrections
    assert Notebook(lambda: f"virtual {file}").read(Rig.load(file)) == (key != "ready greeting")


def test_a_rig_file_that_is_broken_meanwhile_is_trouble_and_stays_as_it_is(tmp_path):
    def half(_):
        file = tmp_path / "rig.toml"
        file.write_text(file.read_text()[:900])

    file = tmp_path / "rig.toml"
    with pytest.raises(Exception, match="rig"):
        Walk(tmp_path, "reversed_a=1", on={"ready motor-a": half}, answers={"after trouble": ["stop"]})
    assert len(file.read_text()) == 900


def test_a_file_that_its_owner_mends_meanwhile_is_read_again(tmp_path):
    def mend(_):
        file = tmp_path / "rig.toml"
        file.write_text(file.read_text().replace("current_a = 2.5 ", "current_a = 1.0 "))

    text = TEXT.replace("current_a = 1.1 ", "current_a = 2.5 ")
    walk = Walk(tmp_path, rig_text=text, answers={"after trouble": ["again"]}, on={"after trouble": mend})
    assert "must not be switched on" in walk.person.texts("found")
    assert "drivers are set to 2.5 A" in walk.person.texts("found")
    assert walk.walked.complete
    assert walk.rig.driver.current_a == 1.0


def test_switches_that_scatter_are_measured_for_what_they_are(tmp_path):
    walk = Walk(tmp_path, "switch_scatter_mm=0.05", start="greeting", answers={"after trouble": ["skip"]})
    said = walk.person.texts("plain")
    for axis in "xy":
        found = re.search(rf"{axis}: mean deviation .* of one approach (\S+) mm .* R = (\S+) mm", said)
        # Ten approaches give s to a quarter, so within half and double of what it is (chi squared, 9 degrees: 99.9 %).
        assert 0.025 < float(found[1]) < 0.1
        assert float(found[2]) == pytest.approx(4 * float(found[1]), abs=0.002)
    assert walk.walked.states["repeatability"] == "failed"
    assert "a joint of two lines does not show" in walk.person.texts("found")


def test_a_machine_that_loses_steps_does_not_pass_for_repeatable(tmp_path):
    """Motor A cannot follow at the rig's speed, which only the approaches use; homing is slower."""
    walk = Walk(tmp_path, "pull_out_a_hz=6000", answers={"after trouble": ["stop"]})
    assert walk.walked.states["homing"] == "done"
    assert walk.walked.states["repeatability"] == "failed"
    assert "Axis x repeats only within" in walk.person.texts("found")


def test_a_shorter_travel_is_written_where_it_gets_tight(tmp_path):
    walk = Walk(tmp_path, answers={"clear x": ["yes", "yes", "no"], "travel x": ["900", "85.5"]})
    assert walk.walked.complete
    assert walk.rig.x.travel_mm == 85.5
    assert "outside" in walk.person.texts("next")


def test_a_travel_that_is_no_whole_number_of_steps_can_be_walked(tmp_path):
    # 89.583 mm are 7166.64 steps: homing ends at a switch of the far end, on a whole step a little outside.
    at = TEXT.index("[axis.y]")
    text = TEXT[:at] + TEXT[at:].replace("travel_mm = 90.0", "travel_mm = 89.583").replace('"min"', '"max"', 1)
    walk = Walk(tmp_path, rig_text=text)
    assert walk.walked.complete, walk.person.said[-3:]
    assert walk.rig.y.endstop == "max"


@pytest.mark.parametrize(("typed", "meant"), [("left up", "left-up"), ("Left_up", "left-up"), ("ld", "left-down")])
def test_words_of_two_parts_may_be_written_with_a_blank_or_by_their_initials(typed, meant):
    ask = Ask("way", "Which way?", tuple(map(Choice, ("left", "left-up", "left-down", "right-up"))))
    assert Talk(Typist(typed)).choose(ask) == meant


def test_what_was_typed_is_said_as_it_was_typed():
    typist = Typist("Up There", "")
    Talk(typist).ready("go", "Ready?")
    assert "'Up There' is no answer here. Answers: Enter." in typist.said[0]


def test_no_endstops_at_all(tmp_path):
    text = TEXT.replace('endstop = "min"', 'endstop = "none"')
    walk = Walk(tmp_path, rig_text=text)
    assert walk.walked.complete
    assert "no endstops" in walk.walked.said["switches"]
    assert "no switches" in walk.walked.said["repeatability"]


def test_far_switches(tmp_path):
    text = TEXT.replace('endstop = "min"', 'endstop = "max"')
    walk = Walk(tmp_path, "swapped_endstops=1", rig_text=text)
    assert walk.walked.complete


# Details.


def test_every_direction_has_one_meaning():
    for kinematics in FORWARDS:
        for motor in (0, 1):
            verdicts = [judge(kinematics, motor, way) for way in WAYS]
            for verdict in ("right", "reversed", "exchanged", "exchanged and reversed", "still"):
                assert verdicts.count(verdict) == 1
            assert verdicts.count("other kinematics") == 4
    for way, (x, y) in WAYS.items():
        assert way_of(2.0 * x, 2.0 * y) == way


def test_the_table_of_steps_is_in_order_and_whole():
    assert len(set(NAMES)) == len(NAMES)
    for i, step in enumerate(STEPS):
        assert set(step.needs) <= set(NAMES[:i])
        assert step.otherwise
        assert step.expect
    # No motor moves before the switches are tested and the drivers' cautions shown.
    assert NAMES.index("switches") < NAMES.index("drivers") < NAMES.index("motor-a") < NAMES.index("homing")
    for step in STEPS[NAMES.index("drivers") :]:
        assert step.cautions


class Typist:
    def __init__(self, *lines):
        self.lines = list(lines)
        self.said = []

    def hear(self, kind, text):
        self.said.append(text)

    def answer(self, ask):
        return self.lines.pop(0)

    act = answer


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (["ri"], "right"),
        (["LEFT"], "left"),
        (["l", "", "leftish", "left"], "left"),
        (["?", "up"], "up"),
        (["12"], "12.0"),
    ],
)
def test_answers_are_understood(typed, meant):
    ask = Ask("way", "Which way?", tuple(map(Choice, ("right", "left", "lefter", "up"))), low=10, high=20, unit="mm")
    assert Talk(Typist(*typed), ("look again",)).choose(ask) == meant


@pytest.mark.parametrize(("typed", "where"), [("back", "back"), ("sk", "skip"), ("st", "stop"), ("again", "again")])
def test_words_that_lead_elsewhere(typed, where):
    with pytest.raises(StepCommand) as turn:
        Talk(Typist(typed)).yes("held", "Does it hold?")
    assert turn.value.where == where
    with pytest.raises(StepCommand):
        Talk(Typist(typed)).watch(Watch("press x", "Press.", lambda: False))


@pytest.mark.parametrize("number", ["nan", "inf", "-1e9", "9.9", "20.1"])
def test_absurd_numbers_are_asked_again(number):
    typist = Typist(number, "15,5")
    assert Talk(typist).choose(Ask("travel", "How far?", low=10, high=20, unit="mm")) == "15.5"
    assert typist.said


def test_an_unknown_step_is_refused(tmp_path):
    with pytest.raises(InputError, match="no step is called 'dance'"):
        Walk(tmp_path, start="dance")


def test_json_is_serialisable(tmp_path):
    walk = Walk(tmp_path, "reversed_a=1", answers={"ready pen": ["stop"]})
    assert json.loads(json.dumps(walk.hands.corrections)) == {"motor.a.reversed": True}
