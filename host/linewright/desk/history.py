"""`History`: the sheet and all its earlier states, saved at each change.

The folder holds ``sheet.toml``, an arrangement as every command reads it, and ``history.jsonl`` with one line per
change, undo and redo. An incomplete line after a crash ends the history there. ``sheet.toml`` always takes precedence,
also when the user has edited it in the meantime.
"""

from __future__ import annotations

import json
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from linewright.errors import InputError, LinewrightError
from linewright.files import replacing
from linewright.planning import arrangement_file
from linewright.planning.arrangement import Arrangement, from_json, to_json

SHEET: Final = "sheet.toml"
STEPS: Final = "history.jsonl"

KEPT_BYTES: Final = 20_000_000
"""About ten thousand changes of a full sheet; at the next start the older half of a longer history is dropped."""


@dataclass(frozen=True)
class HistoryStep:
    """One state of the sheet.

    Parameters
    ----------
    what : the change that led to it: "move heron".
    held : the arrangement, as `to_json` writes it.
    gesture : id shared by changes that belong together, such as those of one drag; "": none.
    """

    what: str
    held: str
    gesture: str = ""


class History:
    """The sheet with persistent undo and redo.

    Parameters
    ----------
    folder : created if missing.

    Raises
    ------
    InputError : the folder cannot be used.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.trouble = ""
        self._steps: list[HistoryStep] = [HistoryStep("", to_json(Arrangement()))]
        self._at = 0
        self._gesture = ""
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._replay()
            self._file = (folder / STEPS).open("ab", buffering=0)
        except OSError as error:
            raise InputError(
                f"{folder} cannot be used: {error.strerror or error}",
                hint="set XDG_STATE_HOME to a folder that can be written",
            ) from error
        self._now = from_json(self._steps[self._at].held)
        self._believe_file()

    @property
    def now(self) -> Arrangement:
        """The present arrangement."""
        return self._now

    @property
    def sheet_file(self) -> Path:
        """The file that holds the sheet."""
        return self.folder / SHEET

    @property
    def undoes(self) -> str | None:
        """Description of the change that `undo` would revert."""
        return self._steps[self._at].what if self._at else None

    @property
    def redoes(self) -> str | None:
        """Description of the change that `redo` would repeat."""
        return self._steps[self._at + 1].what if self._at + 1 < len(self._steps) else None

    def change(self, new: Arrangement, what: str, gesture: str = "") -> None:
        """Replace the arrangement.

        Raises
        ------
        InputError : the new one cannot be drawn or saved; the sheet is unchanged.
        """
        if new == self._now:
            return
        self._keep(new)
        step = HistoryStep(what, to_json(new), gesture)
        goes_on = bool(gesture) and gesture == self._gesture and self._steps[self._at].gesture == gesture
        self._take(step, goes_on=goes_on)
        self._write({"what": what, "held": step.held, "gesture": gesture, "goes_on": goes_on})
        self._gesture = gesture

    def undo(self) -> None:
        """Go back to the previous arrangement.

        Raises
        ------
        InputError : there is nothing to undo.
        """
        self._go(-1, self.undoes, "undo")

    def redo(self) -> None:
        """Repeat the last undone change.

        Raises
        ------
        InputError : there is nothing to redo.
        """
        self._go(1, self.redoes, "redo")

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def _go(self, way: int, what: str | None, word: str) -> None:
        if what is None:
            raise InputError(f"there is nothing to {word}")
        new = from_json(self._steps[self._at + way].held)
        self._keep(new)
        self._at += way
        self._gesture = ""
        self._write({"go": way})

    def _take(self, step: HistoryStep, *, goes_on: bool) -> None:
        del self._steps[self._at + 1 :]
        if goes_on:
            self._steps[self._at] = step
        else:
            self._steps.append(step)
            self._at += 1

    def _keep(self, new: Arrangement) -> None:
        """Write ``sheet.toml`` first, so that it is right even if the program ends here."""
        try:
            arrangement_file.save(self.sheet_file, new)
        except LinewrightError:
            # The file is being edited, or is damaged. Keep a copy, and write it anew.
            if not self.sheet_file.exists():
                raise
            try:
                arrangement_file.load(self.sheet_file)
            except LinewrightError:
                self._put_aside()
                arrangement_file.save(self.sheet_file, new)
            else:
                raise
        self._now = new

    def _put_aside(self) -> None:
        aside = self.folder / f"sheet-{time.strftime('%Y%m%d-%H%M%S')}.toml.unreadable"
        self.sheet_file.replace(aside)
        self.trouble = (
            f"{self.sheet_file} was no arrangement; it is kept as {aside.name}, and the sheet is as it was here"
        )

    def _believe_file(self) -> None:
        if not self.sheet_file.exists():
            self._keep(self._now)
            return
        try:
            found = arrangement_file.load(self.sheet_file)
        except LinewrightError:
            self._put_aside()
            self._keep(self._now)
            return
        if found != self._now:
            self._take(HistoryStep("change in the file", to_json(found)), goes_on=False)
            self._now = found
            self._write({"what": "change in the file", "held": to_json(found), "gesture": "", "goes_on": False})

    def _write(self, said: dict[str, object]) -> None:
        try:
            self._file.write(json.dumps(said, ensure_ascii=False).encode() + b"\n")
        except OSError as error:
            self.trouble = f"what is undone cannot be kept beyond this session: {error.strerror or error}"

    def _replay(self) -> None:
        path = self.folder / STEPS
        if not path.exists():
            return
        data = path.read_bytes()
        whole = 0
        for line in data.splitlines(keepends=True):
            if not line.endswith(b"\n") or not self._replayed(line):
                break
            whole += len(line)
        if whole < len(data):
            os.truncate(path, whole)
        if whole > KEPT_BYTES:
            self._shorten(path)

    def _replayed(self, line: bytes) -> bool:
        """Replay one line; False: it is incomplete."""
        try:
            said = json.loads(line)
            if "go" in said:
                at = self._at + int(said["go"])
                if not 0 <= at < len(self._steps):
                    return False
                self._at = at
                return True
            step = HistoryStep(str(said["what"]), str(said["held"]), str(said["gesture"]))
            from_json(step.held)
            self._take(step, goes_on=bool(said["goes_on"]))
        except (ValueError, KeyError, TypeError, RecursionError):
            return False
        return True

    def _shorten(self, path: Path) -> None:
        half = max(0, min(self._at, len(self._steps) // 2))
        self._steps, self._at = self._steps[half:], self._at - half
        lines = [
            json.dumps({"what": s.what, "held": s.held, "gesture": s.gesture, "goes_on": False}, ensure_ascii=False)
            for s in self._steps
        ]
        back = [json.dumps({"go": -1})] * (len(self._steps) - 1 - self._at)
        # Replay of the first line starts from the empty sheet.
        with replacing(path) as stream:
            stream.write("\n".join([*lines, *back, ""]).encode())
        self._steps.insert(0, HistoryStep("", to_json(Arrangement())))
        self._at += 1
