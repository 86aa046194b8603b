"""Journal of a drawing: the program and its progress, written to disk continuously.

Each drawing has a folder with two files. ``program.lw`` is the program, saved before anything moves. ``journal.txt`` is
append-only, one line per event::

    2026-11-25T10:43:41Z begin number=81230 record=0 #983b45ff
    2026-11-25T10:43:59Z done record=57 strokes=1 #082732ef

Each line ends with the CRC-32 of its text, and lines with a wrong CRC are skipped. A line torn by a power failure
therefore makes the journal report too little, never too much: a stroke may be drawn twice, but none is left out. Every
line is written at once, which suffices if the program is killed. It is forced to disk within a second, so a power
failure costs at most a second.
"""

from __future__ import annotations

import binascii
import contextlib
import hashlib
import json
import math
import os
import re
import secrets
import shutil
import time
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from linewright.board.drift import MOMENTS, DriftCheck
from linewright.errors import InputError, ProgramError
from linewright.folders import state_folder
from linewright.program import file as program_file
from linewright.system import locks

if TYPE_CHECKING:
    from linewright.program.program import Program

FORMAT: Final = 1
JOURNAL: Final = "journal.txt"
PROGRAM: Final = "program.lw"
"""The file gets this name when the journal contains everything that `carry_on` needs, and keeps it until the folder is
removed."""

_UNNAMED_PROGRAM: Final = "new-program.lw"

_NUMBER: Final = re.compile(r"(\d{6,})-")
"""Start of folder names; those of older versions start with a date, whose eighth digit is followed by a T."""

KEPT: Final = 10
"""Interrupted drawings that are kept; the oldest is removed when another drawing begins. A program takes a few
megabytes at most."""

UNNAMED: Final = "a picture whose name is lost"

FORCED_S: Final = 1.0
"""Interval of forcing lines to disk: a slow memory card takes a tenth of it."""

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
        if _digest(path) != self.program:
            raise ProgramError(
                f"{path} is not the program that was being drawn",
                hint="its journal cannot be carried on; draw the picture again on a new sheet",
            )
        return program_file.load(path)


class Journal:
    """Journal of the drawing in progress. A session calls `begin`, `done` and `end`.

    ``begun`` is True when the program has been sent to a board, so that it can be resumed; ``began`` is the time of the
    first line written by this command.

    Writing never raises, because a full disk must not stop a drawing. The first failure is stored in ``trouble``, and
    nothing is written after it, so that the journal has no gap.
    """

    def __init__(self, folder: Path, strokes_done: int = 0, *, begun: bool = False) -> None:
        self.folder = folder
        self.begun = begun
        self.began = ""
        self.trouble = ""
        self._file = (folder / JOURNAL).open("ab", buffering=0)
        self._strokes_done = strokes_done
        self._stroke_ends: list[int] = []
        self._forced_s = 0.0
        self._waiting = False  # True if a line has not been forced to disk
        if not locks.hold(self._file.fileno()):
            self._file.close()
            raise InputError(
                f"{folder.name} is being drawn by another command", hint="wait for it, or end it; then try again"
            )

    @classmethod
    def create(
        cls,
        program: Program,
        *,
        picture: str,
        rig_file: Path | None = None,
        port: str = "",
        manner: Manner | None = None,
    ) -> Journal:
        """Create the journal of a drawing, and save its program.

        Raises
        ------
        InputError : the folder cannot be written.
        """
        _remove_left_over()
        stem = re.sub(r"[^A-Za-z0-9]+", "-", Path(picture).stem).strip("-")[:40]
        now = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
        folder = drawings() / f"{_next_number():06d}-{now}-{secrets.token_hex(2)}-{stem}"
        try:
            folder.mkdir(parents=True)
            journal = cls(folder)
        except OSError as error:
            raise InputError(
                f"cannot keep a journal in {folder}: {error.strerror or error}",
                hint="set XDG_STATE_HOME to a folder that can be written",
            ) from error
        try:
            program_file.save(program, folder / _UNNAMED_PROGRAM)
        except ProgramError:
            journal.discard()
            raise
        journal._write("journal", format=FORMAT, picture=picture, port=port)
        sha = _digest(folder / _UNNAMED_PROGRAM)
        journal._write("program", sha=sha, records=len(program), strokes=len(program.drawing))
        journal._write(
            "rig",
            name=program.rig_name,
            fingerprint=program.rig_fingerprint,
            file=str(rig_file.resolve()) if rig_file is not None else "",
        )
        if manner is not None:
            journal._write("manner", force=False, **_manner_values(manner))
        sheet = program.sheet
        journal._write("sheet", force=True, name=sheet.name, width_mm=sheet.width_mm, height_mm=sheet.height_mm)
        try:
            (folder / _UNNAMED_PROGRAM).replace(folder / PROGRAM)
        except OSError as error:
            journal._give_up(error)
        _force_names(folder)
        journal.follow(program)
        _prune(keep=folder)
        return journal

    @classmethod
    def carry_on(cls, story: Story, program: Program) -> Journal:
        """Continue the journal of an interrupted drawing.

        Raises
        ------
        InputError : another command is drawing it, or has done so since it was read, or the file cannot be written.
        """
        try:
            journal = cls(story.folder, story.strokes_done, begun=bool(story.begun))
            # After locking, so that nobody else writes to it.
            _cut_torn_line(story.folder / JOURNAL)
        except OSError as error:
            raise InputError(f"cannot go on with {story.folder}: {error.strerror or error}") from error
        if read(story.folder) != story:
            journal.close()
            raise InputError(
                f"{story.folder.name} has been drawn on by another command in the meantime", hint="try again"
            )
        journal.follow(program)
        return journal

    def follow(self, program: Program) -> None:
        """Compute where each stroke of the program ends."""
        self._stroke_ends = stroke_ends(program)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def begin(self, number: int, record: int) -> None:
        """See `Witness.begin`."""
        self.begun = True
        self._write("begin", force=True, number=number, record=record)

    def done(self, record: int) -> None:
        """See `Witness.done`. Called often; writes a line when a stroke is finished."""
        ends = self._stroke_ends
        strokes = self._strokes_done
        while strokes < len(ends) and ends[strokes] <= record:
            strokes += 1
        if strokes > self._strokes_done:
            self._strokes_done = strokes
            self._write("done", record=record, strokes=strokes)
        elif self._waiting:
            self._force(at_once=False)

    def back(self, strokes: int) -> None:
        """See `Witness.back`; also called with the user's own count."""
        self._strokes_done = strokes
        record = self._stroke_ends[strokes - 1] if strokes else 0
        self._write("back", force=True, record=record, strokes=strokes)

    def end(self, how: str, why: str = "") -> None:
        """Record the end of the drawing: "finished", "abandoned" by the user, or "failed".

        "broke off" is recorded by the next command for a drawing without end.

        The folder is removed if nothing is left to resume, because the drawing is complete or was never started.
        """
        self._write("end", force=True, how=how, why=why)
        if how == "finished" or not self.begun:
            self.discard()

    def close(self) -> None:
        """Close the file. May be called again."""
        self._file.close()

    def discard(self) -> None:
        """Close, and remove the drawing's folder, because nothing is left to resume."""
        self.close()
        with contextlib.suppress(OSError):
            (self.folder / PROGRAM).unlink()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _write(self, word: str, *, force: bool = False, **values: object) -> None:
        if self.trouble or self._file.closed:
            return
        stamp = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        self.began = self.began or stamp
        said = " ".join((stamp, word, *map(_pair, values.items())))
        line = f"{said} #{binascii.crc32(said.encode()):08x}\n".encode()
        try:
            if self._file.write(line) != len(line):
                raise OSError("no space left")
        except OSError as error:
            self._give_up(error)
            return
        self._waiting = True
        self._force(at_once=force)

    def _force(self, *, at_once: bool) -> None:
        """Force written lines to disk, now or if `FORCED_S` have passed."""
        if self.trouble or self._file.closed or not (at_once or time.monotonic() - self._forced_s >= FORCED_S):
            return
        try:
            os.fsync(self._file.fileno())
        except OSError as error:
            self._give_up(error)
        self._forced_s = time.monotonic()
        self._waiting = False

    def _give_up(self, error: OSError) -> None:
        self.trouble = f"the journal in {self.folder} cannot be written: {error.strerror or error}"


def drawings() -> Path:
    """The folder of all interrupted drawings, one subfolder each."""
    return state_folder() / "drawings"


def stroke_ends(program: Program) -> list[int]:
    """Number of the record that lifts the pen from each stroke: when it is done, the stroke is on paper."""
    return [int(record) for record in program.pen_stops[1::2]]


def read(folder: Path) -> Story:
    """Contents of the journal in a folder; damaged lines are skipped.

    Raises
    ------
    InputError : there is no journal, it cannot be read, or another version wrote it.
    """
    try:
        data = (folder / JOURNAL).read_bytes()
    except OSError as error:
        raise InputError(f"no journal in {folder}: {error.strerror or error}") from error
    story = Story(folder)
    for said, word, values in _whole_lines(data):
        stamp = said.split(" ", 1)[0]
        story = replace(story, began=story.began or stamp, last=stamp)
        try:
            story = _told(story, word, {name: _value(value) for name, value in values})
        except (KeyError, ValueError) as error:
            raise InputError(f"the journal in {folder} says {said!r}, which this version does not know") from error
    if not story.program or not story.sheet:
        raise InputError(
            f"the journal in {folder} is damaged: no line says what was drawn",
            hint=f"the drawing itself may be whole: `linewright draw {folder / PROGRAM}` draws it from its beginning",
        )
    reached = (story.records_done, *story.numbers.values())
    if not (0 <= min(reached) <= max(reached) <= story.records and 0 <= story.strokes_done <= story.strokes):
        raise InputError(
            f"the journal in {folder} tells of record {max(reached)} and of {story.strokes_done} strokes done, and the "
            f"program has {story.records} records and {story.strokes} strokes",
            hint="it cannot be carried on; draw the picture again on a new sheet",
        )
    return story


def unfinished() -> list[Story]:
    """All drawings that can be resumed, newest first.

    Raises
    ------
    InputError : the folder of all drawings cannot be read.
    """
    stories = []
    for folder in by_age():
        with contextlib.suppress(InputError):
            stories.append(read(folder))
    return [story for story in stories if story.ended != "finished"]


def _remove_left_over() -> None:
    """Remove folders with nothing to resume, left by commands that were killed before or after drawing."""
    for folder in _folders():
        with contextlib.suppress(OSError, InputError):
            if _is_left_over(folder) or read(folder).ended == "finished":
                Journal(folder).discard()


def _is_left_over(folder: Path) -> bool:
    """True if a command was killed before its journal was complete, or while it removed the folder."""
    try:
        begun = b" begin " in (folder / JOURNAL).read_bytes()
    except FileNotFoundError:
        begun = False
    except OSError:
        return False
    return not begun and not (folder / PROGRAM).exists()


def damaged() -> dict[Path, InputError]:
    """Folders whose journal cannot be read, newest first, with the error of each."""
    found = {}
    for folder in by_age():
        try:
            read(folder)
        except InputError as error:
            found[folder] = error
    return found


def by_age() -> list[Path]:
    """Folders of all kept drawings, newest first."""
    return sorted((folder for folder in _folders() if not _is_left_over(folder)), key=_age, reverse=True)


def _folders() -> list[Path]:
    try:
        return [path for path in drawings().iterdir() if path.is_dir()]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise InputError(
            f"the journals in {drawings()} cannot be read: {error.strerror or error}",
            hint="it must be a folder of yours; move what is there out of the way",
        ) from error


def _age(folder: Path) -> tuple[int, str]:
    """Sort key of folders: their number, because clocks may be set back. Folders of older versions have none."""
    number = _NUMBER.match(folder.name)
    return (int(number[1]) if number else 0, folder.name)


def _next_number() -> int:
    return max((_age(folder)[0] for folder in _folders()), default=0) + 1


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


def _manner_values(manner: Manner) -> dict[str, object]:
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


def _cut_torn_line(path: Path) -> None:
    """Remove an incomplete last line, so that the next one starts on a new line."""
    data = path.read_bytes()
    whole = data.rfind(b"\n") + 1
    if whole < len(data):
        with path.open("r+b") as file:
            file.truncate(whole)


def _pair(item: tuple[str, object]) -> str:
    name, value = item
    return f"{name}={json.dumps(value) if isinstance(value, str) else value}"


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise ProgramError(f"cannot read {path}: {error.strerror or error}") from error


def _force_names(folder: Path) -> None:
    """Force the directory entries of a new folder and its files to disk, in addition to the files."""
    for place in (folder, folder.parent):
        with contextlib.suppress(OSError):  # some systems cannot open folders
            descriptor = os.open(place, os.O_RDONLY)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)


def _prune(keep: Path) -> None:
    """Remove the oldest drawings beyond `KEPT`, except those that are being drawn."""
    folders = sorted((folder for folder in _folders() if folder != keep), key=_age)
    for folder in folders[: max(0, len(folders) + 1 - KEPT)]:
        with contextlib.suppress(OSError, InputError):
            Journal(folder).discard()
