"""Heap use of call frames in the board's code: MicroPython allocates large frames on the heap."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MICROPYTHON = ROOT / ".tools" / "micropython"
WORD_BYTES = 4  # on a board
EXCEPTION_WORDS = 3  # for each block that catches (MicroPython, py/bc.h: mp_exc_stack_t)
STACK_WORDS = 11
"""Frames up to this size lie on the stack (MicroPython, py/objfun.c: VM_MAX_STATE_ON_STACK)."""
MOST_BYTES = 112
"""Seven heap blocks of 16 bytes: a hole of this size exists as long as any does."""
AT_REST = {("messages.py", "decode")}
"""Calls that take more; they occur only for requests other than records, blocks and homing."""


@pytest.fixture(scope="module")
def frames():
    """{(file, function): bytes on a board} of everything behind `lineboard.board`, as MicroPython compiles it."""
    if not MICROPYTHON.exists():
        pytest.skip("NOT RUN: .tools/micropython is missing; `make micropython` says why")
    done = subprocess.run(
        [MICROPYTHON, "-v", "-v", "-X", "heapsize=8M", "-c", "import lineboard.board"],
        env={"MICROPYPATH": f"{ROOT / 'device'}:{ROOT / 'shared_protocol'}"},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    block = re.compile(
        r"^File (\S+), code block '([^']+)'.*?^\(N_STATE (\d+)\)\n\(N_EXC_STACK (\d+)\)", re.MULTILINE | re.DOTALL
    )
    return {
        (Path(name).name, function): WORD_BYTES * (int(state) + EXCEPTION_WORDS * int(caught))
        for name, function, state, caught in block.findall(done.stdout + done.stderr)
    }


def test_every_file_is_seen(frames):
    assert {"board.py", "feeder.py", "guard.py", "homing.py", "server.py", "endpoint.py"} <= {one[0] for one in frames}
    assert frames["feeder.py", "_fill"] > WORD_BYTES * STACK_WORDS, "that one lies on the heap, so its like are counted"


def test_no_call_takes_a_large_piece_of_the_heap_for_its_frame(frames):
    large = {one: size for one, size in frames.items() if size > MOST_BYTES and one not in AT_REST}
    assert large == {}


@pytest.mark.parametrize("called", [("board.py", "poll"), ("feeder.py", "feed"), ("feeder.py", "_collect")])
def test_what_every_turn_calls_takes_none(frames, called):
    assert frames[called] <= WORD_BYTES * STACK_WORDS
