"""Result of a fit as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table

if TYPE_CHECKING:
    from linewright.calibration.trial.finding import Finding


def figures_table(finding: Finding) -> Table:
    """Each figure before and after, with its uncertainty."""
    table = Table(box=None, pad_edge=False)
    table.add_column("")
    table.add_column("in the rig file", justify="right")
    table.add_column("found", justify="right")
    table.add_column("sure to", justify="right")
    table.add_column("")
    for figure in finding.figures:
        digits = _digits(figure.stated, figure.after)
        stated = "" if figure.stated is None else f"\u00b1 {figure.stated:.{digits}f}"
        table.add_row(figure.name, f"{figure.before:z.{digits}f}", f"{figure.after:z.{digits}f}", stated, figure.unit)
    return table


def residuals_table(finding: Finding) -> Table:
    """Each measurement and its deviation from the fit."""
    table = Table(box=None, pad_edge=False)
    table.add_column("measured")
    table.add_column("value", justify="right")
    table.add_column("off by", justify="right")
    table.add_column("")
    for residual in finding.residuals:
        table.add_row(residual.name, f"{residual.measured:z.2f}", f"{residual.off:+z.2f}", residual.unit)
    return table


def _digits(stated: float | None, value: float) -> int:
    """Decimals to show: two digits of the uncertainty."""
    size = abs(value) / 100.0 if stated is None else abs(stated)
    for digits, least in ((0, 10.0), (1, 1.0), (2, 0.1), (3, 0.01)):
        if size >= least:
            return digits
    return 4
