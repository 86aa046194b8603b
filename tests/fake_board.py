"""A board on a pseudo-terminal: MicroPython's prompt in front of the real Unix MicroPython, on a real file system.

The interpreter is a child process with files in a LittleFS image that survives a loss of power. This module is
the board's serial port and the part of MicroPython that the Unix build does not have, the raw prompt: it parses the
bytes and passes each piece of code to the child, which runs it.

`FakeBoard.path` is the device to open. `unplug_after` disconnects the board after some pieces of code.
"""

from __future__ import annotations

import os
import pty
import select
import struct
import subprocess
import threading
import tty
from collections.abc import Callable
from pathlib import Path

from linewright.virtual.pipe import find_micropython

BLOCK = 4096
WINDOW = 32  # bytes of code that the prompt accepts before it grants more

# What the child runs. Code and answers travel as length (u32) and bytes; an answer is the output, then the error.
# Output is caught by giving the code a `print` of its own.
_CHILD = """
import io, os, struct, sys, vfs
class Image:
    def __init__(self, path, blocks):
        self.blocks = blocks
        self.file = open(path, 'r+b')
    def readblocks(self, block, buffer, offset=0):
        self.file.seek(block * 4096 + offset)
        self.file.readinto(buffer)
    def writeblocks(self, block, buffer, offset=None):
        self.file.seek(block * 4096 + (offset or 0))
        self.file.write(buffer)
        self.file.flush()
    def ioctl(self, request, argument):
        if request == 4: return self.blocks
        if request == 5: return 4096
        return 0
path, blocks, fresh = sys.argv[1], int(sys.argv[2]), sys.argv[3] == '1'
image = Image(path, blocks)
if fresh:
    vfs.VfsLfs2.mkfs(image)
vfs.mount(image, '/flash')
os.chdir('/flash')
sys.path[:] = ['/flash']
sys.argv[:] = []
space = {}
while True:
    head = sys.stdin.buffer.read(4)
    if not head: break
    code = sys.stdin.buffer.read(struct.unpack('<I', head)[0]).decode()
    out, trouble = io.StringIO(), ''
    def told(*words, end='\\n'):
        out.write(' '.join([str(word) for word in words]) + end)
    space['print'] = told
    try:
        exec(code, space)
    except BaseException as problem:
        words = io.StringIO()
        sys.print_exception(problem, words)
        trouble = words.getvalue()
    for text in (out.getvalue(), trouble):
        data = text.encode()
        sys.stdout.buffer.write(struct.pack('<I', len(data)))
        sys.stdout.buffer.write(data)
"""


class FakeBoard:
    """One board, plugged in.

    Parameters
    ----------
    folder : of its flash image.
    blocks : of 4 KiB, in its flash. A common board has 212 (848 kB) or more.
    on_start : called when the installed code starts, with two descriptors: the board's end of the line, and one that
    becomes readable at a loss of power.
    """

    def __init__(
        self,
        folder: Path,
        *,
        blocks: int = 212,
        on_start: Callable[[int, int], None] | None = None,
    ) -> None:
        self._image = folder / "flash.img"
        self._blocks = blocks
        self._on_start = on_start
        self.unplug_after: int | None = None  # pieces of code
        self.pieces = 0
        self.spoil: Callable[[str], str] | None = None  # changes code on its way to the interpreter
        self.talks = True  # whether there is a prompt at all
        self._child: subprocess.Popen[bytes] | None = None
        self._fd = -1
        self.path = ""
        self.plug_in(fresh=True)

    # Actions of the tests.

    def plug_in(self, *, fresh: bool = False) -> None:
        """Power it, with its present flash."""
        if fresh:
            self._image.write_bytes(b"\xff" * (BLOCK * self._blocks))
        self._boot(fresh)
        self._fd, other_end = pty.openpty()
        tty.setraw(other_end)
        self.path = os.ttyname(other_end)
        self._kept_open = other_end  # otherwise the port would hang up whenever the host closes it
        self._quit_read, self._quit_write = os.pipe()
        self._thread = threading.Thread(target=self._serve, args=(self._fd, self._quit_read), daemon=True)
        self._thread.start()

    def unplug(self) -> None:
        """Remove its power. May be called again."""
        if self._fd < 0:
            return
        os.close(self._quit_write)
        self._thread.join(10)
        self._gone()
        os.close(self._quit_read)

    def image(self) -> bytes:
        """The contents of its flash."""
        return self._image.read_bytes()

    def set_image(self, content: bytes) -> None:
        """Start it with this flash."""
        self.unplug()
        self._image.write_bytes(content)
        self.plug_in()

    def run(self, code: str) -> str:
        """Run code on the board without the host; returns its output."""
        printed, trouble = self._execute(code)
        if trouble:
            raise RuntimeError(trouble)
        return printed

    # The board's side.

    def _boot(self, fresh: bool) -> None:
        self._stop_child()
        command = [str(find_micropython()), "-X", "heapsize=4M", "-c", _CHILD]
        command += [str(self._image), str(self._blocks), "1" if fresh else "0"]
        self._child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self._execute("")  # it must not be stopped before its flash is formatted

    def _stop_child(self) -> None:
        if self._child is not None:
            self._child.kill()
            self._child.wait()
            for stream in (self._child.stdin, self._child.stdout):
                if stream is not None:
                    stream.close()
            self._child = None

    def _gone(self) -> None:
        self._stop_child()
        for fd in (self._kept_open, self._fd):
            if fd >= 0:
                os.close(fd)
        self._fd = self._kept_open = -1

    def _execute(self, code: str) -> tuple[str, str]:
        assert self._child is not None
        assert self._child.stdin is not None
        assert self._child.stdout is not None
        data = code.encode()
        self._child.stdin.write(struct.pack("<I", len(data)) + data)
        self._child.stdin.flush()
        answers = []
        for _ in range(2):
            (size,) = struct.unpack("<I", self._child.stdout.read(4))
            answers.append(self._child.stdout.read(size).decode())
        return answers[0], answers[1]

    def _serve(self, fd: int, quit_fd: int) -> None:
        """The prompt, as MicroPython's documentation says ("REPL": raw mode, raw-paste mode)."""
        raw = pasting = False
        line = bytearray()
        while True:
            readable, _, _ = select.select([fd, quit_fd], [], [])
            if quit_fd in readable:
                return
            for byte in os.read(fd, 4096) if self.talks else b"":
                if pasting:
                    if byte != 0x04:
                        line.append(byte)
                        if len(line) % WINDOW == 0:
                            os.write(fd, b"\x01")  # grants the same amount again
                        continue
                    pasting = False
                    os.write(fd, b"\x04")
                    if not self._answer(fd, line, b""):
                        return
                elif byte == 0x01 and line == b"\x05A":
                    pasting = True
                    os.write(fd, b"R\x01" + struct.pack("<H", WINDOW))
                    line.clear()
                elif byte == 0x01:
                    raw = True
                    line.clear()
                    os.write(fd, b"raw REPL; CTRL-B to exit\r\n>")
                elif byte == 0x02:
                    raw = False
                    line.clear()
                    os.write(fd, b"\r\nMicroPython on a fake board\r\n>>> ")
                elif byte == 0x03:
                    line.clear()
                elif byte == 0x04 and not line.strip():
                    line.clear()
                    self._boot(fresh=False)
                    os.write(fd, b"OK\r\nMPY: soft reboot\r\n")
                    if raw:
                        os.write(fd, b"raw REPL; CTRL-B to exit\r\n>")
                    elif self._on_start is not None:
                        self._on_start(fd, quit_fd)
                elif byte == 0x04:
                    if not self._answer(fd, line, b"OK"):
                        return
                elif raw:
                    line.append(byte)

    def _answer(self, fd: int, line: bytearray, before: bytes) -> bool:
        """Run a piece of code; False if the board is unplugged instead."""
        self.pieces += 1
        if self.unplug_after is not None and self.pieces > self.unplug_after:
            self._gone()
            return False
        code = line.decode()
        line.clear()
        printed, trouble = self._execute(self.spoil(code) if self.spoil else code)
        os.write(fd, before + printed.encode() + b"\x04" + trouble.encode() + b"\x04>")
        return True
