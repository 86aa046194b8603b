"""One frame dropped, by kind and direction: the other end still gets every message, once and in order.

The conversation has every message of the table once in each direction, with the link's own frames in between.
"""

from __future__ import annotations

import pytest

from linewire import endpoint, messages
from linewire.endpoint import LONGEST_TIMEOUT_US, Endpoint
from linewire.framing import FrameReader

HOST_SAYS = [number for _, number, _ in messages.MESSAGES if not number & messages.FROM_BOARD]
BOARD_SAYS = [number for _, number, _ in messages.MESSAGES if number & messages.FROM_BOARD]
NAMES = {number: name for name, number, _ in messages.MESSAGES} | {
    endpoint.OPEN: "open",
    endpoint.ACK: "ack",
    endpoint.PROBE: "probe",
}
KINDS = [
    *HOST_SAYS,
    *BOARD_SAYS,
    *(kind | side for kind in (endpoint.OPEN, endpoint.ACK, endpoint.PROBE) for side in (0, messages.FROM_BOARD)),
]
STEP_US = 10_000


def called(kind: int) -> str:
    side = "board" if kind & messages.FROM_BOARD else "host"
    return f"{side}'s {NAMES.get(kind, '') or NAMES[kind & ~messages.FROM_BOARD]}"


def kind_of(frame: bytes) -> int:
    (body,) = FrameReader().feed(frame)
    return body[0]


class Conversation:
    """Both ends; the wire drops the ``nth`` frame of one kind."""

    def __init__(self, kind: int, nth: int = 0) -> None:
        self.kind, self.nth = kind, nth
        self.seen = self.dropped = 0
        self.now_us = 0
        self.host = Endpoint(1111, True, 0)
        self.board = Endpoint(2222, False, 0, report_size=messages.REPORT_SIZE)
        self.heard: list[int] = []
        self.said: list[int] = []

    def turn(self) -> None:
        self.now_us += STEP_US
        for speaker, listener in ((self.host, self.board), (self.board, self.host)):
            while count := speaker.produce(self.now_us):
                frame = bytes(speaker.wire[:count])
                if kind_of(frame) == self.kind:
                    self.seen += 1
                    if self.seen == self.nth + 1:
                        self.dropped += 1
                        continue
                listener.receive(frame, self.now_us)
        for listener, into in ((self.board, self.heard), (self.host, self.said)):
            while message := listener.next_message():
                into.append(message[0])

    def until(self, done, limit_us: int) -> None:
        end_us = self.now_us + limit_us
        while not done():
            assert self.now_us < end_us, f"heard {self.heard}, said {self.said}"
            self.turn()


@pytest.mark.parametrize("nth", [0, 1])
@pytest.mark.parametrize("kind", KINDS, ids=called)
def test_a_frame_is_dropped(kind, nth):
    talk = Conversation(kind, nth)
    hosts, boards = HOST_SAYS * (nth + 1), BOARD_SAYS * (nth + 1)
    talk.until(lambda: talk.host.linked and talk.board.linked, 2_000_000)
    for i in range(max(len(hosts), len(boards))):
        if i < len(hosts):
            talk.host.send(hosts[i], bytes([i]))
        if i < len(boards):
            talk.board.send(boards[i], bytes([i]))
        talk.board.probe()
        talk.turn()
        talk.until(lambda: talk.host.can_send and talk.board.can_send, LONGEST_TIMEOUT_US)
    talk.until(lambda: len(talk.heard) == len(hosts) and len(talk.said) == len(boards), LONGEST_TIMEOUT_US)
    # A second of silence: the host's own probes, and possible duplicates.
    talk.until(lambda: not talk.host.awaiting and not talk.board.awaiting, LONGEST_TIMEOUT_US)
    for _ in range(100):
        talk.turn()
    assert (talk.heard, talk.said) == (hosts, boards)
    opens = kind & ~messages.FROM_BOARD == endpoint.OPEN
    assert talk.dropped == 1 or (opens and nth == 1 and talk.seen < 2)  # a link is opened once
    if kind in HOST_SAYS + BOARD_SAYS:
        assert talk.host.retransmitted + talk.board.retransmitted >= 1
    assert talk.host.openings == talk.board.openings == 1


def test_every_kind_of_frame_is_among_them():
    assert len({called(kind) for kind in KINDS}) == len(messages.MESSAGES) + 6
