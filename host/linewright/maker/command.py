"""Pictures from a program, run without a shell, with limits of time and output size, and killed with its children."""

from __future__ import annotations

import contextlib
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from linewright.errors import MakerError
from linewright.maker.setup import Maker, ProgramMaker
from linewright.system import children

LOOK_S: Final = 0.05
"""Polling interval of the program's state and output."""

TAIL_BYTES: Final = 400
"""Most of a program's error output that a message repeats."""


def run(maker: Maker, command: ProgramMaker, sentence: str, report: Callable[[str, float], object]) -> bytes:
    """The picture's bytes.

    Raises
    ------
    MakerError : the program is missing, fails, exceeds its time or size limit, or returns nothing.
    """
    with tempfile.TemporaryDirectory(prefix="linewright-") as folder:
        file = Path(folder) / f"picture{command.suffix}"
        spoken, complained = Path(folder) / "spoken", Path(folder) / "complained"
        words = [
            word.replace("{file}", str(file)).replace("{sentence}", maker.asked(sentence)) for word in command.words
        ]
        with spoken.open("wb") as out, complained.open("wb") as errors:
            try:
                process = subprocess.Popen(
                    words, stdin=subprocess.DEVNULL, stdout=out, stderr=errors, **children.apart()
                )
            except (OSError, ValueError) as error:
                why = getattr(error, "strerror", None) or str(error)
                raise MakerError(
                    f"the picture maker's program {words[0]!r} cannot be started: {why}",
                    hint="check `words` in the maker's file",
                ) from error
            try:
                _watch(process, maker, (file, spoken, complained), report)
            finally:
                children.end(process)
        wrong = _tail(complained)
        if process.returncode:
            raise MakerError(
                f"the picture maker's program ended with code {process.returncode}{wrong}",
                hint="run the command of `words` in the maker's file by hand",
            )
        result = file if any("{file}" in word for word in command.words) else spoken
        if not result.exists() or not result.stat().st_size:
            where = "wrote no file" if result is file else "wrote nothing to its standard output"
            raise MakerError(f"the picture maker's program {where}{wrong}", hint="check `words` in the maker's file")
        _refuse_size(result.stat().st_size, maker)
        return result.read_bytes()


def _watch(
    process: subprocess.Popen[bytes], maker: Maker, files: tuple[Path, ...], report: Callable[[str, float], object]
) -> None:
    """Wait for the program to end, within its limits of time and output size."""
    began = time.monotonic()
    while True:
        try:
            process.wait(LOOK_S)
        except subprocess.TimeoutExpired:
            pass
        else:
            return
        taken = time.monotonic() - began
        report("waiting for the picture", min(taken / maker.timeout_s, 1.0))
        if taken > maker.timeout_s:
            raise MakerError(
                f"the picture maker's program did not end within {maker.timeout_s:g} s",
                hint="increase `timeout_s` in the maker's file",
            )
        for file in files:
            with contextlib.suppress(OSError):
                _refuse_size(file.stat().st_size, maker)


def _refuse_size(size: int, maker: Maker) -> None:
    if size > maker.size_bytes:
        raise MakerError(
            f"the picture maker's program gave {size:,} bytes and more, the limit is {maker.size_bytes:,} bytes",
            hint="ask for a smaller picture, or raise `size_mb` in the maker's file",
        )


def _tail(complained: Path) -> str:
    """The end of the program's error output, on one line."""
    data = complained.read_bytes()[-TAIL_BYTES:]
    text = " ".join(data.decode("utf-8", "replace").split())
    return f"; it said: {text}" if text else ""
