"""The board's port on any board with MicroPython, pins, a servo pulse and a serial prompt: slow, but it draws.

There is no hardware here that plays pulses, so the processor does, word by word with one eye on the clock, in slices
of `pause`.  Between two slices the loop takes its turn and the motors stand.  A motor that is stopped dead must not
have been fast: the port takes no rig that steps faster than a motor can start and stop without a ramp, and no faster
than the processor was measured to be.  What is late shifts everything behind it; nothing is ever hurried up.

Contract: one caller, the main loop.  After `configure` nothing that a drawing needs allocates, except for the bytes
of the link where the board's console does.
"""

import time
from array import array

from lineboard.ports import pins
from lineboard.ports.console import Console
from linewire import messages
from linewire.compat import const, micropython, ptr32, ticks_add, ticks_diff

TICK_HZ = const(5_000_000)
BLOCKS = const(8)

# Steppers start and stop without a ramp at some 250 full steps/s under load (common practice); with the usual
# 16 microsteps that is 4000 steps/s.
START_STOP_RATE = const(4000)
# What the loop is kept waiting for at most, of the 20 ms that nothing on the board may exceed.
SLICE_US = const(10_000)
# A word that comes later than this is late, and what follows is put off.  Anything less is made up for: 20 us are a
# twelfth of the shortest interval, 250 us, and the clock itself counts whole microseconds.
LATE_US = const(20)
# Ticks of a word beyond wait, set-up and width: what the player itself spends between two looks at the clock.
FIXED_TICKS = const(50)

_MASK = const(0x3FFFFFFF)
_HALF = const(0x20000000)
_BLOCKS_MASK = const(7)
_IDLE_MS = const(10)

# Indices into the control array that the player shares.  Moments are microseconds modulo 2^30.
_C_AT = const(0)  # word of the block to be played next
_C_COUNT = const(1)  # words in the block
_C_END = const(2)  # when the word before ended, and the ticks (0 to 4) beyond that microsecond
_C_REST = const(3)
_C_DUE = const(4)  # when the edge of the next word is due; valid if
_C_LOADED = const(5)  # this is 1
_C_UNTIL = const(6)  # when the slice is over
_C_OVERHEAD = const(7)  # ticks
_C_SETUP = const(8)  # us
_C_WIDTH = const(9)  # us
_C_REVERSED = const(10)  # bit 0: motor A, bit 1: motor B
_C_LATE = const(11)  # words that came late
_C_SIZE = const(12)

_SETTING = messages.SETTING_BY_NAME
_STEP_WIDTH_NS = _SETTING["step_width_ns"][1]
_DIRECTION_SETUP_NS = _SETTING["direction_setup_ns"][1]
_REVERSED_A = _SETTING["reversed_a"][1]
_REVERSED_B = _SETTING["reversed_b"][1]


@micropython.viper
def _play(control: ptr32, words: ptr32, ticks_us, step_a, direction_a, step_b, direction_b) -> int:
    """Play words of a block until it or the slice is over; returns the word to be played next.

    `ticks_us` is the clock; the others take a level.  A word lasts wait + overhead ticks: at the end of its wait the
    directions are set, then the step pins named rise and fall.
    """
    at = int(control[_C_AT])
    count = int(control[_C_COUNT])
    until = int(control[_C_UNTIL])
    setup = int(control[_C_SETUP])
    width = int(control[_C_WIDTH])
    reversed_pins = int(control[_C_REVERSED])
    playing = 1
    while at < count and playing:
        word = int(words[at])
        if int(control[_C_LOADED]) == 0:
            ticks = int(control[_C_REST]) + (word >> 4)
            control[_C_DUE] = (int(control[_C_END]) + ticks // 5) & _MASK
            control[_C_REST] = ticks - ticks // 5 * 5
            control[_C_LOADED] = 1
        due = int(control[_C_DUE])
        now = int(ticks_us())
        left = (due - now) & _MASK
        while left != 0 and left < _HALF and (until - now) & _MASK < _HALF:
            now = int(ticks_us())
            left = (due - now) & _MASK
        if left != 0 and left < _HALF:
            playing = 0  # the slice is over, and the word has still to wait
        else:
            if (now - due) & _MASK > LATE_US:
                due = now
                control[_C_LATE] = int(control[_C_LATE]) + 1
            if word & 3:
                direction_a((word >> 2 ^ reversed_pins) & 1)
                direction_b((word >> 3 ^ reversed_pins >> 1) & 1)
                now = int(ticks_us())
                while (int(ticks_us()) - now) & _MASK <= setup:
                    pass
                if word & 1:
                    step_a(1)
                if word & 2:
                    step_b(1)
                now = int(ticks_us())
                while (int(ticks_us()) - now) & _MASK <= width:
                    pass
                step_a(0)
                step_b(0)
            ticks = int(control[_C_REST]) + int(control[_C_OVERHEAD])
            control[_C_END] = (due + ticks // 5) & _MASK
            control[_C_REST] = ticks - ticks // 5 * 5
            control[_C_LOADED] = 0
            at += 1
            if (until - int(ticks_us())) & _MASK >= _HALF:
                playing = 0
    control[_C_AT] = at
    return at


def _nothing(_level):
    """Where no pin is."""


class PortablePort(pins.PinsPort):
    """Pins, player, clock and serial port of the board that this runs on.

    No watchdog: on many chips one that runs cannot be stopped, and would cut off whoever copies files at the prompt.

    Attributes
    ----------
    late : words that came late and put off what followed, modulo 2^30; each turn of the loop makes one.
    """

    kind = "portable"
    tick_hz = TICK_HZ

    def __init__(self, console):
        self._ticks_us = time.ticks_us
        self._control = array("I", [0] * _C_SIZE)
        super().__init__(console)
        self._words = [None] * BLOCKS
        self._counts = array("I", [0] * BLOCKS)
        self._servos = array("I", [0] * BLOCKS)
        self._submitted = 0
        self._finished = 0
        self._begun = False  # the first block of the queue has begun
        self._shape(_SETTING["step_width_ns"][4], _SETTING["direction_setup_ns"][4])
        self.max_rate = self._measured_rate()

    @property
    def late(self):
        return self._control[_C_LATE]

    def _measured_rate(self):
        """Steps/s that the player keeps up with, half of its time spare; at most what motors start and stop at."""
        words = array("I", [7] * 32)  # steps of motor A without any wait
        control = self._control
        control[_C_OVERHEAD] = 0
        begun_us = self._ticks_us()
        self._start(words, 32, begun_us)
        control[_C_UNTIL] = ticks_add(begun_us, 1_000_000)
        # Without pins: the motors must not hear of it. Calling a function of ours costs no less than setting a pin.
        _play(control, words, self._ticks_us, _nothing, _nothing, _nothing, _nothing)
        took_us = max(ticks_diff(self._ticks_us(), begun_us), 1)
        control[_C_OVERHEAD] = self.overhead_ticks
        control[_C_LATE] = 0
        return max(1, min(START_STOP_RATE, 32 * 1_000_000 // (2 * took_us)))

    def _start(self, _words, count, now_us):
        control = self._control
        control[_C_AT] = 0
        control[_C_COUNT] = count
        control[_C_LOADED] = 0
        control[_C_END] = now_us
        control[_C_REST] = 0

    # Settings.

    def refuses(self, _settings):
        """What of these settings this board cannot do, as (key, value, low, high); None if nothing."""
        return None

    def configure(self, settings):
        """Take over the rig's settings (by key of `messages.SETTINGS`).  Only while the player is idle."""
        self._configure_pins(settings)
        self._shape(settings[_STEP_WIDTH_NS], settings[_DIRECTION_SETUP_NS])
        self._control[_C_REVERSED] = settings[_REVERSED_A] | settings[_REVERSED_B] << 1

    def _make_safe(self, numbers):
        super()._make_safe(numbers)
        self._lines = tuple([_nothing if line is None else line for line in self._motors])

    def _shape(self, step_width_ns, direction_setup_ns):
        control = self._control
        control[_C_SETUP] = (direction_setup_ns + 999) // 1000
        control[_C_WIDTH] = (step_width_ns + 999) // 1000
        self.overhead_ticks = 5 * (control[_C_SETUP] + control[_C_WIDTH]) + FIXED_TICKS
        control[_C_OVERHEAD] = self.overhead_ticks

    # The player.

    def room(self):
        """Blocks that may be submitted now."""
        return BLOCKS - ((self._submitted - self._finished) & _MASK)

    def submit(self, words, count, servo_us):
        """Queue `words[0:count]` (owned by the player until played); `servo_us` applies as the block begins."""
        slot = self._submitted & _BLOCKS_MASK
        self._words[slot] = words
        self._counts[slot] = count
        self._servos[slot] = servo_us
        if self._submitted == self._finished:
            self._start(words, count, self._ticks_us())
        self._submitted = (self._submitted + 1) & _MASK

    def finished(self):
        """Blocks finished since the start, modulo 2^30, those dropped by `halt` included."""
        return self._finished

    def playing(self):
        return self._submitted != self._finished

    def halt(self):
        """Stop the player; returns how many words (the last ones submitted) were not played."""
        unplayed = 0
        if self.playing():
            unplayed = self._counts[self._finished & _BLOCKS_MASK] - self._control[_C_AT]
            block = (self._finished + 1) & _MASK
            while block != self._submitted:
                unplayed += self._counts[block & _BLOCKS_MASK]
                block = (block + 1) & _MASK
        self._finished = self._submitted
        self._begun = False
        return unplayed

    def _play_slice(self, max_us):
        control = self._control
        lines = self._lines
        control[_C_UNTIL] = ticks_add(self._ticks_us(), min(max_us, SLICE_US))
        while self._submitted != self._finished:
            slot = self._finished & _BLOCKS_MASK
            if not self._begun:
                self._begun = True
                control[_C_AT] = 0
                control[_C_COUNT] = self._counts[slot]
                if self._servos[slot]:
                    self.servo(self._servos[slot])
            at = _play(control, self._words[slot], self._ticks_us, lines[0], lines[1], lines[2], lines[3])
            if at < self._counts[slot]:
                return
            self._finished = (self._finished + 1) & _MASK
            self._begun = False
            if (control[_C_UNTIL] - self._ticks_us()) & _MASK >= _HALF:
                return

    # The rest.

    def pause(self, max_us, _expecting):
        """Play for a while; with nothing to play, sleep until something happens.  At most `max_us`."""
        if self._submitted != self._finished:
            self._play_slice(max_us)
        else:
            self._sleep(max_us, _IDLE_MS)


def main():
    """Run the board until somebody asks for the prompt."""
    pins.run(PortablePort(Console()))
