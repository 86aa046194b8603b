"""`read`: from an English sentence to who does what to whom.

No grammar of English: noun phrases are found by the longest known words, verbs by their forms, and what belongs to what
by a few rules of attachment, told beside them. What cannot be understood is kept as unknown, and nothing is guessed.

More than 500 lines: the rules share one position in the sentence and the state of one reader, so that splitting them
would pass that state from module to module.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace
from typing import Final

from linewright.errors import SourceError
from linewright.sources.words.idioms import plainly
from linewright.sources.words.kinds import LOOSE
from linewright.sources.words.lexicon import (
    ADJECTIVES,
    BODY,
    BODY_OF,
    COLOURS,
    FEELINGS,
    GROUPS,
    IDLE,
    MOST,
    NUMBERS,
    PAPER,
    PREPOSITIONS,
    WEATHER,
    WORN_BY_ADJECTIVE,
    YOUNG,
    Lexicon,
    singulars,
)
from linewright.sources.words.phrases import Act, Phrase, Reading, Relation
from linewright.sources.words.scenes import SCENES, scene_of
from linewright.sources.words.store import things
from linewright.sources.words.verbs import VERBS, verb_of

LONGEST: Final = 600
"""Characters of a sentence. What a sheet can show is said in far fewer."""


def read(sentence: str, lexicon: Lexicon) -> Reading:
    """What a sentence says.

    Raises
    ------
    SourceError
        If there are no words in it, it is too long, or it is not written in Latin letters.
    """
    text = " ".join(unicodedata.normalize("NFKC", sentence).split())
    if len(text) > LONGEST:
        raise SourceError(
            f"the sentence has {len(text):,} characters, the limit is {LONGEST}", hint="say it shorter, in one sentence"
        )
    letters = [c for c in text if c.isalpha()]
    if not letters:
        raise SourceError(
            "there are no words in the sentence", hint='write one in English, such as "an owl in boots on a unicycle"'
        )
    strange = next((c for c in letters if "LATIN" not in unicodedata.name(c, "")), None)
    if strange is not None:
        raise SourceError(
            f"the sentence has the letter {strange!r}, and only English is understood",
            hint='write it in English, such as "a heron in the rain"',
        )
    reader = _Reader(_tokens(text), lexicon)
    reader.run()
    signs = "".join(dict.fromkeys(c for c in text if unicodedata.category(c) == "So"))
    if signs:
        reader.reading.notes.append(f"signs are not read, only words: {signs[:12]}")
    return reader.reading


def _tokens(text: str) -> list[str]:
    text = plainly(text.lower().replace("\u2019", "'").replace("\u2010", "-")).replace("half-", "half ")
    found = re.findall(r"[^\W\d_]+(?:['-][^\W\d_]+)*'?|\d+|[,;.:!?&]", text)
    tokens = []
    for word in found:
        tokens.append("and" if word == "&" else "," if word in ";:.!?" else word)
    return tokens


_OWNERS: Final = frozenset({"his", "her", "its", "their", "the", "a", "an", "my", "your", "our"})
_LINKS: Final = frozenset({"who", "which", "that", "is", "are", "was", "were", "be", "being", "has", "been"})
_LINES: Final = frozenset({"row", "line", "queue", "file", "column"})
_INFLECTED: Final = ("ing", "ed")
_SIDES: Final = {"under": "has under", "over": "has over", "behind": "before", "before": "behind", "by": "by"}
"""Where an owner is to a thing that is so to it: "a table with a cat under it"."""

_ALSO_STILL: Final = frozenset({"hang", "float", "burn", "melt", "lean", "fall", "swing", "lie", "sail", "shine"})
"""What things do that do not live."""

_OWN_KINDS: Final = frozenset({"with", "bears", "full of", "of", "made of", "in hat", "facing", "to", "by", "for"})
"""Relations that only the last of several subjects has."""

_MARKS: Final = {"spots": "spotted", "dots": "spotted", "stripes": "striped", "checks": "checked"}
_PRINTED: Final = {"leaf": "leafy", "flower": "flowery", "star": "starry", "heart": "heart-patterned"}
_PAINTED: Final = frozenset({"fence", "wall", "door", "gate", "shed", "ceiling", "boat", "eggs"})
"""What is painted with paint, not on a canvas."""

_ALONG: Final = frozenset(
    {"climb", "walk", "run", "sit", "ski", "skate", "ride", "sledge", "fall", "crawl", "march", "drive"}
)
"""What is done down or up something: ``down a hill`` is where it is done."""

_PARENTS: Final = frozenset({"mother", "father", "mum", "dad", "mummy", "daddy"})
_BABIES: Final = frozenset({"baby", "babies", "young", "child", "children"})
_TIMES: Final = frozenset({"day", "night", "evening", "morning", "afternoon", "weather"})
_IN_HAND: Final = frozenset({"hold", "hold2", "mouth", "play", "juggle", "wear", "ride"})
_BORNE: Final = frozenset({"hold", "carry", "balance", "bring", "have", "wear"})
_NEAR_VERB: Final = frozenset(
    {"and", ",", "while", "but", "then", "also", "who", "that", "which", "is", "are", "it", "he", "she"}
)


class _Reader:
    """One pass over the words from left to right."""

    def __init__(self, tokens: list[str], lexicon: Lexicon) -> None:
        self.tokens, self.lexicon = tokens, lexicon
        self.at = 0
        self.reading = Reading()
        self.subjects: list[Phrase] = []
        self.told: set[str] = set()  # names of all things so far

    # words

    def _word(self, ahead: int = 0) -> str:
        i = self.at + ahead
        return self.tokens[i] if i < len(self.tokens) else ""

    def _preposition(self) -> tuple[str, int]:
        """The preposition that comes next, and how many words it has."""
        for count in (5, 4, 3, 2, 1):
            words = " ".join(self.tokens[self.at : self.at + count])
            if len(words.split()) == count and words in PREPOSITIONS:
                return words, count
            bare = words.replace(" the ", " ")
            if count > 2 and bare in PREPOSITIONS:
                return bare, count
        return "", 0

    def _verb(self) -> str:
        """The verb that comes next, or nothing."""
        word = self._word()
        found = verb_of(word)
        if not found or word in ("a", "the"):
            return ""
        # "rides" and "riding" are verbs; a bare "ride" or "fish" is one where somebody has been named before it.
        return found

    # phrases

    def run(self) -> None:
        """The whole sentence."""
        subjects = self.subjects
        while self.at < len(self.tokens):
            before = self.at
            if subjects and (some := self._some_of_them(subjects[-1])) is not None:
                subjects.append(some)
                continue
            if self._word() in (",", "and", "&"):
                self.at += 1
                continue
            if subjects and self._clause(subjects[-1]):
                continue
            preposition, count = self._preposition()
            if preposition and not subjects:
                self.at += count
                self._setting_or_skip(preposition)
                continue
            if not subjects and not self.reading.scenes and self._place_told():
                continue
            lost = set(self.reading.unknown)
            phrases = self._noun_phrase()
            if not phrases and set(self.reading.unknown) > lost and verb_of(self._word()):
                self.at += 1  # what somebody unknown does is not what the next thing does
                continue
            subjects += phrases
            if phrases:
                self._tail(together=self._listed(subjects, phrases))
            if self.at == before:
                named = self.tokens[self.at - 1 : self.at] in (["a"], ["an"])  # "a hand" is no verb
                if named or not verb_of(self._word()):  # a verb whose subject is not known has been told with that
                    self._unknown(self._word())
                self.at += 1
        self.reading.subjects = subjects

    def _place_told(self) -> bool:
        """``a rainy street with an old man``: the place is told before who is there."""
        mark = self.at
        if self._setting("in") and (
            self._word() in ("with", "full", "at", "where", "during", "") or self.at == len(self.tokens)
        ):
            return True
        if self.at != mark:
            self.at = mark
            self.reading.scenes.clear()
        return False

    def _listed(self, subjects: list[Phrase], new: list[Phrase]) -> list[Phrase]:
        """Subjects named one after the other with "and" do together what comes next."""
        while self._word() in ("and", ",") and self._starts_noun(1):
            mark = self.at
            self.at += 1
            if self._word() == "and":
                self.at += 1
            more = self._noun_phrase()
            if not more:
                self.at = mark
                break
            subjects += more
            new = [*new, *more]
        return new

    def _starts_noun(self, ahead: int) -> bool:
        """Whether a noun phrase, not a verb or a preposition, comes there."""
        word = self._word(ahead)
        if word == "and":
            return self._starts_noun(ahead + 1)
        if word in COLOURS or word in ADJECTIVES:
            return bool(self._word(ahead + 1)) and self._starts_noun(ahead + 1)
        if word in ("a", "an", "the", "some", "another") or word in NUMBERS or word.isdigit():
            return True
        at, self.at = self.at, self.at + ahead
        found = bool(word) and self._noun() is not None and not word.endswith("ing")
        self.at = at
        return found

    def _some_of_them(self, lead: Phrase) -> Phrase | None:
        """``six mushrooms, two of them red``: so many of the last are told apart, and taken from it."""
        at = self.at + (self._word() in (",", "and", "with"))
        words = self.tokens[at : at + 3]
        count = NUMBERS.get(words[0], 0) if words else 0
        if words[1:] != ["of", "them"] or not 0 < count < lead.count:
            return None
        self.at = at + 3
        some = Phrase(lead.name, lead.said, count)
        lead.count -= count
        while self._word() in ADJECTIVES or self._word() in COLOURS or self._word() in ("is", "are", "and"):
            if self._word() in COLOURS:
                some.pen = self._word()
            elif self._word() in ADJECTIVES:
                some.modifiers.append(ADJECTIVES[self._word()])
            self.at += 1
        while self._clause(some):
            pass
        return some

    def _tail(self, together: list[Phrase]) -> None:
        """What is said after a subject, for all that were listed with it."""
        lead = together[-1]
        acts, relations = len(lead.acts), len(lead.relations)
        while self._clause(lead):
            pass
        if len(together) > 1:
            for other in together[:-1]:
                other.acts += [act for act in lead.acts[acts:] if _shared(act)]
            for relation in lead.relations[relations:]:
                if relation.kind not in _OWN_KINDS and not relation.place:
                    relation.place = "shared"
                    lead.fellows = len(together) - 1

    def _clause(self, who: Phrase) -> bool:
        """One verb or one preposition with what follows; whether there was one."""
        mark = self.at
        while self._word() in _NEAR_VERB or (self._word() in IDLE and not self._preposition()[1]):
            if not self._word():
                break
            self.at += 1
        word = self._word()
        if not word:
            return self.at > mark
        doer = who
        if word == "upside" and self._word(1) == "down":
            doer.modifiers.append("upside down")
            self.at += 2
            return True
        if word in FEELINGS and self._word(1) in FEELINGS[word][1]:
            doer.modifiers.append(FEELINGS[word][0])
            self.at += 2
            doer.relations += [Relation("facing", phrase) for phrase in self._noun_phrase()[:1]]
            return True
        if (
            self._word(1) == "by"
            and verb_of(word)
            and word.endswith(("ed", "en", "n", "t", "d"))
            and self._passive(doer)
        ):
            return True
        if word == "to" and self._infinitive():
            self.at += 1
            self._act(doer, self._taken_verb())
            return True
        posed = verb_of(word) in VERBS and VERBS[verb_of(word)].pose
        if word in ADJECTIVES and not posed and self._after_link(mark):
            doer.modifiers.append(ADJECTIVES[word])  # "a dog that is happy"
            self.at += 1
            return True
        if word in COLOURS and self._after_link(mark):
            doer.pen = word  # "a hat that is red"
            self.at += 1
            return True
        preposition, count = self._preposition()
        verb = "" if count > 1 and preposition.startswith(word) else self._verb()  # "made of" is no verb
        if word == "leaning" or verb == "lean":
            self.at += 1
            doer.modifiers.append("leaning")
            return True
        if verb and self._word() not in ("and",) and self._may_be_verb(word, mark):
            self.at += 1
            self._act(doer, verb)
            return True
        preposition, count = self._preposition()
        if preposition:
            self.at += count
            self._relation(who, preposition)
            return True
        self.at = mark
        return False

    def _passive(self, who: Phrase) -> bool:
        """``a cart pulled by a cow``: a cow pulls it; whether somebody who lives is named. Its words are read."""
        mark, verb = self.at, verb_of(self._word())
        self.at += 2
        found = self._noun_phrase()
        if not found or "acts" not in _can(found[0].name):
            self.at = mark
            return False
        under, who.__dict__ = replace(who), dict(found[0].__dict__)
        who.acts = [Act(verb, under)]
        return True

    def _infinitive(self) -> bool:
        """``to read``: a bare verb after "to", and no thing."""
        word = self._word(1)
        bare = bool(verb_of(word)) and not word.endswith(("ing", "ed", "s"))
        return bare and self.lexicon.noun([word]) is None

    def _taken_verb(self) -> str:
        self.at += 1
        return verb_of(self.tokens[self.at - 1])

    def _after_link(self, mark: int) -> bool:
        return any(self.tokens[i] in _LINKS for i in range(mark, self.at))

    def _may_be_verb(self, word: str, mark: int) -> bool:
        """Forms of verbs are verbs; a word that is a thing as well is one only after a link such as "who"."""
        if word.endswith(("ing", "ed")) or word in ("asleep", "does", "held", "clad"):
            return True
        listed = self.tokens[max(mark - 1, 0)] in ("and", ",") or self.tokens[mark : mark + 1] in (["and"], [","])
        # "a cat and ducks": after "and", a word that names a thing is a thing.
        return not (listed and self.lexicon.noun([word]) is not None and not self._after_link(mark))

    def _noun_phrase(self) -> list[Phrase]:
        """A noun with its number and its adjectives; none if there is none. Unknown words are noted."""
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
                lined = lined or self.tokens[self.at] in _LINES
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
                if said == "baby" and (later := self._noun()) is not None and "acts" in _can(later[0]):
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
                if plural and count == 1 and not exact and not _always_plural(name):
                    count = 3
                if paired and _always_plural(name):
                    count = max(1, count // 2)  # a pair of shoes is what the store calls shoes
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

    def _group_of(self) -> bool:
        word = self._word()
        if word not in GROUPS or self._word(1) != "of":
            return False
        longer = self.lexicon.noun(self.tokens[self.at : self.at + 3])
        return longer is None

    def _noun(self) -> tuple[str, bool, str, int] | None:
        """The longest thing that is named next: its name, plural, the words, and how many."""
        for count in range(min(self.lexicon.longest, len(self.tokens) - self.at), 0, -1):
            words = self.tokens[self.at : self.at + count]
            if count > 1 and "," in words:
                continue
            found = self.lexicon.noun(words)
            if found is None:
                continue
            if count == 1 and (words[0] in ADJECTIVES or words[0] in COLOURS) and self._noun_after(1):
                return None  # "an orange fish"
            if count == 1 and words[0] in IDLE:
                return None
            return found[0], found[1], " ".join(words), count
        return None

    def _noun_after(self, ahead: int) -> bool:
        at, self.at = self.at, self.at + ahead
        word = self._word()
        found = bool(word) and (word in ADJECTIVES or word in COLOURS or self._noun() is not None)
        self.at = at
        return found

    def _kin(self) -> str:
        """``its mother``: of the same kind as the animal that was told."""
        owned = self.at >= 2 and self.tokens[self.at - 2] in ("its", "their", "her")
        animal = self.subjects[-1].name if self.subjects else ""
        return animal if owned and "acts" in _can(animal) and "person" not in _can(animal) else ""

    def _next_noun(self) -> tuple[str, bool, str, int] | None:
        """The noun that follows at once."""
        return None if self._word() in IDLE or self._word() in PREPOSITIONS else self._noun()

    def _dressed_by(self, name: str) -> list[str] | None:
        """``pirate cat``, and so ``frog prince``: an animal in the clothes of that kind of people; then those."""
        other = self._next_noun()
        if other is None or "acts" not in _can(name) or "acts" not in _can(other[0]):
            return None
        if "person" in _can(name) and "person" not in _can(other[0]):
            return list(things()[name].wears) or None
        return None

    def _dresses(self, name: str) -> list[str]:
        """``frog prince``: the clothes of the kind of people that is named after an animal, which are read."""
        other = self._next_noun()
        if (
            other is None
            or other[1]
            or "acts" not in _can(name)
            or "person" in _can(name)
            or "person" not in _can(other[0])
        ):
            return []
        dress = list(things()[other[0]].wears)
        self.at += other[3] if dress else 0
        return dress

    def _compound(self) -> bool:
        """Whether another noun follows at once, which is then the one that is meant: ``harbour seal``."""
        word = self._word()
        return (
            bool(word) and word not in IDLE and word not in NUMBERS and word not in PREPOSITIONS
            and word not in COLOURS and word not in ADJECTIVES and self._noun() is not None
            and not (verb_of(word) and word.endswith(("s", "ing", "ed")) and self._plain_verb(word))
        )  # fmt: skip

    def _plain_verb(self, word: str) -> bool:
        """``a dog chases``: the form of a verb that is a plural as well, with something after it."""
        return word.endswith(("ing", "ed")) or self._starts_noun(1) or bool(self._word(1) in PREPOSITIONS)

    def _verb_as_adjective(self) -> bool:
        """``a sleeping cat``: a form in -ing or -ed with a noun right after it, before any noun was named."""
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

    def _scene_here(self) -> bool:
        return any(
            " ".join(self.tokens[self.at : self.at + n]) in scene.words for n in (3, 2, 1) for scene in SCENES.values()
        )

    def _note_unknown(self, words: list[str]) -> None:
        for word in words:
            self._unknown(word)

    def _unknown(self, word: str) -> None:
        if word and word not in (",", "and", "'", "a", "an") and word not in IDLE:
            self.reading.unknown.setdefault(word, self.lexicon.near(word))

    # clauses

    def _act(self, who: Phrase, verb: str) -> None:
        if verb == "catch" and "fishing rod" in getattr(things().get(who.name), "holds", ()):
            verb = "fish"
        spec = VERBS[verb]
        if verb == "look" and self._word() == "through":
            verb, spec = "look through", VERBS["look through"]
            self.at += 1
        if verb in ("do", "dance") and self._word() in ("ballet", "gymnastics", "yoga"):
            self.at += 1
            verb, spec = "do ballet", VERBS["do ballet"]
        if verb == "play" and self._word() in ("cards", "chess", "football", "tennis", "soccer", "golf"):
            name = {
                "cards": "playing cards",
                "chess": "chessboard",
                "tennis": "tennis racket",
                "golf": "golf club",
            }.get(self._word(), "football")
            self.at += 1
            who.acts.append(Act("play", Phrase(name, name)))
            return
        if verb == "paint" and set(self.tokens[self.at : self.at + 5]) & _PAINTED:
            verb, spec = "coat", VERBS["coat"]
        if verb == "write" and self._word() == "on" and "blackboard" in self.tokens[self.at : self.at + 4]:
            verb, spec = "point", VERBS["point"]
            self.tokens[self.at] = "at"
        if verb == "have":
            self._relation(who, "with")
            return
        act = Act(verb)
        who.acts.append(act)
        if verb == "fly" and self._driven_next():
            act.verb, spec = "pilot", VERBS["pilot"]
        if self._word() == "upside" and self._word(1) == "down":
            who.modifiers.append("upside down")
            self.at += 2
        while self._word() in (
            "up",
            "down",
            "around",
            "about",
            "away",
            "together",
            "out",
            "off",
        ) and self._preposition()[0] not in ("out of", "on"):
            if self._word(1) in ("the", "a", "an") and self._word() in PREPOSITIONS and verb in _ALONG:
                break
            self.at += 1
        preposition, count = self._preposition()
        if preposition and (preposition in spec.after or PREPOSITIONS[preposition] in spec.after):
            mark = self.at
            self.at += count
            if self._setting(preposition):
                return
            objects = self._objects(act, who)
            if not objects:
                self.at = mark
            return
        if not preposition and self._word() not in _NEAR_VERB and self._word():
            self._objects(act, who)

    def _driven_next(self) -> bool:
        """``flying a biplane``: somebody sits in it; a kite is flown from the ground."""
        at, notes, unknown = self.at, list(self.reading.notes), dict(self.reading.unknown)
        found = [] if self._preposition()[0] else self._noun_phrase()
        self.at, self.reading.notes, self.reading.unknown = at, notes, unknown
        return bool(found) and "driven" in _can(found[0].name)

    def _objects(self, act: Act, who: Phrase) -> list[Phrase]:
        """What a verb is done to; several with "and" become several acts."""
        if self._word() in ("it", "them", "him", "her", "himself", "herself", "itself") and not (
            self._word() == "her" and (self._word(1) in BODY or self._noun_after(1))
        ):
            self.at += 1
            return []
        own_part = self._word() in _OWNERS - {"a", "an"} and self._word(1) in BODY
        if own_part and self._word(1) not in ("hat", "basket") and not self._place_of_something():
            self.at += 2  # "brushing its teeth"
            return []
        unknown = len(self.reading.unknown)
        found = self._noun_phrase()
        if not found:
            act.strange = len(self.reading.unknown) > unknown
            if self._scene_here():
                self._setting("in")
            return []
        act.object = found[0]
        self._object_tail(found[0], who)
        wears = act.verb == "wear"
        while self._word() in ("and", ",") and self._starts_noun(1) and not self._is_new_subject(wears=wears):
            self.at += 1
            more = self._noun_phrase()
            if not more:
                break
            who.acts.append(Act(act.verb, more[0]))
            found += more
        return found

    def _place_of_something(self) -> bool:
        """``on the roof``, before any house was told: the whole thing is meant; its words stand there from now on."""
        word = self._word(1)
        whole = BODY_OF.get(word, ())
        if self._word() not in ("the", "a") or not whole or self._word(2) == "of" or any(n in self.told for n in whole):
            return False
        if any(things()[n].theme == things()[whole[0]].theme for n in self.told if n in things()):
            return False
        self.tokens[self.at + 1 : self.at + 2] = whole[0].split()
        return True

    def _clause_of_object(self, thing: Phrase, who: Phrase) -> bool:
        """``a dog chasing a cat wearing a hat``: what is done by the thing that was named last, if it can do it."""
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
        if link and "acts" not in _can(thing.name) and verb_of(word) == "have":
            self.at += 1
            for owned in self._noun_phrase():
                self._with(thing, owned)
            return True
        verb = verb_of(self._word(1) if word == "to" else word)
        does = bool(verb) and (link or word == "to" or word.endswith("ing"))
        able = "acts" in _can(thing.name) and (link or not ridden)
        still = verb in _ALSO_STILL and not ridden and "acts" not in _can(thing.name) and who.count == 1
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
        """``a bird in a cage hanging from a tree``: the cage hangs, and the bird is in it."""
        near = any(r.object is thing and r.kind in ("in", "on", "with", "by") for r in who.relations)
        return near or any(act.object is thing for act in who.acts)

    def _object_tail(self, thing: Phrase, who: Phrase) -> None:
        """What belongs to an object rather than to who has it."""
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
            place = BODY.get(self._word(1), "") if self._word() in _OWNERS else ""
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
                    Relation("in" if "branch" in _can(one.name) or "tree" in one.name else "on", one) for one in high
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
                thing.relations += [Relation("in hat" if things_worn(one.name) else "in", one) for one in into]
                continue
            if kind == "full of" or (kind == "of" and (_shows(thing.name) or _contains(thing.name))):
                kind = "of" if _shows(thing.name) and kind == "of" else "full of"
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
                    who if self._on_a_body() and "acts" not in _can(thing.name) else thing, owned[0]
                ):
                    continue
                alone = bool(owned) and "acts" not in _can(owned[0].name)
                if owned and ("acts" in _can(thing.name) or _carries(thing.name) or (_contains(thing.name) and alone)):
                    # "chasing a rat with a pan": who does it has the pan; "a cat with a hat" wears it.
                    tool = any(act.object is thing for act in who.acts) and _held(owned[0].name)
                    tool = tool and owned[0].name not in things()[thing.name].holds
                    self._with(who if tool else thing, owned[0])
                    continue
            if kind == "in":
                worn = self._noun_phrase()
                if worn and things_worn(worn[0].name) and "acts" in _can(thing.name):
                    thing.worn.append(worn[0])
                    continue
                held = any(act.object is thing and VERBS[act.verb].role in _IN_HAND for act in who.acts)
                roomy = bool(worn) and things()[worn[0].name].size > 0.9 if worn and worn[0].name in things() else False
                if worn and held and roomy:  # "reading a book in bed": who reads is in bed
                    who.relations.append(Relation("in", worn[0]))
                    continue
                if worn and _contains(worn[0].name) and not _contains(thing.name) and thing is not who:
                    thing.relations.append(Relation("in", worn[0]))
                    continue
            self.at = mark
            return

    def _is_new_subject(self, *, wears: bool = False) -> bool:
        """``a duck in a hat and a duck in a bonnet``: what comes after "and" has a clause of its own."""
        at, notes, unknown = self.at, list(self.reading.notes), dict(self.reading.unknown)
        self.at += 1
        phrases = self._noun_phrase()
        preposition, _ = self._preposition()
        verb = self._verb() if self._word() else ""
        clause = preposition in ("in", "with", "on", "under") or self._word() in ("who", "that", "which")
        new = bool(phrases) and bool(clause or (verb and self._word() != "and"))
        new = new and ("acts" in _can(phrases[0].name) or (wears and not things_worn(phrases[0].name)))
        self.at, self.reading.notes, self.reading.unknown = at, notes, unknown
        return new

    def _setting(self, preposition: str) -> bool:
        """A scene, if one comes next, with the weather that is told before it: ``on a stormy sea``."""
        at = self.at
        weather: list[str] = []
        strange: list[str] = []
        while self._word() and not self._scene_here():
            word = self._word()
            if word in WEATHER:
                weather.append(WEATHER[word])
            elif not (
                word in ADJECTIVES or word in COLOURS or word in PAPER or word in IDLE or word in ("a", "an", "some")
            ):
                if self.lexicon.known(word) or not word.isalpha():
                    break
                strange.append(word)
            self.at += 1
        if weather and self._word() in _TIMES:
            self.at += 1
            self._note_unknown(strange)
            self.reading.scenes |= dict.fromkeys(weather, False) | (
                {"night": False} if "ight" in self.tokens[self.at - 1] else {}
            )
            return True
        for count in (4, 3, 2, 1):
            words = " ".join(self.tokens[self.at : self.at + count])
            if len(words.split()) != count:
                continue
            kind = PREPOSITIONS.get(preposition, preposition)
            name = scene_of(words, preposition) or scene_of(words, kind)
            if not name and self.lexicon.noun(words.split()) is None:
                name = next((n for n, s in SCENES.items() if words in s.words), "")
            noun = self._noun()
            if name and (noun is None or noun[3] <= count):
                self.at += count
                self.reading.scenes[name] = SCENES[name].afloat and kind in ("on", "in", "under", "along")
                self.reading.scenes |= dict.fromkeys(weather, False)
                self.reading.above = self.reading.above or (kind == "over" and "bridge" not in self.told)
                self._note_unknown(strange)
                return True
        self.at = at
        return False

    def _setting_or_skip(self, preposition: str) -> None:
        if not self._setting(preposition):
            self.subjects += self._noun_phrase()

    def _relation(self, who: Phrase, preposition: str) -> None:
        kind = PREPOSITIONS[preposition]
        if kind == "made of" and self._word() in ADJECTIVES:
            who.modifiers.append(ADJECTIVES[self._word()])
            self.at += 1
            return
        if preposition in ("in", "into") and self.tokens[self.at : self.at + 1] == ["a"] and self._word(1) in _LINES:
            self.at += 2  # "in a row"
            who.lined = True
            return
        if preposition == "in" and self.tokens[self.at : self.at + 2] == ["a", "stack"] and self._word(2) != "of":
            self.at += 2
            who.stacked = True
            return
        if preposition == "in" and self._word() in COLOURS and not self._noun_after(0):
            who.pen = self._word()
            self.at += 1
            return
        if self._word() in _OWNERS and self._word(1) in BODY and self._word(2) != "of":
            known = self._word(1) in self.lexicon.nouns
            if self._place_of_something():
                known = True
            if self._word() not in ("a", "an") and (not known or self._word(1) in ("roof",)):
                self.at += 2  # "on its head": of something that has been told already
                return
        if kind in ("with", "in") and self._marked(who):
            return
        if self._setting(preposition):
            while self._scene_here() and self._setting(preposition):  # "in a dark forest"
                pass
            return
        if kind in ("on", "in", "by") and self._word() in _OWNERS and self._word(1) in BODY and self._word(2) == "of":
            place = BODY[self._word(1)]
            self.at += 3
            for phrase in self._noun_phrase():
                who.relations.append(Relation("on", phrase, place))
                self._object_tail(phrase, who)
            return
        if self._word() in ("it", "them", "him", "her") and not (self._word() == "her" and self._noun_after(1)):
            self.at += 1
            self._turned_about(who, kind)
            return
        phrases = self._noun_phrase()
        if not phrases:
            return
        first = phrases[0]
        if preposition in ("out of", "inside", "inside of", "into") and things_worn(first.name):
            kind = "in hat"
        self._attach(who, kind, first)
        last = first
        wears = bool(who.worn) and who.worn[-1] is first
        while self._word() in ("and", ",") and self._starts_noun(1) and not self._is_new_subject(wears=wears):
            self.at += 1
            if self._word() == "and":
                self.at += 1
            more = self._noun_phrase()
            if not more:
                break
            last = more[0]
            if kind == "between":
                who.relations.append(Relation("between", last))
            else:
                self._attach(who, kind, last)

    def _bears(self, owner: Phrase, kind: str, thing: Phrase) -> None:
        """``a chair with a cat on it`` is a cat on a chair; what does not live stays the thing that has the other."""
        if kind == "on" and "acts" in _can(thing.name) and "acts" not in _can(owner.name):
            under, owner.__dict__ = replace(owner), dict(thing.__dict__)
            owner.relations = [*owner.relations, Relation("on", under)]
        else:
            owner.relations.append(Relation(_SIDES.get(kind, "bears" if kind == "on" else "full of"), thing))

    def _turned_about(self, who: Phrase, kind: str) -> None:
        """``a tree and a child under it``: who is told last belongs to what was told before."""
        if self.subjects and who is self.subjects[-1] and len(self.subjects) > 1:
            owner = self.subjects[-2]
            part = next((r.object for r in owner.relations[-1:] if r.kind == "with"), owner)
            if (
                kind in ("on", "in")
                and "acts" not in _can(part.name)
                and _can(part.name) & {"seats", "ridden", "carries"}
            ):
                owner = part  # "a tree with a swing and a child on it"
            if kind == "on" or kind == "in" or kind in _SIDES:
                self.subjects.pop()
                self._bears(owner, kind, who)

    def _marked(self, who: Phrase) -> bool:
        """``with pink spots``: a pattern; its own colour is not drawn, which is told."""
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
        """``a hat made of leaves``: its pattern."""
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

    def _attach(self, who: Phrase, kind: str, phrase: Phrase) -> None:
        worn = things_worn(phrase.name)
        if kind == "in hat" and worn:
            who.relations.append(Relation("in hat" if worn == "top" else "in", phrase))
            return
        if kind in ("in", "on", "with") and worn and ("acts" in _can(who.name) or worn in ("top", "eyes", "neck")):
            if kind == "with" and "acts" not in _can(who.name) and worn not in ("top", "eyes", "neck", "mouth"):
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
            if dress and "acts" in _can(who.name):
                who.worn += [Phrase(name, name) for name in dress]
            else:
                self.reading.notes.append(f"being like {phrase.said!r} is not drawn")
            return
        if kind == "of" and not _shows(who.name):
            kind = "full of" if _contains(who.name) else "by"
        if kind == "full of" and phrase.count == 1 and phrase.said in ("sheep", "fish", "deer", "people"):
            phrase.count = 4
        who.relations.append(Relation(kind, phrase))
        hung = kind == "of" and (
            verb_of(self._word()) == "hang" or self.tokens[self.at : self.at + 3] == ["on", "the", "wall"]
        )
        if not hung:  # "a picture of a cat hanging on the wall"
            self._object_tail(phrase, who)

    def _on_a_body(self) -> bool:
        """``on his face``: something is at a part of somebody who lives."""
        _, count = self._preposition()
        owner, part = (self.tokens[self.at + count : self.at + count + 2] + ["", ""])[:2]
        return owner in ("his", "her") or (
            owner == "its" and BODY.get(part) in ("eyes", "shoulder", "lap", "nose", "mouth", "neck")
        )

    def _owned(self, owner: Phrase, thing: Phrase) -> bool:
        """``with a parrot on his shoulder``: a thing at a place of its owner."""
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
        if len(after) == 2 and after[0] in _OWNERS - {"a", "an"} and after[1] in BODY:
            self.at += count + 2
            owner.relations.append(Relation("bears", thing, BODY[after[1]]))
            return True
        return False

    def _with(self, owner: Phrase, thing: Phrase) -> None:
        if thing.said in ("wheel", "wheels") and "wheels" in _can(owner.name):
            self.reading.notes.append(f"the {thing.said} of {owner.said!r} are drawn as ever")
        elif things_worn(thing.name):
            owner.worn.append(thing)
        elif owner.relations and _contains(owner.relations[-1].object.name) and "acts" not in _can(thing.name):
            owner.relations[-1].object.relations.append(Relation("full of", thing))
        elif _contains(owner.name) and "acts" not in _can(owner.name):
            owner.relations.append(Relation("full of", thing))
        else:
            owner.relations.append(Relation("with", thing))
            self._object_tail(thing, owner)


def _shared(act: Act) -> bool:
    return not act.object or VERBS[act.verb].role not in ("ride", "in")


def _held(name: str) -> bool:
    thing = things().get(name)
    return (
        bool(thing) and thing is not None and not thing.worn and thing.theme in ("tools", "household", "sport and play")
    )


def _always_plural(name: str) -> bool:
    thing = things().get(name)
    return bool(thing and thing.worn) or name.endswith("s")


def _can(name: str) -> frozenset[str]:
    thing = things().get(name)
    return thing.can if thing else frozenset()


def _shows(name: str) -> bool:
    """Whether it is a picture of something."""
    return name in ("picture", "statue", "easel", "mirror", "postcard", "television")


def _carries(name: str) -> bool:
    return "carries" in _can(name) and "acts" not in _can(name)


def _contains(name: str) -> bool:
    return "contains" in _can(name)


def things_worn(name: str) -> str:
    """Where a thing is worn, or nothing."""
    thing = things().get(name)
    return thing.worn if thing else ""
