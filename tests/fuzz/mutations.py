"""Reproducible damage of files, from numbers."""

from __future__ import annotations

import random
import re

_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
_FIGURES = tuple(b"0 -1 3 1e308 -1e308 1e-308 0.0000001 65536 4294967296 999999999999999999999".split())
MOST_BYTES = 400_000
"""Largest size of a damaged file, bytes; limits repetitions."""


def damaged(seed: bytes, words: tuple[bytes, ...], chance: random.Random) -> bytes:
    """One to six kinds of damage, one after the other."""
    data = bytearray(seed)
    for _ in range(chance.choice((1, 1, 2, 3, 6))):
        chance.choice(_WAYS)(data, words, chance)
        del data[MOST_BYTES:]
    return bytes(data)


def _place(data: bytearray, chance: random.Random) -> int:
    return chance.randrange(len(data) + 1)


def _flip(data: bytearray, _words: tuple[bytes, ...], chance: random.Random) -> None:
    for _ in range(chance.choice((1, 4, 30))):
        if data:
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)


def _cut(data: bytearray, _words: tuple[bytes, ...], chance: random.Random) -> None:
    at = _place(data, chance)
    del data[at : at + chance.choice((1, 5, 100, 5000))]


def _end(data: bytearray, _words: tuple[bytes, ...], chance: random.Random) -> None:
    del data[_place(data, chance) :]


def _insert(data: bytearray, words: tuple[bytes, ...], chance: random.Random) -> None:
    at = _place(data, chance)
    data[at:at] = chance.choice(words)


def _nest(data: bytearray, words: tuple[bytes, ...], chance: random.Random) -> None:
    at = _place(data, chance)
    data[at:at] = chance.choice(words) * chance.choice((10, 300, 5000))


def _repeat(data: bytearray, _words: tuple[bytes, ...], chance: random.Random) -> None:
    at = _place(data, chance)
    piece = data[at : at + chance.choice((3, 40, 400))]
    data[at:at] = piece * chance.choice((2, 20, 500))


def _figure(data: bytearray, _words: tuple[bytes, ...], chance: random.Random) -> None:
    found = list(_NUMBER.finditer(bytes(data[:20_000])))
    if found:
        one = chance.choice(found)
        data[one.start() : one.end()] = chance.choice(_FIGURES)


def _line_ends(data: bytearray, _words: tuple[bytes, ...], chance: random.Random) -> None:
    data[:] = bytes(data).replace(b"\n", chance.choice((b"\r", b"\r\n", b"\n\r", b"\x0b")))


def _move(data: bytearray, _words: tuple[bytes, ...], chance: random.Random) -> None:
    at = _place(data, chance)
    piece = data[at : at + 60]
    del data[at : at + 60]
    to = _place(data, chance)
    data[to:to] = piece


_WAYS = (_flip, _cut, _end, _insert, _nest, _repeat, _figure, _figure, _line_ends, _move)
