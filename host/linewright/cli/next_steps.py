"""Completes printed commands: quoted, and with the options that select the same machine.

Messages contain commands in backquotes. The ``--rig`` and ``--port`` options needed to select the same machine again
are added here only.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

from linewright.cli import target

if TYPE_CHECKING:
    from linewright.cli.target import Target

PROGRAM: Final = "linewright"
_PORT: Final = "--port"
_PRINTED: Final = re.compile(rf"`{PROGRAM} ([^`]+)`")
_OWN_MACHINE: Final = ("virtual", "resume")
"""Commands without these options: a virtual rig needs none, and a drawing's journal has its machine."""


_known: list[Callable[[], Any]] = []


def know(commands: Callable[[], Any]) -> None:
    """Set the function that returns the command tree; it is called when a command is printed."""
    _known[:] = [commands]


def command(*words: object, about: Target | None = None) -> str:
    """A complete command to be typed next.

    Parameters
    ----------
    words : words after the program's name.
    about : the machine; None: that of the running command.

    Examples
    --------
    >>> command("words", "list", "an owl")
    "linewright words list 'an owl'"
    """
    typed = [str(word) for word in words]
    return " ".join((PROGRAM, *map(_quoted, typed), *map(_quoted, _missing(typed, about or target.current()))))


def completed(text: str) -> str:
    """A message with the commands in its backquotes completed."""
    if f"`{PROGRAM} " not in text or target.current() is None:
        return text
    return _PRINTED.sub(lambda found: f"`{_whole(found[1])}`", text)


def _whole(typed: str) -> str:
    try:
        words = shlex.split(typed)
    except ValueError:
        return f"{PROGRAM} {typed}"
    extra = _missing(words, target.current())
    return " ".join((PROGRAM, typed, *map(_quoted, extra)))


def _quoted(word: str) -> str:
    """Quoted for a shell; placeholders in capitals are left readable."""
    return shlex.quote(word)


def _missing(words: list[str], about: Target | None) -> list[str]:
    """Options to be added to a command so that it selects the same machine."""
    found = _parsed(words)
    if about is None or found is None:
        return []
    options, takes_file, positionals, needed = found
    extra: list[str] = []
    given = {word.partition("=")[0] for word in words}
    if about.rig_named:
        file = str(about.rig_file or target.DEFAULT)
        if "--rig" in options and not given & {"--rig", "-r"}:
            extra += ["--rig", file]
        elif takes_file and positionals == 0:
            extra.append(file)
    if _PORT in needed and "--port" not in given:
        return [*extra, "--port", about.port if about.port.startswith("serial:") else "serial:PATH"]
    # The port of a real machine that answered is remembered.
    remembered = about.rig_file is not None and about.board and not about.on_virtual_rig
    if about.port_named and not remembered and "--port" in options and "--port" not in given:
        extra += ["--port", about.port]
    return extra


def _parsed(words: list[str]) -> tuple[set[str], bool, int, set[str]] | None:
    """Options of a command, whether its argument is a rig file, the number of given arguments, and required options.

    None if the words are no command.
    """
    if not _known:
        return None
    place = _known[0]()
    rest = list(words)
    path: list[str] = []
    while hasattr(place, "commands") and rest and rest[0] in place.commands:
        path.append(rest.pop(0))
        place = place.commands[path[-1]]
    if not path or hasattr(place, "commands") or path[0] in _OWN_MACHINE:
        return None
    options = {option for param in place.params for option in param.opts}
    takes_file = path[0] == "rig" and any(param.name == "file" for param in place.params)
    positionals = _arguments(rest, place)
    needed = {option for param in place.params if param.required for option in param.opts}
    if path == ["board", "flash"] and not any(word.startswith("--image") for word in rest):
        needed.add(_PORT)  # only a board in BOOTSEL mode needs no port
    return options, takes_file, positionals, needed


def _arguments(rest: list[str], place: Any) -> int:
    """Number of arguments among the words after a command's name."""
    flags = {option for param in place.params for option in param.opts if getattr(param, "is_flag", False)}
    count, skip = 0, False
    for word in rest:
        if skip:
            skip = False
        elif word.startswith("-") and len(word) > 1:
            skip = "=" not in word and word not in flags
        else:
            count += 1
    return count
