"""Processor time of the wire code on one interpreter; wire_cost.py runs it under both.

    .venv/bin/python bench/wire_cost_board.py        .tools/micropython bench/wire_cost_board.py

Prints one line per figure: name, median and spread (half the distance between the quartiles) in microseconds per unit.
"""

import sys
import time
from array import array

HERE = __file__.rsplit("/", 1)[0] if "/" in __file__ else "."
sys.path.insert(0, HERE + "/../shared_protocol")

from linewire import encoding, framing, messages, records
from linewire.endpoint import Endpoint


def now_us():
    """Clock for differences, microseconds; process time if the interpreter has it."""
    return time.ticks_us() if hasattr(time, "ticks_us") else time.process_time_ns() // 1000


def program(count):
    """Random-walk ramps with some pen actions."""
    state = 7
    out = []
    da, db, speed = 40, -25, 4000
    for i in range(count):
        state = (state * 1664525 + 1013904223) & 0x3FFFFFFF
        da = max(min(da + (state >> 8) % 15 - 7, 300), -300) or 1
        db = max(min(db + (state >> 16) % 15 - 7, 300), -300)
        speed = max(min(speed + (state >> 6) % 801 - 400, 8000), 300)
        if i % 20 == 19:
            out.append((records.RAMP, da, db, 0))
            out.append((records.PEN, 1300 + 400 * (i // 20 % 2), 250, 0))
        else:
            out.append((records.RAMP, da, db, speed))
    return out


def payloads_of(entries):
    out = []
    index = 0
    while index < len(entries):
        payload, index = encoding.encode_payload(entries, index)
        out.append(payload)
    return out


def figure(name, run, units, rounds=9):
    """Print the median and the spread of ``run`` per unit."""
    times = []
    for _ in range(rounds):
        start = now_us()
        run()
        times.append((now_us() - start) / units)
    times.sort()
    spread = (times[rounds * 3 // 4] - times[rounds // 4]) / 2
    print(name, round(times[rounds // 2], 3), round(spread, 3))


def main():
    entries = program(1500)
    payloads = payloads_of(entries)
    state = records.new_state(63)
    values, places = array("i", [0] * 64), array("i", [0] * 64)

    def decode():
        records.rest(state)
        for payload in payloads:
            records.open_payload(state, payload, 0, len(payload))
            while records.read_records(state, payload, values, places, 64) == records.MORE:
                pass

    figure("decode_us_per_record", decode, len(entries))

    body = bytearray(framing.BODY)
    for i in range(framing.BODY - 4):
        body[i] = i * 7 & 255
    out = bytearray(framing.WIRE)

    def write():
        for _ in range(50):
            framing.seal(body, framing.BODY - 4)
            framing.stuff(body, framing.BODY, out, 0)

    figure("write_us_per_full_frame", write, 50)
    reader = framing.FrameReader()

    def read():
        for _ in range(50):
            reader.load(out, len(out))
            reader.next()

    figure("read_us_per_full_frame", read, 50)

    host = Endpoint(1, True, 0)
    board = Endpoint(2, False, 0, report_size=messages.REPORT_SIZE)
    moves = bytes(messages.PAYLOAD)

    def talk():
        for _ in range(20):
            while host.can_send:
                host.send(messages.MOVES, moves)
            board.receive(host.to_send(0), 0)
            while board.take():
                pass
            host.receive(board.to_send(0), 0)

    talk()
    figure("host_and_board_us_per_full_frame", talk, 20 * 16)


main()
