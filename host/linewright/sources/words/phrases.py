"""Result of `reading`: things with their acts, clothes, attributes and places."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Act:
    """An action and its object; ``strange``: the object is an unknown word."""

    verb: str
    object: Phrase | None = None
    strange: bool = False


@dataclass
class Relation:
    """Position relative to something: ``on``, ``in``, ``by`` and so on; ``place`` is a part of that."""

    kind: str
    object: Phrase
    place: str = ""


@dataclass
class Phrase:
    """A thing in the picture with all its attributes.

    Parameters
    ----------
    name : of the thing in the store.
    said : the word that was used.
    count : how many.
    modifiers : adjectives, by the names of `modifiers.MODIFIERS`.
    pen : a colour's name, or nothing.
    worn : things that it wears.
    acts, relations : its acts and its places.
    other_half : the thing whose right half replaces its own, or empty.
    lined : several of it stand in one row.
    stacked : several of it stand one on the other.
    fellows : number of preceding subjects that share its place: "a king and a queen in a boat".
    bare : names of its usual clothes that it lacks.
    """

    name: str
    said: str = ""
    count: int = 1
    modifiers: list[str] = field(default_factory=list)
    pen: str = ""
    worn: list[Phrase] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)
    relations: list[Relation] = field(default_factory=list)
    other_half: str = ""
    lined: bool = False
    stacked: bool = False
    fellows: int = 0
    bare: list[str] = field(default_factory=list)

    def everything(self) -> list[Phrase]:
        """This phrase and all phrases that belong to it."""
        found = [self]
        for act in self.acts:
            found += act.object.everything() if act.object else []
        for one in (*self.worn, *(relation.object for relation in self.relations)):
            found += one.everything()
        return found


@dataclass
class Reading:
    """Meaning of a sentence.

    Parameters
    ----------
    subjects : the figures and things of the picture.
    scenes : places, by the names of `scenes.SCENES`, each with whether its figures float.
    above : the subjects are in the air above the scene.
    unknown : unknown words, each with the nearest known ones.
    notes : differences between drawing and sentence.
    """

    subjects: list[Phrase] = field(default_factory=list)
    scenes: dict[str, bool] = field(default_factory=dict)
    above: bool = False
    unknown: dict[str, tuple[str, ...]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
