"""Moves payloads for whole programs, vectorised: the same bytes as `linewire.records.encode_payload`, much faster.

The format stands in `linewire.records` and SPEC.md. Here all code lengths of a block of records are computed at once
for all orders; choosing the orders of a frame is then a difference of running sums, and finding where it is full is a
binary search. The bits of all records are laid down together at the end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from linewright.program import Program

from linewire.messages import RECORDS_ROOM
from linewire.records import (
    AGAIN,
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
    WINDOW,
    RecordError,
    check_record,
)

_Ints = NDArray[np.int64]

_ORDERS = HIGHEST_ORDER + 1
# Running sums for all orders take 4 x 16 int64 per record, 512 bytes; blocks of this many records keep that at 16 MB.
_BLOCK = 32_768
# Bits behind da = db = 0, by kind: two of kind, then the numbers (12 + 13 for pen, 13 + 13 for rest).
_TAIL_BITS = np.array([0, 27, 28, 2], dtype=np.int64)
_AGAIN_BITS = 2
# Frames whose bits are laid down at once: about 150 000 records, 70 MB of working memory.
_FRAMES = 2_000


@dataclass(frozen=True)
class Packed:
    """Records of a program as payloads for moves frames.

    Attributes
    ----------
    data : the payloads one after the other.
    starts : (f + 1,) int64, where each payload begins in ``data``, and the end of the last.
    first : (f + 1,) int64, number of each payload's first record, and the number behind the last.
    """

    data: bytes
    starts: _Ints
    first: _Ints

    def __len__(self) -> int:
        return len(self.starts) - 1

    def payload(self, frame: int) -> bytes:
        """Records of one frame, ready to go behind their first number in a moves message."""
        return self.data[int(self.starts[frame]) : int(self.starts[frame + 1])]


def pack(kind: ArrayLike, first: ArrayLike, second: ArrayLike, v_end: ArrayLike, *, start: int = 0) -> Packed:
    """Pack records ``start`` to the last into payloads, each as full as it goes.

    Parameters
    ----------
    kind : (m,) 0 ramp, 1 pen, 2 rest, 3 end.
    first : (m,) int, steps of motor A of a ramp; servo pulse of a pen action, us; ticks of a rest; 0 at the end.
    second : (m,) int, steps of motor B of a ramp; dwell of a pen action, ms; 0 otherwise.
    v_end : (m,) int, path speed at the end of a ramp, steps/s; ignored for the other kinds.
    start : record to begin with, where the pen is at rest (the first, or one to carry on at).

    Raises
    ------
    RecordError : a record does not fit the format; names the first such.
    """
    kinds = np.asarray(kind, dtype=np.int64)[start:]
    ones = np.asarray(first, dtype=np.int64)[start:]
    twos = np.asarray(second, dtype=np.int64)[start:]
    speeds = np.where(kinds == RAMP, np.asarray(v_end, dtype=np.int64)[start:], 0)
    before = np.concatenate([np.zeros(1, dtype=np.int64), speeds])[:-1]
    _check(kinds, ones, twos, speeds, before, start)
    ramp = kinds == RAMP
    a = _fold(np.where(ramp, ones, 0))
    b = _fold(np.where(ramp, twos, 0))
    change = _fold(speeds - before)
    again = _again(kinds, ones, twos)
    tail = np.where(again, _AGAIN_BITS, _TAIL_BITS[kinds])
    layout = _lay_out(ramp, a, b, change, tail)
    data: list[bytes] = []
    sizes: list[_Ints] = []
    for low in range(0, len(layout.first) - 1, _FRAMES):
        part = _Layout(
            layout.first[low : low + _FRAMES + 1],
            layout.orders[low : low + _FRAMES],
            layout.flagged[low : low + _FRAMES],
        )
        rows = slice(int(part.first[0]), int(part.first[-1]))
        # A pen action that repeats needs no numbers: it travels as kind 0 and is no longer a pen action here.
        kind_code = np.where(again[rows], AGAIN, kinds[rows])
        payloads, lengths = _write(kind_code, ramp[rows], ones[rows], twos[rows], a[rows], b[rows], change[rows], part)
        data.append(payloads)
        sizes.append(lengths)
    starts = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(np.concatenate([*sizes, np.zeros(0, np.int64)]))])
    return Packed(b"".join(data), starts.astype(np.int64), layout.first + start)


def pack_program(program: Program, records: tuple[int, int] | None = None) -> Packed:
    """Pack a program, or its ``records`` from the first to before the last, at both of which the pen is at rest."""
    first, after = records or (0, len(program))
    part = slice(0, after)
    kind = program.kind[part]
    rest = np.where(kind == REST, program.rest_ticks[part], program.da[part])
    return pack(
        kind,
        np.where(kind == PEN, program.servo_us[part], rest),
        np.where(kind == PEN, program.dwell_ms[part], program.db[part]),
        program.v_end[part],
        start=first,
    )


def payload_bytes(program: Program) -> int:
    """Bytes of all records of a program as they go into frames."""
    return len(pack_program(program).data)


def _again(kinds: _Ints, ones: _Ints, twos: _Ints) -> NDArray[np.bool_]:
    """Which records are pen actions equal to the pen action before the last one."""
    pens = np.flatnonzero(kinds == PEN)
    same = (ones[pens[2:]] == ones[pens[:-2]]) & (twos[pens[2:]] == twos[pens[:-2]])
    out = np.zeros(len(kinds), dtype=bool)
    out[pens[2:][same]] = True
    return out


def _check(kinds: _Ints, ones: _Ints, twos: _Ints, speeds: _Ints, before: _Ints, start: int) -> None:
    """Refuse the first record that the format cannot hold, with the plain encoder's words."""
    ramp = kinds == RAMP
    steps = np.maximum(np.abs(ones), np.abs(twos))
    good = ramp & (steps >= 1) & (steps <= MAX_STEPS)
    good &= (speeds >= 0) & (speeds <= MAX_SPEED) & (speeds + before > 0)
    good |= (kinds == PEN) & (ones >= SERVO_LOW_US) & (ones <= SERVO_HIGH_US) & (twos >= 0) & (twos <= MAX_DWELL_MS)
    good |= (kinds == REST) & (ones >= 0) & (ones <= MAX_REST_TICKS)
    good |= kinds == END
    if not good.all():
        i = int(np.argmin(good))
        check_record(start + i, (int(kinds[i]), int(ones[i]), int(twos[i]), int(speeds[i])), int(before[i]))
        raise RecordError(start + i, "does not fit the format")


def _fold(values: _Ints) -> _Ints:
    """0, -1, 1, -2, .. as 0, 1, 2, 3, .."""
    return (values << 1) ^ (values >> 63)


def _length(numbers: _Ints, order: _Ints | int) -> _Ints:
    """Bits of numbers >= 0 in exponential Golomb codes."""
    size = np.frexp((numbers + (np.int64(1) << order)).astype(np.float64))[1].astype(np.int64)
    result: _Ints = 2 * size - 1 - order
    return result


@dataclass(frozen=True)
class _Layout:
    """Where frames begin and with which orders: one row per frame."""

    first: _Ints
    orders: _Ints  # (f, 3) ka, kb, kv
    flagged: NDArray[np.bool_]


def _lay_out(ramp: NDArray[np.bool_], a: _Ints, b: _Ints, change: _Ints, tail: _Ints) -> _Layout:
    count = len(ramp)
    first: list[int] = []
    orders: list[tuple[int, int, int]] = []
    flagged: list[bool] = []
    room = (RECORDS_ROOM - HEADER) * 8
    # A record takes 6 bits at least (three codes of order 0, or marker and kind), so a frame never reaches further.
    reach = max(room // 3, WINDOW) + 1
    at = 0
    while at < count:
        low = at
        high = min(low + _BLOCK, count)
        sums_a = _running([_length(a[low:high], k) for k in range(_ORDERS)])
        sums_b = _running([_length(b[low:high], k) for k in range(_ORDERS)])
        is_ramp = ramp[low:high]
        moved = is_ramp & (change[low:high] != 0)
        delta = change[low:high]
        sums_v = _running([np.where(is_ramp, _length(delta, k), 0) for k in range(_ORDERS)])
        less_one = np.maximum(delta - 1, 0)
        sums_w = _running([np.where(is_ramp, 1, 0) + np.where(moved, _length(less_one, k), 0) for k in range(_ORDERS)])
        sums_tail = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(tail[low:high])])
        while at < high and (high == count or at + reach <= high):
            i = at - low
            w = min(i + WINDOW, high - low)
            ka = int(np.argmin(sums_a[:, w] - sums_a[:, i]))
            kb = int(np.argmin(sums_b[:, w] - sums_b[:, i]))
            plain = sums_v[:, w] - sums_v[:, i]
            with_flag = sums_w[:, w] - sums_w[:, i]
            kv, kw = int(np.argmin(plain)), int(np.argmin(with_flag))
            flag = bool(with_flag[kw] < plain[kv])
            end = min(i + reach, high - low) + 1
            used = sums_a[ka, i:end] + sums_b[kb, i:end] + sums_tail[i:end]
            used = used + (sums_w[kw, i:end] if flag else sums_v[kv, i:end])
            first.append(at)
            orders.append((ka, kb, kw if flag else kv))
            flagged.append(flag)
            at += int(np.searchsorted(used, used[0] + room, side="right")) - 1
    first.append(count)
    return _Layout(
        np.array(first, dtype=np.int64), np.array(orders, dtype=np.int64).reshape(-1, 3), np.array(flagged, dtype=bool)
    )


def _running(rows: list[_Ints]) -> _Ints:
    """Running sums along each row, with a zero in front."""
    out = np.zeros((len(rows), len(rows[0]) + 1), dtype=np.int64)
    for i, row in enumerate(rows):
        np.cumsum(row, out=out[i, 1:])
    return out


def _write(
    kind_code: _Ints,
    ramp: NDArray[np.bool_],
    ones: _Ints,
    twos: _Ints,
    a: _Ints,
    b: _Ints,
    change: _Ints,
    layout: _Layout,
) -> tuple[bytes, _Ints]:
    """Lay down the bits of the layout's records at once; returns the payloads in a row, and their lengths in bytes."""
    from_frame = layout.first - layout.first[0]
    frame = np.repeat(np.arange(len(from_frame) - 1), np.diff(from_frame))
    ka, kb, kv = layout.orders[frame].T
    flag = layout.flagged[frame]
    moved = ramp & (change != 0)
    pen, rest = ~ramp & (kind_code == PEN), ~ramp & (kind_code == REST)
    # Up to six codes per record, as (value, bits): da, db; flag or kind; change of speed, or the number in two parts.
    # Each value has at most 19 significant bits.
    v_number = np.where(flag, np.maximum(change - 1, 0), change)
    v_written = np.where(flag, moved, ramp)
    values = np.stack(
        [
            a + (np.int64(1) << ka),
            b + (np.int64(1) << kb),
            np.where(ramp, np.where(flag, moved, 0), kind_code),
            np.where(ramp, np.where(v_written, v_number + (np.int64(1) << kv), 0), 0),
            np.where(pen, ones, np.where(rest, ones >> 13, 0)),
            np.where(pen, twos, np.where(rest, ones & 8191, 0)),
        ],
        axis=1,
    )
    lengths = np.stack(
        [
            _length(a, ka),
            _length(b, kb),
            np.where(ramp, np.where(flag, 1, 0), 2),
            np.where(v_written, _length(v_number, kv), 0),
            np.where(pen, 12, np.where(rest, 13, 0)),
            np.where(pen | rest, 13, 0),
        ],
        axis=1,
    )
    running = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(lengths.sum(axis=1))])
    bits_of_frame = np.diff(running[from_frame])
    starts = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(HEADER + (bits_of_frame + 7) // 8)])
    data = np.zeros(int(starts[-1]) + 4, dtype=np.uint8)
    heads = layout.orders
    data[starts[:-1]] = heads[:, 0] | heads[:, 1] << 4
    data[starts[:-1] + 1] = heads[:, 2] | layout.flagged.astype(np.int64) << 4
    # End of each code, in bits from the start of ``data``.
    shift = (starts[:-1] + HEADER) * 8 - running[from_frame[:-1]]
    ends = (running[:-1] + shift[frame])[:, None] + np.cumsum(lengths, axis=1)
    used = lengths > 0
    value, end = values[used], ends[used]
    # A value of 19 bits, moved to the byte grid, touches at most four bytes; codes never share a bit, so adding is
    # or-ing.
    byte = (end + 7) >> 3
    word = value << ((-end) & 7)
    total = data.astype(np.int64)
    for i in range(4):
        at = byte - 1 - i
        part = (word >> (8 * i)) & 255
        some = part != 0
        total += np.bincount(at[some], weights=part[some], minlength=len(total)).astype(np.int64)
    return total[:-4].astype(np.uint8).tobytes(), np.diff(starts)
