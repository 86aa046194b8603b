"""`picture_of`: from a sentence to a picture file."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

from linewright.errors import MakerError
from linewright.maker import command, endpoint, kinds, shelf
from linewright.maker.setup import Maker

LONGEST_SENTENCE: Final = 2000
"""Characters. Short enough for any command line."""

_TYPES: Final = {
    ".png": "image/png", ".jpg": "image/jpeg", ".gif": "image/gif", ".tif": "image/tiff", ".bmp": "image/bmp",
    ".webp": "image/webp", ".svg": "image/svg+xml", ".svgz": "image/svg+xml",
}  # fmt: skip


@dataclass(frozen=True)
class Made:
    """A picture from a maker.

    Parameters
    ----------
    path : its file.
    kept : it came from the cache.
    notes : remarks for the user.
    """

    path: Path
    kept: bool
    notes: tuple[str, ...] = ()


def picture_of(
    sentence: str, maker: Maker, *, anew: bool = False, report: Callable[[str, float], object] = lambda _s, _d: None
) -> Made:
    """The picture of a sentence, from the cache or newly made.

    Parameters
    ----------
    anew : ask the maker even if a picture is cached.
    report : called with the current step and the share of its time limit that has passed; an exception from it cancels
        the work.

    Raises
    ------
    MakerError
    """
    sentence = " ".join(unicodedata.normalize("NFC", sentence).split())
    if not sentence or "\0" in sentence:
        raise MakerError("there is no sentence to make a picture of", hint='write one, such as "a heron in a rain hat"')
    if len(sentence) > LONGEST_SENTENCE:
        raise MakerError(
            f"the sentence has {len(sentence):,} characters, the limit is {LONGEST_SENTENCE:,}", hint="say it shorter"
        )
    if not anew and (found := shelf.find(sentence, maker)) is not None:
        return Made(found, kept=True)
    data, suffix, notes = _asked(sentence, maker, report)
    return Made(shelf.keep(sentence, maker, data, suffix), kept=False, notes=tuple(notes))


def bytes_of(sentence: str, maker: Maker) -> tuple[bytes, str]:
    """The picture of a sentence as file contents and suffix, without caching.

    Raises
    ------
    MakerError
    """
    return _asked(sentence, maker, lambda _s, _d: None)[:2]


def _asked(sentence: str, maker: Maker, report: Callable[[str, float], object]) -> tuple[bytes, str, list[str]]:
    """Ask the maker: the picture's bytes, their suffix, and remarks for the user."""
    claimed = ""
    notes: list[str] = []
    if maker.command is not None:
        data = command.run(maker, maker.command, sentence, report)
    else:
        assert maker.endpoint is not None  # a Maker has one of the two
        address = urlsplit(maker.endpoint.url)
        if address.scheme == "http" and maker.secrets(os.environ) and not _is_here(address.hostname or ""):
            notes.append("the picture maker's key travels unencrypted: its url begins with http://")
        data, claimed = endpoint.fetch(maker, maker.endpoint, sentence, report)
    if len(data) > maker.size_bytes:
        raise MakerError(
            f"the picture has {len(data):,} bytes, the limit is {maker.size_bytes:,} bytes",
            hint="ask for a smaller picture, or raise `size_mb` in the maker's file",
        )
    suffix = kinds.suffix_of(data)
    if suffix is None:
        what = endpoint.redacted(kinds.described(data), maker.secrets(os.environ))
        says = f" (it says {claimed})" if claimed else ""
        raise MakerError(
            f"what the picture maker gave is no picture{says} but {what}",
            hint="PNG, JPEG, WebP, TIFF, GIF, BMP and SVG are read; check `answer` or `words` in the maker's file",
        )
    if claimed.startswith("image/") and claimed != _TYPES[suffix]:
        notes.append(f"the picture maker says {claimed}, its bytes say {_TYPES[suffix]}; they are believed")
    return data, suffix, notes


def _is_here(host: str) -> bool:
    """Whether a host name means this computer."""
    return host in ("localhost", "::1") or host.startswith("127.")
