"""`Notebook`: progress of a machine's bring-up, kept between sessions.

Results are valid only for the machine on which they were found, so they are stored by the board's serial number.
Virtual rigs and boards without a number are identified by port and rig file. Simulated results never count for a real
machine.
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
    """Key that identifies a machine; "" before its board has answered, or if it cannot be identified.

    Parameters
    ----------
    session : used after its greeting.
    port, rig_file : identify boards without a serial number; rig_file None: nothing is kept.
    """
    greeting = session.greeting
    if rig_file is None:
        return ""
    if greeting is None:
        # A virtual rig started by this command is known before it answers.
        return f"virtual {rig_file.resolve()}" if port.startswith("virtual") else ""
    if greeting.board == "virtual":
        return f"virtual {rig_file.resolve()}"
    unique = session.unique_id() if greeting.same_code else ""
    return f"{greeting.board} {unique}" if unique else f"{greeting.board} {port} {rig_file.resolve()}"


class Notebook:
    """States of the steps of one machine.

    Parameters
    ----------
    machine : returns the machine's key; "": nothing is kept.

    Attributes
    ----------
    states : step name to one of `STATES`; missing steps are not done.
    said : step name to its result in words.
    when : time of the last entry, UTC; empty for a new notebook.
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
        """Load earlier results. False if there are none, or if the wiring has changed since."""
        file = self._file()
        if file is None:
            return False
        content = file.read()
        try:
            states = {str(k): str(v) for k, v in content["states"].items() if v in STATES}
            said = {str(k): str(v) for k, v in content["said"].items()}
            when, wired = str(content["when"]), str(content["wired"])
        except (KeyError, TypeError, AttributeError):
            return False  # a damaged notebook is treated as new
        if wired != _wiring(rig) or not states:
            return False
        self.states, self.said, self.when = states, said, when
        return True

    def write(self, rig: Rig) -> None:
        """Save the results. If that fails, the next bring-up starts at the first step."""
        with contextlib.suppress(InputError, LinkError):
            file = self._file()
            if file is None:
                return
            self.when = datetime.now(UTC).strftime("%Y-%m-%d %H:%M")
            content = {"wired": _wiring(rig), "when": self.when, "states": self.states, "said": self.said}
            file.write(content)

    def enter(self, step: str, state: str, said: str) -> None:
        """Store the result of a step."""
        self.states[step] = state
        self.said[step] = said

    def forget(self) -> None:
        """Delete all results."""
        self.states, self.said, self.when = {}, {}, ""


def _wiring(rig: Rig) -> str:
    """Digest of the settings on which the results depend."""
    return hashlib.sha256(rig.model_dump_json(include=_WIRED).encode()).hexdigest()[:16]
