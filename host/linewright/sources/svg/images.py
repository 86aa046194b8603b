"""Embedded images: data URIs to pixels, within limits; nothing outside the file is read."""

from __future__ import annotations

import base64
import binascii
import io
import re
import urllib.parse
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from linewright.sources.painting.limits import FileLimits

if TYPE_CHECKING:
    from linewright.sources.painting.marks import Pixels

_DATA = re.compile(r"data:([\w.+/-]*)((?:;[\w=.+-]+)*?)(;base64)?,", re.ASCII)


class BadImage(Exception):
    """An unusable image; the message says why."""


@dataclass(frozen=True, slots=True, eq=False)
class Embedded:
    """Contents of a data URI: pixels, or an SVG."""

    pixels: Pixels | None
    svg: bytes | None


def embedded(reference: str, limits: FileLimits) -> Embedded:
    """The image of a data URI.

    Raises
    ------
    BadImage
        The image is outside the file, or no picture within the limits.
    """
    found = _DATA.match(reference)
    if found is None:
        raise BadImage("it lies outside the file, and nothing outside the file is read; embed it")
    body = reference[found.end() :]
    try:
        data = (
            base64.b64decode(re.sub(r"\s+", "", urllib.parse.unquote(body)) + "==", validate=False)
            if found[3]
            else urllib.parse.unquote_to_bytes(body)
        )
    except (binascii.Error, ValueError):
        raise BadImage("its base64 is damaged") from None
    if data[:2] == b"\x1f\x8b" or b"<svg" in data[:1024] or found[1].endswith("svg+xml"):
        return Embedded(None, data)
    return Embedded(_pixels(data, limits), None)


def _pixels(data: bytes, limits: FileLimits) -> Pixels:
    import numpy as np
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(data)) as picture:
            if picture.width * picture.height > limits.photograph_px:
                raise BadImage(f"it has {picture.width} x {picture.height} pixels, more than {limits.photograph_px:,}")
            has_alpha = "A" in picture.getbands() or "transparency" in picture.info
            return np.asarray(picture.convert("RGBA" if has_alpha else "RGB"))
    except (
        UnidentifiedImageError,
        OSError,
        ValueError,
        SyntaxError,
        EOFError,
        zlib.error,
        Image.DecompressionBombError,
    ):
        raise BadImage("it is no picture, or a damaged one") from None
