"""The plain encoder of records, counterpart of `linewire.records`, which defines the format.

It is used on the host only, because a board only decodes records. It runs on both interpreters, so that tests on the
board can encode. The host's vectorised encoder, `linewright.program.packing`, gives the same bytes.
"""

from linewire.compat import const
from linewire.messages import RECORDS_ROOM
from linewire.records import (
    AGAIN,
    DIFFERENCES,
    END,
    HEADER,
    HIGHEST_ORDER,
    MAX_DWELL_MS,
    MAX_REST_TICKS,
    MAX_SPEED,
    MAX_STEPS,
    PEN,
    RAMP,
    REST,
    SERVO_HIGH_US,
    SERVO_LOW_US,
    SHORT_SPEEDS,
)

# The orders are chosen for this many records from the frame's first on, about a frame.
WINDOW = const(64)


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
    """A record cannot be encoded: its ``index``, and the reason in the message."""

    def __init__(self, index: int, message: str) -> None:
        super().__init__("record {}: {}".format(index, message))
        self.index = index


def check_record(index: int, record: "tuple[int, int, int, int]", speed: int) -> None:
    """Refuse a record that does not fit the format. ``speed`` is the one at its start.

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

    ``begin`` is the record with which the program started or was resumed.

    A record is ``(kind, first, second, v_end)``: da, db and end speed of a ramp; servo_us, dwell_ms, 0 of a pen action;
    ticks, 0, 0 of a rest; zeros for the end. Runs on both interpreters.

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
    """The decoder's state before a record."""

    def __init__(self, records: "list[tuple[int, int, int, int]]", start: int, begin: int) -> None:
        self.speed = 0
        self.da = 0
        self.db = 0
        self.pens = ((0, 0), (0, 0))  # the last two pen actions with dwell, older first
        # Go back far enough to meet two pen actions and a ramp, or to the start of a short program.
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
    """Orders and mode that make the next WINDOW records shortest; the smaller ones in case of a tie.

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
        # Code lengths are defined only for numbers within their ranges.
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
    """The order that encodes the numbers in the fewest bits (the smaller in case of a tie), and the bits."""
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
