"""An SVG conformance suite: compares rendered edges with our strokes, in both directions.

    .venv/bin/python bench/svg_suite.py FOLDER [--only text] [--fonts FOLDER] [--out PICTURES] [--list]

FOLDER holds icons, or folders of ``.svg`` files (`shapes`, `structure`, `painting`, `paint-servers`, `masking`,
`text`), such as the tests of a general-purpose renderer's public repository; nothing of it is kept here. Files are
rendered by resvg 1000 px across, as they stand and again with every line thinned to 0.3 % of the picture's width. Edges
are where any of the four channels jumps. A file agrees if, against either rendering, at most 25 px of edge have no
stroke within 6 px and at most 25 px of stroke have no edge within 6 px (against the rendering as it stands half the
width of its lines is added). A strip at the frame is left out. It is strict: hard steps of gradients and blending
count, although a pen cannot draw them. Words are written as outlines of the fonts in ``--fonts``, by both. Embedded
photographs are left out, because lines of a tone have no edges and take minutes to make; they count as a difference.
"""

from __future__ import annotations

import argparse
import base64
import binascii
import collections
import io
import re
import time
import xml.etree.ElementTree as ET
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import resvg_py
from PIL import Image, ImageDraw
from scipy import ndimage

import linewright.sources.painting.strokes as strokes
from linewright.errors import LinewrightError
from linewright.sources.painting.marks import Mark
from linewright.sources.painting.notes import Notes
from linewright.sources.picture import Picture, TextStyle, Wish
from linewright.sources.svg import read_svg

ACROSS_PX = 1000
NEAR_PX = 6
LONE_PX = 25
FRAME_PX = 12
JUMP = 12
"""Of 255 levels, between pixels two apart: fainter steps are those of smooth gradients."""
THIN_SHARE = 0.003
FOLDERS = ("shapes", "structure", "painting", "paint-servers", "masking", "text")


_EMBEDDED = re.compile(r"(data:image/svg\+xml;base64,)([A-Za-z0-9+/=\s]+)")


def _no_photograph(mark: Mark, _matrix: object, _wish: object, notes: Notes) -> dict[str, list[np.ndarray]]:
    """Replaces the strokes of an embedded photograph."""
    notes.add("an embedded photograph, which this bench leaves out", mark.line_number)
    return {}


@dataclass(frozen=True)
class Outcome:
    """Result of one file: ``agrees``, ``warned``, ``silent``, ``refused`` or ``crashed``, and by how much."""

    name: str
    kind: str
    edges_px: int = 0
    strokes_px: int = 0
    words: str = ""
    seconds: float = 0.0


def rendered(text: str, folder: Path, fonts: str | None) -> np.ndarray | None:
    """(h, w, 4) float of the picture on nothing, 1000 px across; None if the renderer refuses it."""
    # Loading fonts takes ten times as long as everything else.
    options = {"font_dirs": [fonts], "skip_system_fonts": True} if fonts and re.search("<text|svg.xml", text) else {}
    families = {
        "font_family": "Noto Sans",
        "serif_family": "Noto Serif",
        "sans_serif_family": "Noto Sans",
        "cursive_family": "Yellowtail",
        "fantasy_family": "Sedgwick Ave Display",
        "monospace_family": "Noto Mono",
    }
    try:
        data = resvg_py.svg_to_bytes(
            svg_string=text, dpi=96, width=ACROSS_PX, resources_dir=str(folder), languages=["en"], **families, **options
        )
    except (ValueError, RuntimeError):
        return None
    return np.asarray(Image.open(io.BytesIO(bytes(data))).convert("RGBA"))


def text_of(path: Path) -> str:
    """A file's text, by the encoding that it states."""
    data = path.read_bytes()
    stated = re.match(rb"\s*<\?xml[^>]*encoding=[\"']([\w-]+)[\"'][^>]*\?>", data)
    if stated is None:
        return data.decode(errors="replace")
    return data[stated.end() :].decode(stated[1].decode(), errors="replace")


def with_embedded(text: str, change: Callable[[str], str | None]) -> str:
    """The text with every SVG that is embedded in it changed."""

    def changed(found: re.Match[str]) -> str:
        try:
            inner = change(base64.b64decode(found[2]).decode())
        except (binascii.Error, UnicodeDecodeError):
            inner = None
        return found[0] if inner is None else found[1] + base64.b64encode(inner.encode()).decode()

    return _EMBEDDED.sub(changed, text)


def thinned(text: str) -> str | None:
    """The picture with every line as thin as 0.3 % of its width; None where it cannot be parsed."""
    for prefix, uri in (("", "http://www.w3.org/2000/svg"), ("xlink", "http://www.w3.org/1999/xlink")):
        ET.register_namespace(prefix, uri)
    try:
        root = ET.fromstring(with_embedded(text, thinned))
    except ET.ParseError:
        return None
    box = [float(n) for n in re.findall(r"[-+.\deE]+", root.get("viewBox", ""))]
    width = box[2] if len(box) == 4 else float(re.findall(r"[\d.]+", root.get("width", "300"))[0])
    thin = f"{width * THIN_SHARE:.4g}"
    for element in root.iter():
        if "stroke-width" in element.attrib or "stroke" in element.attrib:
            element.set("stroke-width", thin)
        if "stroke-width" in element.get("style", ""):
            element.set("style", re.sub(r"stroke-width\s*:\s*[^;]+", f"stroke-width:{thin}", element.get("style", "")))
    return ET.tostring(root, encoding="unicode")


def widest_px(text: str, shape: tuple[int, ...]) -> float:
    """Half the width of the widest line, px, by what the file says of widths."""
    found = [float(n) for n in re.findall(r"stroke-width\s*[=:]\s*[\"']?\s*([\d.]+)", text)]
    box = re.search(r"viewBox\s*=\s*[\"']\s*[-\d.]+[\s,]+[-\d.]+[\s,]+([\d.]+)", text)
    across = float(box[1]) if box else shape[1]
    return max([*found, 1.0]) / 2 * shape[1] / across


def edges_of(picture: np.ndarray) -> np.ndarray:
    """(h, w) bool: where any channel, premultiplied by opacity, jumps."""
    seen = picture.astype(np.uint16)
    seen[:, :, :3] = seen[:, :, :3] * seen[:, :, 3:] // 255
    levels = seen.astype(np.uint8)
    found = np.zeros(seen.shape[:2], dtype=bool)
    found[:, 1:-1] |= _jumps(levels[:, 2:], levels[:, :-2])
    found[1:-1] |= _jumps(levels[2:], levels[:-2])
    return found


def _jumps(these: np.ndarray, those: np.ndarray) -> np.ndarray:
    """(h, w) bool: where any of the four channels of two (h, w, 4) uint8 differs by more than a jump."""
    _, high = cv2.threshold(cv2.absdiff(these, those), JUMP, 1, cv2.THRESH_BINARY)
    return np.ascontiguousarray(high).view(np.uint32)[:, :, 0] != 0


def drawn(picture: Picture, shape: tuple[int, ...]) -> np.ndarray:
    """(h, w) bool: the strokes, one pixel wide."""
    canvas = Image.new("1", (shape[1], shape[0]))
    pencil = ImageDraw.Draw(canvas)
    scale = shape[1] / picture.width_mm
    for stroke in picture.drawing:
        points = [tuple(p) for p in stroke * scale - 0.5]
        if len(points) == 1:
            pencil.point(points, fill=1)
        else:
            pencil.line(points, fill=1)
    return np.asarray(canvas)


def lone(these: np.ndarray, those: np.ndarray, near: float) -> int:
    """Number of pixels of ``these`` without one of ``those`` nearby, without the frame."""
    inner = np.zeros_like(these)
    inner[FRAME_PX:-FRAME_PX, FRAME_PX:-FRAME_PX] = True
    wanted = these & inner
    if not wanted.any():
        return 0
    if not those.any():
        return int(wanted.sum())
    away = cv2.distanceTransform((~those).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return int((away[wanted] > near).sum())


def compared(path: Path, fonts: str | None, out: str | None) -> Outcome:
    """One file."""
    name = "/".join(path.parts[-3:])
    text = text_of(path)
    strokes.photographed = _no_photograph
    reference = rendered(text, path.parent, fonts)
    start = time.perf_counter()
    picture, words, kind = None, "", ""
    try:
        picture = read_svg(path, wish=Wish(words=TextStyle(outlines=True, fonts=(fonts,) if fonts else ())))
        words = " | ".join(picture.warnings)
    except LinewrightError as problem:
        words, kind = str(problem), "refused"
    except Exception as problem:  # crashes are counted
        return Outcome(name, "crashed", words=f"{type(problem).__name__}: {problem}")
    seconds = time.perf_counter() - start
    if reference is None:
        reference = np.zeros((ACROSS_PX, ACROSS_PX, 4), dtype=np.uint8)
    ink = np.zeros(reference.shape[:2], dtype=bool) if picture is None else drawn(picture, reference.shape)
    best = None
    for extra in (widest_px(text, reference.shape), 0.0):
        one = reference
        if extra == 0.0:
            thin = thinned(text)
            one = None if thin is None else rendered(thin, path.parent, fonts)
        if one is None or one.shape != reference.shape:
            continue
        edges = edges_of(one)
        found = lone(edges, ink, NEAR_PX + extra), lone(ink, edges, NEAR_PX + extra)
        if best is None or max(found) < max(best):
            best = found
        if max(best) <= LONE_PX:
            break
    assert best is not None
    if out and max(best) > LONE_PX:
        save(reference, ink, Path(out) / (name.replace("/", "_") + ".png"))
    if max(best) <= LONE_PX:
        kind = "agrees"
    elif kind == "" or "nothing to draw" in words:
        kind = "warned" if words else "silent"
    return Outcome(name, kind, *best, words, seconds)


def save(reference: np.ndarray, ink: np.ndarray, target: Path) -> None:
    """Both on one picture, strokes in red."""
    on_white = Image.new("RGB", reference.shape[1::-1], "white")
    picture = Image.fromarray(reference, "RGBA")
    on_white.paste(picture, mask=picture.getchannel("A"))
    pixels = np.asarray(on_white).copy() // 2 + 127
    pixels[ndimage.binary_dilation(ink)] = (220, 0, 0)
    target.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(pixels).resize((500, 500 * pixels.shape[0] // pixels.shape[1])).save(target)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", default="", help="regular expression: files to take, by part of their names")
    parser.add_argument("--take", type=int, help="so many of the files, evenly spread")
    parser.add_argument("--fonts", help="folder of the fonts that both sides use")
    parser.add_argument("--out", help="folder for pictures of both where they differ, strokes in red")
    parser.add_argument("--list", action="store_true", help="name every file that does not agree")
    parser.add_argument("--jobs", type=int, default=2)
    given = parser.parse_args()
    files = [p for folder in FOLDERS for p in sorted((given.folder / folder).rglob("*.svg"))]
    files = files or sorted(given.folder.rglob("*.svg"))
    files = [p for p in files if re.search(given.only, str(p))]
    if given.take:
        files = files[:: max(1, len(files) // given.take)][: given.take]
    with ProcessPoolExecutor(given.jobs) as pool:
        count = len(files)
        outcomes = pool.map(compared, files, [given.fonts] * count, [given.out] * count, chunksize=4)
        table: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
        for path, one in zip(files, outcomes, strict=True):
            parts = path.relative_to(given.folder).parts
            table[parts[0] if len(parts) > 1 else "files"][one.kind] += 1
            if given.list and one.kind != "agrees":
                numbers = f"{one.edges_px:6} {one.strokes_px:6} {one.seconds:6.2f}"
                print(f"{one.kind:8} {numbers} {one.name}  {one.words[:150]}", flush=True)
    kinds = ("agrees", "warned", "silent", "refused", "crashed")
    print("| folder | files | agree | differ with a warning | differ silently | refused | crashed |")
    print("|---|---|---|---|---|---|---|")
    for folder in (*table, "all"):
        row = table[folder] if folder != "all" else sum(table.values(), collections.Counter())
        print(f"| {folder} | {sum(row.values())} | " + " | ".join(str(row[kind]) for kind in kinds) + " |")


if __name__ == "__main__":
    main()
