"""`Uploads`: files from a page, limited in size, named by their content and checked before use."""

from __future__ import annotations

import asyncio
import hashlib
import re
import secrets
import threading
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from linewright.errors import InputError

LOADING: Final = threading.Lock()
"""Held while loading libraries for the first time: two threads at once may see half-loaded modules."""

FOLDER: Final = "uploads"

HIGH_BYTES: Final = 64_000_000
"""A photograph of 100 megapixels is half of that."""

PIECE_S: Final = 15.0
"""An upload is given up after this time without data."""

WHOLE_S: Final = 120.0
"""Time limit of an upload; `HIGH_BYTES` over a wireless network take ten seconds."""

AT_ONCE: Final = 4
"""Limit of simultaneous uploads; more are refused."""

NAME_HIGH: Final = 80
_ID: Final = re.compile(r"u-[0-9a-f]{16}")

_SUFFIXES: Final = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp", "TIFF": ".tif", "BMP": ".bmp", "GIF": ".gif"}


class TooLarge(InputError):
    """The upload is larger than the limit."""


class Unknown(InputError):
    """The file is not of a supported kind."""


@dataclass(frozen=True)
class Upload:
    """One file.

    Parameters
    ----------
    id : hash of the content.
    path : the stored file.
    kind : ``photograph``, ``drawing``, or ``rig`` for the description of a machine.
    format : such as JPEG or SVG.
    name : original file name, for display.
    """

    id: str
    path: Path
    kind: str
    format: str
    name: str

    @property
    def inside(self) -> str:
        """Its name in an arrangement, relative to the sheet's folder."""
        return f"{FOLDER}/{self.path.name}"


class Uploads:
    """All uploaded files.

    Parameters
    ----------
    folder : of the sheet's file; uploads are in a subfolder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder / FOLDER
        self.folder.mkdir(parents=True, exist_ok=True)
        for left in self.folder.glob(".coming-*"):
            left.unlink(missing_ok=True)
        self._under_way = 0

    async def receive(self, name: str, pieces: AsyncIterator[bytes], length: int | None) -> Upload:
        """Receive a file.

        Parameters
        ----------
        name : original file name, for display only.
        length : size stated by the sender; None: not stated.

        Raises
        ------
        TooLarge, Unknown, InputError : it is refused; nothing is stored.
        """
        if length is not None and length > HIGH_BYTES:
            raise _too_large()
        if self._under_way >= AT_ONCE:
            raise InputError(f"{AT_ONCE} files are on their way already", hint="wait for them, then send this one")
        coming = self.folder / f".coming-{secrets.token_hex(8)}"
        self._under_way += 1
        try:
            digest = await self._written(coming, pieces)
            return await asyncio.to_thread(self._named, coming, digest, name)
        finally:
            self._under_way -= 1
            coming.unlink(missing_ok=True)

    async def _written(self, path: Path, pieces: AsyncIterator[bytes]) -> str:
        digest, size = hashlib.sha256(), 0
        try:
            async with asyncio.timeout(WHOLE_S):
                with path.open("wb") as stream:
                    source = aiter(pieces)
                    while (piece := await _next(source)) is not None:
                        size += len(piece)
                        if size > HIGH_BYTES:
                            raise _too_large()
                        digest.update(piece)
                        stream.write(piece)
        except TimeoutError:
            raise InputError("the file has stopped coming", hint="send it again") from None
        except OSError as error:
            raise InputError(
                f"the file cannot be kept: {error.strerror or error}", hint="make room on the disk, then send it again"
            ) from error
        if not size:
            raise Unknown("the file is empty", hint="choose a picture")
        return digest.hexdigest()

    def _named(self, coming: Path, digest: str, name: str) -> Upload:
        kind, form, suffix = told(coming, name)
        number = f"u-{digest[:16]}"
        path = self.folder / f"{number}{suffix}"
        coming.replace(path)
        shown = _plain_name(name) or f"picture{suffix}"
        (self.folder / f"{number}.name").write_text(shown, encoding="utf-8")
        return Upload(number, path, kind, form, shown)

    def get(self, name: str) -> Upload:
        """The file of an id.

        Raises
        ------
        InputError : unknown id.
        """
        if _ID.fullmatch(name):
            for path in self.folder.glob(f"{name}.*"):
                if path.suffix != ".name":
                    return self._of(path)
        raise InputError("there is no such file here", hint="send it again")

    def of_source(self, source: str | None) -> Upload | None:
        """The upload that an item of the arrangement uses; None: it does not use one."""
        path = self.folder.parent / (source or "")
        if source and path.parent == self.folder and _ID.fullmatch(path.stem) and path.exists():
            return self._of(path)
        return None

    def _of(self, path: Path) -> Upload:
        kind, form, _ = told(path)
        try:
            name = (self.folder / f"{path.stem}.name").read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            name = path.name
        return Upload(path.stem, path, kind, form, name)


async def _next(source: AsyncIterator[bytes]) -> bytes | None:
    async with asyncio.timeout(PIECE_S):
        try:
            return await anext(source)
        except StopAsyncIteration:
            return None


def _too_large() -> TooLarge:
    return TooLarge(
        f"the file is larger than {HIGH_BYTES // 1_000_000} MB, the limit",
        hint="make the picture smaller, and send that",
    )


def _plain_name(name: str) -> str:
    """The last part of a path, without characters that file names cannot have."""
    last = re.split(r"[/\\]", name)[-1]
    return "".join(sign for sign in last if sign.isprintable()).strip()[:NAME_HIGH]


def told(path: Path, name: str = "") -> tuple[str, str, str]:
    """Kind, format and suffix of a file, from its first bytes; the readers check the rest.

    Parameters
    ----------
    name : original file name; used to recognise only rig files, and DXF files because some begin with a comment.

    Raises
    ------
    Unknown : the format is not recognised.
    """
    with LOADING:
        from linewright.sources.drawing_files import HEAD_BYTES
        from linewright.sources.dxf.reader import looks_like_one as looks_like_dxf
        from linewright.sources.pdf.reader import looks_like_one as looks_like_pdf
        from linewright.sources.photograph import looks_like_one as looks_like_photograph

    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    if looks_like_pdf(head):
        return "drawing", "PDF", ".pdf"
    if looks_like_photograph(path):
        form = _form(head)
        return "photograph", form, _SUFFIXES.get(form, f".{form.lower()}")
    if b"<svg" in head or head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"<?xml", b"<!DOCTYPE svg", b"<!--")):
        return "drawing", "SVG", ".svg"
    if head[:2] == b"\x1f\x8b":
        return "drawing", "SVG", ".svgz"
    if looks_like_dxf(path, head) or name.lower().endswith(".dxf"):
        return "drawing", "DXF", ".dxf"
    if (name or path.name).lower().endswith(".toml"):
        return "rig", "TOML", ".toml"
    raise Unknown(
        "this is no kind of file that can be drawn",
        hint="send a photograph (JPEG, PNG, HEIC, ...), an SVG, a PDF or a DXF; or a rig file (.toml)",
    )


def _form(head: bytes) -> str:
    """Format of a photograph, from its first bytes."""
    known = (
        (b"\xff\xd8", "JPEG"),
        (b"\x89PNG", "PNG"),
        (b"GIF8", "GIF"),
        (b"BM", "BMP"),
        (b"II*\0", "TIFF"),
        (b"MM\0*", "TIFF"),
        (b"RIFF", "WEBP"),
    )
    for begins, form in known:
        if head.startswith(begins):
            return form
    if head[4:8] == b"ftyp":
        return "AVIF" if b"avif" in head[:64] else "HEIC"
    return "PNM"
