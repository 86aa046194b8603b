"""Records inside a moves frame: ramps, pen actions, rests, the end.

**Format.**  A payload begins with two bytes of four-bit numbers: ``ka | kb << 4`` and ``kv | mode << 4``.  Then come
records as one string of bits, first bit in the highest place; the last byte is filled up with zeros.  All numbers
are exponential Golomb codes of an order that suits the frame (Teuhola, "A compression method for clustered
bit-vectors", Information Processing Letters 7(6), 1978): to write ``u >= 0`` in order ``k``, let ``n`` be the bit
length of ``u + 2^k``; write ``n - 1 - k`` zeros, then ``u + 2^k`` in ``n`` bits.  Signed numbers are folded first:
``0, -1, 1, -2 ..`` become ``0, 1, 2, 3 ..``.

* ramp: ``da`` in order ``ka``, ``db`` in order ``kb``, change of the end speed against the previous record's in order
  ``kv``.  In mode 1 the change is one bit: 0 for none, or 1 and then the folded change less 1.
* anything else: ``da = db = 0``, which no ramp has, then two bits of kind: 1 pen (servo pulse in us, 12 bits; dwell in
  ms, 13 bits), 0 the pen action before the last one again (pens go down and up by turns), 2 rest (ticks of 200 ns,
  26 bits), 3 end.  All of them leave the speed at 0.

Records end where fewer than eight bits are left and all of them are zero; no record looks like that, because the code
of ``da`` holds a one.  The speed before a payload's first record and the last two pen actions are carried over from the
payload before it: frames arrive once and in order.  A program begins, and is carried on, from rest and with none.

Why order by frame: ramps within one frame come from one place of one drawing and look alike; two bytes of orders
bring nearly all that adaptive orders would, and the decoder has next to no history.
"""

from array import array

from linewire.compat import const, micropython, ptr8, ptr32
from linewire.messages import RATE, RECORDS_ROOM

RAMP = const(0)
PEN = const(1)
REST = const(2)
END = const(3)
# On the wire only: the pen action before the last one again.
AGAIN = const(0)
# What `read_record` says when there is no record.
NOTHING = const(4)
BAD = const(5)

MAX_STEPS = const(16383)  # per ramp and motor
MAX_SPEED = RATE
SERVO_LOW_US = const(500)
SERVO_HIGH_US = const(2500)
MAX_DWELL_MS = const(8191)
MAX_REST_TICKS = const((1 << 26) - 1)
HIGHEST_ORDER = const(15)
HEADER = const(2)
# The encoder fits the orders to this many records from the frame's first on, about what one frame holds.
WINDOW = const(64)

# State of the decoder.  Only the outputs may be negative: the Unix build's viper reads 32-bit cells as unsigned.
D_FIRST = const(0)  # out: da, servo_us or ticks
D_SECOND = const(1)  # out: db or dwell_ms
D_SPEED = const(2)  # out: path speed at the end of the record read last, steps/s; carried to the next
_AT = const(3)  # next byte
_END = const(4)
_BITS = const(5)  # bits not yet used, right-aligned
_HAVE = const(6)  # how many of them
_KA = const(7)  # orders, and the mode behind them
_KB = const(8)
_KV = const(9)
_MODE = const(10)
_SERVO = const(11)  # last pen action, us and ms; 0 = none yet
_DWELL = const(12)
_SERVO_BEFORE = const(13)  # the one before it
_DWELL_BEFORE = const(14)


def new_state() -> "array[int]":
    """State of a decoder at rest."""
    return array("i", [0] * 15)


def rest(state: "array[int]") -> None:
    """A program begins or is carried on: the next payload's first record starts from speed 0."""
    state[D_SPEED] = 0
    state[_SERVO] = 0
    state[_SERVO_BEFORE] = 0


def open_payload(state: "array[int]", data: "bytes | bytearray | memoryview", at: int, end: int) -> bool:
    """Begin with the records in ``data[at:end]``; False if that cannot be a payload."""
    if end - at <= HEADER or data[at + 1] > 31:
        state[_AT] = state[_END] = state[_HAVE] = state[_BITS] = 0
        return False
    state[_KA] = data[at] & 15
    state[_KB] = data[at] >> 4
    state[_KV] = data[at + 1] & 15
    state[_MODE] = data[at + 1] >> 4
    state[_AT] = at + HEADER
    state[_END] = end
    state[_BITS] = 0
    state[_HAVE] = 0
    return True


@micropython.viper
def read_record(state: ptr32, data: ptr8) -> int:
    """The next record: its kind, with its numbers in ``state[D_*]``; NOTHING at the end, BAD for what cannot be.

    Reads nothing outside the payload that was opened, whatever the bytes.  After BAD the payload is used up.
    """
    at = int(state[_AT])
    end = int(state[_END])
    bits = int(state[_BITS])
    have = int(state[_HAVE])
    first = 0
    second = 0
    change = 0
    kind = 0
    field = 0
    # Fields in turn: 0 da, 1 db, 2 change of speed; 3 is what follows da = db = 0.
    while field < 3:
        order = int(state[_KA + field])
        value = 0
        plain = 0
        if field == 2 and int(state[_MODE]) != 0:
            if have == 0:
                if at == end:
                    kind = 5
                    break
                bits = int(data[at])
                at += 1
                have = 8
            have -= 1
            plain = 1 - ((bits >> have) & 1)
            value = 1 - plain
        if plain == 0:
            # Zeros up to the first one.
            zeros = 0
            found = 0
            while True:
                if have == 0:
                    if at == end:
                        break
                    bits = int(data[at])
                    at += 1
                    have = 8
                have -= 1
                if (bits >> have) & 1:
                    found = 1
                    break
                zeros += 1
                if zeros > 18:
                    break
            bits &= (1 << have) - 1
            wanted = zeros + order
            # The longest, 2 * 131071 + 2^15, takes 19 bits with its leading one.
            if found == 0 or wanted > 18:
                kind = 5
                if field == 0 and zeros < 8:
                    # Only the filling of the last byte.
                    kind = 4
                break
            while have < wanted and at < end:
                bits = (bits << 8) | int(data[at])
                at += 1
                have += 8
            if have < wanted:
                kind = 5
                break
            have -= wanted
            value += (1 << wanted) - (1 << order) + (bits >> have)
            bits &= (1 << have) - 1
        if value & 1:
            value = -((value + 1) >> 1)
        else:
            value >>= 1
        if field == 0:
            first = value
        elif field == 1:
            second = value
            if first == 0 and value == 0:
                field = 2
                kind = 1
        else:
            change = value
        field += 1
    if kind == 1:
        # 2 bits of kind, then 25, 26 or none.
        while have < 2 and at < end:
            bits = (bits << 8) | int(data[at])
            at += 1
            have += 8
        if have < 2:
            kind = 5
        else:
            have -= 2
            kind = bits >> have
            bits &= (1 << have) - 1
            wanted = 0
            if kind == 1:
                wanted = 12
            elif kind == 2:
                wanted = 13
            # The number in two parts of 12 + 13 or 13 + 13 bits.
            while have < wanted and at < end:
                bits = (bits << 8) | int(data[at])
                at += 1
                have += 8
            if have < wanted:
                kind = 5
            elif wanted != 0:
                have -= wanted
                first = bits >> have
                bits &= (1 << have) - 1
                while have < 13 and at < end:
                    bits = (bits << 8) | int(data[at])
                    at += 1
                    have += 8
                if have < 13:
                    kind = 5
                else:
                    have -= 13
                    second = bits >> have
                    bits &= (1 << have) - 1
            if kind == 0:
                kind = 1
                first = int(state[_SERVO_BEFORE])
                second = int(state[_DWELL_BEFORE])
            if kind == 1:
                if first < 500 or first > 2500:
                    kind = 5
                else:
                    state[_SERVO_BEFORE] = state[_SERVO]
                    state[_DWELL_BEFORE] = state[_DWELL]
                    state[_SERVO] = first
                    state[_DWELL] = second
            elif kind == 2:
                first = (first << 13) | second
                second = 0
        state[D_SPEED] = 0
    elif kind == 0:
        before = int(state[D_SPEED])
        speed = before + change
        if first > 16383 or first < -16383 or second > 16383 or second < -16383:
            kind = 5
        elif speed < 0 or speed > 131071 or speed + before == 0:
            kind = 5
        else:
            state[D_SPEED] = speed
    if kind == 5:
        at = end
        have = 0
        bits = 0
    state[D_FIRST] = first
    state[D_SECOND] = second
    state[_AT] = at
    state[_BITS] = bits
    state[_HAVE] = have
    return kind


def fold(value: int) -> int:
    """0, -1, 1, -2, .. as 0, 1, 2, 3, .."""
    return 2 * value if value >= 0 else -2 * value - 1


def code_length(number: int, order: int) -> int:
    """Bits of ``number`` >= 0 in an exponential Golomb code."""
    return 2 * _bit_length(number + (1 << order)) - 1 - order


def _bit_length(number: int) -> int:
    # int.bit_length is missing on MicroPython.
    length = 0
    while number:
        number >>= 1
        length += 1
    return length


class RecordError(ValueError):
    """A record cannot be written: ``index`` of the record, and what is wrong with it in the message."""

    def __init__(self, index: int, message: str) -> None:
        super().__init__("record {}: {}".format(index, message))
        self.index = index


def check_record(index: int, record: "tuple[int, int, int, int]", speed: int) -> None:
    """Refuse a record that does not fit the format.  ``speed`` is the one before it.

    Raises
    ------
    RecordError
    """
    kind, first, second, v_end = record
    if kind == RAMP:
        if not (-MAX_STEPS <= first <= MAX_STEPS and -MAX_STEPS <= second <= MAX_STEPS):
            raise RecordError(index, "{}, {} steps are more than {} per ramp".format(first, second, MAX_STEPS))
        if first == 0 and second == 0:
            raise RecordError(index, "a ramp without steps")
        if not 0 <= v_end <= MAX_SPEED:
            raise RecordError(index, "end speed {} is outside 0..{} steps/s".format(v_end, MAX_SPEED))
        if v_end + speed == 0:
            raise RecordError(index, "a ramp that starts and ends at rest would never end")
    elif kind == PEN:
        if not SERVO_LOW_US <= first <= SERVO_HIGH_US:
            raise RecordError(index, "servo pulse {} is outside {}..{} us".format(first, SERVO_LOW_US, SERVO_HIGH_US))
        if not 0 <= second <= MAX_DWELL_MS:
            raise RecordError(index, "dwell {} is outside 0..{} ms".format(second, MAX_DWELL_MS))
    elif kind == REST:
        if not 0 <= first <= MAX_REST_TICKS:
            raise RecordError(index, "rest {} is outside 0..{} ticks".format(first, MAX_REST_TICKS))
    elif kind != END:
        raise RecordError(index, "unknown kind {}".format(kind))


def encode_payload(
    records: "list[tuple[int, int, int, int]]", start: int, begin: int = 0, room: int = RECORDS_ROOM
) -> "tuple[bytes, int]":
    """One payload with as many records as fit: (payload, index of the next record).

    ``begin`` is the record that the program began, or was carried on, with.

    A record is ``(kind, first, second, v_end)``: da, db and end speed of a ramp; servo_us, dwell_ms, 0 of a pen action;
    ticks, 0, 0 of a rest; zeros for the end.  This is the plain encoder that both interpreters run; the host's
    vectorised one, `linewright.wirepack`, gives the same bytes.

    >>> payload, following = encode_payload([(0, 3, -2, 500), (3, 0, 0, 0)], 0)
    >>> payload.hex(), following
    ('000a393f4780', 2)

    Raises
    ------
    RecordError : a record does not fit the format.
    """
    speed, pens = _history(records, start, begin)
    ka, kb, kv, mode = _choose_orders(records, start, speed)
    out = bytearray([ka | kb << 4, kv | mode << 4])
    bits = 0
    have = 0
    left = (room - HEADER) * 8
    index = start
    while index < len(records):
        record = records[index]
        check_record(index, record, speed)
        kind, first, second, v_end = record
        if kind == RAMP:
            codes = [_code(fold(first), ka), _code(fold(second), kb)]
            change = fold(v_end - speed)
            if mode == 0:
                codes.append(_code(change, kv))
            elif change == 0:
                codes.append((0, 1))
            else:
                codes.append((1, 1))
                codes.append(_code(change - 1, kv))
        else:
            codes = [_code(0, ka), _code(0, kb)]
            if kind == PEN and (first, second) == pens[0]:
                codes.append((AGAIN, 2))
            elif kind == PEN:
                codes += [(kind, 2), (first, 12), (second, 13)]
            elif kind == REST:
                codes += [(kind, 2), (first >> 13, 13), (first & 8191, 13)]
            else:
                codes.append((kind, 2))
            v_end = 0
        for _, length in codes:
            left -= length
        if left < 0:
            break
        for value, length in codes:
            bits = bits << length | value
            have += length
            while have >= 8:
                have -= 8
                out.append(bits >> have & 255)
                bits &= (1 << have) - 1
        if kind == PEN:
            pens = (pens[1], (first, second))
        speed = v_end
        index += 1
    if have:
        out.append(bits << (8 - have) & 255)
    return bytes(out), index


def _history(
    records: "list[tuple[int, int, int, int]]", start: int, begin: int
) -> "tuple[int, tuple[tuple[int, int], tuple[int, int]]]":
    """What the decoder knows before record ``start``: the speed, and the last two pen actions, older first."""
    pens: list[tuple[int, int]] = []
    index = start
    while index > begin and len(pens) < 2:
        index -= 1
        if records[index][0] == PEN:
            pens.append((records[index][1], records[index][2]))
    pens += [(0, 0)] * (2 - len(pens))
    speed = records[start - 1][3] if start > begin and records[start - 1][0] == RAMP else 0
    return speed, (pens[1], pens[0])


def _code(number: int, order: int) -> "tuple[int, int]":
    return number + (1 << order), code_length(number, order)


def _choose_orders(records: "list[tuple[int, int, int, int]]", start: int, speed: int) -> "tuple[int, int, int, int]":
    """Orders and mode that make the next WINDOW records shortest; the smaller order, and mode 0, where equal."""
    window = records[start : start + WINDOW]
    a = []
    b = []
    v = []
    for kind, first, second, v_end in window:
        if kind == RAMP:
            a.append(fold(first))
            b.append(fold(second))
            v.append(fold(v_end - speed))
            speed = v_end
        else:
            a.append(0)
            b.append(0)
            speed = 0
    kv, plain = _best_order(v)
    kv_flagged, flagged = _best_order([change - 1 for change in v if change])
    if flagged + len(v) < plain:
        return _best_order(a)[0], _best_order(b)[0], kv_flagged, 1
    return _best_order(a)[0], _best_order(b)[0], kv, 0


def _best_order(numbers: "list[int]") -> "tuple[int, int]":
    best = 0
    shortest = -1
    for order in range(HIGHEST_ORDER + 1):
        total = 0
        for number in numbers:
            total += code_length(number, order)
        if shortest < 0 or total < shortest:
            best = order
            shortest = total
    return best, shortest
