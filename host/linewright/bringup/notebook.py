"""`Notebook`: how far the bring-up of one machine has come, kept from one day to the next.

What was found is true of the machine on which it was found, so it is kept by its board's serial number. A virtual rig
and a board without a number are told apart by port and rig file; what was rehearsed never counts for a real machine.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linewright.errors import InputError, LinkError
from linewright.rig.rig import Rig
from linewright.state_file import StateFile

if TYPE_CHECKING:
    from linewright.board.session import Session

STATES: Final = ("todo", "done", "skipped", "failed")

_WIRED: Final = {"board", "kinematics", "motor", "pins"}


def machine_key(session: Session, port: str, rig_file: Path | None) -> str:
    """What tells a machine from others; "" while its board has not answered, or where there is no telling.

    Parameters
    ----------
    session : asked once it has greeted.
    port, rig_file : tell boards without a serial number apart; None: the rig has no file, and nothing is kept of it.
    """
    greeting = session.greeting
    if rig_file is None:
        return ""
    if greeting is None:
        # A virtual rig of this command needs no answer to be known.
        return f"virtual {rig_file.resolve()}" if port.startswith("virtual") else ""
    if greeting.board == "virtual":
        return f"virtual {rig_file.resolve()}"
    unique = session.unique_id() if greeting.same_code else ""
    return f"{greeting.board} {unique}" if unique else f"{greeting.board} {port} {rig_file.resolve()}"


class Notebook:
    """States of the steps of one machine.

    Parameters
    ----------
    machine : tells what the machine is known by; "": nothing is kept.

    Attributes
    ----------
    states : step to one of `STATES`; what is not in it is to be done.
    said : step to what it came to, in words.
    when : of the last entry, UTC; empty for a new notebook.
    """

    def __init__(self, machine: Callable[[], str] = lambda: "") -> None:
        self._machine = machine
        self.states: dict[str, str] = {}
        self.said: dict[str, str] = {}
        self.when = ""

    def _file(self) -> StateFile | None:
        machine = self._machine()
        if not machine:
            return None
        return StateFile(f"bring-up/{hashlib.sha256(machine.encode()).hexdigest()[:16]}.json")

    def read(self, rig: Rig) -> bool:
        """Take up what was written earlier; False: nothing was, or the machine has been wired differently since."""
        file = self._file()
        if file is None:
            return False
        content = file.read()
        try:
            states = {str(k): str(v) for k, v in content["states"].items() if v in STATES}
            said = {str(k): str(v) for k, v in content["said"].items()}
            when, wired = str(content["when"]), str(content["wired"])
        except (KeyError, TypeError, AttributeError):
            return False  # a damaged notebook is a new one: the steps are quickly done again
        if wired != _wiring(rig) or not states:
            return False
        self.states, self.said, self.when = states, said, when
        return True

    def write(self, rig: Rig) -> None:
        """Keep it. Where that is not possible, the next bring-up begins at the first step."""
        with contextlib.suppress(InputError, LinkError):
            file = self._file()
            if file is None:
                return
            self.when = datetime.now(UTC).strftime("%Y-%m-%d %H:%M")
            content = {"wired": _wiring(rig), "when": self.when, "states": self.states, "said": self.said}
            file.write(content)

    def enter(self, step: str, state: str, said: str) -> None:
        """Note the outcome of a step."""
        self.states[step] = state
        self.said[step] = said

    def forget(self) -> None:
        """Begin anew."""
        self.states, self.said, self.when = {}, {}, ""


def _wiring(rig: Rig) -> str:
    """Changes when what the steps have proved may not hold any more."""
    return hashlib.sha256(rig.model_dump_json(include=_WIRED).encode()).hexdigest()[:16]
