r"""The tape: everything the player did, word by word, on disk.

Layout, all little-endian::

    magic     8 bytes   b"LWTAPE\x01\n"
    length    u32       of the header text
    header    UTF-8     JSON: {"tick_hz": ..., "machine": {...}, "faults": [...]}, padded with spaces to 4 bytes
    entries, in order of time (of words: the first step edge), until the end of the file:
      kind    u16       one of the constants below
      aux     u16
      count   u32       32-bit values that follow
      tick    u64       when it happens, ticks since power-up
      values  count * u32

    kind      aux       values
    WORDS     0         pulse words that play back to back, the first one begins at ``tick``
    SHAPE     0         overhead, set-up and width of a word in ticks, from the next word on
    SERVO     0         servo pulse in us, 0 = none
    SWITCH    0 x, 1 y  endstop as the board reads it: 1 closed, 0 open
    ENABLE    0         motor drivers: 1 powered, 0 not
    ZERO      0         position of motors A and B that the board takes itself to be at (signed), steps

Words are coalesced into long runs, so a tape is read at the speed of the disk: about 16 MB for four million steps. A
tape that was cut off (the process was killed) reads up to its last whole value and says so in `TapeReader.damaged`.
"""

from __future__ import annotations

import contextlib
import json
import os
import struct
from array import array
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Final, Self

import numpy as np
from numpy.typing import NDArray

from linewright.errors import InputError
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.units import TICK_HZ

MAGIC: Final = b"LWTAPE\x01\n"
WORDS, SHAPE, SERVO, SWITCH, ENABLE, ZERO = range(1, 7)

_VALUES: Final = {SHAPE: 3, SERVO: 1, SWITCH: 1, ENABLE: 1, ZERO: 2}
"""Number of values of an entry, except for words, which have any number."""

_ENTRY: Final = struct.Struct("<HHIQ")
RUN_WORDS: Final = 1 << 16
"""Most words per entry written: 256 kB."""
LONGEST_RUN: Final = 1 << 20
"""Most words per entry accepted when reading, so that a damaged count does not cause an allocation of gigabytes."""
_LONGEST_HEADER: Final = 1 << 20
"""Longest header accepted when reading; real headers have a few hundred bytes."""

_LAST_TICK: Final = 1 << 60
"""Largest accepted tick, about seven thousand years; later arithmetic fits 64 bits."""

Words = NDArray[np.uint32]


class TapeWriter:
    """Writes a tape; entries must be in order of time.

    Parameters
    ----------
    path : file to create, or None to write nothing (the checks of a test may not need a tape).
    machine, faults : written to the header.
    """

    def __init__(self, path: str | os.PathLike[str] | None, machine: Machine, faults: Faults) -> None:
        self.words_written = 0
        self._path = path
        self._file: BinaryIO | None = None
        self._run = bytearray()
        self._run_start = 0
        self._run_end = -1
        if path is None:
            return
        header = {"tick_hz": TICK_HZ, "machine": json.loads(machine.to_json()), "faults": faults.options()}
        text = json.dumps(header).encode()
        text += b" " * (-len(text) % 4)
        try:
            self._file = Path(path).open("wb")  # noqa: SIM115  closed by close(), which every owner calls
        except OSError as error:
            raise self._unwritable(error) from error
        self._write(MAGIC + struct.pack("<I", len(text)) + text)

    def words(self, tick: int, end: int, words: bytes | bytearray | memoryview) -> None:
        """Write words as they are in memory (4 bytes each); the first starts at ``tick``, the last ends at ``end``.

        At most ``LONGEST_RUN - RUN_WORDS`` words per call.
        """
        self.words_written += len(words) // 4
        if self._file is None or not len(words):
            return
        if tick != self._run_end or len(self._run) >= 4 * RUN_WORDS:
            self._end_run()
            self._run_start = tick
        self._run += words
        self._run_end = end

    def shape(self, tick: int, overhead_ticks: int, setup_ticks: int, width_ticks: int) -> None:
        """Word timing from here on."""
        self._entry(SHAPE, 0, tick, overhead_ticks, setup_ticks, width_ticks)

    def servo(self, tick: int, servo_us: int) -> None:
        """Servo pulse from here on, us; 0 = none."""
        self._entry(SERVO, 0, tick, servo_us)

    def switch(self, tick: int, which: int, closed: bool) -> None:
        """Endstop 0 (x) or 1 (y) closes or opens."""
        self._entry(SWITCH, which, tick, int(closed))

    def enable(self, tick: int, on: bool) -> None:
        """The motor drivers are switched on or off."""
        self._entry(ENABLE, 0, tick, int(on))

    def zero(self, tick: int, a_steps: int, b_steps: int) -> None:
        """The board sets its position, steps."""
        self._entry(ZERO, 0, tick, a_steps & 0xFFFFFFFF, b_steps & 0xFFFFFFFF)

    def close(self) -> None:
        """Write pending words and close the file. May be called again."""
        if self._file is not None:
            self._end_run()
            file, self._file = self._file, None
            try:
                file.close()
            except OSError as error:
                raise self._unwritable(error) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _entry(self, kind: int, aux: int, tick: int, *values: int) -> None:
        if self._file is None:
            return
        self._end_run()
        self._write(_ENTRY.pack(kind, aux, len(values), tick) + array("I", values).tobytes())

    def _end_run(self) -> None:
        if self._run and self._file is not None:
            run, self._run = self._run, bytearray()
            self._write(_ENTRY.pack(WORDS, 0, len(run) // 4, self._run_start))
            self._write(run)
        self._run_end = -1

    def _write(self, data: bytes | bytearray) -> None:
        if self._file is None:
            return
        try:
            self._file.write(data)
        except OSError as error:
            # Keep what could be written, because a truncated tape can be read. No later entry may follow the gap.
            file, self._file = self._file, None
            with contextlib.suppress(OSError):
                file.close()
            raise self._unwritable(error) from error

    def _unwritable(self, error: OSError) -> InputError:
        return InputError(
            f"the tape {self._path} cannot be written: {error.strerror or error}",
            hint="check the folder, its permissions and the free space of the disk",
        )


@dataclass(frozen=True, eq=False)
class TapeEntry:
    """One entry of a tape; ``values`` is (count,) uint32."""

    kind: int
    aux: int
    tick: int
    values: Words

    def signed(self, i: int) -> int:
        """Value ``i`` as a signed number."""
        value = int(self.values[i])
        return value - (1 << 32) if value >= 1 << 31 else value


class TapeReader:
    """Reads a tape in bounded memory: iterating yields its `Entry` values in order.

    Raises
    ------
    InputError
        If the file is no tape, or one of another version.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self.damaged = False
        try:
            with self.path.open("rb") as file:
                header = self._header(file)
                self._body = file.tell()
        except OSError as error:
            raise InputError(
                f"cannot read the tape {self.path}: {error.strerror or error}",
                hint="give the file that `linewright virtual --tape FILE` wrote",
            ) from None
        self.machine, self.faults = header

    def _header(self, file: BinaryIO) -> tuple[Machine, Faults]:
        if file.read(len(MAGIC)) != MAGIC:
            raise InputError(f"{self.path} is not a tape of this version's virtual rig")
        length = int.from_bytes(file.read(4), "little")
        text = file.read(length) if length <= _LONGEST_HEADER else b""
        try:
            raw: Any = json.loads(text)
            if raw["tick_hz"] != TICK_HZ:
                raise ValueError(f"tick_hz = {raw['tick_hz']}, this version counts {TICK_HZ}")
            return Machine.from_json(json.dumps(raw["machine"])), Faults.parse(raw["faults"])
        except (ValueError, KeyError, TypeError, RecursionError) as error:
            raise InputError(f"{self.path}: the tape's header is damaged: {error}") from error

    def __iter__(self) -> Iterator[TapeEntry]:
        with self.path.open("rb") as file:
            file.seek(self._body)
            while len(head := file.read(_ENTRY.size)) == _ENTRY.size:
                kind, aux, count, tick = _ENTRY.unpack(head)
                whole = count <= LONGEST_RUN and count == _VALUES.get(kind, count)
                if not WORDS <= kind <= ZERO or not whole or tick > _LAST_TICK:
                    self.damaged = True
                    return
                data = file.read(4 * count)
                there = len(data) // 4
                self.damaged = self.damaged or there < count
                if kind == WORDS or there == count:
                    yield TapeEntry(kind, aux, tick, np.frombuffer(data, dtype="<u4", count=there))
            self.damaged = self.damaged or bool(head)
