"""Rows of waves, and a spiral of waves: unbroken lines whose amplitude follows the tone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from linewright.drawing.crop import clip
from linewright.drawing.strokes import Drawing, Points
from linewright.sources import settings
from linewright.sources.tone.field import Field
from linewright.sources.tone.method import Layer, ToneMethod
from linewright.sources.tone.wave import BEYOND, STAGGER_RAD, Wave, runs

LEAST_PITCH: Final = 2.0
"""In pen widths: closer rows have no space to oscillate."""

GAP_SHARE: Final = 0.5
"""Share of the coverage of a straight line: for lower tones, bare paper is closer to the tone than a line."""

TOLERANCE: Final = 0.04
"""In pen widths: largest deviation of a dropped vertex; 0.02 mm for a pen of 0.5 mm."""


@dataclass(frozen=True)
class Waves(ToneMethod):
    """Rows of waves."""

    pitch: float = settings.number("distance of rows, in pen widths", 5.0, LEAST_PITCH, 40.0, "pens")
    angle_deg: float = settings.number("direction of the rows; 0 is level", 0.0, -90, 90, "deg")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """Row by row, back and forth."""
        layer.report("waves", 0.0)
        field = layer.field
        wave = Wave(self.pitch * field.pen_mm, field.pen_mm)
        turn = np.deg2rad(-(self.angle_deg + 30.0 * layer.number))
        along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * [field.width_mm, field.height_mm]
        low, high = (corners @ across).min(), (corners @ across).max()
        # The first and the last row reach the border with their largest amplitude.
        spare = BEYOND * field.pen_mm
        count = max(1, round((high - low - 2 * spare) / wave.pitch_mm))
        wave = Wave((high - low - 2 * spare) / count, field.pen_mm)
        offsets = low + spare + (np.arange(count) + 0.5) * wave.pitch_mm
        stations = np.arange((corners @ along).min(), (corners @ along).max() + wave.step_mm, wave.step_mm)
        seen = field.smoothed(wave.pitch_mm / 4)
        ways: list[Points] = []
        for number, offset in enumerate(offsets):
            way = offset * across + stations[:, None] * along
            side = np.broadcast_to(across, way.shape)
            ways += _swung(seen, way, side, wave, STAGGER_RAD * number, backwards=number % 2 == 1)
            if number % 32 == 0:
                layer.report("waves", number / count)
        return _within(ways, field)


@dataclass(frozen=True)
class Spiral(ToneMethod):
    """A spiral of waves from the centre outwards."""

    pitch: float = settings.number("distance of turns, in pen widths", 5.0, LEAST_PITCH, 40.0, "pens")
    x: float = settings.number("where its middle lies, per cent of the width", 50.0, 0.0, 100.0, "%")
    y: float = settings.number("where its middle lies, per cent of the height", 50.0, 0.0, 100.0, "%")

    def strokes(self, layer: Layer) -> Sequence[Points]:
        """From the centre to the farthest corner."""
        layer.report("spiral", 0.0)
        field = layer.field
        wave = Wave(self.pitch * field.pen_mm, field.pen_mm)
        middle = np.array([field.width_mm * self.x, field.height_mm * self.y]) / 100
        corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * [field.width_mm, field.height_mm]
        reach = float(np.hypot(*(corners - middle).T).max())
        # Archimedean spiral: r = pitch / (2 pi) * theta; its length is pitch / (4 pi) * theta^2 except for the first
        # turn.
        length = np.pi * reach**2 / wave.pitch_mm
        theta = np.sqrt(4 * np.pi * np.arange(0.0, length, wave.step_mm) / wave.pitch_mm) + 2 * np.pi * layer.number / 3
        out = np.column_stack((np.cos(theta), np.sin(theta)))
        way = middle + (wave.pitch_mm / (2 * np.pi)) * (theta - theta[0])[:, None] * out
        seen = field.smoothed(wave.pitch_mm / 4)
        return _within(_swung(seen, way, out, wave, 0.0), field)


def _swung(
    field: Field, way: Points, across: Points, wave: Wave, phase: float, *, backwards: bool = False
) -> list[Points]:
    """One path (n, 2) with its oscillation, interrupted where paper stays bare."""
    wanted = field.at(way, beyond=0.0)
    swung = way + wave.swing_mm(wave.modulation(wanted), phase)[:, None] * across
    pieces = [
        shapely.get_coordinates(
            shapely.simplify(shapely.linestrings(swung[a:b]), TOLERANCE * wave.pen_mm, preserve_topology=False)
        )
        for a, b in runs(wanted > GAP_SHARE * wave.least, int(wave.pitch_mm / wave.step_mm))
    ]
    return [piece[::-1] for piece in reversed(pieces)] if backwards else pieces


def _within(strokes: list[Points], field: Field) -> list[Points]:
    """Clipped at the border of the picture, where a turn of a spiral or a slanted row leaves it."""
    cut = clip(Drawing.from_strokes(strokes), (0.0, 0.0, field.width_mm, field.height_mm))
    return [stroke for stroke, mm in zip(cut, cut.stroke_lengths_mm(), strict=True) if mm > field.pen_mm]
