"""Random bytes, damaged frames and valid frames with random content for both ends; fuzz_wire.py runs it under both
interpreters.

    .venv/bin/python bench/fuzz_wire_board.py [BYTES [SEED]]        .tools/micropython bench/fuzz_wire_board.py ...

One end is a complete board, the other the host's endpoint with the decoder of messages.
Each takes BYTES bytes: random ones, genuine frames with bits flipped, pieces cut out or put in, and frames whose
checksum and session are right but whose kind, number and payload are not. Any exception ends the run. Prints one line
per end, ``name bytes frames damaged oversize foreign odd grown``, where ``grown`` is the growth of the memory in use
since a tenth of the run: objects on CPython, bytes on MicroPython.
"""

import gc
import sys

HERE = __file__.rsplit("/", 1)[0] if "/" in __file__ else "."
for folder in ("/../tests/dual", "/../device", "/../shared_protocol"):
    sys.path.insert(0, HERE + folder)

from board_rig import BoardRig
from fake_world import Edges

from linewire import messages
from linewire.endpoint import ACK, OPEN, PROBE, Endpoint
from linewire.framing import write_frame

# A new host, or a new board, is connected after this many bytes, to test that the end still works.
LIFE = 40_000


class Dice:
    """A random number generator that gives the same numbers on both interpreters (constants of Numerical Recipes)."""

    def __init__(self, seed):
        self.state = seed & 0x3FFFFFFF

    def below(self, n):
        """0..n - 1."""
        self.state = (self.state * 1664525 + 1013904223) & 0x3FFFFFFF
        return (self.state >> 8) % n

    def bytes(self, n):
        """This many random bytes."""
        return bytes([self.below(256) for _ in range(n)])


def used():
    """Memory in use, without garbage."""
    gc.collect()
    return gc.mem_alloc() if hasattr(gc, "mem_alloc") else len(gc.get_objects())


def broken(dice, frame):
    """A genuine frame, damaged."""
    data = bytearray(frame)
    for _ in range(1 + dice.below(3)):
        at = dice.below(len(data))
        what = dice.below(4)
        if what == 0:
            data[at] ^= 1 << dice.below(8)
        elif what == 1:
            data = data[:at] + data[at + 1 + dice.below(8) :] or bytearray(1)
        elif what == 2:
            data = data[:at] + dice.bytes(1 + dice.below(8)) + data[at:]
        else:
            data = data[:at] + data[: dice.below(len(data)) + 1]
    return bytes(data)


def nonsense(dice, side, tag, sequence):
    """A frame with random content and a valid checksum."""
    kinds = [number for _, number, _ in messages.MESSAGES if number & messages.FROM_BOARD == side]
    kinds += [kind | side for kind in (OPEN, ACK, PROBE)]
    kind = kinds[dice.below(len(kinds))] if dice.below(8) else dice.below(256)
    # Small numbers are in range more often, so more code is reached.
    payload = dice.bytes(dice.below(40) if dice.below(4) else dice.below(messages.PAYLOAD))
    if dice.below(2):
        payload = bytes([byte & 3 if i % 4 else byte for i, byte in enumerate(payload)])
    return write_frame(kind, (sequence + (dice.below(20) if dice.below(2) else 0)) & 0xFFFF, tag, payload)


def piece(dice, genuine, side, tag, sequence):
    what = dice.below(4)
    if what == 0:
        return dice.bytes(1 + dice.below(300))
    if what == 1:
        return nonsense(dice, side, tag, sequence)
    frame = genuine[dice.below(len(genuine))]
    return frame if what == 2 and dice.below(4) == 0 else broken(dice, frame)


class Sums:
    """Counters over several endpoints in sequence."""

    def __init__(self):
        self.all = [0] * 5

    def add(self, end):
        """Add the counters of an endpoint that is discarded."""
        reader = end.reader
        for i, count in enumerate((reader.frames, reader.damaged, reader.oversize, end.foreign, end.odd)):
            self.all[i] += count


def tell(name, total, sums, grown):
    print(name, total, *sums.all, grown)


def fuzz_board(dice, total):
    """A complete board: after each stretch of bytes it must answer a new host normally."""
    rig = BoardRig()
    sums = Sums()
    done = 0
    before = 0
    life = 0
    while done < total:
        life += 1
        rig.silent = False
        rig.heard.clear()
        rig.world.to_board = bytearray(b"\0")
        rig.new_host(1 + life % 65535)
        rig.send("hello", protocol=messages.PROTOCOL, digest=4711)
        rig.run(lambda: rig.last("greeting"))
        genuine = [
            write_frame(number, i, rig.host.session ^ rig.host.peer_session, dice.bytes(dice.below(60)))
            for i, (_, number, _) in enumerate(messages.MESSAGES)
        ]
        rig.silent = True
        tag = rig.host.session ^ rig.host.peer_session
        end = done + LIFE
        while done < end:
            data = piece(dice, genuine, 0, tag, rig.board.server.endpoint._next_in)
            done += len(data)
            rig.world.to_board += data
            while rig.world.to_board:
                rig.board.poll()
        rig.world.edges = Edges()
        if not before and done >= total // 10:
            before = used()
    sums.add(rig.board.server.endpoint)
    tell("board", done, sums, used() - before)


def fuzz_host(dice, total):
    """The host's endpoint and the decoder of messages."""
    sums = Sums()
    done = 0
    before = 0
    life = 0
    refused = 0
    while done < total:
        life += 1
        now_us = 0
        host = Endpoint(1 + life % 65535, True, 0)
        board = Endpoint(1 + (life * 7919) % 65535, False, 0, report_size=messages.REPORT_SIZE)
        host.receive(board.to_send(now_us), now_us)
        board.receive(host.to_send(now_us), now_us)
        host.receive(board.to_send(now_us), now_us)
        tag = host.session ^ board.session
        genuine = [
            write_frame(number, i, tag, dice.bytes(dice.below(60)))
            for i, (_, number, _) in enumerate(messages.MESSAGES)
        ]
        end = done + LIFE
        while done < end and not host.parted:
            data = piece(dice, genuine, messages.FROM_BOARD, tag, host._next_in)
            done += len(data)
            now_us += 1000
            host.receive(data, now_us)
            while host.take():
                try:
                    messages.decode(host.kind, bytes(host.body[5 : host.length]))
                except messages.FieldError:
                    refused += 1
            if host.can_send:
                host.send(messages.ASK)
            while host.produce(now_us):
                pass
        sums.add(host)
        if not before and done >= total // 10:
            before = used()
    tell("host", done, sums, used() - before)


def main(words):
    total = int(words[0]) if words else 1_000_000
    seed = int(words[1]) if len(words) > 1 else 1
    fuzz_board(Dice(seed), total)
    fuzz_host(Dice(seed + 1), total)


if __name__ == "__main__":
    main(sys.argv[1:])
