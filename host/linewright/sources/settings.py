"""Settings of a method: named fields with a range, read from text such as ``angle_deg=30,seed=4``."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from linewright.errors import InputError

_Settings = TypeVar("_Settings")


def number(meaning: str, default: float, low: float, high: float, unit: str = "", *, also: tuple[str, ...] = ()) -> Any:
    """A dataclass field for a number within a range; an integer if the default is one.

    Parameters
    ----------
    also : search words.
    """
    metadata = {"meaning": meaning, "low": low, "high": high, "unit": unit, "also": also}
    return dataclasses.field(default=default, metadata=metadata)


def seed(meaning: str = "every number gives another picture") -> Any:
    """A dataclass field for a random seed."""
    return number(meaning, 1, 0, 2**31)


def choice(meaning: str, default: str, *words: str) -> Any:
    """A dataclass field for one of a few words."""
    return dataclasses.field(default=default, metadata={"meaning": meaning, "words": words})


def text(meaning: str, default: str = "") -> Any:
    """A dataclass field for free text, checked by the method."""
    return dataclasses.field(default=default, metadata={"meaning": meaning})


@dataclass(frozen=True)
class Described:
    """A setting described for users: name, meaning, allowed values, default."""

    name: str
    meaning: str
    allowed: str
    default: str


def parse(kind: type[_Settings], name: str, words: str) -> _Settings:
    """Settings of ``kind`` from ``key=value`` pairs separated by commas.

    Parameters
    ----------
    kind : a dataclass whose fields were made by `number`, `choice` or `text`.
    name : of the method, for messages.
    words : text after the colon behind the method's name; may be empty.

    Raises
    ------
    InputError
        A key is unknown, or a value is out of range; the message lists the alternatives.
    """
    fields = {f.name: f for f in dataclasses.fields(kind) if f.metadata}  # type: ignore[arg-type]  # a dataclass
    values: dict[str, object] = {}
    for pair in filter(None, (pair.strip() for pair in words.split(","))):
        key, equals, value = (part.strip() for part in pair.partition("="))
        if key not in fields:
            listed = f"it has {', '.join(fields) or 'none'}; `linewright methods {name}` says what each does"
            raise InputError(f"{name} has no setting {key!r}", hint=f"{_meant(fields, key)}{listed}")
        if not equals or not value:
            raise InputError(f"{name}: {key} has no value", hint=f"write {key}={fields[key].default}")
        values[key] = _value(fields[key], name, value)
    return kind(**values)


def written(values: object) -> str:
    """Settings as `parse` reads them, without defaults; numbers with four digits."""
    pairs = []
    for field in dataclasses.fields(values):  # type: ignore[arg-type]  # a dataclass
        value = getattr(values, field.name)
        if field.metadata and value != field.default:
            pairs.append(f"{field.name}={value:.4g}" if isinstance(value, float) else f"{field.name}={value}")
    return ",".join(pairs)


def described(kind: type[object]) -> Iterator[Described]:
    """Every setting of a method, in the order of its fields."""
    for field in dataclasses.fields(kind):  # type: ignore[arg-type]  # a dataclass
        if field.metadata:
            yield Described(field.name, field.metadata["meaning"], _allowed(field), str(field.default))


def _meant(fields: Mapping[str, dataclasses.Field[Any]], key: str) -> str:
    """A suggestion for a wrong name, or ""."""
    near = difflib.get_close_matches(key, fields, n=1)
    near += [name for name, field in fields.items() if any(word in key for word in field.metadata.get("also", ()))]
    return f"did you mean {near[0]} ({fields[near[0]].metadata['meaning']})? " if near else ""


def _allowed(field: dataclasses.Field[Any]) -> str:
    meta = field.metadata
    if "words" in meta:
        return ", ".join(meta["words"])
    if "low" in meta:
        return f"{_plain(meta['low'])}..{_plain(meta['high'])} {meta['unit']}".rstrip()
    return "text"


def _plain(number: float) -> str:
    """All digits of integers (a seed may have ten); other numbers in short form."""
    return str(number) if isinstance(number, int) else f"{number:g}"


def _value(field: dataclasses.Field[Any], name: str, given: str) -> object:
    meta = field.metadata
    whole = isinstance(field.default, int)
    one = "one of" if "words" in meta else "a whole number of" if whole else "a number of"
    hint = f"take {one} {_allowed(field)} ({meta['meaning']})"
    wrong = InputError(f"{name}: {field.name} = {given} is outside {_allowed(field)}", hint=hint)
    if "words" in meta:
        if given not in meta["words"]:
            raise wrong
        return given
    if "low" not in meta:
        return given
    try:
        value = int(given) if whole else float(given)
    except ValueError:
        what = "whole number" if whole else "number"
        raise InputError(f"{name}: {field.name} = {given} is not a {what}", hint=hint) from None
    if not meta["low"] <= value <= meta["high"]:  # also excludes NaN
        raise wrong
    return value
