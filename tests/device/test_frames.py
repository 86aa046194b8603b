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
"""Frames of bytecode up to this size lie on the stack (MicroPython, py/objfun.c: VM_MAX_STATE_ON_STACK)."""
MOST_BYTES = WORD_BYTES * STACK_WORDS
AT_REST = {
    "board.py": {"run", "set", "home", "begin", "_agree", "_configure"},
    "endpoint.py": {"__init__", "_begin", "_opened"},
    "feeder.py": {"<module>", "push"},
    "framing.py": {"write_frame"},
    "guard.py": {"configure", "begin", "lost", "renamed", "_note_where_it_has_been"},
    "homing.py": {"_home", "_approach", "_release", "_move", "_push_move", "_push_ramps"},
    "memory.py": {"reserve"},
    "messages.py": {"<module>", "__init__", "_check", "_check_setting", "decode", "encode", "read_report"},
    "server.py": {"__init__", "_hello", "_request", "_refuse", "homed"},
}
"""Calls that take more: at the start, before something moves, or to answer a request, an event or a new host. Homing's
generators take theirs when they are created, between two moves."""


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
    assert frames["messages.py", "decode"] > MOST_BYTES, "that one lies on the heap, so its like are counted"


def test_no_call_in_a_turn_of_the_loop_takes_from_the_heap_for_its_frame(frames):
    """Functions compiled to machine code have their frames on the processor's stack, so they are not among these."""
    large = {}
    for (name, function), size in frames.items():
        if size > MOST_BYTES:
            large.setdefault(name, set()).add(function)
    assert large == AT_REST
