"""The board's part of `drawing_heap.py`: runs under MicroPython, with bench, tests/dual and the board's packages."""

import sys
from array import array

import board_rig
from board_rig import DOWN, UP, BoardRig
from homings_board import TidyWorld, fill
from test_board_memory import allocated

from lineboard import kernel
from linewire import messages, records

TICK_HZ = 5_000_000
MOST_TURNS = 100_000


class BlockWorld(TidyWorld):
    """A player of whole blocks: adds up their durations and steps when they are submitted."""

    sums = array("i", (0, 0, 0, 0))
    from_tick = 0

    def submit(self, words, count, _servo_us):
        begun = allocated()
        sums = self.sums
        for i in range(4):
            sums[i] = 0
        kernel.tally(words, 0, count, self.shape[2], sums)
        if not self.queue:
            self.from_tick = self.tick
        self.queue.append((sums[2] * TICK_HZ + sums[3], sums[0], sums[1]))
        self.submitted += 1
        self.outside += allocated() - begun

    def _play(self, until):
        if self.queue:
            ticks, a, b = self.queue[0]
            end = self.from_tick + ticks
            if end > until:
                self.tick = until
                return
            self.queue.pop(0)
            self.a += a
            self.b += b
            self.finished += 1
            self.from_tick = end
            until = end
        self.tick = max(self.tick, until)


class Payloads:
    """The frames of a sheet, encoded once and drawn repeatedly."""

    def __init__(self):
        self._made = {}
        self._encode = board_rig.encoding.encode_payload

    def encode_payload(self, program, at):
        if at not in self._made:
            self._made[at] = self._encode(program, at)
        return self._made[at]


def sheet():
    """Records of dense strokes, there and back: some ten seconds."""
    out = []
    v = 4000
    for row in range(2):
        sign = 1 if row % 2 == 0 else -1
        out.append((records.PEN, DOWN, 150, 0))
        out.append((records.RAMP, sign * 110, 3, v))
        for i in range(100):
            out.append((records.RAMP, sign * (18 + i % 5), (i % 7) - 3, v - 200 * (i % 2)))
        out.append((records.RAMP, sign * 110, 3, 0))
        out.append((records.PEN, UP, 200, 0))
    a = sum(entry[1] for entry in out if entry[0] == records.RAMP)
    b = sum(entry[2] for entry in out if entry[0] == records.RAMP)
    out.append((records.RAMP, -a or 1, -b, 300))
    out.append((records.RAMP, 0 if a else -1, 1, 0))
    out.append((records.RAMP, 0, -1, 10))
    out.append((records.REST, 1000, 0, 0))
    out.append((records.END, 0, 0, 0))
    return out


def main():
    seconds, free_bytes = int(sys.argv[1]), int(sys.argv[2])
    program = sheet()
    world = BlockWorld((1000, 1000))
    rig = BoardRig(world=world)
    rig.ready()
    board_rig.encoding = Payloads()
    rig.draw(program)
    rig.run(lambda: rig.last("event"))
    held = fill(free_bytes)
    world.spare = free_bytes // 2
    begun_tick = world.tick
    sheets = turns = most = least = asked = answer = 0
    while held and world.tick - begun_tick < seconds * TICK_HZ:
        sheets += 1
        rig.heard.clear()
        world.marks.clear()
        world.servo_log.clear()
        rig.draw(program, number=sheets + 1)
        rig.run(lambda: rig.state() == "drawing")
        ask_at = 20
        for turn in range(MOST_TURNS):
            if rig.last("event") or rig.last("fault"):
                break
            if turn == ask_at:
                # A slower pace, a hold, and a resume, some turns apart.
                ask_at += 30
                rig.send("pace", value=(200, 0, 256)[(turn // 30) % 3])
            playing = bool(world.queue)
            sequence = rig.board.server.endpoint.sequence
            kind = rig.board.server.endpoint.kind
            world.outside = 0
            begun = allocated()
            rig.board.poll()
            taken = allocated() - begun - world.outside
            if playing and world.queue:
                turns += 1
                endpoint = rig.board.server.endpoint
                if endpoint.kind != messages.MOVES and (endpoint.kind, endpoint.sequence) != (kind, sequence):
                    asked += 1
                    answer = max(answer, taken)
                else:
                    most = max(most, taken)
                    least = min(least, taken)
        event = rig.last("event")
        if not event or event["code"] != messages.FINISHED:
            raise RuntimeError(f"sheet {sheets} ended with {rig.heard}")
    ramps = sheets * len([entry for entry in program if entry[0] == records.RAMP])
    print((world.tick - begun_tick) // TICK_HZ, sheets, ramps, turns, most, least, asked, answer)


if __name__ == "__main__":
    main()
