"""`Notebook`: how far the bring-up of one rig file has come, kept from one day to the next."""

from __future__ import annotations

import contextlib
import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from linewright.files import replacing
from linewright.folders import state_folder
from linewright.rig.rig import Rig

STATES: Final = ("todo", "done", "skipped", "failed")

_WIRED: Final = {"board", "kinematics", "motor", "pins"}


class Notebook:
    """States of the steps of one rig file.

    Parameters
    ----------
    rig_file : which; None: nothing is kept.

    Attributes
    ----------
    states : step to one of `STATES`; what is not in it is to be done.
    said : step to what it came to, in words.
    when : of the last entry, UTC; empty for a new notebook.
    """

    def __init__(self, rig_file: Path | None = None) -> None:
        self._file: Path | None = None
        if rig_file is not None:
            name = hashlib.sha256(str(rig_file.resolve()).encode()).hexdigest()[:16]
            self._file = state_folder() / "bring-up" / f"{name}.json"
        self.states: dict[str, str] = {}
        self.said: dict[str, str] = {}
        self.when = ""

    def read(self, rig: Rig) -> bool:
        """Take up what was written earlier; False: nothing was, or the machine has been wired differently since."""
        if self._file is None:
            return False
        try:
            content = json.loads(self._file.read_text(encoding="utf-8"))
            states = {str(k): str(v) for k, v in content["states"].items() if v in STATES}
            said = {str(k): str(v) for k, v in content["said"].items()}
            when, wired = str(content["when"]), str(content["wired"])
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return False  # a damaged notebook is a new one: the steps are quickly done again
        if wired != _wiring(rig) or not states:
            return False
        self.states, self.said, self.when = states, said, when
        return True

    def write(self, rig: Rig) -> None:
        """Keep it. Where that is not possible, the next bring-up begins at the first step."""
        if self._file is None:
            return
        self.when = datetime.now(UTC).strftime("%Y-%m-%d %H:%M")
        content = {"wired": _wiring(rig), "when": self.when, "states": self.states, "said": self.said}
        with contextlib.suppress(OSError):
            self._file.parent.mkdir(parents=True, exist_ok=True)
            with replacing(self._file) as stream:
                stream.write(json.dumps(content, indent=1).encode())

    def enter(self, step: str, state: str, said: str) -> None:
        """What a step has come to."""
        self.states[step] = state
        self.said[step] = said

    def forget(self) -> None:
        """Begin anew."""
        self.states, self.said, self.when = {}, {}, ""


def _wiring(rig: Rig) -> str:
    """Changes when what the steps have proved may not hold any more."""
    return hashlib.sha256(rig.model_dump_json(include=_WIRED).encode()).hexdigest()[:16]
