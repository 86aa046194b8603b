"""Simulated photographs of sheets drawn by a virtual machine.

All camera parameters are known, so the evaluation of the picture can be compared with the truth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.picture import vision

if TYPE_CHECKING:
    from linewright.rig.rig import Rig
    from linewright.sheet.sizes import Sheet
    from linewright.simulation.shortcut import DrawnInk

Floats = NDArray[np.float64]

PAPER_PX_MM: Final = 16.0
"""Resolution at which the paper is rendered: finer than any picture of it."""
BAND_ROWS: Final = 256
"""Rows rendered at a time, to bound memory."""
WHITE, GROUND, INK = 235.0, 70.0, 30.0


@dataclass(frozen=True)
class Shot:
    """Camera parameters of a picture.

    Parameters
    ----------
    width_px, height_px : of the picture.
    tilt_deg, pan_deg, roll_deg : deviation from vertical; roll is about the line of sight.
    distance_mm : from the lens to the centre of the sheet.
    fill : approximate share of the picture's height that the sheet fills.
    k1, k2 : radial distortion, for radii in half diagonals; a phone's lens has some hundredths.
    blur_px : standard deviation.
    noise : standard deviation of grey values.
    shadow : darkening of the far corner, 0..1, and of a sharp shadow across the sheet, 0..1.
    laid_mm, laid_deg : misplacement of the paper on the machine while it was drawn on.
    mirrored : as front cameras do.
    shift_px : offset of the sheet's centre from the picture's.
    """

    width_px: int = 3000
    height_px: int = 4000
    tilt_deg: float = 6.0
    pan_deg: float = -4.0
    roll_deg: float = 2.0
    distance_mm: float = 480.0
    fill: float = 0.88
    k1: float = 0.05
    k2: float = -0.02
    blur_px: float = 1.0
    noise: float = 3.0
    shadow: tuple[float, float] = (0.2, 0.0)
    laid_mm: tuple[float, float] = (0.6, -0.4)
    laid_deg: float = 0.3
    mirrored: bool = False
    shift_px: tuple[float, float] = (0.0, 0.0)


def photograph(ink: DrawnInk, sheet: Sheet, rig: Rig, shot: Shot, seed: int = 0) -> NDArray[np.uint8]:
    """(height, width) uint8, simulated picture of a sheet.

    Parameters
    ----------
    ink : the drawn strokes, machine mm.
    sheet, rig : the paper, and its position.
    shot : camera and light.
    seed : seed of the noise.
    """
    cv2 = vision()
    paper = _painted(ink, sheet, rig, shot)
    u, v = np.meshgrid(
        np.arange(shot.width_px, dtype=np.float64), np.arange(shot.height_px, dtype=np.float64), sparse=True
    )
    to_paper = _sight(sheet, shot)
    half = math.hypot(shot.width_px, shot.height_px) / 2.0
    centre = ((shot.width_px - 1) / 2.0, (shot.height_px - 1) / 2.0)
    picture = np.empty((shot.height_px, shot.width_px), dtype=np.float32)
    for first in range(0, shot.height_px, BAND_ROWS):
        rows = v[first : first + BAND_ROWS]
        x, y = (u - centre[0]) / half + 0 * rows, (rows - centre[1]) / half + 0 * u
        if shot.mirrored:
            x = -x
        # Lens distortion: the undistorted position of this pixel, by fixed-point iteration of the inverse series.
        xs, ys = x, y
        for _ in range(8):
            r2 = xs * xs + ys * ys
            stretch = 1.0 + r2 * (shot.k1 + r2 * shot.k2)
            xs, ys = x / stretch, y / stretch
        lifted = [to_paper[i, 0] * xs + to_paper[i, 1] * ys + to_paper[i, 2] for i in range(3)]
        px, py = lifted[0] / lifted[2], lifted[1] / lifted[2]
        maps = [((p * PAPER_PX_MM) - 0.5).astype(np.float32) for p in (px, py)]
        value = cv2.remap(paper, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=GROUND)
        soft, hard = shot.shadow
        light = 1.0 - soft * (px / sheet.width_mm + py / sheet.height_mm).clip(0.0, 2.0) / 2.0
        light -= hard / (1.0 + np.exp(-(px + 0.4 * py - 0.7 * sheet.width_mm) / 6.0))
        picture[first : first + BAND_ROWS] = value * light
    if shot.blur_px:
        picture = cv2.GaussianBlur(picture, (0, 0), shot.blur_px)
    rng = np.random.default_rng(seed)
    picture += rng.normal(0.0, shot.noise, picture.shape).astype(np.float32)
    return np.asarray(np.clip(picture, 0.0, 255.0), dtype=np.uint8)


def _painted(ink: DrawnInk, sheet: Sheet, rig: Rig, shot: Shot) -> NDArray[np.float32]:
    """Grey values of the paper alone."""
    cv2 = vision()
    size = (int(sheet.height_mm * PAPER_PX_MM), int(sheet.width_mm * PAPER_PX_MM))
    paper = np.full(size, int(WHITE), dtype=np.uint8)
    turn = math.radians(shot.laid_deg)
    c, s = math.cos(turn), math.sin(turn)
    middle = np.array([sheet.width_mm, sheet.height_mm]) / 2.0
    for i in range(len(ink.starts) - 1):
        points = ink.stroke(i) - np.array(rig.sheet.offset_mm) - middle
        points = points @ np.array([[c, s], [-s, c]]) + middle + np.array(shot.laid_mm)
        fixed = np.rint((points[::4] if len(points) > 8 else points) * PAPER_PX_MM * 16.0 - 8.0).astype(np.int32)
        last = np.rint(points[-1:] * PAPER_PX_MM * 16.0 - 8.0).astype(np.int32)
        line = np.concatenate((fixed, last))[:, None, :]
        cv2.polylines(paper, [line], False, int(INK), int(rig.pen.width_mm * PAPER_PX_MM), cv2.LINE_AA, 4)
    return np.asarray(cv2.GaussianBlur(paper, (0, 0), 0.8), dtype=np.float32)


def _sight(sheet: Sheet, shot: Shot) -> Floats:
    """(3, 3) projective map from centred pixels, in half diagonals, to mm of paper."""
    tilt, pan, roll = (math.radians(angle) for angle in (shot.tilt_deg, shot.pan_deg, shot.roll_deg))
    around_x = np.array([[1, 0, 0], [0, math.cos(tilt), -math.sin(tilt)], [0, math.sin(tilt), math.cos(tilt)]])
    around_y = np.array([[math.cos(pan), 0, math.sin(pan)], [0, 1, 0], [-math.sin(pan), 0, math.cos(pan)]])
    around_z = np.array([[math.cos(roll), -math.sin(roll), 0], [math.sin(roll), math.cos(roll), 0], [0, 0, 1]])
    turn = around_z @ around_y @ around_x
    half = math.hypot(shot.width_px, shot.height_px) / 2.0
    scale = min(shot.fill * shot.height_px / half / sheet.height_mm, shot.fill * shot.width_px / half / sheet.width_mm)
    focal = scale * shot.distance_mm
    middle = np.array([sheet.width_mm, sheet.height_mm]) / 2.0
    # Paper (X, Y, 1) -> camera: rotated about the centre, at a distance, then projected.
    place = np.column_stack((turn[:, 0], turn[:, 1], np.array([0.0, 0.0, shot.distance_mm]) - turn[:, :2] @ middle))
    camera = np.diag([focal, focal, 1.0])
    camera[0, 2], camera[1, 2] = shot.shift_px[0] / half, shot.shift_px[1] / half
    return np.asarray(np.linalg.inv(camera @ place))
