"""The board's files on the instruction sets of RP2350 and ESP32-C3: the same words and results as under CPython.

    make test-qemu QEMU_THUMB2=firmware.elf QEMU_RV32=firmware.elf

Images are MicroPython's own `qemu` port for the boards MPS2_AN500 and VIRT_RV32, built with a heap of 768 KB. QEMU has
none of the boards' peripherals, so this tests computed results, not time or pins.
"""

from __future__ import annotations

import importlib
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from linewire import messages
from linewire.framing import write_frame
from linewright import motion
from linewright.board import files as board_files
from linewright.board import flashing
from linewright.drawing.strokes import Drawing
from linewright.rig.board_settings import board_settings
from linewright.rig.rig import Rig
from qemu.target import KINDS, Target

TESTS = Path(__file__).resolve().parents[1]
DUAL = ("test_kernel", "test_wire_framing", "test_wire_records")
"""Tests of both interpreters that run whole on the target."""


@pytest.fixture(scope="module", params=KINDS)
def target(request: pytest.FixtureRequest) -> Iterator[Target]:
    """A target that carries the board's files, compiled for it as `board flash` does, and the tests."""
    kind = KINDS[request.param]
    named = os.environ.get(kind.variable, "")
    if not named:
        pytest.skip(f"NOT RUN ON {request.param}: no image; make test-qemu {kind.variable}=path/to/firmware.elf")
    if not Path(named).is_file():
        pytest.fail(f"{kind.variable} names {named}, which is not a file")
    if shutil.which(kind.qemu[0]) is None:
        pytest.skip(
            f"NOT RUN ON {request.param}: there is no {kind.qemu[0]} (Debian: qemu-system-arm, qemu-system-misc)"
        )
    with Target(kind, Path(named)) as started:
        mpy = int(started.run("print(sys.implementation._mpy)"))
        facts = flashing.BoardFacts("micropython", (1, 23, 0), "rp2", request.param, mpy, 0, 0, 4096)
        warnings: list[str] = []
        contents, _ = flashing._compiled(facts, warnings)
        assert contents is not None, warnings
        shipped = {file.name for file in board_files.shipped("rp2")}
        assert len(contents) == len(shipped)
        for one in contents:
            if one.name.startswith(("lineboard/", "linewire/")) and "/ports/" not in one.name:
                started.put(one.name, one.data)
        for path in (
            *(TESTS / "dual" / f"{name}.py" for name in DUAL),
            TESTS / "dual" / "record_reader.py",
            TESTS / "dual" / "done_player.py",
            TESTS / "dual" / "unittest_shim" / "unittest.py",
            TESTS / "qemu" / "vectors.py",
        ):
            started.put(path.name, path.read_bytes())
        # The tests also write records, which a board does not.
        encoder = TESTS.parent / "shared_protocol" / "linewire" / "encoding.py"
        started.put("linewire/encoding.py", encoder.read_bytes())
        yield started


@pytest.fixture(scope="module")
def here() -> Iterator[None]:
    """Makes the tests' modules importable as on the target."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(TESTS / "dual"))
        patch.syspath_prepend(str(TESTS / "qemu"))
        yield


def wire(*, damaged: bool) -> tuple[bytes, tuple[int, int]]:
    """A drawing of curves, corners and pen actions as bytes of the wire, and its start."""
    turn = np.linspace(0, 6 * np.pi, 300)
    spiral = 60 + np.c_[(5 + turn) * np.cos(turn), (5 + turn) * np.sin(turn)]
    corners = 60 + 30 * np.c_[np.cos(np.arange(6) * 4 * np.pi / 5), np.sin(np.arange(6) * 4 * np.pi / 5)]
    program = motion.plan(Drawing.from_strokes([spiral, corners]), Rig.default())
    packed = program.packed()
    sent = bytearray()
    for i in range(len(packed)):
        payload = int(packed.first[i]).to_bytes(4, "little") + packed.payload(i)
        frame = write_frame(messages.MOVES, i, 1, payload)
        if damaged:
            middle = len(frame) // 2
            sent += frame[:middle] + bytes([frame[middle] % 255 + 1]) + frame[middle + 1 :]
        sent += frame
    return bytes(sent), program.start_steps


CASES = pytest.mark.parametrize(
    ("damaged", "share_of_reach"), [(False, 1.0), (True, 1.0), (False, 0.35)], ids=["clean", "damaged", "beyond reach"]
)


def drawing(*, damaged: bool, share_of_reach: float) -> tuple[bytes, tuple[object, ...]]:
    """Bytes of the wire, and settings of the rig: the further arguments of `vectors.play_wire`."""
    sent, at = wire(damaged=damaged)
    told = board_settings(Rig.default())
    reach = (-80, round(200 * 80 * share_of_reach), -80, 200 * 80)
    return sent, (at, *(told[name] for name in ("accel", "max_rate", "ramp_accel", "corner_rate")), reach)


@CASES
def test_a_drawing_off_the_wire_is_taken_as_far_as_it_is_within_reach(
    here: None, damaged: bool, share_of_reach: float
) -> None:
    """The reference results, computed here."""
    vectors = importlib.import_module("vectors")
    sent, asked = drawing(damaged=damaged, share_of_reach=share_of_reach)
    frames, broken, fault, taken, words, *_ = vectors.play_wire(bytearray(sent), *asked)
    assert frames >= 1
    assert taken > 100
    assert words > 1000
    assert (broken > 0) == damaged
    assert fault == (messages.BEYOND_LIMITS if share_of_reach < 1 else messages.NO_FAULT)


@CASES
def test_a_drawing_off_the_wire_becomes_the_same_words(
    target: Target, here: None, damaged: bool, share_of_reach: float
) -> None:
    vectors = importlib.import_module("vectors")
    sent, asked = drawing(damaged=damaged, share_of_reach=share_of_reach)
    expected = vectors.play_wire(bytearray(sent), *asked)
    target.put("wire.bin", sent)
    assert target.run(f"import vectors\nprint(vectors.play_wire(F['wire.bin'], *{asked!r}))").strip() == str(expected)


@pytest.mark.parametrize("paced", [False, True])
def test_random_ramps_become_the_same_words(target: Target, here: None, paced: bool) -> None:
    expected = importlib.import_module("test_kernel").play(77, 200, paced)
    assert target.run(f"import test_kernel\nprint(test_kernel.play(77, 200, {paced}))").strip() == str(expected)


@pytest.mark.parametrize("module", DUAL)
def test_tests_of_both_interpreters_pass_on_the_target(target: Target, module: str) -> None:
    done = subprocess.run(
        [sys.executable, TESTS / "dual" / "run.py", module], capture_output=True, text=True, timeout=300, check=True
    )
    expected = set(re.findall(r"^(?:ok|skipped) (\S+)$", done.stdout, re.MULTILINE))
    said = target.run(
        f"import unittest, {module}\nfor case in unittest.cases_of({module}):\n"
        f" unittest.run_case(case, {module!r}, lambda name, outcome: print(outcome, name))"
    )
    assert "failed" not in said.lower(), said
    assert set(re.findall(r"^(?:ok|skipped) (\S+)\r?$", said, re.MULTILINE)) == expected
