"""What goes to which stream: results to stdout, the rest to stderr; with ``--json`` one object and nothing more."""

from __future__ import annotations

import contextlib
import json
import signal
import sys
import tempfile
import traceback
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from rich.console import Console


class Stopped(Exception):
    """Ends a command that a signal has stopped; ``number`` is the signal's."""

    def __init__(self, number: int = signal.SIGINT) -> None:
        super().__init__(number)
        self.number = number


def console(*, stderr: bool = False) -> Console:
    """A console that colours and draws only on a terminal, and never breaks lines when it writes to a file."""
    from rich.console import Console

    stream = sys.stderr if stderr else sys.stdout
    width = None if stream.isatty() else 200
    return Console(stderr=stderr, highlight=False, soft_wrap=True, width=width)


def say(text: str, *, stderr: bool = False) -> None:
    """One plain line."""
    stream = sys.stderr if stderr else sys.stdout
    stream.write(text + "\n")
    stream.flush()


def emit_json(values: Mapping[str, object]) -> None:
    """The one object that ``--json`` promises."""
    say(json.dumps(values, ensure_ascii=False, allow_nan=False))


def write_file(data: bytes, to: Path, *, over: bool = False) -> None:
    """Put a result into a file, whole or not at all.

    Parameters
    ----------
    data : its bytes.
    to : the file.
    over : it may be there already, and is replaced.

    Raises
    ------
    InputError
        If it is there already and may not be replaced, or cannot be written.
    """
    from linewright.errors import InputError
    from linewright.files import replacing

    if to.exists() and not over:
        raise InputError(f"{to} exists already", hint="name another file, or remove that one first")
    try:
        with replacing(to) as stream:
            stream.write(data)
    except OSError as error:
        hint = "check the folder, its permissions and the free space"
        raise InputError(f"cannot write {to}: {error.strerror or error}", hint=hint) from error


def warn(text: str) -> None:
    """Something to know that stops nothing."""
    say(f"note: {text}", stderr=True)


def error(message: str, hint: str, *, as_json: bool) -> None:
    """What was wrong, and what to do next."""
    if as_json:
        emit_json({"error": message, "hint": hint})
        return
    say(f"linewright: {message}", stderr=True)
    if hint:
        say(f"  next: {hint}", stderr=True)


def bug(problem: Exception, *, as_json: bool) -> None:
    """Own up to a bug: short on the screen, the traceback in a file."""
    hint = "please report it with what --debug prints"
    with (
        contextlib.suppress(OSError),
        tempfile.NamedTemporaryFile(
            "w", prefix="linewright-bug-", suffix=".txt", delete=False, encoding="utf-8"
        ) as file,
    ):
        file.write("".join(traceback.format_exception(problem)))
        file.flush()
        hint = f"please report it with {file.name} (or run again with --debug)"
    error(f"this is a bug in Linewright: {type(problem).__name__}: {problem}", hint, as_json=as_json)
