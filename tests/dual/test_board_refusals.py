"""Out-of-range values in every field, and unknown requests: refused by name without disturbing a drawing."""

import struct
import unittest

from board_rig import BoardRig, square

from linewire import messages, records

END = (records.END, 0, 0, 0)
FORMATS = {"u8": "<B", "u16": "<H", "u32": "<I", "i32": "<i"}
LOWEST = {"u8": 0, "u16": 0, "u32": 0, "i32": -(1 << 31)}
HIGHEST = {"u8": 255, "u16": 65_535, "u32": (1 << 32) - 1, "i32": (1 << 31) - 1}


def beyond():
    """(message id, payload, field number, value): each numeric field one beyond its limits, and at the ends of its
    type.
    """
    for _, number, fields in messages.MESSAGES:
        if number & messages.FROM_BOARD or number == messages.MOVES:
            continue
        for at, (_, kind, low, high) in enumerate(fields):
            if kind == "pairs":
                for _, key, least, most, _ in messages.SETTINGS:
                    for value in (least - 1, most + 1, LOWEST["i32"], HIGHEST["i32"]):
                        if not least <= value <= most and LOWEST["i32"] <= value <= HIGHEST["i32"]:
                            yield number, struct.pack("<Bi", key, value), key, value
                continue
            for value in (low - 1, high + 1, LOWEST[kind], HIGHEST[kind]):
                if not low <= value <= high and LOWEST[kind] <= value <= HIGHEST[kind]:
                    payload = b""
                    for other, (_, form, least, _) in enumerate(fields):
                        payload += struct.pack(FORMATS[form], value if other == at else least)
                    yield number, payload, at + 1, value


class Refusals(unittest.TestCase):
    def check(self, rig, number, payload):
        """The refusal of a request; asserts that it is the only answer."""
        rig.heard.clear()
        rig.host.send(number, payload)
        rig.run(lambda: rig.last("refusal"))
        return rig.last("refusal")

    def test_every_field_out_of_range_is_named_and_stops_no_drawing(self):
        rig = BoardRig()
        rig.ready()
        settings = list(rig.board.settings)
        rig.draw(square(15_000, 1000) + [END])
        rig.run(lambda: rig.world.a > 100)
        tried = 0
        for number, payload, field, value in beyond():
            said = self.check(rig, number, payload)
            self.assertEqual((said["message"], said["field"]), (number, field))
            self.assertEqual(said["reason"], messages.OUT_OF_RANGE)
            self.assertEqual(said["value"], min(value, HIGHEST["i32"]))
            self.assertFalse(said["low"] <= value <= said["high"])
            tried += 1
        self.assertTrue(tried > 120)
        self.assertEqual((rig.state(), rig.board.fault), ("drawing", messages.NO_FAULT))
        self.assertEqual(list(rig.board.settings), settings)

    def test_unknown_requests_and_wrong_lengths_are_refused_by_name(self):
        rig = BoardRig()
        rig.ready()
        rig.draw(square(15_000, 1000) + [END])
        rig.run(lambda: rig.world.a > 100)
        known = [number for _, number, _ in messages.MESSAGES if not number & messages.FROM_BOARD]
        for number in range(1, 64):
            if number not in known:
                said = self.check(rig, number, b"")
                self.assertEqual((said["message"], said["field"], said["reason"]), (number, 255, messages.UNKNOWN))
        for number in known:
            if number in (messages.MOVES, messages.SET):
                continue
            fields = [entry for entry in messages.MESSAGES if entry[1] == number][0][2]
            payload = b""
            for _, form, low, _ in fields:
                payload += struct.pack(FORMATS[form], low)
            said = self.check(rig, number, payload + b"\x00")
            self.assertEqual((said["message"], said["field"], said["reason"]), (number, 0, messages.OUT_OF_RANGE))
        self.assertEqual((rig.state(), rig.board.fault), ("drawing", messages.NO_FAULT))


if __name__ == "__main__":
    unittest.main()
