"""What a trial sheet has shown: figures before and after, how surely, and what to change in the rig file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True)
class FoundValue:
    """One figure.

    Parameters
    ----------
    name : in words.
    before, after : what the rig file said, and what was found.
    stated : how far the truth may be from ``after``; None where it was chosen and not measured.
    unit : of all three.
    """

    name: str
    before: float
    after: float
    stated: float | None
    unit: str


@dataclass(frozen=True)
class Residual:
    """A measurement against what the figures found predict for it."""

    name: str
    measured: float
    off: float
    unit: str


@dataclass(frozen=True)
class Finding:
    """The result of a fit.

    Parameters
    ----------
    trial : name of the sheet.
    figures : what was found.
    residuals : what does not fit, measurement by measurement.
    changes : dotted keys of the rig file to new values.
    notes : what to know, plain sentences.
    """

    trial: str
    figures: tuple[FoundValue, ...]
    residuals: tuple[Residual, ...] = ()
    changes: Mapping[str, object] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def figure(self, name: str) -> FoundValue:
        """One figure by its name."""
        return next(figure for figure in self.figures if figure.name == name)

    def describe(self) -> dict[str, Any]:
        """Everything, for JSON."""
        return {
            "trial": self.trial,
            "figures": [asdict(figure) for figure in self.figures],
            "residuals": [asdict(residual) for residual in self.residuals],
            "changes": {key: _plain(value) for key, value in self.changes.items()},
            "notes": list(self.notes),
        }


def _plain(value: object) -> object:
    return value.tolist() if hasattr(value, "tolist") else value
