"""Results of tuning as a table and a sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table

from linewright import wording

if TYPE_CHECKING:
    from linewright.calibration.tuning import TuningResult


def candidates_table(choice: TuningResult) -> Table:
    """Every candidate with drawing time and wobble."""
    table = Table(box=None, pad_edge=False)
    table.add_column("setting")
    for name in ("time", "wobble", "on average"):
        table.add_column(name, justify="right")
    table.add_column("")
    for candidate in (choice.now, *choice.tried):
        mark = "<- best" if candidate is choice.best else ""
        table.add_row(
            candidate.name,
            wording.duration(candidate.predicted_s),
            f"{candidate.wobble_mm:.3f} mm",
            f"{candidate.rms_mm:.3f} mm",
            mark,
        )
    return table


def verdict(choice: TuningResult, wobble_mm: float) -> str:
    """Goal and result in up to three sentences."""
    goal = f"Best is the fastest setting whose lines stay within {wobble_mm:g} mm of the plan (--wobble). "
    return goal + _gained(choice, wobble_mm)


def _gained(choice: TuningResult, wobble_mm: float) -> str:
    now, best = choice.now, choice.best
    if best is now:
        return (
            "The present settings are the best."
            if choice.within
            else "No tried setting wobbles less than the present ones."
        )
    time = (best.predicted_s / now.predicted_s - 1.0) * 100.0
    words = (
        f"{best.name}: the wobble goes from {now.wobble_mm:.2f} to {best.wobble_mm:.2f} mm, "
        f"the time changes by {time:+z.0f} %."
    )
    if not choice.within:
        words += (
            f" No setting stays within {wobble_mm:g} mm; this one wobbles least. "
            "Stiffen the machine, or reduce the speed."
        )
    return words
