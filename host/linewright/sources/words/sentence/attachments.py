"""Attachment rules: who wears a hat, what fills a basket, what a parrot sits on."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import replace
from typing import Final

from linewright.sources.words.lexicon import ADJECTIVES, BODY, COLOURS, PREPOSITIONS
from linewright.sources.words.phrases import Act, Phrase, Relation
from linewright.sources.words.sentence.abilities import (
    abilities_of,
    carries_things,
    contains_things,
    held_in_hand,
    shows_something,
    worn_where,
)
from linewright.sources.words.sentence.cursor import OWNERS
from linewright.sources.words.sentence.settings import Settings
from linewright.sources.words.store import things
from linewright.sources.words.verbs import VERBS, verb_of

_SIDES: Final = {"under": "has under", "over": "has over", "behind": "before", "before": "behind", "by": "by"}
"""Relation of an owner to the thing, by the thing's relation to its owner: "a table with a cat under it"."""

_ALSO_STILL: Final = frozenset({"hang", "float", "burn", "melt", "lean", "fall", "swing", "lie", "sail", "shine"})
"""Verbs that inanimate things can do."""

_MARKS: Final = {"spots": "spotted", "dots": "spotted", "stripes": "striped", "checks": "checked"}
_PRINTED: Final = {"leaf": "leafy", "flower": "flowery", "star": "starry", "heart": "heart-patterned"}
_IN_HAND: Final = frozenset({"hold", "hold2", "mouth", "play", "juggle", "wear", "ride"})
_BORNE: Final = frozenset({"hold", "carry", "balance", "bring", "have", "wear"})


class Attachments(Settings, ABC):
    """Parses what follows a thing, and attaches it to that thing or to its owner."""

    @abstractmethod
    def _clause(self, who: Phrase) -> bool:
        """Parse one verb or one preposition with what follows; False if there is none. `Clauses` implements it."""

    def _attach(self, who: Phrase, kind: str, phrase: Phrase) -> None:
        worn = worn_where(phrase.name)
        if kind == "in hat" and worn:
            who.relations.append(Relation("in hat" if worn == "top" else "in", phrase))
            return
        if (
            kind in ("in", "on", "with")
            and worn
            and ("acts" in abilities_of(who.name) or worn in ("top", "eyes", "neck"))
        ):
            if kind == "with" and "acts" not in abilities_of(who.name) and worn not in ("top", "eyes", "neck", "mouth"):
                who.relations.append(Relation("by", phrase))
                return
            if kind == "in" and worn == "feet" and phrase.said in ("shoe", "boot", "slipper"):
                who.relations.append(Relation("in", phrase))  # "a mouse in a boot"
                return
            if kind == "on" and worn == "top":
                who.relations.append(Relation("on", phrase))  # "a bird on a hat"
                return
            who.worn.append(phrase)
            self._cloth(phrase)
            return
        if kind == "with":
            if not self._owned(who, phrase):
                self._with(who, phrase)
            return
        if kind == "without":
            owned = things().get(who.name)
            if owned and phrase.name in (*owned.wears, *owned.holds):
                who.bare.append(phrase.name)
            else:
                self.reading.notes.append(f"{phrase.said!r} is not drawn, and nothing is taken away for it")
            return
        if kind == "as" and phrase.name in things():  # "dressed as a pirate"
            dress = things()[phrase.name].wears
            if dress and "acts" in abilities_of(who.name):
                who.worn += [Phrase(name, name) for name in dress]
            else:
                self.reading.notes.append(f"being like {phrase.said!r} is not drawn")
            return
        if kind == "of" and not shows_something(who.name):
            kind = "full of" if contains_things(who.name) else "by"
        if kind == "full of" and phrase.count == 1 and phrase.said in ("sheep", "fish", "deer", "people"):
            phrase.count = 4
        who.relations.append(Relation(kind, phrase))
        hung = kind == "of" and (
            verb_of(self._word()) == "hang" or self.tokens[self.at : self.at + 3] == ["on", "the", "wall"]
        )
        if not hung:  # "a picture of a cat hanging on the wall"
            self._object_tail(phrase, who)

    def _with(self, owner: Phrase, thing: Phrase) -> None:
        if thing.said in ("wheel", "wheels") and "wheels" in abilities_of(owner.name):
            self.reading.notes.append(f"the {thing.said} of {owner.said!r} are drawn as ever")
        elif worn_where(thing.name):
            owner.worn.append(thing)
        elif (
            owner.relations
            and contains_things(owner.relations[-1].object.name)
            and "acts" not in abilities_of(thing.name)
        ):
            owner.relations[-1].object.relations.append(Relation("full of", thing))
        elif contains_things(owner.name) and "acts" not in abilities_of(owner.name):
            owner.relations.append(Relation("full of", thing))
        else:
            owner.relations.append(Relation("with", thing))
            self._object_tail(thing, owner)

    def _owned(self, owner: Phrase, thing: Phrase) -> bool:
        """``with a parrot on his shoulder``: a thing at a part of its owner's body."""
        preposition, count = self._preposition()
        if not preposition or PREPOSITIONS[preposition] not in ("on", "in", "among", *_SIDES):
            return False
        after = self.tokens[self.at + count : self.at + count + 2]
        kind = PREPOSITIONS[preposition]
        if after[:1] in (["it"], ["them"], ["him"]) or (after[:1] == ["her"] and after[1:] in ([], [","], ["and"])):
            self.at += count + 1
            self._bears(owner, kind, thing)
            return True
        if kind == "in" and preposition == "inside" and not self.tokens[self.at + 1 : self.at + 2]:
            self.at += 1
            owner.relations.append(Relation("full of", thing))
            return True
        if after[:1] == ["top"] and (len(after) < 2 or self.lexicon.noun(after) is None) and kind == "on":
            self.at += count + 1
            owner.relations.append(Relation("bears", thing))
            return True
        if len(after) == 2 and after[0] in OWNERS - {"a", "an"} and after[1] in BODY:
            self.at += count + 2
            owner.relations.append(Relation("bears", thing, BODY[after[1]]))
            return True
        return False

    def _on_a_body(self) -> bool:
        """``on his face``: something at a part of a living body."""
        _, count = self._preposition()
        owner, part = (self.tokens[self.at + count : self.at + count + 2] + ["", ""])[:2]
        return owner in ("his", "her") or (
            owner == "its" and BODY.get(part) in ("eyes", "shoulder", "lap", "nose", "mouth", "neck")
        )

    def _bears(self, owner: Phrase, kind: str, thing: Phrase) -> None:
        """``a chair with a cat on it`` becomes a cat on a chair; an inanimate thing stays an attribute of its owner."""
        if kind == "on" and "acts" in abilities_of(thing.name) and "acts" not in abilities_of(owner.name):
            under, owner.__dict__ = replace(owner), dict(thing.__dict__)
            owner.relations = [*owner.relations, Relation("on", under)]
        else:
            owner.relations.append(Relation(_SIDES.get(kind, "bears" if kind == "on" else "full of"), thing))

    def _turned_about(self, who: Phrase, kind: str) -> None:
        """``a tree and a child under it``: attach the later subject to the earlier one."""
        if self.subjects and who is self.subjects[-1] and len(self.subjects) > 1:
            owner = self.subjects[-2]
            part = next((r.object for r in owner.relations[-1:] if r.kind == "with"), owner)
            if (
                kind in ("on", "in")
                and "acts" not in abilities_of(part.name)
                and abilities_of(part.name) & {"seats", "ridden", "carries"}
            ):
                owner = part  # "a tree with a swing and a child on it"
            if kind == "on" or kind == "in" or kind in _SIDES:
                self.subjects.pop()
                self._bears(owner, kind, who)

    def _marked(self, who: Phrase) -> bool:
        """``with pink spots``: a pattern; a note tells that its own colour is not drawn."""
        ahead = 0
        while self._word(ahead) in COLOURS or self._word(ahead) in ADJECTIVES or self._word(ahead) == "polka":
            ahead += 1
        mark = _MARKS.get(self._word(ahead), "")
        if not mark:
            return False
        colours = [w for w in self.tokens[self.at : self.at + ahead] if w in COLOURS]
        self.reading.notes += (
            [f"{' and '.join(colours)} {self._word(ahead)} are drawn in the same colour"] if colours else []
        )
        who.modifiers.append(mark)
        self.at += ahead + 1
        return True

    def _cloth(self, garment: Phrase) -> None:
        """``a hat made of leaves``: the pattern of a garment."""
        preposition, count = self._preposition()
        if PREPOSITIONS.get(preposition) != "made of":
            return
        self.at += count
        if self._word() in ADJECTIVES:
            garment.modifiers.append(ADJECTIVES[self._word()])
            self.at += 1
            return
        for one in self._noun_phrase():
            if one.name in _PRINTED:
                garment.modifiers.append(_PRINTED[one.name])
            else:
                self.reading.notes.append(f"{garment.said!r} is drawn as ever, not made of {one.said!r}")

    def _object_tail(self, thing: Phrase, who: Phrase) -> None:
        """Parse what belongs to an object rather than to its owner."""
        while True:
            if thing is not who and self._clause_of_object(thing, who):
                continue
            if self._word() in COLOURS and not self._noun_after(1):
                thing.pen = self._word()  # "painting a fence green"
                self.at += 1
                continue
            preposition, count = self._preposition()
            if not preposition:
                return
            kind = PREPOSITIONS[preposition]
            mark = self.at
            self.at += count
            place = BODY.get(self._word(1), "") if self._word() in OWNERS else ""
            act = next((act for act in who.acts if act.object is thing and act.verb in _BORNE), None)
            if kind in ("on", "in") and place and act is not None and self._word(2) != "of":
                self.at += 2  # "carrying a basket on her head"
                if place not in ("hand", "in"):
                    who.acts.remove(act)
                    who.relations.append(Relation("bears", thing, place))
                continue
            put = any(act.object is thing and act.verb in ("put", "pour") for act in who.acts)
            if put and kind in ("on", "in", "under", "over", "behind", "to") and not self._setting(preposition):
                who.relations += [Relation("by", one) for one in self._noun_phrase()]
                continue
            vessel = next((act for act in who.acts if act.object is thing and act.verb == "drink"), None)
            if vessel is not None and kind in ("from", "in") and preposition in ("from", "out of"):
                vessel.object = next(iter(self._noun_phrase()), thing)
                return
            saved = any(act.object is thing and act.verb == "find" for act in who.acts)
            if saved and kind == "from":
                high = self._noun_phrase()
                thing.relations += [
                    Relation("in" if "branch" in abilities_of(one.name) or "tree" in one.name else "on", one)
                    for one in high
                ]
                continue
            drawn = any(act.object is thing and act.verb in ("pull", "push", "drag", "tow") for act in who.acts)
            if drawn and kind in ("on", "in") and preposition != "out of":
                under = [] if self._scene_here() else self._noun_phrase()
                if under and things()[under[0].name].theme in ("vehicles", "household", "furniture"):
                    thing.relations.append(Relation(kind, under[0]))
                    continue
                self.at = mark
                return
            if preposition == "out of" and who.acts:
                into = self._noun_phrase()
                thing.relations += [Relation("in hat" if worn_where(one.name) else "in", one) for one in into]
                continue
            if kind == "full of" or (kind == "of" and (shows_something(thing.name) or contains_things(thing.name))):
                kind = "of" if shows_something(thing.name) and kind == "of" else "full of"
                for one in self._noun_phrase():
                    if kind == "full of" and one.count == 1 and one.said in ("sheep", "fish", "deer", "people"):
                        one.count = 4
                    thing.relations.append(Relation(kind, one))
                    if kind == "of" and verb_of(self._word()) != "hang":
                        self._object_tail(one, thing)
                continue
            if kind == "with":
                owned = self._noun_phrase()
                if owned and self._owned(
                    who if self._on_a_body() and "acts" not in abilities_of(thing.name) else thing, owned[0]
                ):
                    continue
                alone = bool(owned) and "acts" not in abilities_of(owned[0].name)
                if owned and (
                    "acts" in abilities_of(thing.name)
                    or carries_things(thing.name)
                    or (contains_things(thing.name) and alone)
                ):
                    # "chasing a rat with a pan": the chaser has the pan; "a cat with a hat" wears it.
                    tool = any(act.object is thing for act in who.acts) and held_in_hand(owned[0].name)
                    tool = tool and owned[0].name not in things()[thing.name].holds
                    self._with(who if tool else thing, owned[0])
                    continue
            if kind == "in":
                worn = self._noun_phrase()
                if worn and worn_where(worn[0].name) and "acts" in abilities_of(thing.name):
                    thing.worn.append(worn[0])
                    continue
                held = any(act.object is thing and VERBS[act.verb].role in _IN_HAND for act in who.acts)
                roomy = bool(worn) and things()[worn[0].name].size > 0.9 if worn and worn[0].name in things() else False
                if worn and held and roomy:  # "reading a book in bed": the reader is in bed
                    who.relations.append(Relation("in", worn[0]))
                    continue
                if worn and contains_things(worn[0].name) and not contains_things(thing.name) and thing is not who:
                    thing.relations.append(Relation("in", worn[0]))
                    continue
            self.at = mark
            return

    def _clause_of_object(self, thing: Phrase, who: Phrase) -> bool:
        """``a dog chasing a cat wearing a hat``: an act of the last named thing, if it is capable of it."""
        word, mark = self._word(), self.at
        link = word in ("who", "that", "which")
        if link:
            self.at += 1
            while self._word() in ("is", "are", "was", "were"):
                self.at += 1
            word = self._word()
        elif word == "to" and not self._infinitive():
            return False
        if not link and self._word(1) == "by" and verb_of(word) and word.endswith(("ed", "en", "n", "t", "d")):
            return thing in [r.object for r in who.relations] and self._passive(who)
        ridden = any(act.object is thing and VERBS[act.verb].role in ("ride", "in", "wear") for act in who.acts)
        if link and "acts" not in abilities_of(thing.name) and verb_of(word) == "have":
            self.at += 1
            for owned in self._noun_phrase():
                self._with(thing, owned)
            return True
        verb = verb_of(self._word(1) if word == "to" else word)
        does = bool(verb) and (link or word == "to" or word.endswith("ing"))
        able = "acts" in abilities_of(thing.name) and (link or not ridden)
        still = verb in _ALSO_STILL and not ridden and "acts" not in abilities_of(thing.name) and who.count == 1
        described = link and (word in ADJECTIVES or word in COLOURS)
        if (does and (able or (still and thing is not who and self._belongs(thing, who)))) or described:
            if word in ADJECTIVES and not verb:
                thing.modifiers.append(ADJECTIVES[word])
                self.at += 1
                return True
            if word in COLOURS:
                thing.pen = word
                self.at += 1
                return True
            return self._clause(thing)
        self.at = mark
        return False

    def _belongs(self, thing: Phrase, who: Phrase) -> bool:
        """``a bird in a cage hanging from a tree``: the cage hangs, with the bird in it."""
        near = any(r.object is thing and r.kind in ("in", "on", "with", "by") for r in who.relations)
        return near or any(act.object is thing for act in who.acts)

    def _passive(self, who: Phrase) -> bool:
        """``a cart pulled by a cow``: a cow pulls it. Returns whether a living agent is named; consumes the words."""
        mark, verb = self.at, verb_of(self._word())
        self.at += 2
        found = self._noun_phrase()
        if not found or "acts" not in abilities_of(found[0].name):
            self.at = mark
            return False
        under, who.__dict__ = replace(who), dict(found[0].__dict__)
        who.acts = [Act(verb, under)]
        return True

    def _is_new_subject(self, *, wears: bool = False) -> bool:
        """``a duck in a hat and a duck in a bonnet``: whether the words after "and" start a subject with its own
        clause.
        """
        with self._looking_ahead():
            self.at += 1
            phrases = self._noun_phrase()
            preposition, _ = self._preposition()
            verb = self._verb() if self._word() else ""
            clause = preposition in ("in", "with", "on", "under") or self._word() in ("who", "that", "which")
            new = bool(phrases) and bool(clause or (verb and self._word() != "and"))
            return new and ("acts" in abilities_of(phrases[0].name) or (wears and not worn_where(phrases[0].name)))
