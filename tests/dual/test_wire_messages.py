"""Messages on both interpreters: every field at both ends of its range, and one beyond."""

import unittest
from array import array

from linewire import messages
from linewire.messages import FieldError, decode, encode, read_report, write_report


def sample(kind, value):
    if kind == "bytes":
        return bytes([7] * value)
    if kind == "text":
        return "v" * value
    if kind == "pairs":
        return tuple([(entry[1], entry[3]) for entry in (messages.SETTINGS * 2)[:value]])
    return value


class MessageTest(unittest.TestCase):
    def test_every_message_survives_at_both_ends_of_its_ranges(self):
        for name, number, fields in messages.MESSAGES:
            for end in (2, 3):
                values = {field[0]: sample(field[1], field[end]) for field in fields}
                payload = encode(name, **values)
                self.assertTrue(len(payload) <= messages.PAYLOAD)
                self.assertEqual(decode(number, payload), (name, values))

    def test_encoder_refuses_one_step_beyond_each_range(self):
        for name, _, fields in messages.MESSAGES:
            for field, kind, low, high in fields:
                for value in (low - 1, high + 1):
                    if value < 0 and kind in ("bytes", "text", "pairs"):
                        continue
                    values = {other[0]: sample(other[1], other[2]) for other in fields}
                    values[field] = sample(kind, value)
                    with self.assertRaises(FieldError) as caught:
                        encode(name, **values)
                    error = caught.exception
                    self.assertEqual((error.message, error.value, error.low, error.high), (name, value, low, high))

    def test_decoder_refuses_what_is_out_of_range(self):
        with self.assertRaises(FieldError) as caught:
            decode(messages.PACE, b"\x01\x01")
        error = caught.exception
        self.assertEqual((error.message, error.field, error.number, error.value), ("pace", "value", 1, 257))
        self.assertEqual((error.low, error.high), (0, 256))
        with self.assertRaises(FieldError) as caught:
            decode(messages.SET, b"\x01\x00\x00\x00\x00")
        error = caught.exception
        self.assertEqual((error.field, error.number, error.value, error.low), ("accel", 1, 0, 1))

    def test_decoder_refuses_wrong_lengths_and_unknown_messages(self):
        for number, payload, field in (
            (messages.PACE, b"", "length"),
            (messages.PACE, b"\x00\x00\x00", "length"),
            (messages.ABANDON, b"\x00", "length"),
            (messages.SET, b"", "length"),
            (messages.SET, b"\x01\x00\x00\x00\x00\x00", "length"),
            (messages.MOVES, b"\x00\x00\x00\x00", "length"),
            (99, b"", "message"),
        ):
            with self.assertRaises(FieldError) as caught:
                decode(number, payload)
            self.assertEqual(caught.exception.field, field)

    def test_any_bytes_decode_or_are_refused(self):
        state = 1
        for number in range(128):
            for length in range(45):
                payload = bytearray()
                for _ in range(length):
                    state = (state * 1103515245 + 12345) & 0x3FFFFFFF
                    payload.append(state >> 20 & 255)
                try:
                    decode(number, payload)
                except FieldError:
                    pass

    def test_a_field_that_is_not_in_the_table_is_the_callers_bug(self):
        for values in ({}, {"value": 1, "other": 2}, {"other": 2}, {"value": "1"}):
            with self.assertRaises(TypeError):
                encode("pace", **values)

    def test_report_survives_at_both_ends_of_its_ranges(self):
        for end in (2, 3):
            buffer = bytearray(messages.REPORT_SIZE)
            write_report(buffer, array("i", [entry[end] for entry in messages.REPORT]))
            self.assertEqual(read_report(buffer), {entry[0]: entry[end] for entry in messages.REPORT})

    def test_report_out_of_range_is_refused(self):
        buffer = bytearray(messages.REPORT_SIZE)
        buffer[0] = 6
        with self.assertRaises(FieldError):
            read_report(buffer)
        with self.assertRaises(FieldError):
            read_report(bytes(messages.REPORT_SIZE - 1))

    def test_tables_hold_no_number_twice_and_no_setting_starts_outside_its_range(self):
        self.assertEqual(len({entry[1] for entry in messages.MESSAGES}), len(messages.MESSAGES))
        self.assertEqual([entry[1] for entry in messages.SETTINGS], list(range(len(messages.SETTINGS))))
        for _, _, low, high, default in messages.SETTINGS:
            self.assertTrue(low <= default <= high)

    def test_refusals_have_words(self):
        self.assertEqual(messages.field_name(messages.SET, 1), "accel")
        self.assertEqual(messages.field_name(messages.BEGIN, 4), "b")
        self.assertEqual(messages.field_name(messages.BEGIN, 0), "length")
        self.assertEqual(messages.field_name(99, 255), "message")
        self.assertEqual(messages.message_name(messages.CUT), "cut")
        self.assertEqual(messages.message_name(99), "message 99")


if __name__ == "__main__":
    unittest.main()
