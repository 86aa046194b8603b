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
    """The machine that this command is about; None: it has not said yet, or is about none."""
    return _now


def know(target: Target | None) -> None:
    """Remember which machine this command is about; None: none."""
    global _now
    _now = target


def forget() -> None:
    """A new command begins."""
    know(None)


def of_rig(rig_file: Path | None, *, said: bool = False) -> Target:
    """The machine of a command that needs no port.

    Parameters
    ----------
    rig_file : as named; None: the usual one, and if there is none the default rig.
    said : say which it is; not with ``--json``.
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
    rig_file, port : as named; None: not named.
    said : say which machine it is.
    before : where an earlier command of the same drawing found it; "" for none.

    Raises
    ------
    InputError : it is a real machine, and nobody knows its port.
    """
    target = targets.at_port(of_rig(rig_file), port, before=before)
    know(target)
    if said:
        output.say(target.words, stderr=True)
    return target
