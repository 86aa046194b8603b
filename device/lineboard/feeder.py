"""The feeder: record queue between link and player; renders records to blocks of pulse words.

    push -> queue (1024 records) -> kernel -> block (512 words) -> port.submit -> port.finished

The feeder keeps about `LOOK_AHEAD` of playing time rendered, so that a change of pace takes effect soon; everything
after it is still records. It never chooses a speed: it passes the pace and the length of known path to the kernel,
which stretches time so that the pen can always stop on known path.

Reported progress is that of the pen: a record counts when the player has finished the last block with any of its words
(or, when halted, its last word), and playing time is the sum of the words played. So an undisturbed program takes
exactly its predicted ticks; waits outside the plan (a pen lift for a hold, an empty queue) are not words and do not
count.

A pen action without dwell during motion is made in passing: its block begins with it, and nothing stops. Blocks must
not become so short that the player runs through all of them within one turn of the loop, so a block that has only just
begun includes the pen action and sets it slightly early (`EARLY`).

Contract: one caller, the main loop. After construction nothing here allocates.
"""

from lineboard import kernel
from lineboard.kernel import (
    Q_COUNT,
    Q_END,
    Q_END_STOP,
    Q_HEAD,
    Q_IN_RUN,
    Q_LOADED_V,
    Q_OPEN,
    Q_QUEUED,
    Q_SPENT,
    Q_STARVED,
    Q_TERMINALS,
)
from lineboard.memory import zeros
from linewire import records
from linewire.compat import const, micropython

SLOTS = const(1024)  # records; a power of two.  At 0.1 mm a ramp: 100 mm of path, some ten times a stopping distance
MASK = const(1023)
# With as many queued, the host may have no room for its next frame, so the board must start.
_ENOUGH = SLOTS - records.MOST
BLOCKS = const(8)
# 5 ms at 100 000 steps/s, so that all blocks together cover the longest turn of the loop, and the half millisecond per
# block is shared by many words.
BLOCK_WORDS = const(512)
# Most records that end in one block; a ramp of a dense curve has about four steps.
BLOCK_ENDS = const(128)
# A sleep of the loop leaves as much for the player: the longest turn.
_LONGEST_TURN_TICKS = const(100_000)
_TICKS_PER_US = const(5)
# 50 ms in ticks: two of the loop's longest turns (20 ms), yet short enough that a hold seems immediate.
LOOK_AHEAD = const(250_000)
# A pen action in passing is set early by at most an eighth of the look-ahead, 6 ms, so that `BLOCKS` blocks cover all
# of it; a servo reads its pulse every 20 ms.
EARLY = const(3)
# Homing looks ahead less, because everything rendered must fit into the switch's overtravel. 25 ms are more than the
# longest turn.
LOOK_AHEAD_HOMING = const(125_000)

# Steps/s at which a small motor starts and stops without a ramp: about a hundred full steps, so about a thousand steps
# with the usual 8 or 16 microsteps (common practice).
_START_RATE = const(1000)

RAMP = const(0)  # x, y = steps of A and B, v = end speed
PEN = const(1)  # x = servo_us, v = ticks to wait, 0 = in passing during motion
REST = const(2)  # v = ticks
END = const(3)


class Feeder:
    """The record queue, the kernel's state and the current blocks.

    Attributes
    ----------
    state, queue : array('i'), the kernel's state and the queue's counters (`kernel.S_...` and `Q_...`).
    values, places, lengths : the queue itself, see `linewire.records`; lengths are whole steps.
    taken : number of the next record to be pushed.
    records_done : number of the first record that the pen has not finished.
    a, b : position after the last finished block, motor steps.
    played : array('i'), [2] seconds and [3] ticks of playing time since `begin`; [0], [1] are scratch.
    ended : the end record and everything before it have been played.
    starved : times the pen stopped for lack of records.
    underruns : times the player ran dry in motion.
    broke_off : it did so at a speed from which the motors cannot stop; nothing is played until `begin`.
    unplayable : the kernel refused record `dequeued`; the path ends before it.
    last_kind : kind of the record pushed last.
    servo_us : servo pulse of the last finished pen record; the board sets it to 0 after reading.
    """

    def __init__(self, port):
        self._port = port
        self.state = kernel.new_state(port.overhead_ticks)
        self.queue = zeros("i", kernel.QUEUE_SIZE)
        self.queue[kernel.Q_MASK] = MASK
        self.queue[kernel.Q_ENOUGH] = _ENOUGH
        self.values = zeros("i", SLOTS)
        self.places = zeros("i", SLOTS)
        self.lengths = zeros("H", SLOTS)
        self._buffers = [zeros("i", BLOCK_WORDS) for _ in range(BLOCKS)]
        self._words = zeros("i", BLOCKS)
        self._ticks = zeros("i", BLOCKS)
        self._servo_us = zeros("i", BLOCKS)
        self._rendered_by = zeros("i", BLOCKS)
        self._ends = zeros("H", BLOCKS)  # how many records end in the block,
        self._end_words = zeros("H", BLOCKS * BLOCK_ENDS)  # and after how many of its words each
        self._end_a = zeros("i", BLOCKS)
        self._end_b = zeros("i", BLOCKS)
        self._steps = bytearray(BLOCKS)  # 1 = the block holds steps, 0 = a pure delay
        self._moving = bytearray(BLOCKS)  # 1 = the pen is in motion as the block ends
        self._submitted = 0  # blocks, in step with port.finished()
        self._collected = 0
        self._at = 0  # the buffer to be filled next, = submitted modulo BLOCKS
        self.played = zeros("i", 4)
        self._sums = zeros("i", 4)
        self.look_ahead = LOOK_AHEAD
        self._queued_ticks = 0
        self.a = 0
        self.b = 0
        self.starved = 0
        self.underruns = 0
        self.begin(0)

    def begin(self, first):
        """Drop all records and count from record `first`, playing time 0. Only while nothing plays."""
        self.taken = first
        self._rendered = first
        self.records_done = first
        self.queue[Q_HEAD] = first & MASK
        self._news = False
        self.last_kind = RAMP
        self.ended = False
        self.unplayable = False
        self.broke_off = False
        self.servo_us = 0
        self.played[2] = self.played[3] = 0
        self._forget()

    def _forget(self):
        """Reset: nothing queued, path at rest."""
        queue = self.queue
        queue[Q_QUEUED] = 0
        queue[Q_TERMINALS] = 0
        queue[Q_OPEN] = 0
        queue[Q_STARVED] = 0
        queue[Q_IN_RUN] = 0
        queue[Q_LOADED_V] = 0
        self._end_seen = False
        self._pushed_v = 0  # planned speed at the end of the last pushed record
        self._passing_us = 0  # pen height from the next block on, 0 = unchanged
        kernel.rest(self.state)

    def set_position(self, a, b):
        """Set the present position to (a, b). Only while nothing plays."""
        state = self.state
        state[kernel.S_A] = a
        state[kernel.S_B] = b
        self.a = a
        self.b = b

    @property
    def dequeued(self):
        """Number of the next record that the kernel takes."""
        return self.taken - self.queue[Q_QUEUED]

    def room(self):
        return SLOTS - self.queue[Q_QUEUED]

    def granted(self):
        """Records with numbers below this may be sent."""
        return self.taken - self.queue[Q_QUEUED] + SLOTS

    def ending(self):
        """Whether the end record is queued or has been reached."""
        return self._end_seen

    def enter(self, count, terminals, open_steps, last_kind):
        """Account for `count` checked records that have been put into the arrays from slot `taken` on.

        `terminals` of them stop the path; `open_steps` is the length of path after the last of these, in steps.
        """
        queue = self.queue
        queue[Q_QUEUED] += count
        queue[Q_TERMINALS] += terminals
        queue[Q_OPEN] = open_steps if terminals else queue[Q_OPEN] + open_steps
        self.taken += count
        self.last_kind = last_kind
        if last_kind == END:
            self._end_seen = True
        self._news = True

    def push(self, kind, x, y, v):
        """Queue one of the board's own records (constants and meaning of x, y, v above), unchecked.

        The caller must check `room() > 0`.
        """
        slot = self.taken & MASK
        self.values[slot] = kind << records.KIND_SHIFT | v
        length = 0
        terminals = 0
        if kind == RAMP:
            self.places[slot] = x + records.PLACE_ZERO << records.PLACE_SHIFT | y + records.PLACE_ZERO
            x = abs(x)
            y = abs(y)
            square = x * x + y * y
            length = kernel.root(square, x if x > y else y)
            if length * length > square:
                length -= 1
            self.lengths[slot] = length
            self._pushed_v = v
        else:
            self.places[slot] = x
            if kind != PEN or v or self._pushed_v == 0:
                self._pushed_v = 0
                terminals = 1
        self.enter(1, terminals, length, kind)

    def set_pace(self, pace):
        self.state[kernel.S_PACE] = pace

    def standing(self):
        """Whether the pen stands still and no rendered words are left."""
        state = self.state
        if self._collected != self._submitted:
            return False
        return state[kernel.S_STILL] == 1 or (state[kernel.S_LEFT] == 0 and self._resting_between())

    def spare_us(self):
        """Time in which finished blocks need no successors.

        Of the block that the player is at, it may have played nearly all.
        """
        if self._collected == self._submitted:
            return 0
        spare = self._queued_ticks - self._ticks[self._collected % BLOCKS] - _LONGEST_TURN_TICKS
        return spare // _TICKS_PER_US if spare > 0 else 0

    def feed(self):
        """Process finished blocks and keep the player supplied. Must be called often."""
        self._collect()
        if self._news:
            self._news = False
            if self.state[kernel.S_LEFT] > 0:
                kernel.extend(self.state, self._beyond())
        # At least two blocks of any length, because the player must find the next one when it ends the first.
        while (
            (self._queued_ticks < self.look_ahead or ((self._submitted - self._collected) & 0x3FFFFFFF) < 2)
            and self._port.room() > 0
            and not self.broke_off
            and self._fill()
        ):
            pass
        if self._collected == self._submitted:
            # Nothing plays: records without words (an end, a pen action without dwell) are done at once.
            self.records_done = self._rendered
            if self._end_seen and self.queue[Q_QUEUED] == 0 and self._rendered == self.taken:
                self.ended = True

    def drop(self):
        """Drop queued records that are not rendered. Only while `standing()`, or after `halt`."""
        self.taken -= self.queue[Q_QUEUED]
        self._forget()

    @micropython.native
    def halt(self):
        """Stop the player at once and compute its position to the step."""
        self._collect()
        unplayed = self._port.halt()
        state = self.state
        sums = self._sums
        sums[0] = sums[1] = 0
        overhead = state[kernel.S_OVERHEAD]
        # The words not played are the last submitted ones: go through the blocks from the newest.
        outstanding = (self._submitted - self._collected) & 0x3FFFFFFF
        reached = False
        while outstanding:
            outstanding -= 1
            i = (self._collected + outstanding) % BLOCKS
            count = self._words[i]
            lost = unplayed if unplayed < count else count
            unplayed -= lost
            if not reached:
                reached = lost < count
                self.records_done = self._done_after(i, count - lost)
            if lost:
                kernel.tally(self._buffers[i], count - lost, lost, overhead, sums)
            if lost < count:
                kernel.tally(self._buffers[i], 0, count - lost, overhead, self.played)
        state[kernel.S_A] -= sums[0]
        state[kernel.S_B] -= sums[1]
        self._collected = self._submitted
        self._queued_ticks = 0
        self.a = state[kernel.S_A]
        self.b = state[kernel.S_B]
        self._rendered = self.records_done
        self._moving[(self._at - 1) % BLOCKS] = 0
        kernel.rest(state)

    def _done_after(self, i, words):
        """Number of records finished when the player has played `words` words of block `i`."""
        n = self._ends[i]
        done = self._rendered_by[i] - n
        at = i * BLOCK_ENDS
        while n and self._end_words[at] <= words:
            done += 1
            at += 1
            n -= 1
        return done

    def resting(self):
        """Everything submitted is a pure delay, so that a halt would interrupt no motion."""
        n = self._collected
        while n != self._submitted:
            if self._steps[n % BLOCKS]:
                return False
            n = (n + 1) & 0x3FFFFFFF
        return True

    def _collect(self):
        finished = self._port.finished()
        while self._collected != finished:
            i = self._collected % BLOCKS
            ticks = self._ticks[i]
            self._queued_ticks -= ticks
            sums = self.played
            ticks += sums[3]
            while ticks >= kernel.TICK_HZ:
                ticks -= kernel.TICK_HZ
                sums[2] += 1
            sums[3] = ticks
            self.records_done = self._rendered_by[i]
            self.a = self._end_a[i]
            self.b = self._end_b[i]
            if self._servo_us[i]:
                self.servo_us = self._servo_us[i]
            self._collected = (self._collected + 1) & 0x3FFFFFFF

    def _beyond(self):
        queue = self.queue
        return kernel.PLENTY if queue[Q_TERMINALS] else queue[Q_OPEN]

    def _resting_between(self):
        # Between two ramps.  Where known path has run out, the kernel has braked for its end, to within rounding.
        return self.queue[Q_STARVED] == 1 or kernel.speed(self.state) == 0

    @micropython.native
    def _fill(self):
        """Render one block and submit it; False if there is nothing to render."""
        state = self.state
        queue = self.queue
        at = self._at
        words = self._buffers[at]
        ends = at * BLOCK_ENDS
        queue[Q_COUNT] = 0
        queue[Q_SPENT] = 0
        queue[Q_END] = ends
        queue[Q_END_STOP] = ends + BLOCK_ENDS
        while not self.unplayable or state[kernel.S_LEFT]:
            why = kernel.fill(
                state,
                queue,
                self.values,
                self.places,
                self.lengths,
                words,
                self._end_words,
                BLOCK_WORDS,
                self.look_ahead >> 2,
            )
            if why == kernel.OTHER:
                if self._at_pen_in_passing():
                    if self._pass_pen():
                        continue
                    break
                if queue[Q_COUNT]:
                    break  # a pen action or a rest begins its own block
                if self._pause_path(words, at):
                    return True
                continue
            if why == kernel.EMPTY:
                if queue[Q_IN_RUN]:
                    self._note_starved()
            elif why == kernel.TOO_LITTLE:
                if queue[Q_IN_RUN] and state[kernel.S_LEFT] == 0:
                    self._note_starved()  # what is left is too short to go on for
            elif why == kernel.STILL:
                if state[kernel.S_PACE]:
                    self._note_starved()
            elif why == kernel.UNPLAYABLE:
                # The ramp would last over 2^30 ticks, so both ends are slower than 220 steps/s: stopping here is safe.
                self.unplayable = True
                kernel.rest(state)
                self._moving[(at - 1) % BLOCKS] = 0
            break
        count = queue[Q_COUNT]
        ticks = queue[Q_SPENT]
        ends = queue[Q_END] - ends
        before = (at - 1) % BLOCKS
        self._rendered += ends
        if count == 0:
            if state[kernel.S_STILL]:
                self._moving[before] = 0  # its last word turned out to be the last before the standstill
            return False
        if self._collected == self._submitted and self._moving[before]:
            self.underruns += 1
            word = self._buffers[before][self._words[before] - 1]
            if (word >> 4) + state[kernel.S_OVERHEAD] < kernel.TICK_HZ // _START_RATE:
                self.broke_off = True
                self._take_back(words, count, ends)
                return False
        if state[kernel.S_LEFT] > 0:
            self._moving[at] = 1 - state[kernel.S_STILL]
        else:
            self._moving[at] = 0 if self._resting_between() else 1
        self._steps[at] = 1
        servo_us = self._passing_us
        self._passing_us = 0
        self._submit(at, count, ticks, servo_us, ends)
        return True

    def _at_pen_in_passing(self):
        """The record at the head is a pen action without a wait, while the path moves."""
        return self.queue[Q_LOADED_V] != 0 and self.values[self.queue[Q_HEAD]] == PEN << records.KIND_SHIFT

    def _pass_pen(self):
        """Take the pen action in passing at the head into this block; False if that cannot be now."""
        queue = self.queue
        if queue[Q_QUEUED] == 1:
            self._note_starved()  # what it passes on to is not known yet
            return False
        count = queue[Q_COUNT]
        if count and queue[Q_SPENT] >= self.look_ahead >> EARLY:
            return False
        self._passing_us = self.places[queue[Q_HEAD]]
        self._take_head()
        # Done with the first word that follows it, or with the words it joins.
        self._end_words[queue[Q_END]] = count or 1
        queue[Q_END] += 1
        return True

    def _take_head(self):
        queue = self.queue
        queue[Q_HEAD] = (queue[Q_HEAD] + 1) & MASK
        queue[Q_QUEUED] -= 1

    @micropython.native
    def _take_back(self, words, count, ends):
        """A block that has been rendered will not be played after all."""
        state = self.state
        sums = self._sums
        sums[0] = sums[1] = 0
        kernel.tally(words, 0, count, state[kernel.S_OVERHEAD], sums)
        state[kernel.S_A] -= sums[0]
        state[kernel.S_B] -= sums[1]
        self._rendered -= ends

    def _note_starved(self):
        if not self.queue[Q_STARVED]:
            self.queue[Q_STARVED] = 1
            self.starved += 1

    @micropython.native
    def _pause_path(self, words, at):
        """Take the rest, pen or end record at the head; True if it made a block."""
        queue = self.queue
        i = queue[Q_HEAD]
        kind = self.values[i] >> records.KIND_SHIFT
        ticks = self.values[i] & records.NUMBER_MASK
        servo_us = self.places[i]
        self._take_head()
        queue[Q_TERMINALS] -= 1
        queue[Q_IN_RUN] = 0
        queue[Q_LOADED_V] = 0
        self._rendered += 1
        self._moving[(at - 1) % BLOCKS] = 0
        kernel.rest(self.state)
        if kind == END:
            return False
        count = kernel.delay(self.state, words, 0, BLOCK_WORDS, ticks)
        if count == 0:
            if servo_us:
                # No wait asked for: one empty word carries the pulse width at the right place in the queue.
                words[0] = 0
                count = 1
                ticks = self.state[kernel.S_OVERHEAD]
            else:
                return False
        self._moving[at] = 0
        self._steps[at] = 0
        self._end_words[at * BLOCK_ENDS] = count
        self._submit(at, count, ticks, servo_us, 1)
        return True

    @micropython.native
    def _submit(self, at, count, ticks, servo_us, ends):
        state = self.state
        self._words[at] = count
        self._ends[at] = ends
        self._ticks[at] = ticks
        self._servo_us[at] = servo_us
        self._rendered_by[at] = self._rendered
        self._end_a[at] = state[kernel.S_A]
        self._end_b[at] = state[kernel.S_B]
        self._queued_ticks += ticks
        self._submitted = (self._submitted + 1) & 0x3FFFFFFF
        self._at = (at + 1) % BLOCKS
        self._port.submit(self._buffers[at], count, servo_us)
