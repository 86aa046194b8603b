"""The board's port on RP2040 and RP2350 under stock MicroPython, 1.23 or later: real pins.

One PIO state machine plays the pulse words, so both motors always keep step.  DMA carries the words to it:

    blocks in RAM --data--> FIFO of 8 words --> state machine --> pins
                    ^  ^
      counts ring --'  '-- address ring        (control channels "count" and "address")

The data channel is paced by the state machine. When it has moved a block, it triggers "count", which copies the next
block's length, which starts "address", which copies the next block's address and thereby starts the data channel again.
An address of zero starts nothing: the chain ends, the FIFO runs empty, the pins are constant. The processor only fills
blocks and enters them into the rings.

The player's present word follows from three registers, read in this order: progress of the data channel, level of the
FIFO, and whether the state machine is between words. Whatever happens between two reads, the result is at most too low;
it never includes a word that has not been played.

Only this module uses `machine` and `rp2`. Contract: one caller, the main loop. After `configure` nothing needed for
drawing allocates.
"""

import sys
import time
from array import array

import machine
import rp2

from lineboard.ports import pins, rp2_player
from lineboard.ports.console import UsbConsole
from linewire import messages
from linewire.compat import const, micropython, ptr8, ptr32

TICK_HZ = const(5_000_000)
BLOCKS = const(8)
MAX_RATE = const(100_000)  # steps/s and motor; DEVELOPERS.md says why

# A turn of the loop takes at most 20 ms; writing the file of pins may erase flash, some hundred ms. Everything in the
# player's queue ends by itself long before.
WATCHDOG_MS = const(2000)
_IDLE_MS = const(10)
_PLAYING_MS = const(2)  # switches, motor supply and player are looked at this often in a sleep during motion

_MASK = const(0x3FFFFFFF)
# Entries of a ring: more than BLOCKS + 1, a power of two, because DMA wraps addresses by masking bits.
_RING = const(16)
_RING_MASK = const(15)
_RING_BYTES = const(64)
_RING_BITS = const(6)

# Register addresses (RP2040 data sheet, 2.5.7 and 3.7; the same on RP2350 except for two).
_PIO0 = 0x50200000
_DMA = 0x50000000
_DMA_INTR = 0x400
_DMA_INTS0 = 0x40C
_CHAN_ABORT_RP2040 = 0x444
_CHAN_ABORT_RP2350 = 0x464
_IO_BANK0_RP2040 = 0x40014000
_IO_BANK0_RP2350 = 0x40028000
_OUTOVER_RP2040 = const(8)  # lowest bit of the two-bit field in GPIOn_CTRL; 1 = inverted
_OUTOVER_RP2350 = const(12)
_WATCHDOG_RP2040 = 0x40058000
_WATCHDOG_RP2350 = 0x400D8000
_WATCHDOG_REASON = const(0x08)  # bit 0: its timer ran out
_WATCHDOG_SCRATCH = const(0x0C)  # the first scratch register that keeps its value and is unused
_WATCHDOG_ENABLE = 1 << 30
_WATCHED = const(0x6C776264)  # arbitrary magic number
# Indices in units of 32 bits, for pointers.
_FLEVEL = const(3)
_DBG_PADOUT = const(15)
_SM0_SHIFTCTRL = const(52)
_SM0_ADDR = const(53)
_SM0_INSTR = const(54)
_READ_ADDR = const(0)
_WRITE_ADDR = const(1)
_TRANS_COUNT = const(2)
_AL1_CTRL = const(4)
_READ_ADDR_TRIG = const(15)
_SET_PINS_0 = const(0xE000)  # the instruction "set pins, 0"
_EN = const(1)

# Indices into the control array shared by the viper functions.
_C_PIO = const(0)  # addresses: of the PIO block,
_C_INTR = const(1)  # of the DMA's raw interrupt flags,
_C_INTS = const(2)  # of their clear register,
_C_ABORT = const(3)
_C_DATA = const(4)  # of each channel's registers,
_C_COUNT = const(5)
_C_ADDRESS = const(6)
_C_COUNTS = const(7)  # and of the rings
_C_ADDRESSES = const(8)
_C_BIT = const(9)  # the data channel's bit in the flags
_C_CHANNELS = const(10)  # the bits of all three
_C_IDLE_PC = const(11)  # program counter while the state machine waits for a word
_C_SUBMITTED = const(12)  # blocks, modulo 2^30
_C_FINISHED = const(13)
_C_BEGUN = const(14)  # blocks of which at least one word has been read
_C_BLOCK = const(15)  # result of the last `_look`: block of the last word read,
_C_WORD = const(16)  # number of its words read,
_C_PLAYING = const(17)  # and 1 if the last of them is being played
_C_SIZE = const(18)

_SETTING = messages.SETTING_BY_NAME
_STEP_WIDTH_NS = _SETTING["step_width_ns"][1]
_DIRECTION_SETUP_NS = _SETTING["direction_setup_ns"][1]
_MAX_RATE = _SETTING["max_rate"][1]
_REVERSED_A = _SETTING["reversed_a"][1]
_REVERSED_B = _SETTING["reversed_b"][1]


@micropython.viper
def _address(buffer: ptr8) -> int:
    return int(buffer)  # type: ignore[call-overload]  # viper's int() of a pointer


@micropython.viper
def _look(control: ptr32, words: ptr32, count: int) -> int:
    """Enter a block (if `count` is not 0), keep the chain running, and determine the player's position.

    Returns blocks finished, modulo 2^30.
    """
    data = ptr32(control[_C_DATA])
    copier = ptr32(control[_C_ADDRESS])
    counts = ptr32(control[_C_COUNTS])
    addresses = ptr32(control[_C_ADDRESSES])
    base = int(control[_C_ADDRESSES])
    flags = ptr32(control[_C_INTR])
    bit = int(control[_C_BIT])
    submitted = int(control[_C_SUBMITTED])
    if count:
        slot = submitted & _RING_MASK
        addresses[(slot + 1) & _RING_MASK] = 0
        counts[slot] = count
        # Last, because from here on the chain may use it.
        addresses[slot] = int(words)  # type: ignore[call-overload]  # viper's int() of a pointer
        submitted = (submitted + 1) & _MASK
        control[_C_SUBMITTED] = submitted

    # Has the chain ended? The flag is set by the zero address itself; the channel's BUSY bit would race with the
    # hand-over. If a block has been entered in place of the zero, continue there.
    ended = int(flags[0]) & bit
    if ended:
        slot = (((int(copier[_READ_ADDR]) - base) >> 2) - 1) & _RING_MASK
        if addresses[slot]:
            ptr32(control[_C_INTS])[0] = bit
            copier[_READ_ADDR] = base + (slot << 2)
            ptr32(control[_C_COUNT])[_READ_ADDR_TRIG] = int(control[_C_COUNTS]) + (slot << 2)
            ended = 0

    # Progress of the data channel: block and word. During the hand-over to the next block, its registers still show the
    # previous one; none of the next has been moved then.
    finished = int(control[_C_FINISHED])
    block = submitted
    word = 0
    if ended == 0:
        reached = int(copier[_READ_ADDR])
        at = int(data[_READ_ADDR])
        while int(copier[_READ_ADDR]) != reached:
            reached = int(copier[_READ_ADDR])
            at = int(data[_READ_ADDR])
        taken = (((reached - base) >> 2) - finished) & _RING_MASK
        block = finished
        if taken:
            block = (finished + taken - 1) & _MASK
            slot = block & _RING_MASK
            word = (at - int(addresses[slot])) >> 2
            if word < 0 or word > int(counts[slot]):
                word = 0

    # Subtract the words still in the FIFO.
    pio = ptr32(control[_C_PIO])
    level = int(pio[_FLEVEL]) & 15
    playing = 1
    if int(pio[_SM0_ADDR]) & 31 == int(control[_C_IDLE_PC]):
        playing = 0
    while level >= word and block != finished:
        level -= word
        block = (block - 1) & _MASK
        word = int(counts[block & _RING_MASK])
    word -= level
    begun = block
    if word <= 0:
        word = 0
        playing = 0
    else:
        begun = (block + 1) & _MASK
    control[_C_BLOCK] = block
    control[_C_WORD] = word
    control[_C_PLAYING] = playing
    control[_C_BEGUN] = begun
    if word and word - playing == int(counts[block & _RING_MASK]):
        block = begun
    control[_C_FINISHED] = block
    return block


@micropython.viper
def _break_off(control: ptr32):
    """Stop all channels, empty the FIFO, lower the step pins. The state machine is not running."""
    pio = ptr32(control[_C_PIO])
    channels = int(control[_C_CHANNELS])
    # A channel must not be restarted by one that is being stopped: disable them first (RP2350 erratum E5).
    i = _C_DATA
    while i <= _C_ADDRESS:
        channel = ptr32(control[i])
        channel[_AL1_CTRL] = int(channel[_AL1_CTRL]) & (0 - 2)
        i += 1
    abort = ptr32(control[_C_ABORT])
    abort[0] = channels
    i = 0
    while int(abort[0]) & channels and i < 100:  # cleared within a few cycles
        i += 1
    pio[_SM0_INSTR] = _SET_PINS_0
    # Any change of the FIFO joining empties the FIFO (RP2040 data sheet, 3.5.4).
    shift = int(pio[_SM0_SHIFTCTRL])
    i = 31  # FJOIN_RX; a constant of that size would be a heap object
    pio[_SM0_SHIFTCTRL] = shift ^ (1 << i)
    pio[_SM0_SHIFTCTRL] = shift


@micropython.viper
def _arm(control: ptr32):
    """Set rings and channels to the state of a chain that has just ended."""
    addresses = ptr32(control[_C_ADDRESSES])
    i = 0
    while i < _RING:
        addresses[i] = 0
        i += 1
    submitted = int(control[_C_SUBMITTED])
    control[_C_FINISHED] = submitted
    control[_C_BEGUN] = submitted
    i = _C_DATA
    while i <= _C_ADDRESS:
        channel = ptr32(control[i])
        channel[_AL1_CTRL] = int(channel[_AL1_CTRL]) | _EN
        i += 1
    ptr32(control[_C_INTS])[0] = int(control[_C_BIT])
    ptr32(control[_C_ADDRESS])[_READ_ADDR] = int(control[_C_ADDRESSES]) + (((submitted + 1) & _RING_MASK) << 2)
    ptr32(control[_C_DATA])[_READ_ADDR_TRIG] = 0


class Rp2Port(pins.PinsPort):
    """Pins, player, clock and USB serial port of the microcontroller that this code runs on."""

    tick_hz = TICK_HZ
    max_rate = MAX_RATE

    def __init__(self):
        self._is_rp2350 = "RP2350" in sys.implementation._machine
        if machine.freq() % rp2_player.PIO_HZ:
            machine.freq(150_000_000 if self._is_rp2350 else 125_000_000)
        super().__init__(UsbConsole())
        self._watchdog_at = _WATCHDOG_RP2350 if self._is_rp2350 else _WATCHDOG_RP2040
        self._watchdog = None
        self.restarted = self._watchdog_bit()
        self.kind = "rp2350" if self._is_rp2350 else "rp2040"
        self.overhead_ticks = 1
        self._player = None
        self._program = None
        self._last = 0  # its last instruction, counted from its first
        self._width_us = 0
        self._servo_us = array("H", [0] * _RING)
        self._servos_shown = 0
        self._take_channels()
        self._shape(_SETTING["step_width_ns"][4], _SETTING["direction_setup_ns"][4])

    def refuses(self, settings):
        """The first of these settings that this board does not support, as (key, value, low, high); None if all are
        supported.
        """
        keys = pins.KEYS
        step_a = settings[keys[pins.STEP_A]]
        highest = 47 if self._is_rp2350 else 29
        for key in keys:
            if settings[key] > highest:
                return (key, settings[key], -1, highest)
        if step_a < 0 or step_a + 3 > 31:
            # The state machine numbers its 32 pins from 0.
            return (keys[pins.STEP_A], step_a, 0, min(highest, 31) - 3)
        for which, after in ((pins.STEP_B, 1), (pins.DIRECTION_A, 2), (pins.DIRECTION_B, 3)):
            pin = settings[keys[which]]
            if pin != step_a + after:
                return (keys[which], pin, step_a + after, step_a + after)
        overhead, _, _ = rp2_player.timing(settings[_STEP_WIDTH_NS], settings[_DIRECTION_SETUP_NS])
        if settings[_MAX_RATE] > TICK_HZ // overhead:
            return (_MAX_RATE, settings[_MAX_RATE], 1, TICK_HZ // overhead)
        return None

    def configure(self, settings):
        """Apply the rig's settings (by key of `messages.SETTINGS`). Only while the player is idle."""
        self._configure_pins(settings)
        self._shape(settings[_STEP_WIDTH_NS], settings[_DIRECTION_SETUP_NS])
        if self._pins[pins.STEP_A] >= 0:
            self._start_player()
            self._reverse(self._pins[pins.DIRECTION_A], settings[_REVERSED_A])
            self._reverse(self._pins[pins.DIRECTION_B], settings[_REVERSED_B])

    def _shape(self, step_width_ns, direction_setup_ns):
        self._timing = rp2_player.timing(step_width_ns, direction_setup_ns)
        self.overhead_ticks = self._timing[0]
        self._width_us = step_width_ns // 1000 + 1

    def _start_player(self):
        if self._player is not None:
            self._player.active(0)
            rp2.PIO(0).remove_program(self._program)
        self._program = rp2_player.assemble(*self._timing)
        self._last = len(self._program[0]) - 1
        base = machine.Pin(self._pins[pins.STEP_A])
        self._player = rp2.StateMachine(0, self._program, freq=rp2_player.PIO_HZ, out_base=base, set_base=base)
        self._player.restart()  # goes to the start of the program
        self._control[_C_IDLE_PC] = machine.mem32[_PIO0 + 4 * _SM0_ADDR] & 31
        _arm(self._control)
        self._player.active(1)

    def _reverse(self, pin, on):
        # The PIO cannot invert single pins. The pad's inverter costs nothing, while changing every word would take time
        # on the critical path.
        if self._is_rp2350:
            register, shift = _IO_BANK0_RP2350 + 8 * pin + 4, _OUTOVER_RP2350
        else:
            register, shift = _IO_BANK0_RP2040 + 8 * pin + 4, _OUTOVER_RP2040
        machine.mem32[register] = (machine.mem32[register] & ~(3 << shift)) | (on << shift)

    def _take_channels(self):
        # The rings are in one block of memory, each aligned to its own size.
        self._memory = bytearray(3 * _RING_BYTES)
        counts = (_address(self._memory) + _RING_BYTES - 1) & ~(_RING_BYTES - 1)
        addresses = counts + _RING_BYTES
        # Keep references to the channels, because unreferenced ones are collected and freed.
        self._channels = (rp2.DMA(), rp2.DMA(), rp2.DMA())
        data, count, address = self._channels
        at = [_DMA + 0x40 * channel.channel for channel in self._channels]
        self._control = array("I", [0] * _C_SIZE)
        control = self._control
        control[_C_PIO] = _PIO0
        control[_C_INTR] = _DMA + _DMA_INTR
        control[_C_INTS] = _DMA + _DMA_INTS0
        control[_C_ABORT] = _DMA + (_CHAN_ABORT_RP2350 if self._is_rp2350 else _CHAN_ABORT_RP2040)
        control[_C_DATA], control[_C_COUNT], control[_C_ADDRESS] = at
        control[_C_COUNTS] = counts
        control[_C_ADDRESSES] = addresses
        control[_C_BIT] = 1 << data.channel
        control[_C_CHANNELS] = 1 << data.channel | 1 << count.channel | 1 << address.channel
        # `irq_quiet`: the flag then shows zero addresses only. Request 0 is the state machine's request for a word, 63
        # means as fast as possible.
        data.config(
            read=0,
            write=_PIO0 + 0x10,  # its FIFO
            count=0,
            ctrl=data.pack_ctrl(inc_write=False, treq_sel=0, chain_to=count.channel, irq_quiet=True),
        )
        for channel, target, source, after in (
            (count, at[0] + 4 * _TRANS_COUNT, counts, address.channel),
            (address, at[0] + 4 * _READ_ADDR_TRIG, addresses, address.channel),
        ):
            channel.config(
                read=source,
                write=target,
                count=1,
                ctrl=channel.pack_ctrl(
                    inc_write=False,
                    ring_sel=False,
                    ring_size=_RING_BITS,
                    treq_sel=63,
                    chain_to=after,
                    irq_quiet=True,
                ),
            )
        _arm(control)

    def room(self):
        """Number of blocks that may be submitted now."""
        return BLOCKS - ((self._control[_C_SUBMITTED] - self.finished()) & _MASK)

    def submit(self, words, count, servo_us):
        """Queue `words[0:count]` (owned by the player until played); `servo_us` is set when the block starts."""
        self._servo_us[self._control[_C_SUBMITTED] & _RING_MASK] = servo_us
        _look(self._control, words, count)
        self._show_servo()

    @micropython.native
    def finished(self):
        """Blocks finished since the start, modulo 2^30, including those dropped by `halt`."""
        finished = _look(self._control, self._control, 0)
        if self._servos_shown != self._control[_C_BEGUN]:
            self._show_servo()
        return finished

    @micropython.native
    def playing(self):
        return self._control[_C_SUBMITTED] != self.finished()

    def _show_servo(self):
        # There is no interrupt at the start of a block; it is seen in the next turn of the loop or slice of `pause`, up
        # to two milliseconds later. The servo itself reads its pulse every 20 ms.
        begun = self._control[_C_BEGUN]
        while self._servos_shown != begun:
            us = self._servo_us[self._servos_shown & _RING_MASK]
            if us:
                self.servo(us)
            self._servos_shown = (self._servos_shown + 1) & _MASK

    def halt(self):
        """Stop the player at once; returns the number of words (the last ones submitted) that were not played."""
        control = self._control
        unplayed = 0
        if self._player is not None:
            self._player.active(0)
            time.sleep_us(self._width_us)  # completes a started pulse; DMA comes to rest
            _look(control, control, 0)
            block = control[_C_BLOCK]
            while block != control[_C_SUBMITTED]:
                unplayed += self._length(block)
                block = (block + 1) & _MASK
            unplayed -= control[_C_WORD]
            if control[_C_PLAYING] and not self._stepped():
                unplayed += 1
            _break_off(control)
            self._player.restart()
        _arm(control)
        self._servos_shown = control[_C_SUBMITTED]
        if self._player is not None:
            self._player.active(1)
        return unplayed

    def _length(self, block):
        return machine.mem32[self._control[_C_COUNTS] + 4 * (block & _RING_MASK)]

    def _stepped(self):
        """Whether the word that was playing when the state machine was stopped has made its edge."""
        levels = machine.mem32[_PIO0 + 4 * _DBG_PADOUT] >> self._pins[pins.STEP_A]
        after = (machine.mem32[_PIO0 + 4 * _SM0_ADDR] & 31) - self._control[_C_IDLE_PC]
        # After the edge the pins are high until the program's last instruction lowers them.
        return levels & 3 != 0 or after == self._last

    def pause(self, max_us, _expecting, spare_us=0):
        """Sleep until something happens, at most `max_us`; blocks that finish within `spare_us` do not count."""
        # The player's servo pulses are handled in between.
        self._sleep(max_us, _PLAYING_MS if self.playing() else _IDLE_MS, spare_us)

    def alive(self):
        """Feed the watchdog: the loop has made a turn. The first call starts the watchdog."""
        if self._watchdog is None:
            machine.mem32[self._watchdog_at + _WATCHDOG_SCRATCH] = _WATCHED
            self._watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self._watchdog.feed()

    def close(self):
        """Make everything safe, and release the USB port for the prompt."""
        super().close()
        # MicroPython's own watchdog cannot be stopped, and is not fed while files are copied.
        machine.mem32[self._watchdog_at] = machine.mem32[self._watchdog_at] & ~_WATCHDOG_ENABLE
        machine.mem32[self._watchdog_at + _WATCHDOG_SCRATCH] = 0
        self._watchdog = None

    def _watchdog_bit(self):
        """Whether the watchdog, as set by this code, has restarted the chip (and not `machine.reset`)."""
        mem32 = machine.mem32
        at = self._watchdog_at
        bitten = mem32[at + _WATCHDOG_REASON] & 1 and mem32[at + _WATCHDOG_SCRATCH] & 0xFFFFFFFF == _WATCHED
        mem32[at + _WATCHDOG_SCRATCH] = 0
        return bool(bitten)


def main():
    """Run the board until the prompt is requested."""
    pins.run(Rp2Port())
