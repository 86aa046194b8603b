"""Edits keys in the text of a rig file. Comments and order are kept, and a file is replaced only by a valid rig file.

Owners keep notes in their rig files, so a file is never regenerated from values. The changed text is validated as a
whole before it replaces the file, and the old file is kept beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from linewright.errors import RigError
from linewright.files import opened, replacing
from linewright.rig.rig import Rig

BYTE_ORDER_MARK: Final = "\N{ZERO WIDTH NO-BREAK SPACE}"


@dataclass(frozen=True)
class Edited:
    """A rig file after a change.

    Parameters
    ----------
    rig : the rig after the change.
    kept : copy of the old file; None if nothing changed.
    """

    rig: Rig
    kept: Path | None


def edit_rig(path: str | Path, changes: Mapping[str, object], notes: Mapping[str, str] | None = None) -> Edited:
    """Change keys in a rig file, whole or not at all, and keep the old file as ``NAME.before-N`` beside it.

    Parameters
    ----------
    path : the rig file; a link is followed.
    changes, notes : as `changed_text` takes them.

    Raises
    ------
    RigError
        The file cannot be read or written, is not TOML, or would not be a valid rig after the change.
    """
    path = Path(path)
    try:
        with opened(path) as stream:
            before = stream.read()
        text = before.decode("utf-8")
    except (OSError, UnicodeDecodeError):
        Rig.load(path)  # raises the error for an invalid file
        raise
    after = changed_text(text, changes, notes, where=str(path))
    rig = Rig.parse(after.removeprefix(BYTE_ORDER_MARK), where=str(path))
    if after == text:
        return Edited(rig, None)
    try:
        kept = _keep(path.resolve(), before)
        with replacing(path) as stream:
            stream.write(after.encode("utf-8"))
    except OSError as error:
        raise RigError(
            f"cannot change {path}: {error.strerror or error}; it is unchanged",
            hint="check the folder, its permissions and the free space",
        ) from error
    return Edited(rig, kept)


def changed_text(
    text: str, changes: Mapping[str, object], notes: Mapping[str, str] | None = None, *, where: str = "the rig file"
) -> str:
    """The text of a rig file with changed keys.

    Parameters
    ----------
    text : TOML; only the result must be a valid rig.
    changes : dotted key, such as ``"axis.x.speed_mm_s"``, to its value; ``None`` removes the key. Tables that are
        missing are added at the end.
    notes : dotted key to a comment, written after a new key or above a new table.
    where : names the text in messages.

    Raises
    ------
    RigError
        The text is not TOML, part of a key is no table, or the result is no valid rig.

    Examples
    --------
    >>> text = changed_text(Rig.default_text(), {"axis.x.speed_mm_s": 90.0})
    >>> [line for line in text.splitlines() if line.startswith("speed_mm_s")][0]
    'speed_mm_s = 90.0           # top speed of a light home-built carriage on GT2 belt; raise it in small steps'
    """
    notes = notes or {}
    mark = BYTE_ORDER_MARK if text.startswith(BYTE_ORDER_MARK) else ""
    text = text.removeprefix(mark)
    document = _parsed(text, where)
    sections = [key.partition(".")[0] for key, value in changes.items() if "." in key and value is not None]
    missing = [name for name in dict.fromkeys(sections) if name not in document]
    for name in missing:
        text = _with_section(text, name, notes.get(name, ""))
    if missing:
        document = _parsed(text, where)  # reading a rig file so takes twenty times as long as reading its values
    for key, value in changes.items():
        _set(document, key, value, notes, where)
    after: str = document.as_string()
    Rig.parse(after, where=f"{where} after the change")
    return mark + after


def _parsed(text: str, where: str) -> Any:
    """The text as an editable TOML document."""
    import tomlkit
    from tomlkit.exceptions import ParseError

    try:
        return tomlkit.parse(text)
    except (ParseError, RecursionError) as error:
        Rig.parse(text, where=where)  # raises an error with the line
        raise RigError(f"{where}: not valid TOML: {error}", hint="look for a missing quote or bracket") from error


def _with_section(text: str, name: str, note: str) -> str:
    """The text with an empty section added at its end, after a blank line."""
    end = "\r\n" if "\r\n" in text else "\n"
    lines = [text.rstrip("\r\n"), "", *(f"# {line}" for line in note.splitlines()), f"[{name}]", ""]
    return end.join(lines)


def _set(document: Any, key: str, value: object, notes: Mapping[str, str], where: str) -> None:
    """Change one key of a parsed document."""
    import tomlkit

    *tables, last = key.split(".")
    place, path = document, ""
    for name in tables:
        path = f"{path}.{name}" if path else name
        if name not in place:
            if value is None:
                return
            place[name] = tomlkit.table()
        place = place[name]
        if not hasattr(place, "keys"):
            raise RigError(f"{where}: {path} = {place!r} is not a table, so it cannot hold {key}")
    if value is None:
        if last in place:
            del place[last]
        return
    is_new = last not in place
    place[last] = _plain(value)
    if is_new and key in notes:
        place[last].comment(notes[key])


def _plain(value: object) -> Any:
    """A value in the types of TOML: arrays of numpy become lists, its numbers Python's."""
    if hasattr(value, "tolist"):
        return value.tolist()
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def _keep(path: Path, data: bytes) -> Path:
    """Write the old file beside the new one, with the first free number."""
    number = 1
    while True:
        kept = path.with_name(f"{path.name}.before-{number}")
        try:
            with kept.open("xb") as stream:
                stream.write(data)
        except FileExistsError:
            number += 1
            continue
        return kept
