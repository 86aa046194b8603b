"""The port for any board: a busy-wait player whose clock and pins are stand-ins.

Every clock read takes one microsecond, so the player's own time counts, and every run is the same.
"""

import os
import sys
import unittest
from array import array

from board_rig import DOWN, SETTINGS, UP, square
from record_reader import give

PERIOD_US = 1 << 30
# Error of one clock read, and the reads between the due time and the edge.
SLACK_US = 4


class Clock:
    """In place of the module `time`; starts just below the wrap."""

    def __init__(self):
        self.us = PERIOD_US - 60_000
        self.cost_us = 1

    def ticks_us(self):
        self.us += self.cost_us
        return self.us % PERIOD_US

    def sleep_us(self, us):
        self.us += us


clock = Clock()


class Pin:
    """A pin that records its edges as (microsecond, level)."""

    OUT, IN, PULL_UP, PULL_DOWN = 1, 2, 3, 4
    made = {}

    def __init__(self, number, _mode=None, pull=None, value=None):
        self.level = {Pin.PULL_UP: 1, Pin.PULL_DOWN: 0}.get(pull, value)
        self.edges = []
        if value is not None or pull is not None:
            Pin.made[number] = self

    def __call__(self, level=None):
        if level is None:
            return self.level
        if level != self.level:
            self.edges.append((clock.us, level))
        self.level = level
        return None


class Still:
    """A pin that records nothing."""

    def __call__(self, level):
        pass


class PWM:
    pulses = []

    def __init__(self, _pin, freq, duty_ns):
        assert (freq, duty_ns) == (50, 0)

    def duty_ns(self, ns):
        PWM.pulses.append((clock.us, ns // 1000))

    def deinit(self):
        pass


class FakeMachine:
    pass


FakeMachine.Pin = Pin
FakeMachine.PWM = PWM

_before = sys.modules.get("machine")
sys.modules["machine"] = FakeMachine
from lineboard.ports import pins, portable  # noqa: E402  after the stand-ins

if _before is None:
    del sys.modules["machine"]
else:
    sys.modules["machine"] = _before
portable.time = clock
pins.time = clock
# Kept out of the tests' folder, except where it is what is tested.
pins.FILE = "no such folder/pins.txt"

from lineboard.board import Board  # noqa: E402  after the stand-ins
from linewire import messages, records  # noqa: E402  after the stand-ins
from linewire.compat import micropython  # noqa: E402  after the stand-ins

PINS = {
    "pin_step_a": 2,
    "pin_step_b": 3,
    "pin_direction_a": 4,
    "pin_direction_b": 5,
    "pin_enable": 6,
    "pin_servo": 7,
    "pin_endstop_x": 8,
    "pin_endstop_y": 9,
}


class Silence:
    """A console without input; waiting advances the clock."""

    closed = False

    def waiting(self, max_ms):
        clock.us += max_ms * 1000
        return False

    def read_into(self, _buffer):
        return 0

    def write(self, _buffer, n):
        return n

    def close(self):
        self.closed = True


def settings(**others):
    values = array("i", [entry[4] for entry in messages.SETTINGS])
    for named in (PINS, others):
        for name in named:
            values[messages.SETTING_BY_NAME[name][1]] = named[name]
    return values


def port_with_pins(**others):
    Pin.made.clear()
    PWM.pulses[:] = []
    port = portable.PortablePort(Silence())
    port.configure(settings(**others))
    return port


def rises(number):
    return [us for us, level in Pin.made[number].edges if level == 1]


def word(wait, a=0, b=0):
    """A word with these steps, each -1, 0 or 1."""
    return wait << 4 | (b > 0) << 3 | (a > 0) << 2 | (b != 0) << 1 | (a != 0)


def play(port, max_us=10_000):
    while port.playing():
        port.pause(max_us, False)


class Playing(unittest.TestCase):
    def setUp(self):
        clock.cost_us = 1

    def test_the_chips_number_is_told_where_there_is_one(self):
        self.assertEqual(port_with_pins().unique, b"")
        FakeMachine.unique_id = staticmethod(lambda: b"0123456789abcdefgh")
        try:
            self.assertEqual(port_with_pins().unique, b"0123456789abcdef")
        finally:
            del FakeMachine.unique_id

    def test_steps_come_when_they_are_due(self):
        port = port_with_pins()
        waits = [1000, 2000, 1250, 5000, 1001, 1002, 1003, 1004]
        words = array("I", [word(wait, 1, -1) for wait in waits])
        port.submit(words, len(words), 0)
        begun = clock.us
        play(port)
        due = 0
        for wait, at in zip(waits, rises(2)):
            due += wait
            late = at - begun - due / 5 - 1  # the set-up of the directions takes 1 us
            self.assertTrue(0 <= late <= SLACK_US + 2, (late, wait))
            due += port.overhead_ticks
        self.assertEqual(len(rises(2)), len(waits))
        self.assertEqual(len(rises(3)), len(waits))
        self.assertEqual((Pin.made[4].level, Pin.made[5].level), (1, 0))
        self.assertEqual(port.late, 0)

    def test_directions_lead_and_pulses_are_wide_enough(self):
        port = port_with_pins(step_width_ns=5000, direction_setup_ns=3000)
        words = array("I", [word(2000, 1), word(2000, -1), word(2000, 1), word(2000, -1)])
        port.submit(words, 4, 0)
        play(port)
        turns = [us for us, _ in Pin.made[4].edges]
        up = rises(2)
        down = [us for us, level in Pin.made[2].edges if level == 0]
        self.assertEqual(len(up), 4)
        for turned, rose in zip(turns, up):
            self.assertTrue(rose - turned >= 3)
        for rose, fell in zip(up, down):
            self.assertTrue(fell - rose >= 5)

    def test_a_reversed_motor_turns_the_other_way(self):
        port = port_with_pins(reversed_b=1)
        port.submit(array("I", [word(1000, 1, 1)]), 1, 0)
        play(port)
        self.assertEqual((Pin.made[4].level, Pin.made[5].level), (1, 0))

    def test_what_comes_late_is_put_off_and_never_hurried(self):
        port = port_with_pins()
        words = array("I", [word(1000, 1) for _ in range(20)])
        port.submit(words, 20, 0)
        while port.playing():
            port.pause(1500, False)
            clock.us += 3000  # the loop takes its turn
        times = rises(2)
        self.assertEqual(len(times), 20)
        shortest = min([later - sooner for sooner, later in zip(times, times[1:])])
        self.assertTrue(shortest >= (1000 + port.overhead_ticks) // 5 - portable.LATE_US, shortest)
        self.assertTrue(port.late > 0)

    def test_a_long_wait_does_not_hold_up_the_loop(self):
        port = port_with_pins()
        port.submit(array("I", [word(500_000), word(1000, 1)]), 2, 0)
        begun = clock.us
        while port.playing():
            before = clock.us
            port.pause(100_000, False)
            self.assertTrue(clock.us - before <= portable.SLICE_US + SLACK_US + 5)
        self.assertTrue(0 <= rises(2)[0] - begun - (500_000 + 1000 + port.overhead_ticks) / 5 <= 8)

    def test_the_servo_moves_as_its_block_begins(self):
        port = port_with_pins()
        port.submit(array("I", [word(5000, 1)]), 1, 0)
        port.submit(array("I", [word(5000)]), 1, 1700)
        port.submit(array("I", [word(5000, 1)]), 1, 0)
        PWM.pulses[:] = []
        play(port)
        self.assertEqual([us for _, us in PWM.pulses], [1700])
        first, last = rises(2)
        self.assertTrue(first < PWM.pulses[0][0] < last)

    def test_halt_counts_what_was_not_played(self):
        for slices in range(12):
            port = port_with_pins()
            for _ in range(3):
                port.submit(array("I", [word(2000, 1) for _ in range(10)]), 10, 0)
            for _ in range(slices):
                port.pause(1000, False)
            unplayed = port.halt()
            self.assertEqual(len(rises(2)) + unplayed, 30)
            self.assertFalse(port.playing())
            self.assertEqual(port.room(), portable.BLOCKS)
            # What comes next begins afresh.
            port.submit(array("I", [word(1000, 1)]), 1, 0)
            play(port)
            self.assertEqual(len(rises(2)) + unplayed, 31)

    def test_the_queue_holds_eight_blocks(self):
        port = port_with_pins()
        for n in range(8):
            self.assertEqual(port.room(), 8 - n)
            port.submit(array("I", [word(1000, 1)]), 1, 0)
        self.assertEqual(port.room(), 0)
        play(port)
        self.assertEqual((port.room(), port.finished(), len(rises(2))), (8, 8, 8))


class Memory(unittest.TestCase):
    def test_playing_allocates_nothing(self):
        """Under CPython the lock does nothing."""
        clock.cost_us = 1
        port = port_with_pins()
        port._lines = (Still(), Still(), Still(), Still())
        for _ in range(3):
            port.submit(array("I", [word(2000, 1, 1) for _ in range(10)]), 10, 0)
        micropython.heap_lock()
        try:
            while port.playing():
                port.pause(3000, False)
                port.room()
                port.endstop(0)
        finally:
            micropython.heap_unlock()
        self.assertEqual(port.finished(), 3)


class Limits(unittest.TestCase):
    def tearDown(self):
        clock.cost_us = 1

    def test_a_quick_processor_is_limited_by_the_motors(self):
        self.assertEqual(port_with_pins().max_rate, portable.START_STOP_RATE)

    def test_a_slow_processor_is_limited_by_itself(self):
        clock.cost_us = 100
        port = port_with_pins()
        # A step takes at least six clock reads; half of the time is spare.
        self.assertTrue(0 < port.max_rate <= 1_000_000 // (2 * 600), port.max_rate)

    def test_the_board_refuses_a_rig_that_is_too_fast_for_it(self):
        board = Board(port_with_pins())
        key = messages.SETTING_BY_NAME["max_rate"][1]
        self.assertEqual(board.set(((key, 40_000),)), messages.OUT_OF_RANGE)
        self.assertEqual(list(board.refused), [key, 40_000, 1, portable.START_STOP_RATE])


class Safety(unittest.TestCase):
    def test_pins_are_safe_before_anything_moves(self):
        port_with_pins()
        self.assertEqual([Pin.made[n].level for n in (2, 3, 4, 5, 6)], [0, 0, 0, 0, 1])

    def test_pins_known_from_last_time_are_safe_before_any_host_speaks(self):
        before = pins.FILE
        pins.FILE = "portable-port-test.txt"
        try:
            port_with_pins()
            Pin.made.clear()
            portable.PortablePort(Silence())
            self.assertEqual([Pin.made[n].level for n in (2, 3, 4, 5, 6)], [0, 0, 0, 0, 1])
            # Not even the measuring of the player's speed is heard by them.
            self.assertEqual([Pin.made[n].edges for n in (2, 3, 4, 5, 6)], [[], [], [], [], []])
            with open(pins.FILE, "w") as file:
                file.write("2 3 what")
            Pin.made.clear()
            portable.PortablePort(Silence())
            self.assertEqual(len(Pin.made), 0)
        finally:
            os.remove(pins.FILE)
            pins.FILE = before

    def test_the_pen_is_raised_before_any_host_speaks_where_its_height_is_known(self):
        before = pins.FILE
        pins.FILE = "portable-port-test.txt"
        try:
            port_with_pins(pen_up_us=1234)
            PWM.pulses[:] = []
            board = Board(portable.PortablePort(Silence()))
            self.assertEqual([us for _, us in PWM.pulses if us != 1234], [])
            self.assertTrue(PWM.pulses)
            self.assertEqual(board.state, messages.ASLEEP)
        finally:
            os.remove(pins.FILE)
            pins.FILE = before

    def test_switches_pull_to_ground(self):
        port = port_with_pins()
        self.assertEqual((port.endstop(0), port.endstop(1)), (False, False))
        Pin.made[9].level = 0
        self.assertEqual((port.endstop(0), port.endstop(1)), (False, True))

    def test_a_switch_that_opens_when_pressed_is_pressed_while_its_line_is_high(self):
        port = port_with_pins(contact_y=1)
        Pin.made[9].level = 0
        self.assertEqual((port.endstop(0), port.endstop(1)), (False, False))
        Pin.made[9].level = 1  # pressed, or its wire has come off
        self.assertEqual((port.endstop(0), port.endstop(1)), (False, True))

    def test_motor_power_is_read_of_either_kind_and_a_broken_wire_reads_as_none(self):
        self.assertTrue(port_with_pins().motor_power())
        for level in (0, 1):
            port = port_with_pins(pin_motor_power=11, motor_power_level=level)
            self.assertFalse(port.motor_power())  # nothing is connected: the board's own resistor decides
            Pin.made[11].level = level
            self.assertTrue(port.motor_power())

    def test_drivers_rest_by_a_line_of_their_own(self):
        port = port_with_pins(pin_rest_current=10)
        for level, enable, rest in ((1, 0, 0), (2, 0, 1), (1, 0, 0), (2, 0, 1), (0, 1, 0)):
            port.enable(level)
            self.assertEqual((Pin.made[6].level, Pin.made[10].level), (enable, rest))

    def test_close_leaves_everything_off(self):
        port = port_with_pins()
        port.enable(True)
        self.assertEqual(Pin.made[6].level, 0)
        port.submit(array("I", [word(1000, 1)]), 1, 0)
        port.close()
        self.assertEqual(Pin.made[6].level, 1)
        self.assertEqual(PWM.pulses[-1][1], 0)
        self.assertFalse(port.playing())
        self.assertTrue(port._console.closed)


class WholeBoard(unittest.TestCase):
    def test_a_square_comes_back_to_its_corner_step_by_step(self):
        clock.cost_us = 1
        Pin.made.clear()
        port = portable.PortablePort(Silence())
        board = Board(port)
        told = dict(SETTINGS)
        told.update(PINS)
        told.update({"max_rate": 4000, "host_silence_ms": 600_000, "home_fast_x": 1600, "home_fast_y": 1600})
        told.update({"home_end_x": 0, "home_end_y": 0})  # a machine that can home does not use an origin set by hand
        pairs = [(messages.SETTING_BY_NAME[name][1], told[name]) for name in told]
        self.assertEqual(board.set(tuple(pairs)), messages.NO_REASON)
        self.assertEqual(board.origin(1000, 2000), messages.NO_REASON)
        self.assertEqual(board.begin(1, 0, 1000, 2000), messages.NO_REASON)
        side = 120
        for kind, x, y, v in square(side, 2000):
            give(board, kind, x, y, v)
        give(board, records.END, 0, 0, 0)
        PWM.pulses[:] = []
        for _ in range(4000):
            board.poll()
            if board.state == messages.READY:
                break
        self.assertEqual(board.state, messages.READY)
        self.assertEqual((board.feeder.a, board.feeder.b), (1000, 2000))
        self.assertEqual((len(rises(2)), len(rises(3))), (2 * side, 2 * side))
        self.assertEqual([us for _, us in PWM.pulses if us][-2:], [DOWN, UP])
        self.assertEqual(board.fault, messages.NO_FAULT)


if __name__ == "__main__":
    unittest.main()
