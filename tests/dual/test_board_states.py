"""Every request and guard event leads to the expected state, with the pen up."""

import unittest

import board_rig
from board_rig import DOWN, UP, BoardRig, square
from record_reader import give

from lineboard.board import Board
from linewire import encoding, messages, records

END = (records.END, 0, 0, 0)
TICKS_PER_MS = 5000


def drawing(strokes=6, side=4000, v=8000):
    """A board halfway along the second side of its first square."""
    rig = BoardRig()
    rig.ready()
    rig.draw(square(side, v) * strokes + [END])
    rig.run(lambda: rig.world.b >= side // 2)
    return rig


def straight(count, v, step):
    """An open path along x at constant speed: the end is not known before it is sent."""
    up = v * v // (2 * board_rig.SETTINGS["accel"])
    return [(records.RAMP, up, 0, v)] + [(records.RAMP, step, 0, v)] * count + [(records.RAMP, up, 0, 0)]


class Beginning(unittest.TestCase):
    def test_a_board_that_has_been_told_nothing_moves_nothing(self):
        rig = BoardRig()
        rig.spend(0.5)
        self.assertEqual(rig.state(), "asleep")
        self.assertEqual(rig.world.enable_log, [(0, 0)])
        for request in (("home", {"axes": 3}), ("origin", {"a": 0, "b": 0}), ("pen", {"servo_us": 1500})):
            rig.send(request[0], **request[1])
        rig.send("begin", program=1, first=0, a=0, b=0)
        rig.spend(0.5)
        refused = [fields["reason"] for name, fields in rig.heard if name == "refusal"]
        self.assertEqual(refused, [messages.WRONG_STATE] * 4)
        self.assertEqual(rig.world.enable_log, [(0, 0)])
        self.assertEqual(rig.world.servo_log, [(0, 0)])

    def test_settings_raise_the_pen_before_anything_else(self):
        rig = BoardRig()
        rig.settle()
        self.assertEqual(rig.state(), "unhomed")
        self.assertEqual(rig.world.servo_log[-1][1], UP)
        self.assertEqual(rig.report()["flags"] & messages.FLAG_PEN_UP, messages.FLAG_PEN_UP)

    def test_settings_that_contradict_each_other_change_nothing(self):
        rig = BoardRig()
        rig.settle()
        before = list(rig.board.settings)
        low, high, accel = (messages.SETTING_BY_NAME[name][1] for name in ("x_low", "x_high", "accel"))
        rig.send("set", pairs=((accel, 5), (low, 100), (high, 50)))
        rig.send("set", pairs=((messages.SETTING_BY_NAME["max_rate"][1], 131_071),))
        rig.send("set", pairs=((messages.SETTING_BY_NAME["home_fast_y"][1], 100_001),))
        rig.spend(0.3)
        refusals = [fields for name, fields in rig.heard if name == "refusal"]
        self.assertEqual([(f["field"], f["value"]) for f in refusals], [(high, 50), (2, 131_071), (16, 100_001)])
        self.assertEqual(refusals[0]["low"], 100)
        self.assertEqual(refusals[1]["high"], rig.port.max_rate)
        self.assertEqual(list(rig.board.settings), before)

    def test_a_host_of_another_protocol_is_refused(self):
        rig = BoardRig()
        rig.send("hello", protocol=99, digest=0)
        rig.spend(0.3)
        self.assertEqual(rig.last("refusal")["reason"], messages.OTHER_VERSION)
        self.assertEqual(rig.last("greeting"), None)

    def test_a_board_says_who_it_is_in_any_state(self):
        rig = BoardRig()
        rig.port.unique = b"\xe6\x61\x00\xff"
        rig.send("identify")
        rig.spend(0.2)
        self.assertEqual(rig.last("identity")["unique"], b"\xe6\x61\x00\xff")
        self.assertEqual(rig.state(), "asleep")
        rig.port.unique = b""
        rig.ready()
        rig.draw([(records.RAMP, 16_000, 0, 8000), (records.RAMP, 1000, 0, 0), END])
        rig.send("identify")
        rig.spend(0.2)
        self.assertEqual(rig.last("identity")["unique"], b"")
        self.assertEqual(rig.last("fault"), None)

    def test_settings_of_another_machine_lose_the_position_and_the_motors(self):
        """Settings that change the step counts, their origin or their pins."""
        for change in ({"kinematics": 1}, {"reversed_a": 1}, {"x_high": 17_000}, {"pin_enable": 5}, {"home_end_y": 2}):
            for faulted in (False, True):
                rig = BoardRig()
                rig.ready()
                if faulted:
                    rig.draw([(records.RAMP, 16_000, 0, 8000), (records.RAMP, 1000, 0, 0), END])
                    rig.run(lambda: rig.state() == "faulted")
                    self.assertTrue(rig.board.trusted())
                name, value = list(change.items())[0]
                rig.send("set", pairs=((messages.SETTING_BY_NAME[name][1], value),))
                rig.send("abandon")
                rig.spend(0.2)
                self.assertFalse(rig.board.trusted())
                self.assertEqual(rig.state(), "faulted" if faulted else "unhomed")
                self.assertEqual(rig.world.powered, 0)

    def test_other_settings_keep_the_position(self):
        rig = BoardRig()
        rig.ready()
        for name, value in (("accel", 7000), ("pen_down_us", 1650), ("idle_after_s", 3), ("home_slow_x", 300)):
            rig.send("set", pairs=((messages.SETTING_BY_NAME[name][1], value),))
        rig.spend(0.2)
        self.assertEqual((rig.state(), rig.world.powered), ("ready", 1))
        self.assertTrue(rig.board.trusted())

    def test_a_program_begins_only_where_the_pen_is(self):
        rig = BoardRig()
        rig.ready()
        rig.send("begin", program=1, first=0, a=0, b=1)
        rig.spend(0.3)
        refusal = rig.last("refusal")
        self.assertEqual((refusal["reason"], refusal["field"], refusal["value"]), (messages.POSITION_DIFFERS, 4, 0))
        self.assertEqual(rig.state(), "ready")


class Drawing(unittest.TestCase):
    def test_an_undisturbed_drawing_takes_the_time_of_its_plan(self):
        program = square() * 3 + [END]
        rig = BoardRig()
        rig.ready()
        rig.draw(program)
        rig.run(lambda: rig.last("event"))
        rig.spend(0.5)
        report = rig.report()
        self.assertEqual(rig.last("event"), {"code": messages.FINISHED, "value": len(program)})
        self.assertEqual(report["state"], messages.READY)
        self.assertEqual(report["records_done"], len(program))
        # By hand: accelerating over 200 steps to 4000 steps/s takes 0.1 s, so a side of 800 takes 0.1 + 0.1 + 0.1 s.
        expected = 3 * (4 * 300 + 150 + 200) * TICKS_PER_MS
        self.assertEqual(report["played_s"] * 5_000_000 + report["played_ticks"], expected)
        self.assertEqual((report["starved"], report["underruns"]), (0, 0))
        self.assertEqual((rig.world.a, rig.world.b), (0, 0))
        self.assertEqual([us for _, us in rig.world.servo_log[1:]], [UP] + [DOWN, UP] * 3)

    def test_time_in_the_log_passed_the_wrap_of_the_counter(self):
        """The world's clock starts 0.7 s below the wrap, so every drawing here has crossed it."""
        rig = drawing()
        self.assertTrue(rig.world.now_us() < 1 << 29)

    def test_a_second_program_begins_where_the_first_ended(self):
        rig = BoardRig()
        rig.ready()
        rig.draw([(records.RAMP, 100, 50, 1000), (records.RAMP, 100, 50, 0), END], number=5)
        rig.run(lambda: rig.last("event"))
        rig.heard.clear()
        rig.draw([(records.RAMP, 100, 50, 1000), (records.RAMP, 100, 50, 0), END], number=6, first=1000, at=(200, 100))
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event"), {"code": messages.FINISHED, "value": 1003})
        self.assertEqual((rig.world.a, rig.world.b), (400, 200))

    def test_the_highest_record_to_carry_on_with(self):
        rig = BoardRig()
        rig.ready()
        rig.draw([(records.RAMP, 100, 50, 1000), (records.RAMP, 100, 50, 0), END], first=messages.FIRST_RECORD)
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event"), {"code": messages.FINISHED, "value": messages.FIRST_RECORD + 3})
        # Within the field's range, so that the report can be read.
        self.assertEqual(rig.report()["records_done"], messages.FIRST_RECORD + 3)

    def test_a_program_longer_than_the_queue(self):
        program = straight(3000, 6000, 5) + [END]
        rig = BoardRig()
        rig.ready()
        rig.draw(program)
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.world.a, sum(record[1] for record in program))
        self.assertEqual(rig.report()["starved"], 0)
        self.assertEqual(rig.report()["underruns"], 0)

    def test_frames_of_very_many_records_do_not_block_the_queue(self):
        """Equal ramps take three bits each, 632 a frame: the board waits for more, the host for room for that many."""
        for count in (400, 500, 600, 700):
            there = [(records.RAMP, 2, 0, 500)] + [(records.RAMP, 1, 0, 500)] * count + [(records.RAMP, 2, 0, 0)]
            back = [(kind, -a, b, v) for kind, a, b, v in there]
            rig = BoardRig()
            rig.ready()
            rig.draw((there + back) * 2 + [END])
            rig.run(lambda: rig.last("event"))
            self.assertEqual(rig.last("event")["code"], messages.FINISHED)

    def test_progress_is_reported_while_drawing(self):
        rig = drawing()
        seen = set()

        def look():
            seen.add((rig.report()["played_s"], rig.report()["played_ticks"]))
            return rig.last("event") is not None

        rig.run(look)
        # Ten times a second; this drawing takes 20 s.
        self.assertTrue(150 < len(seen) < 250)


class HoldAndCarryOn(unittest.TestCase):
    def test_hold_lifts_the_pen_once_it_stands_and_lowers_it_before_it_moves(self):
        rig = drawing()
        rig.send("pace", value=0)
        asked = rig.world.tick
        rig.run(lambda: rig.state() == "holding")
        stood = rig.world.edges[-1][0]
        # The look-ahead, one block and v/a.
        self.assertTrue(stood - asked < (75 + 100 + 20) * TICKS_PER_MS)
        rig.spend(1)
        lifted = [tick for tick, us in rig.world.servo_log if us == UP][-1]
        self.assertTrue(lifted >= stood)
        self.assertEqual(rig.world.edges[-1][0], stood)
        self.assertEqual(rig.report()["flags"] & messages.FLAG_PEN_UP, messages.FLAG_PEN_UP)
        self.assertEqual((rig.report()["a"], rig.report()["b"]), (rig.world.a, rig.world.b))
        at = len(rig.world.edges)
        rig.send("pace", value=256)
        rig.run(lambda: rig.state() == "drawing")
        lowered = [tick for tick, us in rig.world.servo_log if us == DOWN][-1]
        rig.run(lambda: rig.last("event"))
        self.assertTrue(rig.world.edges[at][0] - lowered >= 150 * TICKS_PER_MS)
        self.assertEqual((rig.world.a, rig.world.b), (0, 0))

    def test_slowing_down_takes_longer_and_goes_the_same_way(self):
        paths = []
        times = []
        for pace in (256, 64):
            rig = BoardRig()
            rig.ready()
            rig.draw(square(4000, 8000) + [END])
            rig.send("pace", value=pace)
            rig.run(lambda: rig.last("event"))
            paths.append([edge[1:] for edge in rig.world.edges])
            times.append(rig.report()["played_s"] + rig.report()["played_ticks"] / 5e6)
        self.assertEqual(paths[0], paths[1])
        self.assertTrue(2 * times[0] < times[1] < 5 * times[0])

    def test_hold_before_the_first_step(self):
        rig = BoardRig()
        rig.ready()
        rig.draw(square() + [END])
        rig.send("pace", value=0)
        rig.spend(2)
        self.assertEqual(rig.state(), "holding")
        self.assertEqual(len(rig.world.edges), 0)
        rig.send("pace", value=256)
        rig.run(lambda: rig.last("event"))
        self.assertEqual((rig.world.a, rig.world.b), (0, 0))

    def test_a_pen_moved_by_hand_in_a_hold_goes_back_to_its_height(self):
        rig = drawing()
        rig.send("pace", value=0)
        rig.run(lambda: rig.state() == "holding")
        rig.spend(0.5)
        rig.send("pen", servo_us=1500)
        rig.spend(0.5)
        self.assertEqual(rig.world.servo_log[-1][1], 1500)
        rig.send("pace", value=256)
        rig.run(lambda: rig.state() == "drawing")
        self.assertEqual(rig.world.servo_log[-1][1], DOWN)

    def test_a_hold_asked_for_too_late_does_not_hold_the_next_program(self):
        rig = BoardRig()
        rig.ready()
        rig.send("pace", value=0)
        rig.spend(0.2)
        rig.draw(square() + [END])
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)


class Abandon(unittest.TestCase):
    def check_stopped(self, rig):
        self.assertEqual(rig.state(), "ready")
        self.assertTrue(rig.board.trusted())
        self.assertTrue(rig.board.pen.is_up())
        self.assertEqual(rig.last("event")["code"], messages.STOPPED)
        self.assertEqual((rig.board.feeder.a, rig.board.feeder.b), (rig.world.a, rig.world.b))
        # The next program can begin at this position.
        rig.heard.clear()
        a, b = rig.world.a, rig.world.b
        da = 100 if a < 8000 else -100
        rig.draw([(records.RAMP, da, 0, 1000), (records.RAMP, da, 0, 0), END], number=2)
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)
        self.assertEqual((rig.world.a, rig.world.b), (a + 2 * da, b))

    def test_in_mid_stroke(self):
        rig = drawing()
        rig.send("abandon")
        rig.run(lambda: rig.last("event"))
        self.assertTrue(rig.world.b > 2000)
        self.check_stopped(rig)

    def test_in_a_hold(self):
        rig = drawing()
        rig.send("pace", value=0)
        rig.run(lambda: rig.state() == "holding")
        rig.send("abandon")
        rig.run(lambda: rig.last("event"))
        self.check_stopped(rig)

    def test_in_a_long_rest_it_does_not_wait_for_its_end(self):
        rig = BoardRig()
        rig.ready()
        rig.draw([(records.PEN, DOWN, 100, 0), (records.REST, 60_000_000, 0, 0), END])
        rig.spend(1)
        before = rig.world.tick
        rig.send("abandon")
        rig.run(lambda: rig.last("event"))
        self.assertTrue(rig.world.tick - before < 5_000_000)
        self.check_stopped(rig)

    def test_with_an_empty_queue(self):
        rig = BoardRig()
        rig.ready()
        rig.draw([])
        rig.spend(1)
        rig.send("abandon")
        rig.run(lambda: rig.last("event"))
        self.check_stopped(rig)

    def test_at_rest_it_does_nothing(self):
        rig = BoardRig()
        rig.ready()
        rig.send("abandon")
        rig.spend(0.5)
        self.assertEqual(rig.state(), "ready")


class Cut(unittest.TestCase):
    def test_cut_stops_at_once_and_forgets_the_position(self):
        rig = drawing()
        rig.send("cut")
        rig.spend(0.02)
        edges = len(rig.world.edges)
        rig.spend(0.5)
        self.assertEqual(len(rig.world.edges), edges)
        self.assertEqual(rig.state(), "unhomed")
        self.assertEqual(rig.world.powered, 0)
        self.assertEqual(rig.world.servo_log[-1][1], UP)
        self.assertFalse(rig.board.trusted())
        self.assertEqual(rig.last("fault")["code"], messages.MOTORS_CUT)
        self.assertEqual((rig.board.feeder.a, rig.board.feeder.b), (rig.world.a, rig.world.b))
        rig.send("begin", program=2, first=0, a=rig.world.a, b=rig.world.b)
        rig.spend(0.2)
        self.assertEqual(rig.last("refusal")["reason"], messages.WRONG_STATE)

    def test_cut_before_settings_leaves_it_asleep(self):
        rig = BoardRig()
        rig.send("cut")
        rig.spend(0.5)
        self.assertEqual(rig.state(), "asleep")


class Guard(unittest.TestCase):
    def check_limits(self, crossed, program):
        rig = BoardRig(crossed=crossed)
        rig.ready(kinematics=1 if crossed else 0)
        rig.draw(program)
        rig.run(lambda: rig.state() == "faulted")
        rig.spend(0.5)
        self.assertEqual(rig.last("fault")["code"], messages.BEYOND_LIMITS)
        self.assertTrue(rig.board.trusted())
        self.assertTrue(rig.board.pen.is_up())
        self.assertEqual((rig.board.feeder.a, rig.board.feeder.b), (rig.world.a, rig.world.b))
        low, high = board_rig.SETTINGS["x_low"], board_rig.SETTINGS["x_high"]
        a = b = 0
        for _, da, db in rig.world.edges:
            a += da
            b += db
            self.assertTrue(low <= ((a + b) / 2 if crossed else a) <= high)
        return rig

    def test_a_record_that_leads_out_of_reach_stops_the_drawing_inside(self):
        steps = [(records.RAMP, 4000, 0, 8000), (records.RAMP, 8000, 0, 8000), (records.RAMP, 4001, 0, 0), END]
        rig = self.check_limits(False, steps)
        # A fault with a trusted position ends when the user abandons the drawing.
        rig.send("abandon")
        rig.spend(0.5)
        self.assertEqual(rig.state(), "ready")
        self.assertEqual(rig.board.fault, messages.NO_FAULT)

    def test_the_same_on_crossed_belts(self):
        steps = [(records.RAMP, 8000, 8000, 8000), (records.RAMP, 8000, 8001, 8000), (records.RAMP, -100, -100, 0), END]
        self.check_limits(True, steps)

    def test_the_very_edge_is_within_reach(self):
        rig = BoardRig()
        rig.ready()
        rig.draw([(records.RAMP, 8000, 12000, 8000), (records.RAMP, 8000, 12000, 0), END])
        rig.run(lambda: rig.last("event"))
        self.assertEqual((rig.world.a, rig.world.b), (16_000, 24_000))

    def test_a_record_faster_than_the_motors_may_go(self):
        """Both motors at once may make sqrt 2 times the path speed of one."""
        for v, fault in ((56_568, messages.NO_FAULT), (56_580, messages.BEYOND_LIMITS)):
            rig = BoardRig()
            rig.ready()
            rig.draw([])
            rig.run(lambda: rig.state() == "drawing")
            give(rig.board, records.RAMP, 10_000, 10_000, v)
            rig.spend(0.5)
            self.assertEqual(rig.board.fault, fault)

    def test_a_switch_hit_in_mid_drawing(self):
        for axis in (0, 1):
            rig = drawing()
            rig.world.switches[axis] = board_rig.fake_world.Switch(1 << 20, low_end=False)
            rig.spend(0.1)
            self.assertEqual(rig.state(), "drawing")
            rig.world.switches[axis].forced = True
            rig.run(lambda: rig.state() == "faulted", 1)
            edges = len(rig.world.edges)
            rig.spend(0.5)
            self.assertEqual(len(rig.world.edges), edges)
            self.assertEqual(rig.last("fault"), {"code": messages.ENDSTOP_HIT, "detail": axis})
            self.assertFalse(rig.board.trusted())
            self.assertEqual(rig.world.powered, 0)
            self.assertEqual(rig.world.servo_log[-1][1], UP)
            rig.send("abandon")
            rig.spend(0.2)
            self.assertEqual(rig.state(), "faulted")

    def test_a_player_that_ran_dry_at_speed(self):
        """The loop was delayed too long; the motors' position after the sudden stop is not known."""
        rig = drawing()
        for _ in range(30):
            rig.port.pause(20_000, False)
        rig.run(lambda: rig.last("fault"))
        edges = len(rig.world.edges)
        rig.spend(0.5)
        self.assertEqual(rig.last("fault"), {"code": messages.PLAYER_BROKE_OFF, "detail": 1})
        self.assertEqual((rig.state(), rig.world.powered, len(rig.world.edges)), ("faulted", 0, edges))
        self.assertFalse(rig.board.trusted())
        self.assertTrue(rig.board.pen.is_up())
        self.assertEqual((rig.report()["a"], rig.report()["b"]), (rig.world.a, rig.world.b))

    def test_a_spike_on_the_switch_cable_stops_nothing(self):
        rig = drawing()
        switch = board_rig.fake_world.Switch(1 << 20, low_end=False)
        rig.world.switches[0] = switch
        switch.forced = True
        rig.spend(0.001)
        switch.forced = None
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)

    def test_records_that_make_no_sense(self):
        rig = BoardRig()
        rig.ready()
        rig.draw([])
        rig.spend(0.2)
        rig.send("moves", first=0, records=b"\x00\xff\x00\x00")
        rig.run(lambda: rig.last("fault"))
        self.assertEqual(rig.state(), "faulted")
        self.assertEqual(rig.last("fault"), {"code": messages.BAD_RECORDS, "detail": 0})
        self.assertTrue(rig.board.trusted())
        self.assertTrue(rig.board.pen.is_up())

    def test_a_pen_action_at_speed_is_a_bad_record(self):
        rig = BoardRig()
        rig.ready()
        rig.draw([])
        rig.run(lambda: rig.state() == "drawing")
        # Encoder and decoder reject such records; the guard is the last check.
        give(rig.board, records.RAMP, 1000, 0, 3000)
        give(rig.board, records.PEN, DOWN, 100, 0)
        rig.run(lambda: rig.last("fault"))
        self.assertEqual(rig.last("fault"), {"code": messages.BAD_RECORDS, "detail": 1})
        self.assertEqual(len(rig.world.edges), 0)

    def test_only_a_ramp_may_follow_a_pen_action_in_passing(self):
        for kind, first in ((records.PEN, DOWN), (records.REST, 0), (records.END, 0)):
            rig = BoardRig()
            rig.ready()
            rig.draw([])
            rig.run(lambda rig=rig: rig.state() == "drawing")
            give(rig.board, records.RAMP, 1, 0, 300)
            give(rig.board, records.PEN, DOWN, 0, 0)
            give(rig.board, kind, first, 0, 0)
            rig.run(lambda rig=rig: rig.last("fault"))
            self.assertEqual(rig.last("fault"), {"code": messages.BAD_RECORDS, "detail": 2})

    def test_a_pen_changes_its_height_along_a_stroke_and_goes_back_to_it_after_a_hold(self):
        rig = BoardRig()
        rig.ready()
        along = [(records.RAMP, 500, 0, 4000)]
        for i in range(20):
            along += [(records.PEN, DOWN + i, 0, 0), (records.RAMP, 400, 0, 4000)]
        rig.draw([(records.PEN, DOWN, 150, 0)] + along + [(records.RAMP, 500, 0, 0), (records.PEN, UP, 200, 0), END])
        rig.run(lambda: rig.world.a > 4000)
        rig.send("pace", value=0)
        rig.run(lambda: rig.state() == "holding" and rig.board.pen.settled(rig.world.now_us()))
        held = len(rig.world.servo_log)
        self.assertEqual(rig.world.servo_log[-1][1], UP)
        before = rig.world.servo_log[-2][1]
        self.assertTrue(DOWN < before < DOWN + 19)
        rig.send("pace", value=256)
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)
        heights = [us for _, us in rig.world.servo_log[held:]]
        self.assertEqual(heights[0], before)
        self.assertEqual(heights, list(range(before, DOWN + 20)) + [UP])
        self.assertEqual(rig.world.a, 9000)
        self.assertEqual(rig.board.feeder.underruns, 0)

    def test_a_move_of_a_single_step_may_be_followed_by_a_rest(self):
        """It cannot slow down, so its only ramp ends at a speed; the following rest represents the stop."""
        rig = BoardRig()
        rig.ready()
        down, up = (records.PEN, DOWN, 100, 0), (records.PEN, UP, 100, 0)
        rig.draw([down, (records.RAMP, 1, 0, 346), (records.REST, 0, 0, 0), up, END])
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)
        self.assertEqual((rig.world.a, rig.world.b), (1, 0))
        self.assertEqual(rig.board.feeder.underruns, 0)

    def test_records_out_of_step_are_refused_and_stop_nothing(self):
        rig = drawing()
        taken = rig.board.feeder.taken
        payload, _ = encoding.encode_payload([(records.RAMP, 1, 1, 100)], 0)
        rig.send("moves", first=taken + 3, records=payload)
        rig.run(lambda: rig.last("refusal"))
        self.assertEqual(rig.last("refusal")["reason"], messages.OUT_OF_STEP)
        self.assertEqual(rig.last("refusal")["low"], taken)
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)

    def test_a_ramp_too_slow_to_play_is_a_bad_record(self):
        rig = BoardRig()
        rig.ready()
        rig.draw([(records.RAMP, 16000, 0, 1), (records.RAMP, 0, 1, 0), END])
        rig.run(lambda: rig.last("fault"))
        self.assertEqual(rig.last("fault"), {"code": messages.BAD_RECORDS, "detail": 0})
        self.assertTrue(rig.board.trusted())

    def test_a_ramp_too_slow_to_play_in_mid_path_is_a_bad_record(self):
        rig = BoardRig()
        rig.ready()
        path = [(records.RAMP, n, 0, v) for n, v in ((100, 1000), (40, 1), (9000, 1), (1, 0))]
        rig.draw(path + [END])
        rig.run(lambda: rig.last("fault"))
        self.assertEqual(rig.last("fault"), {"code": messages.BAD_RECORDS, "detail": 2})
        self.assertTrue(rig.board.trusted())
        self.assertEqual((rig.world.a, rig.report()["underruns"]), (140, 0))


class Silence(unittest.TestCase):
    def test_a_silent_host_makes_the_pen_wait_raised_and_nothing_is_lost(self):
        program = straight(3000, 6000, 5) + [END]
        rig = BoardRig()
        rig.ready()
        rig.draw([(records.PEN, DOWN, 150, 0)] + program)
        rig.run(lambda: rig.world.a > 3000)
        rig.silent = True
        rig.run(lambda: rig.state() == "holding", 10)
        rig.spend(3)
        self.assertEqual(rig.world.servo_log[-1][1], UP)
        self.assertTrue(rig.board.trusted())
        self.assertEqual(rig.board.fault, messages.HOST_LOST)
        stood = rig.world.a
        rig.spend(5)
        self.assertEqual(rig.world.a, stood)
        rig.silent = False
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)
        self.assertEqual(rig.world.a, sum(record[1] for record in program))
        self.assertEqual(rig.board.fault, messages.NO_FAULT)
        self.assertTrue(any(name == "fault" and f["code"] == messages.HOST_LOST for name, f in rig.heard))

    def test_a_host_that_is_gone_for_long_frees_the_motors_and_may_still_come_back(self):
        program = straight(3000, 6000, 5) + [END]
        rig = BoardRig()
        rig.ready()
        rig.draw([(records.PEN, DOWN, 150, 0)] + program)
        rig.run(lambda: rig.world.a > 3000)
        rig.silent = True
        rig.run(lambda: rig.state() == "holding", 10)
        rig.spend(20)
        self.assertEqual(rig.world.powered, 0)
        self.assertTrue(rig.board.trusted())
        at = len(rig.world.edges)
        rig.silent = False
        rig.run(lambda: rig.last("event") and rig.last("event")["code"] == messages.FINISHED)
        self.assertEqual(rig.world.a, sum(record[1] for record in program))
        # The rotors are in place before the pen touches the paper.
        woken = rig.world.enable_log[-1][0]
        lowered = [tick for tick, us in rig.world.servo_log if us == DOWN][-1]
        self.assertTrue(woken + 50 * TICKS_PER_MS <= lowered < rig.world.edges[at][0])

    def test_a_user_who_holds_keeps_the_motors_powered(self):
        rig = drawing()
        rig.send("pace", value=0)
        rig.spend(30)
        self.assertEqual((rig.state(), rig.world.powered), ("holding", 1))

    def test_the_longest_silence_that_can_be_asked_for(self):
        rig = BoardRig()
        rig.ready(host_silence_ms=600_000)
        rig.draw([(records.RAMP, 100, 0, 1000), (records.RAMP, 100, 0, 0), (records.PEN, UP, 0, 0)])
        rig.run(lambda: rig.world.a == 200)
        rig.silent = True
        rig.spend(599)
        self.assertEqual(rig.state(), "drawing")
        rig.run(lambda: rig.state() == "holding", 5)

    def test_a_host_with_nothing_to_say_is_asked_whether_it_is_there(self):
        """A single move of 6 s, all records sent: only the board's request can show that the host is alive."""
        rig = BoardRig()
        rig.ready()
        rig.draw([(records.RAMP, 2000, 0, 2500), (records.RAMP, 10000, 0, 2500), (records.RAMP, 2000, 0, 0), END])
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)
        self.assertEqual(rig.last("fault"), None)

    def test_answers_that_nobody_acknowledges_do_not_stop_the_loop(self):
        rig = BoardRig()
        rig.ready()
        for _ in range(16):
            rig.send("ask")
        rig.world.to_board += rig.host.to_send(rig.world.now_us())
        rig.silent = True
        for _ in range(20):
            rig.board.poll()
        # The window is full; further messages of the board wait.
        for _ in range(3):
            rig.board.server.event(messages.WENT_IDLE, 1)
        before = rig.world.tick
        for _ in range(20):
            rig.board.poll()
        self.assertTrue(rig.world.tick > before)
        rig.silent = False
        rig.heard.clear()
        rig.spend(2)
        self.assertEqual([name for name, _ in rig.heard], ["done"] * 16 + ["event"] * 3)
        rig.send("ask")
        rig.spend(1)
        self.assertEqual(len(rig.heard), 20)

    def test_unchanged_settings_are_accepted_in_any_state(self):
        rig = drawing()
        pairs = [(messages.SETTING_BY_NAME[name][1], value) for name, value in board_rig.SETTINGS.items()]
        rig.send("set", pairs=tuple(pairs))
        rig.send("set", pairs=((messages.SETTING_BY_NAME["accel"][1], 7),))
        rig.run(lambda: rig.last("refusal"))
        self.assertEqual(rig.last("refusal")["reason"], messages.WRONG_STATE)
        self.assertEqual(len([name for name, _ in rig.heard if name == "refusal"]), 1)
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)

    def test_another_host_does_not_set_the_pen_going(self):
        rig = drawing()
        rig.silent = True
        rig.run(lambda: rig.state() == "holding", 10)
        rig.new_host(1234)
        rig._program = []
        rig.silent = False
        rig.send("hello", protocol=messages.PROTOCOL, digest=4711)
        at = len(rig.world.edges)
        rig.spend(2)
        self.assertEqual(len(rig.world.edges), at)
        self.assertEqual(rig.state(), "holding")
        report = rig.report()
        self.assertEqual((report["a"], report["b"]), (rig.world.a, rig.world.b))
        self.assertTrue(report["records_done"] > 0)
        rig.send("abandon")
        rig.run(lambda: rig.state() == "ready")
        self.assertTrue(rig.board.trusted())


class Window(unittest.TestCase):
    """A whole window of moves may arrive before the board processes them."""

    def burst(self, *last):
        """A drawing board, and the bytes of 15 frames of 60 records each, followed by these messages."""
        rig = BoardRig()
        rig.ready()
        rig.draw([])
        rig.run(lambda: rig.state() == "drawing")
        rig.spend(0.1)
        rig.heard.clear()
        program = [(records.RAMP, 10 + i % 3, 10 - i % 7, 400 + i % 11) for i in range(900)]
        at = 0
        while at < 900:
            payload, _ = encoding.encode_payload(program[: at + 60], at)
            rig.send("moves", first=at, records=payload)
            at += 60
        for name in last:
            rig.send(name)
        waiting = bytearray(rig.host.to_send(rig.world.now_us()))
        read = rig.port.read_into

        def read_all(buffer):
            n = min(len(waiting), len(buffer))
            if n == 0:
                return read(buffer)
            buffer[0:n] = waiting[0:n]
            waiting[0:n] = b""
            return n

        rig.port.read_into = read_all
        return rig

    def test_records_are_taken_a_few_at_a_time(self):
        rig = self.burst()
        taken = [0]
        while taken[-1] < 900:
            rig.board.poll()
            taken.append(rig.board.feeder.taken)
            self.assertTrue(taken[-1] - taken[-2] <= 96)
            self.assertTrue(len(taken) < 100)
        self.assertEqual(rig.last("refusal"), None)

    def test_cut_and_abandon_do_not_wait_for_the_moves_in_front_of_them(self):
        for name in ("cut", "abandon"):
            rig = self.burst(name)
            turns = 0
            while rig.board.accepts_records():
                rig.board.poll()
                turns += 1
            # To queue all records takes 60 turns.
            self.assertTrue(turns <= 3)
            rig.spend(1)
            self.assertEqual(rig.state(), "unhomed" if name == "cut" else "ready")
            self.assertEqual(rig.last("refusal"), None)
            self.assertEqual(len([1 for kind, _ in rig.heard if kind == "done"]), 1)

    def test_moves_that_come_after_the_end_are_dropped_without_a_word(self):
        """They were in transit when it arrived; a refusal would look like one of the next program."""
        rig = drawing()
        rig.send("abandon")
        rig.run(lambda: rig.state() == "ready")
        payload, _ = encoding.encode_payload([(records.RAMP, 1, 1, 100)], 0)
        rig.send("moves", first=rig.board.feeder.taken, records=payload)
        rig.spend(0.2)
        self.assertEqual((rig.state(), rig.last("refusal")), ("ready", None))
        self.assertEqual(rig.host.awaiting, 0)


class NarrowPort(unittest.TestCase):
    """A port that takes a few bytes at a time, as a USB port with a full buffer does."""

    def narrow(self, rig, most):
        write = rig.port.write

        def some(buffer, n):
            return write(buffer, min(n, most))

        rig.port.write = some

    def test_what_the_port_has_not_taken_goes_out_later_and_in_order(self):
        rig = BoardRig()
        rig.ready()
        self.narrow(rig, 7)
        rig.draw(square() * 2 + [END])
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)
        self.assertEqual(rig.host.damaged, 0)

    def test_a_report_that_was_asked_for_comes_behind_the_answer(self):
        rig = BoardRig()
        rig.ready()
        self.narrow(rig, 7)
        rig.spend(0.3)
        rig.heard.clear()
        rig.send("ask")
        rig.run(lambda: rig.last("done"))
        seen = rig.host.reports
        # Sooner than the host would ask for a sign of life.
        rig.spend(0.1)
        self.assertTrue(rig.host.reports > seen)


class Later(unittest.TestCase):
    """Microsecond counters wrap after 17.9 minutes, so old times must not appear to be in the future."""

    def test_a_pen_raised_long_ago_has_arrived(self):
        for minutes in (10, 17):
            rig = BoardRig()
            rig.settle()
            rig.spend(60 * minutes)
            rig.world.switches = [board_rig.fake_world.Switch(-100), board_rig.fake_world.Switch(-100)]
            rig.send("home", axes=3)
            rig.run(lambda: rig.last("homed"), 20)

    def test_motors_woken_long_ago_are_awake(self):
        rig = BoardRig()
        rig.ready(idle_after_s=0)
        rig.spend(600)
        rig.draw(square() + [END])
        rig.run(lambda: rig.last("event"), 20)
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)


class BrokenOff(unittest.TestCase):
    def test_an_exception_leaves_the_pen_up_and_the_motors_off(self):
        """A request for the prompt arrives as an exception, as would a bug."""
        for kind in (KeyboardInterrupt, ValueError):
            rig = drawing()
            transmit = rig.board.server.transmit
            left = [10]

            def fail(now_us):
                left[0] -= 1
                if left[0] == 0:
                    raise kind
                transmit(now_us)

            rig.board.server.transmit = fail
            self.assertRaises(kind, rig.board.run)
            lifted, us = rig.world.servo_log[-1]
            self.assertEqual((us, rig.world.powered), (UP, 0))
            self.assertTrue(rig.world.edges[-1][0] <= lifted <= rig.world.tick - 200 * TICKS_PER_MS)


class Started(unittest.TestCase):
    def test_a_board_that_its_watchdog_started_anew_says_so_until_it_has_a_position(self):
        world = board_rig.fake_world.FakeWorld()
        world.keep_blocks = True
        rig = BoardRig(world=world)
        rig.port.restarted = True
        rig.board = Board(rig.port, 4711, 12)
        self.assertEqual((rig.state(), rig.board.fault, world.powered), ("asleep", messages.WATCHDOG, 0))
        rig.settle()
        self.assertEqual((rig.state(), rig.report()["fault"]), ("unhomed", messages.WATCHDOG))
        self.assertEqual(rig.report()["flags"] & messages.FLAG_TRUSTED, 0)
        self.assertEqual(world.servo_log[-1][1], UP)
        self.assertEqual(len(world.edges), 0)
        rig.send("origin", a=0, b=0)
        rig.run(lambda: rig.state() == "ready")
        self.assertEqual(rig.board.fault, messages.NO_FAULT)

    def test_a_pen_that_the_port_has_raised_stays_up(self):
        world = board_rig.fake_world.FakeWorld()
        rig = BoardRig(world=world)
        rig.port.pen_up_us = 1250
        rig.board = Board(rig.port, 4711, 12)
        self.assertEqual([us for _, us in world.servo_log[1:]], [1250])
        rig.settle()
        self.assertEqual(world.servo_log[-1][1], UP)

    def test_nobody_draws_by_an_origin_set_by_hand_where_there_are_switches(self):
        for x_end, y_end, homed, wanted in (
            (1, 1, 0, "fault"),
            (1, 0, 2, "fault"),
            (1, 0, 1, "event"),
            (0, 0, 0, "event"),
        ):
            rig = BoardRig()
            rig.ready(home_end_x=x_end, home_end_y=y_end)
            rig.board.homed = homed
            rig.draw(square() + [END])
            rig.run(lambda rig=rig: rig.last("fault") or rig.last("event"))
            rig.spend(0.5)
            if wanted == "fault":
                self.assertEqual(rig.last("fault"), {"code": messages.NOT_HOMED, "detail": 0})
                self.assertEqual((rig.state(), len(rig.world.edges)), ("faulted", 0))
                self.assertEqual({us for _, us in rig.world.servo_log if us}, {UP})
            else:
                self.assertEqual(rig.last("event")["code"], messages.FINISHED)

    def test_but_the_carriage_may_be_moved_so_with_the_pen_up(self):
        rig = BoardRig()
        rig.ready()
        rig.board.homed = 0
        rig.draw([(records.RAMP, 500, 0, 4000), (records.RAMP, 500, 0, 0), END])
        rig.run(lambda: rig.last("event"))
        self.assertEqual((rig.last("event")["code"], rig.world.a), (messages.FINISHED, 1000))


class Rest(unittest.TestCase):
    def test_motors_at_rest_get_less_current_and_all_of_it_before_they_move(self):
        rig = BoardRig()
        rig.ready(pin_rest_current=10, rest_current_after_ms=300)
        rig.spend(0.5)
        self.assertEqual(rig.world.powered, 2)
        self.assertTrue(rig.report()["flags"] & messages.FLAG_ENABLED)
        woken = len(rig.world.enable_log)
        rig.draw(square() + [END])
        # The fake world asserts that no step is made with the current of rest.
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event")["code"], messages.FINISHED)
        tick, level = rig.world.enable_log[woken]
        self.assertEqual(level, 1)
        self.assertTrue(rig.world.edges[0][0] - tick >= 50 * TICKS_PER_MS)
        rig.spend(0.5)
        self.assertEqual(rig.world.powered, 2)
        self.assertTrue(rig.board.trusted())

    def test_without_such_a_line_nothing_changes(self):
        rig = BoardRig()
        rig.ready(rest_current_after_ms=0)
        rig.spend(2)
        self.assertEqual(rig.world.powered, 1)


class Idle(unittest.TestCase):
    def test_motors_are_freed_after_a_while_and_wake_before_they_move(self):
        rig = BoardRig()
        rig.ready()
        self.assertEqual(rig.world.powered, 1)
        rig.spend(11)
        self.assertEqual(rig.world.powered, 0)
        self.assertEqual(rig.last("event"), {"code": messages.WENT_IDLE, "value": 10})
        self.assertEqual(rig.state(), "ready")
        self.assertTrue(rig.board.trusted())
        rig.heard.clear()
        rig.draw([(records.RAMP, 100, 0, 1000), (records.RAMP, 100, 0, 0), END])
        rig.run(lambda: rig.last("event"))
        woken = rig.world.enable_log[-1]
        self.assertEqual(woken[1], 1)
        self.assertTrue(rig.world.edges[0][0] - woken[0] >= 50 * TICKS_PER_MS)

    def test_never_is_a_choice(self):
        rig = BoardRig()
        rig.ready(idle_after_s=0)
        rig.spend(30)
        self.assertEqual(rig.world.powered, 1)

    def test_freeing_the_motors_by_hand_loses_the_position(self):
        rig = BoardRig()
        rig.ready()
        rig.send("enable", on=0)
        rig.spend(0.3)
        self.assertEqual((rig.state(), rig.world.powered), ("unhomed", 0))
        self.assertFalse(rig.board.trusted())


if __name__ == "__main__":
    unittest.main()
