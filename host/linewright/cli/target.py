"""Prints which machine a command is about; `linewright.tasks.target` finds it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from linewright.cli import output
from linewright.tasks import target as targets
from linewright.tasks.target import DEFAULT, VIRTUAL, Target

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["DEFAULT", "VIRTUAL", "Target", "aim", "current", "forget", "know", "of_rig"]

_now: Target | None = None


def current() -> Target | None:
    """The machine of the running command; None if it has none, or before it is known."""
    return _now


def know(target: Target | None) -> None:
    """Set the machine of the running command; None: none."""
    global _now
    _now = target


def forget() -> None:
    """Reset for a new command."""
    know(None)


def of_rig(rig_file: Path | None, *, said: bool = False) -> Target:
    """The machine of a command that needs no port.

    Parameters
    ----------
    rig_file : as given; None: the usual one, or the default rig if there is none.
    said : print which machine it is; not with ``--json``.
    """
    target = targets.of_rig(rig_file)
    know(target)
    if said:
        output.say(target.words, stderr=True)
    return target


def aim(rig_file: Path | None, port: str | None, *, said: bool = True, before: str = "") -> Target:
    """The machine of a command that needs its board.

    Parameters
    ----------
    rig_file, port : as given; None: not given.
    said : print which machine it is.
    before : port in an earlier command of the same drawing; "" for none.

    Raises
    ------
    InputError : it is a real machine, and its port is unknown.
    """
    target = targets.at_port(of_rig(rig_file), port, before=before)
    know(target)
    if said:
        output.say(target.words, stderr=True)
    return target
