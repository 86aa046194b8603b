"""Framing on both interpreters: published values, resynchronisation, and agreement of the two checksum functions."""

import unittest

from linewire import framing
from linewire.framing import CHECK_TEXT, CHECK_VALUE, CHECKSUM, FrameReader, seal, stuff, write_frame


def stuffed(data):
    out = bytearray(len(data) + len(data) // 254 + 2)
    return bytes(out[: stuff(data, len(data), out, 0)])


def frames_of(reader, data):
    return [bytes(frame) for frame in reader.feed(data)]


# Cheshire and Baker 1999: the start of an IP header, their worked example, and the cases of their section on long runs
# (values from memory; tests/protocol/test_framing.py compares with the package `cobs`, which gives the same ones).
EXAMPLES = (
    (b"", b"\x01\x00"),
    (b"\x00", b"\x01\x01\x00"),
    (b"\x00\x00", b"\x01\x01\x01\x00"),
    (
        b"\x45\x00\x00\x2c\x4c\x79\x00\x00\x40\x06\x4f\x37",
        b"\x02\x45\x01\x04\x2c\x4c\x79\x01\x05\x40\x06\x4f\x37\x00",
    ),
    (b"\x11\x22\x00\x33", b"\x03\x11\x22\x02\x33\x00"),
    (b"\x11\x00\x00\x00", b"\x02\x11\x01\x01\x01\x00"),
    (bytes(range(1, 255)), b"\xff" + bytes(range(1, 255)) + b"\x00"),
    (bytes(range(255)), b"\x01\xff" + bytes(range(1, 255)) + b"\x00"),
    (bytes(range(1, 256)), b"\xff" + bytes(range(1, 255)) + b"\x02\xff\x00"),
    (bytes(range(2, 256)) + b"\x00", b"\xff" + bytes(range(2, 256)) + b"\x01\x01\x00"),
    (bytes(range(3, 256)) + b"\x00\x01", b"\xfe" + bytes(range(3, 256)) + b"\x02\x01\x00"),
)


class FramingTest(unittest.TestCase):
    def test_byte_stuffing_gives_the_published_examples(self):
        for plain, wire in EXAMPLES:
            self.assertEqual(stuffed(plain), wire)

    def test_both_checksums_give_the_catalogue_check_value(self):
        for write in (seal, lambda body, count: framing._seal(body, count, framing._TABLE)):
            body = bytearray(CHECK_TEXT + b"\x00" * CHECKSUM)
            write(body, len(CHECK_TEXT))
            self.assertEqual(bytes(body[len(CHECK_TEXT) :]), CHECK_VALUE.to_bytes(4, "little"))
            self.assertTrue(framing.intact(body, len(body)))
            self.assertEqual(framing._intact(body, len(body), framing._TABLE), 1)
            body[3] ^= 16
            self.assertTrue(not framing.intact(body, len(body)))
            self.assertEqual(framing._intact(body, len(body), framing._TABLE), 0)

    def test_longest_frame_is_255_bytes_on_the_wire(self):
        wire = write_frame(6, 65535, 65535, bytes(framing.PAYLOAD))
        self.assertEqual(len(wire), 255)
        self.assertEqual(len(wire), framing.WIRE)
        self.assertEqual(frames_of(FrameReader(), wire), [b"\x06\xff\xff\xff\xff" + bytes(framing.PAYLOAD)])

    def test_frames_come_out_whole_whatever_the_chunks(self):
        payloads = [b"", b"\x00" * 200, bytes(range(244)), b"\xff" * 244, b"abc"]
        wire = b"".join([write_frame(6, i, 7 * i, payloads[i]) for i in range(5)])
        for size in (1, 2, 7, 64, 1000):
            reader = FrameReader()
            found = []
            for at in range(0, len(wire), size):
                found += frames_of(reader, wire[at : at + size])
            self.assertEqual([frame[5:] for frame in found], payloads)
            self.assertEqual((reader.damaged, reader.oversize), (0, 0))

    def test_frame_after_damage_is_found(self):
        good = write_frame(7, 1, 2, b"\x00\x01")
        for garbage in (b"\x00", b"\x05\x01\x00", b"\xff" * 1000 + b"\x00", good[:6] + b"\x00", good[:-3] + b"\x00"):
            reader = FrameReader()
            self.assertEqual(len(frames_of(reader, garbage + good)), 1)

    def test_damage_is_counted_once_and_padding_is_not(self):
        reader = FrameReader()
        good = write_frame(7, 1, 2, b"\x00\x01")
        bad = good[:4] + bytes([good[4] ^ 1 or 2]) + good[5:]
        self.assertEqual(len(frames_of(reader, b"\x00\x00" + good + b"\x00" * 60 + bad + good)), 2)
        self.assertEqual((reader.frames, reader.damaged, reader.oversize), (2, 1, 0))
        self.assertEqual(frames_of(reader, b"\x01" * 5000 + b"\x00"), [])
        self.assertEqual((reader.frames, reader.damaged, reader.oversize), (2, 1, 1))

    def test_every_single_bit_error_is_noticed(self):
        good = write_frame(7, 300, 2, b"\x00\x01pace")
        for bit in range((len(good) - 1) * 8):
            bad = bytearray(good)
            bad[bit >> 3] ^= 1 << (bit & 7)
            self.assertEqual(frames_of(FrameReader(), bytes(bad)), [])

    def test_numbers_that_do_not_fit_are_refused(self):
        for kind, sequence, tag, size in ((256, 0, 0, 0), (0, 65536, 0, 0), (0, 0, -1, 0), (0, 0, 0, 245)):
            with self.assertRaises(ValueError):
                write_frame(kind, sequence, tag, bytes(size))


if __name__ == "__main__":
    unittest.main()
