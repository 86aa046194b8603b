"""Paper in a photograph or a scan: its illumination, its extent, and its grain.

The illumination is the picture after closing everything narrower than `WIDE` (J. Serra, "Image Analysis and
Mathematical Morphology", 1982: the closing removes dark narrow structures and keeps the edges of wide ones, so that the
edge of a shadow counts as illumination and not as ink).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from linewright.sources.blur import blurred
from linewright.sources.photograph import Floats32

WIDE: Final = 0.1
"""Share of the longer side: wider changes are illumination and not drawing."""

CELLS: Final = 12
"""Cells of the illumination grid per such width."""

TABLE_RIM: Final = 0.6
"""Share of the picture's border that is table, if paper lies on one."""

TABLE_LIGHT: Final = 0.62
"""Brightness of a table relative to the paper, at most. A hand's shadow may be as dark, but not all around."""

CONVEX: Final = 0.88
"""Smallest share of its convex hull that the bright region of a sheet fills; its edge is stepped by the grid."""

EDGE: Final = 0.012
"""Share of the longer side: margin left out inside the paper's edge, because of its shadow."""


def light_on(grey: Floats32) -> Floats32:
    """(h, w) brightness of the paper itself, 0..1, above 0."""
    from scipy import ndimage

    closed = ndimage.grey_closing(_bright(grey), size=(CELLS, CELLS), mode="reflect")
    light = _on_pixels(ndimage.gaussian_filter(closed, 1.0, mode="nearest"), grey.shape)
    return np.asarray(np.maximum(light, 0.05), dtype=np.float32)


def page(grey: Floats32) -> NDArray[np.bool_]:
    """(h, w) mask of the paper: everything, unless it lies on something darker that is visible around it.

    Paper and table are separated by Otsu's threshold (1979) on the logarithm of brightness, so that shadows on the
    paper matter little.
    """
    from scipy import ndimage
    from skimage.filters import threshold_otsu

    whole = np.ones(grey.shape, dtype=bool)
    cells = np.maximum(_bright(grey), 0.01)
    if np.ptp(cells) < 1 / 255:
        return whole
    bright = cells > np.exp(threshold_otsu(np.log(cells)))
    rim = np.concatenate((bright[0], bright[-1], bright[:, 0], bright[:, -1]))
    pieces, count = ndimage.label(bright)
    is_table = (~rim).mean() >= TABLE_RIM and count and cells[~bright].mean() < TABLE_LIGHT * cells[bright].mean()
    if not is_table:
        return whole
    largest = 1 + int(np.argmax(np.bincount(pieces.ravel())[1:]))
    sheet = ndimage.binary_fill_holes(pieces == largest)
    if not _is_sheet(sheet):
        return whole
    found = _on_pixels(sheet.astype(np.float32), grey.shape) > 0.5
    inside = max(1.0, EDGE * max(grey.shape))
    return np.asarray(ndimage.distance_transform_edt(np.pad(found, 1))[1:-1, 1:-1] > inside)


def _is_sheet(cells: NDArray[np.bool_]) -> bool:
    """Whether the bright region has the shape of a sheet at any angle: its convex hull is hardly larger."""
    import shapely

    rows, columns = np.nonzero(cells)
    corners = np.column_stack((columns, rows)) + np.array([[[0, 0]], [[0, 1]], [[1, 0]], [[1, 1]]])
    hull = shapely.convex_hull(shapely.multipoints(corners.reshape(-1, 2)))
    return bool(cells.sum() > CONVEX * hull.area)


def _bright(grey: Floats32) -> Floats32:
    """Maximum in each cell of a grid of `CELLS` per width; grain is averaged before."""
    from scipy import ndimage

    step = max(1, round(WIDE * max(grey.shape) / CELLS))
    soft = blurred(grey, 0.35 * step) if step > 2 else grey
    return np.asarray(ndimage.maximum_filter(soft, size=step)[step // 2 :: step, step // 2 :: step])


def _on_pixels(cells: Floats32, shape: tuple[int, ...]) -> Floats32:
    from scipy import ndimage

    zoom = np.array(shape) / np.array(cells.shape)
    return np.asarray(ndimage.zoom(cells, zoom, order=1, mode="nearest", grid_mode=True), dtype=np.float32)


def evened(rgb: Floats32, luma: Floats32, light: Floats32 | None = None) -> Floats32:
    """(h, w, 3) with uniform illumination of the paper; outside of it everything becomes paper.

    Parameters
    ----------
    light : (h, w), `light_on` of its grey, if it is known already.
    """
    grey = rgb @ luma
    even = rgb / (light_on(grey) if light is None else light)[:, :, None]
    on_page = page(grey)
    # The local maximum includes grain above the mean; the paper itself must become white.
    level = float(np.median((even @ luma)[on_page])) if on_page.any() else 1.0
    even = np.clip(even / max(level, 0.5), 0.0, 1.0)
    even[~on_page] = 1.0
    return np.asarray(even, dtype=np.float32)


def grain(coverage: Floats32) -> float:
    """Standard deviation of the coverage of bare paper, from the half of its grain that is darker than white."""
    darker = coverage[(coverage > 0) & (coverage < 0.3)]
    return float(np.median(darker)) / 0.6745 if len(darker) > coverage.size // 20 else 0.0
