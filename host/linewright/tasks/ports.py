"""What is plugged into this computer, which board answers where, and which rig file describes its machine."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from linewright.board.ports import Seen


@dataclass(frozen=True)
class PluggedIn:
    """A port, and the rig file that was last used with its board; None: none was."""

    seen: Seen
    rig_file: str | None

    def describe(self) -> dict[str, object]:
        """As one flat table."""
        return {**asdict(self.seen), "rig_file": self.rig_file}


def plugged_in(*, ask: bool = True) -> list[PluggedIn]:
    """Every serial port. Nothing moves.

    Parameters
    ----------
    ask : each port who is there, once; else only list them.
    """
    from linewright.board import machines
    from linewright.board.ports import asked, listed

    rigs = {one.unique: one.rig_file for one in machines.memory().met if one.unique}
    seen = [asked(one) if ask else one for one in listed()]
    return [PluggedIn(one, rigs.get(one.unique)) for one in seen]
