"""The port for any board with MicroPython, pins, a servo pulse and a serial prompt: slow, but it draws.

There is no hardware player, so the processor plays pulses word by word, polling the clock, in slices of `pause`.
Between two slices the loop takes its turn and the motors stand still. A motor that is stopped suddenly must not be
fast: the port refuses rigs with steps faster than a motor can start and stop without a ramp, and faster than the
processor was measured to be. Delays shift everything after them; nothing is speeded up to catch up.

Contract: one caller, the main loop. After `configure` nothing needed for drawing allocates, except the link's bytes if
the board's console allocates.
"""

import time
from array import array

from lineboard.ports import pins
from lineboard.ports.console import Console
from linewire import messages
from linewire.compat import const, micropython, ptr32, ticks_add, ticks_diff

TICK_HZ = const(5_000_000)
BLOCKS = const(8)

# Steppers start and stop without a ramp at about 250 full steps/s under load (common practice); with the usual 16
# microsteps that is 4000 steps/s.
START_STOP_RATE = const(4000)
# Longest time that the loop waits; the limit for everything on the board is 20 ms.
SLICE_US = const(10_000)
# A word later than this shifts everything after it. Smaller delays are made up for: 20 us are a twelfth of the shortest
# interval, 250 us, and the clock counts whole microseconds.
LATE_US = const(20)
# Ticks of a word beyond wait, set-up and width: the player's own time between two clock reads.
FIXED_TICKS = const(50)

_MASK = const(0x3FFFFFFF)
_HALF = const(0x20000000)
_BLOCKS_MASK = const(7)
_IDLE_MS = const(10)

# Indices into the control array shared with the player. Times are microseconds modulo 2^30.
_C_AT = const(0)  # next word of the block
_C_COUNT = const(1)  # words in the block
_C_END = const(2)  # end of the previous word, us, and ticks (0 to 4) beyond it
_C_REST = const(3)
_C_DUE = const(4)  # time of the next word's edge; valid if
_C_LOADED = const(5)  # this is 1
_C_UNTIL = const(6)  # end of the slice
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
    """Play words of a block until the block or the slice ends; returns the index of the next word.

    `ticks_us` is the clock; the others set a level. A word lasts wait + overhead ticks: at the end of its wait the
    directions are set, then the named step pins rise and fall.
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
            playing = 0  # the slice ends before the word's edge
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
    """Stands in for a missing pin."""


class PortablePort(pins.PinsPort):
    """Pins, player, clock and serial port of the board that this code runs on.

    There is no watchdog, because on many chips it cannot be stopped and would interrupt copying files at the prompt.

    Attributes
    ----------
    late : number of late words that shifted everything after them, modulo 2^30; each turn of the loop causes one.
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
        self._begun = False  # the first block of the queue has started
        self._shape(_SETTING["step_width_ns"][4], _SETTING["direction_setup_ns"][4])
        self.max_rate = self._measured_rate()

    @property
    def late(self):
        return self._control[_C_LATE]

    def _measured_rate(self):
        """Steps/s that the player sustains with half of its time spare; at most the start-stop rate of motors."""
        words = array("I", [7] * 32)  # steps of motor A without any wait
        control = self._control
        control[_C_OVERHEAD] = 0
        begun_us = self._ticks_us()
        self._start(words, 32, begun_us)
        control[_C_UNTIL] = ticks_add(begun_us, 1_000_000)
        # Without pins, so that the motors do not move. A call of a Python function costs at least as much as setting a
        # pin.
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

    def refuses(self, _settings):
        """The first of these settings that this board does not support, as (key, value, low, high); None if all are
        supported.
        """
        return None

    def configure(self, settings):
        """Apply the rig's settings (by key of `messages.SETTINGS`). Only while the player is idle."""
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

    def room(self):
        """Number of blocks that may be submitted now."""
        return BLOCKS - ((self._submitted - self._finished) & _MASK)

    def submit(self, words, count, servo_us):
        """Queue `words[0:count]` (owned by the player until played); `servo_us` is set when the block starts."""
        slot = self._submitted & _BLOCKS_MASK
        self._words[slot] = words
        self._counts[slot] = count
        self._servos[slot] = servo_us
        if self._submitted == self._finished:
            self._start(words, count, self._ticks_us())
        self._submitted = (self._submitted + 1) & _MASK

    def finished(self):
        """Blocks finished since the start, modulo 2^30, including those dropped by `halt`."""
        return self._finished

    def playing(self):
        return self._submitted != self._finished

    def halt(self):
        """Stop the player; returns the number of words (the last ones submitted) that were not played."""
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

    def pause(self, max_us, _expecting, _spare_us=0):
        """Play for a while, or sleep until something happens if there is nothing to play. At most `max_us`."""
        if self._submitted != self._finished:
            self._play_slice(max_us)
        else:
            self._sleep(max_us, _IDLE_MS)


def main():
    """Run the board until the prompt is requested."""
    pins.run(PortablePort(Console()))
