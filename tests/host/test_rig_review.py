"""`rig check` finds dangers, errors and doubtful values."""

from __future__ import annotations

import ast
import itertools
import json
import re
from pathlib import Path
from types import SimpleNamespace
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewire import messages
from linewright import cli
from linewright.errors import InputError, RigError
from linewright.rig.board_settings import board_settings
from linewright.rig.boards import BOARDS, ROW, called
from linewright.rig.draft import draft
from linewright.rig.questions import runs_of
from linewright.rig.review import WEIGHTS, review
from linewright.rig.review.power import FUSE_RATINGS_A, fuse_a, motors_a
from linewright.rig.rig import Rig
from linewright.rig.wiring import Wiring

ROOT = Path(__file__).resolve().parents[2]
REAL = Rig.default().changed({"board": "rp2040"})
SENSED: dict[str, object] = {"supply.power_sense": "divider", "pins.motor_power": 11}


def found(rig: Rig, weight: str) -> list[str]:
    return [f"{one.about}: {one.said}" for one in review(rig) if one.weight == weight]


def test_the_default_rig_is_sound_and_the_worst_comes_first():
    findings = review(REAL)
    assert not any(one.blocks for one in findings)
    order = [WEIGHTS.index(one.weight) for one in findings]
    assert order == sorted(order)
    assert not [one for one in findings if one.weight == "unknown"]


@pytest.mark.parametrize(
    ("changes", "weight", "words"),
    [
        ({"driver.current_a": 1.8}, "danger", "drivers are set to 1.8 A, motor A is rated 1.5 A"),
        ({"supply.servo": "usb"}, "danger", "a USB 2.0 port supplies 500 mA"),
        ({"supply.switch_v": 5.0}, "danger", "supplied with 5 V; the board's inputs tolerate 3.3 V"),
        ({"supply.motor_v": 72.0}, "danger", "above 60 V"),
        ({"supply.motor_a": 2.0}, "wrong", "draw up to 2.2 A, the supply gives 2 A"),
        ({"supply.servo_a": 0.5}, "wrong", "takes 0.7 A when stalled; its supply gives 0.5 A"),
        ({"motor.a.resistance_ohm": 30.0}, "wrong", "needs 33 V, the supply has 24 V"),
        ({"driver.sense_ohm": 1.0}, "wrong", "8.8 V, more than the 3.3 V"),
        ({"driver.current_a": 0.105, "driver.reference_factor": 1.0}, "doubtful", "0.0105 V, and 10.5 mV at the sense"),
        ({"driver.current_a": 0.105, "driver.sense_ohm": 0.02}, "wrong", "may be 256 % off"),
        ({"driver.reference_factor": 0.1}, "doubtful", "0.011 V"),
        ({"driver.sense_ohm": 0.5, "driver.reference_factor": 2.0}, "doubtful", "0.5 ohm drop 0.55 V"),
        ({"driver.current_a": 0.2}, "doubtful", "motor A is rated 1.5 A: it has 13 % of its torque"),
        ({"pins.step_b": 6, "pins.enable": 3}, "wrong", "are not consecutive"),
        ({"axis.x.accel_mm_s2": 49_000.0}, "wrong", "loses steps above"),
        ({"axis.x.accel_mm_s2": 30_000.0}, "doubtful", "with a safety factor of 2 it has"),
        ({"driver.logic_v": 5.0}, "doubtful", "need 3.5 V"),
        ({"pins.servo": 25}, "doubtful", "GPIO 25 is not free"),
        ({"axis.x.endstop": "none", "axis.y.endstop": "none"}, "doubtful", "the machine has none"),
        ({}, "doubtful", "the board cannot sense that the motor supply was switched off"),
        ({**SENSED, "supply.motor_v": None}, "unknown", "the supply voltage is not known"),
        ({"sheet.size": "A2"}, "doubtful", "beyond axis.x.travel_mm"),
        ({"supply.motor_a": 2.3}, "doubtful", "a fuse of 3.15 A may never blow: it needs 6.62 A"),
        ({"supply.motor_a": 5.0}, "doubtful", "a fuse of 3.15 A may never blow"),
        ({"driver.current_a": 50.0 / 3, "supply.motor_a": 100.0}, "wrong", "the largest fuse listed here is 20 A"),
        ({"supply.servo_a": 1.5}, "doubtful", "a fuse of 0.8 A may never blow"),
        ({"driver.motor_v_max": 20.0}, "danger", "the drivers' limit is 20 V"),
        ({"driver.motor_v_max": 25.0}, "doubtful", "the drivers' limit is 25 V"),
        ({"driver.motor_v_max": None}, "unknown", "driver.motor_v_max is not known"),
        ({"driver.enable_pull_up": "no"}, "doubtful", "no resistor holds it off"),
        ({"supply.switch_v": 24.0}, "danger", "supplied with 24 V; the board's inputs tolerate 3.3 V"),
        ({"supply.switch_v": 24.0, "supply.switch_shifted": "yes"}, "good", "their signals are reduced to 3.3 V"),
        ({"supply.motor_v": None}, "unknown", "supply.motor_v is not known"),
        ({"driver.current_a": None}, "unknown", "driver.current_a is not known"),
        ({"axis.y.moving_mass_g": None}, "unknown", "axis.y.moving_mass_g missing"),
        ({"board": "portable"}, "unknown", "depend on its model"),
    ],
)
def test_one_thing_wrong_is_found_with_its_weight_and_what_to_do(changes, weight, words):
    rig = REAL.changed(changes)
    assert any(words in said for said in found(rig, weight)), found(rig, weight)
    for one in review(rig):
        if one.weight in ("danger", "wrong"):
            assert one.do


def test_a_file_without_any_of_the_figures_is_valid_and_says_what_it_lacks():
    bare = {
        **{f"motor.{m}.{k}": None for m in "ab" for k in ("rated_current_a", "inductance_mh", "holding_torque_n_m")},
        **{f"supply.{k}": None for k in ("motor_v", "motor_a", "servo_a", "servo_stall_a")},
        "driver.current_a": None,
    }
    rig = REAL.changed(bare)
    assert motors_a(rig) is None
    assert not any(one.blocks for one in review(rig))
    assert len(found(rig, "unknown")) >= 6


def test_the_figures_of_supplies_and_masses_change_no_fingerprint():
    changed = REAL.changed({"supply.motor_v": 12.0, "axis.x.moving_mass_g": 900.0, "driver.current_a": 0.5})
    assert changed.fingerprint() == REAL.fingerprint()
    assert REAL.changed({"driver.step_width_us": 3.0}).fingerprint() != REAL.fingerprint()


@given(volts=st.floats(5.0, 80.0), kind=st.sampled_from(["divider", "optocoupler"]))
def test_what_senses_the_motors_power_reads_it_and_spares_the_input(volts, kind):
    """Independent: a divider of 5 % resistors, an optocoupler's diode at 1.2 V (data sheets, from memory)."""
    rig = REAL.changed({**SENSED, "supply.power_sense": kind, "supply.motor_v": volts})
    (one,) = [one for one in review(rig) if one.about == "motor switch"]
    if kind == "optocoupler":
        kohm = float(re.search(r"behind ([\d.]+) kohm", one.said)[1])
        assert 2.0 <= (volts - 1.2) / kohm <= 3.3
        return
    upper, lower = (float(one) for one in re.search(r"of ([\d.]+) and ([\d.]+) kohm", one.said).groups())
    most_v = 1.1 * volts * 1.05 * lower / (1.05 * lower + 0.95 * upper)
    least_v = 0.9 * volts / (1.0 + upper / (1.0 / (1.0 / lower + 1.0 / 50.0)))
    if one.weight == "good":
        assert most_v <= 3.6
        assert least_v >= 1.99
    else:
        assert least_v < 2.01


def test_the_sense_needs_its_pin_and_the_board_hears_of_it_only_then():
    with pytest.raises(RigError, match="motor_power"):
        REAL.changed({"supply.power_sense": "divider"})
    assert board_settings(REAL.changed({"pins.motor_power": 11}))["pin_motor_power"] == -1
    told = board_settings(REAL.changed(SENSED))
    assert (told["pin_motor_power"], told["motor_power_level"]) == (11, 1)
    assert board_settings(REAL.changed({**SENSED, "supply.power_sense": "optocoupler"}))["motor_power_level"] == 0


def test_fuses_are_made_in_preferred_numbers():
    # ISO 3, R10: each about 10^(1/10) above the one before, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10.
    for low, high in itertools.pairwise(FUSE_RATINGS_A):
        assert high / low == pytest.approx(10**0.1, rel=0.02)
    assert fuse_a(0.8) == 1.0
    assert fuse_a(0.81) == 1.25
    assert fuse_a(16.0) == 20.0
    assert fuse_a(16.1) is None, "none is called good that nobody makes"


@pytest.mark.parametrize("volts", [60.5, 72.0, None])
def test_no_motor_supply_of_a_voltage_beyond_this_check_is_called_good(volts):
    assert any(said.startswith("motor supply") for said in found(REAL.changed({"supply.motor_a": 7.0}), "good"))
    rig = REAL.changed({"supply.motor_a": 7.0, "supply.motor_v": volts, "driver.motor_v_max": 100.0})
    assert not any(said.startswith("motor supply") for said in found(rig, "good"))


@given(
    st.floats(0.05, 20.0),
    st.none() | st.floats(0.1, 100.0),
    st.floats(0.05, 20.0),
    st.none() | st.floats(0.1, 50.0),
    st.floats(3.0, 80.0),
    st.none() | st.floats(5.0, 100.0),
)
def test_nothing_electrical_is_called_good_that_is_not(current, supply_a, stall, servo_a, volts, most_v):
    """An independent calculation: fuses carry the load, can be blown, and protect their wires."""
    changes = {"driver.current_a": current, "supply.motor_a": supply_a, "supply.servo_stall_a": stall}
    changes |= {"supply.servo_a": servo_a, "supply.motor_v": volts, "driver.motor_v_max": most_v}
    rig = REAL.changed({**changes, "motor.a.rated_current_a": 20.0, "motor.b.rated_current_a": 20.0})
    good = [f"{one.about}: {one.said}" for one in review(rig) if one.weight == "good"]
    for about, load, gives, margin in (
        ("motor supply", 2 * current, supply_a, 1.25),
        ("servo supply", stall, servo_a, 1.0),
    ):
        for said in (said for said in good if said.startswith(about)):
            assert about == "servo supply" or volts <= 60.0, "beyond extra-low voltage (IEC 61140)"
            fuse = float(re.search(r"fuse it with ([0-9.]+) A", said)[1])
            assert load * margin <= fuse * (1 + 1e-9)
            assert gives >= 2.1 * fuse
            assert gives <= 20.0, "more than a glass fuse is sure to open: 35 A (IEC 60127-2), a short's peak included"
    assert any(said.startswith("driver voltage") for said in good) == (most_v is not None and volts * 1.1 <= most_v)
    try:
        lines = Wiring.of(rig).lines
    except InputError:
        assert max(2 * current, supply_a or 0, stall, servo_a or 0) > 30 or volts * 1.4 > 100
        return
    for kind, load, gives in (("motor supply", 2 * current, supply_a), ("5 V", stall, servo_a)):
        thinnest = min(line.mm2 for line in lines if line.kind == kind)
        fuses = [f for f in FUSE_RATINGS_A if f >= load * (1.25 if kind == "motor supply" else 1.0) - 1e-9]
        behind = fuses[0] if fuses and (gives is None or gives >= 2.1 * fuses[0]) else max(load, gives or 0.0)
        assert 5.0 * thinnest >= behind - 1e-6, (kind, thinnest, behind)


@given(
    st.floats(0.05, 20.0),
    st.floats(0.05, 20.0),
    st.floats(0.005, 5.0),
    st.floats(0.1, 100.0),
    st.floats(1.8, 5.5),
    st.none() | st.floats(0.05, 500.0),
)
def test_no_current_and_no_trimmer_voltage_is_called_good_that_is_not(current, rated, ohm, factor, logic_v, winding):
    """Computed independently: the voltage can be set by hand, and the motor has enough current.

    A hand-held meter's three digits of 1 mV (common practice) and a comparator's 5 mV (data sheets, from memory).
    """
    changes = {"driver.current_a": current, "driver.sense_ohm": ohm, "driver.reference_factor": factor}
    changes |= {"driver.logic_v": logic_v, "motor.a.rated_current_a": rated, "motor.a.resistance_ohm": winding}
    said = found(REAL.changed(changes), "good")
    set_v, sense_v = current * ohm * factor, current * ohm
    lowest, highest = (set_v - 0.003) / factor - 0.005, (set_v + 0.003) / factor + 0.005
    trimmer = [one for one in said if "trimmer" in one]
    edge = any(abs(a / b - 1.0) < 1e-6 for a, b in ((set_v, logic_v), (sense_v, 0.5), (highest, 1.2 * sense_v)))
    can_be_set = set_v <= logic_v and sense_v <= 0.5 and 0.8 * sense_v <= lowest and highest <= 1.2 * sense_v
    assert edge or bool(trimmer) == can_be_set
    # The stated value is the one to set, within half of its last digit.
    assert all(float(re.search(r"= ([0-9.e+-]+) V", one)[1]) == pytest.approx(set_v, rel=6e-3) for one in trimmer)
    if any(one.startswith("driver current: motor A:") for one in said):
        assert 0.3 * rated <= current <= rated
        assert current * winding < REAL.supply.motor_v


def refuses(board):
    """The check of settings of `lineboard.ports.rp2`, extracted because its module imports chip modules."""
    folder = ROOT / "device" / "lineboard" / "ports"
    tree = ast.parse((folder / "rp2.py").read_text(encoding="utf-8"))
    function = next(n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name == "refuses")
    names = next(
        ast.literal_eval(n.value)
        for n in ast.parse((folder / "pins.py").read_text(encoding="utf-8")).body
        if isinstance(n, ast.Assign) and ast.unparse(n.targets[0]) == "_NAMES"
    )
    keys = tuple(messages.SETTING_BY_NAME["pin_" + name][1] for name in names)
    places = {name.upper(): i for i, name in enumerate(names)}
    scope = {
        "pins": SimpleNamespace(KEYS=keys, **places),
        "rp2_player": SimpleNamespace(timing=lambda *_: (20, 0, 0)),
        "TICK_HZ": 5_000_000,
        "_MAX_RATE": messages.SETTING_BY_NAME["max_rate"][1],
        "_STEP_WIDTH_NS": messages.SETTING_BY_NAME["step_width_ns"][1],
        "_DIRECTION_SETUP_NS": messages.SETTING_BY_NAME["direction_setup_ns"][1],
    }
    exec(compile(ast.Module([function], []), "rp2.refuses", "exec"), scope)
    return lambda settings: scope["refuses"](SimpleNamespace(_is_rp2350=board == "rp2350"), settings)


@given(
    st.sampled_from(["rp2040", "rp2350"]),
    st.integers(0, 47),
    st.just([0, 1, 2, 3]) | st.permutations(range(4)),
    st.integers(0, 47),
)
def test_the_review_calls_pins_wrong_exactly_where_the_board_refuses_them(board, first, order, servo):
    """The review and `lineboard.ports.rp2` agree about every row of pins."""
    try:
        changes = {f"pins.{name}": min(first + i, 47) for name, i in zip(ROW, order, strict=True)}
        others = [pin for pin in range(30) if pin not in changes.values() and pin != servo][:3]
        changes |= {"pins.servo": servo, "pins.enable": others[0], "pins.endstop_x": others[1]}
        rig = REAL.changed({**changes, "board": board, "pins.endstop_y": others[2]})
    except RigError:
        return  # two lines on one pin, or a pin that the board lacks: the file is invalid
    settings = [entry[4] for entry in messages.SETTINGS]
    for name, value in board_settings(rig).items():
        settings[messages.SETTING_BY_NAME[name][1]] = value
    wrong = any(one.weight == "wrong" and one.about == "pins" for one in review(rig))
    assert wrong == (refuses(board)(settings) is not None)


def test_exit_codes_and_json(tmp_path, capsys):
    path = tmp_path / "rig.toml"
    path.write_text(Rig.default_text())
    assert cli.run(["rig", "check", str(path), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["sound"]
    assert {"weight", "about", "said", "why", "do"} == set(said["findings"][0])
    path.write_text(Rig.default_text().replace("current_a = 1.1 ", "current_a = 2.0 "))
    assert cli.run(["rig", "check", str(path), "--json"]) == 2
    said = json.loads(capsys.readouterr().out)
    assert not said["sound"]
    assert said["findings"][0]["weight"] == "danger"
    assert cli.run(["rig", "check", str(path)]) == 2
    text = capsys.readouterr().out
    assert "set them to 1.5 A" in text
    assert "to put right before anything is switched on" in text


@pytest.mark.parametrize("keep", [0, 1, 60, 700, 2500])
def test_a_file_half_written_is_refused_or_checked_but_never_a_bug(keep, tmp_path, capsys):
    path = tmp_path / "rig.toml"
    path.write_text(Rig.default_text()[:keep])
    assert cli.run(["rig", "check", str(path), "--json"]) == 2
    assert "error" in json.loads(capsys.readouterr().out)


# The table of boards


def test_every_board_that_a_rig_file_may_name_is_in_the_table_and_can_be_wired():
    assert set(BOARDS) == set(get_args(Rig.model_fields["board"].annotation))
    for name, board in BOARDS.items():
        assert board.chip in messages.BOARDS
        if name == "virtual":
            continue
        made = draft({"board": name}).rig
        weights = {one.weight for one in review(made) if one.about == "pins"}
        assert weights == ({"unknown"} if board.pins is None else {"good"}), name
        if board.pins is not None:
            assert {pin for _, pin in made.pins if pin is not None} <= board.pins - set(board.own)


@pytest.mark.parametrize(
    ("machine", "name"),
    [
        ("Raspberry Pi Pico with RP2040", "pico"),
        ("Raspberry Pi Pico W with RP2040", "pico-w"),
        ("Raspberry Pi Pico2 with RP2350", "pico-2"),
        ("Raspberry Pi Pico 2 W with RP2350", "pico-2-w"),
        ("Raspberry Pi Pico 2 W with RP2350-RISCV", "pico-2-w"),
        ("Arduino Nano RP2040 Connect with RP2040", "nano-rp2040-connect"),
        ("Pimoroni Tiny 2040 8MB with RP2040", "tiny-2040"),
        ("Some Board with RP2350", "rp2350"),
        ("Generic ESP32 module with ESP32", ""),
        ("linux [GCC 12.2.0] version", ""),
        ("", ""),
    ],
)
def test_a_board_is_known_by_what_its_micropython_calls_it(machine, name):
    """Names: MicroPython 1.28, ports/rp2/boards/*/mpconfigboard.h, as `sys.implementation._machine` joins them."""
    assert called(machine) == name


@pytest.mark.parametrize(
    ("board", "pins", "weight"),
    [
        ("pico", {"servo": 25}, "wrong"),
        ("pico-w", {"servo": 23}, "wrong"),
        ("rp2040", {"servo": 25}, "doubtful"),
        ("nano-rp2040-connect", {"servo": 2}, "wrong"),
        ("nano-rp2040-connect", {"servo": 6}, "doubtful"),
        ("xiao-rp2040", {"servo": 5}, "wrong"),
        ("pico-2", {"servo": 30}, "wrong"),
    ],
)
def test_a_pin_that_the_board_does_not_lead_out_is_not_good(board, pins, weight):
    rig = draft({"board": board}).rig.changed({f"pins.{name}": pin for name, pin in pins.items()})
    assert [one.weight for one in review(rig) if one.about == "pins"] == [weight]


def test_the_table_in_the_docs_is_the_one_that_is_used():
    text = (Path(__file__).resolve().parents[2] / "docs" / "COMMANDS.md").read_text(encoding="utf-8")
    for name, board in BOARDS.items():
        if board.pins is not None:
            (row,) = (line for line in text.splitlines() if line.startswith(f"| `{name}` |"))
            assert f"| {board.chip} | {runs_of(sorted(board.pins))} |" in row
            assert row.endswith(f"| {board.seen} |")


CROSSED = REAL.changed({"kinematics.type": "crossed-belt"})


def test_a_crossed_belt_is_checked_on_its_diagonals():
    """By hand: 0.3 and 0.9 kg at 8 m/s^2 pull 4.8 N at either belt, at 400 mm/s where both axes go 200 mm/s."""
    figures = {
        f"axis.{name}.{key}": value for name in "xy" for key, value in (("accel_mm_s2", 8000.0), ("drag_n", 0.0))
    }
    figures |= {"axis.x.moving_mass_g": 300.0, "axis.y.moving_mass_g": 900.0}
    figures |= {f"axis.{name}.speed_mm_s": 200.0 for name in "xy"}
    rotors = {f"motor.{name}.rotor_inertia_g_cm2": None for name in "ab"}
    rig = CROSSED.changed(figures | rotors)
    assert any("at a belt speed of 400 mm/s it must pull 4.8 N" in one for one in found(rig, "good"))
    assert not any("diagonals" in one.about for one in review(REAL))
    # A motor without enough torque on diagonals, although it has enough for each axis alone.
    fast = {f"axis.{name}.speed_mm_s": 900.0 for name in "xy"} | {
        f"motor.{name}.step_rate_hz": 131_071 for name in "ab"
    }
    slow = rig.changed(fast | {"supply.motor_v": 12.0})
    told = [one for one in review(slow) if "diagonals" in one.about]
    assert [one.weight for one in told] == ["doubtful", "doubtful"]
    rate = int(re.search(r"lower motor.a.step_rate_hz to (\d+)", told[0].do + told[1].do).group(1))
    calm = slow.changed({f"motor.{name}.step_rate_hz": rate for name in "ab"})
    assert all(one.weight == "good" for one in review(calm) if "diagonals" in one.about)


@pytest.mark.parametrize("torque", [0.12, 0.2, 0.5])
def test_a_new_crossed_belt_is_good_on_its_diagonals(torque):
    rig = draft({"kinematics": "crossed-belt", "holding_torque_n_m": torque, "mass_y_g": 900.0}).rig
    rig = rig.changed({"assumed": []})
    assert [one.weight for one in review(rig) if "diagonals" in one.about] == ["good", "good"]
