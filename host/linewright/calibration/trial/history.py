"""What was made and what was fitted: no sheet corrects a machine twice, and the last correction can be taken back.

A fit writes down the whole error, on top of what the rig file corrected when the sheet was drawn. The same sheet fitted
again would correct the same error twice, so each fit is remembered with its sheet and with what it was fitted from.
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
"""Entries that are kept; the oldest goes. A machine is measured a few times a year."""


@dataclass(frozen=True)
class HistoryEntry:
    """A sheet that was made, or a fit.

    Parameters
    ----------
    what : "made", "fitted" or "undone", which a fit becomes.
    trial : name of the sheet.
    sheet : number of the sheet; "" where nobody knows which one it was.
    rig_file : which machine, resolved.
    form : of a sheet, where its form is.
    source : of a fit, digest of what it was fitted from.
    changes, before : of a fit, dotted keys with what was written, and with what stood there; None: nothing did.
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
    """Everything that is remembered, the oldest first; nothing where the file is missing or damaged."""
    try:
        return [HistoryEntry(**one) for one in FILE.read()]
    except TypeError:
        return []


def digest(data: bytes) -> str:
    """What tells one photograph, or one set of figures, from others."""
    return hashlib.sha256(data).hexdigest()[:32]


def digest_of(answers: Mapping[str, float]) -> str:
    """The same for figures that were typed."""
    return digest(json.dumps(sorted(answers.items())).encode())


def made(trial: str, sheet: str, rig_file: Path, form: Path) -> None:
    """A sheet was made for a machine. Where that cannot be kept, its form still knows."""
    with contextlib.suppress(InputError):
        _add(HistoryEntry("made", trial, sheet, str(rig_file.resolve()), form=str(form.resolve())))


def newest_form(trial: str, rig_file: Path) -> Path | None:
    """The form of the newest sheet of a name that was made for a machine, if it is still there."""
    mine = str(rig_file.resolve())
    for one in reversed(entries()):
        if (one.what, one.trial, one.rig_file) == ("made", trial, mine):
            return Path(one.form) if Path(one.form).exists() else None
    return None


def refuse_twice(trial: str, sheet: str, source: str, rig_file: Path) -> None:
    """Refuse what has corrected this machine already. Two sheets that are known to be two may show the same figures.

    Raises
    ------
    InputError
        If the same sheet, or the same photograph or figures, were fitted before and not taken back since.
    """
    mine = str(rig_file.resolve())
    for one in reversed(entries()):
        if one.what != "fitted" or one.rig_file != mine or one.trial != trial:
            continue
        numbered = bool(sheet and one.sheet)
        if (numbered and one.sheet == sheet) or (not numbered and one.source == source):
            which = "this sheet" if numbered else "what was measured here"
            raise InputError(
                f"{which} has corrected {rig_file} already, on {one.when.replace('T', ' ').rstrip('Z')} UTC; once more "
                "would correct the same error twice",
                hint=f"draw a new sheet to see what is left: `linewright trial {trial}`; or take that fit back first: "
                "`linewright fit --undo`",
            )


def write(trial: str, sheet: str, source: str, rig_file: Path, changes: Mapping[str, object], note: str) -> Edited:
    """Write a fit into a rig file, and remember it.

    Parameters
    ----------
    note : stands above the section of corrections if that is new.

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
    """A fit that was taken back."""

    entry: HistoryEntry
    edited: Edited


def undo(rig_file: Path) -> Undone:
    """Take the newest fit of a rig file back.

    Raises
    ------
    InputError
        If there is none, or what it wrote has been changed since.
    RigError
        As `edit_rig`.
    """
    mine = str(rig_file.resolve())
    known = entries()
    found = next((i for i in reversed(range(len(known))) if _is_fit(known[i], mine)), None)
    if found is None:
        raise InputError(
            f"no fit of {rig_file} is known that could be taken back",
            hint="files called NAME.before-N beside it are what it was earlier",
        )
    entry = known[found]
    now = _values(rig_file, entry.changes)
    if unlike := [key for key, value in entry.changes.items() if now[key] != value]:
        raise InputError(
            f"{', '.join(unlike)} in {rig_file} is not what the fit of '{entry.trial}' wrote on {entry.when}: it was "
            "changed since",
            hint=f"put it right in {rig_file} by hand",
        )
    edited = edit_rig(rig_file, entry.before)
    known[found] = replace(entry, what="undone")
    _keep(known)
    return Undone(entry, edited)


def _is_fit(entry: HistoryEntry, rig_file: str) -> bool:
    return entry.what == "fitted" and entry.rig_file == rig_file


def _values(rig_file: Path, keys: Mapping[str, object]) -> dict[str, Any]:
    """What stands in a rig file at dotted keys; None where a key is missing."""
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
