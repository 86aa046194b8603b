"""Journal of a drawing: the program and its progress, written to disk continuously.

Each drawing has a folder with two files. ``program.lw`` is the program, saved before anything moves. ``journal.txt`` is
append-only, one line per event; `linewright.run.story` describes the lines. Every line is written at once, which
suffices if the program is killed. It is forced to disk within a second, so a power failure costs at most a second.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from linewright.errors import InputError, ProgramError
from linewright.folders import state_folder
from linewright.program import file as program_file
from linewright.run.story import FORMAT, PROGRAM, Manner, Story, digest, line_of, manner_values, told
from linewright.system import locks

if TYPE_CHECKING:
    from linewright.program.program import Program

JOURNAL: Final = "journal.txt"
_UNNAMED_PROGRAM: Final = "new-program.lw"

_NUMBER: Final = re.compile(r"(\d{6,})-")
"""Start of folder names; those of older versions start with a date, whose eighth digit is followed by a T."""

KEPT: Final = 10
"""Interrupted drawings that are kept; the oldest is removed when another drawing begins. A program takes a few
megabytes at most."""

FORCED_S: Final = 1.0
"""Interval of forcing lines to disk: a slow memory card takes a tenth of it."""


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
                f"{folder.name} is being drawn by another command",
                hint="wait until it ends, or stop it; then try again",
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
        sha = digest(folder / _UNNAMED_PROGRAM)
        journal._write("program", sha=sha, records=len(program), strokes=len(program.drawing))
        journal._write(
            "rig",
            name=program.rig_name,
            fingerprint=program.rig_fingerprint,
            file=str(rig_file.resolve()) if rig_file is not None else "",
        )
        if manner is not None:
            journal._write("manner", force=False, **manner_values(manner))
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
            raise InputError(f"cannot continue {story.folder}: {error.strerror or error}") from error
        if read(story.folder) != story:
            journal.close()
            raise InputError(f"{story.folder.name} was continued by another command in the meantime", hint="try again")
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
        line = line_of(stamp, word, values)
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
    return told(folder, data)


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
    if (folder / PROGRAM).exists():
        return False
    try:
        return b" begin " not in (folder / JOURNAL).read_bytes()
    except FileNotFoundError:
        return True
    except OSError:
        return False


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
            hint="this path must be a folder of yours; move what is there",
        ) from error


def _age(folder: Path) -> tuple[int, str]:
    """Sort key of folders: their number, because clocks may be set back. Folders of older versions have none."""
    number = _NUMBER.match(folder.name)
    return (int(number[1]) if number else 0, folder.name)


def _next_number() -> int:
    return max((_age(folder)[0] for folder in _folders()), default=0) + 1


def _cut_torn_line(path: Path) -> None:
    """Remove an incomplete last line, so that the next one starts on a new line."""
    data = path.read_bytes()
    whole = data.rfind(b"\n") + 1
    if whole < len(data):
        with path.open("r+b") as file:
            file.truncate(whole)


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
