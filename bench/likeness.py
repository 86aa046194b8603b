"""Portraits: whether a face recogniser trained on photographs identifies the person, and the drawing time.

    .venv/bin/python -m pip install dlib-bin face-recognition-models "setuptools<81"
    .venv/bin/python bench/likeness.py [FOLDER ...] [--as auto --as one-line ...] [--sheet A5 A4] [--pen 0.3 0.5]
        [--within MINUTES] [--renders FOLDER] [--rows]

Judge: dlib's face network (King 2017; 128 figures to a face, a distance of 0.6 is its published limit for the same
person), which the method does not use. It is installed for this bench only. Its landmark model may not be used
commercially, so it stays out of the product.

A photograph's face is found by dlib's detector (HOG). The drawing is drawn at the true width of the pen, blurred by one
minute of arc at reading distance (0.4 m), and judged where the photograph's face lies in it:

- distance: between the figures of the drawing and of its own photograph; landmarks are found in the drawing itself
- first: whether no photograph of another person is nearer
- found: whether the detector finds the face by itself

Photographs nearer than `SAME` count as the same person. Pictures of real people are
read from installed packages and from the folders named; none is kept in this repository.
"""

from __future__ import annotations

import argparse
import importlib.util
import statistics
import time
from dataclasses import dataclass
from pathlib import Path

import dlib
import face_recognition_models
import numpy as np
from PIL import Image
from rich.console import Console
from rich.table import Table
from scipy import ndimage

from linewright.planning import pipeline
from linewright.planning.budget import Budget, fitted
from linewright.planning.pipeline import Placement
from linewright.rig.rig import Rig
from linewright.rig.sheet_place import sheet_on
from linewright.sheet.sizes import Sheet
from linewright.sources import methods, photograph
from linewright.sources.choice import Automatic
from linewright.sources.picture import Picture
from linewright.sources.tone.coverage import inked
from linewright.sources.tone.method import ToneMethod
from linewright.tidy import Tidiness

SHIPPED = (("skimage", "data/astronaut.png"), ("matplotlib", "mpl-data/sample_data/grace_hopper.jpg"))
"""Photographs of people inside packages; those that are not installed are left out."""

SAME = 0.5
"""Two photographs nearer than this count as one person."""

LIMIT = 0.6
"""The recogniser's published limit for the same person."""

READING_MM = 400 * np.pi / 180 / 60
"""One minute of arc at 0.4 m."""

PIXELS_PER_PEN = 3.0

FACE_PX = 1400
"""Longer side at which a photograph is judged."""


@dataclass(frozen=True, eq=False)
class Known:
    """A judged photograph: its face as left, top, right, bottom, shares of the picture."""

    path: Path
    figures: np.ndarray
    box: tuple[float, float, float, float]


class Judge:
    """dlib's detector, landmarks and network."""

    def __init__(self) -> None:
        self.detector = dlib.get_frontal_face_detector()
        self.landmarks = dlib.shape_predictor(face_recognition_models.pose_predictor_model_location())
        self.network = dlib.face_recognition_model_v1(face_recognition_models.face_recognition_model_location())

    def found(self, rgb: np.ndarray) -> list[dlib.rectangle]:
        """Faces, the largest first."""
        boxes = list(self.detector(rgb, 1 if max(rgb.shape) < 1000 else 0))
        return sorted(boxes, key=lambda box: -box.area())

    def figures(self, rgb: np.ndarray, box: dlib.rectangle) -> np.ndarray:
        """The 128 figures of the face in a box."""
        return np.array(self.network.compute_face_descriptor(rgb, self.landmarks(rgb, box)))

    def known(self, path: Path) -> Known | None:
        """A photograph with its largest face; None where there is none."""
        image = Image.fromarray(np.round(photograph.load(str(path)).rgb * 255).astype(np.uint8))
        image.thumbnail((FACE_PX, FACE_PX))
        rgb = np.ascontiguousarray(image)
        boxes = self.found(rgb)
        if not boxes:
            return None
        b, (h, w) = boxes[0], rgb.shape[:2]
        return Known(path, self.figures(rgb, b), (b.left() / w, b.top() / h, b.right() / w, b.bottom() / h))


@dataclass(frozen=True)
class Score:
    """Result of one photograph by one method."""

    distance: float
    first: bool
    found: bool
    minutes: float
    ink_m: float
    seconds: float


def seen(picture: Picture, pen_mm: float) -> np.ndarray:
    """(h, w, 3) uint8: the drawing as an eye sees it at reading distance."""
    pixel = pen_mm / PIXELS_PER_PEN
    ink = inked(list(picture.drawing), (picture.width_mm, picture.height_mm), pen_mm=pen_mm, pixel_mm=pixel)
    grey = 1.0 - ndimage.gaussian_filter(ink, READING_MM / pixel, mode="nearest")
    return np.repeat(np.round(np.clip(grey, 0, 1) * 255).astype(np.uint8)[:, :, None], 3, axis=2)


def judged(judge: Judge, known: Known, rivals: list[Known], rgb: np.ndarray, part: tuple[float, ...]) -> tuple:
    """Distance, whether first, whether found, of a drawing that shows ``part`` of the photograph."""
    h, w = rgb.shape[:2]
    left, top, width, height = part
    x0, x1 = ((known.box[i] - left) / width * w for i in (0, 2))
    y0, y1 = ((known.box[i] - top) / height * h for i in (1, 3))
    own = judge.figures(rgb, dlib.rectangle(round(x0), round(y0), round(x1), round(y1)))
    distance = float(np.linalg.norm(own - known.figures))
    others = [float(np.linalg.norm(own - rival.figures)) for rival in rivals]
    middle = dlib.point(round((x0 + x1) / 2), round((y0 + y1) / 2))
    found = any(box.contains(middle) for box in judge.found(rgb))
    return distance, distance < min(others, default=np.inf), found


def main() -> int:
    """Print one row for each method, sheet and pen."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--as", dest="ways", action="append")
    parser.add_argument("--sheet", nargs="+", default=["A5"])
    parser.add_argument("--pen", nargs="+", type=float, default=[0.5])
    parser.add_argument("--within", type=float, metavar="MINUTES", help="the best that is drawn in so long")
    parser.add_argument("--renders", type=Path)
    parser.add_argument("--rows", action="store_true", help="a row for each photograph too")
    given = parser.parse_args()
    judge, console = Judge(), Console(width=150)
    paths = [path for folder in given.folders for path in sorted(folder.iterdir())]
    for package, file in SHIPPED:
        spec = importlib.util.find_spec(package)
        if spec and spec.origin and (Path(spec.origin).parent / file).exists():
            paths.append(Path(spec.origin).parent / file)
    all_known = [judge.known(path) for path in paths]
    for path, one in zip(paths, all_known, strict=True):
        if one is None:
            console.print(f"{path.name}: the judge finds no face in the photograph; left out")
    knowns = [one for one in all_known if one is not None]
    heads = ("method", "sheet", "pen", "mean", "worst", f"< {LIMIT}", "first", "found", "min", "most", "ink m", "s")
    table = Table(*heads)
    for sheet_name in given.sheet:
        for pen_mm in given.pen:
            usual = Rig.default()
            rig = usual.changed({"pen.width_mm": pen_mm})
            sheet = sheet_on(rig, sheet_name)
            for words in given.ways or ["auto", "one-line"]:
                scores = []
                for known in knowns:
                    score = drawn(judge, known, knowns, words, rig, sheet, given.renders, given.within)
                    scores.append(score)
                    if given.rows:
                        console.print(
                            f"{known.path.stem:>14} {words} {score.distance:.3f} {'first' if score.first else '-----'} "
                            f"{'found' if score.found else '-----'} {score.minutes:.1f} min {score.ink_m:.1f} m "
                            f"{score.seconds:.1f} s"
                        )
                far = [score.distance for score in scores]
                table.add_row(
                    words, sheet_name, f"{pen_mm:g}", f"{statistics.mean(far):.3f}", f"{max(far):.3f}",
                    f"{sum(d < LIMIT for d in far)}", f"{sum(s.first for s in scores)}",
                    f"{sum(s.found for s in scores)}", f"{statistics.mean(s.minutes for s in scores):.1f}",
                    f"{max(s.minutes for s in scores):.1f}", f"{statistics.mean(s.ink_m for s in scores):.0f}",
                    f"{statistics.median(s.seconds for s in scores):.1f}",
                )  # fmt: skip
    console.print(f"{len(knowns)} photographs")
    console.print(table)
    return 0


def drawn(
    judge: Judge,
    known: Known,
    knowns: list[Known],
    words: str,
    rig: Rig,
    sheet: Sheet,
    renders: Path | None,
    within: float | None,
) -> Score:
    """One photograph by one method."""
    placement = Placement(sheet=sheet.name)
    wish = pipeline.wish_for(rig, sheet, placement)
    began = time.process_time()
    taken = photograph.load(str(known.path))
    way = methods.chosen(words)
    if isinstance(way, Automatic):
        way = way.way(taken, wish)[0]
    assert isinstance(way, ToneMethod)
    task = pipeline.PlanTask("", rig, placement, tidiness=Tidiness(effort="quick"))

    def plan(picture: Picture) -> tuple[tuple[Picture, float], float, float]:
        time_s = pipeline.planned(picture, task).program.predicted_s
        return (picture, time_s), time_s, float(picture.drawing.stroke_lengths_mm().sum())

    if within is None:
        picture = way.drawn(taken, wish)
        seconds = time.process_time() - began
        time_s = plan(picture)[1]
    else:
        budget = Budget(time_s=60 * within)
        (picture, time_s), _ = fitted(lambda share: way.with_ink(share).drawn(taken, wish), plan, budget)
        seconds = time.process_time() - began
    rgb = seen(picture, rig.pen.width_mm)
    if renders is not None:
        renders.mkdir(parents=True, exist_ok=True)
        name = words.replace(":", "_").replace("=", "").replace(",", "_").replace("/", "_")
        Image.fromarray(rgb).save(renders / f"{known.path.stem}-{name}-{sheet.name}-{rig.pen.width_mm:g}.png")
    rivals = [one for one in knowns if np.linalg.norm(one.figures - known.figures) >= SAME]
    left, top, right, bottom = way.part(taken.rgb)
    rows, columns = taken.rgb.shape[:2]
    part = (left / columns, top / rows, (right - left) / columns, (bottom - top) / rows)
    distance, first, found = judged(judge, known, rivals, rgb, part)
    ink_m = float(picture.drawing.stroke_lengths_mm().sum()) / 1000
    return Score(distance, first, found, time_s / 60, ink_m, seconds)


if __name__ == "__main__":
    raise SystemExit(main())
