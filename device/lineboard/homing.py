"""Homing: finds the zero of an axis at its endstop.

Per axis: leave the switch if it is pressed, approach fast, back off, then several slow approaches. Every move consists
of ordinary ramps through the feeder, so homing keeps the same limits as drawing. A fast approach ends in a controlled
stop; a slow one is halted at the first contact, at a position known to the step from the words not played.

The soft limit at the switch's end of the axis is `backoff` before the switch's position (the mean over all passes), so
that no switch is pressed within the travel. With the usual limits, 0 and the travel, an axis homed at its low end is
then at 0, and one homed at its high end at its travel.

Bounce: a slow approach stops at the first contact without debouncing, because bounce times vary and would add to the
spread of the zero. It then waits `SETTLE_US`; a contact that has gone by then was a spike, and the approach continues.
"""

from lineboard import kernel
from lineboard.feeder import END, LOOK_AHEAD, LOOK_AHEAD_HOMING, RAMP
from linewire import messages
from linewire.compat import const, ticks_add, ticks_diff

# Small switches bounce for up to a few milliseconds, and a carriage vibrates for some tens (common practice).
SETTLE_US = const(50_000)
# Most back-off moves until a switch opens. After a fast approach the pen is a stopping distance and one look-ahead
# behind the switch, at most a few back-off lengths.
RELEASE_TRIES = const(8)
# Approaches interrupted by spikes before the switch counts as missing.
SPIKES = const(10)
# Longest move that the record queue holds, with room for the ends: 200 m at 80 steps/mm.
LONGEST_STEPS = const(16_000_000)
# Longest ramp, in seconds at its faster end; a ramp from rest takes twice as long, and the kernel accepts less than 214
# s.
LONGEST_S = const(100)

_TO_END = const(0)
_STOP_AT_SWITCH = const(1)
_HALT_AT_SWITCH = const(2)


class HomingFault(Exception):
    """Homing failed: `code` is one of `messages.FAULTS`, `axis` the axis that was moving."""

    def __init__(self, code, axis):
        super().__init__(code, axis)
        self.code = code
        self.axis = axis


class AxisSearch:
    """Homing parameters and results of one axis: rates in steps/s, lengths in steps along the axis."""

    def __init__(self):
        self.end = 0  # 0 no switch, 1 at the low end, 2 at the high end
        self.fast = 1
        self.slow = 1
        self.accel = 1
        self.backoff = 1
        self.travel = 0  # search distance for the switch
        self.low = 0  # soft limits
        self.high = 0
        self.passes = 0  # result: slow approaches made
        self.spread = 0  # result: steps between the highest and the lowest contact
        self.drift = 0  # result: steps by which the count was too high; 0 if the position was unknown


class HomingRun:
    """Runs one homing at a time; the board calls `poll` in every turn of its loop.

    Attributes
    ----------
    running : homing is in progress.
    axes : two `AxisSearch`, x and y, with results.
    """

    def __init__(self, port, feeder, pen, guard):
        self._port = port
        self._feeder = feeder
        self._pen = pen
        self._guard = guard
        self.axes = (AxisSearch(), AxisSearch())
        self._crossed = False
        self._passes = 1
        self._now_us = 0
        self._steps = iter(())
        self._cancelled = False
        self._known = 0
        self._accel = 0  # the kernel's previous setting
        self.running = False

    def configure(self, crossed, passes):
        self._crossed = crossed
        self._passes = passes

    def start(self, mask, known, now_us):
        """Start homing the axes in `mask` (bit 0: x, bit 1: y). The motors must be powered and nothing playing.

        `known`: axes with known position, whose correction counts as drift.
        """
        self._cancelled = False
        self._known = known
        self._now_us = now_us
        self._feeder.look_ahead = LOOK_AHEAD_HOMING
        self._feeder.begin(0)
        self._feeder.set_pace(kernel.FULL_PACE)
        self._accel = self._feeder.state[kernel.S_ACCEL]
        self._steps = self._sequence(mask)
        self.running = True

    def cancel(self):
        """Stop in a controlled way and cancel."""
        self._cancelled = True

    def abort(self):
        """Cancel at once; the player has been halted."""
        self._finish()

    def poll(self, now_us):
        """Continue; True when finished.

        Raises
        ------
        HomingFault : homing failed or (code `NO_FAULT`) was cancelled. The machine is at rest.
        """
        self._now_us = now_us
        try:
            next(self._steps)
            return False
        except StopIteration:
            self._finish()
            return True
        except HomingFault:
            self._finish()
            raise

    def _finish(self):
        self._steps = iter(())
        self.running = False
        self._feeder.look_ahead = LOOK_AHEAD
        self._feeder.state[kernel.S_ACCEL] = self._accel
        self._feeder.begin(0)

    # The following methods are generators: each `yield` is one turn of the board's loop.

    def _sequence(self, mask):
        self._pen.lift(self._now_us)
        while not self._pen.settled(self._now_us):
            yield
        yield from self._wait(SETTLE_US)  # the motors may just have been switched on
        for axis in (0, 1):
            self.axes[axis].passes = 0
            self.axes[axis].spread = 0
            self.axes[axis].drift = 0
        for axis in (0, 1):
            if mask >> axis & 1:
                yield from self._home(axis)

    def _home(self, axis):
        plan = self.axes[axis]
        toward = -1 if plan.end == 1 else 1
        # For controlled stops, in motor space, where crossed belts add a factor sqrt 2 (181/128).
        accel = plan.accel * 181 // 128 if self._crossed else plan.accel
        self._feeder.state[kernel.S_ACCEL] = max(1, min(accel, kernel.MAX_ACCEL))
        farthest = plan.travel + 4 * plan.backoff  # travel, back-offs on both sides, and some reserve
        if self._port.endstop(axis):
            yield from self._release(axis, -toward)
        yield from self._approach(axis, toward * farthest, plan.fast, _STOP_AT_SWITCH)
        yield from self._release(axis, -toward)
        lowest = highest = total = 0
        for done in range(self._passes):
            # Farther than any back-off: not finding the switch again is a fault.
            yield from self._approach(axis, toward * RELEASE_TRIES * plan.backoff, plan.slow, _HALT_AT_SWITCH)
            found = self._position(axis)
            lowest = found if done == 0 else min(lowest, found)
            highest = found if done == 0 else max(highest, found)
            total += found
            away = plan.backoff
            if done + 1 == self._passes:
                # The last back-off ends at the limit itself.
                contact = total // self._passes
                away = plan.backoff + toward * (found - contact)
            yield from self._move(axis, -toward * away, plan.fast, _TO_END)
            yield from self._wait(SETTLE_US)
            if self._port.endstop(axis):
                raise HomingFault(messages.SWITCH_STUCK, axis)
        wanted = plan.low - plan.backoff if toward < 0 else plan.high + plan.backoff
        self._shift(axis, wanted - contact)
        self._guard.homed(axis, self._feeder.a, self._feeder.b)
        if self._known >> axis & 1:
            plan.drift = contact - wanted
        plan.passes = self._passes
        plan.spread = highest - lowest

    def _release(self, axis, away):
        """Move off the switch until it opens, and one back-off farther."""
        plan = self.axes[axis]
        for _ in range(RELEASE_TRIES):
            yield from self._move(axis, away * plan.backoff, plan.slow, _TO_END)
            yield from self._wait(SETTLE_US)
            if not self._port.endstop(axis):
                yield from self._move(axis, away * plan.backoff, plan.slow, _TO_END)
                yield from self._wait(SETTLE_US)
                if not self._port.endstop(axis):
                    return
        raise HomingFault(messages.SWITCH_STUCK, axis)

    def _approach(self, axis, steps, rate, how):
        """Move until the switch closes and stays closed, or raise."""
        goal = self._position(axis) + steps
        for _ in range(SPIKES):
            left = goal - self._position(axis)
            if left * steps <= 0:
                break
            yield from self._move(axis, left, rate, how)
            yield from self._wait(SETTLE_US)
            if self._port.endstop(axis):
                return
        raise HomingFault(messages.SWITCH_MISSING, axis)

    def _wait(self, us):
        until_us = ticks_add(self._now_us, us)
        while ticks_diff(self._now_us, until_us) < 0:
            if self._cancelled:
                raise HomingFault(messages.NO_FAULT, 0)
            yield

    def _move(self, axis, steps, rate, how):
        """Move along one axis; ends at a standstill with nothing queued."""
        feeder = self._feeder
        other = 1 - axis
        other_was_closed = self._guard.closing(other)
        feeder.begin(0)
        self._push_move(axis, steps, rate)
        # The loop allocates nothing; a separate generator for stopping would.
        stopping = False
        hit_other = False
        while not feeder.ended and not (stopping and feeder.standing()):
            yield
            if stopping:
                continue
            hit_other = self._guard.hit(other) and not other_was_closed
            if self._cancelled or hit_other:
                stopping = True
            elif how != _TO_END and self._port.endstop(axis):
                if how == _HALT_AT_SWITCH:
                    feeder.halt()
                    feeder.drop()
                    return
                stopping = True
            if stopping:
                feeder.set_pace(0)
        if stopping:
            feeder.drop()
            feeder.set_pace(kernel.FULL_PACE)
        if self._cancelled:
            raise HomingFault(messages.NO_FAULT, 0)
        if hit_other:
            raise HomingFault(messages.WRONG_SWITCH, axis)

    def _push_move(self, axis, steps, rate):
        """Queue a move from rest to rest as ramps: acceleration, cruise, deceleration."""
        plan = self.axes[axis]
        sign = -1 if steps < 0 else 1
        # A single step cannot both accelerate and decelerate.
        n = max(2, min(abs(steps), LONGEST_STEPS, rate * LONGEST_S * 1000))
        accel = plan.accel
        faster = rate * rate // (2 * accel) + 1
        if 2 * faster > n:
            faster = n // 2
            rate = max(1, min(rate, _floor_root(2 * accel * faster)))
        self._push_ramps(axis, sign, faster, 0, rate)
        self._push_ramps(axis, sign, n - 2 * faster, rate, rate)
        self._push_ramps(axis, sign, faster, rate, 0)
        self._feeder.push(END, 0, 0, 0)

    def _push_ramps(self, axis, sign, n, rate, rate_end):
        while n > 0:
            part = min(n, kernel.MAX_STEPS, max(rate, rate_end) * LONGEST_S)
            if part < n:
                # The squared rate is linear in the steps.
                square = rate * rate + (rate_end * rate_end - rate * rate) * part // n
                rate = max(1, _floor_root(square))
            else:
                rate = rate_end
            v = rate
            a = sign * part
            b = 0
            if axis == 1:
                a = 0
                b = sign * part
            if self._crossed:
                # Both motors turn; path speed in motor space is sqrt 2 (181/128) times that of the axis.
                b = a if axis == 0 else -b
                a = sign * part
                v = min(v * 181 // 128, kernel.MAX_SPEED)
                if rate > 0 and v == 0:
                    v = 1
            self._feeder.push(RAMP, a, b, v)
            n -= part

    def _position(self, axis):
        """Position along the axis in the present count, steps."""
        state = self._feeder.state
        a = state[kernel.S_A]
        b = state[kernel.S_B]
        if not self._crossed:
            return b if axis else a
        return (a - b) >> 1 if axis else (a + b) >> 1

    def _shift(self, axis, steps):
        """Change the count so that positions along the axis increase by `steps`."""
        state = self._feeder.state
        a = state[kernel.S_A]
        b = state[kernel.S_B]
        if axis == 0:
            a += steps
            if self._crossed:
                b += steps
        elif self._crossed:
            a += steps
            b -= steps
        else:
            b += steps
        self._feeder.set_position(a, b)


def _floor_root(value):
    """Floor of the square root of an integer of any size."""
    if value < 1:
        return 0
    x = value
    y = (x + 1) >> 1
    while y < x:
        x = y
        y = (x + value // x) >> 1
    return x
