"""Removable drives."""

from __future__ import annotations

import os
import string
from pathlib import Path

_FOLDERS = ("/media/*", "/media/*/*", "/run/media/*/*", "/mnt/*", "/Volumes/*")
"""Where desktops mount them: Linux below /media or /run/media, often by user; macOS below /Volumes."""


def holding(name: str, system: str = os.name, root: Path = Path("/")) -> list[Path]:
    """Mounted drives with a file of this name in their top folder.

    Parameters
    ----------
    root : prefix of the searched folders, for tests.
    """
    if system == "nt":
        tops = [Path(f"{letter}:\\") for letter in string.ascii_uppercase[3:]]  # A, B and C are not removable drives
    else:
        tops = [top for folder in _FOLDERS for top in sorted(root.glob(folder.lstrip("/")))]
    found = []
    for top in tops:
        try:
            if (top / name).is_file():
                found.append(top)
        except OSError:  # no disk in the drive, or no permission
            continue
    return found
