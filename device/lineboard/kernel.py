"""The kernel: converts a ramp to exactly timed pulse words. It has all real-time arithmetic of the board.

A ramp is a straight move with constant acceleration: whole steps of both motors and the path speed at its end. Path
speed is measured in motor step space, in whole steps/s along the straight line (da, db); the speed at a ramp's start is
the speed at the end of the one before it.

**Duration.** A ramp of length ``d`` steps from ``v0`` to ``v1`` takes ``2 d / (v0 + v1)`` seconds. `load` evaluates
this as one integer formula (`linewright.program.duration.ramp_ticks` is the same formula on the host), and the last
step of an undisturbed ramp lands on that tick exactly. So the host knows the duration of any program to the tick.

**Between the ends** the squared speed is linear in the steps: ``w(k) = w0 + (w1 - w0) k / n``. Steps are timed in
pieces of 1 to 16: constant acceleration over a piece of ``m`` steps takes ``2 m l / (u(k) + u(k + m))``, with ``l`` the
path length of one step of the dominant motor, and inside a piece the steps are evenly spaced. The length of a piece is
limited so that the spacing error stays below 1/64 of a step interval: the chord of ``t(k)`` departs from the curve by
at most ``m^2/8 * |t''|``, with ``t'' = -a / v^3`` that is ``m^2 |dw| / (16 n w)`` step intervals, hence the rule ``4
m^2 |dw| / n <= w``. One root and one division then serve up to 16 steps.

**Pace.** Hold, slow-down and lack of data follow one rule. The real squared speed ``U`` follows the planned ``W`` from
below: ``U <= W`` (so every corner is taken no faster than planned), ``U`` aims at ``pace^2 W``, it never exceeds the
speed from which the pen can stop at the end of the known data, and it changes by no more than twice the allowed
acceleration per step of path. Time is stretched, the path and the steps stay the same.

**Ranges.** Everything fits 32 signed bits. Speeds of a ramp are shifted so that the larger lies in 2^14..2^15-1 (``s``
below), their squares below 2^30, sums of two below 2^16. Comments give the bounds of larger products; tests run the
same source with integers that raise on overflow.

Cells that viper reads are never negative, because the Unix build reads 32-bit cells as unsigned.

The module is long because viper folds constants only within a file, so all code that reads the state is here.

Contract: `render` may be called from the main loop only; nothing here allocates (all values are small integers of the
caller's arrays). Words are described in `WORD LAYOUT`.

WORD LAYOUT: ``wait << 4 | direction B << 3 | direction A << 2 | step B << 1 | step A``; ``wait`` < 2^26 ticks. The
player's period for a word is ``wait + overhead``, whatever the pattern; a word without step bits is a delay.
"""

from array import array

from linewire.compat import const, micropython, ptr16, ptr32

TICK_HZ = const(5_000_000)  # 200 ns: divides both 125 MHz and 150 MHz, the boards' usual clocks
MAX_STEPS = const(16383)  # per ramp and motor: 2 * 16383 shifted to 15 bits still squares and sums below 2^31
MAX_SPEED = const(131071)  # steps/s, 17 bits: shifted right by 2 it fills 15 bits
MAX_ACCEL = const(4194303)  # steps/s^2: (2^22 >> 6) * 23170 stays below 2^31
PLENTY = const(65535)  # steps: enough path is known beyond this ramp, or a planned rest is known
FULL_PACE = const(256)
MAX_WAIT = const((1 << 26) - 1)

# Indices into the state array. The first group is for the caller, the second is private.
S_PACE = const(0)  # in: asked pace, 0..256
S_ACCEL = const(1)  # in: steps/s^2 allowed for changes of pace
S_OVERHEAD = const(2)  # in: ticks of a word beyond its wait
S_A = const(3)  # out: position of motor A after the last word written, steps
S_B = const(4)
S_LEFT = const(5)  # out: steps of the dominant motor left in the ramp
S_TICKS = const(6)  # out: ticks written by the last render
S_STILL = const(7)  # out: 1 = standing still within a ramp (hold, or no more data)
S_CLEAN = const(8)  # out: 1 = this ramp has been played exactly as planned so far

_V = const(9)  # planned path speed at the end of the ramp, steps/s
_U = const(10)  # real path speed at the last ramp's end, 1/256 steps/s
_N = const(11)  # steps of the dominant motor
_MINOR = const(12)  # steps of the other motor
_ERR = const(13)  # Bresenham accumulator
_PATTERN = const(14)  # directions and the dominant motor's step bit
_BOTH = const(15)  # the same with both step bits
_SHIFT = const(16)  # s + 16: speeds are scaled by 2^s
_PH = const(17)  # ticks * scaled speed per step, high part (units of 2^14)
_PL = const(18)  # the same, low 14 bits
_T = const(19)  # duration of the undisturbed ramp, ticks
_ELAPSED = const(20)  # ticks of the finished and running pieces while clean
_REM = const(21)  # remainder of the last time division, carried into the next
_W = const(22)  # planned squared speed at the next step, scaled by 2^2s
_SLOWING = const(23)  # 1: the plan slows down in this ramp
_WQ = const(24)  # |w1 - w0| // n
_WR = const(25)  # |w1 - w0| % n
_W_ERR = const(26)
_UU = const(27)  # real squared speed at the next step
_UR = const(28)  # its root, 1/16 units
_BUDGET = const(29)  # largest change of _UU per step
_CREEP = const(30)  # scaled speed after one step from rest at _BUDGET, 1/16 units; 0 = not computed yet
_CAP = const(31)  # 1 + dominant steps' worth of path known beyond this ramp, 0 = plenty
_RHO = const(32)  # path length of one dominant step, 1/2^14 steps (1 .. sqrt 2)
_TOP = const(33)  # squared larger planned speed of the ramp
_LG = const(34)  # running piece: log2 of its steps
_PIECE = const(35)  # running piece: steps left
_DT = const(36)  # running piece: ticks in all
_ACC = const(37)  # running piece: steps done * _DT
_SINCE = const(38)  # running piece: ticks used so far
_FINE = const(39)  # the carried remainder is in 1/2^_FINE units
_DROPPED = const(40)  # rounding loss of the last speed sum, 1/16 units
_CHECK = const(41)  # steps left at which the next piece sets the pace anew for the tick of arrival, 0 = never
_END16 = const(42)  # planned scaled speed at the end, 1/16 units
_SIZE = const(43)

# Indices into the array of the queue's counters, separate because the first 32 cells are the fastest to access.
Q_MASK = const(0)  # slots of the queue, a power of two, less one
Q_HEAD = const(1)  # slot of the next record
Q_QUEUED = const(2)  # records in the queue
Q_TERMINALS = const(3)  # of them, those at which the path is at rest
Q_OPEN = const(4)  # steps of path after the last of these or, without one, after the current ramp
Q_ENOUGH = const(5)  # records required for a start while the end is unknown
Q_STARVED = const(6)  # 1 = the pen has stopped because known path ran out
Q_IN_RUN = const(7)  # 1 = a ramp has been taken since the last planned standstill
Q_LOADED_V = const(8)  # planned speed at the end of the ramp taken last
# The block being filled.
Q_COUNT = const(9)  # words in it
Q_SPENT = const(10)  # ticks in them
Q_END = const(11)  # index in `ends` for the next record's end
Q_END_STOP = const(12)  # end of this block's indices
QUEUE_SIZE = const(13)


def new_state(overhead_ticks=0):
    """A fresh state at rest in position (0, 0), full pace."""
    state = array("i", [0] * _SIZE)
    state[S_PACE] = FULL_PACE
    state[S_ACCEL] = 1000
    state[S_OVERHEAD] = overhead_ticks
    rest(state)
    return state


def rest(state):
    """The path is at rest here: the next ramp starts at speed 0. Only between ramps."""
    state[_V] = 0
    state[_U] = 0
    state[S_LEFT] = 0
    state[_PIECE] = 0
    state[S_STILL] = 0
    state[S_CLEAN] = 1


def speed(state):
    """Real path speed at the end of the last finished ramp, steps/s."""
    return state[_U] >> 8


@micropython.viper
def root(value: int, guess: int) -> int:
    """Nearest whole square root of 0 <= value < 2^30 by Newton's rule from any guess >= 1."""
    x = guess
    y = (x + value // x) >> 1
    # From below, the first iteration jumps above the root; from above, it decreases until it reaches the floor.
    if y > x:
        x = y
        y = (x + value // x) >> 1
    while y < x:
        x = y
        y = (x + value // x) >> 1
    if value - x * x > x:
        x += 1
    return x


@micropython.viper
def _root16(value: int, guess16: int) -> int:
    """Sixteen times the square root of 0 < value < 2^30, to about a unit, near a guess of the same scale.

    Integer roots are not accurate enough: errors of half a unit, over a ramp of thousands of steps, add up to a visible
    part of a step interval at the last step.
    """
    if guess16 < 16:
        guess16 = 32768
    if value < 4194304:
        return int(root(value << 8, guess16))
    x = int(root(value, guess16 >> 4))
    off = value - x * x  # within -x..x; sqrt(x^2 + off) = x + off / 2x, nearly
    if off < 0:
        return (x << 4) - ((0 - off) << 3) // x
    return (x << 4) + (off << 3) // x


@micropython.viper
def extend(state: ptr32, beyond_steps: int):
    """Set the length of known path beyond the current ramp (floor in steps, at most PLENTY).

    PLENTY also means that a planned rest is known: the plan itself brakes for that.
    """
    cap = 0
    if beyond_steps < PLENTY:
        cap = (beyond_steps << 14) // state[_RHO] + 1
        # Braking from the ramp's top speed needs top/budget steps; with more known path there is no limit.
        if cap > state[_TOP] // state[_BUDGET] + 1:
            cap = 0
    state[_CAP] = cap


@micropython.viper
def load(state: ptr32, da: int, db: int, v_end: int, beyond_steps: int) -> int:
    """Prepare the next ramp; returns its dominant steps, or 0 if it cannot be played.

    0 means: no steps, no speed at either end, or longer than 2^30 ticks. The state is unchanged then.
    """
    pattern = 0
    a = da
    if a >= 0:
        pattern = 4
    else:
        a = 0 - a
    b = db
    if b >= 0:
        pattern |= 8
    else:
        b = 0 - b
    both = pattern | 3
    if a >= b:
        n = a
        minor = b
        pattern |= 1
    else:
        n = b
        minor = a
        pattern |= 2
    v0 = state[_V]
    top = v0
    if v_end > top:
        top = v_end
    if n == 0 or n > MAX_STEPS or top == 0 or top > MAX_SPEED:
        return 0

    # Scale the speeds to 15 bits.
    s = 0
    while top < 16384:
        top <<= 1
        s += 1
    while top > 32767:
        top >>= 1
        s -= 1
    if s >= 0:
        w0 = v0 << s
        w1 = v_end << s
    else:
        w0 = v0 >> (0 - s)
        w1 = v_end >> (0 - s)
    both_speeds = w0 + w1
    state[_END16] = w1 << 4
    u = w0

    # rho: length of the ramp per dominant step, from components scaled to 15 bits (their squares sum below 2^31).
    x = n
    y = minor
    while x < 16384:
        x <<= 1
        y <<= 1
    total = x * x + y * y
    h = x + (y * y) // (x << 1)  # an upper bound of the root, so that Newton's method decreases to its floor
    g = (h + total // h) >> 1
    while g < h:
        h = g
        g = (h + total // h) >> 1
    rho = (h << 14) // x

    # Ticks * scaled speed per step: 2 * TICK_HZ * rho / 2^14 * 2^s = 78125 * rho * 2^(s - 7), stored in two parts.
    g = 78125 * rho
    if s >= 7:
        high = g >> (21 - s)
        low = ((g & 16383) << (s - 7)) & 16383
    else:
        g >>= 7 - s
        high = g >> 14
        low = g & 16383

    # Duration: n * (high, low) // (v0 + v1).
    x = high // both_speeds
    y = ((high - x * both_speeds) << 14) + low
    g = y // both_speeds
    y -= g * both_speeds
    if x >= 65535 or (x << 14) + g >= (1 << 29) // n * 2:
        return 0
    state[_T] = n * ((x << 14) + g) + (n * y) // both_speeds

    # Largest change of squared speed per step when the pace changes: 2 * accel * rho, scaled by 2^2s.
    x = state[S_ACCEL]
    if x < 65536:
        g = (x * rho) >> 13
    else:
        g = ((x >> 6) * rho) >> 7
    x = s + s
    while x < 0:
        g >>= 1
        x += 1
    while x > 0 and g < 268435456:
        g <<= 1
        x -= 1
    if x > 0:
        g = 536870912
    if g == 0:
        g = 1
    state[_BUDGET] = g
    state[_CREEP] = 0

    # The real speed carried over; equal to the planned one unless the pace has been below 1.
    x = state[_U]
    if x == v0 << 8:
        state[S_CLEAN] = 1
        state[_UU] = u * u
        state[_UR] = u << 4
    else:
        state[S_CLEAN] = 0
        if s <= 4:
            x >>= 4 - s
        else:
            x <<= s - 4
        if x > u << 4:
            x = u << 4
        state[_UR] = x
        if x < 32768:
            x = (x * x) >> 8
        else:
            x = (x >> 4) * (x >> 4)
        state[_UU] = x

    w0 = w0 * w0
    w1 = w1 * w1
    x = w1 - w0
    y = 0
    if x < 0:
        x = 0 - x
        y = 1
    state[_W] = w0
    state[_SLOWING] = y
    # Only if the last step is the shortest could the accumulated rounding be a visible part of it.
    state[_CHECK] = (n >> 2) * (1 - y)
    g = x // n
    state[_WQ] = g
    state[_WR] = x - g * n
    state[_W_ERR] = 0
    if w1 > w0:
        w0 = w1
    state[_TOP] = w0

    state[_V] = v_end
    state[_N] = n
    state[_MINOR] = minor
    state[_ERR] = n >> 1
    state[_PATTERN] = pattern
    state[_BOTH] = both
    state[_SHIFT] = s + 16
    state[_PH] = high
    state[_PL] = low
    state[_RHO] = rho
    state[_REM] = 0
    state[_FINE] = 0
    state[_DROPPED] = 8
    state[_ELAPSED] = 0
    state[_PIECE] = 0
    state[S_STILL] = 0
    state[S_LEFT] = n
    # As in `extend`, inlined for speed.
    x = 0
    if beyond_steps < PLENTY:
        x = (beyond_steps << 14) // rho + 1
        if x > state[_TOP] // state[_BUDGET] + 1:
            x = 0
    state[_CAP] = x
    return n


@micropython.viper
def _correct(state: ptr32):
    """Distribute the accumulated rounding error over the remaining steps.

    Constant acceleration over them takes ``left * _P / (mean of both speeds)``; solved for ``_P`` with the true
    remaining time. Called again with a quarter of the steps left, so that little remains for the last one. Ranges: a
    step takes less than 2^26 ticks, so its high digit times a speed sum of 16 bits stays below 2^28.
    """
    left = state[S_LEFT]
    state[_CHECK] = left >> 2
    both = (state[_UR] + state[_END16] + 8) >> 4
    time = state[_T] - state[_ELAPSED]
    q = time // left
    low = (q & 16383) * both + ((time - q * left) * both) // left
    state[_PH] = (q >> 14) * both + (low >> 14)
    state[_PL] = low & 16383


@micropython.viper
def _next_piece(state: ptr32) -> int:
    """Time the next piece while the pen is slower than planned; returns its steps, or 0 at a standstill.

    `render` times undisturbed pieces itself, with the same arithmetic.

    Ranges: _PH < 2^24, and _PH < 2^16 where a piece has more than one step, so _PH << (lg + fine) < 2^28; remainders
    of a division by a speed sum stay below 2^16, shifted by 14 below 2^30, plus _PL << 8 < 2^22 and the carried
    remainder below 2^20.
    """
    left = state[S_LEFT]
    w = state[_W]
    wq = state[_WQ]
    u2 = state[_UU]
    u = state[_UR]
    high = state[_PH]
    budget = state[_BUDGET]
    pace = state[S_PACE]
    cap = state[_CAP] - 1  # -1 = plenty

    # The longest piece within the spacing error; single steps below about 300 steps/s.
    lg = 4
    limit = wq
    if budget > limit:
        limit = budget
    if u2 < 1048576 or high > 65535:
        lg = 0
    while lg > 0 and ((u2 >> (lg + lg + 2)) < limit or (1 << lg) > left):
        lg -= 1
    m = 1 << lg

    # Planned squared speed at the end of the piece.
    err = state[_W_ERR] + (state[_WR] << lg)
    n = state[_N]
    delta = wq << lg
    while err >= n:
        err -= n
        delta += 1
    if state[_SLOWING]:
        delta = 0 - delta
    w_next = w + delta

    goal = w_next
    if pace < FULL_PACE:
        if w_next > 0:
            goal = (int(root(w_next, 16384)) * pace) >> 8
            if goal == 0 and pace > 0:
                goal = 1
            goal = goal * goal
    if cap >= 0:
        cap += left - m
        if cap <= goal // budget:
            goal = budget * cap
    change = budget << lg  # lg > 0 only if budget << 10 is below u2
    if goal < u2 - change:
        goal = u2 - change
    if goal > u2 + change:
        goal = u2 + change
    if goal > w_next:
        goal = w_next
    if goal == 0 and u2 == 0 and (pace == 0 or w_next > 0 or cap == 0):
        state[S_STILL] = 1
        return 0

    u_next = 0
    if goal > 0:
        u_next = int(_root16(goal, u))
    both = u + u_next
    # Below the speed of a first step from rest a stepper has no meaningful speed: do not go slower, unless planned.
    limit = state[_CREEP]
    if limit == 0:
        limit = int(_root16(budget, 0))
        state[_CREEP] = limit
    if both < limit:
        ref = 0
        if w > 0:
            ref = int(_root16(w, 0))
        if w_next > 0:
            ref += int(_root16(w_next, 0))
        if ref < limit:
            limit = ref
        if both < limit:
            both = limit
    if both <= high >> 7:
        both = (high >> 7) + 1  # at most 2^25 ticks a step

    # ticks = m * (_PH, _PL) / (both / 16), in two digits of 14 bits, with 16 times the numerator if it fits.
    fine = 4
    if both > 65535:
        # Bits dropped by the shift are carried to the next piece, so that the times add up.
        both += state[_DROPPED]
        state[_DROPPED] = both & 15
        both >>= 4
        fine = 0
    rem = state[_REM]
    if fine != state[_FINE]:
        if fine:
            rem <<= 4
        else:
            rem >>= 4
        state[_FINE] = fine
    x = high << (lg + fine)
    q = x // both
    x = ((x - q * both) << 14) + (state[_PL] << (lg + fine)) + rem
    dt = x // both
    state[_REM] = x - dt * both
    dt += q << 14

    if goal != w_next:
        state[S_CLEAN] = 0
    if state[S_CLEAN]:
        if m == left:
            dt = state[_T] - state[_ELAPSED]
        state[_ELAPSED] += dt

    state[S_STILL] = 0
    state[_W] = w_next
    state[_W_ERR] = err
    state[_UU] = goal
    state[_UR] = u_next
    state[_LG] = lg
    state[_DT] = dt
    state[_ACC] = 0
    state[_SINCE] = 0
    state[_PIECE] = m
    return m


@micropython.viper
def render(state: ptr32, words: ptr32, at: int, room: int, budget_ticks: int) -> int:
    """Write the next pulse words of the ramp to ``words[at:]``; returns their number.

    It stops at the end of the ramp, after ``room`` words, after ``budget_ticks``, or at a standstill. The words do not
    depend on how the ramp is divided into calls.
    """
    # The index of the next word is kept in `at`, because viper keeps its first three arguments in registers.
    begin = at
    end = at + room
    ticks = 0
    minor_done = 0
    overhead = state[S_OVERHEAD]
    left = state[S_LEFT]
    err = state[_ERR]
    n = state[_N]
    minor = state[_MINOR]
    pattern = state[_PATTERN]
    both = state[_BOTH]
    undisturbed = 0
    if state[S_PACE] >= FULL_PACE and state[_CAP] == 0:
        undisturbed = 1
    while left > 0 and at < end and ticks < budget_ticks:
        piece = state[_PIECE]
        if piece == 0:
            w = state[_W]
            if undisturbed and state[_UU] == w:
                # As in `_next_piece` when the pen follows the plan, inlined: three calls would cost more than all the
                # rest.
                u = state[_UR]
                high = state[_PH]
                limit = state[_WQ]
                lg = 4
                if high > 65535:
                    lg = 0
                while lg > 0 and ((w >> (lg + lg + 2)) < limit or (1 << lg) > left):
                    lg -= 1
                piece = 1 << lg
                if left <= state[_CHECK] and state[S_CLEAN]:
                    state[S_LEFT] = left
                    _correct(state)
                    high = state[_PH]
                u_next = u
                part = state[_WR]
                if limit | part:
                    part = state[_W_ERR] + (part << lg)
                    limit <<= lg
                    while part >= n:
                        part -= n
                        limit += 1
                    state[_W_ERR] = part
                    if state[_SLOWING]:
                        limit = 0 - limit
                    w += limit
                    # Sixteen times the root of w, as in `_root16`.
                    u_next = 0
                    if w > 0:
                        part = w
                        x = u >> 4
                        if w < 4194304:
                            part = w << 8
                            x = u
                        if u < 16:
                            x = 32768
                            if w >= 4194304:
                                x = 2048
                        y = (x + part // x) >> 1
                        if y > x:
                            x = y
                            y = (x + part // x) >> 1
                        while y < x:
                            x = y
                            y = (x + part // x) >> 1
                        part -= x * x
                        if part > x:
                            part -= x + x + 1
                            x += 1
                        u_next = x
                        if w >= 4194304:
                            if part < 0:
                                u_next = (x << 4) - ((0 - part) << 3) // x
                            else:
                                u_next = (x << 4) + (part << 3) // x
                    state[_W] = w
                    state[_UU] = w
                    state[_UR] = u_next
                u += u_next
                fine = 4
                if u > 65535:
                    u += state[_DROPPED]
                    state[_DROPPED] = u & 15
                    u >>= 4
                    fine = 0
                part = state[_REM]
                if fine != state[_FINE]:
                    if fine:
                        part <<= 4
                    else:
                        part >>= 4
                    state[_FINE] = fine
                fine += lg
                x = high << fine
                y = x // u
                x = ((x - y * u) << 14) + (state[_PL] << fine) + part
                dt = x // u
                state[_REM] = x - dt * u
                dt += y << 14
                if state[S_CLEAN]:
                    if piece == left:
                        dt = state[_T] - state[_ELAPSED]
                    state[_ELAPSED] += dt
                state[S_STILL] = 0
                state[_LG] = lg
                state[_DT] = dt
                acc = 0
                since = 0
            else:
                state[S_LEFT] = left
                piece = int(_next_piece(state))
                if piece == 0:
                    break
                lg = state[_LG]
                dt = state[_DT]
                acc = 0
                since = 0
        else:
            lg = state[_LG]
            dt = state[_DT]
            acc = state[_ACC]
            since = state[_SINCE]
        todo = piece
        if todo > end - at:
            todo = end - at
        left -= todo
        state[_PIECE] = piece - todo
        todo += at
        ticks -= since
        while at < todo:
            acc += dt
            wait = (acc >> lg) - since - overhead
            since = acc >> lg
            if wait < 0:
                ticks -= wait  # faster than the player; excluded by the host's limits
                wait = 0
            err -= minor
            if err < 0:
                err += n
                minor_done += 1
                words[at] = (wait << 4) | both
            else:
                words[at] = (wait << 4) | pattern
            at += 1
        ticks += since
        state[_ACC] = acc
        state[_SINCE] = since
    count = at - begin

    state[S_LEFT] = left
    state[_ERR] = err
    state[S_TICKS] = ticks
    # Count the written steps into the position.
    a_steps = count
    b_steps = minor_done
    if pattern & 2:
        a_steps = minor_done
        b_steps = count
    if pattern & 4 == 0:
        a_steps = 0 - a_steps
    if pattern & 8 == 0:
        b_steps = 0 - b_steps
    state[S_A] += a_steps
    state[S_B] += b_steps

    if left == 0 and count > 0:
        # Pass the real speed to the next ramp.
        if state[_UU] == state[_W]:
            state[_U] = state[_V] << 8
        else:
            s = state[_SHIFT] - 16
            u = state[_UR]
            if s <= 4:
                u <<= 4 - s
            else:
                u >>= s - 4
            if u > state[_V] << 8:
                u = state[_V] << 8
            if state[_CAP] == 1:
                u = 0  # no path is known beyond: the remaining speed is rounding
            state[_U] = u
    return count


# How `fill` ended: block full; queue empty; next record is no ramp; path at rest as planned; too little known for a
# start; ramp unplayable; pen at a standstill within a ramp.
FULL = const(0)
EMPTY = const(1)
OTHER = const(2)
STANDS = const(3)
TOO_LITTLE = const(4)
UNPLAYABLE = const(5)
STILL = const(6)
# Kind and number of a record in the queue: see `linewire.records` for the layout.
_KIND_SHIFT = const(28)


@micropython.viper
def fill(
    state: ptr32,
    queue: ptr32,
    values: ptr32,
    places: ptr32,
    lengths: ptr16,
    words: ptr32,
    ends: ptr16,
    room: int,
    budget: int,
) -> int:
    """Take ramps from the queue and render them until the block has ``room`` words or ``budget`` ticks.

    One call does the work of a turn of the loop, because calls from bytecode cost more than the ramps themselves. The
    end of each record in the block is stored in ``ends``. Returns why it stopped; may be called again for the same
    block.
    """
    ended = 0
    count = int(queue[Q_COUNT])
    spent = int(queue[Q_SPENT])
    at = int(queue[Q_END])
    stop = int(queue[Q_END_STOP])
    while count < room and spent < budget and at < stop:
        enough = int(queue[Q_TERMINALS])
        if int(queue[Q_QUEUED]) >= int(queue[Q_ENOUGH]):
            enough = 1
        if int(state[S_LEFT]) == 0:
            if int(queue[Q_QUEUED]) == 0:
                ended = EMPTY
                break
            standing = 0
            if int(queue[Q_STARVED]) or int(state[_U]) < 256:
                standing = 1
                if int(state[S_PACE]) == 0:
                    ended = STANDS
                    break
            head = int(queue[Q_HEAD])
            v = int(values[head])
            if v >> _KIND_SHIFT:
                ended = OTHER
                break
            # From a standstill, wait until the path's end is known or a good part of it; otherwise a slow host would
            # make the pen start and stop repeatedly.
            if standing and enough == 0:
                ended = TOO_LITTLE
                break
            beyond = PLENTY
            if int(queue[Q_TERMINALS]) == 0:
                beyond = int(queue[Q_OPEN]) - int(lengths[head])
                queue[Q_OPEN] = beyond
                if beyond > PLENTY:
                    beyond = PLENTY
            place = int(places[head])
            if int(load(state, (place >> 15) - 16384, (place & 32767) - 16384, v, beyond)) == 0:
                ended = UNPLAYABLE
                break
            queue[Q_IN_RUN] = 1
            queue[Q_LOADED_V] = v
            queue[Q_HEAD] = (head + 1) & int(queue[Q_MASK])
            queue[Q_QUEUED] = int(queue[Q_QUEUED]) - 1
        elif int(state[S_STILL]) and int(state[S_PACE]) and enough == 0:
            ended = TOO_LITTLE
            break
        n = int(render(state, words, count, room - count, budget - spent))
        count += n
        spent += int(state[S_TICKS])
        if int(state[S_LEFT]) == 0:
            ends[at] = count
            at += 1
        elif n == 0:
            ended = STILL
            break
        queue[Q_STARVED] = 0
    queue[Q_COUNT] = count
    queue[Q_SPENT] = spent
    queue[Q_END] = at
    return ended


@micropython.native
def delay(state, words, at, room, ticks):
    """Write delay words for exactly ``ticks``; returns their number. Less than one word's overhead is not written.

    The caller must keep ``ticks`` below ``room * 2^26``.
    """
    overhead = state[S_OVERHEAD]
    longest = MAX_WAIT + overhead
    count = 0
    while ticks >= overhead and ticks > 0 and count < room:
        part = ticks
        if part > longest:
            part = longest
            if ticks - part < overhead:
                part -= overhead  # leave enough for the last word
        words[at + count] = (part - overhead) << 4
        ticks -= part
        count += 1
    return count


@micropython.viper
def tally(words: ptr32, at: int, count: int, overhead: int, sums: ptr32):
    """Add the effect of ``words[at:at + count]``: sums[0], sums[1] steps of A and B; sums[2] seconds, sums[3] ticks."""
    a = 0
    b = 0
    seconds = sums[2]
    ticks = sums[3]
    i = at
    end = at + count
    while i < end:
        word = words[i]
        if word & 1:
            if word & 4:
                a += 1
            else:
                a -= 1
        if word & 2:
            if word & 8:
                b += 1
            else:
                b -= 1
        ticks += (word >> 4) + overhead
        while ticks >= TICK_HZ:
            ticks -= TICK_HZ
            seconds += 1
        i += 1
    sums[0] += a
    sums[1] += b
    sums[2] = seconds
    sums[3] = ticks
