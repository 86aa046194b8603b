"""Random subjects from word lists, in the world of Marrow Quay."""

from __future__ import annotations

import random
from typing import Final

WHO: Final = (
    "a heron", "a harbour seal", "an old lighthouse", "a cormorant", "a brass diving helmet", "a herring gull",
    "a net mender", "a ferryman's dog", "a lobster", "a paper boat", "a one-legged sandpiper", "a lamp keeper",
    "a tired tugboat", "a hermit crab", "a cat from the fish market", "a mackerel", "a sleepy walrus",
    "a rowing boat", "a night watchman", "an octopus", "a choir of mussels", "a pilot cutter", "a weather vane",
    "a bell buoy",
)  # fmt: skip

HOW: Final = (
    "in a rain hat", "with an umbrella", "reading a letter", "playing the concertina", "asleep",
    "in a striped jersey", "carrying a lantern", "counting the waves", "drinking tea", "dancing",
    "waiting for the tide", "in carpet slippers", "balancing on a bollard", "mending a kite", "writing a postcard",
    "selling ice cream", "looking through a telescope", "with a wooden suitcase", "on stilts", "singing",
    "knitting a sail", "in a crown of seaweed",
)  # fmt: skip

WHERE: Final = (
    "among the reeds", "at the end of the pier", "under a full moon", "in the rain", "beside a stack of lobster pots",
    "on a sandbank at low water", "in front of the harbour chapel", "in a teacup", "at the herring fair",
    "on the customs house roof", "in the fog", "between two fishing boats", "on the ferry steps", "inside a bottle",
    "under the sea", "on the last tram", "in a storm", "at dawn", "below the bridge", "in a garden of anchors",
)  # fmt: skip


def subject(rng: random.Random) -> str:
    """A subject, such as "a heron in a rain hat at the end of the pier".

    Examples
    --------
    >>> subject(random.Random(1)) == subject(random.Random(1))
    True
    """
    words = [rng.choice(WHO), rng.choice(HOW)]
    if rng.random() < 0.75:
        words.append(rng.choice(WHERE))
    return " ".join(words)


def count() -> int:
    """Number of different subjects."""
    return len(WHO) * len(HOW) * (len(WHERE) + 1)
