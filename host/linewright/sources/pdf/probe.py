"""A first look at a PDF in a process of its own: what the library does with strange bytes cannot be bounded in ours.

A form that shows two forms that show two forms, thirty deep, is parsed a thousand million times. Such a file ends this
process by its limits of time and memory, and one that crashes the library crashes this process.
"""

from __future__ import annotations

import subprocess
import sys
from typing import Final

from linewright.errors import SourceError
from linewright.system import memory

SECONDS: Final = 60
"""Longest wait, on a computer that is busy with other things as well."""

CPU_S: Final = 20
"""Most processor time; a map of 12 MB takes 3."""

MEMORY_BYTES: Final = 2**30
"""Address space, of which a map of 12 MB takes less than a half."""

_DAMAGED: Final = 3


def first_look(source: str, page: int) -> None:
    """See whether a page can be loaded within the limits; a file that cannot be opened at all is left to its reader.

    Parameters
    ----------
    page : from 1.

    Raises
    ------
    SourceError
        If loading the page takes too long or too much memory, or crashes the library.
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
            f"page {page} takes longer than {SECONDS} s to load; it is damaged, or made to do harm",
            where=source,
            hint="save it anew where it opens",
        ) from None
    if found.returncode not in (0, _DAMAGED):
        raise SourceError(
            f"page {page} cannot be loaded within {CPU_S} s and {MEMORY_BYTES / 2**30:g} GB of memory, or is damaged",
            where=source,
            hint="save it anew where it opens",
        )


def _look(source: str, page: int, memory_bytes: int, cpu_s: int) -> int:
    """Open the file and load the page as the reader will."""
    import pypdfium2

    memory.limit(memory_bytes, cpu_s)  # where there is no such limit, the time is limited all the same
    try:
        document = pypdfium2.PdfDocument(source)
        if 1 <= page <= len(document):
            list(document[page - 1].get_objects(max_depth=1))
    except pypdfium2.PdfiumError:
        return _DAMAGED
    return 0


if __name__ == "__main__":
    sys.exit(_look(sys.argv[1], *(int(number) for number in sys.argv[2:])))
