"""The store of things: what can be drawn without a picture maker, by theme."""

from __future__ import annotations

from functools import cache
from typing import Final

from linewright.sources.words.store.animals_air import BIRDS
from linewright.sources.words.store.animals_land import ANIMALS
from linewright.sources.words.store.animals_water import CREEPERS, WATER
from linewright.sources.words.store.buildings import BUILDINGS
from linewright.sources.words.store.clothes import CLOTHES
from linewright.sources.words.store.entry import Thing
from linewright.sources.words.store.household import FURNITURE, HOUSEHOLD
from linewright.sources.words.store.instruments import INSTRUMENTS
from linewright.sources.words.store.nature import FOOD, PLANTS, SKY
from linewright.sources.words.store.people import PEOPLE, SPECIAL
from linewright.sources.words.store.tales import CREATURES
from linewright.sources.words.store.tools import MACHINES, SPORT, TOOLS
from linewright.sources.words.store.vehicles import VEHICLES

__all__ = ["Thing", "names", "things"]

_CHAPTERS: Final = (
    PEOPLE, ANIMALS, BIRDS, WATER, CREEPERS, CREATURES, VEHICLES, BUILDINGS, PLANTS, FOOD, INSTRUMENTS, TOOLS, MACHINES,
    SPORT, FURNITURE, HOUSEHOLD, SKY, CLOTHES, SPECIAL,
)  # fmt: skip


@cache
def things() -> dict[str, Thing]:
    """All things by their first name."""
    return {thing.name: thing for chapter in _CHAPTERS for thing in chapter}


@cache
def names() -> dict[str, str]:
    """Every word for a thing, with the name under which it stands."""
    found: dict[str, str] = {}
    for thing in things().values():
        for word in (thing.name, *thing.also):
            found.setdefault(word, thing.name)
    return found
