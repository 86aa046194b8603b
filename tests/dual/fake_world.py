"""A small deterministic simulation for tests of the board code: virtual time, played words, switches by position.

It has the interface documented in `lineboard.ports.virtual`, in one process and without real time. A hook acts as the
host: it runs before time advances and may send bytes. Runs on CPython and MicroPython.
"""

from array import array

PERIOD_US = 1 << 30
TICKS_PER_US = 5
# Start just below the wrap, so that every test crosses it.
START_US = PERIOD_US - 700_000


class Switch:
    """An endstop of one axis: pressed on one side of `at`, in steps along the axis; bounces after each change."""

    def __init__(self, at, low_end=True, bounces_us=()):
        self.at = at
        self.low_end = low_end
        # Alternating changes of the level at these times after each change, us.
        self.bounces_us = bounces_us
        self.changed_at = None
        self.was = None
        self.forced = None

    def level(self, position, tick):
        pressed = position <= self.at if self.low_end else position >= self.at
        if self.forced is not None:
            pressed = self.forced
        if pressed != self.was:
            if self.was is not None:
                self.changed_at = tick
            self.was = pressed
        if self.changed_at is not None:
            for flip_us in self.bounces_us:
                if tick - self.changed_at >= flip_us * TICKS_PER_US:
                    pressed = not pressed
        return pressed

    def bounces_after(self, tick):
        return (
            bool(self.bounces_us)
            and self.changed_at is not None
            and (tick - self.changed_at < self.bounces_us[-1] * TICKS_PER_US)
        )


class Edges:
    """The step edges of a session as (tick, da, db), stored compactly for MicroPython's small heap."""

    def __init__(self):
        self._ticks = array("q")
        self._words = array("B")

    def add(self, tick, word):
        self._ticks.append(tick)
        self._words.append(word & 15)

    def __len__(self):
        return len(self._ticks)

    def __getitem__(self, i):
        if i < 0:
            i += len(self)
        if not 0 <= i < len(self):
            raise IndexError(i)
        word = self._words[i]
        da = (word & 1) * (1 if word & 4 else -1)
        db = (word >> 1 & 1) * (1 if word & 8 else -1)
        return self._ticks[i], da, db


class FakeWorld:
    """Plays words, keeps a log.

    Attributes
    ----------
    a, b : true motor steps since the start.
    edges : every step edge.
    servo_log, enable_log, marks : [(tick, ...)].
    blocks : [(tick begun, words, servo_us)], only if ``keep_blocks``.
    """

    def __init__(self, start=(0, 0), crossed=False):
        self.tick = 0
        self.a, self.b = start
        self.crossed = crossed
        self.switches = [None, None]
        self.queue = []
        self.word = 0  # of the first block
        self.word_from = 0  # tick at which it began
        self.stepped = False  # its step edge has been made
        self.submitted = 0
        self.finished = 0
        self.edges = Edges()
        self.blocks = []
        self.keep_blocks = False
        self.servo_log = []
        self.enable_log = []
        self.marks = []
        self.to_board = bytearray()
        self.from_board = bytearray()
        self.host = None
        self.shape = None
        self.powered = 0
        self.spent = []  # (asked max_us, expecting)
        self.last_endstops = 0
        self.motor_power = True

    # The interface.

    def greet(self, status):
        status[0] = START_US

    def wiring(self, _turned, _endstop_x, _endstop_y, _contacts):
        """The wiring of this world matches the board's settings."""

    def configure(self, setup_ticks, width_ticks, overhead_ticks):
        assert not self.queue
        self.shape = (setup_ticks, width_ticks, overhead_ticks)

    def submit(self, words, count, servo_us):
        assert 0 < count <= len(words)
        assert self.submitted - self.finished < 8
        if not self.queue:
            self.word = 0
            self.word_from = self.tick
            self.stepped = False
        self.queue.append((list(words[0:count]), servo_us))
        self.submitted += 1
        if len(self.queue) == 1:
            self._begin_block()

    def halt(self):
        unplayed = sum(len(words) for words, _ in self.queue)
        if self.queue:
            unplayed -= self.word + (1 if self.stepped else 0)
        self.queue.clear()
        self.finished = self.submitted
        return unplayed

    def servo(self, us):
        self.servo_log.append((self.tick, us))

    def enable(self, on):
        self.powered = on
        self.enable_log.append((self.tick, on))

    def mark(self, a, b):
        self.marks.append((self.tick, a, b, self.a, self.b))

    def write(self, buffer, n):
        self.from_board += bytes(buffer[0:n])

    def pause(self, max_us, expecting, status, inbox):
        if self.host:
            self.host()
        until = self.tick + max_us * TICKS_PER_US
        if not self.to_board:
            self._play(until)
        n = min(len(self.to_board), len(inbox))
        inbox[0:n] = self.to_board[0:n]
        self.to_board = self.to_board[n:]
        status[0] = self.now_us()
        status[1] = self.finished & (PERIOD_US - 1)
        status[2] = self.last_endstops = self._endstops()
        status[3] = n

    # The mechanics.

    def now_us(self):
        return (START_US + self.tick // TICKS_PER_US) % PERIOD_US

    def along(self, axis):
        if not self.crossed:
            return self.b if axis else self.a
        return (self.a - self.b) / 2 if axis else (self.a + self.b) / 2

    def _endstops(self):
        bits = 0
        for axis, switch in enumerate(self.switches):
            if switch and switch.level(self.along(axis), self.tick):
                bits |= 1 << axis
        if not self.motor_power:
            bits |= 4
        return bits

    def _bouncing(self):
        return bool([switch for switch in self.switches if switch and switch.bounces_after(self.tick)])

    def _begin_block(self):
        words, servo_us = self.queue[0]
        if self.keep_blocks:
            self.blocks.append((self.word_from, words, servo_us))
        if servo_us:
            self.servo_log.append((self.word_from, servo_us))

    def _play(self, until):
        setup, _, overhead = self.shape
        watching = any(self.switches)
        while True:
            if not self.queue:
                if watching and self._endstops() != self.last_endstops:
                    return
                # Switches also bounce at rest.
                while self.tick < until and self._bouncing():
                    self.tick = min(until, self.tick + 250)
                    if self._endstops() != self.last_endstops:
                        return
                self.tick = max(self.tick, until)
                return
            words = self.queue[0][0]
            word = words[self.word]
            if not self.stepped:
                edge = self.word_from + (word >> 4) + setup
                if edge > until:
                    self.tick = until
                    return
                self.tick = max(self.tick, edge)
                self.stepped = True
                da = (word & 1) * (1 if word & 4 else -1)
                db = (word >> 1 & 1) * (1 if word & 8 else -1)
                if da or db:
                    assert self.powered == 1, "a step with the drivers off, or with the current of rest"
                    self.a += da
                    self.b += db
                    self.edges.add(edge, word)
                    if watching and self._endstops() != self.last_endstops:
                        return
            end = self.word_from + (word >> 4) + overhead
            if end > until:
                self.tick = until
                return
            self.tick = max(self.tick, end)
            self.word_from = end
            self.word += 1
            self.stepped = False
            if self.word == len(words):
                self.queue.pop(0)
                self.word = 0
                self.finished += 1
                if self.queue:
                    self._begin_block()
                return
