"""Whatever valid frames a host sends, no pulse leaves the board's limits: an observer at the port sees every one."""

import unittest

from board_rig import SETTINGS, BoardRig
from test_board_anything import Chance

from linewire import messages, records
from linewire.encoding import encode_payload

TICK_HZ = 5_000_000
RATE = 8_000
ACCEL = 60_000
JUMP = 1500
REACH = 4000
SERVO = (1200, 1800)


def random_records(chance):
    """Records of some strokes from rest to rest; in every other case one of them is replaced by anything at all."""
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


class Observer:
    """Looks at what the port was told: steps, servo pulses, power.

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
        """No motor changes its rate by more than the bounds allow from one stretch of 12 steps to the next.

        Two neighbouring stretches of 12 steps: the rate changes along them by what the acceleration allows in 24 steps,
        and by the jump where ramps meet; whole steps blur the rate of 12 by one.  A ramp of a few steps has hardly a
        direction: changes of direction within 3/2 steps count for nothing, to the board as to this.
        """
        for motor in (0, 1):
            times = [edge[0] for edge in self._edges() if edge[1 + motor]]
            rates = [12 * TICK_HZ / (times[i + 12] - times[i]) for i in range(0, len(times) - 12, 12)]
            for before, after in zip(rates, rates[1:]):  # noqa: B905, RUF007 -- for MicroPython
                allowed = (2 * ACCEL * 24 * 2) ** 0.5 + 2 * JUMP + 0.35 * max(before, after)
                assert abs(after - before) <= allowed, (motor, before, after)

    def _edges(self):
        edges = self._world.edges
        return [edges[i] for i in range(len(edges))]


class Limits(unittest.TestCase):
    def check(self, seed):
        chance = Chance(seed)
        rig = BoardRig(start=(0, 0))
        observer = Observer(rig.world)
        told = dict(  # noqa: C408 -- one name beside each value
            max_rate=RATE,
            rate_a=RATE,
            rate_b=RATE,
            ramp_accel=ACCEL,
            accel=ACCEL,
            corner_rate=JUMP,
            servo_low_us=SERVO[0],
            servo_high_us=SERVO[1],
            x_low=0,
            x_high=REACH,
            y_low=0,
            y_high=REACH,
            home_end_x=0,
            home_end_y=0,
            idle_after_s=0,
        )  # fmt: skip
        rig.settle(**told)
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
        """Some of them move the motors a good deal; else this would show nothing."""
        steps = [self.check(seed) for seed in range(SEEDS)]
        self.assertTrue(len([n for n in steps if n > 500]) > SEEDS // 3, steps)

    def test_motion_ends_within_a_second_when_the_host_dies(self):
        """With the usual settings, from a usual speed; the pen goes up."""
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

if __name__ == "__main__":
    unittest.main()
