"""A complete board in a simulated world, with a host at the other end of the link. For CPython and MicroPython."""

import fake_world

from lineboard.board import Board
from lineboard.ports.virtual import VirtualPort
from linewire import encoding, messages, records
from linewire.endpoint import Endpoint

SETTINGS = {
    "accel": 80_000,
    "max_rate": 40_000,
    "x_low": 0,
    "x_high": 16_000,
    "y_low": 0,
    "y_high": 24_000,
    "pen_up_us": 1300,
    "pen_down_us": 1700,
    "pen_lift_ms": 200,
    "pen_lower_ms": 150,
    "home_fast_x": 3200,
    "home_fast_y": 3200,
    "home_slow_x": 400,
    "home_slow_y": 400,
    "home_accel_x": 40_000,
    "home_accel_y": 40_000,
    "home_backoff_x": 240,
    "home_backoff_y": 240,
    "home_travel_x": 16_000,
    "home_travel_y": 24_000,
    "home_end_x": 1,
    "home_end_y": 1,
    "home_passes": 3,
    "idle_after_s": 10,
    "host_silence_ms": 2000,
}
UP, DOWN = SETTINGS["pen_up_us"], SETTINGS["pen_down_us"]


def square(side=800, v=4000, up=None):
    """Records of one square stroke from rest to rest, pen down before and up after."""
    up = side // 4 if up is None else up
    out = [(records.PEN, DOWN, 150, 0)]
    for da, db in ((1, 0), (0, 1), (-1, 0), (0, -1)):
        out.append((records.RAMP, da * up, db * up, v))
        out.append((records.RAMP, da * (side - 2 * up), db * (side - 2 * up), v))
        out.append((records.RAMP, da * up, db * up, 0))
    out.append((records.PEN, UP, 200, 0))
    return out


class BoardRig:
    """Board and host in one process; the host acts whenever the board pauses.

    Attributes
    ----------
    heard : [(name, fields)] every message from the board, in order.
    silent : the cable is disconnected: nothing passes in either direction.
    """

    def __init__(self, start=(0, 0), crossed=False, session=11, world=None):
        self.world = world or fake_world.FakeWorld(start, crossed)
        self.world.host = self._host_turn
        self.port = VirtualPort(self.world)
        self.board = Board(self.port, 4711, session)
        self.heard = []
        self.silent = False
        self.host = None
        self._program = []
        self._at = 0
        self._payload = None
        self.new_host(7)

    def new_host(self, session):
        self.host = Endpoint(session, True, self.world.now_us())

    # The host.

    def _host_turn(self):
        now_us = self.world.now_us()
        if self.silent:
            self.world.from_board = bytearray()
            return
        self.host.receive(bytes(self.world.from_board), now_us)
        self.world.from_board = bytearray()
        while True:
            message = self.host.next_message()
            if message is None:
                break
            self.heard.append(messages.decode(message[0], message[2]))
        self._stream()
        self.world.to_board += self.host.to_send(now_us)

    def _stream(self):
        while self._at < len(self._program) and self.host.can_send and self.host.reports:
            if self._payload is None:
                self._payload, self._after = encoding.encode_payload(self._program, self._at)
            report = self.report()
            if report["program"] != self._number or self._first + self._after > report["granted"]:
                return
            self.send("moves", first=self._first + self._at, records=self._payload)
            self._at = self._after
            self._payload = None

    def report(self):
        return messages.read_report(self.host.peer_report)

    def send(self, name, **values):
        return self.host.send(messages.message_id(name), messages.encode(name, **values))

    def draw(self, program, number=1, first=0, at=None):
        """Ask for a program; its records are streamed as the board grants room."""
        a, b = at if at else (self.board.feeder.a, self.board.feeder.b)
        self.send("begin", program=number, first=first, a=a, b=b)
        self._program = program
        self._number = number
        self._first = first
        self._at = 0
        self._payload = None

    # Time.

    def run(self, until, seconds=120):
        """Poll the board until `until()`; fails after that much virtual time."""
        end = self.world.tick + int(seconds * 5_000_000)
        while not until():
            assert self.world.tick < end, "still waiting in state {}, heard {}".format(
                messages.STATES[self.board.state], self.heard[-3:]
            )
            self.board.poll()

    def spend(self, seconds):
        end = self.world.tick + int(seconds * 5_000_000)
        while self.world.tick < end:
            self.board.poll()

    def last(self, name):
        """Fields of the last message of that name, or None."""
        for heard, fields in reversed(self.heard):
            if heard == name:
                return fields
        return None

    def state(self):
        return messages.STATES[self.board.state]

    # Common starts.

    def settle(self, **other):
        """Greet and set; unhomed afterwards."""
        values = dict(SETTINGS)
        values.update(other)
        pairs = [(messages.SETTING_BY_NAME[name][1], value) for name, value in values.items()]
        self.send("hello", protocol=messages.PROTOCOL, digest=4711)
        self.send("set", pairs=tuple(pairs))
        self.run(lambda: self.last("done") is not None)

    def ready(self, **other):
        """Configured, with the origin set by hand in place of homing, which is tested elsewhere."""
        self.settle(**other)
        self.send("origin", a=self.world.a, b=self.world.b)
        self.run(lambda: self.state() == "ready")
        self.board.homed = 3
