"""Segmentation of a person from the background, given the face.

C. Rother, V. Kolmogorov and A. Blake, "GrabCut: interactive foreground extraction using iterated graph cuts", ACM
Transactions on Graphics 23, 2004, by OpenCV. Instead of marks by hand, head and shoulders are assumed at their usual
position relative to the face.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.sources.faces import Face
from linewright.sources.photograph import Floats32

LOOK_PX: Final = 320
"""Longer side of the segmented copy: four rounds take a third of a second, and twice the size gave no better result."""

ROUNDS: Final = 4

HEAD: Final = (0.95, 0.85)
"""Half axes of the ellipse of head and hair, in widths and heights of the face's box. Found by trial on forty
photographs, as are the other shares here."""

SURE_HEAD: Final = (0.42, 0.5)
"""Half axes of the ellipse that is certainly face."""

SKULL: Final = (0.46, 0.5)
SKULL_AT: Final = 0.3
"""Half axes of the ellipse of the skull, which is certainly head, and its middle below the top of the face's box, in
box heights. Dark hair before a dark wall is lost otherwise; with 0.55, a bald head wears some of the wall as a cap."""

ASIDE: Final = 1.4
WIDENS: Final = 2.0
"""Certain background: distance from the face's centre above the chin, in box widths, and how much that distance grows
down to the end of the shoulders."""

THIN: Final = 0.12
"""Share of the face's width: thinner parts are not part of the person."""

AROUND: Final = 1.0
"""In face widths: how far beyond the crop the background is sampled. Without it, a wall or a banner beside the head
passes for the person on 10 of 37 photographs; with it, on 6."""

LEAST_SHARE: Final = 0.5
"""Smallest share of the certain face region within the mask; with less, segmentation has failed."""


def surroundings(
    box: tuple[int, int, int, int], size: tuple[int, int], faces: tuple[Face, ...]
) -> tuple[int, int, int, int]:
    """The part of a photograph that `mask` needs for a crop: left, top, right, bottom in pixels."""
    room = round(AROUND * max((face.width for face in faces), default=0.0))
    left, top, right, bottom = box
    return max(0, left - room), max(0, top - room // 3), min(size[0], right + room), bottom


def mask(rgb: Floats32, faces: tuple[Face, ...]) -> Floats32 | None:
    """(h, w) float32, 1 for persons and 0 for background; None if segmentation fails."""
    import cv2

    rows, columns = rgb.shape[:2]
    scale = min(1.0, LOOK_PX / max(rows, columns))
    size = (max(1, round(columns * scale)), max(1, round(rows * scale)))
    if not faces or min(size) < 16:
        return None
    small = cv2.resize(np.round(rgb * 255).astype(np.uint8), size, interpolation=cv2.INTER_AREA)
    marks, sure = _expected(size, tuple(face.moved(0.0, 0.0, scale) for face in faces))
    cv2.setRNGSeed(1)  # the colour mixtures start at random
    try:
        models = np.zeros((1, 65)), np.zeros((1, 65))
        # The rectangle is ignored if a mask is given.
        cv2.grabCut(small, marks, (0, 0, 1, 1), *models, ROUNDS, cv2.GC_INIT_WITH_MASK)
    except cv2.error:  # everything, or nothing, is marked as person
        return None
    person = ((marks == cv2.GC_FGD) | (marks == cv2.GC_PR_FGD)).astype(np.uint8)
    across = max(3, round(THIN * scale * max(face.width for face in faces)))
    disc = np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across)), dtype=np.uint8)
    opened = cv2.morphologyEx(person, cv2.MORPH_OPEN, disc)
    closed = cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    whole = _joined_with(np.asarray(closed, dtype=np.uint8), sure)
    if whole[sure].mean() < LEAST_SHARE or whole.all():
        return None
    return np.asarray(cv2.resize(whole.astype(np.float32), (columns, rows), interpolation=cv2.INTER_LINEAR))


def _expected(size: tuple[int, int], faces: tuple[Face, ...]) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Certain and probable person or background, as OpenCV's marks; and the certain faces."""
    import cv2

    yy, xx = np.mgrid[: size[1], : size[0]].astype(np.float64)
    marks = np.full(xx.shape, cv2.GC_PR_BGD, dtype=np.uint8)
    sure = np.zeros(xx.shape, dtype=bool)
    near = np.zeros(xx.shape, dtype=bool)
    aside = np.ones(xx.shape, dtype=bool)
    skulls = np.zeros(xx.shape, dtype=bool)
    for face in faces:
        x, y, chin = face.left + face.width / 2, face.top + 0.45 * face.height, face.top + face.height
        away = np.hypot((xx - x) / face.width / HEAD[0], (yy - y) / face.height / HEAD[1])
        # Shoulders widen from the neck to three face widths within two thirds of the face's height.
        spread = face.width * (0.6 + 1.3 * np.clip((yy - chin) / (0.7 * face.height), 0.0, 1.0))
        marks[((away < 1) | ((yy > chin) & (np.abs(xx - x) < spread))) & (marks == cv2.GC_PR_BGD)] = cv2.GC_PR_FGD
        tilt = np.arctan2(face.eyes[1][1] - face.eyes[0][1], face.eyes[1][0] - face.eyes[0][0])
        up = (SKULL_AT - 0.45) * face.height
        right, down = xx - x + up * np.sin(tilt), yy - y - up * np.cos(tilt)
        along, across = right * np.cos(tilt) + down * np.sin(tilt), down * np.cos(tilt) - right * np.sin(tilt)
        skulls |= np.hypot(along / face.width / SKULL[0], across / face.height / SKULL[1]) < 1
        sure |= np.hypot((xx - x) / face.width / SURE_HEAD[0], (yy - y) / face.height / SURE_HEAD[1]) < 1
        marks[(yy > chin + 0.05 * face.height) & (np.abs(xx - x) < 0.3 * face.width)] = cv2.GC_FGD
        near |= away < 1.6
        widening = WIDENS * np.clip((yy - chin) / (0.7 * face.height), 0.0, 1.0)
        aside &= (np.abs(xx - x) > (ASIDE + widening) * face.width) & (yy < chin + 0.7 * face.height)
    lowest = max(face.top + 0.6 * face.height for face in faces)
    rim = (yy < 2) | (((xx < 2) | (xx > size[0] - 3)) & (yy < lowest))
    marks[(rim & ~near) | aside] = cv2.GC_BGD
    marks[sure | skulls] = cv2.GC_FGD
    return marks, sure


def _joined_with(person: NDArray[np.uint8], sure: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The part connected with a face, without holes."""
    from scipy import ndimage

    labels, _ = ndimage.label(person)
    kept = np.unique(labels[sure])
    return np.asarray(ndimage.binary_fill_holes(np.isin(labels, kept[kept > 0])))
