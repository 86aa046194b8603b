"""Safety checks of the board: travel, speed and acceleration of each record, switches, motor supply, silent host.

`admit` checks every record before it counts as queued. `watch` runs in every turn of the loop and only reports a
fault; the board acts on it.

Limits of the machine, whatever a host sends:

* the soft limits of both axes;
* the travel of an axis that has not been homed: all pen positions since the motors were last released, or the axis was
  homed, lie within one reach, even if the host redefines the position in between;
* the rate of each motor, at both ends of a ramp and in its direction;
* the acceleration along a ramp, and how far a motor's rate differs from one of limited acceleration (FOLLOWING);
* the servo's range, and no pen action on a machine with homing switches that has not been homed.

FOLLOWING. For each motor the guard keeps a reference rate, which follows the planned rate by no more than the allowed
acceleration. The planned rate may depart from it by half the allowed jump, so it jumps by no more than that where two
ramps meet, and several jumps in a row add up to at most one jump plus what the acceleration allows in their time.

The direction of a ramp of a few steps is inexact: rounding to whole steps shifts its ends by up to half a step. So
successive ramps shorter than `_BRIEF` are combined until together they last that long. After each of them, their steps
may differ from those at the reference rate by 3/2; their mean rate is checked once they last `_BRIEF`.
"""

from array import array

from linewire.compat import const, micropython, ptr16, ptr32, ticks_diff

# A switch counts as hit during a drawing once it has been closed this long. Small switches bounce for a few
# milliseconds (common practice), spikes on the cable are far shorter; at 200 mm/s this costs 0.4 mm.
HIT_US = const(2000)
# The motor supply counts as off once its input has shown so for this long: longer than a spike or a dip when motors
# start, shorter than a user's switching off and on (common practice).
UNPOWERED_US = const(5000)
# Above the longest silence that a host can configure (600 s), and a small integer even with one turn of the loop added.
LONGEST_SILENCE_US = const(1_000_000_000)

# Cells of the array of limits. None is negative, because the Unix build's viper reads 32-bit cells as unsigned:
# positions are stored with _ZERO added; positions along x and y likewise, or with twice that on crossed belts (where x
# and y are doubled).
L_MASK = const(0)  # slots of the record queue, less one
L_COUNT = const(1)  # out: records admitted by the last call,
L_TERMINALS = const(2)  # of them, those at which the path stands still,
L_OPEN = const(3)  # steps of path after the last of these, or after the queue
L_LAST_KIND = const(4)  # kind of the record admitted last
_ENDED = const(5)  # 1: the end record has been admitted
_A = const(6)  # start position of the next record
_B = const(7)
_V = const(8)  # and its path speed
_SINGLE = const(9)  # 1: the ramp before is a single step from rest
_PASSING = const(10)  # 1: a pen action in passing is waiting for the ramp that it belongs to
_CROSSED = const(11)
_LOW_X = const(12)  # soft limits
_HIGH_X = const(13)
_LOW_Y = const(14)
_HIGH_Y = const(15)
_LEAST_X = const(16)  # range of past pen positions
_MOST_X = const(17)
_LEAST_Y = const(18)
_MOST_Y = const(19)
_RATE = const(20)  # steps/s of the slower motor
_ACCEL = const(21)  # an eighth of the steps/s^2 along the path, rounded up
_FREE_STEPS = const(22)  # longer ramps cannot exceed it
_HALF_JUMP = const(23)  # steps/s that a motor's rate may depart from its reference
_BRIEF = const(24)  # shorter ramps are combined, in _TIME_HZ
_TIME = const(25)  # duration of the combined brief ramps
_WAY = const(26)  # number of their steps
_SLEW = const(27)  # what the acceleration allows in their time, steps/s
_AHEAD_A = const(28)  # their lead over the reference, sixteenths of a step, plus _AHEAD_ZERO
_AHEAD_B = const(29)
_REFERENCE_A = const(30)  # steps/s, plus _RATE_ZERO
_REFERENCE_B = const(31)
_RATE_A = const(32)  # a quarter of each motor's steps/s, rounded up
_RATE_B = const(33)
_SERVO_LOW = const(34)
_SERVO_HIGH = const(35)
_HOMED = const(36)  # 1: all axes that must be homed before the pen is lowered are
_SIZE = const(37)
_ZERO = const(1 << 29)
_TOP = (1 << 31) - 1
_TICKS_PER_MS = const(5000)

_TIME_HZ = 1 << 21
_BRIEF_MOST = 1 << 16  # 31 ms, so that rates and accelerations times it fit 31 bits
_BRIEF_STEPS = const(256)  # limit of steps of a brief ramp, and of those combined before the last
_ROUNDED = const(24)  # rounding tolerance, sixteenths of a step
_AHEAD_ZERO = const(1 << 20)
_RATE_ZERO = const(1 << 20)


@micropython.viper
def _admit(limits: ptr32, values: ptr32, places: ptr32, lengths: ptr16, slot: int, count: int) -> int:
    """Check records ``slot .. slot + count`` of the queue in order; returns the fault of the first bad one, or 0.

    It stores the length of each ramp (floor, in steps) in ``lengths``, and converts a pen action's dwell to ticks.

    Limits of travel are two axis-parallel pairs, so a straight ramp between two points within them stays within, and
    checking its end is enough. The speed is largest at one end of a ramp.
    """
    mask = int(limits[L_MASK])
    a = int(limits[_A])
    b = int(limits[_B])
    before = int(limits[_V])
    crossed = int(limits[_CROSSED])
    rate = int(limits[_RATE])
    accel = int(limits[_ACCEL])
    brief = int(limits[_BRIEF])
    fault = 0
    terminals = 0
    open_steps = 0
    done = 0
    kind = int(limits[L_LAST_KIND])
    while done < count:
        if int(limits[_ENDED]):
            fault = 7
            break
        v = int(values[slot])
        kind = v >> 28
        if kind == 0:
            place = int(places[slot])
            x = (place >> 15) - 16384
            y = (place & 32767) - 16384
            n = x
            if n < 0:
                n = 0 - n
            m = y
            if m < 0:
                m = 0 - m
            if m > n:
                m = n
                n = y
                if n < 0:
                    n = 0 - n
            if n == 0 or (v == 0 and before == 0):
                fault = 7
                break
            # Newton's method from within 4 % above: one iteration is accurate to 0.08 %, two to less than a step.
            total = n * n + m * m
            time = 0
            sixteenths = 0
            if n < _BRIEF_STEPS:
                sixteenths = (123 * n + 51 * m) >> 3
                sixteenths = (sixteenths + (total << 8) // sixteenths) >> 1
                length = sixteenths >> 4
                time = ((sixteenths << 17) // (v + before)) << 1
            else:
                length = (123 * n + 51 * m) >> 7
                length = (length + total // length) >> 1
                if length > 512:
                    length = (length + total // length) >> 1
            while length * length > total:
                length -= 1
            top = v
            change = v - before
            if change < 0:
                top = before
                change = 0 - change
            if top > rate:
                # A motor's rate is top * its steps / length; the length again, but to 14 bits.
                place = n
                scale = 0
                while place < 16384:
                    place <<= 1
                    m <<= 1
                    scale += 1
                total = place * place + m * m
                m = place + (m * m) // (place << 1)
                m = (m + total // m) >> 1
                m = (m + total // m) >> 1
                top = (top - 1) >> 2
                n = x
                if n < 0:
                    n = 0 - n
                if top * (n << scale) > int(limits[_RATE_A]) * (m + 1):
                    fault = 8
                    break
                n = y
                if n < 0:
                    n = 0 - n
                if top * (n << scale) > int(limits[_RATE_B]) * (m + 1):
                    fault = 8
                    break
            # |v1^2 - v0^2| <= 2 accel (length + 1), both sides divided by 16.
            if length < int(limits[_FREE_STEPS]) and change * ((v + before) >> 4) > accel * (length + 1):
                fault = 8
                break
            # FOLLOWING (see above).
            if time >= brief:
                time = 0
            spent = int(limits[_TIME])
            axis = 0
            if spent != 0 and (time == 0 or spent >= brief or int(limits[_WAY]) >= _BRIEF_STEPS):
                # The brief ramps so far last long enough for a mean rate, or none follows: evaluate them.
                slew = int(limits[_SLEW])
                while axis < 2:
                    n = int(limits[_AHEAD_A + axis]) - _AHEAD_ZERO
                    m = n
                    if n < 0:
                        m = 0 - n
                    m = (m << 17) // spent
                    if m > slew:
                        m = slew
                    if n < 0:
                        m = 0 - m
                    limits[_REFERENCE_A + axis] = int(limits[_REFERENCE_A + axis]) + m
                    limits[_AHEAD_A + axis] = _AHEAD_ZERO
                    axis += 1
                limits[_WAY] = 0
                spent = 0
                axis = 0
            free = int(limits[_HALF_JUMP])
            if time:
                spent += time
                n = length + int(limits[_WAY])
                limits[_TIME] = spent
                limits[_WAY] = n
                if spent < 4096:
                    slew = (((accel >> 1) * spent) >> 17) + 1
                else:
                    slew = (((accel >> 7) + 1) * spent) >> 11
                limits[_SLEW] = slew
                # Sixteenths of a step: for this ramp alone, and for all of them. A linearly growing rate is half of its
                # change above the reference on average.
                place = (((free + slew + 15) >> 4) * time >> 13) + _ROUNDED
                free = ((free + (slew >> 1) + 15) >> 4) * spent >> 13
                if spent < brief and n < _BRIEF_STEPS:
                    free += _ROUNDED
                while axis < 2:
                    m = x
                    if axis:
                        m = y
                    m = (m << 4) - ((int(limits[_REFERENCE_A + axis]) - _RATE_ZERO >> 4) * time >> 13)
                    n = int(limits[_AHEAD_A + axis]) + m
                    limits[_AHEAD_A + axis] = n
                    n -= _AHEAD_ZERO
                    if m > place or m < 0 - place or n > free or n < 0 - free:
                        fault = 8
                    axis += 1
            else:
                limits[_TIME] = 0
                if length < 4096:
                    slew = ((accel >> 1) * length) // (((v + before) >> 5) + 1)
                else:
                    slew = (((accel >> 5) + 1) * length) // (((v + before) >> 9) + 1)
                free += before // length  # a whole step in its direction
                while axis < 2:
                    n = x
                    if axis:
                        n = y
                    m = n
                    if n < 0:
                        m = 0 - n
                    if sixteenths:
                        m = (m << 17) // sixteenths
                    else:
                        m = (m << 13) // length
                    place = (before * m) >> 13
                    m = (v * m) >> 13
                    if n < 0:
                        place = 0 - place
                        m = 0 - m
                    n = int(limits[_REFERENCE_A + axis])
                    place += _RATE_ZERO - n
                    if place > free or place < 0 - free:
                        fault = 8
                    m += _RATE_ZERO - n
                    if m > slew:
                        m = slew
                    if m < 0 - slew:
                        m = 0 - slew
                    limits[_REFERENCE_A + axis] = n + m
                    axis += 1
            if fault:
                break
            x += a
            y += b
            if crossed:
                n = x + y
                m = x - y + _ZERO + _ZERO
            else:
                n = x
                m = y
            if n < int(limits[_LOW_X]) or n > int(limits[_HIGH_X]):
                fault = 8
                break
            if m < int(limits[_LOW_Y]) or m > int(limits[_HIGH_Y]):
                fault = 8
                break
            if n < int(limits[_LEAST_X]):
                limits[_LEAST_X] = n
            if n > int(limits[_MOST_X]):
                limits[_MOST_X] = n
            if m < int(limits[_LEAST_Y]):
                limits[_LEAST_Y] = m
            if m > int(limits[_MOST_Y]):
                limits[_MOST_Y] = m
            # A single step from rest to rest cannot decelerate; its pulse may end at any speed.
            limits[_SINGLE] = 0
            if before == 0 and length == 1:
                limits[_SINGLE] = 1
            a = x
            b = y
            before = v
            limits[_PASSING] = 0
            lengths[slot] = length
            open_steps += length
        else:
            v -= kind << 28
            if int(limits[_PASSING]):
                fault = 7  # only a ramp may follow a pen action in passing
                break
            x = 0
            if kind == 1:
                x = int(places[slot])
                if x < int(limits[_SERVO_LOW]) or x > int(limits[_SERVO_HIGH]):
                    fault = 8
                    break
                if int(limits[_HOMED]) == 0:
                    # An origin set by hand suffices for a jog, but not for drawing on a machine that can home.
                    fault = 11
                    break
                values[slot] = (1 << 28) | (v * _TICKS_PER_MS)
            if kind == 1 and v == 0 and before != 0:
                limits[_PASSING] = 1
            else:
                if before != 0 and int(limits[_SINGLE]) == 0:
                    fault = 7  # a rest, a pen action or the end requires a path at rest
                    break
                before = 0
                limits[_TIME] = 0
                limits[_WAY] = 0
                limits[_AHEAD_A] = _AHEAD_ZERO
                limits[_AHEAD_B] = _AHEAD_ZERO
                limits[_REFERENCE_A] = _RATE_ZERO
                limits[_REFERENCE_B] = _RATE_ZERO
                terminals += 1
                open_steps = 0
                if kind == 3:
                    limits[_ENDED] = 1
        done += 1
        slot = (slot + 1) & mask
    limits[L_COUNT] = done
    limits[L_TERMINALS] = terminals
    limits[L_OPEN] = open_steps
    limits[L_LAST_KIND] = kind
    limits[_A] = a
    limits[_B] = b
    limits[_V] = before
    return fault


class Guard:
    """Limits of the machine, endstops, and supervision of host and motor power.

    Attributes
    ----------
    limits : array('i'), results of `admit`: cells `L_...`.
    silent_us : time since the last frame of the host (saturates at LONGEST_SILENCE_US).
    """

    def __init__(self, port, mask):
        self._port = port
        self.limits = array("i", [0] * _SIZE)
        self.limits[L_MASK] = mask
        self._mask = mask
        self._double = 1
        self._renaming = False  # the kinematics have changed, and `_at` is not converted yet
        self._soft = [0, 0, 0, 0]
        # Range of pen positions since the motors were last off, or since homing: distances below and above `_at`.
        self._at = [0, 0]
        self._below = [0, 0]
        self._above = [0, 0]
        self._enter_cells(0)
        self._enter_cells(1)
        self._pressed_us = array("i", (-1, -1))
        self._unpowered_us = -1
        self._last_us = port.now_us()
        self.silent_us = 0

    def configure(self, crossed, low_high, rate_a, rate_b, ramp_accel, jump, servo_low, servo_high):
        """Apply the settings.

        `low_high`: soft limits x_low, x_high, y_low, y_high, in steps along the axes; rates: steps/s of the motors;
        `ramp_accel`: steps/s^2 along the path; `jump`: steps/s where two ramps meet; servo pulses in us.
        """
        limits = self.limits
        limits[_CROSSED] = 1 if crossed else 0
        # On a crossed-belt rig x = (a + b) / 2 and y = (a - b) / 2; compare doubled, without rounding.
        double = 2 if crossed else 1
        soft = [value * double for value in low_high]
        self._soft = soft
        if double != self._double:
            # Coordinates change; the distances of past positions from here are kept, or settings could be used to gain
            # travel.
            for way in (self._below, self._above):
                for axis in (0, 1):
                    way[axis] = way[axis] * double // self._double
            self._double = double
            self._renaming = True
        limits[_RATE] = min(rate_a, rate_b)
        limits[_RATE_A] = (rate_a >> 2) + 1
        limits[_RATE_B] = (rate_b >> 2) + 1
        limits[_ACCEL] = (ramp_accel >> 3) + 2
        limits[_FREE_STEPS] = ((1 << 31) - 1) // limits[_ACCEL] - 1
        limits[_HALF_JUMP] = (jump + 1) >> 1
        # A step in that time is an eighth of the jump, and the acceleration compensates for at most half of it.
        limits[_BRIEF] = max(min(8 * _TIME_HZ // jump, _TIME_HZ * jump // (2 * ramp_accel), _BRIEF_MOST), 1)
        limits[_SERVO_LOW] = servo_low
        limits[_SERVO_HIGH] = servo_high

    def _place(self, axis, a, b):
        """Position (a, b) along an axis, steps, doubled on crossed belts."""
        if self.limits[_CROSSED]:
            return a - b if axis else a + b
        return b if axis else a

    def _note_where_it_has_been(self, a, b):
        """Copy the range of past positions from the cells; (a, b) is the present position."""
        limits = self.limits
        zero = _ZERO * self._double
        for axis in (0, 1):
            place = self._place(axis, a, b)
            if self._renaming:
                self._at[axis] = place
                continue
            on = place - self._at[axis]
            least, most = limits[_LEAST_X + 2 * axis] - zero, limits[_MOST_X + 2 * axis] - zero
            self._below[axis] = max(self._below[axis] + on, place - least, 0)
            self._above[axis] = max(self._above[axis] - on, most - place, 0)
            self._at[axis] = place
        self._renaming = False
        self._enter_cells(0)
        self._enter_cells(1)

    def _enter_cells(self, axis):
        limits = self.limits
        place = min(max(self._at[axis] + _ZERO * self._double, 0), _TOP)
        limits[_LEAST_X + 2 * axis] = place
        limits[_MOST_X + 2 * axis] = place

    def renamed(self, old_a, old_b, a, b):
        """Position (old_a, old_b) is called (a, b) from now on."""
        self._note_where_it_has_been(old_a, old_b)
        for axis in (0, 1):
            self._at[axis] = self._place(axis, a, b)
            self._enter_cells(axis)

    def homed(self, axis, a, b):
        """The axis has been homed, and the position is (a, b): its soft limits now apply."""
        place = self._place(axis, a, b)
        self._at[axis] = place
        self._below[axis] = place - self._soft[2 * axis]
        self._above[axis] = self._soft[2 * axis + 1] - place
        self._enter_cells(axis)

    def lost(self, axes, a, b):
        """The position is lost; its count was (a, b).

        The carriage may be moved by hand along ``axes`` (bit 0: x, bit 1: y), so past positions no longer count. Call
        before settings change, which may change coordinates.
        """
        self._note_where_it_has_been(a, b)
        for axis in (0, 1):
            if axes >> axis & 1:
                self._below[axis] = 0
                self._above[axis] = 0

    def begin(self, a, b, homed):
        """The next record starts at rest at (a, b). `homed`: all axes that can be homed are."""
        limits = self.limits
        self._note_where_it_has_been(a, b)
        zero = _ZERO * self._double
        for axis in (0, 1):
            low, high = self._soft[2 * axis], self._soft[2 * axis + 1]
            reach = high - low
            low = max(low, self._at[axis] + self._above[axis] - reach)
            high = min(high, self._at[axis] - self._below[axis] + reach)
            limits[_LOW_X + 2 * axis] = low + zero
            limits[_HIGH_X + 2 * axis] = max(high + zero, 0)
        limits[_A] = a + _ZERO
        limits[_B] = b + _ZERO
        limits[_V] = 0
        limits[_TIME] = 0
        limits[_WAY] = 0
        limits[_AHEAD_A] = limits[_AHEAD_B] = _AHEAD_ZERO
        limits[_REFERENCE_A] = limits[_REFERENCE_B] = _RATE_ZERO
        limits[_SINGLE] = 0
        limits[_PASSING] = 0
        limits[_ENDED] = 0
        limits[_HOMED] = 1 if homed else 0

    def admit(self, feeder, count):
        """Check `count` records that have been decoded into the feeder's arrays; returns a fault, or 0.

        `limits[L_COUNT]` of them may be played.
        """
        return _admit(self.limits, feeder.values, feeder.places, feeder.lengths, feeder.taken & self._mask, count)

    def heard(self):
        """Reset the host's silence: a frame has arrived."""
        self.silent_us = 0

    def watch(self, now_us):
        """Measure how long the host has been silent, switches closed, and motors without power."""
        since_us = ticks_diff(now_us, self._last_us)
        self._last_us = now_us
        if self.silent_us < LONGEST_SILENCE_US:
            self.silent_us += since_us
        pressed_us = self._pressed_us
        axis = 0
        while axis < 2:
            if not self._port.endstop(axis):
                pressed_us[axis] = -1
            elif pressed_us[axis] < 0:
                pressed_us[axis] = 0
            elif pressed_us[axis] < HIT_US:
                pressed_us[axis] += since_us
            axis += 1

        if self._port.motor_power():
            self._unpowered_us = -1
        elif self._unpowered_us < 0:
            self._unpowered_us = 0
        elif self._unpowered_us < UNPOWERED_US:
            self._unpowered_us += since_us

    def unpowered(self):
        """Whether the motors have been without power long enough to count."""
        return self._unpowered_us >= UNPOWERED_US

    def losing_power(self):
        """Whether the motors have no power now, debounced or not."""
        return self._unpowered_us >= 0

    def hit(self, axis):
        """Whether the switch of `axis` has been closed long enough to count."""
        return self._pressed_us[axis] >= HIT_US

    def closing(self, axis):
        """Whether the switch of `axis` is closed now, debounced or not."""
        return self._pressed_us[axis] >= 0
