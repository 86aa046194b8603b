"""The pen's height: the servo's last pulse, and whether the pen has arrived.

While a program plays, the player sets the servo itself between two blocks, so that pen and path stay in step; `note`
records it here. All other pen moves (start, hold, fault, end) use `lift` and `lower`, followed by a wait outside the
plan.
"""

from linewire.compat import ticks_add, ticks_diff


class PenServo:
    """A servo between two heights.

    Attributes
    ----------
    us : last pulse width; 0 = no pulses yet (the pen is where it was left).
    """

    def __init__(self, port):
        self._port = port
        self.us = 0
        self._up_us = 0
        self._lift_us = 0
        self._lower_us = 0
        self._moving = False
        self._arrives_us = 0

    def configure(self, up_us, lift_ms, lower_ms):
        self._up_us = up_us
        self._lift_us = lift_ms * 1000
        self._lower_us = lower_ms * 1000

    def is_up(self):
        """Whether the last pulse was the raised height. Any other height may touch the paper."""
        return self.us != 0 and self.us == self._up_us

    def note(self, us):
        """Record that the player has set the servo, with the dwell in the plan."""
        self.us = us
        self._moving = False

    def lift(self, now_us):
        """Raise the pen, unless its last pulse was the raised one."""
        if self._up_us and self.us != self._up_us:
            self._move(self._up_us, self._lift_us, now_us)

    def lower(self, us, now_us):
        """Move to height `us`, unless the pen is there."""
        if self.us != us:
            self._move(us, self._lift_us if us == self._up_us else self._lower_us, now_us)

    def settled(self, now_us):
        """True once the pen has had time to arrive."""
        if self._moving and ticks_diff(now_us, self._arrives_us) >= 0:
            self._moving = False
        return not self._moving

    def _move(self, us, takes_us, now_us):
        self.us = us
        self._port.servo(us)
        self._moving = True
        self._arrives_us = ticks_add(now_us, takes_us)
