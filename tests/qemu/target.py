"""MicroPython's `qemu` port in Debian's QEMU, controlled through its raw prompt."""

from __future__ import annotations

import binascii
import os
import select
import shutil
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

ANSWER_S: Final = 300.0
"""Time limit of an answer, s, also on a busy machine; a hanging target is ended."""
PIECE: Final = 2048

# Modules are imported from a dictionary of files.
_FILES: Final = """
import binascii, io, sys, vfs
F = {}
class Files:
    def mount(self, readonly, mkfs): pass
    def umount(self): pass
    def chdir(self, path): pass
    def getcwd(self): return '/'
    def stat(self, path):
        path = path.lstrip('/')
        if path in F: return (0x8000, 0, 0, 0, 0, 0, len(F[path]), 0, 0, 0)
        for name in F:
            if name.startswith(path + '/'): return (0x4000, 0, 0, 0, 0, 0, 0, 0, 0, 0)
        raise OSError(2)
    def open(self, path, mode): return io.BytesIO(F[path.lstrip('/')])
vfs.mount(Files(), '/f')
sys.path[:] = ['/f']
"""


@dataclass(frozen=True)
class Kind:
    """A processor to emulate.

    Parameters
    ----------
    variable : of the environment; names the firmware.
    qemu : Debian's program, and its machine.
    """

    variable: str
    qemu: tuple[str, ...]


KINDS: Final = {
    "thumb2": Kind("QEMU_THUMB2", ("qemu-system-arm", "-machine", "mps2-an500")),
    "rv32": Kind("QEMU_RV32", ("qemu-system-riscv32", "-machine", "virt", "-bios", "none")),
}
"""The instruction sets of RP2350 (Cortex-M33 and Hazard3), the second that of ESP32-C3 as well."""


class Target:
    """A running target. Use as a context manager.

    Parameters
    ----------
    kind : which processor.
    image : the firmware.
    """

    def __init__(self, kind: Kind, image: Path) -> None:
        program = shutil.which(kind.qemu[0])
        if program is None:
            raise FileNotFoundError(kind.qemu[0])
        rest = ("-nographic", "-monitor", "null", "-semihosting", "-serial", "stdio", "-kernel", str(image))
        self._process = subprocess.Popen(
            [program, *kind.qemu[1:], *rest], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._in, self._out = self._process.stdin.fileno(), self._process.stdout.fileno()
        self._said = b""

    def __enter__(self) -> Self:
        try:
            self._await(b">>> ")
            os.write(self._in, b"\r\x01")
            self._await(b"raw REPL; CTRL-B to exit\r\n>")
            self.run(_FILES)
        except BaseException:
            self.end()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def end(self) -> None:
        """End it."""
        self._process.kill()
        self._process.wait(20)
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                stream.close()

    def run(self, code: str) -> str:
        """Run code; returns its output. Raises RuntimeError with the target's message."""
        data = code.encode()
        for at in range(0, len(data), 256):
            os.write(self._in, data[at : at + 256])
        os.write(self._in, b"\x04")
        answer = self._await(b"\x04>")
        printed, _, trouble = answer.partition(b"OK")[2].removesuffix(b"\x04>").partition(b"\x04")
        if trouble:
            raise RuntimeError(trouble.decode(errors="replace"))
        return printed.decode(errors="replace")

    def put(self, name: str, data: bytes) -> None:
        """Provide a file for import."""
        self.run(f"B = bytearray({len(data)})")
        for at in range(0, len(data), PIECE):
            text = binascii.b2a_base64(data[at : at + PIECE], newline=False)
            self.run(f"b = binascii.a2b_base64({text!r})\nB[{at}:{at} + len(b)] = b")
        self.run(f"F[{name!r}] = B")

    def _await(self, end: bytes) -> bytes:
        until_s = time.monotonic() + ANSWER_S
        while end not in self._said:
            left_s = until_s - time.monotonic()
            readable, _, _ = select.select([self._out], [], [], max(left_s, 0))
            data = os.read(self._out, 4096) if readable else b""
            if not data:
                raise TimeoutError(f"the target says nothing more; it has said {self._said[-300:]!r}")
            self._said += data
        answer, found, self._said = self._said.partition(end)
        return answer + found
