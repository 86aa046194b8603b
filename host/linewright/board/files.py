"""Locations of the board's files on this computer, in a checkout or an installed wheel.

``ship.txt`` lists them. Each line is a file name on the board and, if not every board needs the file, the kind of board
that does; ``#`` starts a comment. Names below ``lineboard/`` and ``linewire/`` are modules of those packages. Other
files (``main.py``) are beside the package ``lineboard`` in a checkout and in ``linewright/data/board`` in a wheel.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from pathlib import Path

import lineboard
import linewire

_BOARD_PACKAGE = Path(lineboard.__file__).parent
_PACKAGES = {"lineboard": _BOARD_PACKAGE, "linewire": Path(linewire.__file__).parent}


@dataclass(frozen=True)
class BoardFile:
    """One file for the board.

    Parameters
    ----------
    name : path on the board, with ``/`` between folders.
    path : the same file on this computer.
    only : the kind of board that needs it (``rp2``, ``other`` or ``virtual``), empty for all.
    """

    name: str
    path: Path
    only: str = ""


def _loose_files() -> Path:
    """Folder of the files outside the packages."""
    checkout = _BOARD_PACKAGE.parent
    return checkout if (checkout / "ship.txt").is_file() else Path(__file__).parents[1] / "data" / "board"


def shipped(platform: str) -> tuple[BoardFile, ...]:
    """The files for one kind of board, in the order of ``ship.txt``; files that it does not need are left out to save
    its memory.

    Parameters
    ----------
    platform : the board's own `sys.platform`, or ``virtual``.

    Raises
    ------
    FileNotFoundError : a listed file is missing; the installation is damaged.
    """
    kind = platform if platform in ("rp2", "virtual") else "other"
    return tuple(file for file in listed() if file.only in ("", kind))


def listed() -> tuple[BoardFile, ...]:
    """All files of ``ship.txt``, in its order.

    Raises
    ------
    FileNotFoundError : a listed file is missing; the installation is damaged.
    """
    files = []
    for line in (_loose_files() / "ship.txt").read_text(encoding="utf-8").splitlines():
        name, _, only = line.partition("#")[0].strip().partition(" ")
        if not name:
            continue
        top, _, rest = name.partition("/")
        path = _PACKAGES[top] / rest if rest else _loose_files() / name
        if not path.is_file():
            raise FileNotFoundError(f"ship.txt names {name}, which is not at {path}")
        files.append(BoardFile(name, path, only.strip()))
    return tuple(files)


def digest() -> int:
    """CRC-32 over names and contents of all listed files; identifies a state of the board's code.

    It is the same for every kind of board, so that host and board compare one number.

    Each file adds its name, a zero byte, its content with line feeds for line ends, and a zero byte.
    """
    value = 0
    for file in listed():
        content = file.path.read_bytes().replace(b"\r\n", b"\n")
        value = zlib.crc32(file.name.encode() + b"\0" + content + b"\0", value)
    return value
