"""Frames on the wire: delimiters, resynchronisation after damage, checksum.

A frame's *body* is ``kind u8, sequence u16, tag u16, payload, crc u32`` (little-endian). On the wire the body is
byte-stuffed so that it holds no zero (Consistent Overhead Byte Stuffing: Cheshire and Baker, "Consistent Overhead Byte
Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999) and closed by one zero byte. Additional zeros between frames
are ignored, so a sender may use them as padding.

The checksum is CRC-32/ISO-HDLC (catalogue check value CBF43926 over ASCII "123456789"). SPEC.md says why 32 bits. Its
polynomial is in `_crc_table`, its residue in `_intact`; CPython uses `binascii.crc32`, with the residue in `intact`.

Under MicroPython the byte loops are viper and nothing here allocates after construction: `FrameReader.load` and
`FrameReader.next`, `seal`, `stuff`. `FrameReader.feed` and `write_frame` are convenience functions.
"""

import sys
from array import array

from linewire.compat import const, micropython, ptr8, ptr32
from linewire.messages import PAYLOAD

TYPE_CHECKING = False  # spelled out, because MicroPython has no typing module
if TYPE_CHECKING:
    from collections.abc import Iterator

HEADER = const(5)
CHECKSUM = const(4)
BODY = HEADER + PAYLOAD + CHECKSUM
SHORTEST_BODY = const(HEADER + CHECKSUM)
# Stuffing adds one byte per started 254 and the frame ends with the delimiter.
WIRE = BODY + BODY // 254 + 2

CHECK_TEXT = b"123456789"
CHECK_VALUE = 0xCBF43926

# State of the unstuffing loop.  It holds no negative number: the Unix build reads 32-bit cells as unsigned.
_LEFT = const(0)  # bytes left in the running block
_JOIN = const(1)  # 1: the running block is followed by a removed zero (unless the frame ends)
_FILL = const(2)  # bytes of the frame so far
_ROOM = const(3)
_SEEN = const(4)  # wire bytes since the last delimiter, saturated at 2
_OVER = const(5)  # 1: longer than any frame; skip to the next delimiter
_DONE = const(6)  # 0 nothing yet, 1 a body is complete, 2 damaged, 3 oversize


def _crc_table() -> "array[int]":
    """Table of the reflected polynomial EDB88320 (CRC-32/ISO-HDLC), one entry per byte value."""
    table = array("I", [0] * 256)
    for byte in range(256):
        value = byte
        for _ in range(8):
            value = value >> 1 ^ (0xEDB88320 if value & 1 else 0)
        table[byte] = value
    return table


_TABLE = _crc_table()


@micropython.viper
def _seal(body: ptr8, count: int, table: ptr32) -> int:
    """Write the checksum of ``body[:count]`` after it; returns the end index. The caller provides the room."""
    crc = -1
    at = 0
    while at < count:
        crc = ((crc >> 8) & 0xFFFFFF) ^ table[(crc ^ body[at]) & 255]
        at += 1
    crc ^= -1
    body[count] = crc & 255
    body[count + 1] = (crc >> 8) & 255
    body[count + 2] = (crc >> 16) & 255
    body[count + 3] = (crc >> 24) & 255
    return count + 4


@micropython.viper
def _intact(body: ptr8, count: int, table: ptr32) -> int:
    """1 if ``body[:count]`` ends with its own checksum: the register then holds the residue DEBB20E3."""
    crc = -1
    at = 0
    while at < count:
        crc = ((crc >> 8) & 0xFFFFFF) ^ table[(crc ^ body[at]) & 255]
        at += 1
    if crc & 0xFFFF == 0x20E3 and (crc >> 16) & 0xFFFF == 0xDEBB:
        return 1
    return 0


if sys.implementation.name == "cpython":
    # The same checksum in C. MicroPython's crc32 is not used, because its result does not fit a small integer on the
    # board, so it allocates.
    from binascii import crc32

    def seal(body: bytearray, count: int) -> None:
        """Write the checksum of ``body[:count]`` after it."""
        body[count : count + CHECKSUM] = crc32(memoryview(body)[:count]).to_bytes(CHECKSUM, "little")

    def intact(body: bytearray, count: int) -> bool:
        """Whether ``body[:count]`` ends with its own checksum."""
        # The CRC over a message and its own CRC is a constant, the complement of the residue.
        return crc32(memoryview(body)[:count]) == 0x2144DF1C

else:

    def seal(body: bytearray, count: int) -> None:
        """Write the checksum of ``body[:count]`` after it."""
        _seal(body, count, _TABLE)

    def intact(body: bytearray, count: int) -> bool:
        """Whether ``body[:count]`` ends with its own checksum."""
        return bool(_intact(body, count, _TABLE))


@micropython.viper
def stuff(body: ptr8, count: int, out: ptr8, at: int) -> int:
    """Write ``body[:count]`` byte-stuffed, with its delimiter, to ``out`` from ``at`` on; returns the end index.

    It takes at most ``count + count // 254 + 2`` bytes, which the caller provides.
    """
    mark = at
    at += 1
    run = 1
    i = 0
    while i < count:
        byte = int(body[i])
        i += 1
        if byte != 0:
            out[at] = byte
            at += 1
            run += 1
            if run == 255 and i < count:
                # A full block has its 254 bytes only; the next one starts without a zero in between.
                out[mark] = 255
                mark = at
                at += 1
                run = 1
        else:
            out[mark] = run
            mark = at
            at += 1
            run = 1
    out[mark] = run
    out[at] = 0
    return at + 1


@micropython.viper
def _unstuff(state: ptr32, source: ptr8, at: int, end: int, out: ptr8) -> int:
    """Process wire bytes ``source[at:end]`` up to the next delimiter; returns the index after the last byte read.

    The body grows in ``out``, never beyond ``state[_ROOM]``. ``state[_DONE]`` is the result at a delimiter.
    """
    left = int(state[_LEFT])
    join = int(state[_JOIN])
    fill = int(state[_FILL])
    room = int(state[_ROOM])
    seen = int(state[_SEEN])
    over = int(state[_OVER])
    done = 0
    while at < end and done == 0:
        byte = int(source[at])
        at += 1
        if byte == 0:
            if seen != 0:
                if over != 0:
                    done = 3
                elif left != 0:
                    done = 2
                else:
                    done = 1
            left = 0
            join = 0
            seen = 0
            over = 0
            if done != 1:
                fill = 0
        elif over == 0:
            seen = 1
            if left != 0:
                if fill < room:
                    out[fill] = byte
                    fill += 1
                    left -= 1
                else:
                    over = 1
            else:
                if join != 0:
                    if fill < room:
                        out[fill] = 0
                        fill += 1
                    else:
                        over = 1
                left = byte - 1
                join = 1
                if byte == 255:
                    join = 0
    state[_LEFT] = left
    state[_JOIN] = join
    state[_FILL] = fill
    state[_SEEN] = seen
    state[_OVER] = over
    state[_DONE] = done
    return at


class FrameReader:
    """Finds frames in any stream of bytes.

    Any bytes yield frames or a counted fault, never an exception, and the memory is one body, allocated here.

    Attributes
    ----------
    body, length : the last frame; ``body[:length]`` holds header, payload and checksum, until the next call.
    frames, damaged, oversize : counts of good frames, damaged ones (stuffing, checksum, too short), and runs
        without a delimiter that are longer than any frame.
    """

    def __init__(self, room: int = BODY) -> None:
        self.body = bytearray(room)
        self.length = 0
        self.frames = 0
        self.damaged = 0
        self.oversize = 0
        self._state = array("i", [0, 0, 0, room, 0, 0, 0])
        self._source: bytes | bytearray | memoryview = b""
        self._at = 0
        self._end = 0

    def load(self, data: "bytes | bytearray | memoryview", count: int) -> None:
        """Set ``data[:count]`` as the next part of the stream. Only after `next` has returned False."""
        self._source = data
        self._at = 0
        self._end = count

    def next(self) -> bool:
        """Advance to the next good frame; False when the data is used up."""
        state = self._state
        while self._at < self._end:
            if state[_DONE]:
                state[_DONE] = 0
                state[_FILL] = 0
            self._at = _unstuff(state, self._source, self._at, self._end, self.body)
            done = state[_DONE]
            if done == 1:
                length = state[_FILL]
                if length >= SHORTEST_BODY and intact(self.body, length):
                    self.length = length
                    self.frames += 1
                    return True
                self.damaged += 1
            elif done == 2:
                self.damaged += 1
            elif done == 3:
                self.oversize += 1
        return False

    def feed(self, data: "bytes | bytearray | memoryview") -> "Iterator[bytes]":
        """Bodies found in ``data``, without their checksums.  Allocates."""
        self.load(data, len(data))
        while self.next():
            yield bytes(memoryview(self.body)[: self.length - CHECKSUM])


def write_frame(kind: int, sequence: int, tag: int, payload: "bytes | bytearray | memoryview" = b"") -> bytes:
    """One complete frame for the wire. Allocates; the endpoint works in its own buffers.

    Raises
    ------
    ValueError : the payload is longer than a frame carries, or a number does not fit its field.
    """
    count = HEADER + len(payload)
    if len(payload) > PAYLOAD or not (0 <= kind <= 255 and 0 <= sequence <= 65535 and 0 <= tag <= 65535):
        raise ValueError("frame of kind {}, sequence {}, tag {}, {} bytes".format(kind, sequence, tag, len(payload)))
    body = bytearray(count + CHECKSUM)
    put_header(body, kind, sequence, tag)
    body[HEADER:count] = payload
    seal(body, count)
    out = bytearray(WIRE)
    end = stuff(body, count + CHECKSUM, out, 0)
    return bytes(out[:end])


def put_header(body: bytearray, kind: int, sequence: int, tag: int) -> None:
    """Write a frame's header to the start of ``body``."""
    body[0] = kind
    body[1] = sequence & 255
    body[2] = sequence >> 8
    body[3] = tag & 255
    body[4] = tag >> 8
