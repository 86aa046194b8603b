"""`invent`: random sentences made of things that can be drawn."""

from __future__ import annotations

import random
from typing import Final

ACTORS: Final = (
    "heron", "fox", "owl", "bear", "penguin", "octopus", "cat", "dog", "mouse", "rabbit", "elephant", "giraffe", "crocodile",
    "frog", "pig", "sheep", "cow", "hippo", "walrus", "lobster", "crab", "snail", "pirate", "sailor", "knight", "wizard",
    "witch", "astronaut", "robot", "ghost", "dragon", "mermaid", "clown", "queen", "king", "chef", "hedgehog", "duck",
    "goose", "puffin", "lion", "monkey", "squirrel", "badger", "turtle", "seal", "kangaroo", "camel", "panda", "goat",
)  # fmt: skip
MOODS: Final = (
    "old",
    "tiny",
    "happy",
    "sad",
    "angry",
    "surprised",
    "spotted",
    "striped",
    "sleepy",
    "dizzy",
    "mechanical",
    "proud",
)
WORN: Final = ("top hat", "bowler hat", "crown", "scarf", "rubber boots", "bow tie", "straw hat", "sunglasses", "raincoat",
               "captain's cap", "wizard hat", "striped jersey", "headphones", "woolly hat", "monocle")  # fmt: skip
ALONE: Final = (
    "reading a newspaper", "playing the violin", "playing the cello", "playing the accordion", "playing the trumpet",
    "juggling oranges", "riding a bicycle", "riding a unicycle", "eating an ice cream", "fishing", "dancing", "painting a ship",
    "driving a tractor", "carrying a suitcase", "watering a flower", "flying a kite", "knitting", "lifting weights",
    "with an umbrella", "with a lantern", "on a skateboard", "in a bathtub", "in a hot air balloon", "on a swing",
    "holding a balloon", "playing the drums", "dreaming of a cake", "pushing a wheelbarrow", "photographing a snail",
    "rowing a boat", "conducting", "reading a book in an armchair", "with a parrot on the shoulder", "drinking tea",
)  # fmt: skip
WHERE: Final = (
    "by the sea", "in the harbour", "on the moon", "in the forest", "in the city", "in the desert", "in the snow",
    "in the rain", "at night", "on the stage", "under the sea", "in the market", "in the garden", "in the mountains",
    "on the beach", "in the street", "at the railway station", "in the circus", "in the jungle", "in the kitchen",
)  # fmt: skip
SUBJECTS: Final = (
    "lighthouse", "bicycle", "elephant", "teapot", "windmill", "giraffe", "octopus", "train", "castle", "penguin", "violin",
    "umbrella", "rocket", "snail", "anchor", "cactus", "piano", "camel", "submarine", "owl", "hot air balloon", "scissors",
    "mermaid", "robot", "crocodile", "telescope", "heron", "pumpkin", "lobster", "armchair", "tractor", "butterfly", "dragon",
    "hedgehog", "saxophone", "igloo", "palm tree", "diving helmet", "kangaroo", "watering can", "pineapple", "knight",
    "ferris wheel", "squirrel", "alarm clock", "helicopter", "seahorse", "snowman", "typewriter", "peacock", "unicycle",
    "hourglass", "walrus", "scarecrow", "sunflower", "rocking horse", "church", "spider", "banana", "fire engine",
)  # fmt: skip
"""Subjects of the guessing game: single, well-known things."""


def article(words: str) -> str:
    """The words with ``a`` or ``an``."""
    return f"{'an' if words[0] in 'aeio' or words.startswith('um') else 'a'} {words}"


def invent(rng: random.Random) -> str:
    """A sentence such as "an old heron in a scarf reading a newspaper by the sea".

    Examples
    --------
    >>> invent(random.Random(1)) == invent(random.Random(1))
    True
    """
    who = rng.choice(ACTORS)
    if rng.random() < 0.4:
        who = f"{rng.choice(MOODS)} {who}"
    words = [article(who)]
    if rng.random() < 0.45:
        worn = rng.choice(WORN)
        words.append(f"in {worn}" if worn.endswith("s") else f"in {article(worn)}")
    words.append(rng.choice(ALONE))
    if rng.random() < 0.75:
        words.append(rng.choice(WHERE))
    return " ".join(words)
