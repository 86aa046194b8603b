"""The serial console's bytes without blocking, as used by ports on real hardware.

Carriage return followed by Ctrl-C requests MicroPython's prompt, which raises `KeyboardInterrupt`. No frame contains
that sequence at its end, because each ends with a zero.
"""

import io
import os
import select
import sys

from linewire.compat import const, micropython, ptr8

# Units in which bytes are exchanged with a USB port, see `UsbConsole`.
_IN_UNIT = const(32)
_OUT_UNIT = const(64)


class Console:
    """Byte by byte: works on any board, but slow."""

    def __init__(self):
        self._stdin = sys.stdin.buffer
        self._stdout = sys.stdout.buffer
        self._in_poll = select.poll()
        self._in_poll.register(sys.stdin, select.POLLIN)
        self._out_poll = select.poll()
        self._out_poll.register(sys.stdout, select.POLLOUT)
        self._byte = bytearray(1)
        micropython.kbd_intr(-1)

    def close(self):
        """Release the serial port for the prompt."""
        micropython.kbd_intr(3)

    @micropython.native
    def waiting(self, max_ms):
        """Whether bytes are available, or arrive within `max_ms`."""
        for _ in self._in_poll.ipoll(max_ms):
            return True
        return False

    def room(self):
        """Whether something can be written without waiting."""
        for _ in self._out_poll.ipoll(0):
            return True
        return False

    def read_into(self, buffer):
        """Move waiting bytes from the host into `buffer`; returns their number. Never blocks."""
        # One by one, because `readinto` blocks until its buffer is full.
        n = 0
        while n < len(buffer) and self.waiting(0):
            self._stdin.readinto(self._byte)
            buffer[n] = self._byte[0]
            n += 1
        if 2 <= n <= 4 and buffer[0] == 0x0D and buffer[1] == 0x03:
            raise KeyboardInterrupt
        return n

    def write(self, buffer, n):
        """Send `buffer[0:n]` to the host; returns the number of bytes accepted. Never blocks."""
        sent = 0
        while sent < n and self.room():
            self._byte[0] = buffer[sent]
            self._stdout.write(self._byte)
            sent += 1
        return sent


@micropython.viper
def _copy(target: ptr8, source: ptr8, at: int, count: int, size: int):
    """target[0:count] = source[at:at + count], and zeros up to `size`."""
    i = 0
    while i < count:
        target[i] = source[at + i]
        i += 1
    while i < size:
        target[i] = 0
        i += 1


class _Filler(io.IOBase):
    """Supplies filler bytes when the USB port has too few, so that reading a whole unit never blocks.

    It is installed with `os.dupterm` and asked once for each missing byte. While `on`, it returns zeros, which have no
    meaning between frames, and counts them. Otherwise it returns the bytes in `rest`, then nothing. It is installed
    only while something is read, because all that is written goes to it too, and every poll of the port asks it.
    """

    def __init__(self):
        self.on = False
        self.count = 0
        self.rest = b""

    def readinto(self, buffer):
        if self.on:
            self.count += 1
            buffer[0] = 0
            return 1
        if self.rest:
            buffer[0] = self.rest[0]
            self.rest = self.rest[1:]
            return 1
        return None

    def write(self, buffer):
        return len(buffer)

    def ioctl(self, _request, _argument):
        return 0  # never a reason to wake up


class UsbConsole(Console):
    """Reads and writes whole units, five times as fast as byte by byte, over the USB port of a Raspberry Pi chip.

    MicroPython's `readinto` blocks until its buffer is full, so `_Filler` supplies the missing end. Zeros within a
    frame would damage it and cause a retransmission; but USB packets are 64 bytes long, all but the last of a transfer,
    and transfers end with frames.

    When writing, the port reports whether it has any room, but not how much, and it blocks for half a second if the
    host has stopped reading. Everything is written in whole units (padded with zeros, which have no meaning between
    frames), and the port's buffer holds a whole number of units, so any room suffices for one.
    """

    def __init__(self):
        super().__init__()
        self._filler = _Filler()
        self._out = bytearray(_OUT_UNIT)
        self._read_buffer = None
        self._read_views = []

    def read_into(self, buffer):
        if buffer is not self._read_buffer:
            self._cut_up(buffer)
        filler = self._filler
        filler.count = 0
        filler.on = True
        os.dupterm(filler)
        n = 0
        for first, others in self._read_views:
            self._stdin.readinto(first)
            if filler.count:
                break
            self._stdin.readinto(others)
            n += _IN_UNIT
            if filler.count:
                self._heed_prompt(first, others, _IN_UNIT - filler.count)
                break
        os.dupterm(None)
        return n

    def _cut_up(self, buffer):
        # A separate function, because a comprehension's closure allocates at every call.
        whole = memoryview(buffer)
        starts = range(0, len(buffer) - _IN_UNIT + 1, _IN_UNIT)
        self._read_views = [(whole[at : at + 1], whole[at + 1 : at + _IN_UNIT]) for at in starts]
        self._read_buffer = buffer

    def _heed_prompt(self, first, others, n):
        """Handle a request for the prompt: carriage return and Ctrl-C alone, or directly before the next request."""
        if 2 <= n <= 4 and first[0] == 0x0D and others[0] == 0x03:
            # It stays installed for the prompt.
            self._filler.on = False
            self._filler.rest = bytes(others[1 : n - 1])
            raise KeyboardInterrupt

    def write(self, buffer, n):
        sent = 0
        while sent < n and self.room():
            part = min(_OUT_UNIT, n - sent)
            _copy(self._out, buffer, sent, part, _OUT_UNIT)
            self._stdout.write(self._out)
            sent += part
        return sent
