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
        help="A drawing (SVG, PDF, DXF), a photograph or an arrangement; or else one of --text, --pattern and "
        "--sentence.",
    ),
]
Sources = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="SOURCE",
        help="Drawings (SVG, PDF, DXF), photographs or arrangements; or else one of --text, --pattern and --sentence.",
        show_default=False,
    ),
]
SourceOrJob = Annotated[
    str | None,
    typer.Argument(
        metavar="SOURCE",
        help="A drawing (SVG, PDF, DXF), a photograph, an arrangement, or a program kept by `plan -o`; or else one of "
        "--text, --pattern and --sentence.",
        show_default=False,
    ),
]
Method = Annotated[
    str | None,
    typer.Option(
        "--as",
        metavar="METHOD[:SETTING=VALUE,...]",
        help="How lines are made of it, such as hatching:angle_deg=30; `linewright methods` lists what there is.",
        show_default=False,
    ),
]
Text = Annotated[
    str | None,
    typer.Option(
        "--text",
        metavar="WORDS",
        help="Write this; --as lettering:face=running,size_mm=12 says how. `linewright methods lettering` lists more.",
        show_default=False,
    ),
]
TextFile = Annotated[
    str | None,
    typer.Option(
        "--text-file",
        metavar="FILE",
        help="Write what this file says, its lines as they are; - reads the standard input.",
        show_default=False,
    ),
]
Pattern = Annotated[
    str | None,
    typer.Option(
        "--pattern",
        metavar="NAME[:SETTING=VALUE,...]",
        help="A pattern that grows from a seed, such as wheels:seed=3; `linewright methods` lists them.",
        show_default=False,
    ),
]
Sentence = Annotated[
    str | None,
    typer.Option(
        "--sentence",
        metavar="WORDS",
        help="A drawing of this sentence (see `linewright words`), or by the maker you have set up; random finds one.",
        show_default=False,
    ),
]
MakerFile = Annotated[
    Path | None,
    typer.Option(
        "--maker",
        metavar="FILE",
        help="The picture maker's file; maker.toml in your config folder where none is given.",
        readable=False,
        show_default=False,
    ),
]
Anew = Annotated[
    bool, typer.Option("--anew", help="Ask the picture maker again, even if its picture of these words is kept.")
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
        help="Only these layers of a drawing file, by name or number, with commas; hidden ones included.",
        show_default=False,
    ),
]
Page = Annotated[int, typer.Option("--page", metavar="NUMBER", min=1, help="Which page of a file of several.")]
FontOption = Annotated[
    str | None,
    typer.Option(
        "--font",
        metavar="outlines|FONT",
        help="Write words as outlines: those of a drawing file in its own fonts, or all in this font file, folder or "
        "family of the system; single-line letters where not given.",
        show_default=False,
    ),
]
Within = Annotated[
    str | None,
    typer.Option(
        "--within",
        metavar="TIME",
        help="The best drawing of a photograph that the rig makes in this time, such as 20min or 1h30min.",
        show_default=False,
    ),
]
Ink = Annotated[
    str | None,
    typer.Option(
        "--ink",
        metavar="LENGTH",
        help="The best drawing of a photograph with lines of this length in all, such as 30m.",
        show_default=False,
    ),
]
RigFile = Annotated[
    Path | None,
    typer.Option(
        "--rig",
        "-r",
        metavar="FILE",
        help="Your rig file; the usual one (`linewright rig use`) if not given. default: the rig without a file.",
        readable=False,
    ),
]
Port = Annotated[
    str | None,
    typer.Option(
        "--port",
        metavar="PORT",
        help="Where the machine is: serial:PATH (such as serial:/dev/ttyACM0), socket:HOST:PORT or virtual, which "
        "takes options: virtual:backlash_x_mm=0.2,interpreter=micropython. Not given: where it was last met; a "
        'rig file with board = "virtual" is at the virtual rig.',
        show_default=False,
    ),
]
SheetName = Annotated[
    str | None,
    typer.Option(
        "--sheet",
        "-s",
        metavar="SIZE",
        help="A0..A6, letter, legal, or a size such as 210x297mm; the rig's own where none is given.",
    ),
]
Landscape = Annotated[
    bool | None,
    typer.Option("--landscape/--portrait", help="How the sheet lies; the way that fits the rig where not given."),
]
Margin = Annotated[
    float | None, typer.Option("--margin", "-m", metavar="MM", help="Kept clear all round; the rig's own by default.")
]
Fit = Annotated[
    bool, typer.Option("--fit/--keep", help="Make the picture as large as sheet and machine allow, or keep its size.")
]
TurnOption = Annotated[
    str,
    typer.Option(
        "--turn",
        metavar="auto|DEG",
        help="Turn the picture clockwise, by any angle; auto turns it by a quarter where it then fits better.",
    ),
]
At = Annotated[
    str | None,
    typer.Option(
        "--at",
        metavar="X,Y",
        help="Where its top left corner lies, in mm from that of the sheet; in the middle where not given.",
        show_default=False,
    ),
]
Size = Annotated[
    float | None,
    typer.Option(
        "--size",
        metavar="MM",
        help="Its own width, before it is turned; as large as there is room where not given.",
        show_default=False,
    ),
]
Mirror = Annotated[bool, typer.Option("--mirror", help="Swap its left and right.")]
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
        help="Sign at the lower right, in running letters or by the lines of an SVG file.",
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
        help="Longest way along lines that may be drawn twice to save a lift of the pen; good for hatchings and nets. "
        "0: nothing twice. Not given: ten widths of the pen, straight over ink.",
        show_default=False,
    ),
]
EffortOption = Annotated[
    Effort,
    typer.Option(
        "--effort", metavar="quick|normal|best", help="How long to look for the order of strokes with the least travel."
    ),
]
Pictures = Annotated[
    Path | None, typer.Option("--pictures", "-p", metavar="FOLDER", help="Write the preview pictures there.")
]
SpeedMap = Annotated[bool, typer.Option("--speed-map", help="Also a picture that shows how fast the pen is where.")]
AskPens = Annotated[
    bool | None,
    typer.Option(
        "--ask-pens/--same-pen",
        help="Stop before each pen and wait for Enter, or draw everything with the pen that is in. "
        "On a real machine with a terminal it asks.",
        show_default=False,
    ),
]
Only = Annotated[
    str | None,
    typer.Option("--only", metavar="pen=NAME", help="Draw only what this pen draws.", show_default=False),
]
FromStroke = Annotated[
    int | None,
    typer.Option("--from-stroke", metavar="N", min=1, help="Begin at this stroke; those before it are left out."),
]
Speed = Annotated[
    float | None,
    typer.Option(
        "--speed", metavar="PER_CENT", min=10.0, max=100.0, help="Draw at this share of the planned speed, 10 to 100."
    ),
]
Outline = Annotated[
    bool, typer.Option("--outline", help="Let the pen, raised, go round the drawing's box before it draws.")
]
CheckDrift = Annotated[
    str | None,
    typer.Option(
        "--check-drift",
        metavar="WHEN",
        help="Home again to see whether steps were lost: start, pens, end with commas, or none; as the rig file says "
        "where not given.",
        show_default=False,
    ),
]
DriftLimit = Annotated[
    float | None,
    typer.Option("--drift-limit", metavar="MM", help="Stop beyond this drift of an axis; the rig's own by default."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


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
        hint = f"such as {option} 20,30; a minus at the beginning is written {option}=-20,30"
        raise InputError(f"{option} {words} is not two lengths in mm with a comma between", hint=hint)
    return x, y


def job(task: PlanTask, *, as_json: bool) -> Job:
    """A saved program, or a picture planned with the options; shows a progress bar if that takes long."""
    from linewright.cli.terminal import Terminal
    from linewright.tasks import planning

    with Terminal(as_json=as_json) as front:
        return planning.plan(task, front)
