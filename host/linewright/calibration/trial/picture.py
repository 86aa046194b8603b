"""Evaluates a photograph of a trial sheet: positions of edges and crosses, in pixels.

The sheet is the largest bright area with four corners; its edges follow the steepest rise of brightness. After
rectification by the four corners, crosses and rings are found by their shape, and identified by the three rings. Then
each cross is measured in the original picture: the centre of its lines, weighted by darkness, at stations along them,
relative to the brightness beside them, so that a shadow does not shift it.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from itertools import permutations
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from linewright.calibration.trial.marks import PITCH_MM, RING_MM, RINGED, grid
from linewright.calibration.trial.page import CROSS_MM
from linewright.errors import InputError
from linewright.files import read_bounded

if TYPE_CHECKING:
    from linewright.sheet.sizes import Sheet

Floats = NDArray[np.float64]
Image = NDArray[np.uint8]

COARSE_PX: Final = 1000
"""Long side of the reduced picture in which the sheet is searched."""
LEAST_PX: Final = 1200
"""Smallest long side of a usable picture: 4 pixels per mm on A4."""
LEAST_SHARE: Final = 0.15
"""Smallest share of the picture that the sheet must fill."""
TOP_PX_MM: Final = 5.0
"""Resolution of the rectified view in which marks are searched: a 0.5 mm line is 2.5 pixels wide."""
ALIKE: Final = 0.45
"""Smallest correlation of a mark with its ideal shape."""
FOUND_SHARE: Final = 0.85
"""Smallest share of the crosses that must be found."""
WIDEST_MM: Final = 0.45
"""Line width (standard deviation of darkness across the line) above which a picture counts as blurred: a sharp 0.5 mm
line has 0.15."""
EDGE_POINTS: Final = 80
"""Points evaluated along each edge of the sheet."""


@dataclass(frozen=True, eq=False)
class Sighting:
    """Sheet found in a picture.

    Parameters
    ----------
    size_px : width and height of the picture.
    edges_px : for the edges left, top, right, bottom of the sheet as drawn: (n, 2) float64 points, pixels.
    marks_px : (m, 2) float64, centres of crosses, pixels.
    column, row : (m,) int64, their columns and rows.
    line_mm : apparent line width, standard deviation across.
    """

    size_px: tuple[int, int]
    edges_px: tuple[Floats, Floats, Floats, Floats]
    marks_px: Floats
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    line_mm: float


def vision() -> Any:
    """The OpenCV module.

    Raises
    ------
    InputError
        It is not installed; the message says how to install it.
    """
    try:
        return importlib.import_module("cv2")
    except ImportError as error:
        raise InputError(
            "reading a photograph needs OpenCV, which is not installed", hint="pip install 'linewright[vision]'"
        ) from error


MOST_BYTES: Final = 128 << 20
"""Largest file: a hundred megapixels as PNG."""


def read(path: Path) -> Image:
    """A picture file as grey values, (height, width) uint8, upright.

    Raises
    ------
    InputError
        The file cannot be read, is no picture, or is too small.
    """
    cv2 = vision()
    try:
        data = np.frombuffer(read_bounded(path, MOST_BYTES), dtype=np.uint8)
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror or error}", hint="check the name") from error
    image: Image | None = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE) if len(data) else None
    if image is None:
        raise InputError(f"{path} is not a readable picture", hint="save it as JPEG or PNG")
    if max(image.shape) < LEAST_PX:
        raise InputError(
            f"{path} has only {image.shape[1]} x {image.shape[0]} pixels; at least {LEAST_PX} along the sheet are "
            "needed",
            hint="use the original file of the camera, not a copy sent by a messaging app",
        )
    return image


def sight(image: Image, sheet: Sheet, where: str = "the picture") -> Sighting:
    """Find and measure a trial sheet.

    Parameters
    ----------
    image : (height, width) uint8.
    sheet : the paper.
    where : names the picture in messages.

    Raises
    ------
    InputError
        The picture does not show the whole sheet sharply.
    """
    try:
        return _sight(image, sheet, where, shaded=False)
    except InputError as first:
        try:
            return _sight(image, sheet, where, shaded=True)
        except InputError:
            raise first from None


def _sight(image: Image, sheet: Sheet, where: str, *, shaded: bool) -> Sighting:
    corners = _corners(image, where, shaded=shaded)
    size = (sheet.width_mm, sheet.height_mm)
    # The corners are in clockwise order; the rings will tell which one is the sheet's top left.
    longer_first = np.hypot(*(corners[1] - corners[0])) > np.hypot(*(corners[2] - corners[1]))
    if longer_first != (size[0] > size[1]):
        corners = np.roll(corners, -1, axis=0)
    order, to_machine = _orientation(image, corners, sheet, where)
    corners = np.roll(corners, -order, axis=0)
    paper = np.array([[0.0, 0.0], [size[0], 0.0], [size[0], size[1]], [0.0, size[1]]])
    to_px = _homography(paper, corners)
    column, row, rough_mm = _crosses(image, to_px, to_machine, sheet, where)
    marks, line_mm = _middles(image, to_px, rough_mm)
    sharp = np.isfinite(marks).all(axis=1)
    if sharp.mean() < FOUND_SHARE or line_mm > WIDEST_MM:
        raise InputError(
            f"{where} is blurred or too faint: its lines look {2.35 * line_mm:.1f} mm wide",
            hint="hold the camera still, touch the sheet on the screen to focus, and use more light",
        )
    edges = tuple(_edge(image, corners[i], corners[j], where) for i, j in ((3, 0), (0, 1), (1, 2), (2, 3)))
    return Sighting(
        (image.shape[1], image.shape[0]),
        (edges[0], edges[1], edges[2], edges[3]),
        marks[sharp],
        column[sharp],
        row[sharp],
        line_mm,
    )


def _corners(image: Image, where: str, *, shaded: bool) -> Floats:
    """(4, 2) corners of the sheet, pixels, clockwise in the picture.

    The sheet is brighter than Otsu's threshold (IEEE Trans. SMC 9, 1979). A hard shadow may separate it from its own
    bright half; then ``shaded`` splits the part below that threshold again.
    """
    cv2 = vision()
    shrink = COARSE_PX / max(image.shape)
    small = cv2.resize(image, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    # Morphological closing removes the lines, so that the sheet is one bright area.
    calm = cv2.GaussianBlur(cv2.morphologyEx(small, cv2.MORPH_CLOSE, np.ones((15, 15), np.uint8)), (5, 5), 0)
    level, bright = cv2.threshold(calm, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    if shaded and (calm <= level).any():
        level, _ = cv2.threshold(calm[calm <= level][:, None], 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
        _, bright = cv2.threshold(calm, level, 255, cv2.THRESH_BINARY)
    found, _ = cv2.findContours(bright, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    nothing = InputError(
        f"{where} shows no sheet of paper with four corners",
        hint="lay the sheet on a darker surface and photograph it from above, with all edges in the picture",
    )
    if not found:
        raise nothing
    largest = max(found, key=cv2.contourArea)
    if cv2.contourArea(largest) < LEAST_SHARE * small.size:
        raise nothing
    points = largest[:, 0, :]
    rim = (points <= 1).any(axis=1) | (points[:, 0] >= small.shape[1] - 2) | (points[:, 1] >= small.shape[0] - 2)
    if rim.mean() > 0.02:
        raise InputError(
            f"a part of the sheet lies outside {where}",
            hint="step back until the surface shows on all four sides",
        )
    hull = cv2.convexHull(largest)
    for share in (0.01, 0.02, 0.03, 0.05):
        corners = cv2.approxPolyDP(hull, share * cv2.arcLength(hull, True), True)[:, 0, :].astype(np.float64)
        if len(corners) == 4:
            break
    else:
        raise nothing
    ways = np.roll(corners, -1, axis=0) - corners
    if ways[0, 0] * ways[1, 1] - ways[0, 1] * ways[1, 0] < 0:  # y points down, so a positive turn is clockwise as seen
        corners = corners[::-1]
    return np.asarray((corners + 0.5) / shrink - 0.5)


def _edge(image: Image, begin: Floats, end: Floats, where: str) -> Floats:
    """(n, 2) points of one edge of the sheet, pixels: where brightness rises most towards the inside."""
    along = np.linspace(0.05, 0.95, EDGE_POINTS)[:, None]
    way = end - begin
    length = float(np.hypot(*way))
    inward = np.array([-way[1], way[0]]) / length  # edges run clockwise, so the inside is to the right
    reach = np.arange(-0.02 * length, 0.02 * length, 0.5)
    places = begin + along * way
    samples = _sampled(image, places[:, None, :] + reach[None, :, None] * inward)
    smooth = np.apply_along_axis(np.convolve, 1, samples, np.ones(7) / 7.0, mode="same")
    rise = np.gradient(smooth, axis=1)
    rise[:, :6] = rise[:, -6:] = 0.0
    at = np.argmax(rise, axis=1)
    row = np.arange(len(at))
    before, here, after = rise[row, at - 1], rise[row, at], rise[row, np.minimum(at + 1, rise.shape[1] - 1)]
    curve = before - 2.0 * here + after
    shift = np.where(curve < 0.0, 0.5 * (before - after) / np.where(curve < 0.0, curve, -1.0), 0.0)
    depth = (at + np.clip(shift, -1.0, 1.0)) * 0.5 + reach[0]
    # A lens bends an edge to a smooth curve; outliers are dirt, shadows or fingers.
    share = along[:, 0]
    keep = np.ones(len(depth), dtype=np.bool_)
    for _ in range(4):
        bend = np.polyval(np.polyfit(share[keep], depth[keep], 4), share)
        off = np.abs(depth - bend)
        keep = off <= max(3.0 * float(np.median(off[keep])) / 0.6745, 0.3)
        if keep.mean() < 0.5:
            raise InputError(
                f"an edge of the sheet cannot be distinguished from the surface in {where}", hint="use a darker surface"
            )
    return np.asarray(places[keep] + depth[keep, None] * inward)


def _top_view(image: Image, corners: Floats, size_mm: tuple[float, float]) -> Image:
    """The rectified sheet, `TOP_PX_MM` pixels per mm."""
    cv2 = vision()
    paper = np.array([[0.0, 0.0], [size_mm[0], 0.0], [size_mm[0], size_mm[1]], [0.0, size_mm[1]]])
    matrix = _homography(corners, paper * TOP_PX_MM)
    width, height = (int(side * TOP_PX_MM) for side in size_mm)
    seen: Image = cv2.warpPerspective(image, matrix, (width, height), flags=cv2.INTER_AREA)
    return seen


def _darkness(view: Image) -> NDArray[np.float32]:
    """Darkness of each pixel relative to its surroundings."""
    cv2 = vision()
    ground = cv2.medianBlur(view, 41)
    dark: NDArray[np.float32] = np.maximum(ground.astype(np.float32) - view.astype(np.float32), np.float32(0.0))
    return dark


def _peaks(dark: NDArray[np.float32], shape: NDArray[np.float32], apart_mm: float) -> Floats:
    """(n, 2) places, mm, at which a view correlates with a shape, best first."""
    cv2 = vision()
    score = cv2.matchTemplate(dark, shape, cv2.TM_CCOEFF_NORMED)
    radius = int(apart_mm * TOP_PX_MM)
    top = cv2.dilate(score, np.ones((2 * radius + 1, 2 * radius + 1), np.uint8))
    y, x = np.nonzero((score == top) & (score > ALIKE))
    order = np.argsort(-score[y, x])
    half = (np.array(shape.shape[::-1]) - 1) / 2.0
    return np.asarray((np.column_stack((x, y))[order] + half) / TOP_PX_MM)


def _shape(ring: bool) -> NDArray[np.float32]:
    """An ideal cross, with or without a ring."""
    cv2 = vision()
    half = int((RING_MM + 1.0) * TOP_PX_MM) if ring else int((CROSS_MM + 0.6) * TOP_PX_MM)
    shape = np.zeros((2 * half + 1, 2 * half + 1), dtype=np.float32)
    arm = int(CROSS_MM * TOP_PX_MM)
    cv2.line(shape, (half - arm, half), (half + arm, half), 1.0, 3)
    cv2.line(shape, (half, half - arm), (half, half + arm), 1.0, 3)
    if ring:
        cv2.circle(shape, (half, half), int(RING_MM * TOP_PX_MM), 1.0, 3)
    blurred: NDArray[np.float32] = cv2.GaussianBlur(shape, (3, 3), 0)
    return blurred


def _orientation(image: Image, corners: Floats, sheet: Sheet, where: str) -> tuple[int, Floats]:
    """Number of corners to rotate by, and (2, 3) map from sheet mm as drawn to mm of paper."""
    x, y = grid(sheet)
    asked = np.array([[x[c], y[r]] for c, r in RINGED])
    size = (sheet.width_mm, sheet.height_mm)
    mirrored = False
    for order in (0, 2):
        rings = _peaks(_darkness(_top_view(image, np.roll(corners, -order, axis=0), size)), _shape(ring=True), 10.0)[:6]
        for three in permutations(range(len(rings)), 3):
            places = rings[list(three)]
            ways, wanted = places[1:] - places[0], asked[1:] - asked[0]
            lengths = np.hypot(*ways.T) / np.hypot(*wanted.T)
            square = abs(float(ways[0] @ ways[1])) / float(np.prod(np.hypot(*ways.T)))
            if np.abs(lengths - 1.0).max() > 0.12 or square > 0.12:
                continue
            if ways[0][0] * ways[1][1] - ways[0][1] * ways[1][0] < 0:
                mirrored = True
                continue
            if ways[0][0] > 0:
                turn = np.linalg.solve(wanted, ways).T
                return order, np.column_stack((turn, places[0] - turn @ asked[0]))
    if mirrored:
        raise InputError(
            f"{where} is mirrored: the rings are in the wrong order",
            hint="switch mirroring off, or use the main camera instead of the front camera",
        )
    raise InputError(
        f"the three ringed crosses cannot be found in {where}",
        hint="photograph the sheet that `linewright trial photo` makes, sharply and from above",
    )


def _crosses(
    image: Image, to_px: Floats, to_paper: Floats, sheet: Sheet, where: str
) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Column, row and rough position, mm of paper, of the visible crosses."""
    x, y = grid(sheet)
    size = (sheet.width_mm, sheet.height_mm)
    corners = _mapped(to_px, np.array([[0.0, 0.0], [size[0], 0.0], [size[0], size[1]], [0.0, size[1]]]))
    seen = _peaks(_darkness(_top_view(image, corners, size)), _shape(ring=False), 5.0)
    asked = np.array([[at_x, at_y] for at_y in y for at_x in x])
    matched = np.zeros(len(asked), dtype=np.bool_)
    places = np.zeros_like(asked)
    for _ in range(4):
        expected = asked @ to_paper[:, :2].T + to_paper[:, 2]
        if not len(seen):
            break
        far = np.hypot(*(expected[:, None, :] - seen[None, :, :]).transpose(2, 0, 1))
        nearest = far.argmin(axis=1)
        matched = far[np.arange(len(asked)), nearest] < 0.2 * PITCH_MM
        places[matched] = seen[nearest[matched]]
        if matched.sum() < 6:
            break
        rows = np.column_stack((asked[matched], np.ones(int(matched.sum()))))
        to_paper = np.linalg.lstsq(rows, places[matched], rcond=None)[0].T
    if matched.mean() < FOUND_SHARE:
        raise InputError(
            f"only {int(matched.sum())} of {len(asked)} crosses can be found in {where}",
            hint="the whole sheet must be in the picture, sharp, without glare or shadows",
        )
    row, column = np.divmod(np.flatnonzero(matched), len(x))
    return column, row, places[matched]


def _middles(image: Image, to_px: Floats, rough_mm: Floats) -> tuple[Floats, float]:
    """(m, 2) centres of crosses, pixels, nan if a line cannot be followed; and the apparent line width, mm."""
    stations = np.concatenate((np.arange(-2.5, -0.7, 0.2), np.arange(0.8, 2.6, 0.2)))
    across = np.arange(-1.4, 1.41, 0.05)
    middle = rough_mm.copy()
    width = 0.0
    for _ in range(2):  # in the second pass the windows are centred
        lines = []
        for axis in (0, 1):  # the horizontal line is followed along x and measured across y
            grid_mm = np.empty((len(middle), len(stations), len(across), 2))
            grid_mm[..., axis] = middle[:, None, None, axis] + stations[None, :, None]
            grid_mm[..., 1 - axis] = middle[:, None, None, 1 - axis] + across[None, None, :]
            value = _sampled(image, _mapped(to_px, grid_mm.reshape(-1, 2)).reshape(grid_mm.shape))
            share = (across - across[0]) / (across[-1] - across[0])
            begin, end = value[..., :6].mean(axis=-1), value[..., -6:].mean(axis=-1)
            ground = begin[..., None] * (1.0 - share) + end[..., None] * share
            dark = np.maximum(ground - value, 0.0)
            # Subtract a quarter of the peak: noise far from the line would pull its centre towards that of the window.
            dark = np.maximum(dark - 0.25 * dark.max(axis=-1, keepdims=True), 0.0)
            weight = dark.sum(axis=-1)
            safe = np.where(weight > 0.0, weight, 1.0)
            place = (dark * across).sum(axis=-1) / safe
            spread = np.sqrt((dark * (across - place[..., None]) ** 2).sum(axis=-1) / safe)
            clear = (dark.max(axis=-1) > 8.0) & (np.abs(place) < 1.0)
            lines.append(_straight(stations, place, clear))
            width = max(width, float(np.median(spread[clear]))) if clear.any() else np.inf
        (level_at, level_slope), (upright_at, upright_slope) = lines
        # y = level_at + level_slope x and x = upright_at + upright_slope y, relative to the window's centre.
        y = (level_at + level_slope * upright_at) / (1.0 - level_slope * upright_slope)
        x = upright_at + upright_slope * y
        middle = middle + np.column_stack((x, y))
    return _mapped(to_px, middle), width


def _straight(stations: Floats, place: Floats, clear: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """(m,) offset and slope of the line through each cross' stations; nan if too few are clear."""
    weight = clear.astype(np.float64)
    for _ in range(2):
        total = weight.sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            s, p = (weight * stations).sum(axis=1) / total, (weight * place).sum(axis=1) / total
            ss = (weight * (stations - s[:, None]) ** 2).sum(axis=1)
            slope = (weight * (stations - s[:, None]) * (place - p[:, None])).sum(axis=1) / ss
            height = p - slope * s
            off = np.abs(place - height[:, None] - slope[:, None] * stations)
        weight = np.where(off < 0.15, weight, 0.0)
    enough = weight.sum(axis=1) >= 0.6 * len(stations)
    return np.where(enough, height, np.nan), np.where(enough, slope, np.nan)


def _homography(begin: Floats, end: Floats) -> Floats:
    """(3, 3) projective map of four points to four points."""
    cv2 = vision()
    matrix: Floats = cv2.getPerspectiveTransform(begin.astype(np.float32), end.astype(np.float32)).astype(np.float64)
    return matrix


def _mapped(matrix: Floats, points: Floats) -> Floats:
    """(n, 2) points under a projective map."""
    lifted = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


def _sampled(image: Image, places_px: Floats) -> Floats:
    """Grey values at places (..., 2), pixels, interpolated linearly."""
    cv2 = vision()
    flat = places_px.reshape(-1, 2).astype(np.float32)
    rows = -(-len(flat) // 8192)  # OpenCV is limited to 32767 per row
    padded = np.zeros((rows * 8192, 2), dtype=np.float32)
    padded[: len(flat)] = flat
    maps = padded.reshape(rows, 8192, 2)
    values = cv2.remap(image, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(values, dtype=np.float64).reshape(-1)[: len(flat)].reshape(places_px.shape[:-1])
