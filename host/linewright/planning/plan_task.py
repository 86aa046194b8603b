"""What is to be planned: a source, for which machine, where it goes, and how strokes are made and ordered."""

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
        """Whether a place, a size, a mirror or an odd turn is stated, and not only how to fill the sheet."""
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
    words: TextStyle = USUAL_WORDS
    budget: Budget | None = None


@dataclass(frozen=True)
class PlanTask:
    """What is to be planned, and for which machine.

    Parameters
    ----------
    source : as the user typed it: for most methods a file.
    placement, lines : where it goes, and how strokes are made of it.
    tidiness : how much to do for fewer lifts and less travel.
    surround : what is drawn around the picture.
    """

    source: str
    rig: Rig
    placement: Placement = field(default_factory=Placement)
    lines: Lines = field(default_factory=Lines)
    tidiness: Tidiness = field(default_factory=Tidiness)
    surround: Surround = field(default_factory=Surround)
