"""Lines of the journal of a drawing, and what they contain.

One line is written per event::

    2026-11-25T10:43:41Z begin number=81230 record=0 #983b45ff
    2026-11-25T10:43:59Z done record=57 strokes=1 #082732ef

Each line ends with the CRC-32 of its text, and lines with a wrong CRC are skipped. A line torn by a power failure
therefore makes the journal report too little, never too much: a stroke may be drawn twice, but none is left out.
"""

from __future__ import annotations

import binascii
import hashlib
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.board.drift import MOMENTS, DriftCheck
from linewright.errors import InputError, ProgramError
from linewright.program import file as program_file

if TYPE_CHECKING:
    from linewright.program.program import Program

FORMAT: Final = 1
PROGRAM: Final = "program.lw"
"""The file gets this name when the journal contains everything that `carry_on` needs, and keeps it until the folder is
removed."""

UNNAMED: Final = "a picture without a name"

ENDINGS: Final = ("abandoned", "broke off", "failed", "finished")

_LINE: Final = re.compile(
    r"(?P<said>\S+ (?P<word>[a-z]+)(?P<values>( [a-z_]+=(\"(\\.|[^\"\\])*\"|[^\s\"]+))*)) #(?P<sum>[0-9a-f]{8})"
)
_VALUE: Final = re.compile(r" ([a-z_]+)=(\"(?:\\.|[^\"\\])*\"|[^\s\"]+)")


@dataclass(frozen=True)
class Manner:
    """Options of a drawing that resuming it keeps.

    Parameters
    ----------
    ask_pens : stop for pen changes or not; None: not stated.
    pace : share of the planned speed, above 0, up to 1.
    drift : drift checks; None: not stated.
    """

    ask_pens: bool | None = None
    pace: float = 1.0
    drift: DriftCheck | None = None


@dataclass(frozen=True)
class Story:
    """Contents of a journal.

    Parameters
    ----------
    folder : folder of the drawing.
    picture : name of the drawn file; `UNNAMED` if its line is damaged.
    program : SHA-256 of ``program.lw``, hex.
    records, strokes : of the whole program.
    rig_name, rig_fingerprint, rig_file : the machine; the file is empty for the default rig.
    sheet : the sheet, in words.
    port : port of the machine.
    manner : options of the drawing.
    numbers : program numbers sent to a board, with the record reached before each.
    records_done, strokes_done : finished records and strokes.
    began, begun, last : time of the first line, of the last ``begin`` line, and of the
        last line, ISO 8601, UTC.
    ended : "" if the journal has no end, else one of `ENDINGS`: "broke off" is written later, by the command that finds
        a journal without end.
    """

    folder: Path
    picture: str = UNNAMED
    program: str = ""
    records: int = 0
    strokes: int = 0
    rig_name: str = ""
    rig_fingerprint: str = ""
    rig_file: str = ""
    sheet: str = ""
    port: str = ""
    manner: Manner = field(default_factory=Manner)
    numbers: dict[int, int] = field(default_factory=dict)
    records_done: int = 0
    strokes_done: int = 0
    began: str = ""
    begun: str = ""
    last: str = ""
    ended: str = ""

    def load_program(self) -> Program:
        """The program as it was when the drawing started.

        Raises
        ------
        ProgramError : the file is missing, damaged, or not the one of the journal.
        """
        path = self.folder / PROGRAM
        if digest(path) != self.program:
            raise ProgramError(
                f"{path} is not the program that was being drawn",
                hint="the drawing cannot be resumed; draw the picture again on a new sheet",
            )
        return program_file.load(path)


def line_of(stamp: str, word: str, values: Mapping[str, object]) -> bytes:
    """One line of a journal; ``stamp`` is the time, ISO 8601, UTC."""
    said = " ".join((stamp, word, *map(_pair, values.items())))
    return f"{said} #{binascii.crc32(said.encode()):08x}\n".encode()


def told(folder: Path, data: bytes) -> Story:
    """Contents of the journal of a folder; damaged lines are skipped.

    Parameters
    ----------
    data : bytes of the journal file.

    Raises
    ------
    InputError : the lines that describe the drawing are damaged, or another version wrote the journal.
    """
    story = Story(folder)
    for said, word, values in _whole_lines(data):
        stamp = said.split(" ", 1)[0]
        story = replace(story, began=story.began or stamp, last=stamp)
        try:
            story = _told(story, word, {name: _value(value) for name, value in values})
        except (KeyError, ValueError) as error:
            raise InputError(f"the journal in {folder} says {said!r}, which this version cannot read") from error
    if not story.program or not story.sheet:
        raise InputError(
            f"the journal in {folder} is damaged: no line says what was drawn",
            hint=f"its program may be intact: `linewright draw {folder / PROGRAM}` draws it from the beginning",
        )
    reached = (story.records_done, *story.numbers.values())
    if not (0 <= min(reached) <= max(reached) <= story.records and 0 <= story.strokes_done <= story.strokes):
        raise InputError(
            f"the journal in {folder} has record {max(reached)} and {story.strokes_done} strokes as done, but the "
            f"program has {story.records} records and {story.strokes} strokes",
            hint="the drawing cannot be resumed; draw the picture again on a new sheet",
        )
    return story


def digest(path: Path) -> str:
    """SHA-256 of a file, hex.

    Raises
    ------
    ProgramError : it cannot be read.
    """
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise ProgramError(f"cannot read {path}: {error.strerror or error}") from error


def _told(story: Story, word: str, values: dict[str, str]) -> Story:
    if word == "journal":
        if int(values["format"]) != FORMAT:
            raise ValueError(values["format"])
        return replace(story, picture=values["picture"], port=values["port"])
    if word == "program":
        return replace(story, program=values["sha"], records=int(values["records"]), strokes=int(values["strokes"]))
    if word == "rig":
        return replace(story, rig_name=values["name"], rig_fingerprint=values["fingerprint"], rig_file=values["file"])
    if word == "sheet":
        size = f"{float(values['width_mm']):g} x {float(values['height_mm']):g} mm"
        return replace(story, sheet=f"{values['name']}, {size}")
    if word == "manner":
        return replace(story, manner=_manner(values))
    if word == "begin":
        numbers = story.numbers | {int(values["number"]): int(values["record"])}
        return replace(story, numbers=numbers, begun=story.last, ended="")
    if word == "done":
        return replace(
            story,
            records_done=max(story.records_done, int(values["record"])),
            strokes_done=max(story.strokes_done, int(values["strokes"])),
        )
    if word == "back":
        # Progress reported by a board for earlier numbers is discarded together with the counts.
        counts = {"records_done": int(values["record"]), "strokes_done": int(values["strokes"])}
        return replace(story, numbers={}, **counts)  # type: ignore[arg-type]  # mypy takes the values for those of all keys
    if word == "end":
        if values["how"] not in ENDINGS:
            raise ValueError(values["how"])
        return replace(story, ended=values["how"])
    raise ValueError(word)


def manner_values(manner: Manner) -> dict[str, object]:
    """The values of a `Manner` in a line of a journal."""
    values: dict[str, object] = {"pace": manner.pace}
    if manner.ask_pens is not None:
        values["pens"] = "ask" if manner.ask_pens else "same"
    if manner.drift is not None:
        values["drift"] = ",".join(sorted(manner.drift.moments)) or "none"
        values["drift_limit_mm"] = manner.drift.limit_mm
    return values


def _manner(values: dict[str, str]) -> Manner:
    """A `Manner` from the values of a line.

    Raises
    ------
    KeyError, ValueError : the values are missing or invalid.
    """
    pace = float(values["pace"])
    if not 0.0 < pace <= 1.0:
        raise ValueError(pace)
    drift = None
    if "drift" in values:
        moments = frozenset(values["drift"].split(",")) - {"none"}
        limit_mm = float(values["drift_limit_mm"])
        if not (moments <= set(MOMENTS) and 0.0 < limit_mm < math.inf):
            raise ValueError(values["drift"])
        drift = DriftCheck(moments, limit_mm)
    asks = {"ask": True, "same": False}[values["pens"]] if "pens" in values else None
    return Manner(asks, pace, drift)


def _whole_lines(data: bytes) -> list[tuple[str, str, list[tuple[str, str]]]]:
    """(text, word, values) of each undamaged line."""
    lines = []
    for line in data.split(b"\n")[:-1]:
        match = _LINE.fullmatch(line.decode("utf-8", errors="replace"))
        if match is None or binascii.crc32(match["said"].encode()) != int(match["sum"], 16):
            continue
        lines.append((match["said"], match["word"], _VALUE.findall(match["values"])))
    return lines


def _value(written: str) -> str:
    return str(json.loads(written)) if written.startswith('"') else written


def _pair(item: tuple[str, object]) -> str:
    name, value = item
    return f"{name}={json.dumps(value) if isinstance(value, str) else value}"
