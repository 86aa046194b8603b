"""The drawing path allocates nothing: the heap is locked whenever the board's code runs while a drawing plays.

Under CPython the lock does nothing and only the drawing is tested.
"""

import unittest

from board_rig import DOWN, UP, BoardRig
from fake_world import FakeWorld

from lineboard import kernel
from linewire import messages, records
from linewire.compat import micropython


class LockedWorld(FakeWorld):
    """Opens the heap's lock for its own part and the host's, because only the board must do without."""

    locked = False

    def lock(self):
        self.locked = True
        micropython.heap_lock()

    def unlock(self):
        micropython.heap_unlock()
        self.locked = False

    # One method like the other: a wrapper that took any arguments would itself allocate, and so would super().

    def submit(self, words, count, servo_us):
        was = self.locked
        if was:
            self.unlock()
        FakeWorld.submit(self, words, count, servo_us)
        if was:
            self.lock()

    def servo(self, us):
        was = self.locked
        if was:
            self.unlock()
        FakeWorld.servo(self, us)
        if was:
            self.lock()

    def write(self, buffer, n):
        was = self.locked
        if was:
            self.unlock()
        FakeWorld.write(self, buffer, n)
        if was:
            self.lock()

    def pause(self, max_us, expecting, status, inbox):
        was = self.locked
        if was:
            self.unlock()
        FakeWorld.pause(self, max_us, expecting, status, inbox)
        if was:
            self.lock()


def straight(count, step, v):
    up = v * v // 160_000
    return [(records.RAMP, up, up, v)] + [(records.RAMP, step, step - 1, v)] * count + [(records.RAMP, up, up, 0)]


class Memory(unittest.TestCase):
    def test_a_drawing_with_pen_actions_a_long_path_and_a_hold_allocates_nothing(self):
        program = [(records.PEN, DOWN, 150, 0)] + straight(1500, 3, 6000) + [(records.PEN, UP, 200, 0)]
        program += [(records.REST, 50_000, 0, 0), (records.PEN, DOWN, 150, 0), (records.RAMP, -500, 300, 2000)]
        program += [(records.RAMP, -500, 300, 0), (records.PEN, UP, 200, 0), (records.END, 0, 0, 0)]
        world = LockedWorld()
        rig = BoardRig(world=world)
        rig.ready()
        rig.draw(program)
        rig.run(lambda: rig.state() == "drawing")

        def run_locked(until):
            turns = 0
            while not until():
                world.lock()
                try:
                    rig.board.poll()
                finally:
                    world.unlock()
                turns += 1
                self.assertTrue(turns < 20_000)

        run_locked(lambda: world.a > 2000)
        # Requests other than records may allocate: they do not come by the thousand.
        rig.send("pace", value=0)
        rig.run(lambda: rig.board.feeder.state[kernel.S_PACE] == 0)
        run_locked(lambda: rig.state() == "holding" and rig.board.pen.settled(world.now_us()))
        rig.send("pace", value=200)
        rig.run(lambda: rig.state() == "drawing")
        # Up to the last pen action; the message that it is finished is the first that may allocate again.
        run_locked(lambda: rig.board.feeder.records_done == len(program) - 2)
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event"), {"code": messages.FINISHED, "value": len(program)})
        self.assertEqual(world.a, sum(record[1] for record in program if record[0] == records.RAMP))


if __name__ == "__main__":
    unittest.main()
