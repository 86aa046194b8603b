"""Installs MicroPython's image on a board in BOOTSEL mode: a UF2 file copied to the board's USB drive.

UF2 ("USB Flashing Format", its published specification) has blocks of 512 bytes, each with three magic words, the
target address, its number, the number of blocks and, flagged by 0x2000, the chip family. The family numbers are those
of the specification.
"""

from __future__ import annotations

import os
import struct
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from linewright.errors import FlashError, InputError
from linewright.files import read_bounded
from linewright.system import drives

BLOCK_BYTES: Final = 512
_HEAD: Final = struct.Struct("<8I")
_START: Final = (0x0A324655, 0x9E5D5157)
_END: Final = 0x0AB16F30
_NOT_FOR_FLASH: Final = 0x1
_HAS_FAMILY: Final = 0x2000
PAYLOAD_BYTES: Final = 476

ABSOLUTE: Final = 0xE48BFF57
"""Family number for any of these chips: RP2350 images start with such a block, which the chip's boot code ignores."""
FAMILIES: Final = {0xE48BFF56: "rp2040", 0xE48BFF59: "rp2350", 0xE48BFF5A: "rp2350"}
"""RP2040; RP2350 with Arm processors; RP2350 with RISC-V processors."""

INFO: Final = "INFO_UF2.TXT"
BOARD_IDS: Final = {"RPI-RP2": "rp2040", "RP2350": "rp2350"}
"""Value of "Board-ID:" in the drive's INFO_UF2.TXT (boot code of both chips; from memory)."""

MOST_BYTES: Final = 64 * 2**20
"""Largest image: twice a flash of 16 MB, which UF2 doubles."""
PIECE_BYTES: Final = 64 * BLOCK_BYTES
RESTART_S: Final = 20.0
"""Time limit for the restart, which takes a second after the last block."""

BOOTSEL: Final = (
    "hold down the board's BOOTSEL button while you plug it in, then release it: the board appears as a drive; mount "
    "it, or name its folder with --drive"
)


@dataclass(frozen=True)
class Image:
    """A complete UF2 file.

    Parameters
    ----------
    path : its path.
    chip : "rp2040" or "rp2350".
    data : its contents.
    """

    path: Path
    chip: str
    data: bytes


def read(path: Path) -> Image:
    """Read an image and check all of its blocks.

    Raises
    ------
    InputError : the file cannot be read, is no UF2 file, is damaged, or is for an unsupported chip.
    """
    again = "download the image for your board model again: a file that ends in .uf2"
    try:
        data = read_bounded(path, MOST_BYTES)
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror or error}", hint=again) from error
    if len(data) < BLOCK_BYTES or _HEAD.unpack_from(data)[:2] != _START:
        raise InputError(f"{path} is not a UF2 file", hint=again)
    if len(data) % BLOCK_BYTES:
        raise InputError(
            f"{path} is incomplete: {len(data)} bytes are not a multiple of the block size, {BLOCK_BYTES}", hint=again
        )
    numbers: dict[int, set[int]] = {}
    counts: dict[int, int] = {}
    for at in range(0, len(data), BLOCK_BYTES):
        one, two, flags, _address, size, number, count, family = _HEAD.unpack_from(data, at)
        whole = (one, two) == _START and struct.unpack_from("<I", data, at + BLOCK_BYTES - 4)[0] == _END
        if not whole or size > PAYLOAD_BYTES or number >= count:
            raise InputError(f"{path} is damaged: block {at // BLOCK_BYTES} is invalid", hint=again)
        if flags & _NOT_FOR_FLASH:
            continue
        if not flags & _HAS_FAMILY:
            raise InputError(f"{path} does not state its chip", hint=again)
        numbers.setdefault(family, set()).add(number)
        counts[family] = count
    families = set(numbers) - {ABSOLUTE}
    chips = {FAMILIES.get(family) for family in families}
    if len(chips) != 1 or None in chips:
        said = ", ".join(f"0x{family:08x}" for family in sorted(families)) or "no chip"
        raise InputError(f"{path} is for {said}, which is neither an RP2040 nor an RP2350", hint=again)
    for family in families:
        if len(numbers[family]) != counts[family]:
            raise InputError(
                f"{path} is incomplete: it has {len(numbers[family])} of {counts[family]} blocks", hint=again
            )
    return Image(path, next(chip for chip in chips if chip), data)


def find_drive(named: Path | None = None) -> tuple[Path, str]:
    """The drive of a board in BOOTSEL mode, and its chip.

    Raises
    ------
    InputError : there is none, there are several and none is named, or the board is of another kind.
    """
    found = [named] if named is not None else drives.holding(INFO)
    if not found:
        raise InputError("no drive of a board in BOOTSEL mode found", hint=BOOTSEL)
    if len(found) > 1:
        said = ", ".join(map(str, found))
        raise InputError(f"several boards are in BOOTSEL mode: {said}", hint="name one of them with --drive")
    try:
        lines = (found[0] / INFO).read_text(encoding="utf-8", errors="replace")[:4096].splitlines()
    except OSError as error:
        raise InputError(f"{found[0]} is not a board's drive: it has no {INFO}", hint=BOOTSEL) from error
    words = next((line.partition(":")[2].strip() for line in lines if line.startswith("Board-ID:")), "")
    if words not in BOARD_IDS:
        raise InputError(
            f"the board at {found[0]} reports {words!r}, neither an RP2040 nor an RP2350",
            hint="install MicroPython as described in the board's own documents",
        )
    return found[0], BOARD_IDS[words]


def put(image: Image, drive: Path, chip: str, on_progress: Callable[[float], None] = lambda _done: None) -> None:
    """Copy an image to a board's drive, and wait until the board has restarted.

    Raises
    ------
    InputError : the image is for another chip; nothing has been written.
    FlashError : the image could not be written, or the board does not restart.
    """
    if image.chip != chip:
        raise InputError(
            f"{image.path} is for an {image.chip}, and the board is an {chip}",
            hint="download the image for your board model",
        )
    trouble: OSError | None = None
    try:
        with (drive / image.path.name).open("wb") as file:
            for at in range(0, len(image.data), PIECE_BYTES):
                file.write(image.data[at : at + PIECE_BYTES])
                file.flush()
                os.fsync(file.fileno())
                on_progress(min(1.0, (at + PIECE_BYTES) / len(image.data)))
    except OSError as error:  # the drive disappears when the last block has arrived, before the file is closed
        trouble = error
    until_s = time.monotonic() + RESTART_S
    while (drive / INFO).exists():
        if trouble is not None:
            raise FlashError(f"cannot write to {drive}: {trouble.strerror or trouble}", hint=BOOTSEL) from trouble
        if time.monotonic() > until_s:
            raise FlashError(
                f"the board has not restarted; {drive} is still present",
                hint="the board rejected the image: download the one for your board model again, and retry",
            )
        time.sleep(0.05)
