"""A board with random answers: the host ends with a link error in bounded time."""

from __future__ import annotations

import random

import pytest

from linewire import messages
from linewire.endpoint import Endpoint
from linewire.messages import FieldError
from linewright.board import conversation
from linewright.board.session import Session
from linewright.errors import LinewrightError
from linewright.rig.rig import Rig

_EXTREMES = (0, 1, 255, 65535, 2**30 - 1, 2**31 - 1, -1, -(2**31))


class AnyBoard:
    """A link to a board with valid frames and random messages, in virtual time."""

    name = "any board"

    def __init__(self, chance, talkative):
        self.now_s = 1000.0
        self._chance = chance
        self._talkative = talkative
        self._end = Endpoint(7, False, self._us(), report_size=messages.REPORT_SIZE)

    def monotonic(self):
        return self.now_s

    def monotonic_ns(self):
        return int(self.now_s * 1e9)

    def _us(self):
        return int(self.now_s * 1e6) % (1 << 30)

    def write(self, data):
        self._end.receive(bytes(data), self._us())

    def read(self, most, timeout_s):
        self.now_s += max(timeout_s, 0.001)
        end, chance = self._end, self._chance
        while message := end.next_message():
            if end.can_send and chance.random() < self._talkative:
                self._say(message[1])
        if end.can_send and chance.random() < 0.05:
            self._say(chance.randrange(65536))
        if chance.random() < 0.3:
            report = [chance.choice((low, high, (low + high) // 2)) for _, _, low, high in messages.REPORT]
            if chance.random() < 0.02:
                end.report[:] = chance.randbytes(messages.REPORT_SIZE)
            else:
                messages.write_report(end.report, report)
            end.push()
        return bytes(end.to_send(self._us()))[:most]

    def _say(self, request):
        chance = self._chance
        name, number, fields = chance.choice([entry for entry in messages.MESSAGES if entry[1] & messages.FROM_BOARD])
        values = {}
        for field, kind, low, high in fields:
            if kind in ("bytes", "text"):
                text = bytes(chance.randrange(32, 127) for _ in range(chance.randrange(low, min(high, 20) + 1)))
                values[field] = text.decode() if kind == "text" else text
            else:
                values[field] = request if field == "request" else chance.choice((low, high, *_EXTREMES))
        try:
            payload = messages.encode(name, **values)
        except FieldError:
            payload = chance.randbytes(chance.randrange(20))
        self._end.send(number, payload)


def talk(number):
    """Greet, home, jog and query such a board; returns the result and the virtual time."""
    chance = random.Random(f"board {number}")
    link = AnyBoard(chance, chance.choice((0.5, 0.95, 1.0)))
    before = conversation.time
    conversation.time = link
    try:
        session = Session(link, Rig.default())
        try:
            session.hello()
            session.unique_id()
            session.tell_rig()
            session.home()
            session.jog((5.0, 5.0))
        except LinewrightError as error:
            return str(error), link.now_s - 1000.0
        return "", link.now_s - 1000.0
    finally:
        conversation.time = before


@pytest.mark.parametrize("number", range(20))
def test_a_board_that_answers_anything_ends_in_words(number):
    _, took_s = talk(number)
    assert took_s < 600.0
