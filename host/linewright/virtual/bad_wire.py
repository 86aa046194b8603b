"""A link with faults: it damages, loses, doubles, reorders and delays frames at random, from a seed.

It sits between host and virtual rig (``virtual:damage=0.01,seed=7``) and carries whole frames: bytes up to and
including a zero, as in `linewire.framing`. The same sequence of frames meets the same faults. The sequence depends on
the timing of two processes, so runs are not identical to the byte.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import Final

from linewright.simulation.faults import Defects, fault

_END: Final = 0


@dataclass(frozen=True)
class WireFaults(Defects):
    """Faults of a link. Shares are of all frames in each direction."""

    damage: float = fault("share of frames in which one bit is wrong", "", 0, 1)
    lose: float = fault("share of frames that vanish", "", 0, 1)
    double: float = fault("share of frames that arrive twice", "", 0, 1)
    late: float = fault("share of frames that are overtaken by the next one", "", 0, 1)
    stall: float = fault("share of the host's frames before which the link stalls for stall_s", "", 0, 1)
    stall_s: float = fault("how long a stall is", "s", 0, 60, 1.0)
    pull: float = fault("share of frames at which the cable is pulled for pull_s", "", 0, 1)
    pull_s: float = fault("how long the cable is out; all frames are lost then", "s", 0, 60, 1.0)
    seed: float = fault("seed of the random faults, a whole number", "", 0, 1e9)


class _Way:
    """State of one direction."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.begun = bytearray()  # an incomplete frame
        self.held = b""  # a frame to be sent after the next one


class BadWire:
    """Carries frames both ways with faults. Without clock and I/O.

    Attributes
    ----------
    frames, hurt : frames carried in both directions, and frames with a fault.
    """

    def __init__(self, faults: WireFaults) -> None:
        self._faults = faults
        self._ways = (_Way(2 * int(faults.seed)), _Way(2 * int(faults.seed) + 1))
        self._out_until_s = float("-inf")
        self._stall_s = 0.0
        self.frames = 0
        self.hurt = 0

    def carry(self, data: bytes, *, to_board: bool, now_s: float) -> bytes:
        """The bytes that arrive when ``data`` is sent."""
        way = self._ways[to_board]
        arrived = bytearray()
        for byte in data:
            way.begun.append(byte)
            if byte == _END:
                arrived += self._frame(way, bytes(way.begun), to_board=to_board, now_s=now_s)
                way.begun.clear()
        return bytes(arrived)

    def take_stall_s(self) -> float:
        """Seconds for which the link stalls now; reset by the call."""
        stall_s, self._stall_s = self._stall_s, 0.0
        return stall_s

    def _frame(self, way: _Way, frame: bytes, *, to_board: bool, now_s: float) -> bytes:
        faults = self._faults
        if len(frame) == 1:
            return frame  # a delimiter only
        # Draw all random numbers for every frame, so that one fault does not shift the others.
        draw = [way.random.random() for _ in range(6)]
        bit = way.random.randrange(8 * len(frame))
        self.frames += 1
        if draw[5] < faults.pull:
            self._out_until_s = now_s + faults.pull_s
        if draw[4] < faults.stall and to_board:
            self._stall_s += faults.stall_s
        damage, lose = draw[0] < faults.damage, draw[1] < faults.lose or now_s < self._out_until_s
        double, late = draw[2] < faults.double, draw[3] < faults.late
        self.hurt += damage or lose or double or late
        if damage:
            frame = frame[: bit // 8] + bytes([frame[bit // 8] ^ 1 << bit % 8]) + frame[bit // 8 + 1 :]
        copies = b"" if lose else frame * (1 + double)
        held, way.held = way.held, b""
        if late and not held:
            way.held = copies
            return b""
        return copies + held
