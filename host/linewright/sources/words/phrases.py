"""What a sentence says, as `reading` finds it: things with what they do, wear and are, and where."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Act:
    """Something that is done, and to what; ``strange``: to something that is not known."""

    verb: str
    object: Phrase | None = None
    strange: bool = False


@dataclass
class Relation:
    """Where something is: ``on``, ``in``, ``by`` and so on; ``place`` is a part of what it refers to."""

    kind: str
    object: Phrase
    place: str = ""


@dataclass
class Phrase:
    """A thing in the picture with all that is said of it.

    Parameters
    ----------
    name : of the thing in the store.
    said : the word that was used.
    count : how many.
    modifiers : adjectives, by the names of `modifiers.MODIFIERS`.
    pen : a colour's name, or nothing.
    worn : things that it wears.
    acts, relations : what it does, and where it is.
    other_half : the thing that its right half is, or nothing.
    lined : several of it stand in one row.
    stacked : several of it stand one on the other.
    fellows : so many subjects before it are where it is: "a king and a queen in a boat".
    bare : it is without what it wears by nature: the names of that.
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
        """This and all that belongs to it."""
        found = [self]
        for act in self.acts:
            found += act.object.everything() if act.object else []
        for one in (*self.worn, *(relation.object for relation in self.relations)):
            found += one.everything()
        return found


@dataclass
class Reading:
    """What a sentence says.

    Parameters
    ----------
    subjects : who or what the picture is of.
    scenes : where, by the names of `scenes.SCENES`, each with whether its figures are afloat.
    above : they are in the air above that.
    unknown : words that are not known, with the nearest that are.
    notes : what is drawn a little differently from what was said.
    """

    subjects: list[Phrase] = field(default_factory=list)
    scenes: dict[str, bool] = field(default_factory=dict)
    above: bool = False
    unknown: dict[str, tuple[str, ...]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
