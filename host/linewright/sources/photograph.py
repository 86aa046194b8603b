"""Photographs: decoding to colours from 0 to 1 on white paper.

Decoding of untrusted files is bounded before it starts: by the size of the file, the kinds of file, and the number of
pixels in the file's header.
"""

from __future__ import annotations

import hashlib
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from linewright.errors import InputError, SourceError
from linewright.files import opened
from linewright.sources.memory import PHOTOGRAPHS
from linewright.sources.source_file import size_of, source_file

if TYPE_CHECKING:
    from PIL import Image

Floats32 = NDArray[np.float32]

PIXELS_HIGH: Final = 50_000_000
"""Most pixels of one frame: more than common cameras have, 150 MB while reading."""

FILE_HIGH_BYTES: Final = 512 * 2**20
"""Largest file. A 50-megapixel TIFF of 16 bits and three colours takes 300 MB."""

WORKING_SIDE_PX: Final = 3000
"""Longest side kept: two pixels per line at A3 and a pen of 0.3 mm."""

FORMATS: Final = ("PNG", "JPEG", "WEBP", "TIFF", "GIF", "BMP", "PPM", "AVIF")
"""Decoders in use; others read from other files or start other programs."""

NAMES: Final = (
    ".png",
    ".jpg",
    ".jpeg",
    ".webp",
    ".tif",
    ".tiff",
    ".gif",
    ".bmp",
    ".ppm",
    ".pgm",
    ".heic",
    ".heif",
    ".avif",
)
"""Suffixes of photographs."""

_HEADS: Final = (b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"II*\0", b"MM\0*", b"II+\0", b"MM\0+", b"BM", b"P5", b"P6")

_HEIC_BRANDS: Final = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1")
_AVIF_BRANDS: Final = (b"avif", b"avis")
"""Brands in the first box of an ISO base media file (ISO/IEC 14496-12, 23008-12)."""

_DEEP: Final = {"I": 65535.0, "I;16": 65535.0, "I;16B": 65535.0, "I;16L": 65535.0, "I;16N": 65535.0}
"""Full scale of pillow's modes with more than eight bits; 16-bit greys may have any of them."""


@dataclass(frozen=True, eq=False)
class Photograph:
    """A photograph, upright, on white paper.

    Parameters
    ----------
    rgb : (h, w, 3) float32, 0..1, encoded sRGB; read-only if it comes from a file.
    warnings : remarks on unexpected processing.
    """

    rgb: Floats32
    warnings: tuple[str, ...] = ()


def looks_like_one(path: Path) -> bool:
    """Whether a file starts like a photograph or has such a suffix; False if it cannot be read.

    An empty ``.jpg`` is thus reported as a photograph and not as an SVG; an SVG counts as one with any name.
    """
    try:
        with opened(path) as stream:
            head = stream.read(512)
    except OSError:
        return False
    if head.startswith(_HEADS) or (head[:4] == b"RIFF" and head[8:12] == b"WEBP") or _boxed(head):
        return True
    is_svg = b"<svg" in head or head.lstrip().startswith((b"<?xml", b"<!DOCTYPE svg")) or head[:2] == b"\x1f\x8b"
    return path.suffix.lower() in NAMES and not is_svg


def _boxed(head: bytes) -> str:
    """``HEIC`` or ``AVIF`` by a file's first bytes, else ""."""
    if head[4:8] != b"ftyp":
        return ""
    # Major brand and compatible brands, because an AVIF may have mif1 first.
    size = min(int.from_bytes(head[:4], "big"), len(head))
    brands = {head[8:12], *(head[at : at + 4] for at in range(16, size - 3, 4))}
    return "AVIF" if brands & {*_AVIF_BRANDS} else "HEIC" if brands & {*_HEIC_BRANDS} else ""


def _decoders(path: Path) -> tuple[str, ...]:
    """The decoders to try, with the one for HEIC if needed.

    Raises
    ------
    InputError
        The file needs a decoder that is not installed.
    """
    with opened(path) as stream:
        kind = _boxed(stream.read(512))
    if kind == "HEIC":
        try:
            import pillow_heif
        except ImportError:
            raise InputError(
                f"{path} is a HEIC photograph, which needs the package pillow-heif",
                hint="pip install 'linewright[photo]', or save it as JPEG",
            ) from None
        # It decodes in this process, only when used, and reads no thumbnails.
        pillow_heif.register_heif_opener(thumbnails=False)
        return ("HEIF",)
    if kind == "AVIF":
        from PIL import features

        if not features.check("avif"):
            raise InputError(
                f"{path} is an AVIF photograph, which this pillow was built without",
                hint="pip install --upgrade pillow, or save it as JPEG",
            )
    return FORMATS


def load(source: str) -> Photograph:
    """Read a photograph; cached by contents.

    Raises
    ------
    SourceError
        The file is missing, no picture, damaged, or too large.
    """
    content = _digest(Path(source))
    return PHOTOGRAPHS.recall(("read", content), lambda: _read(source), lambda taken: taken.rgb)


def _read(source: str) -> Photograph:
    path = Path(source)
    notes: list[str] = []
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            # Sizes are checked below before decoding; pillow's warnings about headers do not concern the user.
            warnings.simplefilter("ignore")
            with Image.open(path, formats=_decoders(path)) as image:
                _refuse_size(image.size, path)
                rgb = _decoded(image, notes)
    except UnidentifiedImageError:
        raise SourceError(
            "that is not a photograph",
            where=source,
            hint="PNG, JPEG, WebP, TIFF, GIF, BMP, PPM, AVIF and HEIC are read",
        ) from None
    except Image.DecompressionBombError:
        raise SourceError(
            f"more than {PIXELS_HIGH:,} pixels, the limit", where=source, hint="make it smaller first"
        ) from None
    except InputError:
        raise
    except MemoryError:
        raise SourceError("not enough memory for this picture", where=source, hint="make it smaller first") from None
    except Exception as error:  # decoders raise various exceptions on damaged bytes
        raise SourceError(
            "the picture is damaged or truncated",
            where=source,
            hint="download it again, or save it again from a program that can open it",
        ) from error
    return Photograph(rgb, tuple(notes))


def _digest(path: Path) -> bytes:
    """SHA-256 of a possible photograph: a file that is not empty, not too large and no SVG."""
    where = str(path)
    if (size := size_of(path)) > FILE_HIGH_BYTES:
        raise SourceError(
            f"the file has {size:,} bytes, the limit is {FILE_HIGH_BYTES:,}", where=where, hint="make it smaller first"
        )
    with source_file(path) as stream:
        head = stream.read(512).lstrip()
        stream.seek(0)
        digest = hashlib.file_digest(stream, "sha256").digest()
    if head.startswith((b"<svg", b"<?xml", b"<!DOCTYPE svg")):
        raise SourceError(
            "that is an SVG, and this method is for photographs",
            where=where,
            hint="leave --as out to draw its lines, or take --as areas to hatch what it fills",
        )
    return digest


def _refuse_size(size: tuple[int, int], path: Path) -> None:
    if size[0] * size[1] > PIXELS_HIGH:
        raise SourceError(
            f"{size[0]} x {size[1]} are {size[0] * size[1]:,} pixels, the limit is {PIXELS_HIGH:,}",
            where=str(path),
            hint="make it smaller first",
        )


def _decoded(image: Image.Image, notes: list[str]) -> Floats32:
    """(h, w, 3) float32, 0..1, of the first frame, rotated by its EXIF orientation."""
    from PIL import ImageOps

    frames = int(getattr(image, "n_frames", 1))
    if frames > 1:
        notes.append(f"the file holds {frames} pictures; the first one is drawn")
        image.seek(0)
    # A JPEG is decoded at 1/8, 1/4 or 1/2 of its size if sufficient: the whole takes 8 to 60 times as long.
    image.draft(image.mode, (WORKING_SIDE_PX, WORKING_SIDE_PX))
    image.load()
    upright = ImageOps.exif_transpose(image)
    if max(upright.size) > WORKING_SIDE_PX and upright.mode not in _DEEP:
        upright = (
            upright.reduce(-(-max(upright.size) // WORKING_SIDE_PX)) if upright.mode not in ("1", "P") else upright
        )
    if upright.mode in _DEEP or upright.mode == "F":
        return _deep(upright)
    if upright.mode == "CMYK":
        notes.append("its printing colours (CMYK) are taken as screen colours without a profile")
    if "A" in upright.mode or "a" in upright.mode or "transparency" in upright.info:
        return _on_white(np.asarray(upright.convert("RGBA"), dtype=np.float32) / 255.0)
    return np.asarray(upright.convert("RGB"), dtype=np.float32) / np.float32(255.0)


def _deep(image: Image.Image) -> Floats32:
    """Greys of more than eight bits; float images are scaled by their maximum if it exceeds 1."""
    grey = np.nan_to_num(np.asarray(image, dtype=np.float32), posinf=0.0, neginf=0.0)
    top = _DEEP.get(image.mode, max(1.0, float(grey.max(initial=0.0))))
    step = -(-max(grey.shape) // WORKING_SIDE_PX)
    return np.repeat(np.clip(grey[::step, ::step, None] / np.float32(top), 0.0, 1.0), 3, axis=2)


def _on_white(rgba: Floats32) -> Floats32:
    alpha = rgba[:, :, 3:]
    return np.asarray(rgba[:, :, :3] * alpha + (1 - alpha), dtype=np.float32)
