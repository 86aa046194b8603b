"""A small JSON file of values kept between runs."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from linewright.errors import InputError
from linewright.files import replacing
from linewright.folders import state_folder


@dataclass(frozen=True)
class StateFile:
    """A JSON file in the user's folder of states.

    Parameters
    ----------
    name : of the file in that folder.
    """

    name: str

    @property
    def path(self) -> Path:
        """Path of the file."""
        return state_folder() / self.name

    def read(self) -> Any:
        """The stored value; None if the file is missing or damaged."""
        try:
            return json.loads(self.path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return None

    def write(self, value: object) -> None:
        """Replace the stored value, whole or not at all.

        Raises
        ------
        InputError : the file cannot be written.
        """
        text = json.dumps(value, indent=1)
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with replacing(self.path) as stream:
                stream.write(text.encode())
        except OSError as error:
            raise InputError(
                f"cannot write {self.path}: {error.strerror or error}",
                hint="check the folder, its permissions and free space",
            ) from error
