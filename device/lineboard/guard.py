"""What must not happen: paths out of reach or too fast, switches hit in mid-drawing, a host that has gone.

`check` runs on every record before it is queued.  `watch` runs in every turn of the loop and only observes; the
board decides what follows from what it finds.
"""

from lineboard import feeder, kernel
from linewire import messages
from linewire.compat import const, ticks_diff

# A switch counts as hit in mid-drawing once it has been closed this long.  Bounces of small switches last up to a few
# milliseconds (common practice), spikes picked up by the cable are far shorter; at 200 mm/s it costs 0.4 mm.
HIT_US = const(2000)
# Above the longest silence that a host can ask for (600 s), and a small integer with one turn of the loop added.
LONGEST_SILENCE_US = const(1_000_000_000)


class Guard:
    """Soft limits, endstops and the host's presence.

    Attributes
    ----------
    silent_us : how long nothing has been heard from the host (stops counting at LONGEST_SILENCE_US).
    """

    def __init__(self, port):
        self._port = port
        self._crossed = False
        self._low_x = self._high_x = self._low_y = self._high_y = 0
        self._top_speed = 0
        self._a = 0
        self._b = 0
        self._v = 0
        self._single = False
        self._passing = False
        self._pressed_us = [0, 0]
        self._last_us = port.now_us()
        self.silent_us = 0

    def configure(self, crossed, x_low, x_high, y_low, y_high, max_rate):
        """Soft limits in steps along x and y and steps/s of either motor, as the settings have them."""
        self._crossed = crossed
        # On a crossed-belt rig x = (a + b) / 2 and y = (a - b) / 2; compare doubled, without rounding.
        double = 2 if crossed else 1
        self._low_x = x_low * double
        self._high_x = x_high * double
        self._low_y = y_low * double
        self._high_y = y_high * double
        # Path speed is sqrt 2 times a motor's rate where both turn at it; 99/70 is the next simple fraction above.
        self._top_speed = max_rate * 99 // 70 + 1

    def within(self, a, b):
        """Position (a, b) in motor steps lies within the soft limits."""
        if self._crossed:
            x = a + b
            y = a - b
        else:
            x = a
            y = b
        return self._low_x <= x <= self._high_x and self._low_y <= y <= self._high_y

    def begin(self, a, b):
        """The next record checked starts at rest in (a, b)."""
        self._a = a
        self._b = b
        self._v = 0
        self._single = False
        self._passing = False

    def check(self, kind, x, y, v):
        """Fault that queueing this record would be, or `NO_FAULT`.  Fields as in `Feeder.push`.

        Limits of reach are two axis-parallel pairs, so a straight ramp between two points within them stays within;
        the end of every ramp is enough.
        """
        if kind == feeder.RAMP:
            if (x == 0 and y == 0) or (v == 0 and self._v == 0):
                return messages.BAD_RECORDS
            if not (-kernel.MAX_STEPS <= x <= kernel.MAX_STEPS and -kernel.MAX_STEPS <= y <= kernel.MAX_STEPS):
                return messages.BAD_RECORDS
            a = self._a + x
            b = self._b + y
            if v > self._top_speed or not self.within(a, b):
                return messages.BEYOND_LIMITS
            # A move of one step from rest to rest cannot slow down again; its single pulse may end at any speed.
            self._single = self._v == 0 and -1 <= x <= 1 and -1 <= y <= 1
            self._a = a
            self._b = b
            self._v = v
            self._passing = False
        elif self._passing:
            return messages.BAD_RECORDS  # only a ramp can follow a pen action in passing
        elif kind == feeder.PEN and v == 0 and self._v:
            self._passing = True
        elif self._v and not self._single:
            return messages.BAD_RECORDS  # a rest, a pen action or the end needs a path that has come to rest
        else:
            self._v = 0
        return messages.NO_FAULT

    def heard(self):
        """Something has arrived from the host."""
        self.silent_us = 0

    def watch(self, now_us):
        """Measure how long the host has been silent and the switches closed."""
        since_us = ticks_diff(now_us, self._last_us)
        self._last_us = now_us
        if self.silent_us < LONGEST_SILENCE_US:
            self.silent_us += since_us
        for axis in (0, 1):
            if not self._port.endstop(axis):
                self._pressed_us[axis] = -1
            elif self._pressed_us[axis] < 0:
                self._pressed_us[axis] = 0
            elif self._pressed_us[axis] < HIT_US:
                self._pressed_us[axis] += since_us

    def hit(self, axis):
        """The switch of `axis` has been closed long enough to be believed."""
        return self._pressed_us[axis] >= HIT_US

    def closing(self, axis):
        """The switch of `axis` is closed, believed or not."""
        return self._pressed_us[axis] >= 0
