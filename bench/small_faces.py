"""Faces of 8 to 12 mm in a whole figure and in groups: whether independent detectors find them in the drawing.

    .venv/bin/python -m pip install dlib-bin face-recognition-models "setuptools<81"
    .venv/bin/python bench/small_faces.py [FOLDER] [--as portrait:frame=whole] [--mm 12 10 8] [--renders FOLDER]

The whole figure is scikit-image's astronaut, with more of her background around her until her face is 12 mm wide on
A5. Groups are six heads with shoulders out of a folder of portraits, pasted in two rows, at each width asked for. The
drawing is rendered at the pen's width and blurred by one minute of arc at reading distance, as in `likeness.py`.
Judges: dlib's detector (HOG, a linear classifier) at two sizes of the picture, either of which counts, and the LBP
cascade that ships with scikit-image; neither shares anything with the networks of the method.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2
import dlib
import numpy as np
import skimage
from likeness import PIXELS_PER_PEN, seen
from PIL import Image
from rich.console import Console
from rich.table import Table
from skimage import data
from skimage.feature import Cascade

from linewright.planning import pipeline
from linewright.planning.pipeline import Placement
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import sheet_on
from linewright.sources import faces, methods, photograph
from linewright.sources.faces import Face
from linewright.sources.photograph import Photograph
from linewright.sources.tone.method import ToneMethod

HEAD_PX = 100
"""Width of a face in the group's photograph."""

ROWS, COLUMNS = 2, 3


def whole_figure() -> np.ndarray:
    """The astronaut with more background around her."""
    return np.pad(data.astronaut().astype(np.float32) / 255, ((120, 360), (190, 190), (0, 0)), mode="edge")


def group(paths: list[Path], face_mm: float, wide_mm: float) -> np.ndarray:
    """Six people, with faces of this width when the picture is as wide as the sheet."""
    width = round(wide_mm / COLUMNS * HEAD_PX / face_mm)
    height = round(width * 4 / 3)
    tiles = []
    for path in paths:
        rgb = photograph.load(str(path)).rgb
        face = faces.found(rgb)[0]
        scale = HEAD_PX / face.width
        rgb = rgb if scale > 0.7 else cv2.GaussianBlur(rgb, (0, 0), 0.45 / scale)
        x, y = face.left + face.width / 2 - width / 2 / scale, face.top + 0.2 * face.height - 0.4 * height / scale
        matrix = np.array([[scale, 0, -x * scale], [0, scale, -y * scale]])
        tile = cv2.warpAffine(rgb, matrix, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        tiles.append(np.clip(tile, 0.0, 1.0))
    return np.vstack([np.hstack(tiles[i : i + COLUMNS]) for i in range(0, ROWS * COLUMNS, COLUMNS)])


def found_by(rgb: np.ndarray, wanted: list[tuple[float, float, float]]) -> tuple[list[bool], list[bool]]:
    """Which of the faces (x and y of the centre, width) HOG finds, and which the cascade finds."""
    larger = cv2.resize(rgb, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    detector = dlib.get_frontal_face_detector()
    boxes = []
    for image, scale in ((rgb, 1.0), (larger, 2.0)):
        boxes += [tuple(v / scale for v in (b.left(), b.top(), b.right(), b.bottom())) for b in detector(image, 0)]
    cascade = Cascade(str(Path(skimage.__file__).parent / "data" / "lbpcascade_frontalface_opencv.xml"))
    least, most = (round(2 * share * width) for share, width in ((0.7, min(wanted)[2]), (2.0, max(wanted)[2])))
    sizes = {"min_size": (least, least), "max_size": (most, most)}
    spots = cascade.detect_multi_scale(img=larger, scale_factor=1.15, step_ratio=1, **sizes)
    marks = [(s["c"] / 2, s["r"] / 2, (s["c"] + s["width"]) / 2, (s["r"] + s["height"]) / 2) for s in spots]

    def hit(found: list[tuple[float, ...]], x: float, y: float, width: float) -> bool:
        return any(b[0] < x < b[2] and b[1] < y < b[3] and b[2] - b[0] < 3 * width for b in found)

    return [hit(boxes, *one) for one in wanted], [hit(marks, *one) for one in wanted]


def main() -> int:
    """Print a row for each picture."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--as", dest="words", default="portrait:frame=whole")
    parser.add_argument("--mm", nargs="+", type=float, default=[12.0, 10.0, 8.0])
    parser.add_argument("--renders", type=Path)
    given = parser.parse_args()
    rig = Rig.default()
    sheet = sheet_on(rig, "A5")
    wish = pipeline.wish_for(rig, sheet, Placement(sheet=sheet.name))
    pictures = {"whole figure": whole_figure()}
    paths = sorted(given.folder.iterdir()) if given.folder else []
    for first in range(0, len(paths) - ROWS * COLUMNS + 1, ROWS * COLUMNS):
        six = paths[first : first + ROWS * COLUMNS]
        for face_mm in given.mm:
            pictures[f"{six[0].stem} to {six[-1].stem}, {face_mm:g} mm"] = group(six, face_mm, wish.room_mm[0])
    table = Table("picture", "faces", "widths mm", "HOG", "LBP")
    for name, rgb in pictures.items():
        way = methods.chosen(given.words)
        assert isinstance(way, ToneMethod)
        people: tuple[Face, ...] = faces.worth_showing(faces.found(rgb))
        picture = way.drawn(Photograph(rgb), wish)
        image = seen(picture, rig.pen.width_mm)
        to_px = image.shape[1] / rgb.shape[1]
        wanted = [((f.left + f.width / 2) * to_px, (f.top + f.height / 2) * to_px, f.width * to_px) for f in people]
        hog, cascade = found_by(image, wanted)
        to_mm = rig.pen.width_mm / PIXELS_PER_PEN
        widths = ", ".join(f"{one[2] * to_mm:.1f}" for one in wanted)
        table.add_row(name, f"{len(people)}", widths, f"{sum(hog)}", f"{sum(cascade)}")
        if given.renders:
            given.renders.mkdir(parents=True, exist_ok=True)
            Image.fromarray(image).save(given.renders / f"{name.replace(' ', '-').replace(',', '')}.png")
    Console(width=150).print(table)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
