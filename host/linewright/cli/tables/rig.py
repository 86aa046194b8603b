"""Tables about a rig."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from rich.table import Table
from rich.text import Text

from linewright import wording
from linewright.rig.wiring import KINDS

if TYPE_CHECKING:
    from linewright.rig.review import ReviewFinding
    from linewright.rig.wiring import Wiring

_STYLES: Final = {
    "danger": "bold white on red",
    "wrong": "bold red",
    "doubtful": "yellow",
    "unknown": "cyan",
    "good": "green",
}


def review_table(findings: Sequence[ReviewFinding], *, reasons: bool = False) -> Table:
    """One row per finding, with reason and advice below it.

    Parameters
    ----------
    findings : worst first, as from `review`.
    reasons : include the reasons of good findings.
    """
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    for one in findings:
        table.add_row(Text(one.weight, style=_STYLES[one.weight]), one.about, Text(one.said))
        if one.why and (reasons or one.weight != "good"):
            table.add_row("", "", Text(f"why: {one.why}", style="dim"))
        if one.do:
            table.add_row("", "", Text(f"next: {one.do}"))
    return table


def verdict(findings: Sequence[ReviewFinding], name: str) -> str:
    """The last line: whether the machine may be switched on."""
    blocking = sum(one.blocks for one in findings)
    doubtful = sum(one.weight == "doubtful" for one in findings)
    unknown = sum(one.weight == "unknown" for one in findings)
    if blocking:
        return f"{name}: {wording.count(blocking, 'thing')} to put right before anything is switched on"
    rest = [f"{wording.count(doubtful, 'doubt')}"] * bool(doubtful)
    rest += [f"{wording.count(unknown, 'figure')} not known"] * bool(unknown)
    # With unknown figures the machine cannot be called sound.
    said = f"{name} shows nothing wrong" if unknown else f"{name} is sound"
    return said + (f"; {', '.join(rest)}" if rest else "")


def wiring_table(wiring: Wiring) -> Table:
    """One row per wire, in working order."""
    table = Table("from", "to", "carries", "colour", "mm2", "note", box=None, pad_edge=False, header_style="bold")
    for line in wiring.lines:
        table.add_row(line.start, line.end, line.kind, KINDS[line.kind], f"{line.mm2:g}", line.note)
    return table
