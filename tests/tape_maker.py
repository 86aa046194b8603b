"""Makes tapes by hand: straight lines at given speeds, good or deliberately bad, without any board code."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.tape import TapeWriter

TICK_HZ = 5_000_000
OVERHEAD, SETUP, WIDTH = 19, 5, 10
UP_US, DOWN_US = 1300, 1700


def line_words(da: int, db: int, interval_ticks: float | np.ndarray) -> np.ndarray:
    """Words of a straight line: one per step of the dominant motor, ``interval_ticks`` apart."""
    n = max(abs(da), abs(db))
    k = np.arange(n + 1)
    a = np.diff(np.floor(k * abs(da) / n + 0.5).astype(int))
    b = np.diff(np.floor(k * abs(db) / n + 0.5).astype(int))
    waits = np.broadcast_to(np.asarray(np.rint(interval_ticks), dtype=np.int64), n) - OVERHEAD
    return (waits << 4 | (db >= 0) << 3 | (da >= 0) << 2 | b << 1 | a).astype(np.uint32)


def step_intervals(n: int, v0: float, accel: float) -> np.ndarray:
    """Ticks between n steps at constant acceleration from v0 (steps/s), by t(k) = (sqrt(v0^2 + 2 a k) - v0)/a."""
    k = np.arange(n + 1)
    t = (np.sqrt(v0 * v0 + 2 * accel * k) - v0) / accel
    return np.diff(np.rint(t * TICK_HZ))


class TapeMaker:
    """A tape under construction; each call advances time."""

    def __init__(self, path: Path, machine: Machine | None = None, faults: Faults | None = None) -> None:
        self.path = path
        self.machine = machine or Machine()
        self.writer = TapeWriter(path, self.machine, faults or Faults())
        self.tick = 0
        self.shape()

    def shape(self, overhead: int = OVERHEAD, setup: int = SETUP, width: int = WIDTH) -> None:
        self.overhead = overhead
        self.writer.shape(self.tick, overhead, setup, width)

    def zero(self, a: int, b: int) -> None:
        self.writer.zero(self.tick, a, b)

    def play(self, words: np.ndarray) -> None:
        end = self.tick + int((words >> 4).sum()) + self.overhead * len(words)
        self.writer.words(self.tick, end, words.tobytes())
        self.tick = end

    def line(self, da: int, db: int, steps_s: float) -> None:
        length = float(np.hypot(da, db)) / max(abs(da), abs(db))
        self.play(line_words(da, db, TICK_HZ * length / steps_s))

    def move(self, da: int, db: int, accel: float = 100_000.0) -> None:
        """From rest to rest, speeding up and slowing down at the given acceleration of the dominant motor."""
        n = max(abs(da), abs(db))
        up = step_intervals(n // 2, 0.0, accel)
        middle = up[-1:] if n % 2 and len(up) else np.full(n % 2, 50_000.0)
        self.play(line_words(da, db, np.concatenate((up, middle, up[::-1]))))

    def dwell(self, ms: float) -> None:
        self.play(np.array([(round(ms * 5000) - self.overhead) << 4], dtype=np.uint32))

    def pen(self, down: bool, ms: float = 150.0) -> None:
        self.writer.servo(self.tick, DOWN_US if down else UP_US)
        self.dwell(ms)

    def close(self) -> Path:
        self.writer.close()
        return self.path
