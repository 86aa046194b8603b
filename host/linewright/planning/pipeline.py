"""From a file to a `Program`: picture, sheet, tidy, motion, in this order, with what to know on the way."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from linewright import wording
from linewright.drawing.crop import Cut
from linewright.errors import InputError, SheetError, SourceError
from linewright.planning import arrangement_file
from linewright.planning.arrangement import Arrangement, Item, Poster, is_one
from linewright.planning.budget import Budget, fitted
from linewright.planning.composing import Composed, Read, composed
from linewright.planning.placement import place, to_machine
from linewright.planning.poster import Piece, pieces
from linewright.planning.text_file import text_of
from linewright.program import file as program_file
from linewright.rig.doubts import doubts
from linewright.rig.sheet_place import largest_named, lies_within, room_on, sheet_on
from linewright.sheet.sizes import HIGH_MM as SIDE_HIGH_MM
from linewright.sheet.sizes import Sheet
from linewright.sources import Picture, Wish
from linewright.sources.drawing_files import read_drawing
from linewright.sources.picture import USUAL_WORDS, Report, Words
from linewright.tidy import Tidiness, Tidying, Watcher, tidy

if TYPE_CHECKING:
    from linewright.drawing.strokes import Drawing, Pen
    from linewright.program.program import Program
    from linewright.rig.rig import Rig

JOB_SUFFIX: Final = ".lw"
"""Saved programs; everything else is a picture."""

CURVE_TOLERANCE_MM: Final = 0.02
"""How far a stroke strays from its curve; see `linewright.sources.painting`."""


@dataclass(frozen=True)
class Placement:
    """Where a picture goes.

    Parameters
    ----------
    sheet : name or size; the rig's usual sheet when not given.
    landscape : how the sheet lies; ``None`` leaves it to the name and to what the rig can reach.
    margin_mm : kept clear all round; the rig's own when not given.
    fit : ``"fit"`` makes the picture as large as the margins and the machine's reach allow, ``"keep"`` keeps its size.
    turn_deg : clockwise, or ``"auto"``: by a quarter where the picture then becomes larger.
    pen_by : what decides which pen draws a line.
    at_mm : where the top left corner of the upright box around it lies on the sheet; None: in the middle.
    width_mm : its own, before it is turned; None: as ``fit`` says.
    mirror : left and right are swapped.
    """

    sheet: str | None = None
    landscape: bool | None = None
    margin_mm: float | None = None
    fit: Literal["fit", "keep"] = "fit"
    turn_deg: float | Literal["auto"] = "auto"
    pen_by: Literal["colour", "layer"] = "colour"
    at_mm: tuple[float, float] | None = None
    width_mm: float | None = None
    mirror: bool = False

    @property
    def quarters(self) -> int | Literal["auto"]:
        """The turn of a picture that fills its sheet."""
        return "auto" if self.turn_deg == "auto" else round(self.turn_deg)

    @property
    def is_free(self) -> bool:
        """Whether it says more than how to fill the sheet."""
        turned = self.turn_deg != "auto" and self.turn_deg % 90 != 0
        return self.at_mm is not None or self.width_mm is not None or self.mirror or turned


@dataclass(frozen=True)
class Lines:
    """How strokes are made of the source.

    Parameters
    ----------
    method : ``NAME`` or ``NAME:SETTING=VALUE,...`` of the table in `sources.methods`; None: an SVG's own lines, and for
        a photograph what suits it.
    pens : the pens to separate colours to; none: one pen.
    tolerance_mm : how far a stroke strays from its curve.
    see_through, layers, page, words : of drawing files; see `Wish`.
    budget : what a drawing of a photograph may cost; None: whatever it costs.
    """

    method: str | None = None
    pens: tuple[Pen, ...] = ()
    tolerance_mm: float = CURVE_TOLERANCE_MM
    see_through: bool = False
    layers: tuple[str, ...] = ()
    page: int = 1
    words: Words = USUAL_WORDS
    budget: Budget | None = None


@dataclass(frozen=True, eq=False)
class Job:
    """A program and everything the user should know before drawing it."""

    program: Program
    warnings: tuple[str, ...]


def read_picture(source: str, lines: Lines, wish: Wish) -> Picture:
    """The strokes of a source.

    Parameters
    ----------
    source : as the user typed it: for most methods a file.
    wish : the room it will get on the sheet, and the pen.

    Raises
    ------
    SourceError
        If there is no such file, or it is no picture that can be drawn.
    InputError
        If there is no such method, or a setting of it is wrong.
    """
    from linewright.sources import methods, photograph

    wish = replace(
        wish,
        tolerance_mm=lines.tolerance_mm,
        pens=lines.pens,
        see_through=lines.see_through,
        layers=lines.layers,
        page=lines.page,
        words=lines.words,
    )
    if lines.method is not None:
        if methods.makes_its_own(lines.method):
            return _made(lines.method, source, wish)
        return methods.chosen(lines.method).read(source, wish)
    path = Path(source)
    if path.is_dir():
        raise SourceError("that is a folder", where=source, hint="name one picture in it")
    if not path.exists():
        raise SourceError("there is no such file", where=source, hint="check the name and the folder")
    if photograph.looks_like_one(path):
        return methods.chosen(methods.FOR_PHOTOGRAPHS).read(source, wish)
    return _in_known_pens(read_drawing(source, wish), lines.pens)


def _in_known_pens(picture: Picture, known: tuple[Pen, ...]) -> Picture:
    """The picture with the pens that it names, or whose colours it has, as the user has them."""
    drawing = picture.drawing
    by_word = {word: pen for pen in reversed(known) for word in (pen.name.lower(), pen.colour)}
    pens = tuple(by_word.get(pen.name.lower()) or by_word.get(pen.colour) or pen for pen in drawing.pens)
    if pens == drawing.pens:
        return picture
    return replace(picture, drawing=replace(drawing, pens=pens))


def _made(method: str, source: str, wish: Wish) -> Picture:
    """Letters and patterns, which fill the room before it is turned, in the first of the pens and at its width."""
    from linewright.sources import methods

    if wish.turn_deg != "auto" and wish.turn_deg % 180:
        wish = replace(wish, room_mm=wish.room_mm[::-1])
    if wish.pens and wish.pens[0].width_mm is not None:
        wish = replace(wish, pen_width_mm=wish.pens[0].width_mm)
    picture = methods.chosen(method).read(source, wish)
    if len(wish.pens) < 2:
        return picture
    note = f"it takes one pen, {wish.pens[0].name}; the other {len(wish.pens) - 1} of --pens draw nothing"
    return replace(picture, warnings=(*picture.warnings, note))


def wish_for(rig: Rig, sheet: Sheet, placement: Placement, report: Report | None = None) -> Wish:
    """The room that a picture gets on its sheet, as far as the rig reaches, and the rig's pen."""
    x0, y0, x1, y1 = room_on(sheet, rig)
    wish = Wish((x1 - x0, y1 - y0), placement.quarters, rig.pen.width_mm, pen_by=placement.pen_by, fit=placement.fit)
    return wish if report is None else replace(wish, report=report)


def prepare(
    source: str | Path,
    rig: Rig,
    placement: Placement | None = None,
    lines: Lines | None = None,
    *,
    tidiness: Tidiness | None = None,
    report: Report | None = None,
    enough: Callable[[], bool] | None = None,
) -> Job:
    """Plan how a rig draws a source.

    Parameters
    ----------
    source : as the user typed it: for most methods a file.
    placement, lines : where it goes, and how strokes are made of it.
    tidiness : how much to do for fewer lifts and less travel.
    report : told what is being done and how much of it is done, 0 to 1.
    enough : asked now and then whether to stop looking for a better order.

    Raises
    ------
    SourceError, SheetError, PlanError
        If the picture cannot be read, placed or drawn.
    """
    placement, lines = placement or Placement(), lines or Lines()
    found = arranged(str(source), placement, lines)
    if found is not None:
        if lines.budget is not None:
            raise InputError("a time or a length of line is for one photograph", hint="leave --within and --ink out")
        return prepare_arrangement(found, rig, lines, tidiness=tidiness, report=report, enough=enough)
    sheet = sheet_on(rig, placement.sheet, landscape=placement.landscape, margin_mm=placement.margin_mm)
    if lines.budget is not None:
        return _within_budget(str(source), rig, placement, lines, sheet, tidiness, report, enough)
    picture = read_picture(str(source), lines, wish_for(rig, sheet, placement, report))
    return planned(picture, rig, placement, tidiness=tidiness, report=report, enough=enough)


def _within_budget(
    source: str,
    rig: Rig,
    placement: Placement,
    lines: Lines,
    sheet: Sheet,
    tidiness: Tidiness | None,
    report: Report | None,
    enough: Callable[[], bool] | None,
) -> Job:
    """Plan a photograph with as much ink as its budget allows; otherwise as `prepare`."""
    from linewright.sources import methods, photograph
    from linewright.sources.choice import Automatic
    from linewright.sources.tone.method import ToneMethod, needs_extra

    asked = lines.method or methods.FOR_PHOTOGRAPHS
    way = None if methods.makes_its_own(asked) else methods.chosen(asked)
    if not isinstance(way, Automatic | ToneMethod) or not photograph.looks_like_one(Path(source)):
        raise InputError(
            f"{source} cannot be drawn paler to save time or ink: it is no photograph",
            hint="leave --within and --ink out",
        )
    needs_extra()
    taken = photograph.load(source)
    wish = replace(wish_for(rig, sheet, placement, report), tolerance_mm=lines.tolerance_mm, pens=lines.pens)
    why: tuple[str, ...] = ()
    if isinstance(way, Automatic):
        way, choice = way.way(taken, wish)
        why = (f"{choice.method}: {choice.why}",)
    full = way

    def plan_it(picture: Picture) -> tuple[Job, float, float]:
        job = planned(picture, rig, placement, tidiness=tidiness, report=report, enough=enough)
        return job, job.program.predicted_s, job.program.pen_down_mm

    job, words = fitted(
        lambda share: full.with_ink(share).drawn(taken, wish, source), plan_it, lines.budget or Budget()
    )
    return replace(job, warnings=(*why, words, *job.warnings))


@dataclass(frozen=True)
class Arranged:
    """An arrangement to be drawn.

    Parameters
    ----------
    folder : where the relative names of its pictures begin.
    landscape : how its sheet lies; None leaves it to the name and to the rig.
    """

    arrangement: Arrangement
    folder: Path = Path()
    landscape: bool | None = None


def arranged(source: str, placement: Placement, lines: Lines) -> Arranged | None:
    """The arrangement that a source is, or that its place asks for; None for a picture that fills its sheet.

    Raises
    ------
    SourceError
        If the file is no arrangement.
    InputError
        If something is said beside an arrangement that stands in its file.
    """
    if lines.method is None and is_one(source):
        said = replace(placement, sheet=None, landscape=None, margin_mm=None)
        if said != Placement() or lines.pens:
            raise InputError(
                f"{source} is an arrangement and says itself where and how its items are drawn",
                hint="change it with `linewright arrange move`; --sheet and --margin may be said beside it",
            )
        found = arrangement_file.load(source)
        found = replace(
            found,
            sheet=found.sheet if placement.sheet is None else placement.sheet,
            margin_mm=found.margin_mm if placement.margin_mm is None else placement.margin_mm,
        )
        return Arranged(found, Path(source).parent, placement.landscape)
    if not placement.is_free:
        return None
    turn_deg = 0.0 if placement.turn_deg == "auto" else float(placement.turn_deg)
    item = item_of(source, lines.method, pen_by=placement.pen_by, fit=placement.fit)
    item = replace(item, at_mm=placement.at_mm, width_mm=placement.width_mm, turn_deg=turn_deg, mirror=placement.mirror)
    return Arranged(Arrangement(placement.sheet, placement.margin_mm, items=(item,)), Path(), placement.landscape)


def is_poster(source: str) -> bool:
    """Whether a source is the arrangement of a poster; False where that cannot be read."""
    try:
        return is_one(source) and arrangement_file.load(source).poster is not None
    except InputError:
        return False


def item_of(source: str, method: str | None, **how: Any) -> Item:
    """An item that draws a source by a method, whatever the method takes."""
    from linewright.sources import methods

    takes = "" if method is None else methods.method(method.partition(":")[0].strip()).takes
    if takes == "text":
        return Item("text", text=source, method=method, **how)
    if takes == "seed":
        return Item("pattern", pattern=method, **how)
    return Item("picture", source=source, method=method, **how)


def compose(
    found: Arranged,
    rig: Rig,
    lines: Lines,
    report: Report | None = None,
    *,
    remembering: Callable[[Read], Read] = lambda read: read,
) -> tuple[Composed, Sheet]:
    """The strokes of an arrangement on its sheet, and the sheet.

    Parameters
    ----------
    remembering : makes of what reads an item something that need not read the same again.

    Raises
    ------
    SourceError, SheetError
        If an item cannot be read, or has no room.
    """
    wanted = found.arrangement
    wish = wish_for(rig, sheet_on(rig), Placement(), report)
    if wanted.poster is None:
        sheet = sheet_on(rig, wanted.sheet, landscape=found.landscape, margin_mm=wanted.margin_mm)
        room = room_on(sheet, rig)
    else:
        # The whole has no machine below it. Without a size it is as large as what lies on it.
        largest = f"{SIDE_HIGH_MM:g}x{SIDE_HIGH_MM:g}mm"
        sheet = Sheet.named(wanted.sheet or largest, landscape=found.landscape, margin_mm=wanted.margin_mm or 0.0)
        room = sheet.box_mm

    def read(item: Item, asked: Wish) -> Picture:
        from linewright.sources.pens import read_pens

        if item.source is not None:
            source, method = str(found.folder / item.source), item.method
        else:
            source, method = item.text or "", item.pattern or item.method or "lettering"
            if item.text_file is not None:
                source = text_of(found.folder / item.text_file)
        pens = lines.pens
        if item.pens is not None:
            pens = read_pens(str(found.folder / item.pens.strip()) if is_one(item.pens.strip()) else item.pens)
        one = replace(lines, method=method, pens=pens)
        if item.source is not None:
            one = replace(one, page=item.page if item.page > 1 else lines.page, layers=item.layers or lines.layers)
        return read_picture(source, one, asked)

    whole = composed(wanted, room, wish, remembering(read))
    if wanted.poster is not None and wanted.sheet is None:
        ends = np.array([box[2:] for laid in whole.laid for box in laid.boxes_mm]).max(axis=0)
        sheet = replace(sheet, width_mm=float(ends[0]), height_mm=float(ends[1]), name="poster")
    return whole, sheet


def prepare_poster(
    found: Arranged,
    rig: Rig,
    lines: Lines,
    *,
    tidiness: Tidiness | None = None,
    report: Report | None = None,
    enough: Callable[[], bool] | None = None,
) -> Iterator[tuple[Piece, Job]]:
    """Plan the sheets of a poster one by one; otherwise as `prepare`."""
    poster = found.arrangement.poster or Poster()
    whole, size = compose(found, rig, lines, report)
    sheet = sheet_on(rig, poster.sheet)
    room = room_on(sheet, rig)
    for piece in pieces(whole.drawing, (size.width_mm, size.height_mm), room, poster.overlap_mm):
        reached = to_machine(piece.drawing, sheet, rig)
        notes = whole.warnings if piece.number == 1 else ()
        yield piece, on_machine(reached, notes, sheet, rig, tidiness=tidiness, report=report, enough=enough)


def prepare_arrangement(
    found: Arranged,
    rig: Rig,
    lines: Lines,
    *,
    tidiness: Tidiness | None = None,
    report: Report | None = None,
    enough: Callable[[], bool] | None = None,
) -> Job:
    """Plan how a rig draws an arrangement; otherwise as `prepare`."""
    if found.arrangement.poster is not None:
        raise InputError(
            "it is a poster of several sheets, and one sheet is drawn at once",
            hint="`linewright plan` with -o FOLDER makes a program of each sheet; draw them one by one",
        )
    whole, sheet = compose(found, rig, lines, report)
    reached = to_machine(whole.drawing, sheet, rig)
    return on_machine(reached, whole.warnings, sheet, rig, tidiness=tidiness, report=report, enough=enough)


def planned(
    picture: Picture,
    rig: Rig,
    placement: Placement,
    *,
    tidiness: Tidiness | None = None,
    report: Report | None = None,
    enough: Callable[[], bool] | None = None,
) -> Job:
    """Plan how a rig draws a picture whose strokes are made; otherwise as `prepare`."""
    sheet = sheet_on(rig, placement.sheet, landscape=placement.landscape, margin_mm=placement.margin_mm)
    placed = place(
        picture.drawing,
        (picture.width_mm, picture.height_mm),
        sheet,
        room_mm=room_on(sheet, rig),
        fit=placement.fit,
        turn_deg=placement.quarters,
    )
    reached = to_machine(placed, sheet, rig)
    cut = placed.cut + reached.cut
    warnings = (*picture.warnings, *_reach_words(sheet, rig, placement), *_cut_words(cut, sheet, rig, placement))
    return on_machine(reached, warnings, sheet, rig, tidiness=tidiness, report=report, enough=enough)


def on_machine(
    reached: Drawing,
    warnings: tuple[str, ...],
    sheet: Sheet,
    rig: Rig,
    *,
    tidiness: Tidiness | None = None,
    report: Report | None = None,
    enough: Callable[[], bool] | None = None,
) -> Job:
    """Plan how a rig draws strokes that lie where they are wanted on the sheet; otherwise as `prepare`.

    Parameters
    ----------
    reached : machine coordinates, mm; see `to_machine`.
    warnings : what is known of it already.
    """
    from linewright.motion.pens import plan_for_pens

    if not len(reached):
        raise SheetError(
            f"nothing of the picture lies within the margins of the {sheet.name} sheet and the machine's reach",
            hint="take --fit or a smaller margin"
            if lies_within(sheet, rig)
            else f"take a sheet that fits the reach of {rig.x.travel_mm:g} x {rig.y.travel_mm:g} mm",
        )
    notes: list[str] = []
    watcher = Watcher(report or Watcher().report, notes.append, enough or Watcher().enough)
    drawing = tidy(reached, Tidying.on(rig, reached, tidiness), watcher)
    watcher.report("planning the motion", 0.0)
    program = plan_for_pens(drawing, rig, sheet=sheet)
    warnings = (*warnings, *notes, *_ink_words(drawing, rig))
    return Job(program, (*warnings, *doubts(rig), *program.warnings))


INK_TIMES: Final = 1.0
"""How often ink may cover the box around a drawing, on average, before it is said: solid ink once over everything makes
drawing paper cockle, and more tears it (common practice)."""


INK_LEAST_MM: Final = 1000.0
"""Less ink is no wash, however small the box around it: a word, or one thick line."""


def _ink_words(drawing: Drawing, rig: Rig) -> tuple[str, ...]:
    """A warning where lines lay more ink than paper bears."""
    width, height = np.maximum(np.ptp(drawing.points_mm, axis=0), rig.pen.width_mm)
    lengths_mm = drawing.stroke_lengths_mm()
    widths_mm = np.array([rig.pen.width_mm if pen.width_mm is None else pen.width_mm for pen in drawing.pens])
    times = float((lengths_mm * widths_mm[drawing.pen]).sum() / (width * height))
    if times <= INK_TIMES or lengths_mm.sum() < INK_LEAST_MM:
        return ()
    total = wording.length(float(lengths_mm.sum()))
    step = "allow less with --ink, or take darkest=0.5, a finer pen or a larger sheet"
    return (f"{total} of lines lay ink {times:.1f} times over the whole picture, and paper cockles; {step}",)


def load(path: Path, rig: Rig) -> Job:
    """A program saved earlier.

    Raises
    ------
    ProgramError
        If the file is damaged, or was planned for a rig that moves differently.
    """
    program = program_file.load(path)
    program.check_rig(rig)
    return Job(program, (*doubts(rig), *program.warnings))


def is_job(path: Path) -> bool:
    """Whether a file is a saved program by its name."""
    return path.suffix.lower() == JOB_SUFFIX


def _reach_words(sheet: Sheet, rig: Rig, placement: Placement) -> tuple[str, ...]:
    """What a sheet that the rig cannot reach the whole of makes of the picture."""
    if lies_within(sheet, rig):
        return ()
    x0, y0, x1, y1 = room_on(sheet, rig)
    largest = largest_named(rig)
    done = "is fitted into" if placement.fit == "fit" else "keeps its size on"
    return (
        f"the {sheet.name} sheet does not lie within the machine's reach; the picture {done} the {x1 - x0:.5g} x "
        f"{y1 - y0:.5g} mm of it that can be drawn on. "
        + ("No standard sheet is held whole" if largest is None else f"The largest sheet it holds is {largest.name}"),
    )


def _cut_words(cut: Cut, sheet: Sheet, rig: Rig, placement: Placement) -> tuple[str, ...]:
    if not cut:
        return ()
    where = "margin" if lies_within(sheet, rig) else "edge of the machine's reach"
    parts = []
    if cut.strokes:
        parts.append(f"{cut.strokes} {'stroke was' if cut.strokes == 1 else 'strokes were'} cut at the {where}")
    if cut.lost:
        parts.append(f"{cut.lost} {'lies' if cut.lost == 1 else 'lie'} beyond the {where} and will not be drawn")
    # What a fitted picture loses lies outside its own page, and no other sheet would bring it back.
    step = "; draw it with --fit to lose nothing" if placement.fit == "keep" else "; it lay outside the picture's page"
    return (f"{'; '.join(parts)} ({cut.length_mm:.0f} mm of ink in all){step}",)
