"""Messages for errors of the command-line parser: option, value, and what is allowed."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from typing import Final

_MEANT: Final = {
    "out": ("--pictures", "--output"),
    "folder": ("--pictures", "--output"),
    "file": ("--output",),
    "size": ("--sheet",),
    "paper": ("--sheet",),
    "method": ("--as",),
    "config": ("--rig",),
    "device": ("--port",),
    "rotate": ("--turn",),
    "scale": ("--fit", "--keep"),
    "quick": ("--effort",),
    "best": ("--effort",),
    "border": ("--frame",),
    "title": ("--caption",),
    "colours": ("--pens",),
    "colors": ("--pens",),
    "time": ("--within",),
    "slow": ("--speed",),
    "start": ("--from-stroke",),
    "rehearse": ("--port",),
    "simulate": ("--port",),
    "dry-run": ("--port",),
    "overwrite": ("--replace",),
    "force": ("--replace", "--yes"),
}
"""Common names for options that have another name here."""


def words(error: Exception, argv: Sequence[str]) -> str:
    """The message for a parser error.

    Parameters
    ----------
    error : exception of the parser, with ``format_message()``.
    argv : as typed, for values that the exception does not contain.
    """
    if unknown := _unknown_option(error):
        return unknown
    own = str(error.format_message())  # type: ignore[attr-defined]  # parser errors have this method
    if said := _unnamed(own, getattr(error, "ctx", None)):
        return said
    parameter = getattr(error, "param", None)
    if own.startswith("Missing "):
        return f"{_name(parameter)} is missing: {_help(parameter)}"
    found = getattr(error.__cause__, "errors", None)
    if callable(found):
        # A value of the wrong type or out of range: pydantic lists the errors.
        first = found()[0]
        kind, value = str(first["type"]), first["input"]
        name = _name(parameter)
        low, high = _bounds(parameter)
        allowed = _allowed(low, high)
        if kind.startswith("int_") or kind == "int_type":
            return f"{name}: {value!r} is not a whole number{allowed}"
        if kind.startswith("float_") or kind == "finite_number":
            return f"{name}: {value!r} is not a number{allowed}"
        if kind in ("greater_than_equal", "less_than_equal"):
            return f"{name}: {value} is out of range{allowed}"
        if choice := re.search(r"'(.*)' is not one of (.*)\.", str(first["msg"])):
            return f"{name}: {choice[1]!r} is not one of {choice[2].replace(chr(39), '')}"
    return own.replace("Value error, ", "") + _given(parameter, argv)


def _unknown_option(error: Exception) -> str:
    """Message for an unknown option, with similar ones; "" for other errors.

    The parser's own suggestions are poor, such as --effort for a folder.
    """
    name, context = getattr(error, "option_name", None), getattr(error, "ctx", None)
    if not isinstance(name, str) or context is None or not hasattr(error, "possibilities"):
        return ""
    known = [option for param in context.command.params for option in (*param.opts, *param.secondary_opts)]
    meant = [option for option in _MEANT.get(name.removeprefix("--"), ()) if option in known]
    meant = meant or difflib.get_close_matches(name, known, cutoff=0.75)
    return f"No such option: {name}" + (f" (do you mean {' or '.join(meant)}?)" if meant else "")


def _unnamed(own: str, context: object) -> str:
    """Message for parser errors that name no parameter; "" for other errors."""
    if found := re.match(r"No such command '(.*?)'\.", own):
        known = list(getattr(getattr(context, "command", None), "commands", ()))
        meant = difflib.get_close_matches(found[1], known, cutoff=0.6)
        return f"there is no command {found[1]!r}" + (f" (do you mean {' or '.join(meant)}?)" if meant else "")
    if found := re.fullmatch(r"Option '(.*)' requires (?:an argument|\d+ arguments)\.", own):
        return f"{found[1]}: its value is missing"
    if found := re.fullmatch(r"Got unexpected extra arguments?(?:\(s\))? \((.*)\)", own):
        return f"{found[1]}: this command takes fewer arguments; put a name with spaces in quotes"
    return ""


def _name(parameter: object) -> str:
    """An option by its long name, an argument as the help shows it."""
    name = max(getattr(parameter, "opts", ()), key=len, default="")
    return name if name.startswith("-") else str(getattr(parameter, "display_name_raw", "") or "the value")


def _help(parameter: object) -> str:
    """The help text of an option, in lower case for use within a sentence."""
    words = str(getattr(parameter, "help", "") or "the command needs it").rstrip(".")
    return words[:1].lower() + words[1:]


def _bounds(parameter: object) -> tuple[float | None, float | None]:
    get = getattr(parameter, "get_runtime_param", None)
    info = getattr(get(), "parameter_info", None) if callable(get) else None
    return getattr(info, "min", None), getattr(info, "max", None)


def _allowed(low: float | None, high: float | None) -> str:
    if low is not None and high is not None:
        return f"; allowed is {low:.12g} to {high:.12g}"
    if low is not None:
        return f"; allowed is {low:.12g} or more"
    return "" if high is None else f"; allowed is {high:.12g} or less"


def _given(parameter: object, argv: Sequence[str]) -> str:
    """The value after the option in question, because the parser's message does not always have it."""
    for option in getattr(parameter, "opts", ()):
        for word, after in zip(argv, [*argv[1:], ""], strict=True):
            if word == option and after:
                return f" (given: {after})"
            if word.startswith(f"{option}=") and option.startswith("--"):
                return f" (given: {word.partition('=')[2]})"
    return ""
