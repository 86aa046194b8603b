"""Planning tasks: source, machine, placement, and how strokes are made and ordered."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from linewright.planning.budget import Budget
from linewright.planning.surround import Surround
from linewright.sources.picture import USUAL_WORDS, TextStyle
from linewright.tidy import Tidiness

if TYPE_CHECKING:
    from linewright.drawing.strokes import Pen
    from linewright.rig.rig import Rig

CURVE_TOLERANCE_MM: Final = 0.02
"""Largest deviation of a stroke from its curve; see `linewright.sources.painting`."""


@dataclass(frozen=True)
class Placement:
    """Placement of a picture.

    Parameters
    ----------
    sheet : name or size; None: the rig's usual sheet.
    landscape : orientation of the sheet; None: by its name and the rig's reach.
    margin_mm : kept clear on all sides; None: the rig's own.
    fit : ``"fit"`` makes the picture as large as the margins and the machine's reach allow, ``"keep"`` keeps its size.
    turn_deg : clockwise, or ``"auto"``: by a quarter turn if the picture is larger that way.
    pen_by : how lines are assigned to pens.
    at_mm : position of the top left corner of its bounding box on the sheet; None: centred.
    width_mm : its width before turning; None: as ``fit`` says.
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
        """The turn of a picture that fills its sheet, degrees."""
        return "auto" if self.turn_deg == "auto" else round(self.turn_deg)

    @property
    def is_free(self) -> bool:
        """Whether a position, a size, mirroring or a turn other than a quarter is given."""
        turned = self.turn_deg != "auto" and self.turn_deg % 90 != 0
        return self.at_mm is not None or self.width_mm is not None or self.mirror or turned


@dataclass(frozen=True)
class Lines:
    """How strokes are made from a source.

    Parameters
    ----------
    method : ``NAME`` or ``NAME:SETTING=VALUE,...`` of the table in `sources.methods`; None: an SVG's own lines, and for
        a photograph the method that suits it.
    pens : pens for colour separation; none: one pen.
    tolerance_mm : largest deviation of a stroke from its curve.
    see_through, layers, page, words : of drawing files; see `Wish`.
    budget : limits of time and ink for a photograph; None: no limits.
    """

    method: str | None = None
    pens: tuple[Pen, ...] = ()
    tolerance_mm: float = CURVE_TOLERANCE_MM
    see_through: bool = False
    layers: tuple[str, ...] = ()
    page: int = 1
    words: TextStyle = USUAL_WORDS
    budget: Budget | None = None


@dataclass(frozen=True)
class PlanTask:
    """A planning task for one machine.

    Parameters
    ----------
    source : as typed by the user; for most methods a file.
    placement, lines : its placement, and how its strokes are made.
    tidiness : effort for fewer lifts and less travel.
    surround : frame and words around the picture.
    """

    source: str
    rig: Rig
    placement: Placement = field(default_factory=Placement)
    lines: Lines = field(default_factory=Lines)
    tidiness: Tidiness = field(default_factory=Tidiness)
    surround: Surround = field(default_factory=Surround)
