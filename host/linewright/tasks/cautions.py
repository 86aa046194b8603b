"""Cautions before a real machine moves: in full the first time on a port, then in one line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.folders import state_folder

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

CAUTIONS: Final = (
    "Disconnect power before you touch motor leads: unplugging a motor from a live driver kills the driver.",
    "Set each driver's current to its motor before the first move.",
    "Join the grounds of all supplies. 3.3 V boards do not forgive 5 V on an input.",
    "Give the servo its own supply: its stall current is more than a USB port owes you (500 mA, USB 2.0).",
    "Keep fingers, hair and cables clear of belts and rails.",
    "Have a switch within reach that removes motor power, and do not leave the machine running unattended.",
    "Mains wiring, and all work that your local code reserves for licensed people, must be done by them.",
)

SHORT: Final = "keep fingers clear, and the motor power switch within reach; do not leave the machine unattended"

HOMES_FIRST: Final = (
    "the machine homes first, in case the motors were without power. If the motor supply was switched off while the "
    "pen drew, the last counted steps are not on paper: then name the first missing stroke with --from-stroke"
)

NEVER_HOMES: Final = (
    "if the motors were without power since, or the carriage was moved, stop here, put the pen to its park position by "
    "hand, and resume with --at-park"
)


def same_place(pen: str = "") -> str:
    """The caution before resuming: what must be unchanged.

    Parameters
    ----------
    pen : the next pen, if there are several; it may differ from the last one.
    """
    which = f"the pen '{pen}'" if pen else "the same pen"
    return f"the sheet must lie exactly where it lay, and {which} must be mounted at the same height"


def motor_switch_used(rig: Rig) -> tuple[str, ...]:
    """The caution for a board that does not sense whether its motors lost power meanwhile."""
    if rig.senses_motor_power:
        return ()
    return (HOMES_FIRST if rig.finds_its_place else NEVER_HOMES,)


def seen_file() -> Path:
    """File of the ports whose user has seen the cautions."""
    return state_folder() / "ports-seen"


def before_moving(port: str) -> tuple[str, ...]:
    """Cautions to print before a drawing on this port; none for the virtual rig."""
    if not port.startswith("serial:"):
        return ()
    try:
        seen = seen_file().read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        seen = []
    return (SHORT,) if port in seen else CAUTIONS


def remember(port: str) -> None:
    """Record that the cautions for this port have been shown. If that fails, they are shown again next time."""
    if not port.startswith("serial:"):
        return
    try:
        file = seen_file()
        file.parent.mkdir(parents=True, exist_ok=True)
        known = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
        if port not in known:
            file.write_text("\n".join([*known, port]) + "\n", encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return
