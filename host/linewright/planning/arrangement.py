"""`Arrangement`: the items on a sheet and their positions; an immutable value, stored in a TOML file.

It reads no pictures: `linewright.planning.composing` makes the strokes, and `linewright.planning.arrangement_file`
reads and writes the file. Every change makes a new value; keeping the old one allows undo.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Final, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    TypeAdapter,
    ValidationError,
    WithJsonSchema,
)

from linewright.errors import InputError, SourceError
from linewright.planning.placement import Align
from linewright.rig.toml_lines import Places, find_places, line_of, read_toml

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

SUFFIX: Final = ".toml"
"""Suffix of arrangement files; other sources are pictures."""

ITEMS_HIGH: Final = 1000
"""Most items: more than a user can handle on a sheet; a pattern of copies is one item."""

SIZE_HIGH_MM: Final = 20_000.0
"""Twice the longest sheet."""

PLACE_HIGH_MM: Final = 100_000.0
"""Ten times the longest sheet: an item may extend beyond its sheet or lie beside it for a while."""

TEXT_HIGH: Final = 20_000
"""Most characters, as in `linewright.sources.lettering`."""


def _number(value: object) -> object:
    """A number from the file; ``true`` and ``"80"``, which pydantic would convert, are errors."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"it should be a number, not {_shown(value)}")
    try:
        return float(value)
    except OverflowError:
        raise ValueError("the number has too many digits") from None


def _whole(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"it should be a whole number, not {_shown(value)}")
    return value


def _pair(value: object) -> object:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise ValueError("it should be two numbers, such as [20, 30]")
    return tuple(value)


def _choices(value: object) -> object:
    """A table of strings as pairs, which an immutable value can hold."""
    if isinstance(value, dict):
        value = tuple(value.items())
    if not isinstance(value, tuple):
        raise ValueError('it should be a table, such as { "#1f6f8b" = "sea" }')
    return value


def _name(value: str) -> str:
    if not re.fullmatch(r"[\w.-]{1,60}", value):
        raise ValueError(f"{_shown(value)} may contain only letters, digits, - _ and ., at most 60 characters")
    return value


_Place = Annotated[float, BeforeValidator(_number), Field(ge=-PLACE_HIGH_MM, le=PLACE_HIGH_MM, allow_inf_nan=False)]
_Size = Annotated[float, BeforeValidator(_number), Field(ge=0.1, le=SIZE_HIGH_MM, allow_inf_nan=False)]
_Gap = Annotated[float, BeforeValidator(_number), Field(ge=0.0, le=SIZE_HIGH_MM, allow_inf_nan=False)]
_Turn = Annotated[float, BeforeValidator(_number), Field(ge=-3600.0, le=3600.0, allow_inf_nan=False)]
_Count = Annotated[int, BeforeValidator(_whole), Field(ge=1, le=100)]
_Words = Annotated[str, Field(min_length=1, max_length=4000, strict=True)]
_Text = Annotated[str, Field(min_length=1, max_length=TEXT_HIGH, strict=True)]
_PenFor = Annotated[
    tuple[tuple[_Words, _Words], ...],
    BeforeValidator(_choices),
    Field(max_length=ITEMS_HIGH),
    PlainSerializer(dict),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": "string"}}),
]
_Name = Annotated[str, Field(strict=True), AfterValidator(_name)]
_Flag = Annotated[bool, Field(strict=True)]


@dataclass(frozen=True)
class Repeat:
    """Copies in columns and rows.

    Parameters
    ----------
    columns, rows : numbers of copies.
    gap_mm : distance between copies, to the right and downward.
    """

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")

    columns: _Count = 1
    rows: _Count = 1
    gap_mm: Annotated[tuple[_Gap, _Gap], BeforeValidator(_pair)] = (5.0, 5.0)


@dataclass(frozen=True)
class Item:
    """One item of a sheet. Exactly one of ``source``, ``text``, ``text_file`` and ``pattern`` is given.

    Parameters
    ----------
    id : its name, which never changes.
    source : a picture file, relative to the arrangement's folder.
    text : words to write, or a sentence to draw, as its method takes them.
    pattern : ``NAME`` or ``NAME:SETTING=VALUE,...``, as after ``--pattern``.
    method : method that makes its lines, as after ``--as``; key ``as`` in the file.
    pens : as after ``--pens``.
    pen_by : how lines of a drawing file are assigned to pens.
    at_mm : its position, from the sheet's top left corner; None: within the margins, as ``align`` says.
    align : with ``at_mm``: the point of the item's bounding box that lies there; without: position of that box between
        the margins. None: top left with ``at_mm``, centre without.
    width_mm, height_mm : size before turning. With one of them the other follows from the picture's proportion; both
        give a
        box into which it is fitted; with neither, ``fit`` decides.
    fit : ``"fit"``: as large as possible; ``"keep"``: the file's own size.
    turn_deg : clockwise as seen, any angle.
    mirror : left and right are swapped, before it is turned.
    repeat : copies; None: one.
    text_file : a file with text to write, in place of ``text``, relative to the arrangement's folder.
    page : page of a file with several pages.
    layers : names or numbers of the layers of a drawing file to draw; none: its visible layers.
    hides : whether areas of a drawing file hide items below them.
    pen_for : pairs of a colour or layer (as ``pen_by`` says) and the name of the pen that draws it; a table in the
        file. Others are assigned automatically.
    """

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid", populate_by_name=True)

    id: _Name = ""  # no name yet
    source: _Words | None = None
    text: _Text | None = None
    pattern: _Words | None = None
    method: Annotated[_Words | None, Field(alias="as")] = None
    pens: _Words | None = None
    pen_by: Literal["colour", "layer"] = "colour"
    at_mm: Annotated[tuple[_Place, _Place], BeforeValidator(_pair)] | None = None
    align: Align | None = None
    width_mm: _Size | None = None
    height_mm: _Size | None = None
    fit: Literal["fit", "keep"] = "fit"
    turn_deg: _Turn = 0.0
    mirror: _Flag = False
    repeat: Repeat | None = None
    text_file: _Words | None = None
    page: Annotated[int, BeforeValidator(_whole), Field(ge=1, le=100_000)] = 1
    layers: tuple[_Words, ...] = ()
    hides: _Flag = True
    pen_for: _PenFor = ()

    @property
    def writes(self) -> bool:
        """Whether the item is text."""
        return self.text is not None or self.text_file is not None

    @property
    def what(self) -> str:
        """Short description of the item."""
        if self.text is not None:
            words = " ".join(self.text.split())
            return f'"{words if len(words) <= 30 else words[:27] + "..."}"'
        return self.pattern or self.source or self.text_file or ""


@dataclass(frozen=True)
class Poster:
    """A picture divided among several sheets.

    Parameters
    ----------
    sheet : size of each sheet; None: the rig's own.
    overlap_mm : width of the strip drawn on both sheets, which allows for inexact cuts.
    """

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid")

    sheet: _Words | None = None
    overlap_mm: Annotated[float, BeforeValidator(_number), Field(ge=0.0, le=100.0, allow_inf_nan=False)] = 3.0


@dataclass(frozen=True)
class Arrangement:
    """The items of a sheet; later items are drawn after earlier ones.

    Parameters
    ----------
    sheet : name or size, as after ``--sheet``; None: the rig's own. With ``poster``: the size of the whole.
    margin_mm : kept clear on all sides; None: the rig's own.
    poster : divides the drawing among several sheets; None: one sheet.
    items : each with a unique id.
    """

    __pydantic_config__: ClassVar[ConfigDict] = ConfigDict(extra="forbid", populate_by_name=True)

    sheet: _Words | None = None
    margin_mm: _Gap | None = None
    poster: Poster | None = None
    items: Annotated[tuple[Item, ...], Field(alias="item", max_length=ITEMS_HIGH)] = ()

    def item(self, name: str) -> Item:
        """The item with this id.

        Raises
        ------
        InputError
            There is none.
        """
        for item in self.items:
            if item.id == name:
                return item
        ids = [item.id for item in self.items]
        near = get_close_matches(name, ids, n=1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(ids[:20])}" if ids else "it is empty"
        raise InputError(f"there is no item {name!r}", hint=hint)

    def added(self, item: Item) -> Arrangement:
        """With one more item. An item without an id gets one made from its contents.

        Raises
        ------
        InputError
            The id is taken, or there are too many items.
        """
        taken = {one.id for one in self.items}
        if item.id in taken:
            raise InputError(f"there is an item {item.id!r} already", hint="give it another id, or move that one")
        if len(self.items) >= ITEMS_HIGH:
            raise InputError(f"there are {ITEMS_HIGH} items already, the limit", hint="use repeat for copies")
        return replace(self, items=(*self.items, item if item.id else replace(item, id=free_id(item, taken))))

    def changed(self, item: Item) -> Arrangement:
        """With this item in place of the one with the same id."""
        self.item(item.id)
        return replace(self, items=tuple(item if one.id == item.id else one for one in self.items))

    def without(self, name: str) -> Arrangement:
        """Without the item with this id."""
        self.item(name)
        return replace(self, items=tuple(one for one in self.items if one.id != name))


def is_one(source: str | Path) -> bool:
    """Whether a source is an arrangement, by its suffix."""
    return Path(source).suffix.lower() == SUFFIX


def free_id(item: Item, taken: set[str]) -> str:
    """An unused id made from an item's contents."""
    named = item.text or (item.pattern or "").partition(":")[0] or Path(item.source or item.text_file or "").stem
    base = re.sub(r"[\W_]+", "-", named.lower()).strip("-")[:20].strip("-") or "item"
    number, found = 1, base
    while found in taken:
        number += 1
        found = f"{base}-{number}"
    return found


@cache
def _adapter() -> TypeAdapter[Arrangement]:
    return TypeAdapter(Arrangement)


def schema() -> dict[str, Any]:
    """The JSON schema of the file."""
    return _adapter().json_schema()


def to_json(arrangement: Arrangement) -> str:
    """An arrangement in one line, for logs and histories; defaults are left out."""
    return _adapter().dump_json(arrangement, by_alias=True, exclude_defaults=True).decode()


def from_json(text: str) -> Arrangement:
    """The arrangement written by `to_json`.

    Raises
    ------
    ValueError : the text is not such an arrangement.
    """
    return _adapter().validate_json(text)


def read(text: str, where: str = "the arrangement") -> Arrangement:
    r"""An arrangement from the text of its file. Items without an id get one.

    Raises
    ------
    SourceError
        The text is not TOML or no arrangement; the message lists all problems by line.

    Examples
    --------
    >>> read('[[item]]\nsource = "heron.svg"\nwidth_mm = 80\n').items[0].width_mm
    80.0
    """
    try:
        raw = read_toml(text)
    except ValueError as error:
        raise SourceError(f"no TOML: {error}", where=where, hint=_HINT) from None
    many = raw.get("item")
    if isinstance(many, list) and len(many) > ITEMS_HIGH:
        # Refuse at once, because finding the lines of so many problems takes a minute.
        raise _refused([(None, f"item: {len(many)} items, the limit is {ITEMS_HIGH}; use repeat for copies")], where)
    places = find_places(text)
    try:
        found = _adapter().validate_python(raw)
    except ValidationError as error:
        raise _refused([_issue(one, raw, places) for one in error.errors(include_url=False)], where) from None
    if found.poster is not None and "poster" not in text.split("\n")[places["poster",] - 1]:
        # The lines of the following tables could not be reported, and the file could not be edited.
        raise _refused([(None, "poster: the table [poster] is among the items; move it above them")], where)
    if wrong := [(line_of(places, path), words) for path, words in _doubtful(found)]:
        raise _refused(wrong, where)
    items: list[Item] = []
    taken = {item.id for item in found.items}
    for item in found.items:
        named = item if item.id else replace(item, id=free_id(item, taken))
        taken.add(named.id)
        items.append(named)
    return replace(found, items=tuple(items))


_HINT: Final = "docs/ARRANGEMENTS.md shows examples; `linewright arrange add` writes a valid file"


def _refused(wrong: list[tuple[int | None, str]], where: str) -> SourceError:
    """An error with all problems, in the order of lines."""
    listed = [
        f"  {words}" if line is None else f"  line {line}: {words}"
        for line, words in sorted(wrong, key=lambda one: one[0] or 0)
    ]
    return SourceError("\n".join(["this is not a valid arrangement:", *listed]), where=where, hint=_HINT)


def _doubtful(found: Arrangement) -> Iterator[tuple[tuple[str, ...], str]]:
    """Problems that types do not catch: key and message."""
    from linewright.sheet.sizes import Sheet

    sheets = [("sheet", found.sheet)]
    if found.poster is not None:
        sheets.append(("poster.sheet", found.poster.sheet))
        if found.sheet is None:
            yield ("poster",), "poster: a poster needs the key sheet above it, the size of the whole, such as 800x600mm"
    for key, name in sheets:
        if name is not None:
            try:
                Sheet.named(name)
            except InputError as error:
                yield tuple(key.split(".")), f"{key}: {error}"
    first: dict[str, int] = {}
    for number, item in enumerate(found.items):
        path = ("item", str(number))
        if item.id and first.setdefault(item.id, number) != number:
            yield (*path, "id"), f"id: an earlier item has the id {item.id!r}; ids must be unique"
        yield from ((path + key, words) for key, words in _doubtful_item(item))


def _doubtful_item(item: Item) -> Iterator[tuple[tuple[str, ...], str]]:
    from linewright.sources import methods
    from linewright.sources.pens import read_pens

    given = [key for key in ("source", "text", "text_file", "pattern") if getattr(item, key) is not None]
    if len(given) != 1:
        many = f"{' and '.join(given)} are given" if given else "there is none of source, text, text_file and pattern"
        yield (given[-1:] and (given[-1],)) or (), f"{many}; an item has exactly one of them"
        return
    for key, words in (("as", item.method), ("pattern", item.pattern)):
        if words is None:
            continue
        wanted = {"text": ("text", "sentence"), "text_file": ("text",), "pattern": ("seed",)}.get(
            given[0] if key == "as" else key, ()
        )
        try:
            takes = methods.method(words.partition(":")[0].strip(), wanted).takes
            methods.chosen(words)
        except InputError as error:
            yield (key,), f"{key}: {error}" + (f"; {error.hint}" if error.hint else "")
            continue
        if key == "as" and given[0] == "pattern":
            yield ("as",), "as: write a pattern's settings after its name, as in wheels:seed=3"
        elif (not wanted and takes in ("text", "seed")) or (wanted and takes not in wanted):
            what = {"text": "a text", "seed": "no source, it grows from a seed"}.get(takes, f"a {takes}")
            yield (key,), f"{key}: {words.partition(':')[0]} takes {what}"
    known: set[str] | None = None
    if item.pens is not None and not is_one(item.pens.strip()):
        try:
            known = {pen.name for pen in read_pens(item.pens)}
        except InputError as error:
            yield ("pens",), f"pens: {error}"
    if item.pen_for and (item.source is None or item.method is not None):
        yield ("pen_for",), "pen_for: it applies only to a drawing file whose lines are drawn as they are"
    elif item.pen_for and item.pens is None:
        yield ("pen_for",), "pen_for: it needs the item's pens; name them with pens"
    elif known is not None and (missing := [pen for _, pen in item.pen_for if pen not in known]):
        yield ("pen_for",), f"pen_for: there is no pen {missing[0]!r} among pens; there are {', '.join(sorted(known))}"


def _issue(one: ErrorDetails, raw: dict[str, Any], places: Places) -> tuple[int | None, str]:
    """One of pydantic's problems: its line, and a message in our words."""
    path = tuple(str(part) for part in one["loc"])
    # Parts that pydantic adds to a path for alternatives and functions are not in the file.
    path = tuple(part for part in path if "[" not in part and part not in ("Item", "Repeat", "Poster"))
    value: object = raw
    for part in path:
        value = value[int(part)] if isinstance(value, list) else value.get(part) if isinstance(value, dict) else None
    key = ".".join(part for part in path if not part.isdigit())
    words = (
        one["msg"]
        .removeprefix("Value error, ")
        .replace("Input should be", "it should be")
        .replace("a valid boolean", "true or false")
    )
    if one["type"] in ("unexpected_keyword_argument", "extra_forbidden"):
        known = [name for kind in (Arrangement, Item, Repeat, Poster) for name in _keys(kind)]
        near = get_close_matches(path[-1], known, n=1)
        words = "there is no such key" + (f"; did you mean {near[0]}?" if near else "")
    elif one["type"] in ("dataclass_type", "tuple_type", "dict_type"):
        words = "it should be " + ("[[item]], a list of tables" if path == ("item",) else "a table")
    elif "should" in words and isinstance(value, int | float | str) and "not" not in words:
        words = f"{_shown(value)}: {words}"
    return line_of(places, path), f"{key}: {words}"


def _shown(value: object) -> str:
    """A value as in the file, shortened."""
    words = str(value).lower() if isinstance(value, bool) else repr(value)
    return words if len(words) <= 40 else f"{words[:37]}..."


def _keys(kind: type) -> list[str]:
    """Keys of a table in the file."""
    return [{"method": "as", "items": "item"}.get(field.name, field.name) for field in fields(kind)]
