"""Cache of made pictures by sentence, so that the same sentence is not paid for twice."""

from __future__ import annotations

import contextlib
import hashlib
import re
from pathlib import Path
from typing import Final

from linewright import files
from linewright.errors import MakerError
from linewright.folders import cache_folder
from linewright.maker import kinds
from linewright.maker.setup import Maker

KEPT_HIGH: Final = 200
"""Most pictures in the cache: 400 MB at 2 MB each."""


def shelf_folder() -> Path:
    """Folder of the cache; it may not exist yet."""
    return cache_folder() / "pictures"


def stem_of(sentence: str, maker: Maker) -> str:
    """File name of a picture without suffix: words of the sentence, and a digest of the sentence and the maker's file
    (which contains no secrets).
    """
    exact = f"{maker.asked(sentence)}\0{maker.model_dump_json(exclude={'timeout_s', 'size_mb', 'attempts'})}"
    words = re.sub(r"[\W_]+", "-", sentence.lower())[:40].strip("-") or "picture"
    return f"{words}-{hashlib.sha256(exact.encode()).hexdigest()[:12]}"


def find(sentence: str, maker: Maker) -> Path | None:
    """The cached picture for this sentence; None if there is none or the file is no picture."""
    stem = stem_of(sentence, maker)
    for path in sorted(shelf_folder().glob(f"{stem}.*")):
        with contextlib.suppress(OSError), path.open("rb") as file:
            if kinds.suffix_of(file.read(65_536)) == path.suffix:
                return path
    return None


def keep(sentence: str, maker: Maker, data: bytes, suffix: str) -> Path:
    """Write a picture to the cache, replacing an earlier one for the same sentence.

    Raises
    ------
    MakerError : the cache cannot be written.
    """
    folder = shelf_folder()
    stem = stem_of(sentence, maker)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"{stem}{suffix}"
        with files.replacing(path) as file:
            file.write(data)
        for other in folder.glob(f"{stem}.*"):
            if other != path:
                other.unlink(missing_ok=True)
        _clear(folder)
    except OSError as error:
        raise MakerError(
            f"the picture cannot be saved in {folder}: {error.strerror}",
            hint="check permissions and free space there, or set XDG_CACHE_HOME to another folder",
        ) from error
    return path


def _clear(folder: Path) -> None:
    """Remove the oldest pictures beyond `KEPT_HIGH`."""
    ages = []
    for path in folder.iterdir():
        with contextlib.suppress(OSError):
            ages.append((path.stat().st_mtime_ns, path))
    for _, path in sorted(ages)[:-KEPT_HIGH]:
        path.unlink(missing_ok=True)
