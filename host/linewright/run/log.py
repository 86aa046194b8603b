"""Log of drawings: one line per run of a machine, in a small SQLite file.

It records what was drawn when, on which rig, actual and predicted time, and failures. Drawing does not depend on it.
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
"""Version of the table, stored in ``user_version``. Newer ones are refused, older ones upgraded."""

_STOPPED_SINCE: Final = 4
"""Before this version, drawings stopped by the user were recorded as abandoned, although they can be resumed."""

BUSY_S: Final = 2.0
"""Time limit for another command that is writing."""


@dataclass(frozen=True)
class LogEntry:
    """One drawing, or the part of it drawn in one run.

    Parameters
    ----------
    began, ended : ISO 8601, UTC.
    outcome : "finished", "stopped" (by the user; can be resumed), "failed" (see ``fault``) or "broke off"
        (program or laptop died; ``ended`` is then the journal's last time).
    strokes, first_stroke : number of strokes of the picture, and the first one drawn (0 unless resumed).
    predicted_s, played_s : predicted time from there, and time played by the board's count.
    drift_x_mm, drift_y_mm : largest drift found; None if not checked.
    rehearsal : 1 if a real machine's rig was played on the virtual rig; None in lines of earlier versions.
    settings : options as JSON: sheet, pens, checks; None in lines of earlier versions.
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
    """Path of the log."""
    return state_folder() / "drawings.sqlite"


def add(entry: LogEntry) -> None:
    """Add one drawing.

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
    """The newest drawings, at most ``most``, newest first.

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
    """Context manager: the open database; changes are committed when the block ends without an error."""
    path = file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with contextlib.closing(sqlite3.connect(path, timeout=BUSY_S)) as base, base:
            if base.execute("pragma user_version").fetchone()[0] != VERSION:
                _bring_up(base, path)
            yield base
    except (sqlite3.Error, OSError) as error:
        raise InputError(
            f"the log of drawings, {path}, cannot be used: {error}", hint="move it away; a new log is then begun"
        ) from error


def _bring_up(base: sqlite3.Connection, path: Path) -> None:
    """Create the table, or upgrade an older one."""
    base.execute("begin immediate")  # another command may do the same
    (version,) = base.execute("pragma user_version").fetchone()
    if version > VERSION:
        raise InputError(
            f"{path} was written by a newer Linewright (table version {version}; this one reads {VERSION})"
        )
    base.execute(f"create table if not exists drawings ({', '.join(COLUMNS)})")
    known = {row[1] for row in base.execute("pragma table_info(drawings)")}
    for column in COLUMNS:
        if column not in known:
            base.execute(f"alter table drawings add column {column}")
    if version < _STOPPED_SINCE:
        base.execute("update drawings set outcome = 'stopped' where outcome = 'abandoned'")
    base.execute(f"pragma user_version = {VERSION}")
    base.commit()
