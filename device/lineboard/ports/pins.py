"""Common parts of all ports on real hardware: pins at safe levels, switches, servo, sleep, start of the loop.

The last pins are stored in a file, so that a board can make them safe before a host connects: first drivers off, then
step lines low, then pen up. `main.py` reads the file's first number even earlier.
"""

import os
import time

import machine

from linewire import messages
from linewire.compat import const, micropython, ticks_diff

SERVO_HZ = const(50)
# In whole milliseconds; shorter times are busy-waited.
_SLICE_US = const(1000)

_SETTING = messages.SETTING_BY_NAME
# In the order of the file: the enable line first.
_NAMES = (
    "enable",
    "step_a",
    "direction_a",
    "step_b",
    "direction_b",
    "servo",
    "endstop_x",
    "endstop_y",
    "rest_current",
    "motor_power",
)
ENABLE, STEP_A, DIRECTION_A, STEP_B, DIRECTION_B, SERVO, ENDSTOP_X, ENDSTOP_Y, REST_CURRENT, MOTOR_POWER = range(10)
KEYS = tuple(_SETTING["pin_" + name][1] for name in _NAMES)
_PEN_UP_US = _SETTING["pen_up_us"][1]
_CONTACTS = (_SETTING["contact_x"][1], _SETTING["contact_y"][1])
_POWER_LEVEL = _SETTING["motor_power_level"][1]
FILE = "pins.txt"
# The digest of what was put on the board (`linewright.board.files.digest`), in hexadecimal.
DIGEST_FILE = "digest.txt"


class PinsPort:
    """A port without a player; `lineboard.ports.virtual` describes the methods.

    Attributes
    ----------
    pen_up_us : servo pulse with which the pen was raised at the start, 0 if unknown.
    unique : serial number of chip or flash, at most 16 bytes; empty if there is none.
    restarted : the board was restarted by a watchdog.
    switch_us : longest sleep of the loop during homing at which a switch is seen in time.
    """

    restarted = False
    switch_us = 1000

    def __init__(self, console):
        self._console = console
        try:
            self.unique = bytes(machine.unique_id())[:16]
        except (AttributeError, OSError):
            self.unique = b""
        self._pins = (-1,) * len(_NAMES)
        self._motors = (None, None, None, None)  # step and direction lines of A and B, None where there is none
        self._enable = None
        self._rest_current = None
        self._endstops = (None, None)
        self._pressed = (0, 0)  # level while the switch is pressed
        self._power_sense = None
        self._power_level = 1  # level while the motors have power
        self._servo_pwm = None
        self._kept = self._recall()
        self.pen_up_us = self._kept[-1]
        self._make_safe(self._kept[:-1])
        if self.pen_up_us:
            self.servo(self.pen_up_us)

    def close(self):
        """Make everything safe, and release the serial port for the prompt."""
        self.halt()
        self.servo(0)
        self.enable(0)
        self._console.close()

    def _configure_pins(self, settings):
        pins = tuple([settings[key] for key in KEYS])
        level = settings[_POWER_LEVEL]
        if pins != self._pins or level != self._power_level:
            self._power_level = level
            self._make_safe(pins)
        self._pressed = (settings[_CONTACTS[0]], settings[_CONTACTS[1]])
        self._remember(pins + (settings[_PEN_UP_US],))

    def _make_safe(self, pins):
        """Set the pins of a rig to safe levels: drivers off, steps low, no servo pulses."""
        # High switches the drivers off; first of all.
        self._enable = self._output(pins[ENABLE], 1)
        self._motors = tuple([self._output(pins[which], 0) for which in (STEP_A, DIRECTION_A, STEP_B, DIRECTION_B)])
        self._rest_current = self._output(pins[REST_CURRENT], 0)
        if self._servo_pwm is not None:
            self._servo_pwm.deinit()
            self._servo_pwm = None
        servo = self._output(pins[SERVO], 0)
        if servo is not None:
            self._servo_pwm = machine.PWM(servo, freq=SERVO_HZ, duty_ns=0)
        self._endstops = (self._input(pins[ENDSTOP_X]), self._input(pins[ENDSTOP_Y]))
        # A broken wire reads as no power: a divider's input is pulled down, an optocoupler's up.
        self._power_sense = None
        if pins[MOTOR_POWER] >= 0:
            pull = machine.Pin.PULL_DOWN if self._power_level else machine.Pin.PULL_UP
            self._power_sense = self._input(pins[MOTOR_POWER], pull)
        self._pins = pins

    def _output(self, number, level):
        return machine.Pin(number, machine.Pin.OUT, value=level) if number >= 0 else None

    def _input(self, number, pull=machine.Pin.PULL_UP):
        # Switches connect to ground, and the inputs are pulled up: a line is low while its contact is closed.
        return machine.Pin(number, machine.Pin.IN, pull) if number >= 0 else None

    def _recall(self):
        try:
            with open(FILE) as file:
                kept = tuple([int(number) for number in file.read().split()])
        except (OSError, ValueError):
            kept = ()
        return kept if len(kept) == len(_NAMES) + 1 else (-1,) * len(_NAMES) + (0,)

    def _remember(self, kept):
        if kept == self._kept:
            return
        self._kept = kept
        try:
            with open(FILE, "w") as file:
                file.write(" ".join([str(number) for number in kept]))
        except OSError:
            pass  # flash full; the drivers' pull-ups must suffice at the next start

    def servo(self, us):
        """Set the servo now.  0 = no pulses."""
        if self._servo_pwm is not None:
            self._servo_pwm.duty_ns(us * 1000)

    def enable(self, level):
        """Motor drivers: 0 off, 1 on, 2 on with holding current."""
        if self._rest_current is not None:
            self._rest_current(1 if level == 2 else 0)
        if self._enable is not None:
            self._enable(0 if level else 1)

    # Overridden by ports with a player.

    def finished(self):
        raise NotImplementedError

    def halt(self):
        raise NotImplementedError

    def mark(self, a, b):
        """Does nothing: real pins record no tape."""

    def alive(self):
        """Called in every turn of the loop. Does nothing: this port has no watchdog."""

    @micropython.native
    def endstop(self, which):
        """Whether an endstop is pressed, 0 = x, 1 = y, without debouncing."""
        pin = self._endstops[which]
        return pin is not None and pin() == self._pressed[which]

    @micropython.native
    def motor_power(self):
        """Whether the motors have power; True if it is not sensed."""
        pin = self._power_sense
        return pin is None or pin() == self._power_level

    def now_us(self):
        return time.ticks_us()

    @micropython.native
    def _sleep(self, max_us, slice_ms, spare_us=0):
        """Sleep until bytes arrive, a switch changes or a block finishes; polled after each slice.

        Blocks that finish within the first `spare_us` do not wake it.
        """
        if max_us < _SLICE_US:
            time.sleep_us(max_us)
            return
        begun_us = time.ticks_us()
        finished = self.finished()
        levels = self._levels()
        console = self._console
        left_us = max_us
        while left_us >= _SLICE_US:
            if console.waiting(min(slice_ms, left_us // 1000)) or self._levels() != levels:
                return
            slept_us = ticks_diff(time.ticks_us(), begun_us)
            if self.finished() != finished and slept_us >= spare_us:
                return
            left_us = max_us - slept_us

    @micropython.native
    def _levels(self):
        """Levels of the inputs in one number, to see whether any changes."""
        x, y = self._endstops
        power = self._power_sense
        levels = 0
        if x is not None and x():
            levels = 1
        if y is not None and y():
            levels += 2
        if power is not None and power():
            levels += 4
        return levels

    def wait(self, us):
        """Let time pass; bytes that arrive meanwhile are for the prompt."""
        time.sleep_us(us)

    def read_into(self, buffer):
        """Move waiting bytes from the host into `buffer`; returns their number. Never blocks."""
        return self._console.read_into(buffer)

    def write(self, buffer, n):
        """Send `buffer[0:n]` to the host; returns the number of bytes accepted. Never blocks."""
        return self._console.write(buffer, n)


def run(port):
    """Run the board on this port until the prompt is requested."""
    from lineboard.board import (
        Board,
    )  # imported late, because the board's parts and the port must not depend on each other

    try:
        Board(port, _digest(), int.from_bytes(os.urandom(2), "big") % 65535 + 1).run()
    finally:
        port.close()


def _digest():
    # Written last when files are copied to the board; if it is missing, the copy was interrupted.
    try:
        with open(DIGEST_FILE) as file:
            return int(file.read(), 16)
    except (OSError, ValueError):
        return 0
