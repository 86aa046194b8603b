"""The board's part of `homings.py`: runs under MicroPython, with tests/dual and the board's packages on its path."""

import gc
import sys

from board_rig import BoardRig
from fake_world import Switch
from test_board_memory import CountingWorld, allocated

from linewire import records

PIECE_BYTES = 256
MOST_TURNS = 20_000_000
"""Largest number of turns of a homing; beyond it the bench fails."""


class TidyWorld(CountingWorld):
    """Collects the host's garbage in the host's part of a turn, because a real host does not share the board's heap."""

    spare = 0

    def pause(self, max_us, expecting, status, inbox):
        CountingWorld.pause(self, max_us, expecting, status, inbox)
        if gc.mem_free() < self.spare:
            begun = allocated()
            gc.collect()
            self.outside += allocated() - begun


class Unkept:
    """Discards edges, which would fill the heap and are not used."""

    def add(self, tick, word):
        pass


def fill(free_bytes):
    """Allocate until ``free_bytes`` are left; returns a linked list of the allocated pieces."""
    held = None
    gc.collect()
    while gc.mem_free() > free_bytes:
        held = (held, bytearray(PIECE_BYTES))
    gc.collect()
    return held


def moved(rig, until, seen):
    """Poll until ``until()`` is true; ``seen`` receives the largest and smallest change of the heap in a turn with
    moving motors.
    """
    world = rig.world
    for _ in range(MOST_TURNS):
        if until():
            return
        playing = bool(world.queue)
        world.outside = 0
        begun = allocated()
        rig.board.poll()
        taken = allocated() - begun - world.outside
        if playing and world.queue:
            seen[0] += 1
            seen[1] = max(seen[1], taken)
            seen[2] = min(seen[2], taken)
    raise RuntimeError("it does not end")


def main():
    count, free_bytes = int(sys.argv[1]), int(sys.argv[2])
    world = TidyWorld((300, 200))
    world.switches = [Switch(0), Switch(0)]
    world.edges = Unkept()
    rig = BoardRig(world=world)
    rig.settle(home_passes=1)
    held = fill(free_bytes)
    world.spare = free_bytes // 2
    seen = [0, 0, 0]
    worst_spread = 0
    for i in range(count):
        rig.heard.clear()
        world.marks.clear()
        world.servo_log.clear()
        rig.send("home", axes=3)
        rig.run(lambda: bool(world.queue))
        moved(rig, lambda: rig.last("homed") or rig.last("fault"), seen)
        homed = rig.last("homed")
        if not homed:
            raise RuntimeError(f"homing {i + 1} ended with {rig.heard}")
        rig.spend(0.2)
        worst_spread = max(worst_spread, homed["x_spread_steps"], homed["y_spread_steps"])
        # Move elsewhere for the next homing.
        x, y = 20 + 17 * (i % 11), 20 + 23 * (i % 7)
        rig.draw([(records.RAMP, x, y, 2000), (records.RAMP, x, y, 0), (records.END, 0, 0, 0)], number=i + 1)
        rig.run(lambda: rig.last("event"))
    gc.collect()
    print(count, gc.mem_alloc() if held else 0, gc.mem_free(), seen[0], seen[1], seen[2], worst_spread)


if __name__ == "__main__":
    main()
