"""`ReviewFinding`: one result of a review, with weight, reason and advice."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Final, Literal

Weight = Literal["danger", "wrong", "doubtful", "unknown", "good"]

WEIGHTS: Final[tuple[Weight, ...]] = ("danger", "wrong", "doubtful", "unknown", "good")
"""Worst first. danger: people or parts may be harmed. wrong: it will not work. doubtful: it may not work well. unknown:
figures are missing. good: checked."""

BLOCKING: Final = ("danger", "wrong")


@dataclass(frozen=True)
class ReviewFinding:
    """One result.

    Parameters
    ----------
    weight : see `WEIGHTS`.
    about : the part of the machine, one or two words.
    said : what was found, with figures and units.
    why : its consequence, or the source of the rule.
    do : what to do next; empty if nothing.
    """

    weight: Weight
    about: str
    said: str
    why: str = ""
    do: str = ""

    @property
    def blocks(self) -> bool:
        """Whether the machine must stay switched off until this is corrected."""
        return self.weight in BLOCKING

    def describe(self) -> dict[str, object]:
        """The finding as a dict for JSON."""
        return asdict(self)
