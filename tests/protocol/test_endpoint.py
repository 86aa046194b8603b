"""Two real endpoints over a seeded bad wire: every message exactly once and in order."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linewire import endpoint, messages
from protocol.faulty_wire import Faults, Pair

CLEAN = Faults()


def deliver(seed: int, faults: Faults, *, count: int = 120, slots: int = 16, limit_s: float = 120.0) -> Pair:
    """Send ``count`` messages of the size of moves, and an answer for every tenth; checks order and completeness."""
    pair = Pair.make(seed, faults, slots=slots)
    payload = random.Random(seed).randbytes(240)
    sent = answered = 0
    down: list[int] = []
    up: list[int] = []

    def turn(pair: Pair) -> bool:
        nonlocal sent, answered
        while pair.host.can_send and sent < count:
            pair.host.send(messages.MOVES, sent.to_bytes(4, "little") + payload)
            sent += 1
        while message := pair.board.next_message():
            assert message[2][4:] == payload
            down.append(int.from_bytes(message[2][:4], "little"))
        while pair.board.can_send and answered < len(down) // 10:
            pair.board.send(messages.DONE, answered.to_bytes(2, "little"))
            answered += 1
        while message := pair.host.next_message():
            up.append(int.from_bytes(message[2], "little"))
        return len(down) == count and len(up) == count // 10

    finished = pair.run(turn, int(limit_s * 1e6))
    assert down == list(range(len(down)))
    assert up == list(range(len(up)))
    assert pair.host.overrun == pair.board.overrun == 0
    assert pair.host.odd == pair.board.odd == 0
    assert finished, f"{len(down)} of {count} in {limit_s} s"
    return pair


def test_a_clean_wire_needs_no_retransmission() -> None:
    pair = deliver(1, CLEAN)
    assert pair.host.retransmitted == pair.board.retransmitted == 0


@pytest.mark.parametrize("seed", range(5))
def test_one_frame_in_a_hundred_damaged_leaves_ninety_per_cent_of_the_throughput(seed: int) -> None:
    # Frames of 255 bytes travel in four chunks, so a quarter of a per cent of the chunks is one frame in a hundred.
    clean = deliver(seed, CLEAN, count=600)
    bad = deliver(seed, Faults(flip=0.0025), count=600)
    assert bad.board.damaged > 0
    assert clean.t_us / bad.t_us >= 0.9


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    flip=st.floats(0, 0.05),
    lose_bytes=st.floats(0, 0.03),
    lose=st.floats(0, 0.03),
    double=st.floats(0, 0.1),
    late=st.floats(0, 0.1),
    chunk=st.sampled_from([1, 16, 64, 300]),
    slots=st.sampled_from([1, 4, 16]),
)
def test_every_message_arrives_exactly_once_and_in_order(
    seed: int, flip: float, lose_bytes: float, lose: float, double: float, late: float, chunk: int, slots: int
) -> None:
    # Chances are per 64 bytes; scaled, so that small chunks do not damage every frame.
    scale = min(chunk, 64) / 64
    faults = Faults(chunk, flip * scale, lose_bytes * scale, lose * scale, double * scale, late * scale)
    deliver(seed, faults, count=40, slots=slots, limit_s=600)


def test_a_stall_of_three_seconds_loses_nothing() -> None:
    pair = deliver(3, Faults(stalls=((100_000, 3_100_000, 2),)), count=300)
    assert pair.t_us < 5_500_000


def test_a_cable_pulled_and_put_back_loses_nothing() -> None:
    pair = deliver(4, Faults(pulled=((100_000, 3_100_000),)), count=300)
    assert pair.t_us < 8_000_000
    assert pair.host.openings == pair.board.openings == 1


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6), at_us=st.integers(5_000, 300_000), mute_us=st.integers(0, 200_000))
def test_a_board_that_resets_ends_the_session_and_executes_nothing_of_it(seed: int, at_us: int, mute_us: int) -> None:
    pair = Pair.make(seed, Faults(late=0.05, double=0.05))
    sent = 0
    after_reset: list[object] = []
    fresh: endpoint.Endpoint | None = None

    def turn(pair: Pair) -> bool:
        nonlocal sent, fresh
        while pair.host.can_send and not pair.host.parted:
            pair.host.send(messages.MOVES, sent.to_bytes(4, "little") + bytes(200))
            sent += 1
        if pair.t_us >= at_us and fresh is None:
            fresh = endpoint.Endpoint(1 + (seed + 12345) * 7919 % 65535, False, pair.now_us())
            pair.board = fresh
        while message := pair.board.next_message():
            if fresh:
                after_reset.append(message)
        return pair.host.parted

    assert pair.run(turn, at_us + mute_us + 2_000_000)
    assert after_reset == []


@settings(max_examples=50, deadline=None)
@given(st.lists(st.binary(max_size=300), max_size=20))
def test_any_bytes_leave_a_link_that_works(chunks: list[bytes]) -> None:
    pair = Pair.make(7, CLEAN)
    assert pair.run(lambda p: p.host.linked, 1_000_000)
    for chunk in chunks:
        pair.board.receive(chunk, pair.now_us())
        pair.host.receive(chunk, pair.now_us())
    pair.board.receive(b"\0", pair.now_us())
    pair.host.send(messages.ASK)
    got: list[object] = []

    def turn(pair: Pair) -> bool:
        message = pair.board.next_message()
        if message:
            got.append(message)
        return bool(got)

    assert pair.run(turn, pair.t_us + 3_000_000)
