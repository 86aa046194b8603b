"""Reads a source by the named method, or by the one that suits the file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.errors import InputError
from linewright.rig.sheet_place import room_on
from linewright.sources import Picture, Wish
from linewright.sources.drawing_files import read_drawing
from linewright.sources.picture import Report

if TYPE_CHECKING:
    from linewright.drawing.strokes import Pen
    from linewright.planning.plan_task import Lines, Placement
    from linewright.planning.surround import Surround
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet


def read_picture(source: str, lines: Lines, wish: Wish) -> Picture:
    """The strokes of a source.

    Parameters
    ----------
    source : as typed by the user; for most methods a file.
    wish : its area on the sheet, and the pen.

    Raises
    ------
    SourceError
        There is no such file, or it is no picture that can be drawn.
    InputError
        There is no such method, or a setting of it is wrong.
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
    if wish.first_look and (rough := _first_look(source, lines.method or methods.FOR_PHOTOGRAPHS, wish)) is not None:
        return rough
    if lines.method is not None:
        if methods.makes_its_own(lines.method):
            return _made(lines.method, source, wish)
        return methods.chosen(lines.method).read(source, wish)
    if photograph.looks_like_one(Path(source)):
        return methods.chosen(methods.FOR_PHOTOGRAPHS).read(source, wish)
    return _in_known_pens(read_drawing(source, wish), wish)


FIRST_LOOK_PENS: Final = 3.0
"""Factor on pen widths for a first look: a third of the lines, each with a third of the points, take an eighth of the
time (bench/desk.py)."""


def _first_look(source: str, method: str, wish: Wish) -> Picture | None:
    """A photograph drawn with wide pens by its usual method; None if it is no photograph."""
    from linewright.sources import methods, photograph
    from linewright.sources.choice import Automatic
    from linewright.sources.tone.method import BLACK, ToneMethod

    way = None if methods.makes_its_own(method) else methods.chosen(method)
    if not isinstance(way, Automatic | ToneMethod) or not photograph.looks_like_one(Path(source)):
        return None
    taken = photograph.load(source)
    pens = tuple(
        replace(pen, width_mm=FIRST_LOOK_PENS * (wish.pen_width_mm if pen.width_mm is None else pen.width_mm))
        for pen in wish.pens or (BLACK,)
    )
    wide = replace(wish, pens=pens)
    seen = way.glimpsed(taken, wish, wide, source) if isinstance(way, Automatic) else way.drawn(taken, wide, source)
    return replace(seen, rough=True)


def _in_known_pens(picture: Picture, wish: Wish) -> Picture:
    """The picture with the user's pens: those assigned to its colours or layers, those that it names, or those with its
    colours.
    """
    drawing = picture.drawing
    by_word = {word: pen for pen in reversed(wish.pens) for word in (pen.name.lower(), pen.colour)}
    chosen = {word.lower(): _pen_called(name, wish.pens) for word, name in wish.pen_for}
    of_layers = wish.pen_by == "layer"
    words = [(pen.name.lower(),) if of_layers else (pen.name.lower(), pen.colour) for pen in drawing.pens]
    pens = tuple(
        next((chosen[word] for word in own if word in chosen), None)
        or by_word.get(pen.name.lower())
        or by_word.get(pen.colour)
        or pen
        for own, pen in zip(words, drawing.pens, strict=True)
    )
    there = {word for own in words for word in own}
    inks = ", ".join(pen.name for pen in drawing.pens)
    notes = [f"pen_for: nothing is {word}; there is {inks}" for word, _ in wish.pen_for if word.lower() not in there]
    return replace(
        picture,
        drawing=replace(drawing, pens=pens),
        inks=drawing.pens,
        warnings=(*picture.warnings, *notes),
    )


def _pen_called(name: str, pens: tuple[Pen, ...]) -> Pen:
    found = next((pen for pen in pens if pen.name == name), None)
    if found is None:
        known = ", ".join(pen.name for pen in pens) or "none"
        raise InputError(f"pen_for: there is no pen {name!r} among pens", hint=f"there are {known}")
    return found


def _made(method: str, source: str, wish: Wish) -> Picture:
    """Letters or patterns for the unturned area, with the first pen and at its width."""
    from linewright.sources import methods

    if wish.turn_deg != "auto" and wish.turn_deg % 180:
        wish = replace(wish, room_mm=wish.room_mm[::-1])
    if wish.pens and wish.pens[0].width_mm is not None:
        wish = replace(wish, pen_width_mm=wish.pens[0].width_mm)
    picture = methods.chosen(method).read(source, wish)
    if len(wish.pens) < 2:
        return picture
    note = f"it uses one pen, {wish.pens[0].name}; the other {len(wish.pens) - 1} of --pens are not used"
    return replace(picture, warnings=(*picture.warnings, note))


def wish_for(
    rig: Rig, sheet: Sheet, placement: Placement, report: Report | None = None, surround: Surround | None = None
) -> Wish:
    """The `Wish` for a picture: its area on the sheet within the rig's reach, and the rig's pen."""
    room = room_on(sheet, rig)
    x0, y0, x1, y1 = room if surround is None else surround.picture_room(room)
    wish = Wish((x1 - x0, y1 - y0), placement.quarters, rig.pen.width_mm, pen_by=placement.pen_by, fit=placement.fit)
    return wish if report is None else replace(wish, report=report)
