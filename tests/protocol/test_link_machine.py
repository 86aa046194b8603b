"""Two endpoints and two wires against a model, for any schedule of loss, damage, doubling, reordering, stalls, cable
pulls and restarts of either end: every message is taken exactly once and in order, and once the wire is good again,
everything that was sent arrives.

A finding of this machine becomes a named test in test_endpoint.py.
"""

from __future__ import annotations

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from linewire import messages
from linewire.compat import TICKS_PERIOD, ticks_add
from linewire.endpoint import Endpoint

DOWN, UP = 0, 1
# Just below the wrap, so that the machine crosses it.
START_US = TICKS_PERIOD - 5_000_000
MOST_HOSTS = 8  # more than the four that a board remembers
REPORT = 38


class Link(RuleBasedStateMachine):
    """Wires are lists of complete writes; time advances only by a rule."""

    @initialize(slots=st.sampled_from([1, 2, 4, 16]))
    def start(self, slots: int) -> None:
        self.slots = slots
        self.now_us = START_US
        self.wires: tuple[list[bytes], list[bytes]] = ([], [])
        self.hosts = self.boards = 0
        # Received numbers, by sender's and receiver's life.
        self.taken: dict[tuple[int, int, int], list[int]] = {}
        self.sent: dict[tuple[int, int], int] = {}
        self.meant_for: dict[tuple[int, int], tuple[int, int]] = {}  # by direction and life: sessions of host and board
        self.ever: tuple[list[bytes], list[bytes]] = ([], [])  # all sent frames
        self.new_board()
        self.new_host()
        self.exchange(3)

    def new_host(self) -> None:
        self.hosts += 1
        self.host = Endpoint(self.hosts * 7919 % 65535 + 1, True, self.now_us, slots=self.slots)

    def new_board(self) -> None:
        self.boards += 1
        self.board = Endpoint(
            self.boards * 104729 % 65535 + 1, False, self.now_us, slots=self.slots, report_size=REPORT
        )

    def end(self, way: int) -> Endpoint:
        """The sender of this direction."""
        return self.board if way else self.host

    # Actions of the two ends.

    def life(self, way: int) -> int:
        """The life that sends: a host, or a board while it serves one host."""
        return self.boards * 1000 + self.board.openings if way else self.hosts

    @rule(way=st.sampled_from([DOWN, UP]), size=st.integers(0, messages.PAYLOAD - 8))
    def send(self, way: int, size: int) -> None:
        end = self.end(way)
        if not end.can_send or (way == UP and not end.linked):
            return
        life = self.life(way)
        number = self.sent.get((way, life), 0)
        self.sent[way, life] = number + 1
        self.meant_for[way, life] = self.host.session, self.board.session
        if way == UP:
            self.meant_for[way, life] = self.board.peer_session, self.board.session
        payload = life.to_bytes(4, "little") + number.to_bytes(4, "little") + bytes(size)
        end.send(messages.DONE if way else messages.MOVES, payload)

    @rule(way=st.sampled_from([DOWN, UP]), most=st.integers(1, 20))
    def speak(self, way: int, most: int) -> None:
        end = self.end(way)
        for _ in range(most):
            count = end.produce(self.now_us)
            if not count:
                return
            self.wires[way].append(bytes(end.wire[:count]))
            self.ever[way].append(self.wires[way][-1])

    @rule(way=st.sampled_from([DOWN, UP]), most=st.integers(1, 20))
    def take(self, way: int, most: int) -> None:
        """Receive messages of this direction; an end that receives none gives no credit."""
        end = self.end(1 - way)
        for _ in range(most):
            message = end.next_message()
            if message is None:
                return
            _, _, payload = message
            life, number = (int.from_bytes(payload[i : i + 4], "little") for i in (0, 4))
            here = self.hosts if way else self.boards
            # A host's messages are for its connected board; a board's messages are for the host it serves at that time.
            host, board = self.meant_for[way, life]
            assert end.peer_session == (board if way else host), "a message of another session"
            assert way == DOWN or end.session == host, "a message for an earlier host"
            taken = self.taken.setdefault((way, life, here), [])
            assert number == len(taken), f"message {number} of {life} after {taken[-3:]}"
            taken.append(number)
            others = [key for key in self.taken if key[:2] == (way, life) and key[2] != here]
            assert not others, f"messages of {life} were taken by {others} and now by {here}"

    # All steps of a run together stay below the four minutes after which an endpoint must have been asked.
    @rule(us=st.sampled_from([100, 5_000, 60_000, 210_000, 260_000, 1_000_000, 2_500_000]))
    def wait(self, us: int) -> None:
        self.now_us = ticks_add(self.now_us, us)

    @rule(rounds=st.integers(1, 4))
    def exchange(self, rounds: int) -> None:
        """Deliver everything in order, in both directions."""
        for _ in range(rounds):
            for way in (DOWN, UP):
                self.speak(way, 50)
                for _ in range(len(self.wires[way])):
                    self.deliver_at(way, 0)
            self.wait(60_000)

    # Actions of the wire.

    def pick(self, way: int, at: int) -> int:
        return at % len(self.wires[way])

    def deliver_at(self, way: int, at: int, cut: int | None = None) -> None:
        data = self.wires[way].pop(at)
        end = self.end(1 - way)
        if cut is None:
            end.receive(data, self.now_us)
        else:
            end.receive(data[: cut % len(data)], self.now_us)
            end.receive(data[cut % len(data) :], self.now_us)

    @precondition(lambda self: any(self.wires))
    @rule(way=st.sampled_from([DOWN, UP]), most=st.integers(1, 20), cut=st.integers(0, 300))
    def deliver(self, way: int, most: int, cut: int) -> None:
        for _ in range(min(most, len(self.wires[way]))):
            self.deliver_at(way, 0, cut)

    @precondition(lambda self: any(self.wires))
    @rule(way=st.sampled_from([DOWN, UP]), at=st.integers(0, 100))
    def reorder(self, way: int, at: int) -> None:
        if self.wires[way]:
            self.deliver_at(way, self.pick(way, at))

    @rule(way=st.sampled_from([DOWN, UP]), at=st.integers(0, 1000), count=st.integers(1, 20))
    def replay(self, way: int, at: int, count: int) -> None:
        """Delayed or repeated frames of any time arrive."""
        if self.ever[way]:
            at %= len(self.ever[way])
            for data in self.ever[way][at : at + count]:
                self.end(1 - way).receive(data, self.now_us)

    @precondition(lambda self: any(self.wires))
    @rule(way=st.sampled_from([DOWN, UP]), at=st.integers(0, 100))
    def lose(self, way: int, at: int) -> None:
        if self.wires[way]:
            self.wires[way].pop(self.pick(way, at))

    @precondition(lambda self: any(self.wires))
    @rule(way=st.sampled_from([DOWN, UP]), at=st.integers(0, 100), copies=st.integers(1, 3))
    def double(self, way: int, at: int, copies: int) -> None:
        if self.wires[way]:
            data = self.wires[way][self.pick(way, at)]
            self.wires[way].extend([data] * copies)

    @precondition(lambda self: any(self.wires))
    @rule(way=st.sampled_from([DOWN, UP]), at=st.integers(0, 100), bit=st.integers(0, 2100), count=st.integers(0, 9))
    def damage(self, way: int, at: int, bit: int, count: int) -> None:
        """Flip a bit, or take bytes out."""
        if self.wires[way]:
            at = self.pick(way, at)
            data = bytearray(self.wires[way][at])
            if count:
                del data[bit % len(data) :][:count]
            else:
                data[bit // 8 % len(data)] ^= 1 << bit % 8
            self.wires[way][at] = bytes(data) or b"\0"

    @rule(way=st.sampled_from([DOWN, UP]), data=st.binary(max_size=40))
    def babble(self, way: int, data: bytes) -> None:
        self.end(1 - way).receive(data, self.now_us)

    @rule()
    def pull_the_cable(self) -> None:
        for wire in self.wires:
            wire.clear()

    # Restarts.

    @precondition(lambda self: self.boards < 6)
    @rule(rounds=st.integers(0, 4))
    def reboot(self, rounds: int) -> None:
        self.new_board()
        self.exchange(rounds)

    @precondition(lambda self: self.hosts < MOST_HOSTS)
    @rule(rounds=st.integers(0, 4))
    def restart_host(self, rounds: int) -> None:
        self.new_host()
        self.exchange(rounds)

    # At the end the wire is good.

    def teardown(self) -> None:
        if not hasattr(self, "hosts"):
            return
        for end in (self.host, self.board):
            end.receive(b"\0", self.now_us)  # ends a partial frame left by damage
        for turn in range(600):
            for way in (DOWN, UP):
                if turn == 100:
                    self.send(way, 0)  # an idle link does not prove that it works
                self.speak(way, 100)
                self.deliver(way, len(self.wires[way]), 0) if self.wires[way] else None
                self.take(way, 100)
            if self.host.parted:
                break
            self.wait(60_000)
        if self.host.parted:
            assert self.boards > 1, "the host takes the same board for another one"
            return
        assert self.host.linked
        assert self.board.linked
        assert self.host.peer_session == self.board.session
        for way, here in ((DOWN, self.boards), (UP, self.hosts)):
            life = self.life(way)
            arrived = len(self.taken.get((way, life, here), []))
            assert arrived == self.sent.get((way, life), 0)
        assert self.host.awaiting == self.board.awaiting == 0
        assert self.host.overrun == self.board.overrun == 0


Link.TestCase.settings = settings(max_examples=100, stateful_step_count=60, deadline=None)
TestLink = Link.TestCase


class LinkAtLength(Link):
    """The same with more steps."""


LinkAtLength.TestCase.settings = settings(max_examples=1500, stateful_step_count=100, deadline=None)
TestLinkAtLength = pytest.mark.slow(LinkAtLength.TestCase)
