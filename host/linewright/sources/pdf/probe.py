"""A first look at a PDF in a separate process, because pdfium's behaviour with malformed files cannot be bounded in
ours.

A form that shows two forms that show two forms, thirty deep, is parsed a thousand million times. Such a file ends the
separate process by its limits of time and memory, and a crash of pdfium crashes only that process.
"""

from __future__ import annotations

import subprocess
import sys
from typing import Final

from linewright.errors import SourceError
from linewright.system import memory

SECONDS: Final = 60
"""Longest wait, with a busy computer in mind."""

CPU_S: Final = 20
"""Limit of processor time; a map of 12 MB takes 3 s."""

MEMORY_BYTES: Final = 2**30
"""Limit of address space; a map of 12 MB takes less than half."""

_DAMAGED: Final = 3


def first_look(source: str, page: int) -> None:
    """Check that a page can be loaded within the limits; a file that cannot be opened is left to its reader.

    Parameters
    ----------
    page : from 1.

    Raises
    ------
    SourceError
        Loading the page exceeds the limits, or crashes pdfium.
    """
    try:
        found = subprocess.run(
            [sys.executable, __file__, source, str(page), str(MEMORY_BYTES), str(CPU_S)],
            timeout=SECONDS,
            check=False,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired:
        raise SourceError(
            f"page {page} takes longer than {SECONDS} s to load; it is damaged or malicious",
            where=source,
            hint="save it again from a program that can open it",
        ) from None
    if found.returncode not in (0, _DAMAGED):
        raise SourceError(
            f"page {page} cannot be loaded within {CPU_S} s and {MEMORY_BYTES / 2**30:g} GB of memory, or is damaged",
            where=source,
            hint="save it again from a program that can open it",
        )


def _look(source: str, page: int, memory_bytes: int, cpu_s: int) -> int:
    """Open the file and load the page as the reader does."""
    import pypdfium2

    memory.limit(memory_bytes, cpu_s)  # without this limit, the parent still limits the time
    try:
        document = pypdfium2.PdfDocument(source)
        if 1 <= page <= len(document):
            list(document[page - 1].get_objects(max_depth=1))
    except pypdfium2.PdfiumError:
        return _DAMAGED
    return 0


if __name__ == "__main__":
    sys.exit(_look(sys.argv[1], *(int(number) for number in sys.argv[2:])))
