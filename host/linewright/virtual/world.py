"""The virtual rig's world as the board's port sees it: time, player, carriage and endstops.

`lineboard.ports.virtual` defines the interface. Virtual time is counted in ticks and advances only in `World.pause`.
The link decides its pace (`linewright.virtual.wires`): with a real host it jumps from block to block, unless the board
waits for a silent host.
"""

from __future__ import annotations

import copy
from array import array
from collections import deque
from dataclasses import replace
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.mechanics import Mechanics
from linewright.simulation.pulse_checks import WordTiming, decode
from linewright.simulation.tape import TapeWriter
from linewright.units import TICK_HZ, US_PER_S
from linewright.virtual.bench import Bench, MachineView

TICKS_PER_US: Final = TICK_HZ // US_PER_S
CLOCK_MASK: Final = (1 << 30) - 1
CLOCK_START_US: Final = (1 << 30) - 5 * US_PER_S
"""The board's clock starts five seconds before its wrap, so that every drawing crosses it."""

# Fields of `status`, as in lineboard.ports.virtual.
NOW, FINISHED, ENDSTOPS, BYTES = range(4)

_BOUNCE_TICKS: Final = TICK_HZ // 3000
"""A chattering contact opens and closes about every 0.3 ms (common practice for small switches)."""
_SCATTER: Final = (
    *(0.3, -0.6, -1.1, 0.9, 0.8, 0.1, 1.6, -1.8, -0.4, 0.6),
    *(0.1, -0.9, 1.2, -1.4, -1.0, 1.1, 0.5, -0.5, 0.5),
)
"""Offsets of the switch at successive approaches, in standard deviations (mean 0, deviation 0.96). They are fixed,
because no fault of the rig is random; 19 of them, so that regular approaches do not repeat in step with them."""
_SCATTER_MOST: Final = 2.0
_TOUCH_MM: Final = 1e-6
"""Tolerance for rounding of positions, which are sums of steps over steps/mm."""

_PATTERN = np.arange(16)
_BIN_A: Final = (_PATTERN & 1) * (((_PATTERN >> 1) & 2) - 1)
_BIN_B: Final = ((_PATTERN >> 1) & 1) * (((_PATTERN >> 2) & 2) - 1)


class Wire(Protocol):
    """Interface of a link to the world. Times are ticks since power-up."""

    def take(self, inbox: bytearray, now: int) -> int:
        """Move waiting bytes from the host to the start of ``inbox``; returns their number. Never blocks."""

    def give(self, data: bytes, now: int) -> None:
        """Bytes for the host."""

    def let_pass(self, now: int, target: int, *, playing: bool, expecting: bool, at_rest: bool) -> int:
        """Let time pass up to ``target``, or less if bytes from the host arrive before; returns the new time.

        ``playing``: words are in the player; ``at_rest``: the carriage stands, and the pen is up.
        """


STILL_TICKS: Final = TICK_HZ // 10
"""A carriage without a step for a tenth of a second counts as standing still."""


class _Block:
    """Words that are queued or being played."""

    __slots__ = ("before", "count", "end", "servo_us", "shape", "start", "words", "written")

    def __init__(self, words: NDArray[np.uint32], servo_us: int, start: int, shape: WordTiming) -> None:
        self.words = words
        self.count = len(words)
        self.servo_us = servo_us
        self.start = start
        self.shape = shape
        self.end = start + int((words >> 4).sum()) + self.count * shape.overhead_ticks
        self.written = 0  # words already on the tape
        self.before: Mechanics | None = None  # mechanics at the block's start, if they cannot be reversed


def _word_ends(block: _Block) -> NDArray[np.int64]:
    """(count,) int64, tick at which each word of a block ends."""
    ends: NDArray[np.int64] = np.cumsum((block.words >> 4).astype(np.int64) + block.shape.overhead_ticks)
    return ends + block.start


def _steps_made(block: _Block, tick: int) -> int:
    """Number of words of a block whose step edge has passed (delays included)."""
    rises = _word_ends(block) - block.shape.overhead_ticks + block.shape.setup_ticks
    return int(np.searchsorted(rises, tick, side="right"))


class World:
    """Everything outside the board.

    Parameters
    ----------
    wire : link to the host.
    machine, faults : the simulated machine.
    tape : records everything played; the caller closes it.
    """

    def __init__(self, wire: Wire, machine: Machine, faults: Faults, tape: TapeWriter) -> None:
        self._wire = wire
        self._machine = machine
        self._bounce_ms = faults.bounce_ms
        self._scatter_mm = faults.switch_scatter_mm
        self._opened = [0, 0]  # times that each switch has opened; selects the next offset
        self._tape = tape
        self._bent = faults.bends_the_path
        self._mechanics = Mechanics(machine, faults)
        self._start_mm = np.array(self._mechanics.start_mm)
        self._to_mm = machine.to_mm
        # Largest movement of an axis per step word; a block that starts farther from the switch is not checked in
        # detail.
        self._reach_mm = np.abs(self._to_mm).sum(axis=1) * (1 + max(abs(faults.scale_x), abs(faults.scale_y)))
        self.now = 0
        self.steps = [0, 0]  # of motors A and B since power-up, signed
        self.blocks = 0
        self.words = 0
        self.bytes_in = 0
        self.bytes_out = 0
        # When the board set its position: tick, the position, and the steps counted then.
        self.marks: list[tuple[int, tuple[int, int], tuple[int, int]]] = []
        self._carriage_mm = self._start_mm.copy()
        self.went_from_mm = self.carriage_mm  # start of its last move
        self._stood_mm, self._moved_at = self.went_from_mm, -STILL_TICKS
        self._servo_us = 0
        self._powered = False
        self._queue: deque[_Block] = deque()
        self._tail = 0  # end of the last queued block
        self._finished = 0
        self._shape = WordTiming()
        self._bench = Bench(machine, faults)
        # Times without motor power, by the fault; `Bench` handles the supply's switch.
        off_at = round(faults.power_off_at_s * TICK_HZ)
        self._unpowered = (off_at, off_at + round(faults.power_off_for_s * TICK_HZ)) if off_at else (0, 0)
        self._closed = [self._is_closed(i, self._start_mm[i]) for i in (0, 1)]  # by the carriage's position
        self._level = list(self._closed)  # state of the contact, with bounce
        self._changes: deque[tuple[int, int, bool]] = deque()  # tick, axis, closed: of the block that plays
        self._bounces: list[tuple[int, int, bool]] = []

    def greet(self, status: array[int]) -> None:
        """Fill in the time; the board starts."""
        status[NOW] = self._clock_us()

    def configure(self, setup_ticks: int, width_ticks: int, overhead_ticks: int) -> None:
        """Word timing from the next block on."""
        self._shape = WordTiming(overhead_ticks, setup_ticks, width_ticks)
        self._tape.shape(self.now, overhead_ticks, setup_ticks, width_ticks)

    def wiring(self, turned: int, endstop_x: int, endstop_y: int, contacts: int) -> None:
        """The board's settings of its wiring; see `lineboard.ports.virtual`."""
        self._bench.believed(turned, (endstop_x, endstop_y), contacts)

    def submit(self, words: array[int] | bytes, count: int, servo_us: int) -> None:
        """Queue one block of words; see `lineboard.ports.virtual`."""
        played = self._bench.to_motors(np.frombuffer(words, dtype="<u4", count=count))
        start = max(self._tail, self.now)
        block = _Block(played, self._bench.to_servo(servo_us), start, self._shape)
        off, on = self._unpowered
        if start < on and block.end > off:
            # Steps arrive, but nothing moves.
            rises = _word_ends(block) - self._shape.overhead_ticks + self._shape.setup_ticks
            block.words[(rises >= off) & (rises < on)] &= ~np.uint32(3)
        self._tail = block.end
        self._queue.append(block)
        self.blocks += 1
        if len(self._queue) == 1:
            self._begin(block)

    def halt(self) -> int:
        """Stop the player; returns the number of words not played."""
        if not self._queue:
            return 0
        head = self._queue[0]
        played = _steps_made(head, self.now)
        unplayed = sum(block.count for block in self._queue) - played
        self._finished += len(self._queue)
        self._queue.clear()
        self._changes.clear()
        head.words = head.words[:played]
        head.count = played
        head.end = int(_word_ends(head)[-1]) if played else head.start
        if head.before is not None:
            self._mechanics = head.before
            self._carriage_path(head)
        self._play_out(head)
        self._tail = head.end
        return unplayed

    def servo(self, us: int) -> None:
        """Set the servo's pulse now."""
        us = self._bench.to_servo(us)
        self._servo_us = us
        self._write_up_to(self.now)
        self._tape.servo(self.now, us)

    def enable(self, on: int) -> None:
        """Switch the motor drivers on (1; 2: with holding current) or off (0)."""
        self._powered = bool(on)
        self._write_up_to(self.now)
        self._tape.enable(self.now, bool(on))

    def mark(self, a: int, b: int) -> None:
        """The board sets its position to (a, b), steps."""
        self._write_up_to(self.now)
        self.marks.append((self.now, (a, b), (self.steps[0], self.steps[1])))
        self._tape.zero(self.now, a, b)

    def write(self, buffer: bytes | bytearray | memoryview, n: int) -> None:
        """Bytes for the host."""
        self.bytes_out += n
        self._wire.give(bytes(memoryview(buffer)[:n]), self.now)

    def pause(self, max_us: int, expecting: int, status: array[int], inbox: bytearray) -> None:
        """Let time pass until something happens, then fill in ``status``."""
        n = self._wire.take(inbox, self.now)
        if not n and max_us:
            target = self.now + max_us * TICKS_PER_US
            if self._queue:
                target = min(target, self._queue[0].end)
            if self._changes:
                target = min(target, self._changes[0][0])
            if self._bounces:
                target = min(target, self._bounces[0][0])
            target = min([target, *(tick for tick in self._unpowered if tick > self.now)])
            reached = self._wire.let_pass(
                self.now,
                max(target, self.now),
                playing=bool(self._queue),
                expecting=bool(expecting),
                at_rest=self._at_rest(),
            )
            self._advance(reached)
            n = self._wire.take(inbox, self.now)
        self.bytes_in += n
        status[NOW] = self._clock_us()
        status[FINISHED] = self._finished & CLOCK_MASK
        status[ENDSTOPS] = self._endstops()
        status[BYTES] = n

    @property
    def carriage_mm(self) -> tuple[float, float]:
        """True carriage position at the end of the last block."""
        return float(self._carriage_mm[0]), float(self._carriage_mm[1])

    def look(self) -> MachineView:
        """What a person beside the machine sees."""
        us = self._servo_us
        return MachineView(
            self.carriage_mm, us, self._machine.pen_is_down(us), self._powered and self._motors_have_power()
        )

    def press(self, axis: int, on: bool) -> None:
        """Press or release an endstop; 0 is x, 1 is y."""
        self._bench.fingers[axis] = on

    def power(self, on: bool) -> None:
        """Switch the motor supply."""
        self._bench.power_on = on

    def _motors_have_power(self) -> bool:
        off, on = self._unpowered
        return self._bench.power_on and not off <= self.now < on

    def rewire(self, faults: Faults) -> None:
        """Change the wiring faults, with power off. Other faults are kept."""
        self._bench.rewired(faults)

    def mend(self, fault: str) -> None:
        """Correct one wiring fault, with power off."""
        self._bench.rewired(replace(self._bench.faults, **{fault: 0.0}))

    @property
    def lost_steps(self) -> tuple[int, int]:
        """Lost steps of motors A and B, by the fault model."""
        return self._mechanics.lost_steps

    @property
    def drift_steps(self) -> tuple[int, int]:
        """Drift of the machine's zero from the first homing to the last, in counted steps.

        Zero if no steps are lost; else the steps lost in between.
        """
        if len(self.marks) < 2:
            return 0, 0
        (_, first, counted), (_, last, recounted) = self.marks[0], self.marks[-1]
        return (recounted[0] - last[0]) - (counted[0] - first[0]), (recounted[1] - last[1]) - (counted[1] - first[1])

    def _at_rest(self) -> bool:
        still = not self._queue and self.now - self._moved_at >= STILL_TICKS
        return still and not self._machine.pen_is_down(self._servo_us)

    def finish(self) -> None:
        """Write everything played so far to the tape."""
        self._write_up_to(self.now)

    def _clock_us(self) -> int:
        return (CLOCK_START_US + self.now // TICKS_PER_US) & CLOCK_MASK

    def _advance(self, to: int) -> None:
        while self._queue and self._queue[0].end <= to:
            block = self._queue[0]
            self._switches(block.end)
            self._changes.clear()
            self._play_out(block)
            self._queue.popleft()
            self._finished += 1
            if self._queue:
                self._begin(self._queue[0])
        self.now = to
        self._switches(to)

    def _begin(self, block: _Block) -> None:
        """Start a block: set the servo, and check whether it moves the carriage to a switch."""
        if block.servo_us:
            self._servo_us = block.servo_us
            self._tape.servo(block.start, block.servo_us)
        if self._bent:
            block.before = copy.deepcopy(self._mechanics)
        elif not self._near_a_switch(block.count):
            return
        x, y, rise = self._carriage_path(block)
        for axis, place in enumerate((x, y)):
            closed = self._is_closed_at(axis, place)
            for i in np.flatnonzero(np.diff(closed, prepend=self._closed[axis])):
                self._changes.append((int(rise[i]), axis, bool(closed[i])))
        self._changes = deque(sorted(self._changes))

    def _carriage_path(self, block: _Block) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
        run = decode(block.words, block.start, block.shape)
        if self._bent:
            x, y = self._mechanics.carriage(run.rise, run.step_a, run.step_b)
        else:
            count = np.column_stack((self.steps[0] + np.cumsum(run.step_a), self.steps[1] + np.cumsum(run.step_b)))
            x, y = (self._start_mm + count @ self._to_mm.T).T
        if len(x):
            self._carriage_mm = np.array((x[-1], y[-1]))
        return x, y, run.rise

    def _play_out(self, block: _Block) -> None:
        """Finish a block whose words have all been played."""
        patterns = np.bincount(block.words & 15, minlength=16)
        self.steps[0] += int(patterns @ _BIN_A)
        self.steps[1] += int(patterns @ _BIN_B)
        self.words += block.count
        if not self._bent:
            self._carriage_mm = self._start_mm + self._to_mm @ np.array(self.steps)
        if block.count > patterns[::4].sum():  # it contains steps
            if block.start - self._moved_at >= STILL_TICKS:
                self.went_from_mm = self._stood_mm
            self._moved_at = block.end
            self._stood_mm = self.carriage_mm
        self._write(block, block.count)

    def _write_up_to(self, tick: int) -> None:
        """Write words that can no longer be halted to the tape, so that the next entry is in order of time."""
        if self._queue:
            self._write(self._queue[0], _steps_made(self._queue[0], tick))

    def _write(self, block: _Block, count: int) -> None:
        if count <= block.written:
            return
        start, end = block.start, block.end
        if block.written or count < block.count:
            ends = _word_ends(block)
            start = int(ends[block.written - 1]) if block.written else block.start
            end = int(ends[count - 1])
        self._tape.words(start, end, block.words[block.written : count].tobytes())
        block.written = count

    def _near_a_switch(self, steps: int) -> bool:
        for axis in (0, 1):
            end = self._machine.endstop[axis]
            if end != "none":
                switch_mm = 0.0 if end == "min" else self._machine.frame_mm[axis]
                within_mm = self._reach_mm[axis] * (steps + 1) + _SCATTER_MOST * self._scatter_mm
                if abs(self._carriage_mm[axis] - switch_mm) <= within_mm:
                    return True
        return False

    def _is_closed(self, axis: int, place_mm: float) -> bool:
        return bool(self._is_closed_at(axis, np.array([place_mm]))[0])

    def _is_closed_at(self, axis: int, place_mm: NDArray[np.float64]) -> NDArray[np.bool_]:
        end = self._machine.endstop[axis]
        early_mm = _TOUCH_MM + self._scatter_mm * _SCATTER[(self._opened[axis] + 5 * axis) % len(_SCATTER)]
        if end == "min":
            return place_mm <= early_mm
        if end == "max":
            return place_mm >= self._machine.frame_mm[axis] - early_mm
        return np.zeros(len(place_mm), dtype=bool)

    def _switches(self, to: int) -> None:
        """Process all contact changes up to a moment, in order."""
        while True:
            moved = self._changes and self._changes[0][0] <= to
            bounced = self._bounces and self._bounces[0][0] <= to
            if moved and not (bounced and self._bounces[0] < self._changes[0]):
                tick, axis, closed = self._changes.popleft()
                self._closed[axis] = closed
                self._opened[axis] += not closed
                self._bounces = [bounce for bounce in self._bounces if bounce[1] != axis]
                self._contact(tick, axis, closed)
                count = int(self._bounce_ms * TICK_HZ / 1000 / _BOUNCE_TICKS) // 2 * 2
                for i in range(1, count + 1):
                    self._bounces.append((tick + i * _BOUNCE_TICKS, axis, closed == (i % 2 == 0)))
                self._bounces.sort()
            elif bounced:
                self._contact(*self._bounces.pop(0))
            else:
                return

    def _contact(self, tick: int, axis: int, closed: bool) -> None:
        self._level[axis] = closed
        self._write_up_to(tick)
        self._tape.switch(tick, axis, closed)

    def _endstops(self) -> int:
        x, y = self._bench.seen(self._level)
        return int(x) | int(y) << 1 | (not self._motors_have_power()) << 2
