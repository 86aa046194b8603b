"""`read`: parse an English sentence into subjects, acts, objects and places.

There is no full grammar: noun phrases are matched by the longest known words, verbs by their forms, and attachments
follow a few rules. Unknown words are reported; nothing is guessed. The rules are in `sentence/`, one module per kind of
words.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from linewright.errors import SourceError
from linewright.sources.words.idioms import plainly
from linewright.sources.words.lexicon import ADJECTIVES, COLOURS, NUMBERS, Lexicon
from linewright.sources.words.phrases import Act, Phrase, Reading
from linewright.sources.words.sentence.clauses import Clauses
from linewright.sources.words.verbs import VERBS, verb_of

LONGEST: Final = 600
"""Most characters of a sentence; what a sheet can show needs far fewer."""

_OWN_KINDS: Final = frozenset({"with", "bears", "full of", "of", "made of", "in hat", "facing", "to", "by", "for"})
"""Relations that apply only to the last of several subjects."""


def read(sentence: str, lexicon: Lexicon) -> Reading:
    """Parse a sentence.

    Raises
    ------
    SourceError
        If it has no words, is too long, or is not in Latin letters.
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
    reader = _Sentence(_tokens(text), lexicon)
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


class _Sentence(Clauses):
    """Parser: one pass over the words from left to right."""

    def run(self) -> None:
        """Parse the whole sentence."""
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
                self.at += 1  # skip the act of an unknown subject
                continue
            subjects += phrases
            if phrases:
                self._tail(together=self._listed(subjects, phrases))
            if self.at == before:
                named = self.tokens[self.at - 1 : self.at] in (["a"], ["an"])  # "a hand" is no verb
                if named or not verb_of(self._word()):  # the verb of an unknown subject is reported with it
                    self._unknown(self._word())
                self.at += 1
        self.reading.subjects = subjects

    def _listed(self, subjects: list[Phrase], new: list[Phrase]) -> list[Phrase]:
        """Subjects listed with "and", which share the following act."""
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

    def _some_of_them(self, lead: Phrase) -> Phrase | None:
        """``six mushrooms, two of them red``: split that many off the last subject."""
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
        """Parse what follows a subject, for all subjects listed with it."""
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


def _shared(act: Act) -> bool:
    return not act.object or VERBS[act.verb].role not in ("ride", "in")
