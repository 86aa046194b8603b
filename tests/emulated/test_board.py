"""The board's code under stock MicroPython on an emulated RP2040, against the host's prediction, edge by edge."""

from __future__ import annotations

import inspect
import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from dual import test_kernel
from emulated import prediction
from emulated.link import EmulatedLink, keep_board_time
from emulated.mechanics import Mechanics
from emulated.prompt import EmulatedPrompt
from linewire import messages
from linewright import motion
from linewright.board.session import Session
from linewright.board.session_values import Control
from linewright.drawing.strokes import Drawing, Pen
from linewright.errors import BoardFault, LinkError
from linewright.rig.draft import draft
from linewright.rig.rig import Rig
from linewright.run import course

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from emulated.machine import Machine
    from linewright.program.program import Program

CYCLES_PER_TICK = 25  # 125 MHz / 5 MHz
CYCLES_PER_US = 125
START = (60, 40)  # steps from the switches, so that homing is short
# A switch is polled once a millisecond (plus the board's turn, up to two), at 800 steps/s.
LATE_STEPS = 4
# Requests during a drawing take up to 608 bytes each (`bench/drawing_heap.py`), and garbage is collected before it.
FREE_HEAP_BYTES = 20_000


def quick_rig(board: str) -> Rig:
    """The default rig with short waits, as emulated time is expensive; pins as `linewright rig new` offers them."""
    rig = Rig.default()
    homing = {"fast_mm_s": 30.0, "slow_mm_s": 10.0, "accel_mm_s2": 2000.0, "backoff_mm": 0.5, "passes": 2}
    return rig.model_copy(
        update={
            "homing": rig.homing.model_copy(update=homing),
            "pen": rig.pen.model_copy(update={"lift_ms": 20, "lower_ms": 20}),
            "pins": draft({"board": board}).rig.pins,
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
    """A board, its mechanics and a session."""

    def __init__(self, machine: Machine, monkeypatch: pytest.MonkeyPatch) -> None:
        self.machine = machine
        self.rig = quick_rig(machine.board)
        self.mechanics = Mechanics(machine, self.rig, START)
        keep_board_time(monkeypatch, machine)
        self.connect()

    def connect(self) -> None:
        self.link = EmulatedLink(self.machine)
        self.session = Session(self.link, self.rig)
        self.greeting = self.session.greet()

    def ready(self) -> None:
        """Homed and at the start of programs, with as few moves as possible."""
        self.mechanics.press(0, self.mechanics.at[0] <= 0)
        report = self.session.fresh_report()
        if report["state"] != messages.READY:
            self.home()
        self.mechanics.forget_extremes()

    def home(self) -> dict[str, int]:
        found = self.session.home()
        self.zero = tuple(self.mechanics.at)
        # A pulse in progress when homing halts the player has at least its width.
        assert self.mechanics.width[0] == 250
        assert self.mechanics.set_up >= 125
        return found

    def plan(self) -> Program:
        return motion.plan(card(), self.rig)

    def made(self, since: int) -> np.ndarray:
        """(n, 3): cycle, motor, sign of the steps after the first ``since``."""
        return np.array(self.mechanics.steps[since:], dtype=np.int64).reshape(-1, 3)

    def stopped(self) -> bool:
        """Motors off, and no further step."""
        made = len(self.mechanics.steps)
        off = self.machine.level(self.rig.pins.enable) == 1
        self.machine.run_us(20_000)
        return off and len(self.mechanics.steps) == made

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


@pytest.fixture(scope="module")
def shared(shared_machine: Machine) -> Iterator[Bench]:
    with pytest.MonkeyPatch.context() as monkeypatch:
        yield Bench(shared_machine, monkeypatch)


@pytest.fixture
def bench(shared: Bench) -> Bench:
    shared.ready()
    return shared


def test_greets_keeps_still_and_has_the_pen_up_before_it_is_asked(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    fresh = Bench(machine, monkeypatch)
    assert fresh.greeting.board == "rp2040"
    assert fresh.greeting.tick_hz == 5_000_000
    pins = fresh.rig.pins
    assert fresh.servo_us() == pytest.approx(fresh.rig.pen.up_us, abs=1)
    assert machine.level(pins.enable) == 1, "drivers are off while the line is high"
    assert not fresh.mechanics.steps
    # From now on it has its rig's settings before a host connects.
    machine.reset()
    assert not machine.drives(pins.step_a)
    machine.start()
    assert machine.drives(pins.enable)
    assert machine.level(pins.enable) == 1
    assert fresh.servo_us() == pytest.approx(fresh.rig.pen.up_us, abs=1)
    assert not fresh.mechanics.steps


def test_the_kernel_makes_the_same_words_as_everywhere(machine: Machine) -> None:
    """Viper on the Cortex-M0+ computes with 32 bits; on a computer it has 64."""
    prompt = EmulatedPrompt(machine)
    prompt.run("from array import array\nfrom lineboard import kernel\nOVERHEAD = 17\n")
    for part in (test_kernel.Lcg, test_kernel.fold, test_kernel.random_ramp, test_kernel.play):
        prompt.run(inspect.getsource(part))
    for seed, disturbed in ((1, False), (2, True), (3, True)):
        # A number of ramps that needs some seconds of emulated time.
        printed = prompt.run(f"print(play({seed}, 20, {disturbed}))")
        assert printed.strip() == str(test_kernel.play(seed, 20, disturbed))


def test_homes_to_the_switches(shared: Bench) -> None:
    found = shared.home()
    assert found["x_passes"] == found["y_passes"] == 2
    assert max(found["x_spread_steps"], found["y_spread_steps"]) <= LATE_STEPS
    backoff = round(shared.rig.homing.backoff_mm * 80)
    for at in shared.zero:
        assert backoff - LATE_STEPS <= at <= backoff
    assert shared.machine.level(shared.rig.pins.enable) == 0


def test_every_edge_of_a_card_is_where_the_host_says(bench: Bench) -> None:
    program = bench.plan()
    expected = prediction.steps(program)
    before = len(bench.mechanics.steps)
    result = course.draw(bench.session, program)
    made = bench.made(before)
    assert len(made) == len(expected)
    assert (made[:, 1:] == expected[:, 1:]).all(), "the same steps, in the same order"
    late = (made[:, 0] - made[0, 0]) - (expected[:, 0] - expected[0, 0]) * CYCLES_PER_TICK
    assert late.min() == late.max() == 0, "to the cycle"
    # 2.0 us and 1.0 us, the rig's settings.
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

    result = course.draw(bench.session, program, on_progress=look, control=control)
    made = bench.made(before)
    assert seen["servo_us"] == pytest.approx(bench.rig.pen.up_us, abs=1)
    assert before < seen["steps"] < before + len(expected)
    assert (made[:, 1:] == expected[:, 1:]).all(), "time was stretched, the path was not changed"
    assert result.finished
    assert result.underruns == 0
    assert tuple(bench.mechanics.at) == bench.zero


def test_a_host_that_falls_silent_in_mid_stroke_makes_the_pen_stop_rise_and_wait(bench: Bench) -> None:
    """A stroke begins before all its records have arrived only if many have, so this one has many ramps."""
    turn = np.linspace(0, 2 * np.pi, 500)
    tremble = np.random.default_rng(4).integers(-2, 3, (500, 2)) / 80
    stroke = 4 + 2 * np.c_[np.cos(turn), np.sin(turn)] + tremble
    program = motion.plan(Drawing(stroke, np.array([0, 500]), np.zeros(1, np.int32), (Pen("pen"),)), bench.rig)
    known = int(program.packed().first[5])
    assert 392 < known < len(program) - 200, "what five frames hold is enough to begin, and not all"
    lasts_us = float(program.ticks_before[known]) / 5
    silence_us = bench.rig.guard.host_silence_s * 1e6
    assert silence_us < lasts_us, "it is missed before the records run out"
    expected = prediction.steps(program)
    before = len(bench.mechanics.steps)
    servo = bench.rig.pins.servo
    bench.machine.watch(servo)
    bench.link.stall(in_moves_frame=6, for_us=lasts_us + 1_000_000)
    result = course.draw(bench.session, program)
    made = bench.made(before)
    assert (made[:, 1:] == expected[:, 1:]).all()
    waits = np.diff(made[:, 0])
    stopped = int(waits.argmax())
    assert waits[stopped] > 500_000 * CYCLES_PER_US, "it waited in the middle"
    assert 0 < stopped < len(waits) - 1
    began, ended = made[stopped, 0], made[stopped + 1, 0]
    edges = [(cycle, level) for cycle, level in bench.machine.edges[servo] if began < cycle < ended]
    widths_us = [
        (fall - rise) / CYCLES_PER_US
        for (rise, high), (fall, low) in itertools.pairwise(edges)
        if high == 1 and low == 0
    ]
    assert max(widths_us, key=widths_us.count) == pytest.approx(bench.rig.pen.up_us, abs=1), "pen up"
    assert result.finished
    assert result.underruns == result.starved == 0, "it came to a stand by itself, on known path"
    assert tuple(bench.mechanics.at) == bench.zero


def test_a_processor_that_is_stuck_for_a_moment_at_speed_loses_the_position_and_says_so(bench: Bench) -> None:
    program = bench.plan()
    seen: dict[str, int] = {}

    def freeze() -> None:
        # Longer than the player's largest look-ahead.
        bench.machine.freeze(150_000)
        seen["steps"] = len(bench.mechanics.steps)

    with pytest.raises(BoardFault, match="player broke off"):
        course.draw(bench.session, program, on_progress=watch_for(lambda progress: progress.played_s > 0.25, freeze))
    assert len(bench.mechanics.steps) == seen["steps"], "what it had was played; nothing was set going again"
    assert bench.stopped()
    assert bench.servo_us() == pytest.approx(bench.rig.pen.up_us, abs=1)
    report = bench.session.fresh_report()
    assert report["state"] == messages.FAULTED
    assert not report["flags"] & messages.FLAG_TRUSTED


def test_a_switch_hit_in_mid_drawing_stops_everything(bench: Bench) -> None:
    program = bench.plan()
    seen: dict[str, int] = {}

    def hit() -> None:
        seen["cycle"] = bench.machine.cycle
        bench.mechanics.press(0, True)

    with pytest.raises(BoardFault, match="endstop"):
        course.draw(bench.session, program, on_progress=watch_for(lambda progress: progress.played_s > 0.3, hit))
    after = bench.mechanics.steps[-1][0] - seen["cycle"]
    # 2 ms to believe the switch, one pause of up to 20 ms and one turn of the loop before it is looked at.
    assert after < 30_000 * CYCLES_PER_US
    assert bench.stopped()
    assert bench.servo_us() == pytest.approx(bench.rig.pen.up_us, abs=1)
    assert not bench.session.report()["flags"] & messages.FLAG_TRUSTED


@pytest.mark.parametrize("how", ["button", "watchdog"])
def test_a_reset_in_mid_drawing_lets_go_and_starts_anew(bench: Bench, how: str) -> None:
    program = bench.plan()
    pins = bench.rig.pins
    seen: dict[str, int] = {}

    def reset() -> None:
        if how == "button":
            bench.machine.reset()
        else:
            bench.machine.freeze(2_500_000)
        seen["steps"] = len(bench.mechanics.steps)
        assert not bench.machine.drives(pins.step_a)
        bench.machine.start()

    resets = bench.machine.resets
    with pytest.raises(LinkError):
        course.draw(bench.session, program, on_progress=watch_for(lambda progress: progress.played_s > 0.15, reset))
    assert bench.machine.resets == resets + 1
    assert len(bench.mechanics.steps) == seen["steps"], "no step by itself"
    assert bench.stopped()
    # Rig and heights are stored: drivers off and pen up before a host connects.
    assert bench.machine.drives(pins.enable)
    assert bench.servo_us() == pytest.approx(bench.rig.pen.up_us, abs=1)
    bench.connect()
    report = bench.session.report()
    assert report["state"] == messages.UNHOMED
    assert report["fault"] == (messages.WATCHDOG if how == "watchdog" else messages.NO_FAULT)
    bench.home()
    report = bench.session.fresh_report()
    assert (report["state"], report["fault"]) == (messages.READY, messages.NO_FAULT)


WATCHED = """
import gc, micropython, time
from lineboard import board
from lineboard.ports import pins, rp2
poll, pause = board.Board.poll, rp2.Rp2Port.pause
clock, past = time.ticks_us, time.ticks_diff
seen = [0, 0, 0, 0]  # slept in this turn, longest turn without its sleep, turns with the heap locked, free heap

def watched_pause(port, max_us, expecting, spare_us):
    begun = clock()
    pause(port, max_us, expecting, spare_us)
    seen[0] += past(clock(), begun)

def watched_poll(it):
    # From the first record to the last but one; the message that it is finished may allocate.
    if it.state == board.DRAWING and 0 < it.feeder.taken and it.feeder.records_done < LAST:
        if seen[2] == 0:
            seen[3] = gc.mem_free()
        seen[2] += 1
        seen[0] = 0
        begun = clock()
        micropython.heap_lock()
        try:
            poll(it)
        finally:
            micropython.heap_unlock()
        seen[1] = max(seen[1], past(clock(), begun) - seen[0])
    else:
        poll(it)

board.Board.poll, rp2.Rp2Port.pause = watched_poll, watched_pause
try:
    rp2.main()
except KeyboardInterrupt:
    pass
print("longest turn", seen[1], "us in", seen[2], "turns heap", seen[3])
"""


def test_a_drawing_allocates_nothing_and_no_turn_of_the_loop_takes_longer_than_20_ms(
    bench: Bench, record_property: Callable[[str, object], None]
) -> None:
    program = bench.plan()
    prompt = EmulatedPrompt(bench.machine)
    prompt.begin(WATCHED.replace("LAST", str(len(program) - 2)))
    bench.machine.run_us(700_000)
    bench.machine.receive()
    bench.connect()
    bench.home()
    result = course.draw(bench.session, program)
    assert result.finished
    assert result.underruns == result.starved == 0
    said = prompt.interrupt().rpartition("longest turn ")[2].split()
    longest_us, turns, free_bytes = int(said[0]), int(said[3]), int(said[6])
    record_property("longest_turn_us", longest_us)
    print(f"longest turn of the loop while drawing: {longest_us} us, of {turns}; {free_bytes} bytes of the heap free")
    assert free_bytes > FREE_HEAP_BYTES
    assert turns > 50, "the heap was locked while it drew"
    assert longest_us <= 20_000
