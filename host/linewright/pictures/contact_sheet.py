"""Contact sheets: several pictures side by side on one."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from PIL import Image

from linewright.errors import InputError
from linewright.pictures.raster import to_image
from linewright.pictures.scene import TABLE_COLOUR, Scene

GAP_PX: Final = 16


def contact_sheet(scenes: Sequence[Scene], *, height_px: int = 900) -> bytes:
    """All scenes at the same scale, in rows of about equal width, as a PNG.

    Parameters
    ----------
    height_px : height of the tallest scene.
    """
    if not scenes:
        raise ValueError("a contact sheet needs a scene")
    scale = height_px / max(scene.height_mm for scene in scenes)
    return sheet_of([to_image(s, long_side_px=round(scale * max(s.width_mm, s.height_mm))) for s in scenes])


def refuse_other_than_png(file: Path) -> None:
    """Refuse a file name for a contact sheet that does not end in .png.

    Raises
    ------
    InputError
        The name does not end in .png.
    """
    if file.suffix.lower() != ".png":
        raise InputError(f"{file} does not end in .png, and a contact sheet is a PNG", hint="name the file with .png")


def sheet_of(images: Sequence[Image.Image]) -> bytes:
    """Images in rows from the left, as a PNG."""
    across = math.ceil(math.sqrt(len(images)))
    rows = [images[i : i + across] for i in range(0, len(images), across)]
    widths = [sum(image.width for image in row) + GAP_PX * (len(row) + 1) for row in rows]
    heights = [max(image.height for image in row) for row in rows]
    sheet = Image.new("RGB", (max(widths), sum(heights) + GAP_PX * (len(rows) + 1)), TABLE_COLOUR)
    y = GAP_PX
    for row, height in zip(rows, heights, strict=True):
        x = GAP_PX
        for image in row:
            sheet.paste(image, (x, y))
            x += image.width + GAP_PX
        y += height + GAP_PX
    out = io.BytesIO()
    sheet.save(out, "PNG")
    return out.getvalue()
