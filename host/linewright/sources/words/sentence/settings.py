"""Place and weather of the whole picture: ``on a stormy sea``."""

from __future__ import annotations

from typing import Final

from linewright.sources.words.lexicon import ADJECTIVES, BODY_OF, COLOURS, IDLE, PAPER, PREPOSITIONS, WEATHER
from linewright.sources.words.scenes import SCENES, scene_of
from linewright.sources.words.sentence.nouns import Nouns
from linewright.sources.words.store import things

_TIMES: Final = frozenset({"day", "night", "evening", "morning", "afternoon", "weather"})


class Settings(Nouns):
    """Parses scenes and weather."""

    def _setting(self, preposition: str) -> bool:
        """Parse a scene with preceding weather, if one is next: ``on a stormy sea``."""
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

    def _place_told(self) -> bool:
        """``a rainy street with an old man``: parse a place named before its figures."""
        mark = self.at
        if self._setting("in") and (
            self._word() in ("with", "full", "at", "where", "during", "") or self.at == len(self.tokens)
        ):
            return True
        if self.at != mark:
            self.at = mark
            self.reading.scenes.clear()
        return False

    def _place_of_something(self) -> bool:
        """``on the roof`` before any house is named: replace the words by those of the whole thing."""
        word = self._word(1)
        whole = BODY_OF.get(word, ())
        if self._word() not in ("the", "a") or not whole or self._word(2) == "of" or any(n in self.told for n in whole):
            return False
        if any(things()[n].theme == things()[whole[0]].theme for n in self.told if n in things()):
            return False
        self.tokens[self.at + 1 : self.at + 2] = whole[0].split()
        return True
