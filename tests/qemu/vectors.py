"""A board's processing of received bytes, as one checksum. The same code runs under CPython and on the target."""

from array import array

from done_player import DonePlayer
from test_kernel import fold

from lineboard import feeder, guard, kernel
from linewire import records
from linewire.framing import CHECKSUM, HEADER, FrameReader

NUMBER = 4  # bytes in front of the records of a frame


class Player(DonePlayer):
    """Computes a checksum of all words, and the sum of servo pulses."""

    def __init__(self):
        super().__init__()
        self.servos = 0
        self.checksum = 0

    def submit(self, words, count, servo_us):
        super().submit(words, count, servo_us)
        self.servos += servo_us
        checksum = self.checksum
        for i in range(count):
            checksum = fold(checksum, words[i])
        self.checksum = checksum


def play_wire(wire, at, accel, rate, ramp_accel, jump, reach):
    """Read frames of records from `wire`, check and queue them, and play what the guard lets through.

    Parameters: where the path begins (A, B), acceleration (steps/s^2), the motors' rate (steps/s), the guard's bounds
    of acceleration (steps/s^2) and jumps (steps/s), and the reach (x_low, x_high, y_low, y_high, steps).  Returns
    frames read, frames damaged, the guard's fault, records taken, words, their checksum, servo pulses added up, and
    the position at the end.
    """
    port = Player()
    queue = feeder.Feeder(port)
    queue.state[kernel.S_ACCEL] = accel
    queue.set_position(at[0], at[1])
    limits = guard.Guard(port, feeder.MASK)
    limits.configure(False, reach, rate, rate, ramp_accel, jump, 500, 2500)
    limits.begin(at[0], at[1], True)
    decoder = records.new_state(feeder.MASK)
    reader = FrameReader()
    reader.load(wire, len(wire))
    fault = 0
    while not fault and reader.next():
        if not records.open_payload(decoder, reader.body, HEADER + NUMBER, reader.length - CHECKSUM):
            raise ValueError("no payload")
        ended = records.MORE
        while ended == records.MORE and not fault:
            decoder[records.D_SLOT] = queue.taken & feeder.MASK
            ended = records.read_records(decoder, reader.body, queue.values, queue.places, min(queue.room(), 96))
            fault = limits.admit(queue, decoder[records.D_COUNT])
            cells = limits.limits
            if cells[guard.L_COUNT]:
                queue.enter(
                    cells[guard.L_COUNT], cells[guard.L_TERMINALS], cells[guard.L_OPEN], cells[guard.L_LAST_KIND]
                )
            queue.feed()
        while queue.room() < feeder.SLOTS // 2:
            queue.feed()
    before = -1
    while port.words != before:
        before = port.words
        queue.feed()
    state = array("i", (queue.state[kernel.S_A], queue.state[kernel.S_B]))
    return (
        reader.frames,
        reader.damaged,
        fault,
        queue.taken,
        port.words,
        port.checksum,
        port.servos,
        state[0],
        state[1],
    )
