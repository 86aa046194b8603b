"""Drives that show up when something is plugged in."""

from __future__ import annotations

import os
import string
from pathlib import Path

_FOLDERS = ("/media/*", "/media/*/*", "/run/media/*/*", "/mnt/*", "/Volumes/*")
"""Where desktops mount them: Linux below /media or /run/media, often by user; macOS below /Volumes."""


def holding(name: str, system: str = os.name, root: Path = Path("/")) -> list[Path]:
    """Drives with a file of this name at their top.

    Parameters
    ----------
    root : what the folders lie below.
    """
    if system == "nt":
        tops = [Path(f"{letter}:\\") for letter in string.ascii_uppercase[3:]]  # A, B and C are others
    else:
        tops = [top for folder in _FOLDERS for top in sorted(root.glob(folder.lstrip("/")))]
    found = []
    for top in tops:
        try:
            if (top / name).is_file():
                found.append(top)
        except OSError:  # a drive without a disk in it, or somebody else's
            continue
    return found
