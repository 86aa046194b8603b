"""The board: its parts, its states, and the effect of each request and fault on them.

    asleep    started, before the rig's settings: drivers off, no servo pulses, nothing moves
    unhomed   the position is not known (homing runs in this state)
    ready     the position is known and the pen is up; a program may start
    drawing   a program is playing
    holding   a program is paused by request, or because the host is silent or has changed; the pen is up
    faulted   after a fault; `abandon` leads back to ready if the position is still trusted, otherwise `home`

This module does not handle frames. Requests return a reason from `messages.REASONS`; `NO_REASON` means done.
"""

from array import array

from lineboard import kernel
from lineboard.feeder import MASK, Feeder
from lineboard.guard import L_COUNT, L_LAST_KIND, L_OPEN, L_TERMINALS, Guard
from lineboard.homing import HomingFault, HomingRun
from lineboard.pen import PenServo
from lineboard.server import Server
from linewire import messages
from linewire.compat import collect, const, micropython, ticks_add, ticks_diff
from linewire.messages import ASLEEP, DRAWING, FAULTED, HOLDING, READY, UNHOMED

VERSION = "lineboard 0.1"

# Longest sleep of the loop: during motion, at least half of what is rendered ahead for the player; at rest, short
# enough for the idle timer and a blinking LED.
_BUSY_US = const(20_000)
_CLOSED_US = const(1_000)  # polling interval of a closed switch, and of the motor supply while it is missing
_REST_US = const(100_000)
# Drivers power up within a few milliseconds, and the rotors then settle (common practice).
_WAKE_US = const(50_000)

# Levels of the port's `enable`.
_OFF = const(0)
_ON = const(1)
_AT_REST = const(2)  # powered, with the holding current

_HOST_SILENCE_MS = messages.SETTING_BY_NAME["host_silence_ms"][1]

# Settings on which the position depends: step counts, origin, and pins.
_POSITION_KEYS = [
    entry[1]
    for entry in messages.SETTINGS
    if entry[0].split("_")[0] in ("kinematics", "x", "y", "pin", "reversed", "contact")
    or entry[0].startswith("home_end")
]

_PIN_KEYS = [entry[1] for entry in messages.SETTINGS if entry[0].startswith("pin_")]

_NOT_STOPPING = const(-1)
_ABANDON = const(0)  # other values of `_stopping` are fault codes


class Board:
    """Everything on the board behind its port.

    Attributes
    ----------
    state, fault : numbers of `messages.STATES` and `messages.FAULTS`.
    known : axes with known position, by homing or by hand; bit 0: x, bit 1: y.
    homed : axes homed at their switches; bit 0: x, bit 1: y.
    program : number of the program playing, or played last; 0 = none.
    settings : array('i'), by key of `messages.SETTINGS`.
    refused : array('i'), field, value, low and high of the last request refused.
    """

    def __init__(self, port, digest=0, session=1):
        # Start safely: no torque, pen up. A port that does not remember the rig's pen heights cannot raise the pen yet;
        # without pulses the servo's gears hold it.
        port.enable(_OFF)
        port.servo(port.pen_up_us)
        self.port = port
        self.settings = array("i", [entry[4] for entry in messages.SETTINGS])
        self.refused = array("i", (0, 0, 0, 0))
        self.feeder = Feeder(port)
        self.pen = PenServo(port)
        self.guard = Guard(port, MASK)
        self.homing = HomingRun(port, self.feeder, self.pen, self.guard)
        self.state = ASLEEP
        self.fault = messages.WATCHDOG if port.restarted else messages.NO_FAULT
        self.known = 0
        self.homed = 0
        self.enabled = False
        self._resting = False  # holding current is set
        self._rest_us = 0
        self._rest_after_us = 0  # 0 = never
        self.program = 0
        self._pace = kernel.FULL_PACE
        self._stopping = _NOT_STOPPING
        self._stop_detail = 0
        self._silent = False
        self._plan_pen_us = 0
        self._waking = False
        self._awake_us = 0
        self._idle_us = 0
        self._idle_s = 0
        self._idle_after_s = 0
        self._homing_mask = 0
        self._switches = 0  # axes with an endstop
        self._last_us = port.now_us()
        self.server = Server(self, port, VERSION, digest, session)

    def run(self):
        """The main loop. Left by an exception, a request for the prompt, or a bug; then motors off, pen up."""
        self._tidy()
        try:
            while True:
                self.poll()
        except (Exception, KeyboardInterrupt):
            port = self.port
            self._halt(port.now_us())
            while not self.pen.settled(port.now_us()):
                port.alive()
                port.wait(_BUSY_US)
            raise

    def poll(self):
        """One turn of the loop: receive, act, play, send, sleep."""
        port = self.port
        port.alive()
        now_us = port.now_us()
        since_us = ticks_diff(now_us, self._last_us)
        self._last_us = now_us
        if self.server.receive(now_us):
            self.guard.heard()
        self.guard.watch(now_us)
        # Called in every turn, because times long past look like future ones to a wrapping counter.
        self.pen.settled(now_us)
        self._awake(now_us)
        self.feeder.feed()
        if (self.enabled or self.known) and self.guard.unpowered():
            # In any state: without power the motors do not hold, and the carriage may be moved by hand or gravity.
            self._break_off(messages.POWER_LOST, 0, now_us)
        elif self.feeder.broke_off and self.state != FAULTED:
            self._break_off(messages.PLAYER_BROKE_OFF, self.feeder.underruns, now_us)
        elif self.state == DRAWING or self.state == HOLDING:
            self._draw(now_us, since_us)
        elif self.homing.running:
            self._home(now_us)
        else:
            self._rest(since_us)
        self.feeder.feed()
        self.server.transmit(now_us)
        sleep_us = self.server.sleep_us(now_us, self._longest_sleep_us())
        if sleep_us:
            port.pause(sleep_us, self.server.expecting(), self.feeder.spare_us())

    def set(self, pairs):
        """Change settings, all or none. `pairs`: (key, value), each within its own range.

        Unchanged settings are accepted in any state; a reconnecting host resends them.
        """
        if self.state != ASLEEP and not self._changes(pairs):
            return messages.NO_REASON
        if self.state == DRAWING or self.state == HOLDING or self.homing.running:
            return self._wrong_state()
        kept = array("i", self.settings)
        for key, value in pairs:
            self.settings[key] = value
        if not self._agree():
            for key in range(len(kept)):
                self.settings[key] = kept[key]
            return messages.OUT_OF_RANGE
        for key in _POSITION_KEYS:
            if self.settings[key] != kept[key]:
                self._sleep()  # the pins may have changed
                self._lose_position()
                if self.state == READY:
                    self.state = UNHOMED
                break
        self._configure()
        us = self.pen.us
        beyond = not self._get("servo_low_us") <= us <= self._get("servo_high_us")
        if self.state == ASLEEP or us in (0, kept[_key("pen_up_us")]) or beyond:
            self.pen.lift(self.port.now_us())
        if self.state == ASLEEP:
            self.state = UNHOMED
        return messages.NO_REASON

    def home(self, axes):
        """Start homing; it ends in `Server.homed` or in a fault."""
        if self.state not in (UNHOMED, READY, FAULTED) or self.homing.running:
            return self._wrong_state()
        for axis in (0, 1):
            if axes >> axis & 1 and self.homing.axes[axis].end == 0:
                return self._refuse(messages.NO_SWITCH, 1, axes, 0, 0)
        if not self.port.motor_power():
            return self._no_power()
        self._tidy()
        now_us = self.port.now_us()
        if not self.known:
            self._call_here(0, 0)
        self.state = UNHOMED
        self.fault = messages.NO_FAULT
        known = self.known
        self.known &= ~axes
        self.homed &= ~axes
        self._homing_mask = axes
        self.program = 0  # the feeder's counts refer to homing now
        self._silent = False
        self._wake(now_us)
        self.homing.start(axes, known, now_us)
        return messages.NO_REASON

    def origin(self, a, b):
        """Set the present position to (a, b)."""
        if self.state not in (UNHOMED, READY, FAULTED) or self.homing.running:
            return self._wrong_state()
        if not self.port.motor_power():
            return self._no_power()
        self.feeder.begin(0)
        self._call_here(a, b)
        self.port.mark(a, b)
        self.known = 3
        self.homed = 0
        self.fault = messages.NO_FAULT
        self.program = 0
        self.state = READY
        self._wake(self.port.now_us())
        return messages.NO_REASON

    def _call_here(self, a, b):
        self.guard.renamed(self.feeder.a, self.feeder.b, a, b)
        self.feeder.set_position(a, b)

    def begin(self, program, first, a, b):
        """Start a program at record `first`, at the present position, which the host must state."""
        if self.state != READY:
            return self._wrong_state()
        if not self.port.motor_power():
            return self._no_power()
        feeder = self.feeder
        if feeder.a != a:
            return self._refuse(messages.POSITION_DIFFERS, 3, feeder.a, feeder.a, feeder.a)
        if feeder.b != b:
            return self._refuse(messages.POSITION_DIFFERS, 4, feeder.b, feeder.b, feeder.b)
        self._tidy()
        now_us = self.port.now_us()
        feeder.begin(first)
        feeder.set_pace(0)  # until the pen is up and the motors are powered, see _draw
        self._pace = kernel.FULL_PACE
        self.guard.begin(a, b, self.homed & self._switches == self._switches)
        self.guard.heard()
        self.program = program
        self.pen.lift(now_us)
        self._plan_pen_us = self.pen.us
        self._stopping = _NOT_STOPPING
        self._silent = False
        self._wake(now_us)
        self.state = DRAWING
        return messages.NO_REASON

    def accepts_records(self):
        """Whether a program is playing and not being stopped."""
        return (self.state == DRAWING or self.state == HOLDING) and self._stopping == _NOT_STOPPING

    @micropython.native
    def admit(self, count):
        """Queue `count` records that have been decoded into the queue's arrays; returns a fault, or 0.

        Records before the faulty one are queued.
        """
        if count == 0:
            return messages.NO_FAULT
        guard = self.guard
        fault = guard.admit(self.feeder, count)
        limits = guard.limits
        admitted = limits[L_COUNT]
        if admitted:
            self.feeder.enter(admitted, limits[L_TERMINALS], limits[L_OPEN], limits[L_LAST_KIND])
        return fault

    def set_pace(self, pace):
        """Set the pace (0 = hold) of the program that is playing; each program starts at full pace."""
        self._pace = pace
        return messages.NO_REASON

    def abandon(self):
        """Abandon the operation: controlled stop, pen up, queue dropped, position kept."""
        if self.homing.running:
            self.homing.cancel()
        elif self.state == DRAWING or self.state == HOLDING:
            if self._stopping == _NOT_STOPPING:
                self._stopping = _ABANDON
        elif self.state == FAULTED:
            if not self.trusted():
                return self._wrong_state()
            self.fault = messages.NO_FAULT
            self.state = READY
        return messages.NO_REASON

    def cut(self):
        """Motors off at once. The carriage coasts, so the position is lost."""
        self._halt(self.port.now_us())
        if self.state != ASLEEP:
            self.state = UNHOMED
        self.fault = messages.MOTORS_CUT
        self.server.fault(self.fault, 0)
        return messages.NO_REASON

    def move_pen(self, servo_us):
        if self.state not in (UNHOMED, READY, HOLDING) or self.homing.running:
            return self._wrong_state()
        low, high = self._get("servo_low_us"), self._get("servo_high_us")
        if not low <= servo_us <= high:
            return self._refuse(messages.OUT_OF_RANGE, 1, servo_us, low, high)
        self.pen.lower(servo_us, self.port.now_us())
        return messages.NO_REASON

    def enable(self, on):
        """Switch the motors on, or off so that they can be turned by hand (the position is lost then)."""
        if self.state not in (UNHOMED, READY, FAULTED) or self.homing.running:
            return self._wrong_state()
        if on and not self.port.motor_power():
            return self._no_power()
        if on:
            self._wake(self.port.now_us())
        else:
            self._sleep()
            self._lose_position()
            if self.state == READY:
                self.state = UNHOMED
        return messages.NO_REASON

    def new_host(self):
        """Another session has been opened. A drawing in progress holds until its host requests otherwise."""
        if self.state == DRAWING or self.state == HOLDING:
            self._pace = 0
        elif self.homing.running:
            self.homing.cancel()

    def stop_with(self, fault, detail):
        """Controlled stop, then faulted with the position still trusted."""
        if self._stopping <= _ABANDON:
            self._stopping = fault
            self._stop_detail = detail

    def _break_off(self, fault, detail, now_us):
        """Stop at once, motors off, faulted; the position is no longer trusted."""
        self._halt(now_us)
        self._fault(fault, detail)

    def _fault(self, fault, detail):
        self.fault = fault
        self.state = FAULTED
        self.server.fault(fault, detail)

    def _halt(self, now_us):
        self.feeder.halt()
        if self.homing.running:
            self.homing.abort()
        self.feeder.drop()
        # The player may have been about to set the servo, so the last pulse is unknown.
        self.pen.note(0)
        self.pen.lift(now_us)
        self._sleep()
        self._lose_position()
        self._stopping = _NOT_STOPPING
        self._pace = kernel.FULL_PACE

    def _lose_position(self):
        self.known = 0
        self.homed = 0
        # An axis with a switch keeps its known travel until it is homed; an axis without one may have been moved by
        # hand.
        self.guard.lost(3 & ~self._switches, self.feeder.a, self.feeder.b)

    @micropython.native
    def _draw(self, now_us, since_us):
        feeder = self.feeder
        pen = self.pen
        for axis in (0, 1):
            if self._switches >> axis & 1 and self.guard.hit(axis) and not feeder.standing():
                self._break_off(messages.ENDSTOP_HIT, axis, now_us)
                return
        if feeder.unplayable:
            self.stop_with(messages.BAD_RECORDS, feeder.dequeued)
        self._watch_silence(self.state == DRAWING)
        if feeder.servo_us:
            # Once only, because later pen moves by the board must not be overwritten by older values.
            self._plan_pen_us = feeder.servo_us
            pen.note(feeder.servo_us)
            feeder.servo_us = 0

        if self._stopping != _NOT_STOPPING or self._silent or self._pace == 0:
            feeder.set_pace(0)
            if self._stopping != _NOT_STOPPING and feeder.resting() and not feeder.standing():
                feeder.halt()  # nothing moves, so a long rest need not be awaited
                pen.note(0)
            if not feeder.standing():
                return
            if self.state != HOLDING or self._stopping != _NOT_STOPPING:
                pen.lift(now_us)  # once, because the user may move it by hand during a hold
            self.state = HOLDING
            if self._stopping != _NOT_STOPPING:
                if pen.settled(now_us):
                    self._end_stop()
            elif self._silent:
                self._rest(
                    since_us
                )  # not during a user's hold, who may be at the machine; a lost host may be gone for long
            return

        if self.state == HOLDING:
            self._wake(now_us)
            if not self._awake(now_us):
                return  # let the rotors settle before the pen touches the paper
            pen.lower(self._plan_pen_us, now_us)
        if not pen.settled(now_us) or not self._awake(now_us):
            feeder.set_pace(0)
            return
        self.state = DRAWING
        feeder.set_pace(self._pace)
        if feeder.ended:
            pen.lift(now_us)
            if pen.settled(now_us):
                self._leave_program()
                self.state = READY
                self.server.event(messages.FINISHED, feeder.records_done)

    def _end_stop(self):
        code = self._stopping
        self.feeder.drop()
        self._leave_program()
        if code == _ABANDON:
            self.state = READY
            self.server.event(messages.STOPPED, self.feeder.records_done)
        else:
            self._fault(code, self._stop_detail)

    def _leave_program(self):
        self._stopping = _NOT_STOPPING
        self._pace = kernel.FULL_PACE
        self._silent = False
        if self.fault == messages.HOST_LOST:
            self.fault = messages.NO_FAULT
        self.feeder.set_pace(kernel.FULL_PACE)
        self._begin_rest()

    def _watch_silence(self, moving):
        """Detect that the host falls silent during motion, and that it returns."""
        silent_ms = self.guard.silent_us // 1000
        limit_ms = self.settings[_HOST_SILENCE_MS]
        if moving and not self._silent and 2 * silent_ms >= limit_ms:
            self.server.probe()
            if silent_ms >= limit_ms:
                self._silent = True
                self.fault = messages.HOST_LOST
                self.server.fault(messages.HOST_LOST, limit_ms)
        elif self._silent and silent_ms < limit_ms:
            self._silent = False
            if self.fault == messages.HOST_LOST:
                self.fault = messages.NO_FAULT

    @micropython.native
    def _home(self, now_us):
        self._watch_silence(True)
        if self._silent:
            self.homing.cancel()
        if not self._awake(now_us):
            return
        try:
            if not self.homing.poll(now_us):
                return
        except HomingFault as problem:
            if problem.code == messages.NO_FAULT:
                self.server.event(messages.STOPPED, 0)
            else:
                self._break_off(problem.code, problem.axis, now_us)
            return
        self.homed |= self._homing_mask
        self.known |= self._homing_mask
        self.port.mark(self.feeder.a, self.feeder.b)
        self._begin_rest()
        if self.trusted():
            self.state = READY
        self.server.homed()

    def _rest(self, since_us):
        """Nothing moves: switch the motors to holding current, and later off."""
        self._watch_silence(False)
        if not self.enabled:
            return
        if self._rest_after_us and not self._resting:
            self._rest_us += since_us
            if self._rest_us >= self._rest_after_us:
                self._resting = True
                self.port.enable(_AT_REST)
        self._idle_us += since_us
        while self._idle_us >= 1_000_000:
            self._idle_us -= 1_000_000
            self._idle_s += 1
        after_s = self._idle_after_s
        if after_s and self._idle_s >= after_s:
            self._sleep()
            self.server.event(messages.WENT_IDLE, after_s)

    def _tidy(self):
        """Collect garbage now, while nothing moves, so that no collection occurs during motion.

        It takes about 25 ms on an RP2040. Drawing and homing allocate little, so the free memory lasts.
        """
        self.port.alive()
        collect()

    @micropython.native
    def flags(self):
        """The report's flags."""
        port = self.port
        flags = messages.FLAG_TRUSTED if self.known == 3 else 0
        if self._switches and self.homed & self._switches == self._switches:
            flags |= messages.FLAG_HOMED
        if self.pen.is_up():
            flags |= messages.FLAG_PEN_UP
        if self.enabled:
            flags |= messages.FLAG_ENABLED
        if port.endstop(0):
            flags |= messages.FLAG_ENDSTOP_X
        if port.endstop(1):
            flags |= messages.FLAG_ENDSTOP_Y
        if not port.motor_power():
            flags |= messages.FLAG_UNPOWERED
        return flags

    def trusted(self):
        """Whether the position is known."""
        return self.known == 3

    def silent(self):
        """Whether the host counts as lost at present."""
        return self._silent

    def _longest_sleep_us(self):
        guard = self.guard
        if guard.closing(0) or guard.closing(1) or (guard.losing_power() and self.enabled):
            return _CLOSED_US
        if self.homing.running:
            return self.port.switch_us
        if self.state == DRAWING or self.state == HOLDING:
            return _BUSY_US
        return _REST_US

    def _begin_rest(self):
        self._idle_us = 0
        self._idle_s = 0
        self._rest_us = 0

    def _wake(self, now_us):
        self._begin_rest()
        if not self.enabled or self._resting:
            self.enabled = True
            self._resting = False
            self.port.enable(_ON)
            self._waking = True
            self._awake_us = ticks_add(now_us, _WAKE_US)

    def _awake(self, now_us):
        if self._waking and ticks_diff(now_us, self._awake_us) >= 0:
            self._waking = False
        return not self._waking

    def _sleep(self):
        self.enabled = False
        self._resting = False
        self._waking = False
        self.port.enable(_OFF)

    def _get(self, name):
        return self.settings[_key(name)]

    def _changes(self, pairs):
        for key, value in pairs:
            if self.settings[key] != value:
                return True
        return False

    def _agree(self):
        """Refuse settings that are in range individually but contradict each other or this board."""
        settings = self.settings
        for name in ("x", "y"):
            low = settings[_key(name + "_low")]
            key = _key(name + "_high")
            if settings[key] < low:
                self._refuse(messages.OUT_OF_RANGE, key, settings[key], low, messages.POSITION)
                return False
        low, high = settings[_key("servo_low_us")], settings[_key("servo_high_us")]
        for name in ("pen_up_us", "pen_down_us"):
            key = _key(name)
            if not low <= settings[key] <= high:
                self._refuse(messages.OUT_OF_RANGE, key, settings[key], low, high)
                return False
        taken = []
        for key in _PIN_KEYS:
            pin = settings[key]
            if pin >= 0 and pin in taken:
                # Two functions on one pin; -1 (none) is the nearest allowed value.
                self._refuse(messages.OUT_OF_RANGE, key, pin, -1, -1)
                return False
            taken.append(pin)
        for name in ("max_rate", "home_fast_x", "home_fast_y", "home_slow_x", "home_slow_y"):
            key = _key(name)
            if settings[key] > self.port.max_rate:
                self._refuse(messages.OUT_OF_RANGE, key, settings[key], 1, self.port.max_rate)
                return False
        refused = self.port.refuses(settings)
        if refused:
            key, value, low, high = refused
            self._refuse(messages.OUT_OF_RANGE, key, value, low, high)
            return False
        return True

    def _configure(self):
        get = self._get
        crossed = get("kinematics") == 1
        # The motors' limits apply to holding and homing as to drawing.
        rates = (min(get("max_rate"), get("rate_a")), min(get("max_rate"), get("rate_b")))
        ramp_accel = get("ramp_accel")
        self.port.configure(self.settings)
        self.feeder.state[kernel.S_OVERHEAD] = self.port.overhead_ticks
        self.feeder.state[kernel.S_ACCEL] = min(get("accel"), ramp_accel)
        self.guard.configure(
            crossed,
            (get("x_low"), get("x_high"), get("y_low"), get("y_high")),
            rates[0],
            rates[1],
            ramp_accel,
            get("corner_rate"),
            get("servo_low_us"),
            get("servo_high_us"),
        )
        self.pen.configure(get("pen_up_us"), get("pen_lift_ms"), get("pen_lower_ms"))
        self.homing.configure(crossed, get("home_passes"))
        self._idle_after_s = get("idle_after_s")
        self._rest_after_us = get("rest_current_after_ms") * 1000 + 1 if get("pin_rest_current") >= 0 else 0
        self._switches = 0
        for axis in (0, 1):
            plan = self.homing.axes[axis]
            of = "_y" if axis else "_x"
            plan.end = get("home_end" + of)
            # On crossed belts both motors turn, and the path in motor space is sqrt 2 (181/128) longer.
            rate = min(rates) if crossed else rates[axis]
            plan.fast = min(get("home_fast" + of), rate)
            plan.slow = min(get("home_slow" + of), rate, get("corner_rate"))  # it stops without a ramp, at the switch
            plan.accel = min(get("home_accel" + of), max(ramp_accel * 128 // 181, 1) if crossed else ramp_accel)
            plan.backoff = get("home_backoff" + of)
            plan.travel = get("home_travel" + of)
            plan.low = get("y_low" if axis else "x_low")
            plan.high = get("y_high" if axis else "x_high")
            if plan.end:
                self._switches |= 1 << axis

    def _no_power(self):
        return self._refuse(messages.NO_MOTOR_POWER, 255, 0, 1, 1)

    def _wrong_state(self):
        return self._refuse(messages.WRONG_STATE, 255, self.state, 0, 0)

    def _refuse(self, reason, field, value, low, high):
        refused = self.refused
        refused[0] = field
        refused[1] = value
        refused[2] = low
        refused[3] = high
        return reason


def _key(name):
    return messages.SETTING_BY_NAME[name][1]
