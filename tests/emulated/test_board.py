"""The board's code under stock MicroPython on an emulated RP2040, against the host's prediction, edge by edge."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from emulated import prediction
from emulated.link import EmulatedLink, keep_board_time
from emulated.mechanics import Mechanics
from linewire import messages
from linewright import motion
from linewright.drawing import Drawing, Pen
from linewright.errors import BoardFault, LinkError
from linewright.rig import Rig
from linewright.session import Control, Session

if TYPE_CHECKING:
    from collections.abc import Callable

    from emulated.machine import Machine
    from linewright.program import Program

CYCLES_PER_TICK = 25  # 125 MHz / 5 MHz
CYCLES_PER_US = 125
START = (60, 40)  # steps from the switches, so that homing is short
# A switch is looked at once a millisecond (plus the board's turn, up to two), at 800 steps/s.
LATE_STEPS = 4


def quick_rig() -> Rig:
    """The default rig with short waits: emulated time is expensive."""
    rig = Rig.default()
    homing = {"fast_mm_s": 30.0, "slow_mm_s": 10.0, "accel_mm_s2": 2000.0, "backoff_mm": 0.5, "passes": 2}
    return rig.model_copy(
        update={
            "homing": rig.homing.model_copy(update=homing),
            "pen": rig.pen.model_copy(update={"lift_ms": 20, "lower_ms": 20}),
        }
    )


def card() -> Drawing:
    """A circle of short ramps, a star of long ones, and a wave: 8 mm across."""
    turn = np.linspace(0, 2 * np.pi, 40)
    circle = 4 + 2 * np.c_[np.cos(turn), np.sin(turn)]
    circle[-1] = circle[0]
    corners = np.arange(6) * 4 * np.pi / 5 - np.pi / 2
    star = 4 + 3 * np.c_[np.cos(corners), np.sin(corners)]
    along = np.linspace(0, 1, 60)
    wave = np.c_[1 + 7 * along, 7.5 + 0.7 * np.sin(12 * along)]
    points = np.concatenate([circle, star, wave])
    return Drawing(points, np.array([0, 40, 46, 106]), np.zeros(3, np.int32), (Pen("pen"),))


class Bench:
    """A board, its mechanics and a homed session."""

    def __init__(self, machine: Machine, monkeypatch: pytest.MonkeyPatch) -> None:
        self.machine = machine
        self.rig = quick_rig()
        self.mechanics = Mechanics(machine, self.rig.pins, START)
        keep_board_time(monkeypatch, machine)
        self.connect()

    def connect(self) -> None:
        self.link = EmulatedLink(self.machine)
        self.session = Session(self.link, self.rig)
        self.greeting = self.session.greet()

    def home(self) -> dict[str, int]:
        found = self.session.home()
        self.zero = tuple(self.mechanics.at)
        # A pulse that is under way when homing halts the player gets its width, and then some.
        assert self.mechanics.width[0] == 250
        assert self.mechanics.set_up >= 125
        self.mechanics.forget_extremes()
        return found

    def plan(self) -> Program:
        return motion.plan(card(), self.rig)

    def made(self, since: int) -> np.ndarray:
        """(n, 3): cycle, motor, sign of the steps made since there were so many."""
        return np.array(self.mechanics.steps[since:], dtype=np.int64).reshape(-1, 3)

    def servo_us(self) -> float:
        """Width of the servo pulses, as a servo would measure it on the next one."""
        machine, pin = self.machine, self.rig.pins.servo
        machine.watch(pin)
        machine.run_us(61_000)
        edges = machine.edges[pin]
        rises = [cycle for cycle, level in edges if level]
        falls = [cycle for cycle, level in edges if not level]
        assert len(rises) >= 2, "no servo pulses"
        last = max(rise for rise in rises if rise < falls[-1])
        return (falls[-1] - last) / CYCLES_PER_US


@pytest.fixture
def bench(machine: Machine, monkeypatch: pytest.MonkeyPatch) -> Bench:
    return Bench(machine, monkeypatch)


def test_greets_and_keeps_still(bench: Bench) -> None:
    assert bench.greeting.board == "rp2040"
    assert bench.greeting.tick_hz == 5_000_000
    machine, pins = bench.machine, bench.rig.pins
    machine.run_us(50_000)
    assert machine.level(pins.enable) == 1, "drivers are off while the line is high"
    assert not bench.mechanics.steps
    assert bench.servo_us() == pytest.approx(bench.rig.pen.up_us, abs=1)


def test_homes_to_the_switches(bench: Bench) -> None:
    found = bench.home()
    assert found["x_passes"] == found["y_passes"] == 2
    assert max(found["x_spread_steps"], found["y_spread_steps"]) <= LATE_STEPS
    backoff = round(bench.rig.homing.backoff_mm * 80)
    for at in bench.zero:
        assert backoff - LATE_STEPS <= at <= backoff
    assert bench.machine.level(bench.rig.pins.enable) == 0


def test_every_edge_of_a_card_is_where_the_host_says(bench: Bench) -> None:
    bench.home()
    program = bench.plan()
    expected = prediction.steps(program)
    before = len(bench.mechanics.steps)
    result = bench.session.draw(program)
    made = bench.made(before)
    assert len(made) == len(expected)
    assert (made[:, 1:] == expected[:, 1:]).all(), "the same steps, in the same order"
    late = (made[:, 0] - made[0, 0]) - (expected[:, 0] - expected[0, 0]) * CYCLES_PER_TICK
    assert late.min() == late.max() == 0, "to the cycle"
    # 2.0 us and 1.0 us, as the rig asks.
    assert bench.mechanics.width == (250, 250)
    assert bench.mechanics.set_up >= 125
    assert result.finished
    assert result.played_ticks == program.predicted_ticks
    assert result.final_position_error_steps == 0
    assert result.underruns == result.starved == 0
    assert tuple(bench.mechanics.at) == bench.zero, "programs end where they start"


def watch_for(condition: Callable[[Any], bool], act: Callable[[], None]) -> Callable[[Any], None]:
    """A progress callback that acts once."""
    done = []

    def look(progress: Any) -> None:
        if not done and condition(progress):
            done.append(True)
            act()

    return look


def test_hold_and_carry_on_make_the_same_steps(bench: Bench) -> None:
    bench.home()
    program = bench.plan()
    expected = prediction.steps(program)
    before = len(bench.mechanics.steps)
    control = Control()
    seen: dict[str, Any] = {}

    def look(progress: Any) -> None:
        if "asked" not in seen and progress.played_s > 0.3:
            seen["asked"] = bench.machine.cycle
            control.hold()
        elif progress.state == "holding" and "steps" not in seen:
            seen["steps"] = len(bench.mechanics.steps)
            seen["servo_us"] = bench.servo_us()
            assert len(bench.mechanics.steps) == seen["steps"], "held still"
            control.carry_on()

    result = bench.session.draw(program, on_progress=look, control=control)
    made = bench.made(before)
    assert seen["servo_us"] == pytest.approx(bench.rig.pen.up_us, abs=1)
    assert before < seen["steps"] < before + len(expected)
    assert (made[:, 1:] == expected[:, 1:]).all(), "time was stretched, the path was not changed"
    assert result.finished
    assert result.underruns == 0
    assert tuple(bench.mechanics.at) == bench.zero


def test_a_host_that_falls_silent_makes_the_pen_wait(bench: Bench) -> None:
    bench.home()
    program = bench.plan()
    expected = prediction.steps(program)
    before = len(bench.mechanics.steps)
    # Requests take some 50 bytes and the first frame of records 255; the second one breaks off in its middle.
    bench.link.stall(after_bytes=350, for_us=1_500_000)
    result = bench.session.draw(program)
    made = bench.made(before)
    assert (made[:, 1:] == expected[:, 1:]).all()
    longest = np.diff(made[:, 0]).max()
    assert longest > 500_000 * CYCLES_PER_US, "it waited in the middle"
    assert result.finished
    assert result.starved >= 1
    assert result.underruns == 0, "it came to a stand by itself"


def test_a_switch_hit_in_mid_drawing_stops_everything(bench: Bench) -> None:
    bench.home()
    program = bench.plan()
    seen: dict[str, int] = {}

    def hit() -> None:
        seen["cycle"] = bench.machine.cycle
        bench.machine.press(bench.rig.pins.endstop_x, True)

    with pytest.raises(BoardFault, match="endstop"):
        bench.session.draw(program, on_progress=watch_for(lambda progress: progress.played_s > 0.3, hit))
    after = bench.mechanics.steps[-1][0] - seen["cycle"]
    # 2 ms to believe the switch, one pause of up to 20 ms and one turn of the loop before it is looked at.
    assert after < 30_000 * CYCLES_PER_US
    made = len(bench.mechanics.steps)
    assert bench.machine.level(bench.rig.pins.enable) == 1, "motors off"
    assert bench.servo_us() == pytest.approx(bench.rig.pen.up_us, abs=1)
    assert len(bench.mechanics.steps) == made
    assert not bench.session.report()["flags"] & messages.FLAG_TRUSTED


def test_a_reset_in_mid_drawing_lets_go_and_starts_anew(bench: Bench) -> None:
    bench.home()
    program = bench.plan()
    pins = bench.rig.pins
    seen: dict[str, int] = {}

    def reset() -> None:
        bench.machine.reset()
        seen["steps"] = len(bench.mechanics.steps)
        assert not bench.machine.drives(pins.step_a)
        bench.machine.start()

    with pytest.raises(LinkError):
        bench.session.draw(program, on_progress=watch_for(lambda progress: progress.played_s > 0.3, reset))
    assert len(bench.mechanics.steps) == seen["steps"], "no step by itself"
    # The rig's pins are remembered: the drivers are held off before any host has spoken.
    assert bench.machine.drives(pins.enable)
    assert bench.machine.level(pins.enable) == 1
    bench.connect()
    assert bench.session.report()["state"] == messages.UNHOMED
    bench.home()
    assert bench.session.report()["state"] == messages.READY
