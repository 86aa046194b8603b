"""``linewright arrange``: edit the items on a sheet, stored in a file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from linewright.cli import options, output, target
from linewright.cli.commands import Commands
from linewright.cli.expanded import expanded
from linewright.files import is_there

if TYPE_CHECKING:
    from linewright.planning.arrangement import Arrangement, Item

app = Commands(
    help="Arrange several items on one sheet and save the arrangement in a file.",
    epilog="The file is TOML; docs/ARRANGEMENTS.md describes it. Draw it: `linewright draw FILE.toml`.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

File = Annotated[Path, typer.Argument(metavar="FILE.toml", help="The arrangement.", readable=False, show_default=False)]
Id = Annotated[str, typer.Argument(metavar="ID", help="The item's id, as `linewright arrange list` shows it.")]
At = options.At
Width = options.Size
Height = Annotated[
    float | None,
    typer.Option(
        "--height", metavar="MM", help="Height before rotation; together with --size: a box to fit the item into."
    ),
]
Align = Annotated[
    str | None,
    typer.Option(
        "--align",
        metavar="WHERE",
        help="The point of the item that lies at --at, such as centre or bottom-right; without --at, its place on "
        "the sheet.",
        show_default=False,
    ),
]
Turn = Annotated[
    float | None,
    typer.Option("--turn", metavar="DEG", help="Turn the item clockwise, by any angle.", show_default=False),
]
Mirror = Annotated[
    bool | None, typer.Option("--mirror/--no-mirror", help="Mirror the item left to right.", show_default=False)
]
Copies = Annotated[
    str | None,
    typer.Option(
        "--copies", metavar="COLUMNSxROWS", help="Repeat the item, such as 3x2; 1x1 draws it once.", show_default=False
    ),
]
Gap = Annotated[
    str | None,
    typer.Option("--gap", metavar="MM[,MM]", help="Gaps between copies, across and down.", show_default=False),
]
Fit = Annotated[
    bool | None,
    typer.Option(
        "--fit/--keep", help="As large as the room allows, or at the size that its file states.", show_default=False
    ),
]
PenBy = Annotated[
    options.PenBy | None,
    typer.Option(
        "--pen-by", metavar="colour|layer", help="One pen for each colour, or each layer.", show_default=False
    ),
]


PenFor = Annotated[
    str | None,
    typer.Option(
        "--pen-for",
        metavar="COLOUR=PEN,...",
        help="Pen of --pens for each colour of a drawing file, or with --pen-by layer for each layer; '' clears the "
        "list.",
        show_default=False,
    ),
]
OfPage = Annotated[
    int | None, typer.Option("--page", metavar="NUMBER", min=1, help="Page of the item's file.", show_default=False)
]
Hides = Annotated[
    bool | None,
    typer.Option("--hide/--see-through", help="Whether the item's areas hide the items below it.", show_default=False),
]


@dataclass(frozen=True, kw_only=True)
class ItemOptions:
    """Position of an item and how it is drawn; options that are not given leave it unchanged."""

    at: At = None
    width_mm: Width = None
    height_mm: Height = None
    align: Align = None
    turn_deg: Turn = None
    mirror: Mirror = None
    fit: Fit = None
    copies: Copies = None
    gap: Gap = None
    method: options.Method = None
    pens: options.Pens = None
    pen_by: PenBy = None
    pen_for: PenFor = None
    page: OfPage = None
    layers: options.Layers = None
    hides: Hides = None

    def applied(self, item: Item) -> Item:
        """The item with these options applied."""
        changes: dict[str, Any] = {
            "align": self.align,
            "turn_deg": self.turn_deg,
            "mirror": self.mirror,
            "method": self.method,
            "pens": self.pens,
            "page": self.page,
            "hides": self.hides,
            "at_mm": None if self.at is None else options.pair(self.at, "--at"),
            "fit": None if self.fit is None else ("fit" if self.fit else "keep"),
            "pen_by": None if self.pen_by is None else self.pen_by.value,
        }
        if self.pen_for is not None:
            changes["pen_for"] = _pen_for(self.pen_for)
        if self.layers is not None:
            changes["layers"] = tuple(name.strip() for name in self.layers.split(",") if name.strip())
        changes = {key: value for key, value in changes.items() if value is not None}
        # A size of 0 removes it, and a single copy is no repetition.
        for key, size_mm in (("width_mm", self.width_mm), ("height_mm", self.height_mm)):
            if size_mm is not None:
                changes[key] = size_mm or None
        if self.copies is not None or self.gap is not None:
            changes["repeat"] = _repeat(item, self.copies, self.gap)
        return replace(item, **changes)


@dataclass(frozen=True, kw_only=True)
class AddOptions:
    """Options of ``arrange add``."""

    file: File
    source: Annotated[
        str | None,
        typer.Argument(metavar="SOURCE", help="A picture; or else one of --text and --pattern.", show_default=False),
    ] = None
    text: options.Text = None
    text_file: Annotated[
        str | None, typer.Option("--text-file", metavar="FILE", help="Write the text of a file.", show_default=False)
    ] = None
    sentence: Annotated[
        str | None, typer.Option("--sentence", metavar="WORDS", help="Draw this sentence.", show_default=False)
    ] = None
    pattern: options.Pattern = None
    name: Annotated[
        str | None, typer.Option("--id", metavar="ID", help="Name of the item; derived from its source if not given.")
    ] = None
    how: ItemOptions
    sheet: options.SheetName = None
    margin_mm: options.Margin = None
    as_json: options.AsJson = False


@app.command("add")
@expanded
def add(given: AddOptions) -> None:
    """Put something on the sheet; the file is created if there is none."""
    from linewright.errors import InputError
    from linewright.planning import arrangement_file
    from linewright.planning.arrangement import Arrangement, Item

    file = given.file
    if sum(one is not None for one in (given.source, given.text, given.text_file, given.sentence, given.pattern)) != 1:
        hint = "name one of them"
        raise InputError("an item is one of SOURCE, --text, --text-file, --sentence and --pattern", hint=hint)
    before = arrangement_file.load(file) if is_there(file) else Arrangement()
    item = Item(
        given.name or "",
        source=None if given.source is None else _from_folder(given.source, file),
        text=given.text if given.sentence is None else given.sentence,
        text_file=None if given.text_file is None else _from_folder(given.text_file, file),
        pattern=given.pattern,
        method=None if given.sentence is None else "words",
    )
    after = _on_sheet(before.added(given.how.applied(item)), given.sheet, given.margin_mm)
    arrangement_file.save(file, after)
    _say(file, after, after.items[-1], "lies on the sheet", as_json=given.as_json)


@dataclass(frozen=True, kw_only=True)
class MoveOptions:
    """Options of ``arrange move``."""

    file: File
    name: Id
    by: Annotated[
        str | None,
        typer.Option(
            "--by", metavar="X,Y", help="Move the item by this, mm to the right and down.", show_default=False
        ),
    ] = None
    how: ItemOptions
    as_json: options.AsJson = False


@app.command("move")
@expanded
def move(given: MoveOptions) -> None:
    """Change where an item lies, and how it is drawn. Options that are not given leave it unchanged; --size 0 removes a
    size.
    """
    from linewright.errors import InputError
    from linewright.planning import arrangement_file

    before = arrangement_file.load(given.file)
    item = before.item(given.name)
    if given.by is not None:
        if given.how.at is not None:
            raise InputError("--at and --by both move the item", hint="give one of them")
        if item.at_mm is None:
            raise InputError(f"item {given.name} has no position yet, so --by cannot move it", hint="give --at X,Y")
        x, y = options.pair(given.by, "--by")
        item = replace(item, at_mm=(item.at_mm[0] + x, item.at_mm[1] + y))
    item = given.how.applied(item)
    after = before.changed(item)
    arrangement_file.save(given.file, after)
    _say(given.file, after, item, "is as it was" if after == before else "is changed", as_json=given.as_json)


@app.command("remove")
def remove(file: File, name: Id, as_json: options.AsJson = False) -> None:
    """Take an item off the sheet."""
    from linewright.planning import arrangement_file

    before = arrangement_file.load(file)
    after = before.without(name)
    arrangement_file.save(file, after)
    _say(file, after, before.item(name), "is taken off", as_json=as_json)


@app.command("list")
def show(
    file: File,
    rig_file: options.RigFile = None,
    as_json: options.AsJson = False,
) -> None:
    """Show what lies on the sheet, and where."""
    from rich.table import Table

    from linewright.planning import arrangement_file
    from linewright.rig.sheet_place import sheet_on

    found = arrangement_file.load(file)
    sheet = sheet_on(target.of_rig(rig_file, said=not as_json).rig, found.sheet, margin_mm=found.margin_mm)
    if as_json:
        facts = {"sheet": sheet.name, "sheet_mm": [sheet.width_mm, sheet.height_mm], "margin_mm": sheet.margin_mm}
        output.emit_json({"file": str(file), **facts, "items": [_facts(item) for item in found.items]})
        return
    output.say(f"{sheet.name}, {sheet.width_mm:g} x {sheet.height_mm:g} mm, margins {sheet.margin_mm:g} mm")
    table = Table("id", "what", "place", "size", "turn", "copies", "how", box=None, pad_edge=False)
    for item in found.items:
        table.add_row(item.id, item.what, *_words(item))
    output.console().print(table)


def _pen_for(words: str) -> tuple[tuple[str, str], ...]:
    from linewright.errors import InputError

    pairs = [tuple(part.strip() for part in pair.rpartition("=")[::2]) for pair in words.split(",") if pair.strip()]
    if not all(ink and pen for ink, pen in pairs):
        raise InputError(f"--pen-for {words!r} is not COLOUR=PEN,...", hint='such as --pen-for "#1f6f8b=sea,red=black"')
    return tuple((ink, pen) for ink, pen in pairs)


def _repeat(item: Item, copies: str | None, gap: str | None) -> Any:
    from linewright.errors import InputError
    from linewright.planning.arrangement import Repeat

    repeat = item.repeat or Repeat()
    if copies is not None:
        columns, _, rows = copies.lower().partition("x")
        if not (columns.isdecimal() and rows.isdecimal()):
            raise InputError(f"--copies {copies} is not COLUMNSxROWS", hint="such as --copies 3x2")
        repeat = replace(repeat, columns=int(columns), rows=int(rows))
    if gap is not None:
        repeat = replace(repeat, gap_mm=options.pair(gap if "," in gap else f"{gap},{gap}", "--gap"))
    return None if (repeat.columns, repeat.rows) == (1, 1) else repeat


def _on_sheet(arrangement: Arrangement, sheet: str | None, margin_mm: float | None) -> Arrangement:
    return replace(
        arrangement,
        sheet=arrangement.sheet if sheet is None else sheet,
        margin_mm=arrangement.margin_mm if margin_mm is None else margin_mm,
    )


def _from_folder(source: str, file: Path) -> str:
    """A picture's name as stored in the file: relative to the file's folder if it is below it."""
    from linewright.sources.source_file import source_file

    path = Path(source)
    with source_file(path):
        pass  # it exists and is readable
    whole, folder = path.resolve(), file.resolve().parent
    if whole.is_relative_to(folder):
        return whole.relative_to(folder).as_posix()
    return source if path.is_absolute() else str(whole)


def _say(file: Path, arrangement: Arrangement, item: Item, done: str, *, as_json: bool) -> None:
    if as_json:
        output.emit_json({"file": str(file), "item": _facts(item), "items": len(arrangement.items)})
        return
    output.say(f"{item.id} {done}: {item.what}, {', '.join(word for word in _words(item) if word)}")
    output.say(f"{file}: see it with `linewright plan {file}`")


def _words(item: Item) -> tuple[str, str, str, str, str]:
    """Position, size, turn, copies and method of an item in words."""
    align = item.align or ("centre" if item.at_mm is None else "")
    if item.at_mm is not None:
        place = f"at {item.at_mm[0]:g}, {item.at_mm[1]:g} mm" + (f" ({align})" if align else "")
    else:
        place = align
    width = "" if item.width_mm is None else f"{item.width_mm:g} mm wide"
    height = "" if item.height_mm is None else f"{item.height_mm:g} mm high"
    size = ", ".join(filter(None, (width, height))) or ("as large as fits" if item.fit == "fit" else "as stated")
    turn = (f"{item.turn_deg:g} deg" if item.turn_deg else "") + (" mirrored" if item.mirror else "")
    copies = "" if item.repeat is None else f"{item.repeat.columns} x {item.repeat.rows} copies"
    return place, size, turn.strip(), copies, item.method or ""


def _facts(item: Item) -> dict[str, object]:
    from dataclasses import asdict

    return {key: value for key, value in asdict(item).items() if value is not None}
