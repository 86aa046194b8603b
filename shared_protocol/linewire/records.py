"""Records inside a moves frame: ramps, pen actions, rests, the end.

**Format.**  A payload begins with three bytes of four-bit numbers: ``ka | kb << 4``, ``kv | kr << 4``, ``mode``.  The
records follow as a bit string, most significant bit first; the last byte is padded with zeros. Numbers are
exponential Golomb codes of an order chosen per frame (Teuhola, "A compression method for clustered bit-vectors",
Information Processing Letters 7(6), 1978): to write ``u >= 0`` in order ``k``, let ``n`` be the bit length of
``u + 2^k``; write ``n - 1 - k`` zeros, then ``u + 2^k`` in ``n`` bits.  Signed numbers are folded first:
``0, -1, 1, -2 ..`` become ``0, 1, 2, 3 ..``.

1. At the start, and if the previous record ended at speed 0, one bit: 0 ramp, 1 other record. While the path moves
   this bit is absent; a record other than a ramp then begins with ``da = db = 0``, coded as in a ramp.
2. A ramp: ``da`` in order ``ka``, ``db`` in order ``kb``, both folded; in mode bit 0 the differences to the last ramp.
   Then its end speed ``v``.  From rest: ``v - 1`` in order ``kr``.  Otherwise the folded change in order ``kv``; in
   mode bit 1 instead 0 and then the folded change less 1, or 10 for no change, or 11 for an end at rest.
3. Other records: two bits of kind. 1 pen: servo pulse in us, 12 bits; dwell in ms, 13 bits.  0: repeat the pen action
   before the last one (pen-down and pen-up alternate).  2 rest: ticks of 200 ns, 26 bits.  3 end.  A pen action without
   dwell is made in passing, to follow the paper's height along a stroke: the path keeps its speed, so the next
   record is coded as if it were absent, and kind 0 ignores it.

The records end when fewer than eight bits are left and all of them are zero; no record looks like that, because the
code of ``da`` contains a one. The speed, the displacement of the last ramp and the last two pen actions carry over
from the previous payload: frames arrive once and in order. A program starts and resumes at rest, with a last
displacement of 0, 0 and no pen actions.

Orders are chosen per frame because ramps within a frame are similar; this is nearly as compact as adaptive orders, and
the decoder needs almost no state.

This module is installed on the board, so it contains only the decoder; the encoder is `linewire.encoding`.
"""

from array import array

from linewire.compat import const, micropython, ptr8, ptr32
from linewire.messages import RATE, RECORDS_ROOM

RAMP = const(0)
PEN = const(1)
REST = const(2)
END = const(3)
# On the wire only: repeats the last but one pen action.
AGAIN = const(0)
# How `read_records` ended: no records left, payload damaged, no room for the next record, or the requested number read.
NOTHING = const(4)
BAD = const(5)
FULL = const(6)
MORE = const(7)

MAX_STEPS = const(16383)  # per ramp and motor
MAX_SPEED = RATE
SERVO_LOW_US = const(500)
SERVO_HIGH_US = const(2500)
MAX_DWELL_MS = const(8191)
MAX_REST_TICKS = const((1 << 26) - 1)
HIGHEST_ORDER = const(15)
HEADER = const(3)
# Most records in one payload: a ramp takes at least a bit for each of its three numbers.
MOST = (RECORDS_ROOM - HEADER) * 8 // 3

# Bits of the mode.
DIFFERENCES = const(1)
SHORT_SPEEDS = const(2)

# How a record lies in memory, in the same place of two arrays of 32 bits, all of it positive and below 2^30:
#   values   kind << 28 | number: a ramp's end speed, a pen action's dwell in ms, or a rest's ticks
#   places   a ramp's (da + 2^14) << 15 | db + 2^14, or a pen action's servo pulse in us
KIND_SHIFT = const(28)
NUMBER_MASK = const((1 << 28) - 1)
PLACE_SHIFT = const(15)
PLACE_MASK = const(32767)
PLACE_ZERO = const(16384)

# State of the decoder. No cell is negative, because the Unix build's viper reads 32-bit cells as unsigned.
D_SLOT = const(0)  # in, out: slot of the next record
D_MASK = const(1)  # in: size of the two arrays, a power of two, less one; slots wrap around
D_COUNT = const(2)  # out: records read by the last call
_SPEED = const(3)  # path speed at the end of the record read last, steps/s
_AT = const(4)  # next byte
_END = const(5)
_BITS = const(6)  # bits not yet used, right-aligned: at most 30
_HAVE = const(7)  # how many of them
_ORDERS = const(8)  # four cells: ka, kb, kv, kr
_MODE = const(12)
_SERVO = const(13)  # last pen action with dwell, us and ms; 0 = none yet
_DWELL = const(14)
_SERVO_BEFORE = const(15)  # the one before it
_DWELL_BEFORE = const(16)
_DA = const(17)  # last ramp, plus PLACE_ZERO
_DB = const(18)
_SIZE = const(19)

# Zeros in front of the highest one of a byte.
_ZEROS = bytes([8] + [7] * 1 + [6] * 2 + [5] * 4 + [4] * 8 + [3] * 16 + [2] * 32 + [1] * 64 + [0] * 128)


def new_state(mask: int = 0) -> "array[int]":
    """State of a decoder at rest; ``mask``: size of the arrays to fill, less one."""
    state = array("i", [0] * _SIZE)
    state[D_MASK] = mask
    rest(state)
    return state


def rest(state: "array[int]") -> None:
    """Reset for a program that starts or is resumed: the next payload does not depend on earlier ones."""
    state[_SPEED] = 0
    state[_SERVO] = 0
    state[_SERVO_BEFORE] = 0
    state[_DA] = PLACE_ZERO
    state[_DB] = PLACE_ZERO


def open_payload(state: "array[int]", data: "bytes | bytearray | memoryview", at: int, end: int) -> bool:
    """Start with the records in ``data[at:end]``; False if that cannot be a payload."""
    state[_BITS] = state[_HAVE] = 0
    if end - at <= HEADER or data[at + 2] > 3:
        state[_AT] = state[_END] = 0
        return False
    state[_ORDERS] = data[at] & 15
    state[_ORDERS + 1] = data[at] >> 4
    state[_ORDERS + 2] = data[at + 1] & 15
    state[_ORDERS + 3] = data[at + 1] >> 4
    state[_MODE] = data[at + 2]
    state[_AT] = at + HEADER
    state[_END] = end
    return True


@micropython.viper
def read_records(state: ptr32, data: ptr8, values: ptr32, places: ptr32, most: int) -> int:
    """Read up to ``most`` records of the opened payload into the two arrays; returns how it ended.

    With ``most`` 0 the next record is read but not stored: FULL if there is one. For any bytes, it reads nothing
    outside the payload and writes nothing outside the arrays. After BAD the payload is used up.

    A window of up to 30 bits is refilled by whole bytes; a code has at most 19 bits up to its leading one and 18 after.
    """
    zeros_of = ptr8(_ZEROS)
    slot = int(state[D_SLOT])
    mask = int(state[D_MASK])
    at = int(state[_AT])
    end = int(state[_END])
    bits = int(state[_BITS])
    have = int(state[_HAVE])
    before = int(state[_SPEED])
    mode = int(state[_MODE])
    da = int(state[_DA])
    db = int(state[_DB])
    count = 0
    ended = 0
    while ended == 0:
        if count == most and most > 0:
            ended = 7
            break
        while have < 23 and at < end:
            bits = (bits << 8) | int(data[at])
            at += 1
            have += 8
        kind = 0
        lead = 0
        special = 0
        first = 0
        second = 0
        speed = 0
        if before == 0:
            if have == 0:
                ended = 4
                break
            have -= 1
            lead = 1
            special = bits >> have
            bits -= special << have
        field = 0
        # Fields of a ramp in turn: 0 da, 1 db, 2 end speed.
        while special == 0 and field < 3:
            value = 0
            coded = 1
            order = int(state[_ORDERS + field])
            while have < 23 and at < end:
                bits = (bits << 8) | int(data[at])
                at += 1
                have += 8
            if field == 2:
                if before == 0:
                    order = int(state[_ORDERS + 3])
                elif mode & 2:
                    value = 1
                    if have == 0:
                        ended = 5
                        break
                    have -= 1
                    if bits >> have:
                        bits -= 1 << have
                        if have == 0:
                            ended = 5
                            break
                        have -= 1
                        coded = 0
                        speed = before
                        if bits >> have:
                            bits -= 1 << have
                            speed = 0
            if coded:
                if bits == 0:
                    # No 1 bit within the window, or none up to the end: padding of the last byte, or damage.
                    ended = 5
                    if field == 0 and at == end and have + lead < 8:
                        ended = 4
                    break
                left = have
                while left >= 8 and bits >> (left - 8) == 0:
                    left -= 8
                if left >= 8:
                    left -= int(zeros_of[bits >> (left - 8)])
                else:
                    left -= int(zeros_of[bits << (8 - left)])
                wanted = have - left + order
                have = left - 1
                bits -= 1 << have
                # The longest number, 2 * 131071 + 2^15, takes 19 bits with its leading one.
                if wanted > 18:
                    ended = 5
                    break
                while have < wanted and at < end:
                    bits = (bits << 8) | int(data[at])
                    at += 1
                    have += 8
                if have < wanted:
                    ended = 5
                    break
                have -= wanted
                part = bits >> have
                bits -= part << have
                value += (1 << wanted) - (1 << order) + part
                if field == 2 and before == 0:
                    speed = value + 1
                else:
                    if value & 1:
                        value = 0 - ((value + 1) >> 1)
                    else:
                        value >>= 1
                    if field == 2:
                        speed = before + value
                    elif field == 0:
                        first = value
                        if mode & 1:
                            first += da - PLACE_ZERO
                    else:
                        second = value
                        if mode & 1:
                            second += db - PLACE_ZERO
                        if first == 0 and second == 0:
                            special = 1
                            if before == 0:
                                ended = 5
                                break
            field += 1
        if ended == 0 and special == 0:
            if first > 16383 or first < -16383 or second > 16383 or second < -16383:
                ended = 5
            elif speed < 0 or speed > 131071:
                ended = 5
            else:
                before = speed
                da = first + PLACE_ZERO
                db = second + PLACE_ZERO
                first = (da << PLACE_SHIFT) | db
        elif ended == 0:
            # 2 bits of kind, then 25, 26 or none.
            while have < 23 and at < end:
                bits = (bits << 8) | int(data[at])
                at += 1
                have += 8
            if have < 2:
                ended = 5
                break
            have -= 2
            kind = bits >> have
            bits -= kind << have
            wanted = 0
            if kind == 1:
                wanted = 12
            elif kind == 2:
                wanted = 13
            if wanted != 0:
                # The number in two parts of 12 + 13 or 13 + 13 bits.
                if have < wanted:
                    ended = 5
                    break
                have -= wanted
                first = bits >> have
                bits -= first << have
                while have < 13 and at < end:
                    bits = (bits << 8) | int(data[at])
                    at += 1
                    have += 8
                if have < 13:
                    ended = 5
                    break
                have -= 13
                speed = bits >> have
                bits -= speed << have
            if kind == 0:
                kind = 1
                first = int(state[_SERVO_BEFORE])
                speed = int(state[_DWELL_BEFORE])
            if kind == 1:
                if first < 500 or first > 2500:
                    ended = 5
                    break
                if speed != 0:
                    state[_SERVO_BEFORE] = state[_SERVO]
                    state[_DWELL_BEFORE] = state[_DWELL]
                    state[_SERVO] = first
                    state[_DWELL] = speed
            elif kind == 2:
                speed |= first << 13
                first = 0
            if kind != 1 or speed != 0:
                before = 0
        if ended == 0:
            if count == most:
                ended = 6
            else:
                values[slot] = (kind << KIND_SHIFT) | speed
                places[slot] = first
                slot = (slot + 1) & mask
                count += 1
    if ended == 5:
        at = end
        have = 0
        bits = 0
    state[D_SLOT] = slot
    state[D_COUNT] = count
    state[_SPEED] = before
    state[_AT] = at
    state[_BITS] = bits
    state[_HAVE] = have
    state[_DA] = da
    state[_DB] = db
    return ended
