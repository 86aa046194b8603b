"""Makes standard output and error writable in any encoding, even where the parent process closed them."""

from __future__ import annotations

import codecs
import io
import os
import sys
from pathlib import Path
from typing import Final

_PLAINER: Final = {"\u202f": " ", "\u00b2": "2", "\u00b5": "u", "\u00b7": "-"}
"""What stands for the few characters beyond ASCII that reports use, where a stream cannot carry them."""


def prepare() -> None:
    """Make ``sys.stdin``, ``sys.stdout`` and ``sys.stderr`` usable; to be called once, before anything is printed.

    Closed ones (``>&-``) become the null device: there is nobody to tell, but the work is done. Characters that an
    encoding lacks (``PYTHONIOENCODING=ascii``, a legacy terminal) are written as plainer ones.
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
