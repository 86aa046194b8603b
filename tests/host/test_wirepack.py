"""The vectorised packer gives the plain encoder's bytes, and the same errors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dual.record_reader import Reader
from linewire import records as wire
from linewire.encoding import RecordError, code_length, encode_payload
from linewire.records import END, PEN, RAMP, REST
from linewright.program import packing
from linewright.program.packing import pack

Record = tuple[int, int, int, int]

small = st.integers(-40, 40)
steps = st.tuples(small | st.integers(-16383, 16383), small | st.integers(-16383, 16383)).filter(any)
ramps = st.tuples(steps, st.sampled_from([0, 0, 1, 2000, 2000, 7999]) | st.integers(0, 131071)).map(
    lambda r: (RAMP, r[0][0], r[0][1], r[1])
)
others = (
    st.sampled_from([(PEN, 1300, 250, 0), (PEN, 1700, 250, 0), (REST, 0, 0, 0), (END, 0, 0, 0)])
    | st.tuples(st.just(PEN), st.integers(500, 2500), st.just(0) | st.integers(0, 8191), st.just(0))
    | st.tuples(st.just(REST), st.integers(0, (1 << 26) - 1), st.just(0), st.just(0))
)


def passes(record: Record) -> bool:
    """A pen action without a wait, which leaves the path its speed."""
    return record[0] == PEN and record[2] == 0


def lawful(records: list[Record]) -> list[Record]:
    """Give ramps that would start and end at rest an end speed."""
    out: list[Record] = []
    speed = 0
    for kind, first, second, v_end in records:
        if kind == RAMP and v_end + speed == 0:
            v_end = 300
        out.append((kind, first, second, v_end))
        if not passes((kind, first, second, v_end)):
            speed = v_end
    return out


programs = st.lists(st.one_of(ramps, ramps, ramps, others), max_size=400).map(lawful)


def plain(records: list[Record], start: int = 0) -> tuple[list[bytes], list[int]]:
    payloads, first = [], [start]
    while first[-1] < len(records):
        payload, following = encode_payload(records, first[-1], start)
        payloads.append(payload)
        first.append(following)
    return payloads, first


def check(records: list[Record], start: int = 0) -> None:
    columns = np.array(records, dtype=np.int64).reshape(-1, 4).T
    packed = pack(*columns, start=start)
    payloads, first = plain(records, start)
    assert [packed.payload(i) for i in range(len(packed))] == payloads
    assert packed.first.tolist() == first


@settings(max_examples=60, deadline=None)
@given(programs)
def test_both_encoders_give_the_same_bytes(records: list[Record]) -> None:
    check(records)


@settings(max_examples=20, deadline=None)
@given(programs, st.data())
def test_a_program_is_carried_on_with_the_same_bytes(records: list[Record], data: st.DataObject) -> None:
    rests = [0, *(i + 1 for i, record in enumerate(records) if record[3] == 0 and not passes(record))]
    check(records, data.draw(st.sampled_from(rests)))


@settings(max_examples=40, deadline=None)
@given(programs, st.lists(st.integers(0, 400), max_size=5))
def test_payloads_begin_where_asked_and_one_decoder_reads_them_all(records: list[Record], wanted: list[int]) -> None:
    """A pen's records can be sent on their own, and the decoder's history runs on across the break."""
    breaks = sorted({at for at in wanted if at < len(records)})
    packed = pack(*np.array(records, dtype=np.int64).reshape(-1, 4).T, breaks=breaks)
    assert set(breaks) <= set(packed.first.tolist())
    reader = Reader()
    read = []
    for i in range(len(packed)):
        found, ended = reader.payload(packed.payload(i))
        assert ended == wire.NOTHING
        read += found
    assert read == records


def test_long_programs_cross_the_packers_blocks() -> None:
    rng = np.random.default_rng(5)
    count = 36_000
    records = np.column_stack(
        [np.zeros(count), rng.integers(-30, 31, count), rng.integers(1, 60, count), rng.integers(1, 900, count)]
    ).astype(np.int64)
    records[::17] = (PEN, 1300, 250, 0)
    packed = pack(*records.T)
    payloads, first = plain([(int(k), int(a), int(b), int(v)) for k, a, b, v in records])
    assert packed.data == b"".join(payloads)
    assert packed.first.tolist() == first


@pytest.mark.parametrize(
    "record",
    [(0, 16384, 0, 5), (0, 0, 0, 5), (0, 1, 0, 131072), (0, 1, 0, 0), (1, 499, 0, 0), (1, 900, 8192, 0),
     (2, -1, 0, 0), (7, 0, 0, 0)],
)  # fmt: skip
def test_what_does_not_fit_is_refused_with_its_number(record: Record) -> None:
    with pytest.raises(RecordError) as caught:
        pack(*np.array([(2, 0, 0, 0), record], dtype=np.int64).T)
    assert caught.value.index == 1


@given(st.integers(0, 300_000))
def test_lengths_of_codes_are_those_of_the_plain_encoder(most: int) -> None:
    lengths = packing._code_lengths(most)
    numbers = {0, most // 3, max(most - 1, 0), most}
    for order in range(packing._ORDERS):
        assert [lengths[order, n] for n in numbers] == [code_length(n, order) for n in numbers]
    assert not lengths[:, packing._ABSENT].any()
