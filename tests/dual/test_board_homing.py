"""Homing finds the switches to the step in both kinematics, and reports errors by name."""

import unittest

import board_rig
from board_rig import UP, BoardRig
from fake_world import Switch

from linewire import messages

BACKOFF = board_rig.SETTINGS["home_backoff_x"]
TRAVEL_X, TRAVEL_Y = board_rig.SETTINGS["home_travel_x"], board_rig.SETTINGS["home_travel_y"]
BOUNCES_US = (100, 250, 900, 1200, 1500, 2500)


def rig_at(start, crossed=False, x=None, y=None, **other):
    """A configured rig with motors at `start` and switches at positions in steps along the axes."""
    rig = BoardRig(start=start, crossed=crossed)
    rig.world.switches = [x or Switch(0), y or Switch(0)]
    rig.settle(kinematics=1 if crossed else 0, **other)
    return rig


def home(rig, axes=3):
    rig.send("home", axes=axes)
    rig.run(lambda: rig.last("homed") or rig.last("fault"), 300)
    rig.spend(0.5)


class Found(unittest.TestCase):
    def check(self, rig, zero_x, zero_y):
        """The board's zero is correct, and the pen is at it."""
        self.assertEqual(rig.state(), "ready")
        self.assertTrue(rig.board.trusted())
        flags = rig.report()["flags"]
        self.assertEqual(flags & messages.FLAG_HOMED, messages.FLAG_HOMED)
        self.assertEqual(flags & (messages.FLAG_ENDSTOP_X | messages.FLAG_ENDSTOP_Y), 0)
        feeder = rig.board.feeder
        a, b = feeder.a, feeder.b
        if rig.world.crossed:
            x, y = (a + b) / 2, (a - b) / 2
        else:
            x, y = a, b
        # Within one step: the switch is read at the step that closes it, or during that step.
        self.assertTrue(abs(rig.world.along(0) - x - zero_x) <= 1, (rig.world.along(0), x))
        self.assertTrue(abs(rig.world.along(1) - y - zero_y) <= 1, (rig.world.along(1), y))
        self.assertEqual(rig.world.marks[-1][1:3], (a, b))
        self.assertEqual(rig.report()["a"], a)
        self.assertEqual(rig.world.servo_log[-1][1], UP)
        return x, y

    def test_both_axes_at_their_low_ends(self):
        for start in ((5000, 9000), (300, 12), (15_000, 23_000)):
            rig = rig_at(start)
            home(rig)
            self.assertEqual(self.check(rig, BACKOFF, BACKOFF), (0, 0))
            homed = rig.last("homed")
            self.assertEqual((homed["x_passes"], homed["y_passes"]), (3, 3))
            self.assertTrue(homed["x_spread_steps"] <= 1)
            self.assertTrue(homed["y_spread_steps"] <= 1)

    def test_both_axes_on_crossed_belts(self):
        for start in ((9000, 1000), (7001, 300)):
            rig = rig_at(start, crossed=True)
            home(rig)
            self.assertEqual(self.check(rig, BACKOFF, BACKOFF), (0, 0))

    def test_crossed_belts_turn_both_motors(self):
        rig = rig_at((9000, 1000), crossed=True)
        home(rig, axes=1)
        self.assertTrue(all(da == db for _, da, db in rig.world.edges))
        rig.heard.clear()
        before = len(rig.world.edges)
        home(rig, axes=2)
        edges = rig.world.edges
        self.assertTrue(all(edges[i][1] == -edges[i][2] for i in range(before, len(edges))))

    def test_an_axis_homed_at_its_high_end(self):
        at = TRAVEL_X + 500
        reach = board_rig.SETTINGS["x_high"]
        # The search distance does not affect the position.
        rig = rig_at((5000, 9000), x=Switch(at, low_end=False), home_end_x=2, home_travel_x=TRAVEL_X + 1000)
        home(rig)
        x, y = self.check(rig, at - BACKOFF - reach, BACKOFF)
        self.assertEqual((x, y), (reach, 0))

    def test_bouncing_switches_do_not_blur_the_zero(self):
        rig = rig_at((5000, 9000), x=Switch(0, bounces_us=BOUNCES_US), y=Switch(0, bounces_us=BOUNCES_US))
        home(rig)
        self.check(rig, BACKOFF, BACKOFF)
        self.assertTrue(rig.last("homed")["x_spread_steps"] <= 1)

    def test_it_begins_on_the_pressed_switch(self):
        rig = rig_at((-30, -50))
        home(rig)
        self.check(rig, BACKOFF, BACKOFF)

    def test_one_axis_after_the_other(self):
        rig = rig_at((5000, 9000))
        home(rig, axes=1)
        self.assertEqual(rig.state(), "unhomed")
        self.assertEqual(rig.last("homed")["y_passes"], 0)
        rig.heard.clear()
        home(rig, axes=2)
        self.check(rig, BACKOFF, BACKOFF)

    def test_what_was_lost_since_is_reported_as_drift(self):
        rig = rig_at((5000, 9000))
        home(rig)
        homed = rig.last("homed")
        self.assertEqual((homed["x_drift_steps"], homed["y_drift_steps"]), (0, 0))  # nothing was known to compare
        rig.world.a -= 37  # as after the carriage was blocked while its motor turned outward
        rig.world.b += 5
        rig.heard.clear()
        home(rig)
        homed = rig.last("homed")
        self.assertTrue(abs(homed["x_drift_steps"] - 37) <= 1, homed)
        self.assertTrue(abs(homed["y_drift_steps"] + 5) <= 1, homed)
        self.check(rig, BACKOFF, BACKOFF)
        rig.heard.clear()
        home(rig, axes=2)
        homed = rig.last("homed")
        self.assertEqual(homed["x_drift_steps"], 0)
        self.assertTrue(abs(homed["y_drift_steps"]) <= 1, homed)

    def test_drift_on_crossed_belts_is_of_the_axes(self):
        rig = rig_at((9000, 1000), crossed=True)
        home(rig)
        rig.world.a -= 40
        rig.heard.clear()
        home(rig)
        homed = rig.last("homed")
        self.assertTrue(abs(homed["x_drift_steps"] - 20) <= 1, homed)
        self.assertTrue(abs(homed["y_drift_steps"] - 20) <= 1, homed)

    def test_homing_again_finds_the_same_place(self):
        rig = rig_at((5000, 9000))
        home(rig)
        for _ in range(3):
            rig.heard.clear()
            home(rig)
            self.check(rig, BACKOFF, BACKOFF)

    def test_no_step_comes_sooner_than_the_homing_rate(self):
        rig = rig_at((5000, 9000))
        home(rig)
        rate = board_rig.SETTINGS["home_fast_x"]
        for axis in (1, 2):
            ticks = [edge[0] for edge in rig.world.edges if edge[axis]]
            least = min(later - earlier for earlier, later in zip(ticks, ticks[1:]))
            self.assertTrue(least >= 5_000_000 // rate - 2)

    def test_moves_of_more_steps_than_one_ramp_holds(self):
        """Acceleration alone takes 16 842 steps, two ramps, and so does deceleration after the switch."""
        rig = rig_at(
            (17_500, 900),
            home_travel_x=110_000,
            home_accel_x=1900,
            home_slow_x=2000,
            home_fast_x=8000,
            home_backoff_x=4000,
            home_passes=1,
        )
        home(rig)
        self.check(rig, 4000, BACKOFF)


class Refused(unittest.TestCase):
    def check(self, rig, fault, axis):
        self.assertEqual(rig.last("homed"), None)
        self.assertEqual(rig.last("fault"), {"code": fault, "detail": axis})
        self.assertEqual(rig.state(), "faulted")
        self.assertFalse(rig.board.trusted())
        self.assertTrue(rig.board.pen.is_up())
        self.assertEqual(rig.world.powered, 0)
        edges = len(rig.world.edges)
        rig.spend(0.5)
        self.assertEqual(len(rig.world.edges), edges)

    def test_a_switch_that_stays_pressed(self):
        for axis in (0, 1):
            stuck = Switch(0)
            stuck.forced = True
            rig = rig_at((5000, 9000), x=None if axis else stuck, y=stuck if axis else None)
            home(rig, axes=1 << axis)
            self.check(rig, messages.SWITCH_STUCK, axis)
            # Near its start.
            self.assertTrue(abs(rig.world.along(axis) - (5000, 9000)[axis]) <= 9 * BACKOFF)

    def test_a_switch_that_never_comes(self):
        never = Switch(0)
        never.forced = False
        rig = rig_at((5000, 9000), x=never)
        home(rig)
        self.check(rig, messages.SWITCH_MISSING, 0)
        self.assertEqual(rig.world.along(0), 5000 - TRAVEL_X - 4 * BACKOFF)

    def test_the_other_switch_comes(self):
        """The plugs are swapped: moving x closes the switch that the board reads as y's."""
        rig = rig_at((5000, 9000), x=Switch(-(1 << 20)), y=Switch(-(1 << 20)))
        other = rig.world.switches[1]
        rig.send("home", axes=3)
        rig.run(lambda: rig.world.along(0) <= 0)
        other.forced = True
        rig.run(lambda: rig.last("fault"))
        self.check(rig, messages.WRONG_SWITCH, 0)
        # A controlled stop: the debounce time, the shorter look-ahead, and v^2/2a.
        self.assertTrue(rig.world.along(0) > -(3200 * (3 + 35) // 1000 + 3200 * 3200 // 80_000 + 20))

    def test_an_axis_without_a_switch(self):
        rig = rig_at((5000, 9000), home_end_y=0)
        rig.send("home", axes=3)
        rig.run(lambda: rig.last("refusal"))
        self.assertEqual(rig.last("refusal")["reason"], messages.NO_SWITCH)
        self.assertEqual(rig.state(), "unhomed")

    def test_x_by_its_switch_and_y_by_hand(self):
        rig = rig_at((5000, 9000), home_end_y=0)
        rig.send("origin", a=0, b=77)
        rig.run(lambda: rig.state() == "ready")
        home(rig, axes=1)
        self.assertEqual(rig.state(), "ready")
        self.assertEqual((rig.board.feeder.a, rig.board.feeder.b), (0, 77))

    def test_abandon_ends_homing_in_a_controlled_stop(self):
        rig = rig_at((5000, 9000))
        rig.send("home", axes=3)
        rig.run(lambda: rig.world.along(0) < 4000)
        rig.send("abandon")
        rig.run(lambda: rig.last("event"))
        edges = len(rig.world.edges)
        rig.spend(0.5)
        self.assertEqual(len(rig.world.edges), edges)
        self.assertEqual(rig.state(), "unhomed")
        self.assertEqual(rig.world.powered, 1)
        home(rig)
        self.assertEqual(rig.state(), "ready")

    def test_a_host_that_falls_silent_ends_homing_in_a_controlled_stop(self):
        # At 800 steps/s the move to the switch takes longer than the allowed silence.
        rig = rig_at((8000, 9000), home_fast_x=800)
        rig.send("home", axes=3)
        rig.run(lambda: rig.world.along(0) < 7000)
        rig.silent = True
        rig.run(lambda: not rig.board.homing.running, 4)
        stood = rig.world.along(0)
        self.assertTrue(7000 - 3 * 800 < stood < 7000 - 1.5 * 800)
        # It decelerates instead of stopping at once.
        ticks = [edge[0] for edge in rig.world.edges]
        self.assertTrue(ticks[-1] - ticks[-2] > 1.5 * (ticks[-12] - ticks[-13]))
        self.assertEqual((rig.state(), rig.board.fault), ("unhomed", messages.HOST_LOST))
        rig.spend(20)
        self.assertEqual((rig.world.along(0), rig.world.powered), (stood, 0))
        rig.silent = False
        rig.spend(1)
        self.assertEqual(rig.board.fault, messages.NO_FAULT)
        self.assertEqual(rig.last("fault"), {"code": messages.HOST_LOST, "detail": 2000})
        rig.heard.clear()
        home(rig)
        self.assertEqual(rig.state(), "ready")

    def test_a_host_that_has_nothing_to_say_while_homing_is_asked_whether_it_is_there(self):
        rig = rig_at((8000, 9000), home_fast_x=800)
        home(rig)
        self.assertEqual((rig.state(), rig.last("fault")), ("ready", None))

    def test_another_host_has_not_asked_for_it(self):
        rig = rig_at((5000, 9000))
        rig.send("home", axes=3)
        rig.run(lambda: rig.world.along(0) < 4000)
        rig.new_host(1234)
        rig.send("hello", protocol=messages.PROTOCOL, digest=4711)
        rig.run(lambda: not rig.board.homing.running, 1)
        rig.spend(0.5)
        self.assertEqual((rig.state(), rig.last("homed")), ("unhomed", None))
        self.assertEqual(rig.last("event")["code"], messages.STOPPED)
        home(rig)
        self.assertEqual(rig.state(), "ready")

    def test_a_player_that_ran_dry_at_speed(self):
        rig = rig_at((5000, 9000))
        rig.send("home", axes=3)
        rig.run(lambda: rig.world.along(0) < 4000)
        for _ in range(30):
            rig.port.pause(20_000, False)
        rig.run(lambda: rig.last("fault"))
        self.check(rig, messages.PLAYER_BROKE_OFF, 1)
        self.assertFalse(rig.board.homing.running)
        rig.heard.clear()
        home(rig)
        self.assertEqual(rig.state(), "ready")

    def test_cut_ends_homing_at_once(self):
        rig = rig_at((5000, 9000))
        rig.send("home", axes=3)
        rig.run(lambda: rig.world.along(0) < 4000)
        rig.send("cut")
        rig.spend(0.02)
        edges = len(rig.world.edges)
        rig.spend(0.5)
        self.assertEqual(len(rig.world.edges), edges)
        self.assertEqual((rig.state(), rig.world.powered), ("unhomed", 0))
        rig.heard.clear()
        home(rig)
        self.assertEqual(rig.state(), "ready")

    def test_what_it_plays_is_not_counted_for_the_program_before(self):
        """A reconnecting host reads program and records done together."""
        rig = rig_at((5000, 9000))
        home(rig)
        rig.draw([(0, 100, 0, 1000), (0, 100, 0, 0), (3, 0, 0, 0)], number=5)
        rig.run(lambda: rig.last("event"))
        self.assertEqual((rig.report()["program"], rig.report()["records_done"]), (5, 3))
        rig.send("home", axes=3)
        rig.run(lambda: rig.board.homing.running)
        rig.spend(0.5)
        self.assertEqual((rig.report()["program"], rig.report()["records_done"]), (0, 0))

    def test_no_requests_in_between(self):
        rig = rig_at((5000, 9000))
        rig.send("home", axes=3)
        rig.run(lambda: rig.world.along(0) < 4000)
        rig.send("home", axes=1)
        rig.send("origin", a=0, b=0)
        rig.send("begin", program=1, first=0, a=0, b=0)
        rig.send("pen", servo_us=1700)
        rig.run(lambda: rig.last("homed"))
        reasons = [fields["reason"] for name, fields in rig.heard if name == "refusal"]
        self.assertEqual(reasons, [messages.WRONG_STATE] * 4)
        self.assertEqual(rig.state(), "ready")


if __name__ == "__main__":
    unittest.main()
