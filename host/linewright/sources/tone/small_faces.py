"""Faces only a few pen widths wide: skin is left as paper, and dark features are solid.

Eyes are two dark accents, with brows, the shadow of the nose, the mouth, the jaw and the hair-line. There is no room
for tones, because a line of hatching is as wide as an eyelid.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from linewright.drawing.strokes import Points
from linewright.sources.blur import blurred
from linewright.sources.faces import Face
from linewright.sources.photograph import Floats32
from linewright.sources.tone.dabs import PIXELS_PER_PEN, dabs

SOFT_PENS: Final = 0.3
"""What is finer is smoothed before it is decided what is dark."""

OVAL: Final = (0.5, 0.56)
"""Half axes of a face, in widths and heights of its box."""

SKIN: Final = 0.9
WITHIN: Final = 1.2
ENDS: Final = (1.15, 1.25)
"""Shares of the oval: where skin is measured; where dabs may lie, which takes in the hair-line and the ears; where what
is wanted fades out."""

BRIGHT: Final = 75.0
DARK: Final = 2.0
LIT: Final = 35.0
"""Percentiles of the face's grey: skin in the light, what is darkest, and what is skin at all."""

LOCAL: Final = 0.7
LOCAL_BLUR: Final = 0.32
"""How much of the light is measured around each place, and with which blur, in widths of the face: all of it would
leave no shadow side."""

LEAST_RANGE: Final = 0.15
"""Least difference of bright and dark: what has less is dull, and stays."""

EDGE: Final = 0.8
"""Coverage wanted along the edge of a person, which pale skin before bare paper needs."""

FADES: Final = (0.3, 0.75)
"""Darkness below skin, as a share of the range, that is paper and that is solid."""

SHARP: Final = 1.0
SHARP_BLUR: Final = 0.06
"""Unsharp masking of eyes and mouths, and its blur in widths of the face: it keeps eye and brow apart."""

FEATURE: Final = 0.6
"""How much darker eyes and mouths are taken than the rest of the face. Chosen by eye on thirty faces of 8 to 12 mm, as
are the other shares here."""

EYE: Final = (0.2, 0.12)
MOUTH: Final = (0.3, 0.13)
"""Half axes of eyes and mouths with what belongs to them, in widths of the face."""


def drawn(
    grey: Floats32, person: Floats32 | None, shown: tuple[Face, ...], pen_px: float
) -> tuple[list[Points], Floats32]:
    """Centre lines of dabs, (n, 2) x, y in pixels, face by face; and (h, w) a mask, 1 where nothing else is drawn.

    Parameters
    ----------
    grey : (h, w) lightness of the picture, 0..1.
    shown : the faces that are drawn so, in its pixels.
    """
    import cv2

    rows, columns = grey.shape
    lines: list[Points] = []
    inside = np.zeros(grey.shape, dtype=np.float32)
    for face in shown:
        across, down = ENDS[1] * OVAL[0] * face.width + 2 * pen_px, ENDS[1] * OVAL[1] * face.height + 2 * pen_px
        reach = max(across, down)  # the oval may be tilted
        x, y = _middle(face)
        left, top = max(0, int(x - reach)), max(0, int(y - reach))
        right, bottom = min(columns, int(x + reach) + 1), min(rows, int(y + reach) + 1)
        if right - left < 2 or bottom - top < 2:
            continue
        size = (round((right - left) * PIXELS_PER_PEN / pen_px), round((bottom - top) * PIXELS_PER_PEN / pen_px))
        part = np.ascontiguousarray(grey[top:bottom, left:right], dtype=np.float32)
        scale = np.array([(right - left) / size[0], (bottom - top) / size[1]])
        larger = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_CUBIC), dtype=np.float32)
        near = face.moved(-left, -top, float(1 / scale.mean()))
        away = oval(near, larger.shape)
        wanted = two_tones(larger, near)
        if person is not None:
            cut_out = np.asarray(cv2.resize(person[top:bottom, left:right], size), dtype=np.float32)
            wanted = np.maximum(wanted, EDGE * rim(cut_out)) * cut_out  # a passer-by who is left out has no face either
        wanted = wanted * np.clip((ENDS[1] - away) / (ENDS[1] - ENDS[0]), 0.0, 1.0)
        lines += [line * scale + (left, top) for line in dabs(wanted, away < WITHIN)]
        within = np.clip((ENDS[0] - oval(face.moved(-left, -top, 1.0), part.shape)) / 0.1, 0.0, 1.0)
        inside[top:bottom, left:right] = np.maximum(inside[top:bottom, left:right], within)
    return lines, inside


def two_tones(grey: Floats32, face: Face) -> Floats32:
    """(h, w) coverage wanted of a face on a grid of the dabs: 0 for skin, 1 for what is dark on it.

    A shade next to the skin around it counts as dark, so that dark skin is paper as well as light skin, and a side in
    the shadow keeps its features.
    """
    away = oval(face, grey.shape)
    grey = blurred(grey, SOFT_PENS * PIXELS_PER_PEN)
    on_features = features(face, grey.shape)
    grey = grey + SHARP * on_features * (grey - blurred(grey, SHARP_BLUR * face.width))
    skin = grey[away < SKIN]
    if not skin.size:
        return np.zeros_like(grey)
    dark, lit, bright = np.percentile(skin, (DARK, LIT, BRIGHT))
    weight = ((away < 1) & (grey > lit)).astype(np.float32)
    blur = LOCAL_BLUR * face.width
    around, shares = (blurred(part, blur, truncate=3.0) for part in (weight * grey, weight))
    light = (1 - LOCAL) * bright + LOCAL * (around + 1e-3 * bright) / (shares + 1e-3)
    darkness = (light - grey) / max(LEAST_RANGE, bright - dark) * (1 + FEATURE * on_features)
    share = np.clip((darkness - FADES[0]) / (FADES[1] - FADES[0]), 0.0, 1.0)
    return np.asarray(share * share * (3 - 2 * share), dtype=np.float32)


def rim(person: Floats32) -> Floats32:
    """(h, w) 1 on a person within one pen of what is left out, 0 elsewhere."""
    from scipy import ndimage

    smooth = blurred(person, PIXELS_PER_PEN / 2) > 0.5
    inside = np.pad(smooth, 1, mode="edge")  # the picture's border is no edge of a person
    deep = ndimage.distance_transform_edt(inside)[1:-1, 1:-1]
    return np.asarray(smooth & (deep <= PIXELS_PER_PEN), dtype=np.float32)


def features(face: Face, shape: tuple[int, ...]) -> Floats32:
    """(h, w) 1 on the eyes and the mouth of a face, falling to 0 beside them."""
    rows, columns = np.indices(shape[:2], dtype=np.float32) + np.float32(0.5)
    mouth = np.mean(face.mouth, axis=0)
    near = np.zeros(shape[:2], dtype=np.float32)
    for (x, y), (wide, high) in ((face.eyes[0], EYE), (face.eyes[1], EYE), (tuple(mouth), MOUTH)):
        along, across = _turned(face, columns - x, rows - y)
        away = np.hypot(along / (wide * face.width), across / (high * face.width))
        near = np.maximum(near, np.clip((1.5 - away) / 0.5, 0.0, 1.0))
    return near


def oval(face: Face, shape: tuple[int, ...]) -> Floats32:
    """(h, w) how far each place is from the middle of a face: 1 at its outline."""
    rows, columns = np.indices(shape[:2], dtype=np.float32) + np.float32(0.5)
    x, y = _middle(face)
    along, across = _turned(face, columns - np.float32(x), rows - np.float32(y))
    return np.asarray(np.hypot(along / (OVAL[0] * face.width), across / (OVAL[1] * face.height)), dtype=np.float32)


def _middle(face: Face) -> tuple[float, float]:
    return face.left + face.width / 2, face.top + face.height / 2


def _turned(face: Face, x: Floats32, y: Floats32) -> tuple[Floats32, Floats32]:
    """Along the line through both eyes, and across it."""
    tilt = np.arctan2(face.eyes[1][1] - face.eyes[0][1], face.eyes[1][0] - face.eyes[0][0])
    cosine, sine = np.float32(np.cos(tilt)), np.float32(np.sin(tilt))
    return x * cosine + y * sine, y * cosine - x * sine
