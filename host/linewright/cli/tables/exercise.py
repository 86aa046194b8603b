"""Result of an exercise as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table

from linewright.calibration.exercise import SHARES

if TYPE_CHECKING:
    from linewright.calibration.exercise import Bout, Tally
    from linewright.rig.rig import Rig


def bout_words(bout: Bout, rig: Rig) -> str:
    """``x towards + at 90 mm/s: nothing lost``."""
    axis = rig.x if bout.axis == "x" else rig.y
    told = "nothing lost"
    if bout.lost:
        told = "more steps lost than homing can find" if bout.lost_steps is None else _lost_words(bout.lost_steps)
    return f"{bout.axis} towards {bout.sense} at {bout.share * axis.speed_mm_s:g} mm/s: {told}"


def _lost_words(steps: int | None) -> str:
    return "out of reach" if steps is None else f"{steps:+d} steps"


def tally_table(tally: Tally, rig: Rig) -> Table:
    """One row per axis, direction and speed."""
    table = Table(box=None, pad_edge=False)
    for name in ("towards", "mm/s", "bouts", "moves", "distance", "lost in", "most lost"):
        table.add_column(name, justify="left" if name == "towards" else "right", no_wrap=True)
    for axis_name, axis in (("x", rig.x), ("y", rig.y)):
        for sense in ("+", "-"):
            for share in SHARES:
                bouts = tally.of(axis_name, sense, share)
                if not bouts:
                    continue
                losses = [bout.lost_steps for bout in bouts]
                most = None if None in losses else max((n for n in losses if n is not None), key=abs)
                table.add_row(
                    f"{axis_name} {sense}",
                    f"{share * axis.speed_mm_s:g}",
                    str(len(bouts)),
                    str(sum(bout.moves for bout in bouts)),
                    f"{sum(bout.way_mm for bout in bouts) / 1000.0:.1f} m",
                    str(sum(bout.lost for bout in bouts)),
                    _lost_words(most) if most != 0 else "0 steps",
                )
    return table
