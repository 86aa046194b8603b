"""A fake port for feeder and guard: its player has always finished all blocks but the newest."""

from lineboard import kernel


class DonePlayer:
    """Counts submitted words and blocks. Benches and other processors also use it, so it imports nothing of the
    tests.
    """

    tick_hz = kernel.TICK_HZ
    overhead_ticks = 20

    def __init__(self):
        self.blocks = 0
        self.words = 0

    def now_us(self):
        return 0

    def endstop(self, _which):
        return False

    def motor_power(self):
        return True

    def room(self):
        return 8

    def finished(self):
        return self.blocks - 1 if self.blocks else 0

    def submit(self, _words, count, _servo_us):
        self.blocks += 1
        self.words += count
