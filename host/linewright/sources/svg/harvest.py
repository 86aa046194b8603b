"""`Harvest`: what the walk brings home, before anything is flattened."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

from linewright.sources.svg.affine import Matrix
from linewright.sources.svg.flatten import Floats
from linewright.sources.svg.segments import Segments


@dataclass(frozen=True, slots=True)
class Outlines:
    """What the outlines of one element have in common.

    Parameters
    ----------
    element : where they come from, for messages.
    matrix : user units to mm.
    colour : ``#rrggbb`` of the ink.
    layer : index into the layers of the walk, -1 outside of all layers.
    clip : index into the clip regions of the walk, -1 for none.
    filled : the outline is the edge of a filling without a stroke: it runs back to its start, as the filling does.
    dots : whether an outline without length is drawn, as a dot.
    dashes : dash pattern in user units, empty for an unbroken line.
    dash_offset, path_length : user units; ``path_length`` None unless the file states one.
    fill : ``#rrggbb`` of what the outline encloses, None where nothing is seen there.
    even_odd : fill rule; else by winding.
    """

    element: Element
    matrix: Matrix
    colour: str
    layer: int
    clip: int
    filled: bool
    dots: bool
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0
    path_length: float | None = None
    fill: str | None = None
    even_odd: bool = False


@dataclass(eq=False)
class Harvest:
    """What the walk brings home. ``owner[i]`` names the `Outlines` of outline ``i`` of ``segments``."""

    segments: Segments = field(default_factory=Segments)
    owner: array[int] = field(default_factory=lambda: array("q"))
    outlines: list[Outlines] = field(default_factory=list)
    layers: list[str] = field(default_factory=list)
    clips: list[Floats] = field(default_factory=list)
    width_mm: float = 0.0
    height_mm: float = 0.0
    size_stated: bool = True
