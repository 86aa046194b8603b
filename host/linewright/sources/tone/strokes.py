"""Strokes along the form, laid where most ink is missing (`laying`), evenly (`settling`): as a draughtsman shades.

For any photograph; `portrait` lays the same strokes on people, with more of them in the face.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources.photograph import Floats32
from linewright.sources.tone.field import Field
from linewright.sources.tone.flow import along, calm, dark_lines
from linewright.sources.tone.hatching import LAYER_TURN_DEG
from linewright.sources.tone.laying import LEAST_PENS, Bed, laid_by_lenses
from linewright.sources.tone.method import PIXELS_PER_PEN, Layer, ToneMethod

LENS_PENS: Final = 0.8
LENS_FACE: Final = 1 / 150
"""Blur for comparing strokes with the target, as a share of the face; at least the pen width. It bounds the work on
large sheets."""

LEAST_FACE: Final = 1 / 12
LEAST_RANGE: Final = (2.0, LEAST_PENS)
"""Shortest stroke, relative to the width of the largest face, and its range in pens. An eye of a face 20 pens wide is
four pens wide, and must not be dropped."""

INK: Final = 0.85
"""Default limit of line length, as a share of the paper's area covered by lines side by side: 41 m on A5 with a pen of
0.5 mm, ten minutes on the default rig. Most faces need less, 15 to 35 m. A lower limit stops the broad passes, which
shade pale skin, if dark hair uses up the ink."""

CONTOUR: Final = 0.6
"""Weight of the photograph's dark lines in the coverage."""

HAND_DEG: Final = 45.0
"""Direction where there is no form: that of a right-handed person's hatching."""


@dataclass(frozen=True)
class Strokes(ToneMethod):
    """Strokes that follow the form."""

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Strokes of a coverage, the most needed first."""
        layer.report("finding the form", 0.0)
        # A small photograph on a large sheet has fewer pixels than strokes need.
        field = layer.field.sampled(layer.field.pen_mm / PIXELS_PER_PEN)
        everywhere = np.ones_like(field.coverage)
        ground = bed(field, everywhere, everywhere, plain_deg=HAND_DEG + LAYER_TURN_DEG * layer.number)
        return laid_by_lenses(ground, layer.report, ink_high_mm=most_mm(field))


def bed(field: Field, weight: Floats32, free: Floats32, *, face_mm: float = 0.0, plain_deg: float = HAND_DEG) -> Bed:
    """What strokes are laid on: wanted coverage with dark lines, and directions.

    Parameters
    ----------
    field : wanted coverage.
    weight, free : importance of each place, and where strokes settle; see `Bed`.
    face_mm : width of the largest face; 0 if there is none.
    plain_deg : direction where there is no form.
    """
    pen_px = field.pen_mm / float(np.mean(field.pixel_mm))
    face_pens = face_mm / field.pen_mm
    cosine, sine = along(field.coverage, pen_px, plain_deg, calm(face_pens))
    lines = dark_lines(field.coverage, cosine, sine, 0.4 * pen_px)
    wanted = np.clip(field.coverage + np.float32(CONTOUR) * lines * (1 - field.coverage), 0.0, 1.0)
    lens_mm = max(LENS_PENS * field.pen_mm, LENS_FACE * face_mm)
    least = float(np.clip(LEAST_FACE * face_pens, *LEAST_RANGE)) if face_mm else LEAST_RANGE[1]
    asked = Field(wanted, field.width_mm, field.height_mm, field.pen_mm)
    return Bed(asked, cosine, sine, weight, lens_mm, least, free)


def most_mm(field: Field) -> float:
    """Default limit of the total length of lines."""
    return INK * field.width_mm * field.height_mm / field.pen_mm
