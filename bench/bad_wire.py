"""Throughput of the link with one damaged frame in a hundred, relative to a clean wire.

    .venv/bin/python bench/bad_wire.py

Both ends are the real endpoints, the wire is tests/protocol/faulty_wire.py: 100 kB/s, 1 ms each way, full frames down
and an answer to every tenth up, in simulated time, so every run prints the same. Bar (LINK.md): 90 % of the clean
throughput. The table also has higher error rates. Then one drawing over the virtual rig's own bad wire
(`virtual:damage=0.01,seed=7`), pulse for pulse against the clean one.
"""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from linewire import messages
from linewright.board.session import Session
from linewright.planning.pipeline import Placement, PlanTask, prepare
from linewright.rig.rig import Rig
from linewright.run import course
from linewright.simulation import tape as tapes
from linewright.simulation.tape import TapeReader
from linewright.virtual.port import open_transport
from protocol.faulty_wire import Faults, Pair

ROOT = Path(__file__).resolve().parent.parent
MESSAGES = 2000
SEEDS = range(9)
LEAST_SHARE = 0.9
# Chances of the wire are per chunk of 64 bytes, and a full frame travels in four of them.
CHUNKS = 4


def seconds(seed: int, faults: Faults) -> float:
    """Simulated time for all messages."""
    pair = Pair.make(seed, faults)
    payload = random.Random(seed).randbytes(messages.PAYLOAD)
    sent = got = answered = heard = 0

    def turn(pair: Pair) -> bool:
        nonlocal sent, got, answered, heard
        while pair.host.can_send and sent < MESSAGES:
            pair.host.send(messages.MOVES, payload)
            sent += 1
        while pair.board.next_message():
            got += 1
        while pair.board.can_send and answered < got // 10:
            pair.board.send(messages.DONE, b"\0\0")
            answered += 1
        while pair.host.next_message():
            heard += 1
        return got == MESSAGES and heard == MESSAGES // 10

    if not pair.run(turn, 3_600_000_000):
        raise RuntimeError(f"{got} of {MESSAGES} messages in an hour")
    return pair.t_us / 1e6


def steps(options: str) -> tuple[NDArray[np.uint32], int, int]:
    """Step pulses of a card over the virtual rig, in order; frames sent again; frames damaged."""
    rig = Rig.default()
    program = prepare(PlanTask(str(ROOT / "demo" / "heron.svg"), rig, Placement(sheet="A6"))).program
    with tempfile.TemporaryDirectory() as folder:
        tape = Path(folder) / "run.tape"
        transport = open_transport(f"virtual:tape={tape}{options}", rig=rig)
        try:
            session = Session(transport, rig)
            session.greet()
            session.home()
            result = course.draw(session, program)
        finally:
            transport.close()
        words = np.concatenate([entry.values & 15 for entry in TapeReader(tape) if entry.kind == tapes.WORDS])
        transport.discard()
    return words[words & 3 > 0], result.retransmitted_frames, result.damaged_frames


def main() -> int:
    clean = [seconds(seed, Faults()) for seed in SEEDS]
    kilobytes = MESSAGES * messages.PAYLOAD / 1000
    print(f"clean: {kilobytes / statistics.median(clean):.1f} kB/s of payload")
    code = 0
    for share in (0.01, 0.02, 0.05, 0.1, 0.2):
        bad = [seconds(seed, Faults(flip=share / CHUNKS)) for seed in SEEDS]
        kept = sorted(good / worse for good, worse in zip(clean, bad, strict=True))
        print(f"{share:4.0%} of frames damaged: {statistics.median(kept):.3f} of it ({kept[0]:.3f}..{kept[-1]:.3f})")
        if share == 0.01:
            code = statistics.median(kept) < LEAST_SHARE
    plain, _, _ = steps("")
    same, again, damaged = steps(",damage=0.01,seed=7")
    equal = bool(np.array_equal(plain, same))
    print(f"heron on A6: {len(plain):,} step pulses, {'the same' if equal else 'NOT THE SAME'} over the bad wire")
    print(f"  {damaged} damaged frames seen by the host, {again} frames sent again")
    return int(code or not equal)


if __name__ == "__main__":
    sys.exit(main())
