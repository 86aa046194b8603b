"""Loss of motor power: the board stops, the position is lost, and the return of power starts nothing."""

import unittest

from board_rig import BoardRig, square

from linewire import messages, records

END = (records.END, 0, 0, 0)
SENSED = {"pin_motor_power": 11}


class MotorPower(unittest.TestCase):
    def drawing(self, **settings):
        rig = BoardRig()
        rig.ready(**settings)
        rig.draw(square(4000, 8000) * 2 + [END])
        rig.run(lambda: rig.world.b >= 2000)
        return rig

    def lose(self, rig):
        rig.world.motor_power = False
        rig.run(lambda: rig.state() == "faulted", 1)

    def refused(self, rig, name, **fields):
        before = len(rig.heard)
        rig.send(name, **fields)
        rig.spend(0.3)
        return [said["reason"] for heard, said in rig.heard[before:] if heard == "refusal"]

    def test_a_drawing_stops_at_once_and_its_place_is_not_trusted(self):
        rig = self.drawing(**SENSED)
        at = rig.world.tick
        self.lose(rig)
        self.assertEqual(rig.board.fault, messages.POWER_LOST)
        self.assertFalse(rig.board.trusted())
        self.assertEqual(rig.world.powered, 0)
        self.assertTrue(rig.world.edges[-1][0] - at < 5_000_000 // 20, "it went on for more than 50 ms")
        rig.spend(0.5)
        self.assertEqual(rig.last("fault")["code"], messages.POWER_LOST)
        self.assertEqual(rig.report()["flags"] & messages.FLAG_UNPOWERED, messages.FLAG_UNPOWERED)
        self.assertEqual(rig.report()["flags"] & messages.FLAG_PEN_UP, messages.FLAG_PEN_UP)

    def test_power_that_returns_starts_nothing(self):
        rig = self.drawing(**SENSED)
        self.lose(rig)
        steps = len(rig.world.edges)
        rig.world.motor_power = True
        rig.spend(5.0)
        self.assertEqual(len(rig.world.edges), steps)
        self.assertEqual(rig.world.powered, 0)
        self.assertEqual(rig.state(), "faulted")
        self.assertEqual(self.refused(rig, "begin", program=2, first=0, a=0, b=0), [messages.WRONG_STATE])
        self.assertEqual(self.refused(rig, "abandon"), [messages.WRONG_STATE])
        self.assertEqual(len(rig.world.edges), steps)

    def test_without_power_nothing_can_be_begun_and_with_it_homing_leads_on(self):
        rig = self.drawing(**SENSED)
        self.lose(rig)
        for name, fields in (("home", {"axes": 3}), ("origin", {"a": 0, "b": 0}), ("enable", {"on": 1})):
            self.assertEqual(self.refused(rig, name, **fields), [messages.NO_MOTOR_POWER])
        rig.world.motor_power = True
        rig.send("origin", a=0, b=0)
        rig.run(lambda: rig.state() == "ready", 1)
        self.assertTrue(rig.board.trusted())

    def test_a_place_is_lost_at_rest_too_with_the_motors_off(self):
        rig = BoardRig()
        rig.ready(idle_after_s=1, **SENSED)
        rig.run(lambda: not rig.board.enabled, 5)
        self.assertTrue(rig.board.trusted())
        self.lose(rig)
        self.assertFalse(rig.board.trusted())

    def test_a_board_that_knows_no_place_waits_for_power_without_a_fault(self):
        rig = BoardRig()
        rig.world.motor_power = False
        rig.settle(**SENSED)
        rig.spend(2.0)
        self.assertEqual(rig.state(), "unhomed")
        self.assertEqual(rig.board.fault, messages.NO_FAULT)

    def test_a_dip_of_a_few_milliseconds_is_none(self):
        rig = self.drawing(**SENSED)
        rig.world.motor_power = False
        rig.spend(0.002)
        rig.world.motor_power = True
        rig.run(lambda: rig.state() == "ready")
        self.assertEqual(rig.board.fault, messages.NO_FAULT)

    def test_a_board_with_nothing_that_tells_draws_on(self):
        rig = self.drawing()
        rig.world.motor_power = False
        rig.run(lambda: rig.state() == "ready")
        self.assertEqual(rig.board.fault, messages.NO_FAULT)


if __name__ == "__main__":
    unittest.main()
