"""Result of a trial sheet: figures before and after, uncertainty, and changes to the rig file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True)
class FoundValue:
    """One figure of a result.

    Parameters
    ----------
    name : in words.
    before, after : value in the rig file, and new value.
    stated : uncertainty of ``after``; None if it was chosen and not measured.
    unit : unit of all three.
    """

    name: str
    before: float
    after: float
    stated: float | None
    unit: str


@dataclass(frozen=True)
class Residual:
    """A measurement and its value predicted by the fit."""

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
    figures : the results.
    residuals : deviation of each measurement from the fit.
    changes : dotted keys of the rig file to new values.
    notes : remarks for the user.
    """

    trial: str
    figures: tuple[FoundValue, ...]
    residuals: tuple[Residual, ...] = ()
    changes: Mapping[str, object] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def figure(self, name: str) -> FoundValue:
        """The figure with this name."""
        return next(figure for figure in self.figures if figure.name == name)

    def describe(self) -> dict[str, Any]:
        """The result as a dict for JSON."""
        return {
            "trial": self.trial,
            "figures": [asdict(figure) for figure in self.figures],
            "residuals": [asdict(residual) for residual in self.residuals],
            "changes": {key: _plain(value) for key, value in self.changes.items()},
            "notes": list(self.notes),
        }


def _plain(value: object) -> object:
    return value.tolist() if hasattr(value, "tolist") else value
