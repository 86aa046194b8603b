"""Series: one arrangement per row of a table, such as a card for every name on a list.

The table is a CSV file whose first row names its columns. ``{name}`` in a text, source, pattern or method of the
arrangement is replaced by the row's value in column ``name``; ``{{`` and ``}}`` are braces.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from linewright.errors import SourceError
from linewright.planning.arrangement import Arrangement, Item
from linewright.sources.source_file import source_file
from linewright.wording import count

FILE_HIGH_BYTES: Final = 4_000_000

ROWS_HIGH: Final = 10_000
"""Most rows: days of drawing."""

_FIELDS: Final = ("text", "text_file", "source", "pattern", "method")

_PLACE: Final = re.compile(r"\{\{|\}\}|\{([^{}]*)\}")


@dataclass(frozen=True)
class Row:
    """One row of the table.

    Parameters
    ----------
    line : line of the file where it ends.
    values : column name to value, stripped of spaces.
    """

    line: int
    values: Mapping[str, str]


def read_rows(path: str | Path) -> tuple[Row, ...]:
    """The rows of a table without empty ones.

    Raises
    ------
    SourceError
        The file cannot be read, has no column names or no rows, or a row has the wrong number of columns.
    """
    where = str(path)
    with source_file(path) as stream:
        data = stream.read(FILE_HIGH_BYTES + 1)
    if len(data) > FILE_HIGH_BYTES:
        raise SourceError(f"more than {FILE_HIGH_BYTES:,} bytes", where=where, hint="split the table into several")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        hint = "save the table as CSV in UTF-8"
        raise SourceError(f"byte {error.start} is not UTF-8 text", where=where, hint=hint) from None
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise SourceError(f"line {line} has a character of code 0", where=where, hint="save the table as CSV in UTF-8")
    head = text.partition("\n")[0]
    # Spreadsheets write semicolons in countries with a decimal comma.
    separator = max(",;\t", key=head.count) if any(mark in head for mark in ",;\t") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows: list[Row] = []
    columns: list[str] = []
    try:
        for cells in reader:
            values = [cell.strip() for cell in cells]
            if not any(values):
                continue
            if not columns:
                columns = values
                _check(columns, where)
            elif len(values) != len(columns):
                raise SourceError(
                    f"line {reader.line_num} has {count(len(values), 'column')}, the first row names {len(columns)}",
                    where=where,
                    hint="put a text with a comma in it in double quotes",
                )
            else:
                rows.append(Row(reader.line_num, dict(zip(columns, values, strict=True))))
            if len(rows) > ROWS_HIGH:
                raise SourceError(f"more than {ROWS_HIGH:,} rows", where=where, hint="split the table into several")
    except csv.Error as error:
        raise SourceError(f"line {reader.line_num}: {error}", where=where, hint="save the table as CSV") from None
    if not rows:
        raise SourceError("it has no rows", where=where, hint="the first row must name the columns")
    return tuple(rows)


def _check(columns: list[str], where: str) -> None:
    twice = next((name for name in columns if columns.count(name) > 1), None)
    if twice is not None or not all(columns):
        what = "a column has no name" if twice is None or not twice else f"two columns are called {twice!r}"
        raise SourceError(f"{what} in the first row", where=where, hint="give each column a name of its own")


def filled(arrangement: Arrangement, row: Row, where: str = "the series") -> Arrangement:
    """The arrangement with column names in braces replaced by the row's values.

    Raises
    ------
    SourceError
        There is no such column; the message has the item and the known columns.
    """
    return replace(arrangement, items=tuple(_filled(item, row, where) for item in arrangement.items))


def _filled(item: Item, row: Row, where: str) -> Item:
    changes: dict[str, Any] = {}

    def value(found: re.Match[str]) -> str:
        if found[1] is None:
            return found[0][0]
        name = found[1].strip()
        if name not in row.values:
            raise SourceError(
                f"item {item.id} asks for the column {name!r}, which does not exist",
                where=where,
                hint=f"there are {', '.join(row.values)}; write {{{{ and }}}} for braces",
            )
        return row.values[name]

    for field in _FIELDS:
        words = getattr(item, field)
        if words is not None:
            changes[field] = _PLACE.sub(value, words)
            if not changes[field].strip():
                raise SourceError(
                    f"line {row.line} leaves the {field} of item {item.id} empty",
                    where=where,
                    hint="fill this cell, or remove the row",
                )
    return replace(item, **changes)


def name_of(row: Row) -> str:
    """File name for a row's card: its first column, restricted to characters for file names."""
    first = next(iter(row.values.values()))
    return re.sub(r"[\W_]+", "-", first.lower()).strip("-")[:40].strip("-") or "row"
