"""Random bytes into either end: counted faults, no exception, no memory growth. See also bench/fuzz_wire.py."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "bench"))

import fuzz_wire

MICROPYTHON = ROOT / ".tools" / "micropython"
# Tolerance for remaining data: a partial frame, a dozen waiting messages. A leak would grow with the run.
MOST_OBJECTS, MOST_BYTES = 200, 20_000


def check(ends: dict[str, dict[str, int]], total: int, most: int) -> None:
    assert set(ends) == {"board", "host"}
    for counts in ends.values():
        assert counts["bytes"] >= total
        assert min(counts["frames"], counts["damaged"], counts["foreign"], counts["odd"]) > 0
        assert counts["grown"] <= most


def test_half_a_million_bytes():
    check(fuzz_wire.run(Path(sys.executable), 500_000, seed=2), 500_000, MOST_OBJECTS)


@pytest.mark.skipif(not MICROPYTHON.exists(), reason="no MicroPython here: python tests/get_micropython.py")
def test_half_a_million_bytes_under_micropython():
    check(fuzz_wire.run(MICROPYTHON, 500_000, seed=3), 500_000, MOST_BYTES)


@pytest.mark.slow
def test_ten_million_bytes():
    check(fuzz_wire.run(Path(sys.executable), 10_000_000, seed=4), 10_000_000, MOST_OBJECTS)


@pytest.mark.slow
@pytest.mark.skipif(not MICROPYTHON.exists(), reason="no MicroPython here: python tests/get_micropython.py")
def test_a_million_bytes_under_micropython():
    check(fuzz_wire.run(MICROPYTHON, 1_000_000, seed=5), 1_000_000, MOST_BYTES)
