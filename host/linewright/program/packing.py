"""Payloads of moves messages for whole programs, vectorised: the same bytes as `linewire.encoding.encode_payload`, much
faster.

`linewire.records` and SPEC.md define the format. All code lengths of a block of records are computed at once for all
orders. The best orders of a frame then follow from differences of running sums, and a binary search finds where the
frame is full. The bits of all records are written together at the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from linewire.encoding import WINDOW, RecordError, check_record
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

_Ints = NDArray[np.int64]
_Numbers = NDArray[np.int32]

_ORDERS = HIGHEST_ORDER + 1
# Running sums for all orders take 7 x 16 int32 per record, 450 bytes; blocks of this many records keep that at 15 MB.
_BLOCK = 32_768
# Frames whose bits are written at once: about 40 000 records, 18 MB of working memory.
_FRAMES = 500
# Bits of each kind other than ramps: two for the kind, then the numbers.
_OTHER_BITS = np.zeros(4, dtype=np.int64)
_OTHER_BITS[[AGAIN, PEN, REST, END]] = 2, 27, 28, 2


@dataclass(frozen=True)
class Packed:
    """Records of a program as payloads for moves frames.

    Attributes
    ----------
    data : the payloads, concatenated.
    starts : (f + 1,) int64, offset of each payload in ``data``; the last entry is its length.
    first : (f + 1,) int64, number of each payload's first record; the last entry is one past the last record.
    """

    data: bytes
    starts: _Ints
    first: _Ints

    def __len__(self) -> int:
        return len(self.starts) - 1

    def payload(self, frame: int) -> bytes:
        """Payload of one frame, to be appended to its first record number in a moves message."""
        return self.data[int(self.starts[frame]) : int(self.starts[frame + 1])]


def pack(
    kind: ArrayLike,
    first: ArrayLike,
    second: ArrayLike,
    v_end: ArrayLike,
    *,
    start: int = 0,
    breaks: Sequence[int] = (),
) -> Packed:
    """Pack the records from ``start`` on into payloads, each as full as possible.

    Parameters
    ----------
    kind : (m,) 0 ramp, 1 pen, 2 rest, 3 end.
    first : (m,) int, steps of motor A of a ramp; servo pulse of a pen action, us; ticks of a rest; 0 at the end.
    second : (m,) int, steps of motor B of a ramp; dwell of a pen action, ms; 0 otherwise.
    v_end : (m,) int, path speed at the end of a ramp, steps/s; ignored for the other kinds.
    start : first record, before which the pen is at rest.
    breaks : records, ascending, that begin a new payload, so that the records before can be sent without them.

    Raises
    ------
    RecordError : a record does not fit the format; the error names the first one.
    """
    kinds, ones, twos = (np.asarray(column)[start:] for column in (kind, first, second))
    speeds = np.where(kinds == RAMP, np.asarray(v_end)[start:], 0)
    # A pen action in passing keeps the speed of the record before it.
    passing = np.flatnonzero((kinds == PEN) & (twos == 0))
    if len(passing):
        stays = np.arange(len(kinds))
        stays[passing] = -1
        stays = np.maximum.accumulate(stays)
        speeds = np.where(stays >= 0, speeds[stays], 0)
    for low in range(0, len(kinds), _BLOCK):
        block = slice(low, low + _BLOCK)
        before = int(speeds[low - 1]) if low else 0
        _check(
            *(column[block].astype(np.int64) for column in (kinds, ones, twos, speeds)),
            before=before,
            start=start + low,
        )
    rows = _prepare(*(column.astype(np.int32) for column in (kinds, ones, twos, speeds)))
    layout = _lay_out(rows, np.asarray(breaks, dtype=np.int64) - start)
    data: list[bytes] = []
    sizes: list[_Ints] = [np.zeros(1, dtype=np.int64)]
    for low in range(0, len(layout.orders), _FRAMES):
        part = layout.part(low, low + _FRAMES)
        payloads, lengths = _write(rows.part(int(part.first[0]), int(part.first[-1])), part)
        data.append(payloads)
        sizes.append(lengths)
    return Packed(b"".join(data), np.cumsum(np.concatenate(sizes)), layout.first + start)


@dataclass(frozen=True)
class _Rows:
    """Records and the numbers that may encode them, (m,) each."""

    ramp: NDArray[np.bool_]
    code: _Numbers  # kind on the wire
    ones: _Numbers
    twos: _Numbers
    a: _Numbers  # folded displacement (0 for other kinds), and its folded difference to the last ramp's
    b: _Numbers
    a_less: _Numbers
    b_less: _Numbers
    speed: _Numbers
    before: _Numbers
    change: _Numbers  # folded

    def part(self, low: int, high: int) -> _Rows:
        return _Rows(*(getattr(self, field.name)[low:high] for field in fields(self)))


def _prepare(kinds: _Numbers, ones: _Numbers, twos: _Numbers, speeds: _Numbers) -> _Rows:
    ramp = kinds == RAMP
    # Index of the last ramp before each record; -1 for none.
    last = np.empty(len(ramp), dtype=np.int32)
    last[:1] = -1
    np.maximum.accumulate(np.where(ramp, np.arange(len(ramp), dtype=np.int32), -1)[:-1], out=last[1:])
    columns: list[_Numbers] = []
    for column in (ones, twos):
        steps = np.where(ramp, column, 0)
        columns += [_fold(steps), _fold(steps - np.where(last >= 0, steps[last], 0))]
    a, a_less, b, b_less = columns
    before = np.concatenate([np.zeros(1, dtype=np.int32), speeds])[:-1]
    code = np.where(_again(kinds, ones, twos), np.int32(AGAIN), kinds)
    return _Rows(ramp, code, ones, twos, a, b, a_less, b_less, speeds, before, _fold(speeds - before))


def _again(kinds: _Numbers, ones: _Numbers, twos: _Numbers) -> NDArray[np.bool_]:
    """(m,) bool: pen actions equal to the last but one pen action; those in passing are skipped."""
    pens = np.flatnonzero((kinds == PEN) & (twos > 0))
    same = (ones[pens[2:]] == ones[pens[:-2]]) & (twos[pens[2:]] == twos[pens[:-2]])
    out = np.zeros(len(kinds), dtype=bool)
    out[pens[2:][same]] = True
    return out


def _check(kinds: _Ints, ones: _Ints, twos: _Ints, speeds: _Ints, *, before: int, start: int) -> None:
    """Raise for the first record that the format cannot hold, with the message of the plain encoder.

    ``before`` is the speed before the first of these records, ``start`` its number.
    """
    ramp = kinds == RAMP
    earlier = np.concatenate([np.full(1, before), speeds[:-1]])
    steps = np.maximum(np.abs(ones), np.abs(twos))
    good = ramp & (steps >= 1) & (steps <= MAX_STEPS)
    good &= (speeds >= 0) & (speeds <= MAX_SPEED) & (speeds + earlier > 0)
    good |= (kinds == PEN) & (ones >= SERVO_LOW_US) & (ones <= SERVO_HIGH_US) & (twos >= 0) & (twos <= MAX_DWELL_MS)
    good |= (kinds == REST) & (ones >= 0) & (ones <= MAX_REST_TICKS)
    good |= kinds == END
    if not good.all():
        i = int(np.argmin(good))
        check_record(start + i, (int(kinds[i]), int(ones[i]), int(twos[i]), int(speeds[i])), int(earlier[i]))
        raise RecordError(start + i, "does not fit the format")


def _fold(values: _Numbers) -> _Numbers:
    """0, -1, 1, -2, .. as 0, 1, 2, 3, .."""
    return (values << 1) ^ (values >> 31)


_ABSENT = -1


def _code_lengths(most: int) -> NDArray[np.uint8]:
    """(orders, most + 2) bits of each number up to ``most`` in exponential Golomb codes, one row per order; in the last
    column, which is that of number `_ABSENT`, 0.
    """
    numbers = most + 1 + (1 << HIGHEST_ORDER)
    size = np.repeat(np.arange(numbers.bit_length() + 1), [1, *(1 << bits for bits in range(numbers.bit_length()))])
    bits = np.zeros((_ORDERS, most + 2), dtype=np.uint8)
    for order in range(_ORDERS):
        bits[order, :-1] = 2 * size[1 << order : (1 << order) + most + 1] - 1 - order
    return bits


@dataclass(frozen=True)
class _Layout:
    """Frames: (f + 1,) where each begins, (f, 4) its orders ka, kb, kv, kr, (f,) its mode."""

    first: _Ints
    orders: _Ints
    mode: _Ints

    def part(self, low: int, high: int) -> _Layout:
        return _Layout(self.first[low : high + 1], self.orders[low:high], self.mode[low:high])


def _lay_out(rows: _Rows, breaks: _Ints) -> _Layout:
    """Choose frame boundaries, orders and modes by the rule of the plain encoder."""
    count = len(rows.ramp)
    first: list[int] = []
    orders: list[tuple[int, int, int, int]] = []
    modes: list[int] = []
    room = (RECORDS_ROOM - HEADER) * 8
    # A record takes at least 3 bits, which bounds the records of a frame.
    reach = max(room // 3, WINDOW) + 1
    at = 0
    while at < count:
        low = at
        high = min(low + _BLOCK, count)
        block = rows.part(low, high)
        ramp = block.ramp
        stepped = ramp | (block.before > 0)
        moving = ramp & (block.before > 0)
        short = moving & ((block.speed == 0) | (block.speed == block.before))
        other = moving & ~short
        numbers = np.stack(
            (
                np.where(stepped, block.a, _ABSENT),
                np.where(stepped, block.b, _ABSENT),
                np.where(stepped, block.a_less, _ABSENT),
                np.where(stepped, block.b_less, _ABSENT),
                np.where(moving, block.change, _ABSENT),
                np.where(other, block.change - 1, _ABSENT),
                np.where(ramp & (block.before == 0), block.speed - 1, _ABSENT),
            )
        )
        sums = _sums(numbers)
        flags = _running(np.where(short, 2, np.where(other, 1, 0)))
        fixed = _running((block.before == 0) + np.where(ramp, 0, _OTHER_BITS[block.code]))
        while at < high and (high == count or at + reach <= high):
            i = at - low
            w = min(i + WINDOW, high - low)
            # The orders with the fewest bits for the next records, and these bits.
            bits = sums[:, :, w] - sums[:, :, i]
            ka, kb, ka_less, kb_less, kv, kv_short, kr = bits.argmin(axis=1).tolist()
            bits_a, bits_b, bits_a_less, bits_b_less, bits_v, bits_short, _ = bits.min(axis=1).tolist()
            ahead = breaks[np.searchsorted(breaks, at, side="right") :]
            reach_now = min(i + reach, high - low, int(ahead[0]) - low) if len(ahead) else min(i + reach, high - low)
            span = slice(i, reach_now + 1)
            used = sums[_REST, kr, span] + fixed[span]
            mode = 0
            if bits_a_less + bits_b_less < bits_a + bits_b:
                ka, kb = ka_less, kb_less
                mode = DIFFERENCES
                used += sums[_A_LESS, ka, span] + sums[_B_LESS, kb, span]
            else:
                used += sums[_A, ka, span] + sums[_B, kb, span]
            if bits_short + int(flags[w] - flags[i]) < bits_v:
                kv = kv_short
                mode |= SHORT_SPEEDS
                used += sums[_OTHER, kv, span] + flags[span]
            else:
                used += sums[_CHANGE, kv, span]
            first.append(at)
            orders.append((ka, kb, kv, kr))
            modes.append(mode)
            at += int(np.searchsorted(used, used[0] + room, side="right")) - 1
    first.append(count)
    return _Layout(
        np.array(first, dtype=np.int64),
        np.array(orders, dtype=np.int64).reshape(-1, 4),
        np.array(modes, dtype=np.int64),
    )


_A, _B, _A_LESS, _B_LESS, _CHANGE, _OTHER, _REST = range(7)
"""Rows of the running sums."""


def _sums(numbers: _Numbers) -> _Numbers:
    """(c, orders, n + 1) running sums of the code lengths of c columns of numbers (c, n), with a zero in front."""
    lengths = _code_lengths(int(numbers.max(initial=0)))
    out = np.zeros((len(numbers), _ORDERS, numbers.shape[1] + 1), dtype=np.int32)
    for column, rows in zip(numbers, out, strict=True):
        for row, length in zip(rows, lengths, strict=True):
            np.cumsum(length[column], out=row[1:])
    return out


def _running(bits: NDArray[np.integer[Any]]) -> _Numbers:
    """(n + 1,) running sum with a zero in front."""
    out = np.zeros(len(bits) + 1, dtype=np.int32)
    np.cumsum(bits, out=out[1:])
    return out


def _write(rows: _Rows, layout: _Layout) -> tuple[bytes, _Ints]:
    """Write the bits of the layout's records; returns the concatenated payloads and their lengths in bytes."""
    first = layout.first - layout.first[0]
    frame = np.repeat(np.arange(len(first) - 1), np.diff(first))
    ka, kb, kv, kr = layout.orders[frame].T
    mode = layout.mode[frame]
    less = (mode & DIFFERENCES) > 0
    resting = rows.before == 0
    ramp = rows.ramp
    a = np.where(less, rows.a_less, rows.a)
    b = np.where(less, rows.b_less, rows.b)
    # End speed: from rest; as a change; or in short form, marked by a flag.
    shorts = ramp & ~resting & ((mode & SHORT_SPEEDS) > 0)
    same = shorts & (rows.change == 0)
    stops = shorts & (rows.speed == 0)
    number = np.where(resting, rows.speed - 1, np.where(shorts, rows.change - 1, rows.change))
    number = np.maximum(number, 0)
    kv = np.where(resting, kr, kv)
    pen, rest = ~ramp & (rows.code == PEN), ~ramp & (rows.code == REST)
    lengths_of = _code_lengths(int(max(column.max(initial=0) for column in (a, b, number))))
    one = np.int64(1)
    stepped = ramp | ~resting
    counted = ramp & ~same & ~stops
    # Up to six codes per record as (value, bits), 0 bits for unused ones; no value has more than 19 bits.
    codes = (
        (np.where(ramp, 0, 1), np.where(resting, 1, 0)),
        (a + (one << ka), np.where(stepped, lengths_of[ka, a], 0)),
        (b + (one << kb), np.where(stepped, lengths_of[kb, b], 0)),
        (
            np.where(ramp, np.where(stops, 3, np.where(same, 2, 0)), rows.code),
            np.where(ramp, np.where(same | stops, 2, np.where(shorts, 1, 0)), 2),
        ),
        (
            np.where(counted, number + (one << kv), np.where(pen, rows.ones, np.where(rest, rows.ones >> 13, 0))),
            np.where(counted, lengths_of[kv, number], np.where(pen, 12, np.where(rest, 13, 0))),
        ),
        (
            np.where(pen, rows.twos, np.where(rest, rows.ones & 8191, 0)),
            np.where(pen | rest, 13, 0),
        ),
    )
    values = np.stack([value for value, _ in codes], axis=1)
    lengths = np.stack([length for _, length in codes], axis=1)
    running = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(lengths.sum(axis=1))])
    bits_of_frame = np.diff(running[first])
    starts = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(HEADER + (bits_of_frame + 7) // 8)])
    # Four spare bytes let the last value be written without a special case.
    total = np.zeros(int(starts[-1]) + 4, dtype=np.int64)
    total[starts[:-1]] = layout.orders[:, 0] | layout.orders[:, 1] << 4
    total[starts[:-1] + 1] = layout.orders[:, 2] | layout.orders[:, 3] << 4
    total[starts[:-1] + 2] = layout.mode
    # End of each code, in bits from the start of these payloads.
    shift = (starts[:-1] + HEADER) * 8 - running[first[:-1]]
    ends = (running[:-1] + shift[frame])[:, None] + np.cumsum(lengths, axis=1)
    used = lengths > 0
    value, end = values[used], ends[used]
    # A value of 19 bits, aligned to bytes, touches at most four bytes. Codes share no bit, so adding equals or-ing.
    byte = (end + 7) >> 3
    word = value << ((-end) & 7)
    for i in range(4):
        at = byte - 1 - i
        part = (word >> (8 * i)) & 255
        some = part != 0
        total += np.bincount(at[some], weights=part[some], minlength=len(total)).astype(np.int64)
    return total[:-4].astype(np.uint8).tobytes(), np.diff(starts)
