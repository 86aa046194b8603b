"""Noun phrases: number, adjectives and clothes."""

from __future__ import annotations

from typing import Final

from linewright.sources.words.kinds import LOOSE
from linewright.sources.words.lexicon import (
    ADJECTIVES,
    COLOURS,
    GROUPS,
    IDLE,
    MOST,
    NUMBERS,
    PAPER,
    PREPOSITIONS,
    WORN_BY_ADJECTIVE,
    YOUNG,
    singulars,
)
from linewright.sources.words.phrases import Phrase
from linewright.sources.words.sentence.abilities import abilities_of, always_plural
from linewright.sources.words.sentence.cursor import LINES, Cursor
from linewright.sources.words.store import things
from linewright.sources.words.verbs import VERBS, verb_of

_PARENTS: Final = frozenset({"mother", "father", "mum", "dad", "mummy", "daddy"})
_BABIES: Final = frozenset({"baby", "babies", "young", "child", "children"})


class Nouns(Cursor):
    """Parses noun phrases."""

    def _noun_phrase(self) -> list[Phrase]:
        """Parse a noun with its number and adjectives; empty if none follows. Unknown words are noted."""
        mark = self.at
        count, pen = 1, ""
        modifiers: list[str] = []
        worn: list[str] = []
        unknown: list[str] = []
        exact = lined = stacked = paired = False
        while self.at < len(self.tokens):
            word = self._word()
            if word in (",", "and") and modifiers and (self._word(1) in ADJECTIVES or self._word(1) in COLOURS):
                self.at += 1
                continue
            if word in (",", "and"):
                break
            if (pair := self._half()) is not None:
                pair.modifiers[:0] = modifiers
                pair.count, pair.pen = min(count, MOST), pair.pen or pen
                self.told.add(pair.name)
                return [pair]
            if self._group_of():
                lined = lined or self.tokens[self.at] in LINES
                stacked = stacked or self.tokens[self.at] in ("stack", "tower", "column")
                count = max(count, GROUPS[self.tokens[self.at]])
                self.at += 2
                exact = True
                continue
            noun = self._noun()
            if noun is not None:
                name, plural, said, words = noun
                self.at += words
                if (dress := self._dressed_by(name)) is not None:
                    worn += dress
                    continue
                if said == "baby" and (later := self._noun()) is not None and "acts" in abilities_of(later[0]):
                    modifiers.append("small")  # "a baby elephant"
                    continue
                dress = self._dresses(name)
                worn += dress
                if not dress and self._compound():
                    first = self.at - words
                    later = self._noun()
                    if later is not None and " ".join(self.tokens[first : self.at]) in ADJECTIVES:
                        modifiers.append(ADJECTIVES[" ".join(self.tokens[first : self.at])])
                        continue
                    self.reading.notes.append(
                        f"{' '.join(self.tokens[first : self.at + (later[3] if later else 0)])!r} is drawn as "
                        f"{later[0] if later else name!r}"
                    )
                    continue
                if plural and count == 1 and not exact and not always_plural(name):
                    count = 3
                if paired and always_plural(name):
                    count = max(1, count // 2)  # the store's "shoes" are a pair
                if count > MOST:
                    self.reading.notes.append(f"{count} of {said!r} are drawn as {MOST}")
                if said in _PARENTS | _BABIES and (kin := self._kin()):
                    name = kin
                    modifiers.append("big" if said in _PARENTS else "small")
                if YOUNG & {one for one, _ in singulars(said.split()[-1])}:
                    modifiers.append("small")
                if LOOSE & {one for one, _ in singulars(said)}:
                    self.reading.notes.append(f"{said!r} is drawn as {name!r}")
                phrase = Phrase(name, said, min(count, MOST), modifiers, pen, lined=lined, stacked=stacked)
                phrase.worn = [Phrase(one, one) for one in worn]
                self._note_unknown(unknown)
                self.told.add(name)
                return [phrase]
            paired = paired or word in ("pair", "pairs")
            if word in NUMBERS or word.isdigit():
                count = NUMBERS.get(word) or max(1, int(word[:6]))
                exact = word not in ("a", "an")
            elif word in COLOURS:
                pen = word
            elif word == "black":
                modifiers.append("black")
            elif word in PAPER:
                pass
            elif word in WORN_BY_ADJECTIVE:
                worn.append(WORN_BY_ADJECTIVE[word])
            elif word in ADJECTIVES:
                modifiers.append(ADJECTIVES[word])
            elif word.endswith("-headed") and word.split("-")[0] in ("two", "three"):
                modifiers.append("two-headed")
            elif word in IDLE or word == "of":
                pass
            elif word in PREPOSITIONS or (verb_of(word) and (unknown or not self._verb_as_adjective())):
                break
            elif verb_of(word):
                self._verb_adjective(word, modifiers)
            elif self._scene_here() and not self._noun_after(1):
                return []
            elif word.endswith(("'s", "s'")) and self._noun_after(1):
                self.reading.notes.append(f"whose it is ({word}) is not drawn")
            else:
                unknown.append(word)
            self.at += 1
        if unknown:
            self._note_unknown(unknown)
            return []
        if not (set(self.tokens[mark : self.at]) - IDLE - set(NUMBERS)):
            return []
        self.at = mark
        return []

    def _half(self) -> Phrase | None:
        """``half fish half cat``, ``half a fish and half a cat``."""
        if self._word() not in ("half", "half-"):
            return None
        mark = self.at
        names = []
        while self._word() in ("half", "and", "a", "an", ","):
            self.at += 1
            noun = self._noun()
            if noun is not None:
                names.append(noun[0])
                self.at += noun[3]
        if len(names) != 2:
            self.at = mark
            return None
        if self._word() in ("creature", "thing", "monster", "animal", "beast"):
            self.at += 1
        return Phrase(names[0], f"half {names[0]}, half {names[1]}", other_half=names[1])

    def _kin(self) -> str:
        """``its mother``: an animal of the same kind as the one named before."""
        owned = self.at >= 2 and self.tokens[self.at - 2] in ("its", "their", "her")
        animal = self.subjects[-1].name if self.subjects else ""
        return animal if owned and "acts" in abilities_of(animal) and "person" not in abilities_of(animal) else ""

    def _dressed_by(self, name: str) -> list[str] | None:
        """``pirate cat``, ``frog prince``: clothes that an animal takes from such a kind of people; None if it is not
        that.
        """
        other = self._next_noun()
        if other is None or "acts" not in abilities_of(name) or "acts" not in abilities_of(other[0]):
            return None
        if "person" in abilities_of(name) and "person" not in abilities_of(other[0]):
            return list(things()[name].wears) or None
        return None

    def _dresses(self, name: str) -> list[str]:
        """``frog prince``: the clothes of the kind of people named after an animal; consumes its words."""
        other = self._next_noun()
        if (
            other is None
            or other[1]
            or "acts" not in abilities_of(name)
            or "person" in abilities_of(name)
            or "person" not in abilities_of(other[0])
        ):
            return []
        dress = list(things()[other[0]].wears)
        self.at += other[3] if dress else 0
        return dress

    def _compound(self) -> bool:
        """``harbour seal``: whether another noun follows immediately, which is then the thing meant."""
        word = self._word()
        return (
            bool(word) and word not in IDLE and word not in NUMBERS and word not in PREPOSITIONS
            and word not in COLOURS and word not in ADJECTIVES and self._noun() is not None
            and not (verb_of(word) and word.endswith(("s", "ing", "ed")) and self._plain_verb(word))
        )  # fmt: skip

    def _plain_verb(self, word: str) -> bool:
        """``a dog chases``: whether the word is a verb form that is also a plural, with an object after it."""
        return word.endswith(("ing", "ed")) or self._starts_noun(1) or bool(self._word(1) in PREPOSITIONS)

    def _verb_as_adjective(self) -> bool:
        """``a sleeping cat``: whether it is a form in -ing or -ed directly before the first noun."""
        word = self._word()
        if not word.endswith(("ing", "ed")):
            return False
        following = self._word(1)
        if following in ("a", "an", "the") or following in PREPOSITIONS:
            return False
        return self._noun_after(1) and (self.at == 0 or self.tokens[self.at - 1] not in ("who", "that"))

    def _verb_adjective(self, word: str, modifiers: list[str]) -> None:
        verb = VERBS.get(verb_of(word))
        if verb is not None and verb.sign:
            modifiers.append(verb.sign if verb.sign != "howling" else "singing")
        else:
            modifiers.append(f"verb {verb_of(word)}")
