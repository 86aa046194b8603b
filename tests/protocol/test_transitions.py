"""Every row of the table of transitions, compared with the real endpoint."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest

from linewire import framing, messages
from linewire.endpoint import ACK, CALL_US, LINK, OPEN, PROBE, Endpoint
from linewire.messages import FROM_BOARD
from linewire.transitions import LINK_STATES, TRANSITIONS

HOST, BOARD = 0x1111, 0x2222
OTHER, FORMER = 0x3333, 0x4444
START_US = (1 << 30) - 100_000
"""Just below the wrap of the counter."""

Row = tuple[str, str, str, str]


def open_frame(side: int, own: int, peer: int, offer: int) -> bytes:
    payload = b"".join(number.to_bytes(2, "little") for number in (own, peer))
    payload += bytes([messages.PROTOCOL, 16]) + offer.to_bytes(2, "little")
    return framing.write_frame(OPEN | side, 0, 0, payload)


def message_frame(side: int, tag: int, sequence: int = 0) -> bytes:
    kind, payload = (messages.DONE, b"\x00\x00") if side else (messages.ASK, b"")
    return framing.write_frame(kind, sequence, tag, payload)


@dataclass
class Case:
    """One endpoint in the state where a row begins.

    Parameters
    ----------
    end : the endpoint, with nothing left to send.
    now_us : the time.
    comes : received frames, or elapsed microseconds.
    names : the table's names of session numbers and offers.
    """

    end: Endpoint
    comes: bytes | int
    names: dict[int, str]
    now_us: int = START_US

    def play(self) -> tuple[str, str]:
        """Actions of the endpoint in the table's words, and the state afterwards."""
        end = self.end
        foreign, openings = end.foreign, end.openings
        if isinstance(self.comes, int):
            assert self.said(self.now_us + self.comes - 1) == [], "not before its time"
            self.now_us = (self.now_us + self.comes) % (1 << 30)
        else:
            end.receive(self.comes, self.now_us)
        done = []
        if end.foreign > foreign:
            done.append("count as foreign")
        if end.openings > openings:
            if end.openings > 1:
                done.append("forget the old host")
            done.append("number messages from 0" if end.openings == 1 else "number from 0")
        if end.parted:
            done += ["give up: the board has restarted"] if not done else []
        elif end.take():
            done.append("take it")
            assert "acknowledge" in self.said(self.now_us)
        done += self.said(self.now_us)
        if end.openings > openings:
            # The next sent and the next received message have the number 0.
            assert end.send(messages.ASK if end.host else messages.DONE, b"" if end.host else b"\x00\x00") == 0
            peer = FROM_BOARD if end.host else 0
            end.receive(message_frame(peer, end.session ^ end.peer_session), self.now_us)
            assert end.take()
            assert end.sequence == 0
        return ", ".join(done) or "nothing", LINK_STATES[end.state]

    def said(self, now_us: int) -> list[str]:
        """Frames that the endpoint sends now, in the table's words; SPEC.md speaks of probes elsewhere."""
        end = self.end
        words = []
        for body in framing.FrameReader().feed(end.to_send(now_us % (1 << 30))):
            kind = body[0] & ~FROM_BOARD
            assert body[0] & FROM_BOARD == (0 if end.host else FROM_BOARD)
            if kind == OPEN:
                own, peer = (int.from_bytes(body[at : at + 2], "little") for at in (5, 7))
                offer = int.from_bytes(body[11:13], "little")
                assert own == end.session
                offered = "0" if offer == 0 else "offer"
                words.append(f"send OPEN(own, {self.names.get(peer, peer)}, {offered})")
            elif kind == ACK:
                words.append("acknowledge")
            else:
                assert kind == PROBE or kind < LINK
        return words


def fresh_host() -> Endpoint:
    host = Endpoint(HOST, True, START_US)
    host.to_send(START_US)
    return host


def fresh_board() -> Endpoint:
    board = Endpoint(BOARD, False, START_US, report_size=messages.REPORT_SIZE)
    board.to_send(START_US)
    return board


def offer_of(board: Endpoint, peer: int) -> int:
    """The offer that a board makes to a host that calls."""
    board.receive(open_frame(0, peer, 0, 0), START_US)
    offers = [body for body in framing.FrameReader().feed(board.to_send(START_US)) if body[0] & ~FROM_BOARD == OPEN]
    assert int.from_bytes(offers[-1][7:9], "little") == peer
    return int.from_bytes(offers[-1][11:13], "little")


def linked_host(*, confirmed: bool) -> Endpoint:
    host = fresh_host()
    host.receive(open_frame(FROM_BOARD, BOARD, HOST, 5), START_US)
    host.to_send(START_US)
    if confirmed:
        host.receive(message_frame(FROM_BOARD, HOST ^ BOARD), START_US)
        while host.take():
            pass
        host.to_send(START_US)
    return host


def linked_board(peer: int = HOST, board: Endpoint | None = None) -> Endpoint:
    board = board or fresh_board()
    offer = offer_of(board, peer)
    board.receive(open_frame(0, peer, BOARD, offer), START_US)
    board.to_send(START_US)
    assert board.linked
    return board


ALIEN_TAG = 0x7777
TO_HOST = {0: "0", HOST: "own", BOARD: "p"}
TO_BOARD = {0: "0", HOST: "p", BOARD: "own"}
PEER = {0: "0", HOST: "peer", BOARD: "peer", OTHER: "p"}


def calling(*frames: bytes) -> Iterator[Case]:
    for frame in frames:
        yield Case(fresh_host(), frame, TO_HOST)


def waiting(*frames: bytes) -> Iterator[Case]:
    for frame in frames:
        yield Case(fresh_board(), frame, TO_BOARD)


def taken_up() -> Iterator[Case]:
    board = fresh_board()
    yield Case(board, open_frame(0, HOST, BOARD, offer_of(board, HOST)), TO_BOARD)


def started() -> Iterator[Case]:
    yield Case(Endpoint(BOARD, False, START_US), b"", TO_BOARD)


def a_second_frame_within_the_time() -> Iterator[Case]:
    board = fresh_board()
    case = Case(board, message_frame(0, ALIEN_TAG), TO_BOARD)
    yield case
    before = board.foreign
    board.receive(message_frame(0, ALIEN_TAG), (START_US + CALL_US - 1) % (1 << 30))
    assert board.foreign == before + 1
    assert board.to_send((START_US + CALL_US - 1) % (1 << 30)) == b""


def unconfirmed(comes: bytes | int) -> Iterator[Case]:
    yield Case(linked_host(confirmed=False), comes, PEER)


def confirmed(*frames: bytes) -> Iterator[Case]:
    for frame in frames:
        yield Case(linked_host(confirmed=True), frame, PEER)


def at_board(*frames: bytes) -> Iterator[Case]:
    for frame in frames:
        yield Case(linked_board(), frame, PEER)


def another_host() -> Iterator[Case]:
    board = linked_board()
    yield Case(board, open_frame(0, OTHER, BOARD, offer_of(board, OTHER)), PEER)


def a_former_host() -> Iterator[Case]:
    for me in (0, BOARD):
        board = linked_board(HOST, linked_board(FORMER))
        yield Case(board, open_frame(0, FORMER, me, 1), PEER)


def parted() -> Iterator[Case]:
    for frame in (open_frame(FROM_BOARD, BOARD, HOST, 5), message_frame(FROM_BOARD, HOST ^ BOARD)):
        host = linked_host(confirmed=True)
        host.receive(open_frame(FROM_BOARD, OTHER, 0, 0), START_US)
        yield Case(host, frame, PEER)


FROM, TO = FROM_BOARD, 0
CASES: dict[tuple[str, str], Callable[[], Iterator[Case]]] = {
    ("calling", "every 250 ms"): lambda: iter([Case(fresh_host(), CALL_US, TO_HOST)]),
    ("calling", "OPEN(p, own, offer)"): lambda: calling(open_frame(FROM, BOARD, HOST, 5)),
    ("calling", "any other OPEN"): lambda: calling(
        open_frame(FROM, BOARD, 0, 0), open_frame(FROM, BOARD, OTHER, 5), open_frame(FROM, BOARD, HOST, 0)
    ),
    ("calling", "any other frame"): lambda: calling(message_frame(FROM, 0), message_frame(FROM, HOST ^ BOARD)),
    ("waiting", "start"): started,
    ("waiting", "OPEN(p, own, the offer made to p)"): taken_up,
    ("waiting", "OPEN(p, 0 or own, any other)"): lambda: waiting(
        open_frame(TO, HOST, 0, 0), open_frame(TO, HOST, 0, 9), open_frame(TO, HOST, BOARD, 9)
    ),
    ("waiting", "OPEN(p, other, any)"): lambda: waiting(open_frame(TO, HOST, OTHER, 0), open_frame(TO, HOST, OTHER, 1)),
    ("waiting", "any other frame"): a_second_frame_within_the_time,
    ("linked", "every 250 ms at the host, until a frame with the tag has come"): lambda: unconfirmed(CALL_US),
    ("linked", "OPEN(peer, own, offer) at the host, likewise until then"): lambda: unconfirmed(
        open_frame(FROM, BOARD, HOST, 5)
    ),
    ("linked", "OPEN(peer, any, any) at the host, later"): lambda: confirmed(
        open_frame(FROM, BOARD, HOST, 5), open_frame(FROM, BOARD, OTHER, 0)
    ),
    ("linked", "OPEN(other, any, any) at the host"): lambda: confirmed(
        open_frame(FROM, OTHER, HOST, 5), open_frame(FROM, OTHER, 0, 0)
    ),
    ("linked", "OPEN(peer, 0 or own, any) at the board"): lambda: at_board(
        open_frame(TO, HOST, 0, 0), open_frame(TO, HOST, BOARD, 1)
    ),
    ("linked", "OPEN(p, own, the offer made to p) at the board"): another_host,
    ("linked", "OPEN(p, 0 or own, any other) at the board"): lambda: at_board(
        open_frame(TO, OTHER, 0, 0), open_frame(TO, OTHER, BOARD, 9)
    ),
    ("linked", "OPEN(former, 0 or own, any) at the board"): a_former_host,
    ("linked", "OPEN(p, other, any) at the board"): lambda: at_board(open_frame(TO, OTHER, FORMER, 1)),
    ("linked", "frame with tag own ^ peer"): lambda: at_board(message_frame(TO, HOST ^ BOARD)),
    ("linked", "frame with another tag"): lambda: at_board(message_frame(TO, ALIEN_TAG)),
    ("parted", "any frame"): parted,
}


def test_each_row_has_its_case_and_no_two_rows_are_alike() -> None:
    assert [row[:2] for row in TRANSITIONS] == list(CASES)
    assert {state for row in TRANSITIONS for state in (row[0], row[3])} == set(LINK_STATES)


@pytest.mark.parametrize("row", TRANSITIONS, ids=lambda row: f"{row[0]}: {row[1]}")
def test_the_endpoint_does_what_the_row_says(row: Row) -> None:
    state, comes, wanted, following = row
    for case in CASES[state, comes]():
        assert LINK_STATES[case.end.state] == state
        # "At most every 250 ms" limits the rate of the row's action; the case checks it.
        assert case.play() == (wanted.removesuffix(" at most every 250 ms"), following)
