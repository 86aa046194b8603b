"""Catalogue of drawing methods, patterns and lettering styles with their settings; conversion between page values and
arrangement text.
"""

from __future__ import annotations

import contextlib
import dataclasses
from typing import Any, Final

from linewright.errors import InputError
from linewright.sources import methods

LETTERINGS: Final = ("text", "sentence")


def catalogue() -> dict[str, list[dict[str, Any]]]:
    """``methods`` for pictures, ``patterns`` and ``letterings``. Every method is loaded, which takes a second."""
    from linewright.sources.preparation import Preparation

    prepared = {field.name for field in dataclasses.fields(Preparation)}
    found: dict[str, list[dict[str, Any]]] = {"methods": [], "patterns": [], "letterings": []}
    for name, one in methods.usable().items():
        kind = "patterns" if one.takes == "seed" else "letterings" if one.takes in LETTERINGS else "methods"
        try:
            fields = dataclasses.fields(one.kind())  # type: ignore[arg-type]  # a dataclass
        except InputError:
            continue  # a package that cannot be used; `linewright methods` says why
        # The method's own settings come before those for preparing a photograph.
        own = sorted(fields, key=lambda field: field.name in prepared)
        settings = [_setting(field) for field in own if field.metadata]
        found[kind].append({"name": name, "about": one.about, "takes": one.takes, "settings": settings})
    return found


def load() -> None:
    """Load every method, before a setting that is changed has to be checked."""
    for one in methods.usable().values():
        with contextlib.suppress(InputError):
            one.kind()


def _setting(field: dataclasses.Field[Any]) -> dict[str, Any]:
    meta = field.metadata
    whole = isinstance(field.default, int)
    kind = "choice" if "words" in meta else "text" if "low" not in meta else "whole" if whole else "number"
    return {
        "name": field.name,
        "meaning": meta["meaning"],
        "kind": kind,
        "low": meta.get("low"),
        "high": meta.get("high"),
        "unit": meta.get("unit", ""),
        "choices": list(meta.get("words", ())),
        "default": field.default,
    }


def words_of(said: object) -> str:
    """A method with its settings as arrangement text, from the page's ``{name, settings}``.

    Raises
    ------
    InputError : the value is malformed. Whether the method exists is checked by the arrangement.
    """
    wrong = InputError("a method is a name with settings", hint='such as {"name": "waves", "settings": {"rows": 40}}')
    if not isinstance(said, dict) or not isinstance(said.get("name"), str) or set(said) - {"name", "settings"}:
        raise wrong
    settings = said.get("settings") or {}
    if not isinstance(settings, dict):
        raise wrong
    pairs = []
    for key, value in settings.items():
        if isinstance(value, bool) or not isinstance(value, int | float | str) or "," in str(value):
            raise InputError(f"{key} = {value!r} is no setting", hint="send a number or a word")
        pairs.append(f"{key}={value}")
    name: str = said["name"]
    return f"{name}:{','.join(pairs)}" if pairs else name


def value_of(words: str | None) -> dict[str, Any] | None:
    """Inverse of `words_of`; numeric values become numbers."""
    if words is None:
        return None
    name, _, rest = words.partition(":")
    settings: dict[str, Any] = {}
    for pair in filter(None, (pair.strip() for pair in rest.split(","))):
        key, _, value = (part.strip() for part in pair.partition("="))
        settings[key] = _number(value)
    return {"name": name.strip(), "settings": settings}


def _number(value: str) -> int | float | str:
    for kind in (int, float):
        try:
            return kind(value)
        except ValueError:
            continue
    return value
