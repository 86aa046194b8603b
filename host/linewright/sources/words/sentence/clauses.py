"""Parse acts, their objects and places."""

from __future__ import annotations

from typing import Final

from linewright.sources.words.lexicon import ADJECTIVES, BODY, COLOURS, FEELINGS, IDLE, PREPOSITIONS
from linewright.sources.words.phrases import Act, Phrase, Relation
from linewright.sources.words.sentence.abilities import abilities_of, worn_where
from linewright.sources.words.sentence.attachments import Attachments
from linewright.sources.words.sentence.cursor import LINES, OWNERS
from linewright.sources.words.store import things
from linewright.sources.words.verbs import VERBS, verb_of

_LINKS: Final = frozenset({"who", "which", "that", "is", "are", "was", "were", "be", "being", "has", "been"})
_PAINTED: Final = frozenset({"fence", "wall", "door", "gate", "shed", "ceiling", "boat", "eggs"})
"""Things painted with a brush directly, not on canvas."""

_ALONG: Final = frozenset(
    {"climb", "walk", "run", "sit", "ski", "skate", "ride", "sledge", "fall", "crawl", "march", "drive"}
)
"""Verbs after which ``down`` or ``up`` gives the place: ``down a hill``."""

_NEAR_VERB: Final = frozenset(
    {"and", ",", "while", "but", "then", "also", "who", "that", "which", "is", "are", "it", "he", "she"}
)


class Clauses(Attachments):
    """Parses verbs with their objects, and prepositions with what follows them."""

    def _clause(self, who: Phrase) -> bool:
        """Parse one verb or one preposition with what follows; False if there is none."""
        mark = self.at
        while self._word() in _NEAR_VERB or (self._word() in IDLE and not self._preposition()[1]):
            if not self._word():
                break
            self.at += 1
        word = self._word()
        if not word:
            return self.at > mark
        if word == "upside" and self._word(1) == "down":
            who.modifiers.append("upside down")
            self.at += 2
            return True
        if word in FEELINGS and self._word(1) in FEELINGS[word][1]:
            who.modifiers.append(FEELINGS[word][0])
            self.at += 2
            who.relations += [Relation("facing", phrase) for phrase in self._noun_phrase()[:1]]
            return True
        if (
            self._word(1) == "by"
            and verb_of(word)
            and word.endswith(("ed", "en", "n", "t", "d"))
            and self._passive(who)
        ):
            return True
        if word == "to" and self._infinitive():
            self.at += 1
            self._act(who, self._taken_verb())
            return True
        posed = verb_of(word) in VERBS and VERBS[verb_of(word)].pose
        if word in ADJECTIVES and not posed and self._after_link(mark):
            who.modifiers.append(ADJECTIVES[word])  # "a dog that is happy"
            self.at += 1
            return True
        if word in COLOURS and self._after_link(mark):
            who.pen = word  # "a hat that is red"
            self.at += 1
            return True
        preposition, count = self._preposition()
        verb = "" if count > 1 and preposition.startswith(word) else self._verb()  # "made of" is no verb
        if word == "leaning" or verb == "lean":
            self.at += 1
            who.modifiers.append("leaning")
            return True
        if verb and self._word() not in ("and",) and self._may_be_verb(word, mark):
            self.at += 1
            self._act(who, verb)
            return True
        preposition, count = self._preposition()
        if preposition:
            self.at += count
            self._relation(who, preposition)
            return True
        self.at = mark
        return False

    def _taken_verb(self) -> str:
        self.at += 1
        return verb_of(self.tokens[self.at - 1])

    def _after_link(self, mark: int) -> bool:
        return any(self.tokens[i] in _LINKS for i in range(mark, self.at))

    def _may_be_verb(self, word: str, mark: int) -> bool:
        """Whether a form is a verb here; a word that is also a noun is one only after a link such as "who"."""
        if word.endswith(("ing", "ed")) or word in ("asleep", "does", "held", "clad"):
            return True
        listed = self.tokens[max(mark - 1, 0)] in ("and", ",") or self.tokens[mark : mark + 1] in (["and"], [","])
        # "a cat and ducks": after "and", a word that can be a noun is a noun.
        return not (listed and self.lexicon.noun([word]) is not None and not self._after_link(mark))

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
        """``flying a biplane``: whether the next thing has its driver inside; a kite is flown from the ground."""
        with self._looking_ahead():
            found = [] if self._preposition()[0] else self._noun_phrase()
        return bool(found) and "driven" in abilities_of(found[0].name)

    def _objects(self, act: Act, who: Phrase) -> list[Phrase]:
        """Objects of a verb; several joined with "and" become several acts."""
        if self._word() in ("it", "them", "him", "her", "himself", "herself", "itself") and not (
            self._word() == "her" and (self._word(1) in BODY or self._noun_after(1))
        ):
            self.at += 1
            return []
        own_part = self._word() in OWNERS - {"a", "an"} and self._word(1) in BODY
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

    def _relation(self, who: Phrase, preposition: str) -> None:
        kind = PREPOSITIONS[preposition]
        if kind == "made of" and self._word() in ADJECTIVES:
            who.modifiers.append(ADJECTIVES[self._word()])
            self.at += 1
            return
        if preposition in ("in", "into") and self.tokens[self.at : self.at + 1] == ["a"] and self._word(1) in LINES:
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
        if self._word() in OWNERS and self._word(1) in BODY and self._word(2) != "of":
            known = self._word(1) in self.lexicon.nouns
            if self._place_of_something():
                known = True
            if self._word() not in ("a", "an") and (not known or self._word(1) in ("roof",)):
                self.at += 2  # "on its head": of something named before
                return
        if kind in ("with", "in") and self._marked(who):
            return
        if self._setting(preposition):
            while self._scene_here() and self._setting(preposition):  # "in a dark forest"
                pass
            return
        if kind in ("on", "in", "by") and self._word() in OWNERS and self._word(1) in BODY and self._word(2) == "of":
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
        if preposition in ("out of", "inside", "inside of", "into") and worn_where(first.name):
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
