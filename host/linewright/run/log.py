"""The log of drawings: one line for each time a machine was set to draw, in a small SQLite file.

It is for looking back: what was drawn when, on which rig, how long it took against what was predicted, and what went
wrong. Nothing that draws depends on it.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from typing import Final

from linewright.errors import InputError
from linewright.folders import state_folder

VERSION: Final = 4
"""Version of the table; kept in the file's ``user_version``. A newer one is refused, an older one is brought up."""

_STOPPED_SINCE: Final = 4
"""Up to this version what the user had stopped was called abandoned, although it can be carried on."""

BUSY_S: Final = 2.0
"""How long to wait for another command that is writing its line."""


@dataclass(frozen=True)
class LogEntry:
    """One drawing, or what was drawn of it in one go.

    Parameters
    ----------
    began, ended : ISO 8601, UTC.
    outcome : "finished", "stopped" (by the user; it can be carried on), "failed" (``fault`` says why) or "broke off"
        (the program, the laptop or its power died; then ``ended`` is when the journal was last written).
    strokes, first_stroke : of the whole picture, and the one it began with (0 unless it was carried on).
    predicted_s, played_s : of what was to be drawn from there, and the board's own count of what was.
    drift_x_mm, drift_y_mm : the largest that homing again has found; None where that was not asked for.
    rehearsal : 1 where a real machine's rig was played on the virtual rig; None in lines of earlier versions.
    settings : how it was to be drawn, JSON: sheet, pens, checks; None in lines of earlier versions.
    """

    began: str
    ended: str
    picture: str
    sheet: str
    rig: str
    rig_fingerprint: str
    port: str
    outcome: str
    fault: str
    strokes: int
    first_stroke: int
    pen_down_mm: float
    predicted_s: float
    played_s: float | None
    retransmitted_frames: int | None
    damaged_frames: int | None
    starved: int | None
    underruns: int | None
    drift_x_mm: float | None = None
    drift_y_mm: float | None = None
    settings: str | None = None
    rehearsal: int | None = None


COLUMNS: Final = tuple(field.name for field in fields(LogEntry))


def file() -> Path:
    """Where the log is."""
    return state_folder() / "drawings.sqlite"


def add(entry: LogEntry) -> None:
    """Write one drawing down.

    Raises
    ------
    InputError : the file cannot be written.
    """
    with _opened() as base:
        places = ", ".join("?" * len(COLUMNS))
        base.execute(f"insert into drawings ({', '.join(COLUMNS)}) values ({places})", astuple(entry))  # noqa: S608  names of our own


_MOST: Final = (1 << 63) - 1
"""SQLite's largest whole number."""


def entries(most: int | None = None) -> list[LogEntry]:
    """The newest drawings, at most so many, the newest first.

    Raises
    ------
    InputError : the file cannot be read.
    """
    if not file().exists():
        return []
    with _opened() as base:
        query = f"select {', '.join(COLUMNS)} from drawings order by rowid desc limit ?"  # noqa: S608  names of our own
        return [LogEntry(*row) for row in base.execute(query, (-1 if most is None else min(most, _MOST),))]


@contextlib.contextmanager
def _opened() -> Iterator[sqlite3.Connection]:
    """The file, with its table; what is written is there once the block has ended without an error."""
    path = file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.closing(sqlite3.connect(path, timeout=BUSY_S)) as base, base:
            if base.execute("pragma user_version").fetchone()[0] != VERSION:
                _bring_up(base, path)
            yield base
    except (sqlite3.Error, OSError) as error:
        raise InputError(
            f"the log of drawings, {path}, cannot be used: {error}", hint="move it away; a new one is begun"
        ) from error


def _bring_up(base: sqlite3.Connection, path: Path) -> None:
    """Give a new or an older file the table of this version."""
    base.execute("begin immediate")  # another command may be doing the same
    (version,) = base.execute("pragma user_version").fetchone()
    if version > VERSION:
        raise InputError(f"{path} was written by a newer Linewright (table {version}, known is {VERSION})")
    base.execute(f"create table if not exists drawings ({', '.join(COLUMNS)})")
    known = {row[1] for row in base.execute("pragma table_info(drawings)")}
    for column in COLUMNS:
        if column not in known:
            base.execute(f"alter table drawings add column {column}")
    if version < _STOPPED_SINCE:
        base.execute("update drawings set outcome = 'stopped' where outcome = 'abandoned'")
    base.execute(f"pragma user_version = {VERSION}")
    base.commit()
