"""The board's limits accept all plans of the host on any rig, and reject what is well beyond them."""

from __future__ import annotations

import math
from array import array

import numpy as np
import pytest

from dual.record_reader import laid_down
from lineboard import feeder, guard
from linewire import messages, records
from linewright import motion
from linewright.drawing.strokes import Drawing
from linewright.program.program import Program
from linewright.rig.board_settings import board_settings
from linewright.rig.rig import Rig


class Queue:
    """The part of a feeder that `Guard.admit` uses."""

    def __init__(self) -> None:
        self.values = array("i", [0] * feeder.SLOTS)
        self.places = array("i", [0] * feeder.SLOTS)
        self.lengths = array("H", [0] * feeder.SLOTS)
        self.taken = 0


QUEUE = Queue()


class Still:
    def now_us(self) -> int:
        return 0


def guarded(settings: dict[str, int], at: tuple[int, int] = (0, 0)) -> guard.Guard:
    it = guard.Guard(Still(), feeder.MASK)
    low_high = tuple(settings[name] for name in ("x_low", "x_high", "y_low", "y_high"))
    rates = (settings["rate_a"], settings["rate_b"], settings["ramp_accel"], settings["corner_rate"])
    it.configure(settings["kinematics"] == 1, low_high, *rates, settings["servo_low_us"], settings["servo_high_us"])
    it.begin(*at, True)
    return it


def admit(it: guard.Guard, entries: list[tuple[int, int, int, int]]) -> tuple[int, int]:
    """(records admitted, fault of the next)."""
    queue, done = QUEUE, 0
    queue.taken = 0
    for entry in entries:
        slot = queue.taken & feeder.MASK
        queue.values[slot], queue.places[slot] = laid_down(*entry)
        fault = it.admit(queue, 1)
        if fault:
            return done, fault
        done += 1
        queue.taken += 1
    return done, 0


def entries_of(program: Program) -> list[tuple[int, int, int, int]]:
    columns = (
        program.kind,
        program.da + program.servo_us + program.rest_ticks,
        program.db + program.dwell_ms,
        program.v_end,
    )
    return [tuple(map(int, row)) for row in zip(*columns, strict=True)]


def crowd(seed: int) -> Drawing:
    """Circles of many sizes, zigzags, random walks of long and of tiny steps, and sharp reversals."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 90)
    strokes = [40 + r * np.c_[np.cos(turn), np.sin(turn)] for r in (0.3, 1.0, 3.0, 12.0)]
    strokes.append(np.c_[20 + np.arange(30.0), 80 + 25 * (np.arange(30) % 2)])
    strokes.append(60 + np.cumsum(rng.normal(0, 0.15, (300, 2)), axis=0))
    strokes.append(60 + np.cumsum(rng.normal(0, 1.5, (120, 2)), axis=0))
    strokes.append(np.array([[30, 30], [90, 31], [30.5, 30.2], [90, 90], [31, 30], [30, 90.0]]))
    return Drawing.from_strokes(strokes)


RIGS = {
    "default": {},
    "crossed belts": {"kinematics.type": "crossed-belt"},
    "unlike axes": {"axis.x.accel_mm_s2": 600.0, "axis.y.accel_mm_s2": 2500.0, "axis.x.speed_mm_s": 150.0},
    "unlike motors": {"motor.b.microsteps": 32, "motor.b.step_rate_hz": 30_000, "motor.a.step_rate_hz": 12_000},
    "fast": {
        "axis.x.speed_mm_s": 400.0,
        "axis.y.speed_mm_s": 400.0,
        "axis.x.accel_mm_s2": 8000.0,
        "axis.y.accel_mm_s2": 8000.0,
        "motion.pen_down_speed_mm_s": 400.0,
        "motor.a.step_rate_hz": 30_000,
        "motor.b.step_rate_hz": 30_000,
    },
    "crooked": {
        "corrections.scale_x": 0.15,
        "corrections.scale_y": -0.1,
        "corrections.squareness_deg": 3.0,
        "corrections.backlash_x_mm": 0.3,
    },
    "sharp corners": {"motion.junction_deviation_mm": 0.5},
    "for the tip": {"smoothing.shaper": "tip", "smoothing.x_hz": 14.0, "smoothing.y_hz": 19.0},
}


def check_the_plan_passes(drawing: Drawing, name: str) -> None:
    rig = Rig.default().changed(RIGS[name])
    program = motion.plan(drawing, rig)
    entries = entries_of(program)
    assert admit(guarded(board_settings(rig), program.start_steps), entries) == (len(entries), 0)


@pytest.mark.parametrize("name", [name for name in RIGS if name != "for the tip"])
def test_what_the_host_plans_passes(name: str) -> None:
    for seed in (1, 2):
        check_the_plan_passes(crowd(seed), name)


def test_what_is_planned_for_the_tip_passes() -> None:
    """A zigzag, tiny steps and sharp reversals; planning all paths for the tip would take ten seconds."""
    strokes = list(crowd(1))
    check_the_plan_passes(Drawing.from_strokes([strokes[4][:12], strokes[5][:100], strokes[7]]), "for the tip")


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_a_crowd_planned_for_the_tip_passes(seed: int) -> None:
    check_the_plan_passes(crowd(seed), "for the tip")


DEFAULT = board_settings(Rig.default())
RATE = DEFAULT["max_rate"]
ACCEL = DEFAULT["ramp_accel"]


def up_to(v: int) -> list[tuple[int, int, int, int]]:
    """Slow ramps that bring motor A to a speed."""
    steps = v * v // ACCEL + 1
    return [(records.RAMP, steps, 0, v)]


@pytest.mark.parametrize(
    "entries",
    [
        [(records.RAMP, 1, 0, RATE)],
        [*up_to(RATE), (records.RAMP, 200, 0, RATE + 20)],
        [*up_to(RATE // 2), (records.RAMP, 40, 0, RATE)],
        [*up_to(RATE // 2), (records.RAMP, 3, 0, 0)],
        [*up_to(RATE // 2), (records.RAMP, -200, 0, RATE // 2)],
        [*up_to(RATE // 2), (records.RAMP, 0, 200, RATE // 2)],
        [(records.RAMP, 16_383, 0, 900)] * 2,
        [(records.RAMP, -1, 0, 300)],
        [(records.PEN, DEFAULT["servo_low_us"] - 1, 100, 0)],
        [(records.PEN, DEFAULT["servo_high_us"] + 1, 100, 0)],
    ],
    ids=["at once", "rate", "speeding up", "slowing down", "reversal", "corner", "travel", "below", "pen", "pen up"],
)
def test_what_lies_beyond_a_limit_does_not_pass(entries: list[tuple[int, int, int, int]]) -> None:
    done, fault = admit(guarded(DEFAULT), entries)
    assert fault == messages.BEYOND_LIMITS
    assert done == len(entries) - 1


def test_each_motor_has_its_own_rate() -> None:
    """A direction in which motor A makes 4/5 and motor B 3/5 of the path speed."""
    settings = {**DEFAULT, "rate_a": 8000, "rate_b": 5000, "ramp_accel": 4_000_000, "x_high": 20_000, "y_high": 20_000}
    for v, fault in ((8300, 0), (8360, messages.BEYOND_LIMITS)):  # 5000 / 0.6 = 8333
        assert admit(guarded(settings), [(records.RAMP, 4000, 3000, v)])[1] == fault
    settings["rate_b"] = 8000
    for v, fault in ((9960, 0), (10_030, messages.BEYOND_LIMITS)):  # 8000 / 0.8 = 10 000
        assert admit(guarded(settings), [(records.RAMP, 4000, 3000, v)])[1] == fault


@pytest.mark.parametrize("crossed", [False, True])
def test_calling_the_place_by_another_name_lends_no_travel(crossed: bool) -> None:
    """On a machine that is not homed, all moves together stay within one travel, even if the origin is set
    repeatedly.
    """
    settings = {**DEFAULT, "kinematics": int(crossed), "x_low": 0, "x_high": 9000, "y_low": 0, "y_high": 9000}
    it = guarded(settings)
    # Along x: 3000 steps of motor A, or of both motors, and then the place is called (0, 0) again.
    b = 3000 if crossed else 0
    moves = 0
    while admit(it, [(records.RAMP, 3000, b, 500)])[1] == 0:
        it.renamed(3000, b, 0, 0)
        it.begin(0, 0, True)
        moves += 1
    assert moves == 3
    # After homing, or a move by hand with free motors, it may continue.
    it.lost(3, 0, 0)
    it.begin(0, 0, True)
    assert admit(it, [(records.RAMP, 3000, b, 500)])[1] == 0


def test_a_plan_for_the_tip_keeps_the_step_rate_where_that_is_what_limits_it() -> None:
    """Along a diagonal on which compensation of rounding once exceeded the rate, so that the board refused."""
    changes = {**RIGS["fast"], "smoothing.shaper": "tip", "smoothing.x_hz": 30.0, "smoothing.y_hz": 30.0}
    rig = Rig.default().changed(changes)
    program = motion.plan(Drawing.from_strokes([np.array([[20.0, 20], [121, 120]])]), rig)
    assert admit(guarded(board_settings(rig), program.start_steps), entries_of(program))[1] == 0


def pressed(it: guard.Guard, chance: np.random.Generator, rate: int, accel: int) -> list[tuple[int, int, int]]:
    """(da, db, v) that the board accepts: acceleration, then short ramps that turn as fast as allowed."""
    v = int(rate * chance.uniform(0.2, 1.0))
    out = [(v * v // (2 * accel) + 2, 0, v), (v // 20 + 1, 0, v)]
    assert admit(it, [(records.RAMP, *ramp) for ramp in out]) == (2, 0)
    longest, period = int(chance.choice([1, 2, 4, 12, 40, 150])), int(chance.choice([1, 2, 3, 8, 30, 100]))
    turn, heading = chance.choice([0.4, math.pi / 4, math.pi / 2, math.pi]), 0.0
    for i in range(80):
        wanted = turn * (i // period) if chance.random() < 0.9 else chance.uniform(0, 2 * math.pi)
        n = int(chance.integers(1, longest + 1))
        end = max(1, int(v * chance.choice([1.0, 1.0, 0.98, 0.9])))
        before = it.limits[:]
        for share in (1.0, 0.6, 0.3, 0.15, 0.07, 0.0):
            angle = heading + share * ((wanted - heading + math.pi) % (2 * math.pi) - math.pi)
            ramp = (round(n * math.cos(angle)), round(n * math.sin(angle)), end)
            if any(ramp[:2]) and not admit(it, [(records.RAMP, *ramp)])[1]:
                out.append(ramp)
                heading = math.atan2(ramp[1], ramp[0])
                break
            it.limits[:] = before
    return out


def asked_of_motors(ramps: list[tuple[int, int, int]], period_s: float) -> np.ndarray:
    """(n, 2) where ramps along straight lines have the motors every `period_s`, by constant acceleration."""
    d = np.array([ramp[:2] for ramp in ramps], dtype=float)
    v1 = np.array([ramp[2] for ramp in ramps], dtype=float)
    v0 = np.concatenate(([0.0], v1[:-1]))
    length = np.hypot(*d.T)
    lasts = 2 * length / (v0 + v1)
    begins = np.concatenate(([0.0], np.cumsum(lasts)))
    t = np.arange(0.0, begins[-1], period_s)
    at = np.minimum(np.searchsorted(begins, t, side="right") - 1, len(d) - 1)
    since = t - begins[at]
    gone = v0[at] * since + (v1 - v0)[at] / lasts[at] * since**2 / 2
    places = np.concatenate((np.zeros((1, 2)), np.cumsum(d, axis=0)))
    return places[at] + d[at] * (gone / length[at])[:, None]


@pytest.mark.parametrize(
    ("rate", "accel", "jump"), [(8000, 60_000, 1500), (40_000, 300_000, 6000), (20_000, 90_000, 2000)]
)
def test_rows_of_short_ramps_come_to_no_more_than_the_acceleration_and_one_jump(
    rate: int, accel: int, jump: int
) -> None:
    """Accepted ramps keep the limits of second differences of position, in windows of any length, within rounding.

    A motor that accelerates by ``a`` at most makes ``a h^2`` in windows ``h``, a jump by ``j`` adds ``j h``; ends of
    ramps that are off by up to 2 steps (`linewright.motion.ramps.STRAY_STEPS`) add 8.
    """
    settings = {**DEFAULT, "rate_a": rate, "rate_b": rate, "max_rate": rate, "ramp_accel": accel, "corner_rate": jump}
    reach = 100_000
    settings |= {"x_low": -reach, "x_high": reach, "y_low": -reach, "y_high": reach}
    chance = np.random.default_rng(rate)
    taken, worst = 0, 0.0
    for _ in range(12):
        ramps = pressed(guarded(settings), chance, rate, accel)
        taken += len(ramps)
        for window_s in (0.0005, 0.002, 0.008, 0.032):
            x = asked_of_motors(ramps, window_s / 4)
            asked = np.abs(x[8:] - 2 * x[4:-4] + x[:-8]).max(initial=0)
            assert asked <= accel * window_s**2 + jump * window_s + 8
            worst = max(worst, (asked - accel * window_s**2) / (jump * window_s))
    assert taken > 12 * 20
    assert worst > 1.0  # the limit is reached: without rounding to whole steps there would be less
