"""The board's port on the virtual rig: the same interface as real pins, over a `world` object.

The world interface
-------------------
All mechanics, time and the link's bytes live in the world.  Virtual time passes only inside
`world.pause`, so everything the board does between two pauses happens at one instant, and what the last
pause reported stays true until the next.  Every argument is an int or a buffer and only three calls
answer, so that the same interface runs over a byte pipe (`PipeWorld`, below) without a round trip per call.

`world.greet(status)`
    Called once, first.  Fills `status[NOW]` (see `pause`).
`world.configure(setup_ticks, width_ticks, overhead_ticks)`
    How a word is played from the next submitted block on (`LAYOUT OF A WORD`).
`world.wiring(reversed, endstop_x, endstop_y, contacts)`
    What the rig's settings say of the wires, before the next block: which motors' directions the board turns around
    (bit 0: A, bit 1: B), on which pins it looks for the endstops (-1: none), and which of them it takes to open when
    pressed (bit 0: x, bit 1: y).  A world that is wired otherwise than its board believes moves the wrong way, or shows
    it the wrong switch, or a switch the wrong way round.
`world.submit(words, count, servo_us)`
    Queue one block: `words[0:count]`, 32-bit little-endian.  The world copies them.  Blocks play back to
    back; an empty queue holds the pins still.  `servo_us` other than 0 sets the servo as the block begins.
    At most `BLOCKS` blocks are outstanding.
`world.halt() -> unplayed`
    Stop at once.  Returns how many words of all queued blocks have not made their step edge; these are
    the last ones submitted, and they will never be played.  A word whose step edge has been made counts as
    played (its pulse is completed).  All queued blocks count as finished afterwards.
`world.servo(us)`
    Set the servo now.  0 = no pulses.
`world.enable(on)`
    Motor drivers: 0 off, 1 powered, 2 powered with the lower current that rest needs.
`world.write(buffer, n)`
    Bytes `buffer[0:n]` for the host.  The world takes them all (or loses them: the wire is its business).
`world.mark(a, b)`
    The board has just set its own position, in motor steps (homed, or told by hand).  Nothing moves.  It
    tells whoever reads the tape where the board's zero lies; on a real board it does nothing.
`world.pause(max_us, expecting, status, inbox)`
    Let time pass until the first of: bytes from the host are there (at once if there already were some),
    a block finishes, an endstop or the motors' power changes, `max_us` have passed (0: just look).  Then fill
      status[NOW]       microseconds, 0 .. 2^30 - 1, wrapping
      status[FINISHED]  blocks finished since the start, modulo 2^30, the halted ones included
      status[ENDSTOPS]  bit 0: x pressed, bit 1: y pressed (raw, with its bounces), bit 2: the motors have no power
      status[BYTES]     how many bytes from the host were put into inbox[0:...]  (inbox holds INBOX bytes)
    `expecting` 1 says: the host knows that it may send, or owes an answer; so before time passes, wait for its
    bytes in real time, up to the world's patience.

LAYOUT OF A WORD    wait << 4 | dir_b << 3 | dir_a << 2 | step_b << 1 | step_a
    begins at t, directions are set at t + wait, named step pins rise at t + wait + setup, fall `width`
    later, and the next word begins at t + wait + overhead (overhead >= setup + width).  Without a step bit the
    word is a pure delay of wait + overhead ticks and leaves the direction pins alone.  One tick is 200 ns.

Over a pipe each call is one request: a letter, then its fields, little-endian, no padding:
    G greet                                       answer: now u32
    C configure  setup u16, width u16, overhead u16
    R wiring     reversed u8, endstop_x i8, endstop_y i8, contacts u8
    S submit     count u16, servo_us u16, count * u32
    X halt                                        answer: unplayed u32
    V servo      us u16
    E enable     on u8
    W write      n u16, n bytes
    M mark       a i32, b i32
    P pause      max_us u32, expecting u8         answer: now u32, finished u32, endstops u8, n u16, n bytes
End of file on the pipe ends the board.
"""

import struct
import sys
from array import array

from linewire import messages
from linewire.compat import const

TICK_HZ = const(5_000_000)  # one tick is 200 ns; divides the clocks of both real boards (125 and 150 MHz)
BLOCKS = const(8)
BLOCK_WORDS = const(512)
INBOX = const(512)

NOW = const(0)
FINISHED = const(1)
ENDSTOPS = const(2)
BYTES = const(3)

# Ticks of a word beyond its wait, set-up and width: the real player's time for fetching a word and branching. A
# generous figure, so that the virtual rig promises no more than real boards.
FIXED_TICKS = const(4)
# Steps per second and motor that the kernel sustains with half of the processor left (bench/board_cost.py).
MAX_RATE = const(100_000)
# Longest sleep in homing. The world ends a pause at the tick at which a switch changes, so it may be long.
SWITCH_US = const(20_000)

_PERIOD_MASK = const(0x3FFFFFFF)

_STEP_WIDTH_NS, _DEFAULT_WIDTH_NS = (messages.SETTING_BY_NAME["step_width_ns"][i] for i in (1, 4))
_DIRECTION_SETUP_NS, _DEFAULT_SETUP_NS = (messages.SETTING_BY_NAME["direction_setup_ns"][i] for i in (1, 4))
_WIRING = ("reversed_a", "reversed_b", "pin_endstop_x", "pin_endstop_y", "contact_x", "contact_y")
_PIN_MOTOR_POWER = messages.SETTING_BY_NAME["pin_motor_power"][1]
_REVERSED_A, _REVERSED_B, _PIN_ENDSTOP_X, _PIN_ENDSTOP_Y, _CONTACT_X, _CONTACT_Y = (
    messages.SETTING_BY_NAME[name][1] for name in _WIRING
)


class VirtualPort:
    """Pins, player, clock and host bytes of a board on the virtual rig."""

    kind = "virtual"
    tick_hz = TICK_HZ
    max_rate = MAX_RATE
    switch_us = SWITCH_US
    pen_up_us = 0  # no pins are stored
    unique = b""

    def __init__(self, world, restarted=False):
        self.restarted = restarted
        self._world = world
        self._status = array("i", (0, 0, 0, 0))
        self._inbox = bytearray(INBOX)
        self._read_from = 0
        self._submitted = 0
        self._senses_power = False
        self.overhead_ticks = 0
        world.greet(self._status)
        self._shape(_DEFAULT_WIDTH_NS, _DEFAULT_SETUP_NS)

    def refuses(self, _settings):
        """The first of these settings that this board does not support, as (key, value, low, high); None if all are
        supported.
        """
        return None

    def configure(self, settings):
        """Apply the rig's settings (by key of `messages.SETTINGS`). Only while the player is idle.

        `overhead_ticks` follows from the pulse's shape. Other pins are ignored.
        """
        self._shape(settings[_STEP_WIDTH_NS], settings[_DIRECTION_SETUP_NS])
        turned = settings[_REVERSED_A] | settings[_REVERSED_B] << 1
        contacts = settings[_CONTACT_X] | settings[_CONTACT_Y] << 1
        self._senses_power = settings[_PIN_MOTOR_POWER] >= 0
        self._world.wiring(turned, settings[_PIN_ENDSTOP_X], settings[_PIN_ENDSTOP_Y], contacts)

    def _shape(self, step_width_ns, direction_setup_ns):
        width = (step_width_ns + 199) // 200
        setup = (direction_setup_ns + 199) // 200
        self.overhead_ticks = setup + width + FIXED_TICKS
        self._world.configure(setup, width, self.overhead_ticks)

    def now_us(self):
        return self._status[NOW]

    def pause(self, max_us, expecting, _spare_us=0):
        """Sleep until something happens, at most `max_us`; `expecting`: the host is expected to act.

        A block that finishes within the first `_spare_us` needs no successor. A port may then sleep on; this one does
        not, because its time costs nothing.
        """
        if self._read_from < self._status[BYTES]:
            return  # something has happened: bytes are still unread
        self._read_from = 0
        self._world.pause(max_us, expecting, self._status, self._inbox)

    def wait(self, us):
        """Let time pass; bytes that arrive are ignored."""
        self._read_from = self._status[BYTES]
        self.pause(us, False)

    def read_into(self, buffer):
        """Move waiting bytes from the host into `buffer`; returns their number. Never blocks."""
        inbox = self._inbox
        start = self._read_from
        n = min(self._status[BYTES] - start, len(buffer))
        # One by one, because under MicroPython a slice would be a new heap object.
        i = 0
        while i < n:
            buffer[i] = inbox[start + i]
            i += 1
        self._read_from = start + n
        return n

    def write(self, buffer, n):
        """Send `buffer[0:n]` to the host; returns the number of bytes accepted. Never blocks."""
        self._world.write(buffer, n)
        return n

    def room(self):
        """Number of blocks that may be submitted now."""
        return BLOCKS - ((self._submitted - self._status[FINISHED]) & _PERIOD_MASK)

    def submit(self, words, count, servo_us):
        """Queue `words[0:count]` (owned by the player until played); `servo_us` is set when the block starts."""
        self._submitted = (self._submitted + 1) & _PERIOD_MASK
        self._world.submit(words, count, servo_us)

    def finished(self):
        """Blocks finished since the start, modulo 2^30, including those dropped by `halt`."""
        return self._status[FINISHED]

    def playing(self):
        return self._submitted != self._status[FINISHED]

    def halt(self):
        """Stop the player at once; returns the number of words (the last ones submitted) that were not played."""
        unplayed = self._world.halt()
        self._status[FINISHED] = self._submitted
        return unplayed

    def servo(self, us):
        self._world.servo(us)

    def enable(self, level):
        self._world.enable(level)

    def mark(self, a, b):
        """Record on the tape that the board has set its position to (a, b), motor steps."""
        self._world.mark(a, b)

    def alive(self):
        """The loop has made a turn."""

    def endstop(self, which):
        """Whether an endstop is pressed, 0 = x, 1 = y, without debouncing."""
        return (self._status[ENDSTOPS] >> which) & 1 == 1

    def motor_power(self):
        """Whether the motors have power; True if it is not sensed."""
        return not self._senses_power or self._status[ENDSTOPS] & 4 == 0


class PipeWorld:
    """The world at the other end of a byte pipe, for a board in its own process."""

    def __init__(self, reader, writer):
        self._reader = reader
        self._writer = writer
        self._answer = bytearray(11)
        self._answer_view = memoryview(self._answer)
        self._request = bytearray(9)
        self._request_view = memoryview(self._request)

    def _ask(self, n_request, n_answer):
        self._writer.write(self._request_view[0:n_request])
        if n_answer:
            self._writer.flush()
            self._fill(self._answer_view[0:n_answer])

    def _fill(self, view):
        done = 0
        while done < len(view):
            n = self._reader.readinto(view[done:])
            if not n:
                raise SystemExit  # the pipe is closed, so the board ends
            done += n

    def greet(self, status):
        struct.pack_into("<B", self._request, 0, 0x47)
        self._ask(1, 4)
        status[NOW] = struct.unpack_from("<I", self._answer, 0)[0]

    def configure(self, setup_ticks, width_ticks, overhead_ticks):
        struct.pack_into("<BHHH", self._request, 0, 0x43, setup_ticks, width_ticks, overhead_ticks)
        self._ask(7, 0)

    def wiring(self, turned, endstop_x, endstop_y, contacts):
        struct.pack_into("<BBbbB", self._request, 0, 0x52, turned, endstop_x, endstop_y, contacts)
        self._ask(5, 0)

    def submit(self, words, count, servo_us):
        struct.pack_into("<BHH", self._request, 0, 0x53, count, servo_us)
        self._ask(5, 0)
        self._writer.write(memoryview(words)[0:count])

    def halt(self):
        struct.pack_into("<B", self._request, 0, 0x58)
        self._ask(1, 4)
        return struct.unpack_from("<I", self._answer, 0)[0]

    def servo(self, us):
        struct.pack_into("<BH", self._request, 0, 0x56, us)
        self._ask(3, 0)

    def enable(self, on):
        struct.pack_into("<BB", self._request, 0, 0x45, on)
        self._ask(2, 0)

    def mark(self, a, b):
        struct.pack_into("<Bii", self._request, 0, 0x4D, a, b)
        self._ask(9, 0)

    def write(self, buffer, n):
        struct.pack_into("<BH", self._request, 0, 0x57, n)
        self._ask(3, 0)
        self._writer.write(memoryview(buffer)[0:n])

    def pause(self, max_us, expecting, status, inbox):
        struct.pack_into("<BIB", self._request, 0, 0x50, max_us, 1 if expecting else 0)
        self._ask(6, 11)
        now_us, finished, endstops, n = struct.unpack_from("<IIBH", self._answer, 0)
        status[NOW] = now_us
        status[FINISHED] = finished
        status[ENDSTOPS] = endstops
        status[BYTES] = n
        if n:
            self._fill(memoryview(inbox)[0:n])


def main(digest, session):
    """Run a board with its world at the other end of standard input and output.

    `digest` is that of the shipped files (`linewright.board.files.digest`); `session` is a number from 1 to 65535 that
    differs from that of the previous start.
    """
    from lineboard.board import (
        Board,
    )  # imported late, because the board's parts and the port must not depend on each other

    Board(VirtualPort(PipeWorld(sys.stdin.buffer, sys.stdout.buffer)), digest, session).run()
