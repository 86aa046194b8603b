"""Any bytes yield frames or a counted fault, without exceptions and in bounded memory."""

from __future__ import annotations

from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from linewire import framing
from linewire.framing import FrameReader, stuff, write_frame

zeroish = st.binary(max_size=700) | st.lists(st.sampled_from([0, 0, 1, 2, 254, 255]), max_size=700).map(bytes)


@given(zeroish)
def test_stuffing_is_what_the_package_cobs_makes_of_it_and_never_longer_than_stated(data: bytes) -> None:
    out = bytearray(len(data) + len(data) // 254 + 2)
    wire = bytes(out[: stuff(data, len(data), out, 0)])
    assert wire == cobs.encode(data) + b"\0"
    assert 0 not in wire[:-1]


@given(st.lists(zeroish, max_size=8))
def test_any_bytes_yield_frames_or_a_counted_fault(chunks: list[bytes]) -> None:
    reader = FrameReader()
    for chunk in chunks:
        for frame in reader.feed(chunk):
            assert len(frame) >= framing.HEADER
    assert len(reader.body) == framing.BODY
    whole = b"".join(chunks)
    stretches = [part for part in whole.split(b"\0")[:-1] if part]
    assert reader.frames + reader.damaged + reader.oversize == len(stretches)


@given(st.lists(st.tuples(st.integers(0, 255), st.integers(0, 65535), st.binary(max_size=244)), max_size=6), st.data())
def test_frames_are_found_in_any_chunks_between_any_garbage(
    frames: list[tuple[int, int, bytes]], data: st.DataObject
) -> None:
    wire = bytearray()
    for kind, sequence, payload in frames:
        wire += data.draw(st.binary(max_size=30)) + b"\0" + write_frame(kind, sequence, 9, payload)
    reader = FrameReader()
    found = []
    at = 0
    while at < len(wire):
        size = data.draw(st.integers(1, 300))
        found += list(reader.feed(wire[at : at + size]))
        at += size
    expected = [bytes([kind, sequence & 255, sequence >> 8, 9, 0]) + payload for kind, sequence, payload in frames]
    assert found == expected
