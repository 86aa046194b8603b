"""The board's part of `board_cost.py`: runs on the (emulated) board, at its prompt."""

import gc
import time
from array import array

from lineboard import feeder, guard, kernel
from linewire import records

us = time.ticks_us
since = time.ticks_diff


class Endless:
    """A port whose player has always finished all blocks but the newest."""

    tick_hz = kernel.TICK_HZ
    overhead_ticks = 20

    def __init__(self):
        self.blocks = 0
        self.words = 0

    def now_us(self):
        return 0

    def endstop(self, _which):
        return False

    def room(self):
        return 8

    def finished(self):
        return self.blocks - 1 if self.blocks else 0

    def submit(self, _words, count, _servo_us):
        self.blocks += 1
        self.words += count


def whole(payloads, accel, rate):
    """Records, words, blocks; microseconds of decoding, of guard and queue, and of everything from queue to player."""
    port = Endless()
    queue = feeder.Feeder(port)
    queue.state[kernel.S_ACCEL] = accel
    limits = guard.Guard(port)
    limits.configure(False, -1_000_000, 1_000_000, -1_000_000, 1_000_000, rate)
    limits.begin(0, 0)
    decoder = records.new_state()
    decoding = queueing = playing = count = 0
    for payload in payloads:
        found = []
        gc.collect()
        begun = us()
        records.open_payload(decoder, payload, 0, len(payload))
        while True:
            kind = records.read_record(decoder, payload)
            if kind >= records.NOTHING:
                break
            found.append((kind, decoder[0], decoder[1], decoder[2]))
        decoding += since(us(), begun)
        gc.collect()
        begun = us()
        for kind, x, y, v in found:
            if kind == records.PEN:
                y, v = 0, y * 5000
            elif kind == records.REST:
                x, v = 0, x
            if limits.check(kind, x, y, v):
                raise ValueError("refused")
            queue.push(kind, x, y, v)
        queueing += since(us(), begun)
        count += len(found)
        gc.collect()
        begun = us()
        queue.feed()
        while queue._fill():
            queue._collect()
        playing += since(us(), begun)
    print(count, port.words, port.blocks, decoding, queueing, playing)


def kernel_alone(payloads, accel):
    """Ramps, words; microseconds of loading and of rendering them, the calls' own cost included."""
    decoder = records.new_state()
    state = kernel.new_state(20)
    state[kernel.S_ACCEL] = accel
    words = array("i", [0] * feeder.BLOCK_WORDS)
    loading = rendering = ramps = count = 0
    for payload in payloads:
        records.open_payload(decoder, payload, 0, len(payload))
        while True:
            kind = records.read_record(decoder, payload)
            if kind >= records.NOTHING:
                break
            if kind != records.RAMP:
                kernel.rest(state)
                continue
            x, y, v = decoder[0], decoder[1], decoder[2]
            begun = us()
            kernel.load(state, x, y, v, kernel.PLENTY)
            loading += since(us(), begun)
            ramps += 1
            while state[kernel.S_LEFT]:
                begun = us()
                count += kernel.render(state, words, 0, feeder.BLOCK_WORDS, 62_500)
                rendering += since(us(), begun)
    print(ramps, count, loading, rendering)
