"""Output streams: results go to stdout, the rest to stderr; with ``--json`` stdout has one object only."""

from __future__ import annotations

import contextlib
import json
import re
import shutil
import sys
import tempfile
import textwrap
import traceback
from collections.abc import Callable, Mapping
from typing import IO, TYPE_CHECKING, Any, TextIO, cast

from linewright.system import signals

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text


class Stopped(Exception):
    """Raised when a signal has stopped a command; ``number`` is the signal's."""

    def __init__(self, number: int = signals.INTERRUPT) -> None:
        super().__init__(number)
        self.number = number


def console(*, stderr: bool = False) -> Console:
    """A console that uses colours and the terminal's width only on a terminal, and never breaks lines in a file."""
    from rich.console import Console

    class Whole(Console):
        """Completes the commands in tables."""

        def render_str(self, text: str, **settings: Any) -> Text:
            return super().render_str(seen(_complete(text)), **settings)

    stream = sys.stderr if stderr else sys.stdout
    if stream.isatty():
        return Whole(stderr=stderr, highlight=False)
    return Whole(file=cast("IO[str]", _Trimmed(stream)), highlight=False, soft_wrap=True, width=200)


class _Trimmed:
    """A file wrapper that strips trailing blanks, with which tables pad their columns."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        self._stream.write(re.sub(r" +$", "", text, flags=re.MULTILINE))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


_completes: list[Callable[[str], str]] = []


def completed_by(complete: Callable[[str], str]) -> None:
    """Set the function that completes commands in all output."""
    _completes[:] = [complete]


def _complete(text: str) -> str:
    for complete in _completes:
        text = complete(text)
    return text


def say(text: str, *, stderr: bool = False) -> None:
    """Print one plain line."""
    stream = sys.stderr if stderr else sys.stdout
    stream.write(seen(_complete(text)) + "\n")
    stream.flush()


_UNSEEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Characters that move a terminal's cursor, change its colours, or reverse text (ECMA-48 C0, C1; Unicode bidi)."""


def seen(text: str) -> str:
    r"""The text with such characters escaped, because text from files and boards must not control the terminal.

    Examples
    --------
    >>> print(seen("layer \x9b31m"))
    layer \x9b31m
    """
    return _UNSEEN.sub(lambda found: ascii(found[0])[1:-1], text)


def prose(text: str, *, stderr: bool = False) -> None:
    """Print text that wraps between words on a narrow terminal; commands in it are not broken, so that they can be
    copied.
    """
    stream = sys.stderr if stderr else sys.stdout
    whole = _complete(text)
    if stream.isatty():
        whole = broken(whole, shutil.get_terminal_size().columns)
    say(whole, stderr=stderr)


def broken(text: str, columns: int) -> str:
    """Text wrapped to ``columns``, between words.

    Examples
    --------
    >>> print(broken("home first: `linewright board home`, then draw", 20))
    home first:
      `linewright board home`,
      then draw
    """
    kept = re.sub(r"`[^`]*`", lambda found: found[0].replace(" ", _GLUE), text)
    lines: list[str] = []
    for line in kept.split("\n"):
        indent = line[: len(line) - len(line.lstrip())]
        lines += textwrap.wrap(
            line, max(columns, 20), subsequent_indent=f"{indent}  ", break_long_words=False, break_on_hyphens=False
        ) or [line]
    return "\n".join(lines).replace(_GLUE, " ")


_GLUE = "\N{WORD JOINER}"
"""Placeholder for a blank at which a line must not be broken."""


def emit_json(values: Mapping[str, object]) -> None:
    """Print the JSON object of ``--json``."""
    text = json.dumps(values, ensure_ascii=False, allow_nan=False)
    say(_UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text))


def warn(text: str) -> None:
    """Print a warning."""
    prose(f"note: {text}", stderr=True)


def error(message: str, hint: str, *, as_json: bool) -> None:
    """Print an error and its hint."""
    if as_json:
        emit_json({"error": _complete(message), "hint": _complete(hint)})
        return
    prose(f"linewright: {message}", stderr=True)
    if hint:
        prose(f"  next: {hint}", stderr=True)


def bug(problem: Exception, *, as_json: bool) -> None:
    """Report a bug: one line on the screen, the traceback in a file."""
    hint = "please report it with the output of --debug"
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
