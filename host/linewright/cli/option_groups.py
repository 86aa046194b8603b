"""Groups of options as one value each; `cli.expanded` shows them to the parser separately.

Every command that draws has the same groups in the same order, so its help lists them alike.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from linewright.cli import options

if TYPE_CHECKING:
    from linewright.planning.pipeline import Lines, Placement
    from linewright.planning.surround import Surround
    from linewright.tasks.subject import NamedSource
    from linewright.tidy import Tidiness


@dataclass(frozen=True, kw_only=True)
class NameOptions:
    """Subjects that are no drawing or picture file."""

    text: options.Text = None
    text_file: options.TextFile = None
    pattern: options.Pattern = None
    sentence: options.Sentence = None
    maker_file: options.MakerFile = None
    anew: options.Anew = False

    def named(self, source: str | None) -> NamedSource:
        """Combined with the named file, if there is one."""
        from linewright.tasks.subject import NamedSource

        return NamedSource(
            source,
            self.text,
            self.text_file,
            self.pattern,
            self.sentence,
            self.maker_file,
            self.anew,
            sys.stdin.buffer if sys.stdin is not None else None,
        )


@dataclass(frozen=True, kw_only=True)
class LineOptions:
    """How lines are made."""

    method: options.Method = None
    pens: options.Pens = None
    see_through: options.SeeThrough = False
    layers: options.Layers = None
    page: options.Page = 1
    font: options.FontOption = None


@dataclass(frozen=True, kw_only=True)
class BudgetOptions:
    """Limits of time and ink for a photograph."""

    within: options.Within = None
    ink: options.Ink = None


@dataclass(frozen=True, kw_only=True)
class SheetOptions:
    """The sheet."""

    sheet: options.SheetName = None
    landscape: options.Landscape = None
    margin_mm: options.Margin = None

    def words(self) -> list[object]:
        """The options as given, for printing a command."""
        words: list[object] = [] if self.sheet is None else ["--sheet", self.sheet]
        if self.landscape is not None:
            words.append("--landscape" if self.landscape else "--portrait")
        return words if self.margin_mm is None else [*words, "--margin", f"{self.margin_mm:g}"]


@dataclass(frozen=True, kw_only=True)
class PlaceOptions:
    """Position on the sheet."""

    turn: options.TurnOption = options.AUTO
    at: options.At = None
    size_mm: options.Size = None
    mirror: options.Mirror = False


@dataclass(frozen=True, kw_only=True)
class SurroundOptions:
    """Frame and words around the drawing."""

    frame: options.Frame = False
    caption: options.Caption = ""
    signature: options.Signature = ""

    def surround(self) -> Surround:
        """The group as a `Surround`."""
        from linewright.planning.surround import Surround

        return Surround(self.frame, self.caption.strip(), self.signature.strip())


@dataclass(frozen=True, kw_only=True)
class OrderOptions:
    """Pens and order."""

    pen_by: options.PenByOption = options.PenBy.COLOUR
    redraw_mm: options.RedrawMm = None
    effort: options.EffortOption = options.Effort.NORMAL

    def tidiness(self) -> Tidiness:
        """The group as a `Tidiness`."""
        from linewright.tidy import Tidiness

        return Tidiness(self.redraw_mm, self.effort.value)


def placement(
    on: SheetOptions,
    place: PlaceOptions | None = None,
    *,
    fit: bool = True,
    pen_by: options.PenBy = options.PenBy.COLOUR,
) -> Placement:
    """Placement from the options.

    Raises
    ------
    InputError
        A position, a size or a turn is invalid.
    """
    from linewright.errors import InputError
    from linewright.planning.arrangement import SIZE_HIGH_MM
    from linewright.planning.pipeline import Placement

    place = place or PlaceOptions()
    size_mm = place.size_mm
    if size_mm is not None and not 0.1 <= size_mm <= SIZE_HIGH_MM:
        raise InputError(f"--size {size_mm:g} is outside 0.1..{SIZE_HIGH_MM:g} mm", hint="give the width in mm")
    return Placement(
        sheet=on.sheet,
        landscape=on.landscape,
        margin_mm=on.margin_mm,
        fit="fit" if fit else "keep",
        turn_deg=_turn_deg(place.turn),
        pen_by="colour" if pen_by is options.PenBy.COLOUR else "layer",
        at_mm=None if place.at is None else options.pair(place.at, "--at"),
        width_mm=size_mm,
        mirror=place.mirror,
    )


def _turn_deg(turn: str) -> float | Literal["auto"]:
    from linewright.errors import InputError

    if turn == options.AUTO:
        return "auto"
    try:
        found = float(turn)
    except ValueError:
        found = math.nan
    if not abs(found) <= options.TURN_HIGH_DEG:
        raise InputError(f"--turn {turn} is not an angle", hint="give auto, or degrees clockwise such as 90 or -12.5")
    return found


def lines(
    how: LineOptions, method: str | None, budget: BudgetOptions | None = None, *, tolerance_mm: float | None = None
) -> Lines:
    """`Lines` from the options.

    Parameters
    ----------
    method : method of the subject, which may add settings to that of the option.
    tolerance_mm : None: the default.

    Raises
    ------
    InputError
        Pens, a time or a length are invalid.
    """
    from linewright.planning import pipeline
    from linewright.planning.budget import Budget, read_ink_mm, read_time_s
    from linewright.sources.pens import read_pens
    from linewright.sources.picture import TextStyle

    within, ink = (None, None) if budget is None else (budget.within, budget.ink)
    return pipeline.Lines(
        method,
        () if how.pens is None else read_pens(how.pens),
        pipeline.CURVE_TOLERANCE_MM if tolerance_mm is None else tolerance_mm,
        how.see_through,
        tuple(name.strip() for name in (how.layers or "").split(",") if name.strip()),
        how.page,
        TextStyle(how.font is not None, () if how.font in (None, "outlines") else (how.font,)),
        budget=None
        if within is None and ink is None
        else Budget(None if within is None else read_time_s(within), None if ink is None else read_ink_mm(ink)),
    )
