"""The board's part of `board_cost.py`: runs on the (emulated) board, at its prompt."""

import gc
import time
from array import array

from lineboard import feeder, guard, kernel
from linewire import records

us = time.ticks_us
since = time.ticks_diff


def whole(port, payloads, accel, rate, ramp_accel, jump):
    """Counts of records, words and blocks; microseconds of decoding, of guard and queue, and from queue to player.

    `port` is a `DonePlayer` of tests/dual/done_player.py, which `board_cost.py` runs at the prompt before.
    """
    queue = feeder.Feeder(port)
    queue.state[kernel.S_ACCEL] = accel
    queue.queue[kernel.Q_ENOUGH] = 1
    limits = guard.Guard(port, feeder.MASK)
    reach = (-1_000_000, 1_000_000, -1_000_000, 1_000_000)
    limits.configure(False, reach, rate, rate, ramp_accel, jump, 500, 2500)
    limits.begin(0, 0, True)
    decoder = records.new_state(feeder.MASK)
    decoding = queueing = playing = count = 0
    for payload in payloads:
        gc.collect()
        begun = us()
        records.open_payload(decoder, payload, 0, len(payload))
        decoder[records.D_SLOT] = queue.taken & feeder.MASK
        records.read_records(decoder, payload, queue.values, queue.places, queue.room())
        decoding += since(us(), begun)
        found = decoder[records.D_COUNT]
        begun = us()
        if limits.admit(queue, found):
            raise ValueError("refused")
        cells = limits.limits
        queue.enter(found, cells[guard.L_TERMINALS], cells[guard.L_OPEN], cells[guard.L_LAST_KIND])
        queueing += since(us(), begun)
        count += found
        gc.collect()
        begun = us()
        queue.feed()
        while queue._fill():
            queue._collect()
        playing += since(us(), begun)
    print(count, port.words, port.blocks, decoding, queueing, playing)


def kernel_alone(payloads, accel):
    """Counts of ramps and words; microseconds of loading and of rendering them, calls included."""
    decoder = records.new_state(feeder.MASK)
    values = array("i", [0] * (feeder.MASK + 1))
    places = array("i", [0] * (feeder.MASK + 1))
    state = kernel.new_state(20)
    state[kernel.S_ACCEL] = accel
    words = array("i", [0] * feeder.BLOCK_WORDS)
    loading = rendering = ramps = count = 0
    for payload in payloads:
        records.open_payload(decoder, payload, 0, len(payload))
        decoder[records.D_SLOT] = 0
        records.read_records(decoder, payload, values, places, feeder.MASK)
        for i in range(decoder[records.D_COUNT]):
            if values[i] >> records.KIND_SHIFT:
                kernel.rest(state)
                continue
            x = (places[i] >> records.PLACE_SHIFT) - records.PLACE_ZERO
            y = (places[i] & records.PLACE_MASK) - records.PLACE_ZERO
            begun = us()
            kernel.load(state, x, y, values[i], kernel.PLENTY)
            loading += since(us(), begun)
            ramps += 1
            while state[kernel.S_LEFT]:
                begun = us()
                count += kernel.render(state, words, 0, feeder.BLOCK_WORDS, 62_500)
                rendering += since(us(), begun)
    print(ramps, count, loading, rendering)
