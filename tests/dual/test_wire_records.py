"""Records on both interpreters: round trip, and safe rejection of invalid data."""

import unittest
from array import array

from record_reader import Reader

from linewire import records
from linewire.encoding import RecordError, check_record, encode_payload
from linewire.records import BAD, END, FULL, MORE, NOTHING, PEN, RAMP, REST


class Numbers:
    """A small generator that is the same everywhere (Numerical Recipes' constants, 30 bits)."""

    def __init__(self, seed):
        self.state = seed

    def below(self, limit):
        self.state = (self.state * 1664525 + 1013904223) & 0x3FFFFFFF
        return (self.state >> 8) % limit

    def between(self, low, high):
        return low + self.below(high - low + 1)


def random_program(seed, count):
    numbers = Numbers(seed)
    program = []
    speed = 0
    for _ in range(count):
        kind = numbers.below(16)
        reach = (1, 3, 40, 300, 16383)[numbers.below(5)]
        if kind == 0:
            program.append((PEN, numbers.between(500, 2500), numbers.between(0, 8191), 0))
            speed = 0
        elif kind <= 2:
            program.append((PEN, (1300, 1700)[kind - 1], 250, 0))
            speed = 0
        elif kind >= 14 and speed:
            program.append((PEN, numbers.between(500, 2500), 0, 0))
        elif kind == 3:
            program.append((REST, numbers.below(1 << numbers.below(21)), 0, 0))
            speed = 0
        else:
            da = numbers.between(-reach, reach)
            db = numbers.between(-reach, reach)
            if da == 0 and db == 0:
                db = 1
            if kind < 6 and speed:
                after = speed
            elif kind < 8 and speed:
                after = 0
            else:
                after = numbers.between(1, (9, 900, 20000, 131071)[numbers.below(4)])
            program.append((RAMP, da, db, after))
            speed = after
    program.append((END, 0, 0, 0))
    return program


# The far ends of every number.
EXTREMES = [
    (RAMP, 16383, -16383, 131071),
    (RAMP, -16383, 16383, 131071),
    (RAMP, 16383, -16383, 1),
    (RAMP, 0, 1, 131071),
    (RAMP, -1, 0, 0),
    (PEN, 500, 0, 0),
    (PEN, 2500, 8191, 0),
    (PEN, 500, 0, 0),
    (REST, 0, 0, 0),
    (REST, (1 << 26) - 1, 0, 0),
    (RAMP, 1, 0, 346),
    (REST, 0, 0, 0),
    (RAMP, 16383, 16383, 131071),
    (PEN, 2500, 0, 0),
    (RAMP, -16383, -16383, 131071),
    (PEN, 500, 0, 0),
    (RAMP, 1, 1, 1),
    (PEN, 2500, 8191, 0),
    (END, 0, 0, 0),
]


class RecordTest(unittest.TestCase):
    def check(self, program, begin=0):
        reader = Reader()
        found = []
        index = begin
        while index < len(program):
            payload, index = encode_payload(program, index, begin)
            self.assertTrue(len(payload) <= records.RECORDS_ROOM)
            got, ended = reader.payload(payload)
            self.assertEqual(ended, NOTHING)
            found += got
        self.assertEqual(found, program[begin:])

    def test_what_is_written_is_read(self):
        for seed in range(1, 9):
            self.check(random_program(seed, 250))

    def test_extremes_are_written_and_read(self):
        self.check(EXTREMES)

    def test_single_records_of_every_size(self):
        for bits in range(14):
            for da in ((1 << bits), (1 << bits) - 1, -(1 << bits)):
                for v in (1, 1 << bits, 131071):
                    self.check([(RAMP, da, 1, v), (RAMP, 1, da, 0), (END, 0, 0, 0)])

    def test_a_program_is_carried_on_from_any_rest(self):
        program = random_program(5, 200)
        for begin in range(len(program)):
            kind, _, dwell, v_end = program[begin - 1]
            if begin == 0 or (v_end == 0 and (kind != PEN or dwell)):
                self.check(program, begin)

    def test_a_payload_cut_short_is_never_read_beyond_its_end(self):
        payload, _ = encode_payload(random_program(3, 120), 0)
        whole, _ = Reader().payload(payload)
        for length in range(len(payload)):
            # Bytes after the cut must have no effect.
            found, ended = Reader().payload(payload[:length] + b"\xff" * 20, length)
            self.assertTrue(ended in (NOTHING, BAD))
            self.assertEqual(found, whole[: len(found)])

    def test_any_bytes_are_read_or_refused_within_their_ranges(self):
        numbers = Numbers(77)
        for _ in range(1500):
            payload = bytearray([numbers.below(256) for _ in range(numbers.below(40))])
            if len(payload) > 2:
                payload[2] &= 3
            found, ended = Reader().payload(payload)
            self.assertTrue(ended in (NOTHING, BAD))
            self.assertTrue(len(found) <= len(payload) * 4)
            for kind, first, second, speed in found:
                check_record(0, (kind, first, second, speed), 1)

    def test_a_record_that_there_is_no_room_for_is_seen_and_kept_nowhere(self):
        payload, _ = encode_payload([(RAMP, 5, 3, 400), (RAMP, 5, 3, 0)], 0)
        state = records.new_state(1)
        values, places = array("i", [0, 0]), array("i", [0, 0])
        records.open_payload(state, payload, 0, len(payload))
        self.assertEqual(records.read_records(state, payload, values, places, 0), FULL)
        self.assertEqual((list(values), list(places), state[records.D_COUNT]), ([0, 0], [0, 0], 0))
        # The padding of the last byte is not a record.
        records.rest(state)
        end, _ = encode_payload([(END, 0, 0, 0)], 0)
        records.open_payload(state, end, 0, len(end))
        self.assertEqual(records.read_records(state, end, values, places, 1), MORE)
        self.assertEqual(records.read_records(state, end, values, places, 0), NOTHING)

    def test_a_new_decoder_has_nothing_to_read_and_begins_at_the_first_slot(self):
        state = records.new_state(3)
        values, places = array("i", [7, 7, 7, 7]), array("i", [7, 7, 7, 7])
        self.assertEqual(records.read_records(state, b"", values, places, 4), NOTHING)
        end, _ = encode_payload([(END, 0, 0, 0)], 0)
        records.open_payload(state, end, 0, len(end))
        self.assertEqual(records.read_records(state, end, values, places, 4), NOTHING)
        self.assertEqual((list(values), list(places)), ([END << records.KIND_SHIFT, 7, 7, 7], [0, 7, 7, 7]))

    def test_headers_that_nobody_writes_are_refused(self):
        for payload in (b"", b"\x00", b"\x00\x00\x00", b"\x00\x00\x04\x80"):
            self.assertTrue(not records.open_payload(records.new_state(), payload, 0, len(payload)))

    def test_filling_must_be_zero_and_short(self):
        payload, _ = encode_payload([(END, 0, 0, 0)], 0)
        self.assertEqual(payload, b"\x00\x00\x00\xe0")
        self.assertEqual(Reader().payload(payload), ([(END, 0, 0, 0)], NOTHING))
        self.assertEqual(Reader().payload(payload + b"\x00")[1], BAD)
        self.assertEqual(Reader().payload(b"\x00\x00\x00\xe1")[1], BAD)

    def test_records_that_do_not_fit_are_refused_by_number(self):
        for record in (
            (RAMP, 16384, 0, 5),
            (RAMP, 0, -16384, 5),
            (RAMP, 0, 0, 5),
            (RAMP, 1, 0, 131072),
            (RAMP, 1, 0, -1),
            (RAMP, 1, 0, 0),
            (PEN, 499, 0, 0),
            (PEN, 2501, 0, 0),
            (PEN, 1000, 8192, 0),
            (REST, 1 << 26, 0, 0),
            (REST, -1, 0, 0),
            (4, 0, 0, 0),
        ):
            with self.assertRaises(RecordError) as caught:
                encode_payload([(REST, 0, 0, 0), record], 0)
            self.assertEqual(caught.exception.index, 1)


if __name__ == "__main__":
    unittest.main()
