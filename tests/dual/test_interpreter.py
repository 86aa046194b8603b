"""Assumptions of the board code about the interpreter, tested separately."""

import unittest
from array import array

from linewire.compat import micropython, ptr8, ptr16, ptr32, ticks_add, ticks_diff


@micropython.viper
def sum_of_words(words: ptr32, count: int) -> int:
    total = 0
    for index in range(count):
        total += words[index]
    return total


@micropython.viper
def copy_low_bytes(words: ptr16, out: ptr8, count: int):
    for index in range(count):
        out[index] = words[index] & 0xFF


class InterpreterTest(unittest.TestCase):
    def test_viper_reads_words_through_a_pointer(self):
        self.assertEqual(sum_of_words(array("I", (40, 0, 2)), 3), 42)

    def test_viper_narrow_pointers_step_by_their_own_size(self):
        out = bytearray(3)
        copy_low_bytes(array("H", (0x0141, 0x0242, 0x0343)), out, 3)
        self.assertEqual(bytes(out), b"ABC")

    def test_whole_numbers_do_not_wrap_outside_viper(self):
        self.assertEqual((1 << 31) + (1 << 31), 4294967296)

    def test_time_survives_the_wrap(self):
        just_before = (1 << 30) - 5
        after = ticks_add(just_before, 12)
        self.assertEqual(after, 7)
        self.assertEqual(ticks_diff(after, just_before), 12)
        self.assertEqual(ticks_diff(just_before, after), -12)
