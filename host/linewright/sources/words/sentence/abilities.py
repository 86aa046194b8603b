"""Queries to the store: what a named thing can do, hold and show, and where it is worn."""

from __future__ import annotations

from linewright.sources.words.store import things


def abilities_of(name: str) -> frozenset[str]:
    """Its abilities, such as "acts", "seats" and "contains"; empty for things not in the store."""
    thing = things().get(name)
    return thing.can if thing else frozenset()


def shows_something(name: str) -> bool:
    """Whether it is a picture that shows something."""
    return name in ("picture", "statue", "easel", "mirror", "postcard", "television")


def carries_things(name: str) -> bool:
    """Whether it carries loads and is not alive: a cart, a tray."""
    return "carries" in abilities_of(name) and "acts" not in abilities_of(name)


def contains_things(name: str) -> bool:
    """Whether it can contain something."""
    return "contains" in abilities_of(name)


def held_in_hand(name: str) -> bool:
    """Whether it is used by hand and not worn."""
    thing = things().get(name)
    return thing is not None and not thing.worn and thing.theme in ("tools", "household", "sport and play")


def always_plural(name: str) -> bool:
    """Whether its name is always a plural: boots, scissors."""
    thing = things().get(name)
    return bool(thing and thing.worn) or name.endswith("s")


def worn_where(name: str) -> str:
    """Where the thing is worn; empty if it is not."""
    thing = things().get(name)
    return thing.worn if thing else ""
