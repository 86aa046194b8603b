"""No valid frame makes pulses exceed the board's limits: an observer at the port checks every pulse."""

import unittest

from board_rig import SETTINGS, BoardRig
from fake_world import Switch
from test_board_anything import Chance

from linewire import messages, records
from linewire.encoding import encode_payload

TICK_HZ = 5_000_000
RATE = 8_000
ACCEL = 60_000
JUMP = 1500
REACH = 4000
SERVO = (1200, 1800)

TOLD = {
    "max_rate": RATE,
    "rate_a": RATE,
    "rate_b": RATE,
    "ramp_accel": ACCEL,
    "accel": ACCEL,
    "corner_rate": JUMP,
    "servo_low_us": SERVO[0],
    "servo_high_us": SERVO[1],
    "x_low": 0,
    "x_high": REACH,
    "y_low": 0,
    "y_high": REACH,
    "home_end_x": 0,
    "home_end_y": 0,
    "idle_after_s": 0,
}


def turning(chance, v):
    """Many ramps of a few steps at speed: reversals, turns, zigzags, of different lengths."""
    most = chance.choice([1, 1, 2, 5, 12, 40])
    ways = chance.choice(
        [[(1, 0), (-1, 0)], [(1, 0), (0, 1), (-1, 0), (0, -1)], [(2, 1), (-1, -2)], [(1, 0), (1, 1), (0, 1), (-1, 1)]]
    )
    out = []
    for i in range(chance.choice([2, 10, 60])):
        a, b = ways[i % len(ways)]
        n = chance.choice([1, most])
        out.append((records.RAMP, a * n, b * n, chance.choice([v, v, v, v - v // 10])))
    a, b = ways[chance.below(len(ways))]
    return out + [(records.RAMP, a * 80, b * 80, v)]


def random_records(chance):
    """Records of some strokes from rest to rest; in every second case one record is random."""
    out = []
    for _ in range(1 + chance.below(3)):
        a, b = chance.choice([(1, 0), (0, 1), (1, 1), (2, -1), (-3, 1), (-1, 0), (-1, -2), (0, -1)])
        v = chance.choice([400, 2000, RATE])
        up = v * v // (2 * ACCEL) + 2
        out.append((records.PEN, chance.choice([1200, 1500, 1800]), 20, 0))
        out.append((records.RAMP, a * up, b * up, v))
        for _ in range(chance.below(4)):
            even = 1 + chance.below(200)
            out.append((records.RAMP, a * even, b * even, v))
        if chance.below(2):
            out += turning(chance, v)
        out.append((records.RAMP, a * up, b * up, 0))
        if chance.below(4) == 0:
            out.append((records.REST, chance.below(50_000), 0, 0))
    if chance.below(2):
        reach = chance.choice([1, 8, 300, 2500, 16_383])
        ramp = (chance.below(2 * reach + 1) - reach, 1 + chance.below(reach))
        out[chance.below(len(out))] = chance.choice(
            [
                (records.PEN, chance.choice([500, 1199, 1801, 2500]), chance.choice([0, 30]), 0),
                (records.RAMP, ramp[0], ramp[1], chance.choice([1, 900, RATE, RATE * 3 // 2, 131_071])),
                (records.RAMP, -ramp[0], -ramp[1], RATE),
                (records.RAMP, ramp[0], 0, 0),
            ]
        )
    return out


def sampled(times, moves, period):
    """Positions every `period` ticks, from before the first of the steps `moves` at `times` until they are over."""
    if not times:
        return []
    out = []
    at = i = 0
    tick = times[0] - 1
    while i < len(times):
        while i < len(times) and times[i] <= tick:
            at += moves[i]
            i += 1
        out.append(at)
        tick += period
        if i < len(times) and times[i] - tick > 9 * period:
            tick = times[i] - 9 * period  # at rest; later steps do not depend on earlier ones
            out += [at] * 8
    return out + [at] * 8


class Observer:
    """Checks the port's inputs: steps, servo pulses, power.

    All it knows of the machine is its settings; it does not use the board's arithmetic.
    """

    def __init__(self, world):
        self._world = world
        self._seen = 0
        self._servo_seen = 0
        self._last = [None, None]
        self._at = [0, 0]
        self.least = [0, 0]
        self.most = [0, 0]
        self.steps = 0

    def look(self):
        edges = self._world.edges
        while self._seen < len(edges):
            tick, da, db = edges[self._seen]
            self._seen += 1
            self.steps += 1
            for motor, step in ((0, da), (1, db)):
                if step:
                    last = self._last[motor]
                    # A tick of rounding, and 1/16 of an interval within the kernel's pieces.
                    assert last is None or tick - last >= TICK_HZ * 15 // (RATE * 16) - 2, (motor, tick - last)
                    self._last[motor] = tick
                    self._at[motor] += step
                    self.least[motor] = min(self.least[motor], self._at[motor])
                    self.most[motor] = max(self.most[motor], self._at[motor])
                    assert self.most[motor] - self.least[motor] <= REACH, "beyond one reach"
        servo_log = self._world.servo_log
        while self._servo_seen < len(servo_log):
            us = servo_log[self._servo_seen][1]
            self._servo_seen += 1
            assert us == 0 or SERVO[0] <= us <= SERVO[1], us

    def check_smooth(self):
        """No motor exceeds the acceleration and one jump of rate, in windows of any length.

        From the pulses alone: ``|x(t + h) - 2 x(t) + x(t - h)| <= a h^2`` for a motor that accelerates by ``a`` at
        most,
        and a jump of its rate by ``j`` adds ``j h``.  Steps are whole, and the motor that makes fewer of them moves
        when the other does, so a position is off by -1.5 to 1.5 steps, a second difference by 6.
        """
        for motor in (0, 1):
            times = [edge[0] for edge in self._edges() if edge[1 + motor]]
            moves = [edge[1 + motor] for edge in self._edges() if edge[1 + motor]]
            for window_us in WINDOWS_US:
                window_s = window_us / 1e6
                allowed = JUMP * window_s + ACCEL * window_s * window_s + 6
                seen = sampled(times, moves, TICK_HZ // 1_000_000 * window_us // 4)
                for i in range(8, len(seen)):
                    asked = abs(seen[i] - 2 * seen[i - 4] + seen[i - 8])
                    assert asked <= allowed, (motor, window_us, asked, allowed)

    def _edges(self):
        edges = self._world.edges
        return [edges[i] for i in range(len(edges))]


class Limits(unittest.TestCase):
    def check(self, seed):
        chance = Chance(seed)
        rig = BoardRig(start=(0, 0))
        observer = Observer(rig.world)
        rig.settle(**TOLD)
        rig.send("origin", a=2000, b=2000)
        rig.spend(0.1)
        program = 0
        for _ in range(60):
            what = chance.below(12)
            board = rig.board
            if board.state == messages.FAULTED:
                rig.send("abandon")
            elif what == 0:
                rig.send("origin", a=chance.below(REACH), b=chance.below(REACH))
            elif what == 1:
                rig.send("pen", servo_us=500 + chance.below(2001))
            elif what == 2:
                rig.send("pace", value=chance.choice([0, 100, 256, 256]))
            elif what == 3:
                rig.send("abandon")
            else:
                if board.state == messages.READY:
                    program += 1
                    rig.send("begin", program=program, first=0, a=board.feeder.a, b=board.feeder.b)
                    rig.spend(0.3)
                entries = random_records(chance)
                if chance.below(3):
                    entries.append((records.END, 0, 0, 0))
                try:
                    payload, _ = encode_payload(entries, 0)
                except ValueError:
                    continue
                if rig.host.can_send:
                    rig.send("moves", first=board.feeder.taken, records=payload)
            rig.spend(chance.choice([0.01, 0.2, 1.5]))
            observer.look()
        rig.send("abandon")
        rig.spend(10)
        observer.look()
        observer.check_smooth()
        return observer.steps

    def test_random_frames(self):
        """Some of them move the motors far; otherwise this proves nothing."""
        steps = [self.check(seed) for seed in range(SEEDS)]
        self.assertTrue(len([n for n in steps if n > 500]) > SEEDS // 3, steps)

    def test_no_row_of_short_ramps_turns_a_motor_around(self):
        """At full speed: reversals of one and two steps, turns by single steps, oscillations of up to 40, sudden or
        over many ramps.
        """
        up = RATE * RATE // (2 * ACCEL) + 2
        ramp = records.RAMP
        back = [(ramp, -200, 0, RATE), (ramp, -up, 0, 0)]
        turned = [(ramp, 8 - i, i, RATE) for i in range(9)] + [(ramp, -i, 8 - i, RATE) for i in range(9)]
        for attack in (
            [(ramp, 1, 0, RATE), (ramp, -1, 0, RATE)] + back,
            [(ramp, 1, 0, RATE), (ramp, -2, 0, RATE)] + back,
            [(ramp, 1, 0, RATE), (ramp, 0, 1, RATE), (ramp, 0, 200, RATE), (ramp, 0, up, 0)],
            [(ramp, 1, 0, RATE), (ramp, 0, 1, RATE), (ramp, -1, 0, RATE)] + back,
            [(ramp, 2, 0, RATE), (ramp, -2, 0, RATE)] * 50 + back,
            [(ramp, 40, 0, RATE), (ramp, -40, 0, RATE)] * 5 + back,
            [(ramp, 5, 0, RATE), (ramp, 5, 2, RATE), (ramp, 5, -2, RATE)] * 30 + back,
            turned + back,
        ):
            rig = BoardRig(start=(0, 0))
            observer = Observer(rig.world)
            rig.settle(**TOLD)
            rig.send("origin", a=REACH // 2, b=REACH // 2)
            rig.spend(0.1)
            rig.draw([(ramp, up, 0, RATE)] + attack + [(records.END, 0, 0, 0)])
            rig.spend(1)
            observer.look()
            observer.check_smooth()
            self.assertEqual(rig.last("fault")["code"], messages.BEYOND_LIMITS)

    def draw_along(self, rig, a, b):
        """Fault of a straight line of 2 * 530 steps and more that comes to rest."""
        rig.spend(0.1)
        rig.heard.clear()
        up = RATE * RATE // (2 * ACCEL) + 2
        n = max(abs(a), abs(b))
        line = [(up, RATE), (n - 2 * up, RATE), (up, 0)]
        rig.draw([(records.RAMP, a * part // n, b * part // n, v) for part, v in line] + [(records.END, 0, 0, 0)])
        rig.run(lambda: rig.last("event") or rig.last("fault"), 20)
        fault = rig.last("fault")
        return fault["code"] if fault else messages.NO_FAULT

    def test_a_carriage_moved_by_hand_may_go_wherever_its_new_name_allows(self):
        """Along an axis without a switch, moves before the motors were released no longer count."""
        rig = BoardRig()
        rig.settle(**TOLD)
        rig.send("origin", a=0, b=0)
        rig.run(lambda: rig.state() == "ready")
        for a in (3000, -3000):
            self.assertEqual(self.draw_along(rig, a, 0), messages.NO_FAULT)
        rig.send("enable", on=0)
        rig.run(lambda: rig.state() == "unhomed")
        rig.send("origin", a=2000, b=0)
        rig.run(lambda: rig.state() == "ready")
        self.assertEqual(self.draw_along(rig, -2000, 0), messages.NO_FAULT)

    def test_homing_of_one_axis_lends_no_travel_to_the_other(self):
        """The count restarts for the axis with unknown position, not for the other axis."""
        rig = BoardRig(start=(300, 300))
        rig.world.switches = [Switch(0), Switch(0)]
        told = dict(TOLD)
        told.update(home_end_x=1, home_end_y=1, home_backoff_x=100, home_backoff_y=100, home_passes=1)
        rig.settle(**told)
        rig.send("home", axes=3)
        rig.run(lambda: rig.last("homed"), 60)
        self.assertEqual(self.draw_along(rig, 0, 3500), messages.NO_FAULT)
        there = rig.world.b
        rig.send("cut")
        rig.run(lambda: rig.state() == "unhomed")
        rig.heard.clear()
        rig.send("home", axes=1)
        rig.run(lambda: rig.last("homed"), 60)
        rig.send("origin", a=0, b=0)
        rig.run(lambda: rig.state() == "ready")
        self.assertEqual(self.draw_along(rig, 0, 3000), messages.BEYOND_LIMITS)
        self.assertTrue(rig.world.b < there + 500)

    def test_homing_and_holding_keep_what_the_motors_bear(self):
        """Any separate settings of homing and holding; and a narrower servo range raises a pen that is outside it."""
        for crossed in (False, True):
            rig = BoardRig(start=(2000, 2000) if not crossed else (3000, 1000), crossed=crossed)
            observer = Observer(rig.world)
            rig.world.switches = [Switch(0), Switch(0)]
            told = dict(TOLD)
            told.update(
                kinematics=int(crossed), home_end_x=1, home_end_y=0, accel=4_000_000, home_accel_x=4_000_000,
                home_fast_x=30_000, home_slow_x=30_000, home_travel_x=REACH,
            )  # fmt: skip
            rig.settle(**told)
            rig.send("home", axes=1)
            rig.run(lambda: rig.last("homed") or rig.last("fault"), 60)
            if crossed:
                observer.look()
                continue
            rig.send("origin", a=0, b=0)
            rig.spend(0.1)
            rig.board.homed = 1
            up = RATE * RATE // (2 * ACCEL) + 2
            line = [(records.RAMP, up, 0, RATE), (records.RAMP, 1000, 0, RATE), (records.RAMP, up, 0, 0)]
            rig.draw(line + [(records.END, 0, 0, 0)])
            rig.run(lambda: rig.world.a > 900)
            rig.send("pace", value=0)
            rig.run(lambda: rig.board.feeder.standing())
            observer.look()
            observer.check_smooth()
        rig = BoardRig()
        rig.settle(**TOLD)
        rig.send("pen", servo_us=SERVO[1])
        rig.spend(1)
        rig.send("set", pairs=((messages.SETTING_BY_NAME["servo_high_us"][1], SERVO[1] - 50),))
        rig.spend(1)
        self.assertTrue(rig.world.servo_log[-1][1] <= SERVO[1] - 50)

    def test_motion_ends_within_a_second_when_the_host_dies(self):
        """With default settings, from a typical speed; the pen is raised."""
        silence = messages.SETTING_BY_NAME["host_silence_ms"][4]
        rig = BoardRig()
        rig.ready(host_silence_ms=silence)
        rig.draw([(records.PEN, SETTINGS["pen_down_us"], 100, 0), (records.RAMP, 400, 0, 8000)])
        rig._program += [(records.RAMP, 20, 0, 8000)] * 700
        rig.run(lambda: rig.world.a > 4000)
        rig.silent = True
        died = rig.world.tick
        rig.spend(3)
        self.assertTrue(rig.world.edges[-1][0] - died < TICK_HZ)
        self.assertTrue(rig.board.pen.is_up())
        self.assertEqual(rig.state(), "holding")


SEEDS = 12
WINDOWS_US = (500, 2000, 8000, 32_000)

if __name__ == "__main__":
    unittest.main()
