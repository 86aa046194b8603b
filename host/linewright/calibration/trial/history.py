"""History of trial sheets and fits: prevents correcting twice with one sheet, and allows undo.

A fit replaces corrections by the measured error plus those at the time of drawing. Fitting the same sheet again would
correct the same error twice, so each fit is stored with its sheet and its data.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from linewright.errors import InputError
from linewright.rig.edit import edit_rig
from linewright.rig.toml_lines import read_toml
from linewright.state_file import StateFile

if TYPE_CHECKING:
    from linewright.rig.edit import Edited

KEPT: Final = 300
"""Most entries; the oldest is removed."""


@dataclass(frozen=True)
class HistoryEntry:
    """A sheet that was made, or a fit.

    Parameters
    ----------
    what : "made", "fitted", or "undone" for a fit that was undone.
    trial : name of the sheet.
    sheet : number of the sheet; "" if unknown.
    rig_file : rig file of the machine, resolved.
    form : for a sheet, path of its form.
    source : for a fit, digest of its data.
    changes, before : for a fit, new and old values by dotted key; None: the key was missing.
    when : UTC, ISO 8601.
    """

    what: str
    trial: str
    sheet: str
    rig_file: str
    form: str = ""
    source: str = ""
    changes: Mapping[str, Any] = field(default_factory=dict)
    before: Mapping[str, Any] = field(default_factory=dict)
    when: str = ""


FILE: Final = StateFile("fits.json")


def entries() -> list[HistoryEntry]:
    """All entries, oldest first; empty if the file is missing or damaged."""
    try:
        return [HistoryEntry(**one) for one in FILE.read()]
    except TypeError:
        return []


def digest(data: bytes) -> str:
    """Digest of a photograph or of other data."""
    return hashlib.sha256(data).hexdigest()[:32]


def digest_of(answers: Mapping[str, float]) -> str:
    """Digest of typed figures."""
    return digest(json.dumps(sorted(answers.items())).encode())


def made(trial: str, sheet: str, rig_file: Path, form: Path) -> None:
    """Record a sheet made for a machine. A failure to save is ignored, because the form has the data as well."""
    with contextlib.suppress(InputError):
        _add(HistoryEntry("made", trial, sheet, str(rig_file.resolve()), form=str(form.resolve())))


def newest_form(trial: str, rig_file: Path) -> Path | None:
    """The form of the newest sheet of this name for a machine, if it still exists."""
    mine = str(rig_file.resolve())
    for one in reversed(entries()):
        if (one.what, one.trial, one.rig_file) == ("made", trial, mine):
            return Path(one.form) if Path(one.form).exists() else None
    return None


def refuse_twice(trial: str, sheet: str, source: str, rig_file: Path) -> None:
    """Refuse data that has already corrected this machine. Two sheets with different numbers may show the same figures.

    Raises
    ------
    InputError
        The same sheet, photograph or figures were fitted before and not undone.
    """
    mine = str(rig_file.resolve())
    for one in reversed(entries()):
        if one.what != "fitted" or one.rig_file != mine or one.trial != trial:
            continue
        numbered = bool(sheet and one.sheet)
        if (numbered and one.sheet == sheet) or (not numbered and one.source == source):
            which = "this sheet" if numbered else "this measurement"
            raise InputError(
                f"{which} has corrected {rig_file} already, on {one.when.replace('T', ' ').rstrip('Z')} UTC; a second "
                "time would correct the same error twice",
                hint=f"draw a new sheet to measure the remaining error: `linewright trial {trial}`; or undo that fit "
                "first: `linewright fit --undo`",
            )


def write(trial: str, sheet: str, source: str, rig_file: Path, changes: Mapping[str, object], note: str) -> Edited:
    """Write a fit to a rig file, and record it.

    Parameters
    ----------
    note : comment above the section of corrections if that is new.

    Raises
    ------
    RigError
        As `edit_rig`; nothing is changed then.
    """
    plain = {key: value.tolist() if hasattr(value, "tolist") else value for key, value in changes.items()}
    before = _values(rig_file, plain)
    edited = edit_rig(rig_file, plain, {"corrections": note})
    if edited.kept is not None:
        with contextlib.suppress(InputError):
            _add(HistoryEntry("fitted", trial, sheet, str(rig_file.resolve()), "", source, plain, before))
    return edited


@dataclass(frozen=True)
class Undone:
    """A fit that was undone."""

    entry: HistoryEntry
    edited: Edited


def undo(rig_file: Path) -> Undone:
    """Undo the newest fit of a rig file.

    Raises
    ------
    InputError
        There is none, or its values have been changed since.
    RigError
        As `edit_rig`.
    """
    mine = str(rig_file.resolve())
    known = entries()
    found = next((i for i in reversed(range(len(known))) if _is_fit(known[i], mine)), None)
    if found is None:
        raise InputError(
            f"there is no fit of {rig_file} to undo",
            hint="files NAME.before-N in its folder are its earlier versions",
        )
    entry = known[found]
    now = _values(rig_file, entry.changes)
    if unlike := [key for key, value in entry.changes.items() if now[key] != value]:
        raise InputError(
            f"{', '.join(unlike)} in {rig_file} is not what the fit of '{entry.trial}' wrote on {entry.when}; it has "
            "been changed since",
            hint=f"correct it in {rig_file} by hand",
        )
    edited = edit_rig(rig_file, entry.before)
    known[found] = replace(entry, what="undone")
    _keep(known)
    return Undone(entry, edited)


def _is_fit(entry: HistoryEntry, rig_file: str) -> bool:
    return entry.what == "fitted" and entry.rig_file == rig_file


def _values(rig_file: Path, keys: Mapping[str, object]) -> dict[str, Any]:
    """Values in a rig file by dotted keys; None for missing keys."""
    document = read_toml(rig_file.read_text(encoding="utf-8-sig").replace("\r\n", "\n"))
    found: dict[str, Any] = {}
    for key in keys:
        place: Any = document
        for name in key.split("."):
            place = place.get(name) if isinstance(place, Mapping) else None
        found[key] = place
    return found


def _add(entry: HistoryEntry) -> None:
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    _keep([*entries(), replace(entry, when=now)])


def _keep(known: list[HistoryEntry]) -> None:
    FILE.write([asdict(one) for one in known[-KEPT:]])
