"""Options shared by several commands."""

from __future__ import annotations

import math
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

if TYPE_CHECKING:
    from linewright.planning.pipeline import Job
    from linewright.tasks.planning import PlanTask


AUTO: Final = "auto"
"""Turn the picture if it becomes larger that way."""

TURN_HIGH_DEG: Final = 3600.0


class PenBy(StrEnum):
    """How lines are assigned to pens."""

    COLOUR = "colour"
    LAYER = "layer"


class Effort(StrEnum):
    """Effort for an order of the strokes with little travel."""

    QUICK = "quick"
    NORMAL = "normal"
    BEST = "best"


# readable=False, because the readers of the files have better messages for unreadable ones.
Source = Annotated[
    str | None,
    typer.Argument(
        metavar="SOURCE",
        help="A drawing (SVG, PDF, DXF), a photograph or an arrangement; or use --text, --pattern or --sentence "
        "instead.",
    ),
]
Sources = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="SOURCE",
        help="Drawings (SVG, PDF, DXF), photographs or arrangements; or use --text, --pattern or --sentence instead.",
        show_default=False,
    ),
]
SourceOrJob = Annotated[
    str | None,
    typer.Argument(
        metavar="SOURCE",
        help="A drawing (SVG, PDF, DXF), a photograph, an arrangement, or a program saved by `plan -o`; or use "
        "--text, --pattern or --sentence instead.",
        show_default=False,
    ),
]
Method = Annotated[
    str | None,
    typer.Option(
        "--as",
        metavar="METHOD[:SETTING=VALUE,...]",
        help="The method that makes lines, such as hatching:angle_deg=30; `linewright methods` lists all methods.",
        show_default=False,
    ),
]
Text = Annotated[
    str | None,
    typer.Option(
        "--text",
        metavar="WORDS",
        help="Write this text; --as lettering:face=running,size_mm=12 sets typeface and size. `linewright methods "
        "lettering` lists all settings.",
        show_default=False,
    ),
]
TextFile = Annotated[
    str | None,
    typer.Option(
        "--text-file",
        metavar="FILE",
        help="Write the text of this file, with its line breaks; - reads the standard input.",
        show_default=False,
    ),
]
Pattern = Annotated[
    str | None,
    typer.Option(
        "--pattern",
        metavar="NAME[:SETTING=VALUE,...]",
        help="A generated pattern, such as wheels:seed=3; `linewright methods` lists all patterns.",
        show_default=False,
    ),
]
Sentence = Annotated[
    str | None,
    typer.Option(
        "--sentence",
        metavar="WORDS",
        help="Draw this sentence (see `linewright words`); with a picture maker set up, its picture is used. random "
        "picks a sentence.",
        show_default=False,
    ),
]
MakerFile = Annotated[
    Path | None,
    typer.Option(
        "--maker",
        metavar="FILE",
        help="The picture maker's file; default: maker.toml in your config folder.",
        readable=False,
        show_default=False,
    ),
]
Anew = Annotated[
    bool, typer.Option("--anew", help="Ask the picture maker again, even if a picture of these words is saved.")
]
Pens = Annotated[
    str | None,
    typer.Option(
        "--pens",
        metavar="PENS",
        help='Pens to separate a photograph\'s colours to, such as "black, sea #1f6f8b 0.3", or a .toml file of them.',
        show_default=False,
    ),
]
SeeThrough = Annotated[bool, typer.Option("--see-through", help="Draw hidden and white parts, too.")]
Layers = Annotated[
    str | None,
    typer.Option(
        "--layers",
        metavar="NAMES",
        help="Only these layers of a drawing file, also hidden ones, by name or number, separated by commas.",
        show_default=False,
    ),
]
Page = Annotated[int, typer.Option("--page", metavar="NUMBER", min=1, help="Page of a file with several pages.")]
FontOption = Annotated[
    str | None,
    typer.Option(
        "--font",
        metavar="outlines|FONT",
        help="Draw text as outlines: outlines takes the fonts that the drawing file names; else this font file, "
        "folder or system font family. Without it: single-line letters.",
        show_default=False,
    ),
]
Within = Annotated[
    str | None,
    typer.Option(
        "--within",
        metavar="TIME",
        help="Choose the settings that give the best drawing of a photograph within this drawing time, such as 20min "
        "or 1h30min.",
        show_default=False,
    ),
]
Ink = Annotated[
    str | None,
    typer.Option(
        "--ink",
        metavar="LENGTH",
        help="Choose the settings that give the best drawing of a photograph with this total length of lines, such "
        "as 30m.",
        show_default=False,
    ),
]
RigFile = Annotated[
    Path | None,
    typer.Option(
        "--rig",
        "-r",
        metavar="FILE",
        help="Your rig file; if not given, the usual one (`linewright rig use`). The word default means the built-in "
        "rig.",
        readable=False,
    ),
]
Port = Annotated[
    str | None,
    typer.Option(
        "--port",
        metavar="PORT",
        help="Port of the machine: serial:PATH (such as serial:/dev/ttyACM0), socket:HOST:PORT or virtual, which "
        "takes options: virtual:backlash_x_mm=0.2,interpreter=micropython. If not given: the port where this machine "
        "last answered; for a "
        'rig file with board = "virtual", the virtual rig.',
        show_default=False,
    ),
]
SheetName = Annotated[
    str | None,
    typer.Option(
        "--sheet",
        "-s",
        metavar="SIZE",
        help="A0..A6, letter, legal, or a size such as 210x297mm; default: the rig's sheet.",
    ),
]
Landscape = Annotated[
    bool | None,
    typer.Option("--landscape/--portrait", help="Orientation of the sheet; if not given, the one that fits the rig."),
]
Margin = Annotated[
    float | None,
    typer.Option("--margin", "-m", metavar="MM", help="Margin on all sides; default: that of the rig file."),
]
Fit = Annotated[
    bool,
    typer.Option(
        "--fit/--keep", help="Scale the picture to the largest size that sheet and machine allow, or keep its size."
    ),
]
TurnOption = Annotated[
    str,
    typer.Option(
        "--turn",
        metavar="auto|DEG",
        help="Turn the picture clockwise, by any angle; auto turns it by 90 degrees if it then fits better.",
    ),
]
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        metavar="X,Y",
        help="Position of its top left corner, in mm from the sheet's top left corner; default: centred.",
        show_default=False,
    ),
]
Size = Annotated[
    float | None,
    typer.Option(
        "--size",
        metavar="MM",
        help="Width before rotation; default: as large as the room allows.",
        show_default=False,
    ),
]
Mirror = Annotated[bool, typer.Option("--mirror", help="Mirror it left to right.")]
PenByOption = Annotated[
    PenBy, typer.Option("--pen-by", metavar="colour|layer", help="One pen for each colour, or for each layer.")
]
Frame = Annotated[bool, typer.Option("--frame", help="Draw a frame along the margins; the picture lies within it.")]
Caption = Annotated[
    str,
    typer.Option("--caption", metavar="WORDS", help="Write this below the picture.", show_default=False),
]
Signature = Annotated[
    str,
    typer.Option(
        "--signature",
        metavar="WORDS|FILE.svg",
        help="Signature at the lower right: a name, written in running letters, or an SVG file whose lines are drawn.",
        show_default=False,
    ),
]
RedrawMm = Annotated[
    float | None,
    typer.Option(
        "--redraw",
        metavar="MM",
        min=0.0,
        max=10_000.0,
        help="Longest distance along existing lines that the pen may draw a second time to save a pen lift; useful "
        "for hatchings and nets. 0: never. Default: ten pen widths, straight over ink.",
        show_default=False,
    ),
]
EffortOption = Annotated[
    Effort,
    typer.Option(
        "--effort", metavar="quick|normal|best", help="Effort of the search for the stroke order with the least travel."
    ),
]
Pictures = Annotated[
    Path | None, typer.Option("--pictures", "-p", metavar="FOLDER", help="Write the preview pictures there.")
]
SpeedMap = Annotated[
    bool, typer.Option("--speed-map", help="Also write a picture that shows the speed of the pen along the lines.")
]
AskPens = Annotated[
    bool | None,
    typer.Option(
        "--ask-pens/--same-pen",
        help="Stop before each pen and wait for Enter, or draw everything with the mounted pen. Default: ask, on a "
        "real machine with a terminal.",
        show_default=False,
    ),
]
Only = Annotated[
    str | None,
    typer.Option("--only", metavar="pen=NAME", help="Draw only the strokes of this pen.", show_default=False),
]
FromStroke = Annotated[
    int | None,
    typer.Option("--from-stroke", metavar="N", min=1, help="Begin at this stroke; earlier strokes are skipped."),
]
Speed = Annotated[
    float | None,
    typer.Option(
        "--speed", metavar="PER_CENT", min=10.0, max=100.0, help="Speed in per cent of the planned speed, 10 to 100."
    ),
]
Outline = Annotated[
    bool, typer.Option("--outline", help="Before drawing, move the raised pen around the bounding box of the drawing.")
]
CheckDrift = Annotated[
    str | None,
    typer.Option(
        "--check-drift",
        metavar="WHEN",
        help="Home again to check for lost steps: start, pens, end (separated by commas), or none; default: that of "
        "the rig file.",
        show_default=False,
    ),
]
DriftLimit = Annotated[
    float | None,
    typer.Option(
        "--drift-limit", metavar="MM", help="Stop if an axis has drifted more than this; default: that of the rig file."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print only one JSON object.")]


def pair(words: str, option: str) -> tuple[float, float]:
    """Two lengths separated by a comma.

    Raises
    ------
    InputError
        The text is not two numbers.
    """
    from linewright.errors import InputError
    from linewright.planning.arrangement import PLACE_HIGH_MM

    try:
        x, y = (float(word.strip().removesuffix("mm")) for word in words.split(","))
    except ValueError:
        x = y = math.nan
    if not max(abs(x), abs(y)) <= PLACE_HIGH_MM:
        hint = f"such as {option} 20,30; write {option}=-20,30 if the first number is negative"
        raise InputError(f"{option} {words} is not two lengths in mm with a comma between", hint=hint)
    return x, y


def job(task: PlanTask, *, as_json: bool) -> Job:
    """A saved program, or a picture planned with the options; shows a progress bar if that takes long."""
    from linewright.cli.terminal import Terminal
    from linewright.tasks import planning

    with Terminal(as_json=as_json) as front:
        return planning.plan(task, front)
