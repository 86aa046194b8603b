"""What the store says of a thing that a sentence names: what it can do, hold and show, and where it is worn."""

from __future__ import annotations

from linewright.sources.words.store import things


def abilities_of(name: str) -> frozenset[str]:
    """What it can do, such as "acts", "seats" and "contains"; nothing for what the store does not have."""
    thing = things().get(name)
    return thing.can if thing else frozenset()


def shows_something(name: str) -> bool:
    """Whether it is a picture of something."""
    return name in ("picture", "statue", "easel", "mirror", "postcard", "television")


def carries_things(name: str) -> bool:
    """Whether it bears loads and does not live: a cart, a tray."""
    return "carries" in abilities_of(name) and "acts" not in abilities_of(name)


def contains_things(name: str) -> bool:
    """Whether something can be in it."""
    return "contains" in abilities_of(name)


def held_in_hand(name: str) -> bool:
    """Whether it is used by hand, and not worn."""
    thing = things().get(name)
    return thing is not None and not thing.worn and thing.theme in ("tools", "household", "sport and play")


def always_plural(name: str) -> bool:
    """Whether its name is always a plural: boots, scissors."""
    thing = things().get(name)
    return bool(thing and thing.worn) or name.endswith("s")


def worn_where(name: str) -> str:
    """Where a thing is worn, or nothing."""
    thing = things().get(name)
    return thing.worn if thing else ""
