"""From a file to a `Program`: picture, sheet, tidy, motion, in this order, with what to know on the way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from linewright.errors import SheetError, SourceError
from linewright.sheet import Cut, Sheet, place, to_machine
from linewright.sources.svg import SvgPicture, read_svg
from linewright.tidy import tidy

if TYPE_CHECKING:
    from linewright.drawing import Drawing
    from linewright.program import Program
    from linewright.rig import Rig

JOB_SUFFIX: Final = ".lw"
"""Saved programs; everything else is a picture."""

CURVE_TOLERANCE_MM: Final = 0.02
"""How far a stroke strays from its curve; see `linewright.sources.svg`."""

INK_TOLERANCE_MM: Final = 0.05
"""How far tidying may move ink: a tenth of a common pen line, which is not seen (see `linewright.tidy.tidy`)."""


@dataclass(frozen=True)
class Placement:
    """Where a picture goes.

    Parameters
    ----------
    sheet : name or size; the rig's usual sheet when not given.
    landscape : how the sheet lies; ``None`` leaves it to the name and to what the rig can reach.
    margin_mm : kept clear all round; the rig's own when not given.
    fit : ``"fit"`` makes the picture as large as the margins allow, ``"keep"`` keeps its size.
    turn_deg : clockwise, a multiple of 90, or ``"auto"``.
    pen_by : what decides which pen draws a line.
    """

    sheet: str | None = None
    landscape: bool | None = None
    margin_mm: float | None = None
    fit: Literal["fit", "keep"] = "fit"
    turn_deg: int | Literal["auto"] = "auto"
    pen_by: Literal["colour", "layer"] = "colour"


@dataclass(frozen=True, eq=False)
class Job:
    """A program and everything the user should know before drawing it."""

    program: Program
    warnings: tuple[str, ...]


def read_picture(
    path: Path, *, tolerance_mm: float = CURVE_TOLERANCE_MM, pen_by: Literal["colour", "layer"] = "colour"
) -> SvgPicture:
    """The strokes of a picture file.

    Raises
    ------
    SourceError
        If there is no such file, or it is no picture that can be drawn.
    """
    if path.is_dir():
        raise SourceError("that is a folder", where=str(path), hint="name one SVG file in it")
    if not path.exists():
        raise SourceError("there is no such file", where=str(path), hint="check the name and the folder")
    return read_svg(path, tolerance_mm=tolerance_mm, pen_by=pen_by)


def tidied(drawing: Drawing, *, start_mm: tuple[float, float] = (0.0, 0.0)) -> Drawing:
    """Strokes joined, doubles dropped, needless vertices left out, in a good order."""
    return tidy(drawing, tolerance_mm=INK_TOLERANCE_MM, start_mm=start_mm)


def prepare(path: Path, rig: Rig, placement: Placement | None = None) -> Job:
    """Plan how a rig draws a picture file.

    Raises
    ------
    SourceError, SheetError, PlanError
        If the picture cannot be read, placed or drawn.
    """
    from linewright.motion.planner import plan

    placement = placement or Placement()
    picture = read_picture(path, pen_by=placement.pen_by)
    sheet = Sheet.on(rig, placement.sheet, landscape=placement.landscape, margin_mm=placement.margin_mm)
    placed = place(
        picture.drawing,
        (picture.width_mm, picture.height_mm),
        sheet,
        fit=placement.fit,
        turn_deg=placement.turn_deg,
    )
    reached = to_machine(placed, sheet, rig)
    if not len(reached):
        raise SheetError(
            f"nothing of the picture lies within the margins of the {sheet.name} sheet and the machine's reach",
            hint="take --fit or a smaller margin"
            if sheet.within(rig)
            else f"take a sheet that fits the reach of {rig.x.travel_mm:g} x {rig.y.travel_mm:g} mm",
        )
    drawing = tidied(reached, start_mm=rig.park.position_mm)
    program = plan(drawing, rig, sheet=sheet)
    warnings = (
        *picture.warnings,
        *_cut_words(placed.cut, "margin"),
        *_cut_words(
            reached.cut,
            "edge of the machine's reach",
            "" if sheet.within(rig) else f"; the {sheet.name} sheet does not lie within it",
        ),
        *rig.warnings(),
        *program.warnings,
    )
    return Job(program, warnings)


def load(path: Path, rig: Rig) -> Job:
    """A program saved earlier.

    Raises
    ------
    ProgramError
        If the file is damaged, or was planned for a rig that moves differently.
    """
    from linewright.program import Program

    program = Program.load(path)
    program.check_rig(rig)
    return Job(program, (*rig.warnings(), *program.warnings))


def is_job(path: Path) -> bool:
    """Whether a file is a saved program by its name."""
    return path.suffix.lower() == JOB_SUFFIX


def _cut_words(cut: Cut, where: str, why: str = "") -> tuple[str, ...]:
    if not cut:
        return ()
    parts = []
    if cut.strokes:
        parts.append(f"{cut.strokes} {'stroke was' if cut.strokes == 1 else 'strokes were'} cut at the {where}")
    if cut.lost:
        parts.append(f"{cut.lost} {'lies' if cut.lost == 1 else 'lie'} beyond the {where} and will not be drawn")
    return (f"{'; '.join(parts)} ({cut.length_mm:.0f} mm of ink in all){why}",)
