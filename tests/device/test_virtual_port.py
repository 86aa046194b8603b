"""The virtual rig's port gives equal results in this process and in another one."""

import struct
import subprocess
import sys
from pathlib import Path

import pytest

from dual import fake_world
from lineboard.ports.virtual import BLOCKS, INBOX, VirtualPort
from linewire import encoding, messages, records
from linewire.endpoint import Endpoint

ROOT = Path(__file__).resolve().parents[2]
MICROPYTHON = ROOT / ".tools" / "micropython"
DIGEST, SESSION = 4711, 9

PROGRAM = [
    (records.PEN, 1700, 150, 0),
    (records.RAMP, 200, 70, 4000),
    (records.RAMP, 900, 315, 4000),
    (records.RAMP, -200, 70, 0),
    (records.REST, 12_345, 0, 0),
    (records.PEN, 1300, 200, 0),
    (records.END, 0, 0, 0),
]


class Host:
    """A host that greets, sends settings, sets the origin, and draws."""

    def __init__(self, world):
        self.world = world
        self.endpoint = Endpoint(5, True, world.now_us())
        self.events = []
        pairs = ((messages.SETTING_BY_NAME[n][1], 5000) for n in ("x_high", "y_high"))
        payload, _ = encoding.encode_payload(PROGRAM, 0)
        self.requests = [
            ("hello", {"protocol": messages.PROTOCOL, "digest": DIGEST}),
            ("set", {"pairs": tuple(pairs)}),
            ("origin", {"a": 0, "b": 0}),
            ("begin", {"program": 1, "first": 0, "a": 0, "b": 0}),
            ("moves", {"first": 0, "records": payload}),
        ]
        for name, values in self.requests:
            self.endpoint.send(messages.message_id(name), messages.encode(name, **values))
        world.host = self.turn

    def turn(self):
        now_us = self.world.now_us()
        self.endpoint.receive(bytes(self.world.from_board), now_us)
        self.world.from_board = bytearray()
        while message := self.endpoint.next_message():
            name, fields = messages.decode(message[0], message[2])
            assert name not in ("refusal", "fault"), fields
            if name == "event":
                self.events.append(fields)
        self.world.to_board += self.endpoint.to_send(now_us)

    def report(self):
        return messages.read_report(self.endpoint.peer_report)


def serve(world, process, until):
    """The world's side of the pipe: the requests as `lineboard.ports.virtual` lists them."""
    status = [0, 0, 0, 0]
    inbox = bytearray(INBOX)

    def take(form):
        return struct.unpack(form, process.stdout.read(struct.calcsize(form)))

    def answer(form, *values):
        process.stdin.write(struct.pack(form, *values))
        process.stdin.flush()

    while not until():
        (letter,) = take("<c")
        if letter == b"G":
            world.greet(status)
            answer("<I", status[0])
        elif letter == b"C":
            world.configure(*take("<HHH"))
        elif letter == b"R":
            world.wiring(*take("<BbbB"))
        elif letter == b"S":
            count, servo_us = take("<HH")
            world.submit(list(take(f"<{count}I")), count, servo_us)
        elif letter == b"X":
            answer("<I", world.halt())
        elif letter == b"V":
            world.servo(*take("<H"))
        elif letter == b"E":
            world.enable(*take("<B"))
        elif letter == b"M":
            world.mark(*take("<ii"))
        elif letter == b"W":
            (n,) = take("<H")
            world.write(process.stdout.read(n), n)
        elif letter == b"P":
            world.pause(*take("<IB"), status, inbox)
            answer("<IIBH", *status)
            process.stdin.write(inbox[: status[3]])
            process.stdin.flush()
        else:
            raise AssertionError(letter)


def draw_here():
    from lineboard.board import Board

    world = fake_world.FakeWorld()
    host = Host(world)
    board = Board(VirtualPort(world), DIGEST, SESSION)
    for _ in range(5000):
        board.poll()
        if host.events:
            return world, host
    raise AssertionError("never finished")


@pytest.mark.parametrize("interpreter", ["cpython", "micropython"])
def test_a_board_in_its_own_process_plays_the_same(interpreter):
    command = [sys.executable, "-S"]
    if interpreter == "micropython":
        if not MICROPYTHON.exists():
            pytest.skip("NOT TESTED UNDER MICROPYTHON: .tools/micropython is missing; `make micropython` says why")
        command = [str(MICROPYTHON)]
    path = f"{ROOT / 'device'}:{ROOT / 'shared_protocol'}"
    process = subprocess.Popen(
        [*command, "-c", f"from lineboard.ports.virtual import main; main({DIGEST}, {SESSION})"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={"PYTHONPATH": path, "MICROPYPATH": path},
    )
    world = fake_world.FakeWorld()
    host = Host(world)
    try:
        serve(world, process, lambda: host.events)
    finally:
        process.stdin.close()
        process.stdout.read()
        process.stdout.close()
        ended = process.wait(timeout=10)
    assert ended == 0, "the end of the pipe is the end of the board"
    expected, expected_host = draw_here()
    assert list(world.edges) == list(expected.edges)
    assert len(world.edges) > 1000
    assert world.servo_log == expected.servo_log
    assert world.enable_log == expected.enable_log
    assert world.marks == expected.marks
    assert host.report() == expected_host.report()


class Still:
    """A world in which nothing ever finishes."""

    def __init__(self, incoming=b""):
        self.incoming = incoming
        self.pauses = 0

    def greet(self, status):
        status[0] = 5

    def configure(self, *shape):
        self.shape = shape

    def wiring(self, *wires):
        self.wires = wires

    def submit(self, words, count, servo_us):
        pass

    def pause(self, max_us, expecting, status, inbox):
        self.pauses += 1
        n = min(len(self.incoming), len(inbox))
        inbox[0:n] = self.incoming[:n]
        self.incoming = self.incoming[n:]
        status[3] = n


def test_room_counts_blocks_under_way():
    port = VirtualPort(Still())
    for left in range(BLOCKS, 0, -1):
        assert port.room() == left
        port.submit([16], 1, 0)
    assert port.room() == 0
    assert port.playing()


def test_unread_bytes_end_a_pause_at_once():
    data = bytes(range(256)) * 4
    world = Still(data)
    port = VirtualPort(world)
    port.pause(1000, False)
    got = bytearray()
    chunk = bytearray(100)
    n = port.read_into(chunk)
    got += chunk[:n]
    port.pause(1000, False)
    assert world.pauses == 1, "nothing may be lost by sleeping on unread bytes"
    while len(got) < len(data):
        while n := port.read_into(chunk):
            got += chunk[:n]
        port.pause(1000, False)
    assert got == data


def test_the_pulse_shape_follows_the_settings_rounded_up():
    world = Still()
    port = VirtualPort(world)
    # Defaults of the settings: 2 us and 1 us, in ticks of 200 ns.
    assert world.shape == (5, 10, 19)
    settings = [entry[4] for entry in messages.SETTINGS]
    settings[messages.SETTING_BY_NAME["step_width_ns"][1]] = 2001
    settings[messages.SETTING_BY_NAME["direction_setup_ns"][1]] = 200
    port.configure(settings)
    assert world.shape == (1, 11, 16)
    assert port.overhead_ticks == 16


def test_the_world_is_told_how_the_board_believes_that_it_is_wired():
    world = Still()
    settings = [entry[4] for entry in messages.SETTINGS]
    for name, value in (("reversed_b", 1), ("pin_endstop_x", 9), ("pin_endstop_y", 47), ("contact_y", 1)):
        settings[messages.SETTING_BY_NAME[name][1]] = value
    VirtualPort(world).configure(settings)
    assert world.wires == (2, 9, 47, 2)
