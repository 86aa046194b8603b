"""Commands that take all their options as one dataclass, shown to the parser as separate options."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from dataclasses import MISSING, fields, is_dataclass
from typing import Any, TypeVar, get_type_hints

Options = TypeVar("Options")
Result = TypeVar("Result")


def expanded(command: Callable[[Options], Result]) -> Callable[..., Result]:
    """A command with one parameter for each field of its only argument, in the order of the fields.

    The argument is a dataclass. A field that is itself a dataclass is replaced by its fields.
    """
    [kind] = [hint for name, hint in get_type_hints(command).items() if name != "return"]

    def called(**given: Any) -> Result:
        return command(_collected(kind, given))

    parameters = list(_parameters(kind))
    hints = get_type_hints(command)
    called.__doc__ = command.__doc__
    called.__name__ = command.__name__
    called.__module__ = command.__module__
    called.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]  # `inspect.signature` reads it
    called.__annotations__ = {one.name: one.annotation for one in parameters} | {
        name: hint for name, hint in hints.items() if name == "return"
    }
    return called


def _parameters(kind: type[Any]) -> Iterator[inspect.Parameter]:
    hints = get_type_hints(kind, include_extras=True)
    for field in fields(kind):
        if is_dataclass(hints[field.name]):
            yield from _parameters(hints[field.name])
            continue
        default = inspect.Parameter.empty if field.default is MISSING else field.default
        kind_of = inspect.Parameter.KEYWORD_ONLY
        yield inspect.Parameter(field.name, kind_of, default=default, annotation=hints[field.name])


def _collected(kind: type[Options], given: dict[str, Any]) -> Options:
    hints = get_type_hints(kind)
    values = {
        field.name: _collected(hints[field.name], given) if is_dataclass(hints[field.name]) else given[field.name]
        for field in fields(kind)  # type: ignore[arg-type]  # a dataclass
        if is_dataclass(hints[field.name]) or field.name in given
    }
    return kind(**values)
