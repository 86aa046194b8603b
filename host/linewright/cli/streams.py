"""Makes standard output and error usable with any encoding, even if the parent process closed them."""

from __future__ import annotations

import codecs
import io
import os
import sys
from pathlib import Path
from typing import Final

_PLAINER: Final = {"\u202f": " ", "\u00b2": "2", "\u00b5": "u", "\u00b7": "-"}
"""Replacements for the few non-ASCII characters in reports, where a stream cannot encode them."""


def prepare() -> None:
    """Make ``sys.stdin``, ``sys.stdout`` and ``sys.stderr`` usable; call once before anything is printed.

    Closed streams (``>&-``) become the null device. Characters that an encoding lacks (``PYTHONIOENCODING=ascii``, a
    legacy terminal) are replaced by simpler ones.
    """
    codecs.register_error("linewright.plainer", _plainer)
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, Path(os.devnull).open(mode, encoding="utf-8"))  # noqa: SIM115  for good
        elif mode == "w" and isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="linewright.plainer")


def _plainer(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_PLAINER.get(c, "?") for c in error.object[error.start : error.end]), error.end
