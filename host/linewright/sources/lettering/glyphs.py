"""From characters to glyphs: the face's own letters, letters with marks, signs; and missing characters."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

from linewright.sources.lettering import marks, signs
from linewright.sources.lettering.faces import (
    CAP_UNITS,
    CYRILLIC,
    CYRILLIC_REST,
    FACES,
    GREEK,
    X_HEIGHT_UNITS,
    Glyph,
    Typeface,
    alphabet,
)

_PRINTED_ASCII = frozenset(map(chr, range(33, 127)))
LONG_S = "\u017f"
SPACE_UNITS = 12.0
"""Word space: the data's own 16 units are wider than an m; ISO 3098-1 uses 0.6 of the capital height (from memory),
which is 12.6."""


@lru_cache(maxsize=4096)
def glyph(character: str, face_name: str) -> Glyph | None:
    """The glyph of one character with its marks, composed or not; None if there is none.

    Examples
    --------
    >>> glyph("\u00e9", "plain").advance == glyph("e", "plain").advance
    True
    >>> glyph("\u4e2d", "plain") is None
    True
    """
    face = FACES[face_name]
    whole = _simple(signs.SAME_AS.get(character, character), face)
    if whole is not None:
        return whole
    base, *above = list(unicodedata.normalize("NFD", character))
    letter = _simple(signs.SAME_AS.get(base, base), face)
    if letter is None or not all(marks.has(mark) for mark in above) or not above:
        return None
    for mark in above:
        letter = marks.put_on(letter, mark, face, base=base)
    return letter


def _simple(character: str, face: Typeface) -> Glyph | None:
    """A character without marks."""
    if character == " ":
        return Glyph((), SPACE_UNITS)
    latin = alphabet(face.latin)
    if character in signs.OWN or character not in _PRINTED_ASCII:
        made = signs.build(character, face, latin)
        if made is not None:
            return made
        if character in signs.SPELT:
            return _spelt(signs.SPELT[character], latin)
        if character in GREEK:
            return alphabet(face.greek)[GREEK[character]]
        if character in CYRILLIC:
            return alphabet(face.cyrillic)[CYRILLIC[character]]
        if character == "\u044d":  # the lower-case form is missing in the data: the capital, scaled to the x-height
            capital = alphabet("cyrillic")[CYRILLIC_REST["\u042d"]]
            share = X_HEIGHT_UNITS / CAP_UNITS
            return Glyph(tuple(stroke * share for stroke in capital.strokes), capital.advance * share)
        if character in CYRILLIC_REST:
            return alphabet("cyrillic")[CYRILLIC_REST[character]]
        if character in "\u0131\u0237":
            bare = latin["i" if character == "\u0131" else "j"]
            return Glyph(tuple(s for s in bare.strokes if s[:, 1].max() > -face.x_height - 1.0), bare.advance)
        return latin["s"] if character == LONG_S else None
    return alphabet(face.long_s)["s"] if character == "s" and face.long_s else latin[character]


def _spelt(letters: str, latin: dict[str, Glyph]) -> Glyph:
    strokes = []
    x = 0.0
    for letter in letters:
        strokes += [stroke + (x, 0.0) for stroke in latin[letter].strokes]
        x += latin[letter].advance
    return Glyph(tuple(strokes), x)


def clusters(text: str) -> list[str]:
    """The text's characters, each with its combining marks; composed where Unicode has a composed form.

    Examples
    --------
    >>> clusters("e\u0301a")
    ['\u00e9', 'a']
    """
    found: list[str] = []
    for character in unicodedata.normalize("NFC", text):
        if found and unicodedata.category(character).startswith("M"):
            found[-1] += character
        else:
            found.append(character)
    return found


def with_long_s(word: str) -> str:
    r"""The word in the spelling of old German print: the round s only at its end, the long one elsewhere.

    Examples
    --------
    >>> ascii(with_long_s("Wasser's"))
    '"Wa\\u017f\\u017fer\'s"'
    """
    return "".join(LONG_S if a == "s" and b.isalpha() else a for a, b in zip(word, word[1:] + " ", strict=True))


def name_of(cluster: str) -> str:
    """A character for messages: itself, code and name."""
    return " + ".join(
        f"{character if character.isprintable() and not unicodedata.category(character).startswith('M') else ''}"
        f" U+{ord(character):04X} {unicodedata.name(character, 'without a name')}".strip()
        for character in cluster
    )
