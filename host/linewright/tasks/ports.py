"""Tasks: serial ports, the boards on them, and the rig files last used with them."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linewright.board.ports import Seen


@dataclass(frozen=True)
class PluggedIn:
    """A port, and the rig file last used with its board; None if there is none."""

    seen: Seen
    rig_file: str | None

    def describe(self) -> dict[str, object]:
        """The values as one flat dict."""
        return {**asdict(self.seen), "rig_file": self.rig_file}


def plugged_in(*, ask: bool = True) -> list[PluggedIn]:
    """All serial ports. Nothing moves.

    Parameters
    ----------
    ask : ask for a board on each port; False: only list the ports.
    """
    from linewright.board import machines
    from linewright.board.ports import asked, listed

    rigs = {one.unique: one.rig_file for one in machines.memory().met if one.unique}
    seen = [asked(one) if ask else one for one in listed()]
    return [PluggedIn(one, rigs.get(one.unique)) for one in seen]
