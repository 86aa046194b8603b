"""Reading and editing arrangement files; comments are kept, and a file is written whole or not at all.

A change touches only the keys that differ. The text is split at its table headers; comments directly above a header
move with that table.
"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any, Final

from linewright.errors import InputError, SourceError
from linewright.files import is_there, replacing
from linewright.planning.arrangement import Arrangement, Item, Poster, Repeat, is_one, read
from linewright.rig.toml_lines import find_places
from linewright.sources.source_file import source_file

FILE_HIGH_BYTES: Final = 4_000_000
"""Largest file: a thousand items with long texts."""

BEGINNING: Final = """\
# What lies on the sheet. Lengths are mm from the sheet's top left corner, turns degrees clockwise.
"""

_NAMES: Final = {"method": "as"}
"""Fields whose key in the file differs."""


def load(path: str | Path) -> Arrangement:
    """Read an arrangement.

    Raises
    ------
    SourceError
        The file is missing, cannot be read, or is no arrangement; the message lists all problems by line.
    """
    return read(_text(Path(path)).removeprefix(_MARK), str(path))


def save(path: str | Path, arrangement: Arrangement) -> None:
    """Write an arrangement to its file, whole or not at all; comments of an existing file are kept.

    Raises
    ------
    InputError
        The existing file is no arrangement, the new one would be invalid, or the file cannot be written.
    """
    path = Path(path)
    if not is_one(path):
        raise InputError(f"{path} does not end in .toml", hint="arrangements have this ending")
    before = _text(path) if is_there(path) else BEGINNING
    after = changed_text(before, arrangement, str(path))
    if is_there(path) and after == before:
        return
    try:
        with replacing(path) as stream:
            stream.write(after.encode("utf-8"))
    except OSError as error:
        raise InputError(
            f"cannot write {path}: {error.strerror or error}; it is unchanged",
            hint="check the folder, its permissions and the free space",
        ) from error


_MARK: Final = "\N{ZERO WIDTH NO-BREAK SPACE}"
"""A byte order mark, which some editors write."""


def _text(path: Path) -> str:
    where = str(path)
    with source_file(path) as stream:
        data = stream.read(FILE_HIGH_BYTES + 1)
    if len(data) > FILE_HIGH_BYTES:
        raise SourceError(
            f"more than {FILE_HIGH_BYTES:,} bytes, the limit for an arrangement",
            where=where,
            hint="name an arrangement",
        )
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        hint = "save it as UTF-8; .toml files are read as arrangements"
        raise SourceError(f"byte {error.start} is not UTF-8 text", where=where, hint=hint) from None


def changed_text(text: str, arrangement: Arrangement, where: str = "the arrangement") -> str:
    r"""The text of an arrangement's file, changed to describe another arrangement.

    Parameters
    ----------
    text : text of a valid arrangement file.
    arrangement : its new contents.

    Raises
    ------
    SourceError
        The text is no arrangement, or the new one would be invalid.

    Examples
    --------
    >>> text = '# mine\n[[item]]\nid = "a"\nsource = "heron.svg"  # from Ida\n'
    >>> from dataclasses import replace
    >>> moved = replace(read(text).item("a"), at_mm=(20.0, 30.0))
    >>> print(changed_text(text, read(text).changed(moved)))
    # mine
    [[item]]
    id = "a"
    source = "heron.svg"  # from Ida
    at_mm = [20, 30]
    <BLANKLINE>
    """
    mark = _MARK if text.startswith(_MARK) else ""
    text = text.removeprefix(_MARK)
    old = read(text, where)
    line_end = "\r\n" if "\r\n" in text else "\n"
    head, blocks = _blocks(text.replace("\r\n", "\n"))
    if len(blocks["item"]) != len(old.items):
        hint = "write each item as a table of its own, below [[item]]"
        raise SourceError("its items are an inline list, which this command cannot edit", where=where, hint=hint)
    items = {item.id: block for item, block in zip(old.items, blocks["item"], strict=True)}
    olds = {item.id: item for item in old.items}
    keys, wanted = _keys(old), _keys(arrangement)
    posters: list[str] = []
    if old.poster is not None and not blocks["poster"]:  # written inline: poster = { sheet = "A3" }
        keys["poster"] = _keys(old.poster)
        wanted["poster"] = None if arrangement.poster is None else _keys(arrangement.poster)
    elif arrangement.poster is not None:
        block = blocks["poster"][0] if blocks["poster"] else "[poster]\n"
        before = {} if old.poster is None else _keys(old.poster)
        posters.append(_with_keys(block, before, _keys(arrangement.poster), ("poster",)))
    parts = [_with_keys(head, keys, wanted, ()), *posters]
    for item in arrangement.items:
        if item.id in items:
            named = _has_id(items[item.id])
            before = _keys(olds[item.id]) if named else {**_keys(olds[item.id]), "id": ""}
            parts.append(_with_keys(items[item.id], before, _keys(item), ("item", 0)))
        else:
            parts.append(_with_keys("[[item]]\n", {}, _keys(item), ("item", 0)))
    after = _joined(parts)
    if line_end != "\n":
        after = after.replace("\n", line_end)
    if read(after, f"{where} after the change") != arrangement:
        raise InputError(f"{where}: this arrangement cannot be written", hint="give every item an id of its own")
    return mark + after


def _blocks(text: str) -> tuple[str, dict[str, list[str]]]:
    """The text before the first table, and the text of each table with the comments directly above it."""
    lines = [line + "\n" for line in text.removesuffix("\n").split("\n")] if text else []
    heads: list[tuple[int, str]] = []
    for path, line in find_places(text).items():
        is_item = len(path) == 2 and path[0] == "item" and path[1].isdigit()
        if is_item or (path == ("poster",) and lines[line - 1].lstrip().startswith("[")):
            heads.append((line - 1, path[0]))
    heads.sort()
    begins = [*(_above(lines, line) for line, _ in heads), len(lines)]
    found: dict[str, list[str]] = {"item": [], "poster": []}
    for number, (_, kind) in enumerate(heads):
        found[kind].append("".join(lines[begins[number] : begins[number + 1]]))
    return "".join(lines[: begins[0]]), found


def _above(lines: list[str], line: int) -> int:
    """Index of the first comment line directly above a line."""
    while line and lines[line - 1].lstrip().startswith("#"):
        line -= 1
    return line


def _has_id(block: str) -> bool:
    return ("item", "0", "id") in find_places(block)


def _keys(value: Arrangement | Item | Poster | Repeat) -> dict[str, Any]:
    """Keys and TOML values of a value; defaults are left out."""
    found: dict[str, Any] = {}
    for field in fields(value):
        if field.name in ("items", "poster"):
            continue
        held = getattr(value, field.name)
        if isinstance(held, Repeat):
            found[field.name] = _keys(held)
        elif field.name == "pen_for" and held:
            found[field.name] = dict(held)
        elif held != field.default:
            found[_NAMES.get(field.name, field.name)] = _plain(held)
    return found


def _plain(value: object) -> object:
    """The value in its shortest form: 80 rather than 80.0."""
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _with_keys(text: str, old: dict[str, Any], new: dict[str, Any], place: tuple[str | int, ...]) -> str:
    """A part of the file with the changed keys."""
    import tomlkit

    changes = {key: new.get(key) for key in (*new, *old) if old.get(key) != new.get(key)}
    if not changes:
        return text
    body = text.rstrip("\n")
    document: Any = tomlkit.parse(body + "\n" if body else "")
    table = document
    for step in place:
        table = table[step]
    for key, value in changes.items():
        if value is None:
            table.pop(key, None)
        elif isinstance(value, dict) and key in table:
            for inner in {*table[key]} - {*value}:
                del table[key][inner]
            table[key].update(value)
        elif isinstance(value, dict):
            table[key] = tomlkit.inline_table()
            table[key].update(value)
        else:
            table[key] = value
    written: str = document.as_string()
    return written + text[len(body) + 1 :]


def _joined(parts: list[str]) -> str:
    """The parts, separated by empty lines."""
    text = ""
    for part in parts:
        if text and not text.endswith("\n"):
            text += "\n"
        text += ("\n" if text.strip() and not text.endswith("\n\n") else "") + part
    return text
