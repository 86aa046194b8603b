"""The drawing path allocates nothing: the heap is locked whenever the board's code runs while a drawing plays.

Under CPython the lock does nothing and only the drawing is tested.
"""

import gc
import unittest

from board_rig import DOWN, UP, BoardRig
from fake_world import FakeWorld, Switch

from lineboard import kernel
from linewire import messages, records
from linewire.compat import micropython


class LockedWorld(FakeWorld):
    """Unlocks the heap for the world and the host, because only the board must not allocate."""

    locked = False

    def lock(self):
        self.locked = True
        micropython.heap_lock()

    def unlock(self):
        micropython.heap_unlock()
        self.locked = False

    # Methods are written out, because a generic wrapper or super() would itself allocate.

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
        # Requests other than records may allocate, because they are rare.
        rig.send("pace", value=0)
        rig.run(lambda: rig.board.feeder.state[kernel.S_PACE] == 0)
        run_locked(lambda: rig.state() == "holding" and rig.board.pen.settled(world.now_us()))
        rig.send("pace", value=200)
        rig.run(lambda: rig.state() == "drawing")
        # Up to the last pen action; the message at the end is the first that may allocate again.
        run_locked(lambda: rig.board.feeder.records_done == len(program) - 2)
        rig.run(lambda: rig.last("event"))
        self.assertEqual(rig.last("event"), {"code": messages.FINISHED, "value": len(program)})
        self.assertEqual(world.a, sum(record[1] for record in program if record[0] == records.RAMP))


class CountingWorld(FakeWorld):
    """Counts allocations of the world and the host; the rest is the board's."""

    outside = 0

    def submit(self, words, count, servo_us):
        begun = allocated()
        FakeWorld.submit(self, words, count, servo_us)
        self.outside += allocated() - begun

    def servo(self, us):
        begun = allocated()
        FakeWorld.servo(self, us)
        self.outside += allocated() - begun

    def halt(self):
        begun = allocated()
        unplayed = FakeWorld.halt(self)
        self.outside += allocated() - begun
        return unplayed

    def write(self, buffer, n):
        begun = allocated()
        FakeWorld.write(self, buffer, n)
        self.outside += allocated() - begun

    def pause(self, max_us, expecting, status, inbox):
        begun = allocated()
        FakeWorld.pause(self, max_us, expecting, status, inbox)
        self.outside += allocated() - begun


def allocated():
    return gc.mem_alloc() if hasattr(gc, "mem_alloc") else 0


class Counted(unittest.TestCase):
    """The heap stays unlocked, so that allocations freed in the same turn are counted."""

    def moving(self, rig, until):
        """Poll until ``until()``; returns bytes allocated in turns that began and ended with moving motors."""
        world = rig.world
        taken = turns = 0
        while not until():
            # No collection within a turn, because it would hide allocations.
            if turns % 100 == 0:
                gc.collect()
            playing = bool(world.queue)
            world.outside = 0
            begun = allocated()
            rig.board.poll()
            bytes_taken = allocated() - begun - world.outside
            if playing and world.queue:
                turns += 1
                taken = max(taken, bytes_taken)
            self.assertTrue(turns < 50_000)
        return taken, turns

    def test_a_dense_drawing_takes_nothing_from_the_heap(self):
        world = CountingWorld()
        rig = BoardRig(world=world)
        rig.ready()
        program = [(records.PEN, DOWN, 150, 0)] + straight(900, 3, 6000)
        program += [(records.PEN, UP, 200, 0), (records.END, 0, 0, 0)]
        rig.draw(program)
        rig.run(lambda: world.a > 100)
        taken, turns = self.moving(rig, lambda: world.a > 2500)
        self.assertTrue(turns > 20)
        self.assertEqual(taken, 0)

    def test_homing_takes_nothing_from_the_heap_while_it_moves(self):
        world = CountingWorld((300, 200))
        world.switches = [Switch(0), Switch(0)]
        rig = BoardRig(world=world)
        rig.settle(home_passes=1)
        rig.send("home", axes=3)
        rig.run(lambda: bool(world.queue))
        taken, turns = self.moving(rig, lambda: rig.state() == "ready")
        self.assertTrue(turns > 100)
        self.assertEqual(taken, 0)


if __name__ == "__main__":
    unittest.main()
