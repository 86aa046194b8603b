"""Changing keys in the text of a rig file: comments and order stay, and no file is replaced by one that is not a rig.

A rig file is its owner's notebook as much as the machine's description, so it is never written anew from values. The
changed text is checked as a whole before it replaces the file, and the file as it was stays beside it.
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
    rig : what the file says now.
    kept : where it stays as it was; None where nothing had to be changed.
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
        If the file cannot be read or written, is no TOML, or would not be a valid rig after the change.
    """
    path = Path(path)
    try:
        with opened(path) as stream:
            before = stream.read()
        text = before.decode("utf-8")
    except (OSError, UnicodeDecodeError):
        Rig.load(path)  # says in its own words what is wrong with the file
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
            f"cannot change {path}: {error.strerror or error}; it is as it was",
            hint="check the folder, its permissions and the free space",
        ) from error
    return Edited(rig, kept)


def changed_text(
    text: str, changes: Mapping[str, object], notes: Mapping[str, str] | None = None, *, where: str = "the rig file"
) -> str:
    """The text of a rig file with some keys changed.

    Parameters
    ----------
    text : TOML; it need not be a valid rig yet, a change may be what makes it one.
    changes : dotted key, such as ``"axis.x.speed_mm_s"``, to its value; ``None`` takes the key out. Tables that are
        missing are added at the end.
    notes : dotted key to what is written as a comment behind a key that is new, or above a table that is new.
    where : names the text in messages.

    Raises
    ------
    RigError
        If the text is no TOML, a key leads through something that is no table, or the result is no valid rig.

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
    for name in dict.fromkeys(sections):
        if name not in document:
            text = _with_section(text, name, notes.get(name, ""))
    document = _parsed(text, where)
    for key, value in changes.items():
        _set(document, key, value, notes, where)
    after: str = document.as_string()
    Rig.parse(after, where=f"{where} after the change")
    return mark + after


def _parsed(text: str, where: str) -> Any:
    """The text as a document that can be changed and written back."""
    import tomlkit
    from tomlkit.exceptions import ParseError

    try:
        return tomlkit.parse(text)
    except (ParseError, RecursionError) as error:
        Rig.parse(text, where=where)  # says where and in its own words
        raise RigError(f"{where}: not valid TOML: {error}", hint="look for a missing quote or bracket") from error


def _with_section(text: str, name: str, note: str) -> str:
    """The text with an empty section at its end, standing off from what is before it."""
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
            raise RigError(f"{where}: {path} = {place!r} is no table, so there is no {key} in it")
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
    """Write the old file beside the new one, under the first number that is free."""
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
