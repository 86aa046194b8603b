"""`Finding`: one thing that a review of a rig has come to, with its weight, the reason, and what to do."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Final, Literal

Weight = Literal["danger", "wrong", "doubtful", "unknown", "good"]

WEIGHTS: Final[tuple[Weight, ...]] = ("danger", "wrong", "doubtful", "unknown", "good")
"""The worst first. danger: something or somebody may come to harm. wrong: it will not work. doubtful: it may not
work well. unknown: the file lacks the figures. good: checked, with the figures."""

BLOCKING: Final = ("danger", "wrong")


@dataclass(frozen=True)
class ReviewFinding:
    """One result.

    Parameters
    ----------
    weight : see `WEIGHTS`.
    about : the part of the machine, one or two words.
    said : what was found, with figures and units.
    why : what follows from it, or where the rule comes from.
    do : what to do next; empty where there is nothing to do.
    """

    weight: Weight
    about: str
    said: str
    why: str = ""
    do: str = ""

    @property
    def blocks(self) -> bool:
        """Whether nothing should be switched on before this is put right."""
        return self.weight in BLOCKING

    def describe(self) -> dict[str, object]:
        """Everything, for JSON."""
        return asdict(self)
