"""The board's end of the link with a fake board: requests, answers, reports, and their timing."""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from types import SimpleNamespace

import pytest

from dual.record_reader import record
from lineboard import feeder, kernel, server
from linewire import messages, records
from linewire.encoding import encode_payload
from linewire.endpoint import Endpoint

VERSION, DIGEST, SESSION = "1.2.3", 4_000_000_000, 77
LOW, HIGH = messages.I32_LOW, messages.I32_HIGH


class Port:
    kind, tick_hz, overhead_ticks, max_rate, unique = "rp2040", 5_000_000, 18, 120_000, b"\x01\x02\xff"

    def __init__(self) -> None:
        self.us = 5_000_000
        self.to_board, self.from_board = bytearray(), bytearray()
        self.takes = 1 << 20  # bytes before its own buffer is full
        self.piece = 512  # bytes in one read

    def now_us(self) -> int:
        return self.us

    def read_into(self, chunk: bytearray) -> int:
        n = min(len(chunk), len(self.to_board), self.piece)
        chunk[:n] = self.to_board[:n]
        del self.to_board[:n]
        return n

    def write(self, data: bytearray, n: int) -> int:
        n = min(n, self.takes)
        self.takes -= n
        self.from_board += data[:n]
        return n


class Queue:
    """The feeder's part."""

    def __init__(self) -> None:
        self.values, self.places = array("i", [0] * feeder.SLOTS), array("i", [0] * feeder.SLOTS)
        self.taken = self.queued = 0
        self.starved = self.underruns = 0
        self.records_done = 0
        self.a, self.b = -5, 1234
        self.played = [0, 0, 3, 4_999_999]
        self.state = {kernel.S_PACE: 256}
        self.last_kind = feeder.RAMP
        self.end_seen = False

    def room(self) -> int:
        return feeder.SLOTS - self.queued

    def granted(self) -> int:
        return self.taken - self.queued + feeder.SLOTS

    def ending(self) -> bool:
        return self.end_seen


@dataclass
class Axis:
    """Results of homing."""

    passes: int
    spread: int
    drift: int


class Board:
    """A fake board: answers as set by the test, and records requests."""

    def __init__(self) -> None:
        self.feeder = Queue()
        self.state, self.fault, self.program = messages.READY, messages.NO_FAULT, 0
        self.flag_bits = messages.FLAG_TRUSTED | messages.FLAG_UNPOWERED
        self.refused = array("i", [9, LOW, HIGH - 1, HIGH])
        self.answer: int | None = messages.NO_REASON
        self.accepts = self.given_up = False
        self.admits = messages.NO_FAULT
        self.asked: list[tuple[object, ...]] = []
        self.stops: list[tuple[int, int]] = []
        self.hosts = 0
        self.homing = SimpleNamespace(axes=(Axis(3, 2, -7), Axis(0, 11, 12)))

    def flags(self) -> int:
        return self.flag_bits

    def silent(self) -> bool:
        return self.given_up

    def accepts_records(self) -> bool:
        return self.accepts

    def new_host(self) -> None:
        self.hosts += 1

    def admit(self, count: int) -> int:
        self.asked.append(("admit", count))
        if not self.admits:
            self.feeder.taken += count
            self.feeder.queued += count
        return self.admits

    def stop_with(self, fault: int, detail: int) -> None:
        self.stops.append((fault, detail))
        self.accepts = False

    def __getattr__(self, name: str) -> object:
        if name not in ("set", "home", "origin", "begin", "set_pace", "abandon", "cut", "move_pen", "enable"):
            raise AttributeError(name)

        def note(*values: object) -> int | None:
            self.asked.append((name, *values))
            return self.answer

        return note


class Rig:
    """Server and host, greeted."""

    def __init__(self, session: int = 21, early: bool = False) -> None:
        self.port, self.board = Port(), Board()
        self.server = server.Server(self.board, self.port, VERSION, DIGEST, SESSION)
        if early:
            self.server.event(messages.FINISHED, 12)
        self.heard: list[tuple[str, dict[str, object]]] = []
        self.host = Endpoint(session, True, self.port.us)
        for _ in range(6):
            self.turn()
        assert self.host.linked

    def turn(self, us: int = 1000) -> bool:
        """One turn of the board's loop; the host listens before and speaks."""
        self.port.us += us
        self.host.receive(bytes(self.port.from_board), self.port.us)
        self.port.from_board.clear()
        while message := self.host.next_message():
            self.heard.append(messages.decode(message[0], message[2]))
        self.port.to_board += self.host.to_send(self.port.us)
        heard = self.server.receive(self.port.us)
        self.server.transmit(self.port.us)
        return heard

    def ask(self, name: str, **values: object) -> tuple[str, dict[str, object]]:
        """The answer to a request; asserts that the board sends nothing else."""
        self.heard.clear()
        self.request = self.host.send(messages.message_id(name), messages.encode(name, **values))
        for _ in range(4):
            self.turn()
        assert len(self.heard) == 1, self.heard
        return self.heard[0]

    def report(self) -> dict[str, int]:
        return messages.read_report(self.host.peer_report)

    def moves(self, entries: list[tuple[int, int, int, int]], first: int | None = None, start: int = 0) -> int:
        """Send one frame of a program's records from `start`; returns the index of the first record not sent."""
        payload, after = encode_payload(entries, start)
        at = self.board.feeder.taken if first is None else first
        self.host.send(messages.MOVES, messages.encode("moves", first=at, records=payload))
        return after


@pytest.fixture
def rig() -> Rig:
    return Rig()


@pytest.fixture
def drawing(rig: Rig) -> Rig:
    """A board that accepts records."""
    rig.board.state, rig.board.accepts, rig.board.program = messages.DRAWING, True, 6
    records.rest(rig.server._records)
    for _ in range(3):
        rig.turn()
    return rig


REQUESTS = [
    ("set", {"pairs": ((1, 20_000), (2, 300))}, ("set", ((1, 20_000), (2, 300)))),
    ("home", {"axes": 3}, ("home", 3)),
    ("origin", {"a": -7, "b": 9}, ("origin", -7, 9)),
    ("begin", {"program": 8, "first": 3, "a": -1, "b": 2}, ("begin", 8, 3, -1, 2)),
    ("pace", {"value": 128}, ("set_pace", 128)),
    ("abandon", {}, ("abandon",)),
    ("cut", {}, ("cut",)),
    ("pen", {"servo_us": 1500}, ("move_pen", 1500)),
    ("enable", {"on": 1}, ("enable", 1)),
]


def test_every_message_of_the_table_has_its_place():
    """Every request of a host is tested here."""
    named = {name for name, *_ in REQUESTS} | {"hello", "ask", "identify", "moves"}
    assert named == {name for name, number, _ in messages.MESSAGES if not number & messages.FROM_BOARD}
    assert set(Rig().server._requests) == {messages.message_id(name) for name in named - {"moves"}}


@pytest.mark.parametrize(("name", "values", "asked"), REQUESTS)
def test_each_request_is_asked_of_the_board_and_answered(rig, name, values, asked):
    if name != "home":
        assert rig.ask(name, **values) == ("done", {"request": rig.request})
        assert rig.board.asked == [asked]
    rig.board.answer = messages.WRONG_STATE
    told = {"request": 0, "message": messages.message_id(name), "field": 9, "reason": messages.WRONG_STATE}
    said = rig.ask(name, **values)
    assert said == ("refusal", told | {"request": rig.request, "value": LOW, "low": HIGH - 1, "high": HIGH})
    assert rig.board.asked[-1] == asked


def test_homing_is_answered_when_it_is_done(rig):
    rig.host.send(messages.HOME, messages.encode("home", axes=2))
    request = rig.host.awaiting - 1
    for _ in range(4):
        rig.turn()
    assert rig.heard == []
    rig.ask("pen", servo_us=700)  # with another number
    rig.heard.clear()
    rig.server.homed()
    for _ in range(3):
        rig.turn()
    x = {"x_passes": 3, "x_spread_steps": 2, "x_drift_steps": -7}
    y = {"y_passes": 0, "y_spread_steps": 11, "y_drift_steps": 12}
    assert rig.heard == [("homed", {"request": request, **x, **y})]


def test_greeting_tells_what_the_board_is_and_answers_another_digest_too(rig):
    name, said = rig.ask("hello", protocol=messages.PROTOCOL, digest=1)
    assert name == "greeting"
    assert said == {
        "protocol": messages.PROTOCOL,
        "board": messages.BOARDS.index("rp2040"),
        "digest": DIGEST,
        "session": SESSION,
        "tick_hz": 5_000_000,
        "overhead_ticks": 18,
        "max_rate": 120_000,
        "queue_slots": feeder.SLOTS,
        "version": VERSION,
    }
    for other in (messages.PROTOCOL - 1, messages.PROTOCOL + 1):
        name, said = rig.ask("hello", protocol=other, digest=DIGEST)
        limits = {"value": other, "low": messages.PROTOCOL, "high": messages.PROTOCOL}
        told = {"request": rig.request, "message": messages.HELLO, "field": 1, "reason": messages.OTHER_VERSION}
        assert (name, said) == ("refusal", told | limits)
    assert rig.ask("identify") == ("identity", {"request": rig.request, "unique": b"\x01\x02\xff"})


@pytest.mark.parametrize(
    ("kind", "payload", "expected"),
    [
        (messages.PACE, b"\x01\x02", (1, messages.OUT_OF_RANGE, 513, 0, 256)),
        (messages.PACE, b"\x01", (0, messages.OUT_OF_RANGE, 1, 2, 2)),
        (messages.HELLO, b"\x01\xff\xff\xff\xff\x00", (0, messages.OUT_OF_RANGE, 6, 5, 5)),
        (messages.BEGIN, b"\xff" * 4 + bytes(12), (1, messages.OUT_OF_RANGE, HIGH, 1, messages.U30)),
        (messages.SET, b"\xfa\x00\x00\x00\x00", (250, messages.OUT_OF_RANGE, 250, 0, len(messages.SETTINGS) - 1)),
        (0x3E, b"", (255, messages.UNKNOWN, 0x3E, 0, 0)),
    ],
)
def test_what_is_no_request_is_refused_by_name(rig, kind, payload, expected):
    request = rig.host.send(kind, payload)
    for _ in range(4):
        rig.turn()
    name, said = rig.heard[-1]
    field, reason, value, low, high = expected
    told = {"request": request, "message": kind, "field": field, "reason": reason}
    assert (name, said) == ("refusal", told | {"value": value, "low": low, "high": high})
    assert rig.board.asked == []


def test_a_report_says_what_the_board_and_its_queue_say(rig):
    queue = rig.board.feeder
    queue.starved, queue.underruns, queue.records_done = 0x1_0003, 0x1_0005, 17
    queue.taken, queue.queued = 40, 9
    queue.state[kernel.S_PACE] = 99
    rig.board.state, rig.board.fault = messages.FAULTED, messages.WATCHDOG
    for _ in range(3):
        rig.turn()
    said = {
        "state": messages.FAULTED,
        "fault": messages.WATCHDOG,
        "flags": messages.FLAG_TRUSTED | messages.FLAG_UNPOWERED,
        "pace": 99,
        "starved": 3,
        "underruns": 5,
        "program": 0,
        "records_done": 0,
        "granted": 0,
        "a": -5,
        "b": 1234,
        "played_s": 0,
        "played_ticks": 0,
    }
    assert rig.report() == said
    rig.board.state, rig.board.program, rig.board.accepts = messages.DRAWING, 5, True
    for _ in range(3):
        rig.turn()
    drawn = {"records_done": 17, "granted": 31 + feeder.SLOTS, "played_s": 3, "played_ticks": 4_999_999}
    assert rig.report() == said | drawn | {"state": messages.DRAWING, "program": 5}


def test_news_are_reported_at_once_and_progress_ten_times_a_second(rig):
    queue = rig.board.feeder

    def reports(us: int) -> int:
        """Number of messages that the host receives while it sends nothing."""
        before = rig.host.reports
        for _ in range(us // 1000):
            rig.port.us += 1000
            rig.server.receive(rig.port.us)
            rig.server.transmit(rig.port.us)
        rig.host.receive(bytes(rig.port.from_board), rig.port.us)
        rig.port.from_board.clear()
        return rig.host.reports - before

    reports(5000)
    assert reports(90_000) == 0
    for what, value in (("fault", messages.HOST_LOST), ("flag_bits", 0), ("state", messages.UNHOMED)):
        setattr(rig.board, what, value)
        assert reports(90_000) == 1, what
        assert rig.report()[what.removesuffix("_bits") + "s" * what.startswith("flag")] == value
    rig.board.state = messages.DRAWING
    assert reports(1000) == 1
    assert reports(99_000) == 0
    assert reports(1000) == 1
    assert reports(200_000) == 2
    rig.port.us += 150_000
    assert reports(1000) == 1, "also where a turn lasts longer"
    rig.board.state = messages.HOLDING
    assert reports(300_000) == 1
    rig.board.state = messages.READY
    reports(1000)
    rig.board.accepts = True
    assert reports(1000) == 1  # room for the whole queue
    queue.taken, queue.queued = 127, 0
    assert reports(90_000) == 0
    for taken, told in ((128, 1), (200, 0), (255, 0), (280, 1), (350, 0), (407, 0), (408, 1)):
        queue.taken = taken
        assert reports(90_000) == told, taken


def test_a_host_that_only_asks_for_a_sign_of_life_gets_a_fresh_report(rig):
    for _ in range(3):
        rig.turn()
    rig.board.feeder.a = 4321
    rig.host.probe()
    for _ in range(3):
        rig.turn()
    assert rig.report()["a"] == 4321


def test_a_turn_without_news_writes_no_report(rig, monkeypatch):
    """It takes longer than the rest of such a turn."""
    rig.server.transmit(rig.port.us)
    written = []
    monkeypatch.setattr(rig.server, "_write_report", lambda *news: written.append(news))
    for _ in range(3):
        rig.server.receive(rig.port.us)
        rig.server.transmit(rig.port.us)
    assert written == []
    rig.board.state = messages.HOLDING
    rig.server.transmit(rig.port.us)
    assert len(written) == 1


def test_no_two_states_faults_or_flags_are_the_same_news(rig):
    told = set()
    bits = [0, *(1 << i for i in range(7))]
    for rig.board.state in range(len(messages.STATES)):
        for rig.board.fault in range(len(messages.FAULTS)):
            for rig.board.flag_bits in bits:
                rig.server.transmit(rig.port.us)
                told.add(rig.server._told_state)
    assert len(told) == len(messages.STATES) * len(messages.FAULTS) * len(bits)


def test_a_report_that_is_asked_for_comes_behind_the_answer(rig):
    rig.host.send(messages.ASK, b"")
    rig.port.us += 1000
    rig.port.to_board += rig.host.to_send(rig.port.us)
    rig.server.receive(rig.port.us)
    rig.server.transmit(rig.port.us)
    before = rig.host.reports
    data = bytes(rig.port.from_board)
    # Frame by frame: the acknowledgement, the answer, the report.
    order = []
    for frame in data.split(b"\x00"):
        rig.host.receive(frame + b"\x00", rig.port.us)
        if rig.host.next_message():
            order.append("answer")
        if rig.host.reports > before:
            before = rig.host.reports
            order.append("report")
    assert order[-2:] == ["answer", "report"]
    assert rig.ask("pace", value=1)[0] == "done"


def test_records_are_queued_a_batch_a_turn(drawing):
    entries = [(records.RAMP, 1, 0, 900)] * 250
    drawing.moves(entries)
    assert drawing.server.sleep_us(drawing.port.us, 4000) == 4000
    for _ in range(8):
        drawing.turn()
    assert [asked for asked in drawing.board.asked if asked[1]] == [("admit", 96), ("admit", 96), ("admit", 58)]
    assert list(drawing.board.feeder.values[:250]) == [900] * 250
    assert drawing.heard == []
    assert not drawing.board.stops
    # The next frame goes on where this one has ended.
    drawing.board.asked.clear()
    drawing.moves([*entries, (records.RAMP, -1, 0, 800)], start=250)
    for _ in range(4):
        drawing.turn()
    assert drawing.board.asked == [("admit", 1)]
    assert drawing.board.feeder.values[250] == 800


def test_a_turn_with_records_left_is_followed_by_another_at_once(drawing):
    drawing.moves([(records.RAMP, 1, 0, 900)] * 250)
    drawing.turn()
    drawing.turn()
    assert drawing.board.asked[-1] == ("admit", 96)
    assert drawing.server.sleep_us(drawing.port.us, 4000) == 0


@pytest.mark.parametrize("stop", ["abandon", "cut"])
def test_a_stop_behind_records_makes_them_worthless_at_once(drawing, stop):
    drawing.moves([(records.RAMP, 1, 0, 900)] * 250)
    drawing.moves([(records.RAMP, 1, 0, 900)] * 9, first=250)
    drawing.host.send(messages.message_id(stop), b"")
    drawing.turn()
    assert drawing.board.asked == [(stop,)]


def test_other_requests_wait_behind_records(drawing):
    drawing.moves([(records.RAMP, 1, 0, 900)] * 120)
    drawing.host.send(messages.PEN, b"\xdc\x05")
    drawing.host.send(messages.ASK, b"")
    for _ in range(5):
        drawing.turn()
    assert [asked for asked in drawing.board.asked if asked[1]] == [("admit", 96), ("admit", 24), ("move_pen", 1500)]


def test_records_are_queued_at_their_slots_also_where_the_queue_begins_anew(drawing):
    queue = drawing.board.feeder
    queue.taken = 3 * feeder.SLOTS - 1
    drawing.moves([(records.RAMP, 1, 0, 700), (records.RAMP, 1, 0, 800)])
    for _ in range(3):
        drawing.turn()
    assert queue.values[feeder.SLOTS - 1] == 700
    assert list(queue.values[:2]) == [800, 0]


def test_records_at_the_wrong_number_are_refused_and_stop_nothing(drawing):
    number = drawing.board.feeder.taken = 0x12345678
    for first in (number - 1, number + 1):
        drawing.moves([(records.RAMP, 1, 0, 900)], first=first)
        for _ in range(4):
            drawing.turn()
        said = drawing.heard[-1][1]
        assert (said["message"], said["field"], said["reason"]) == (messages.MOVES, 1, messages.OUT_OF_STEP)
        assert (said["value"], said["low"], said["high"]) == (first, number, number)
    assert not drawing.board.stops
    assert drawing.board.asked == []
    drawing.moves([(records.RAMP, 1, 0, 900)])
    for _ in range(4):
        drawing.turn()
    assert drawing.board.asked == [("admit", 1)]


def test_more_records_than_there_is_room_for_are_refused(drawing):
    queue = drawing.board.feeder
    queue.taken, queue.queued = 300, feeder.SLOTS - 6
    drawing.moves([(records.RAMP, 1, 0, 900)] * 8)
    for _ in range(6):
        drawing.turn()
    assert drawing.board.asked[0] == ("admit", 6)
    said = drawing.heard[-1][1]
    assert (said["message"], said["field"], said["reason"]) == (messages.MOVES, 1, messages.NO_ROOM)
    assert (said["value"], said["low"], said["high"]) == (306, 0, 305)
    assert len(drawing.heard) == 1
    # The rest of this frame is discarded, even when there is room later.
    queue.queued = 0
    drawing.moves([(records.RAMP, 1, 0, 900)], first=1)
    for _ in range(4):
        drawing.turn()
    assert [fields["reason"] for _, fields in drawing.heard] == [messages.NO_ROOM, messages.OUT_OF_STEP]
    assert [asked for asked in drawing.board.asked if asked[1]] == [("admit", 6)]


@pytest.mark.parametrize(
    ("payload", "reason"),
    [(b"", messages.OUT_OF_RANGE), (b"\xff\xff\xff\xff\xff\xff", None), (b"\x00", None)],
)
def test_a_frame_without_records_or_with_broken_ones(drawing, payload, reason):
    drawing.board.feeder.taken = 7
    drawing.host.send(messages.MOVES, b"\x07\x00\x00\x00" + payload)
    for _ in range(4):
        drawing.turn()
    if reason:
        said = drawing.heard[-1][1]
        assert (said["message"], said["field"], said["reason"]) == (messages.MOVES, 0, reason)
        assert (said["value"], said["low"], said["high"]) == (4, 5, messages.PAYLOAD)
        assert not drawing.board.stops
        assert drawing.board.asked == []
    else:
        assert drawing.board.stops == [(messages.BAD_RECORDS, 7)]
        assert drawing.heard == []


@pytest.mark.parametrize("n", [0, 3])
def test_a_frame_too_short_for_the_number_of_its_first_record(drawing, n):
    drawing.host.send(messages.MOVES, bytes(n))
    for _ in range(4):
        drawing.turn()
    said = drawing.heard[-1][1]
    assert (said["message"], said["field"], said["reason"]) == (messages.MOVES, 0, messages.OUT_OF_RANGE)
    assert (said["value"], said["low"], said["high"]) == (n, 5, messages.PAYLOAD)
    assert drawing.board.asked == []


def test_a_record_that_the_guard_refuses_stops_with_its_number(drawing):
    drawing.board.admits = messages.BEYOND_LIMITS
    drawing.board.feeder.taken = 7
    drawing.moves([(records.RAMP, 1, 0, 900)] * 200)
    for _ in range(5):
        drawing.turn()
    assert drawing.board.stops == [(messages.BEYOND_LIMITS, 7)]
    assert drawing.board.asked == [("admit", 96)]


def test_records_for_no_program_are_passed_over_in_silence(rig):
    rig.moves([(records.RAMP, 1, 0, 900)])
    for _ in range(4):
        rig.turn()
    assert rig.board.asked == []
    assert rig.heard == []
    # So is the rest of a frame after the program has ended.
    rig.board.accepts = True
    records.rest(rig.server._records)
    rig.moves([(records.RAMP, 1, 0, 900)] * 200)
    while not rig.board.asked:
        rig.turn()
    rig.board.accepts = False
    for _ in range(4):
        rig.turn()
    assert rig.board.asked == [("admit", 96)]
    assert rig.ask("pen", servo_us=700) == ("done", {"request": rig.request})
    assert rig.ask("abandon") == ("done", {"request": rig.request})


def test_a_program_begins_with_the_decoder_at_rest(drawing):
    """State left by a program that was interrupted at speed has no effect; a refused request changes nothing."""
    entries = [(records.RAMP, 30, -2, 500)] * 4
    for answer in (messages.WRONG_STATE, messages.NO_REASON):
        records.rest(drawing.server._records)
        drawing.moves(entries)
        for _ in range(4):
            drawing.turn()
        drawing.board.answer = answer
        drawing.board.asked.clear()
        drawing.ask("begin", program=1, first=0, a=0, b=0)
        at = drawing.board.feeder.taken
        before = entries if answer == messages.WRONG_STATE else []
        drawing.moves([*before, (records.RAMP, 7, 1, 900)], start=len(before))
        for _ in range(4):
            drawing.turn()
        assert record(drawing.board.feeder.values[at], drawing.board.feeder.places[at]) == (records.RAMP, 7, 1, 900)


def test_events_and_faults_are_said_and_only_where_somebody_listens(rig):
    rig.server.event(messages.FINISHED, 12)
    rig.server.fault(messages.ENDSTOP_HIT, -1)
    for _ in range(3):
        rig.turn()
    assert rig.heard == [
        ("event", {"code": messages.FINISHED, "value": 12}),
        ("fault", {"code": messages.ENDSTOP_HIT, "detail": -1}),
    ]
    late = Rig(early=True)
    assert late.heard == []


def test_answers_wait_for_a_slot_in_their_order_and_hold_up_what_comes(rig):
    """A host that acknowledges nothing has room for 16 messages; none is lost, and the order is kept."""
    host, port = rig.host, rig.port
    for i in range(20):
        rig.server.event(messages.FINISHED, i)
    port.us += 1000
    rig.server.transmit(port.us)
    host.send(messages.PACE, b"\x09\x00")
    port.to_board += host.to_send(port.us)
    assert rig.server.receive(port.us)
    assert rig.board.asked == []
    assert rig.server.sleep_us(port.us, 3000) <= 3000
    assert rig.server.sleep_us(port.us, 3000) != 0 or rig.server.endpoint.next_deadline_us() == port.us
    for _ in range(6):
        rig.turn()
    said = [fields["value"] for name, fields in rig.heard if name == "event"]
    assert said == list(range(20))
    assert rig.heard[-1][0] == "done"
    assert rig.board.asked == [("set_pace", 9)]


@pytest.mark.parametrize("piece", [7, 31])
def test_a_port_that_takes_a_few_bytes_at_a_time_loses_none(rig, piece):
    whole = Rig()
    for one in (rig, whole):
        one.port.from_board.clear()
        for i in range(5):
            one.server.event(messages.FINISHED, i)
    whole.server.transmit(whole.port.us + 1000)
    rig.port.takes = 0
    rig.server.transmit(rig.port.us + 1000)
    assert rig.server.sleep_us(rig.port.us, 5000) == 1000
    assert rig.server.sleep_us(rig.port.us, 300) == 300
    behind = bytes([0xA5]) * 100
    rig.server.endpoint.wire[64:164] = behind
    while len(rig.port.from_board) < len(whole.port.from_board):
        rig.port.takes = piece
        rig.server.transmit(rig.port.us + 1000)
    assert rig.port.from_board == whole.port.from_board
    assert rig.server.endpoint.wire[64:164] == behind, "no more is moved than the rest of a frame"
    rig.port.takes = 1 << 20
    rig.server.transmit(rig.port.us + 1000)
    assert rig.server.sleep_us(rig.port.us + 1000, 5000) != 1000


def test_one_report_is_all_that_is_sent_before_a_host_has_spoken():
    port = Port()
    it = server.Server(Board(), port, VERSION, DIGEST, SESSION)
    for us in range(0, 400_000, 1000):
        it.receive(port.us + us)
        it.transmit(port.us + us)
    assert port.from_board.index(0) == len(port.from_board) - 1 > 0, "one frame, with nothing before it"


def test_whoever_speaks_is_heard_and_another_session_is_a_new_host(rig):
    assert rig.board.hosts == 1
    rig.host.probe()
    assert rig.turn()
    assert not any(rig.server.receive(rig.port.us + i) for i in range(1, 4))
    rig.port.to_board += b"\x03\x07\x00noise\x00"
    assert not rig.server.receive(rig.port.us + 5)
    rig.moves([(records.RAMP, 1, 0, 900)] * 250)
    rig.board.accepts = True
    rig.turn()
    for i in range(30):
        rig.server.event(messages.FINISHED, i)
    rig.host = Endpoint(22, True, rig.port.us)
    rig.heard.clear()
    rig.board.asked.clear()
    for _ in range(8):
        rig.turn()
    assert rig.board.hosts == 2
    assert rig.heard == [], "nothing of what the one before was owed"
    assert rig.board.asked == [], "nor the rest of its records"
    assert rig.report()["granted"] == rig.board.feeder.granted()


def test_many_bytes_are_taken_in_at_once(rig):
    rig.port.piece = 11
    for i in range(8):
        rig.host.send(messages.PACE, bytes([i, 0]))
    assert rig.turn()
    assert rig.board.asked == [("set_pace", i) for i in range(8)]


def test_a_flood_of_bytes_does_not_keep_the_loop(rig, monkeypatch):
    """Zeros between frames have no meaning; they come faster than they can be read."""
    asked = []

    def read_into(buffer: bytearray) -> int:
        asked.append(len(buffer))
        return len(buffer) if len(asked) < 99 else 0

    monkeypatch.setattr(rig.port, "read_into", read_into)
    rig.server.receive(rig.port.us)
    assert len(asked) == 2


def test_what_the_host_owes(drawing):
    """An answer to a question, an acknowledgement, or records for which there is room for more than a frame."""
    it, board, queue = drawing.server, drawing.board, drawing.board.feeder
    queue.taken = 100
    it.transmit(drawing.port.us)
    assert it.expecting()
    for what, off, on in (("accepts", False, True), ("given_up", True, False)):
        setattr(board, what, off)
        assert not it.expecting()
        setattr(board, what, on)
    queue.end_seen = True
    assert not it.expecting()
    queue.end_seen = False
    queue.last_kind = feeder.REST
    assert not it.expecting()
    queue.last_kind = feeder.RAMP
    it._told_granted = queue.taken + records.MOST
    assert it.expecting()
    it._told_granted -= 1
    assert not it.expecting()
    it.transmit(drawing.port.us)
    it._told_granted = queue.taken
    assert not it.expecting()
    before = it.endpoint.frames_sent
    it.probe()
    assert it.expecting()
    board.given_up = True
    assert not it.expecting()
    board.given_up = False
    it._told_granted = queue.granted()
    it.transmit(drawing.port.us)
    it.probe()  # once is enough
    it.transmit(drawing.port.us)
    assert it.endpoint.frames_sent == before + 1
    drawing.turn()
    drawing.turn()
    it._told_granted = queue.taken
    assert not it.expecting()
    it.event(messages.FINISHED, 1)
    assert it.expecting()


def test_the_loop_sleeps_until_the_link_wants_it(rig):
    for _ in range(3):
        rig.turn()
    now_us = rig.port.us
    assert rig.server.endpoint.next_deadline_us() is None
    assert rig.server.sleep_us(now_us, 20_000) == 20_000
    rig.server.event(messages.FINISHED, 1)
    rig.server.transmit(now_us)
    wait_us = rig.server.sleep_us(now_us, 10_000_000)
    assert 0 < wait_us < 1_000_000
    assert rig.server.sleep_us(now_us + 1000, 10_000_000) == wait_us - 1000
    assert rig.server.sleep_us(now_us, wait_us - 1) == wait_us - 1
    assert rig.server.sleep_us(now_us + 10_000_000, 10_000_000) == 0
