"""The words of a sentence and the current position: which preposition, verb, scene or noun is next."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from linewright.sources.words.lexicon import ADJECTIVES, COLOURS, GROUPS, IDLE, NUMBERS, PREPOSITIONS, Lexicon
from linewright.sources.words.phrases import Phrase, Reading
from linewright.sources.words.scenes import SCENES
from linewright.sources.words.verbs import verb_of

LINES: Final = frozenset({"row", "line", "queue", "file", "column"})
"""Arrangements of several things side by side."""

OWNERS: Final = frozenset({"his", "her", "its", "their", "the", "a", "an", "my", "your", "our"})
"""Words before a part of a body."""


class Cursor:
    """Position in the words, and what has been parsed so far.

    Parameters
    ----------
    tokens : words and commas, in lower case.
    lexicon : the words that can be drawn.
    """

    def __init__(self, tokens: list[str], lexicon: Lexicon) -> None:
        self.tokens, self.lexicon = tokens, lexicon
        self.at = 0
        self.reading = Reading()
        self.subjects: list[Phrase] = []
        self.told: set[str] = set()  # names of all things so far

    def _word(self, ahead: int = 0) -> str:
        i = self.at + ahead
        return self.tokens[i] if i < len(self.tokens) else ""

    def _preposition(self) -> tuple[str, int]:
        """The next preposition, and its number of words."""
        for count in (5, 4, 3, 2, 1):
            words = " ".join(self.tokens[self.at : self.at + count])
            if len(words.split()) == count and words in PREPOSITIONS:
                return words, count
            bare = words.replace(" the ", " ")
            if count > 2 and bare in PREPOSITIONS:
                return bare, count
        return "", 0

    def _verb(self) -> str:
        """The next verb; empty if none."""
        word = self._word()
        found = verb_of(word)
        if not found or word in ("a", "the"):
            return ""
        # "rides" and "riding" are verbs; a bare "ride" or "fish" is one only after a subject.
        return found

    @contextmanager
    def _looking_ahead(self) -> Iterator[None]:
        """Context manager: restores the position afterwards."""
        at, notes, unknown = self.at, list(self.reading.notes), dict(self.reading.unknown)
        yield
        self.at, self.reading.notes, self.reading.unknown = at, notes, unknown

    def _infinitive(self) -> bool:
        """``to read``: whether "to" and a bare verb follow that is not a noun."""
        word = self._word(1)
        bare = bool(verb_of(word)) and not word.endswith(("ing", "ed", "s"))
        return bare and self.lexicon.noun([word]) is None

    def _scene_here(self) -> bool:
        return any(
            " ".join(self.tokens[self.at : self.at + n]) in scene.words for n in (3, 2, 1) for scene in SCENES.values()
        )

    def _group_of(self) -> bool:
        word = self._word()
        if word not in GROUPS or self._word(1) != "of":
            return False
        longer = self.lexicon.noun(self.tokens[self.at : self.at + 3])
        return longer is None

    def _noun(self) -> tuple[str, bool, str, int] | None:
        """The longest noun that follows: thing, whether plural, the words, and their number."""
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

    def _next_noun(self) -> tuple[str, bool, str, int] | None:
        """The noun that follows immediately."""
        return None if self._word() in IDLE or self._word() in PREPOSITIONS else self._noun()

    def _starts_noun(self, ahead: int) -> bool:
        """Whether a noun phrase, not a verb or a preposition, starts at that offset."""
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

    def _note_unknown(self, words: list[str]) -> None:
        for word in words:
            self._unknown(word)

    def _unknown(self, word: str) -> None:
        if word and word not in (",", "and", "'", "a", "an") and word not in IDLE:
            self.reading.unknown.setdefault(word, self.lexicon.near(word))
