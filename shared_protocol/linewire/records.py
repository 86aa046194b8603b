"""Records inside a moves frame: ramps, pen actions, rests, the end.

**Format.**  A payload begins with three bytes of four-bit numbers: ``ka | kb << 4``, ``kv | kr << 4``, ``mode``.  Then
come records as one string of bits, first bit in the highest place; the last byte is filled up with zeros.  Numbers are
exponential Golomb codes of an order that suits the frame (Teuhola, "A compression method for clustered bit-vectors",
Information Processing Letters 7(6), 1978): to write ``u >= 0`` in order ``k``, let ``n`` be the bit length of
``u + 2^k``; write ``n - 1 - k`` zeros, then ``u + 2^k`` in ``n`` bits.  Signed numbers are folded first:
``0, -1, 1, -2 ..`` become ``0, 1, 2, 3 ..``.

1. Where the record before ended at speed 0, and at the start, one bit: 0 ramp, 1 anything else.  While the path moves
   there is no such bit; anything but a ramp then begins with ``da = db = 0``, written as a ramp's would be.
2. A ramp: ``da`` in order ``ka``, ``db`` in order ``kb``, both folded; in mode bit 0 the differences to the last ramp.
   Then its end speed ``v``.  From rest: ``v - 1`` in order ``kr``.  Otherwise the folded change in order ``kv``; in
   mode bit 1 instead 0 and then the folded change less 1, or 10 for no change, or 11 for an end at rest.
3. Anything else: two bits of kind.  1 pen: servo pulse in us, 12 bits; dwell in ms, 13 bits.  0: the pen action before
   the last one again (pens go down and up by turns).  2 rest: ticks of 200 ns, 26 bits.  3 end.  A pen action without
   dwell is made in passing, to follow the paper's height along a stroke: the path keeps its speed, so what comes next
   is coded as if it had not been there, and "again" does not count it.

Records end where fewer than eight bits are left and all of them are zero; no record looks like that, because the code
of ``da`` holds a one.  The speed, the displacement of the last ramp and the last two pen actions are carried over from
the payload before: frames arrive once and in order.  A program begins, and is carried on, from rest, with a last
displacement of 0, 0 and no pen actions.

Why orders by frame: ramps within one frame come from one place of one drawing and look alike; three bytes of orders
bring nearly all that adaptive orders would, and the decoder has next to no history.

More than 500 lines, because the plain encoder stands beside the decoder that it must agree with to the bit.
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
HEADER = const(3)
# Most records in one payload: a ramp takes at least a bit for each of its three numbers.
MOST = (RECORDS_ROOM - HEADER) * 8 // 3
# The encoder fits the orders to this many records from the frame's first on, about what one frame holds.
WINDOW = const(64)

# Bits of the mode.
DIFFERENCES = const(1)
SHORT_SPEEDS = const(2)

# State of the decoder.  Only the outputs may be negative: the Unix build's viper reads 32-bit cells as unsigned.
D_FIRST = const(0)  # out: da, servo_us or ticks
D_SECOND = const(1)  # out: db or dwell_ms
D_SPEED = const(2)  # out: path speed at the end of the record read last, steps/s; carried to the next
_AT = const(3)  # next byte
_END = const(4)
_BITS = const(5)  # bits not yet used, right-aligned
_HAVE = const(6)  # how many of them
_ORDERS = const(7)  # four cells: ka, kb, kv, kr
_MODE = const(11)
_SERVO = const(12)  # last pen action with a dwell, us and ms; 0 = none yet
_DWELL = const(13)
_SERVO_BEFORE = const(14)  # the one before it
_DWELL_BEFORE = const(15)
_DA = const(16)  # last ramp, plus _OFFSET
_DB = const(17)
_SIZE = const(18)
_OFFSET = const(16384)


def new_state() -> "array[int]":
    """State of a decoder at rest."""
    state = array("i", [0] * _SIZE)
    rest(state)
    return state


def rest(state: "array[int]") -> None:
    """A program begins or is carried on: the next payload knows nothing of what was before."""
    state[D_SPEED] = 0
    state[_SERVO] = 0
    state[_SERVO_BEFORE] = 0
    state[_DA] = _OFFSET
    state[_DB] = _OFFSET


def open_payload(state: "array[int]", data: "bytes | bytearray | memoryview", at: int, end: int) -> bool:
    """Begin with the records in ``data[at:end]``; False if that cannot be a payload."""
    if end - at <= HEADER or data[at + 2] > 3:
        state[_AT] = state[_END] = state[_HAVE] = state[_BITS] = 0
        return False
    state[_ORDERS] = data[at] & 15
    state[_ORDERS + 1] = data[at] >> 4
    state[_ORDERS + 2] = data[at + 1] & 15
    state[_ORDERS + 3] = data[at + 1] >> 4
    state[_MODE] = data[at + 2]
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
    before = int(state[D_SPEED])
    mode = int(state[_MODE])
    first = 0
    second = 0
    speed = 0
    kind = 0
    lead = 0
    special = 0
    if before == 0:
        if have == 0 and at < end:
            bits = int(data[at])
            at += 1
            have = 8
        if have == 0:
            kind = 4
        else:
            have -= 1
            lead = 1
            special = (bits >> have) & 1
    field = 0
    # Fields of a ramp in turn: 0 da, 1 db, 2 end speed.
    while kind == 0 and special == 0 and field < 3:
        order = int(state[_ORDERS + field])
        value = 0
        coded = 1
        if field == 2:
            if before == 0:
                order = int(state[_ORDERS + 3])
            elif mode & 2:
                value = 1
                while have < 2 and at < end:
                    bits = (bits << 8) | int(data[at])
                    at += 1
                    have += 8
                if have == 0:
                    kind = 5
                    break
                have -= 1
                if (bits >> have) & 1:
                    if have == 0:
                        kind = 5
                        break
                    have -= 1
                    coded = 0
                    speed = before
                    if (bits >> have) & 1:
                        speed = 0
                bits &= (1 << have) - 1
        if coded:
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
                if field == 0 and found == 0 and zeros + lead < 8:
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
            if field == 2 and before == 0:
                speed = value + 1
            else:
                if value & 1:
                    value = -((value + 1) >> 1)
                else:
                    value >>= 1
                if field == 2:
                    speed = before + value
                elif field == 0:
                    first = value
                    if mode & 1:
                        first += int(state[_DA]) - 16384
                else:
                    second = value
                    if mode & 1:
                        second += int(state[_DB]) - 16384
                    if first == 0 and second == 0:
                        special = 1
                        if before == 0:
                            kind = 5
        field += 1
    if kind == 0 and special == 0:
        if first > 16383 or first < -16383 or second > 16383 or second < -16383:
            kind = 5
        elif speed < 0 or speed > 131071:
            kind = 5
        else:
            state[D_SPEED] = speed
            state[_DA] = first + 16384
            state[_DB] = second + 16384
    elif kind == 0:
        # 2 bits of kind, then 25, 26 or none.
        while have < 2 and at < end:
            bits = (bits << 8) | int(data[at])
            at += 1
            have += 8
        if have < 2:
            kind = 5
        else:
            have -= 2
            kind = (bits >> have) & 3
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
                elif second != 0:
                    state[_SERVO_BEFORE] = state[_SERVO]
                    state[_DWELL_BEFORE] = state[_DWELL]
                    state[_SERVO] = first
                    state[_DWELL] = second
            elif kind == 2:
                first = (first << 13) | second
                second = 0
            if kind != 1 or second != 0:
                state[D_SPEED] = 0
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
    """Refuse a record that does not fit the format.  ``speed`` is the one at its start.

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
    vectorised one, `linewright.program.packing`, gives the same bytes.

    >>> payload, following = encode_payload([(0, 30, -2, 500), (0, 30, -2, 0), (3, 0, 0, 0)], 0)
    >>> payload.hex(), following
    ('00900303d27e7fc0', 3)

    Raises
    ------
    RecordError : a record does not fit the format.
    """
    history = _History(records, start, begin)
    orders, mode = _choose(records, start, history)
    out = bytearray([orders[0] | orders[1] << 4, orders[2] | orders[3] << 4, mode])
    bits = 0
    have = 0
    left = (room - HEADER) * 8
    index = start
    while index < len(records):
        record = records[index]
        check_record(index, record, history.speed)
        codes = _codes(record, history, orders, mode)
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
        history.add(record)
        index += 1
    if have:
        out.append(bits << (8 - have) & 255)
    return bytes(out), index


class _History:
    """What the decoder knows before a record."""

    def __init__(self, records: "list[tuple[int, int, int, int]]", start: int, begin: int) -> None:
        self.speed = 0
        self.da = 0
        self.db = 0
        self.pens = ((0, 0), (0, 0))  # the last two pen actions with a dwell, older first
        # Far enough back to meet two pen actions and a ramp; a short program is simply read from its beginning.
        index = start
        seen = 0
        ramps = 0
        while index > begin and (seen < 2 or ramps < 1):
            index -= 1
            seen += records[index][0] == PEN and records[index][2] > 0
            ramps += records[index][0] == RAMP
        while index < start:
            self.add(records[index])
            index += 1

    def add(self, record: "tuple[int, int, int, int]") -> None:
        kind, first, second, v_end = record
        if kind == RAMP:
            self.speed = v_end
            self.da = first
            self.db = second
        elif kind != PEN or second:
            self.speed = 0
            if kind == PEN:
                self.pens = (self.pens[1], (first, second))


def _codes(
    record: "tuple[int, int, int, int]", history: _History, orders: "tuple[int, int, int, int]", mode: int
) -> "list[tuple[int, int]]":
    """One record as (value, bits) pairs."""
    kind, first, second, v_end = record
    codes = []
    if history.speed == 0:
        codes.append((int(kind != RAMP), 1))
    if kind == RAMP or history.speed:
        da, db = (first, second) if kind == RAMP else (0, 0)
        if mode & DIFFERENCES:
            da -= history.da
            db -= history.db
        codes += [_code(fold(da), orders[0]), _code(fold(db), orders[1])]
    if kind == RAMP:
        change = fold(v_end - history.speed)
        if history.speed == 0:
            codes.append(_code(v_end - 1, orders[3]))
        elif not mode & SHORT_SPEEDS:
            codes.append(_code(change, orders[2]))
        elif change == 0:
            codes.append((2, 2))
        elif v_end == 0:
            codes.append((3, 2))
        else:
            codes += [(0, 1), _code(change - 1, orders[2])]
    elif kind == PEN and (first, second) == history.pens[0]:
        codes.append((AGAIN, 2))
    elif kind == PEN:
        codes += [(kind, 2), (first, 12), (second, 13)]
    elif kind == REST:
        codes += [(kind, 2), (first >> 13, 13), (first & 8191, 13)]
    else:
        codes.append((kind, 2))
    return codes


def _code(number: int, order: int) -> "tuple[int, int]":
    return number + (1 << order), code_length(number, order)


def _choose(
    records: "list[tuple[int, int, int, int]]", start: int, history: _History
) -> "tuple[tuple[int, int, int, int], int]":
    """Orders and mode that make the next WINDOW records shortest; the smaller where equal.

    Raises
    ------
    RecordError : one of these records does not fit the format.
    """
    plain: tuple[list[int], list[int]] = ([], [])
    differences: tuple[list[int], list[int]] = ([], [])
    from_rest = []
    changes = []
    others = []
    short = 0
    speed, da, db = history.speed, history.da, history.db
    index = start
    for record in records[start : start + WINDOW]:
        # Only numbers within their ranges have code lengths.
        check_record(index, record, speed)
        index += 1
        kind, first, second, v_end = record
        if kind != RAMP:
            if speed:
                plain[0].append(0)
                plain[1].append(0)
                differences[0].append(fold(-da))
                differences[1].append(fold(-db))
            if kind != PEN or second:
                speed = 0
            continue
        plain[0].append(fold(first))
        plain[1].append(fold(second))
        differences[0].append(fold(first - da))
        differences[1].append(fold(second - db))
        if speed == 0:
            from_rest.append(v_end - 1)
        else:
            changes.append(fold(v_end - speed))
            if v_end == speed or v_end == 0:
                short += 2
            else:
                short += 1
                others.append(fold(v_end - speed) - 1)
        speed, da, db = v_end, first, second
    mode = 0
    ka, bits_a = _best_order(plain[0])
    kb, bits_b = _best_order(plain[1])
    ka_less, less_a = _best_order(differences[0])
    kb_less, less_b = _best_order(differences[1])
    if less_a + less_b < bits_a + bits_b:
        ka, kb, mode = ka_less, kb_less, DIFFERENCES
    kv, bits_v = _best_order(changes)
    kv_short, bits_short = _best_order(others)
    if bits_short + short < bits_v:
        kv = kv_short
        mode |= SHORT_SPEEDS
    return (ka, kb, kv, _best_order(from_rest)[0]), mode


def _best_order(numbers: "list[int]") -> "tuple[int, int]":
    """The order that writes the numbers shortest, the smaller where equal, and the bits they take."""
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
