"""`History`: what lies on the sheet and everything that lay there before, on disk as it changes.

The folder holds ``sheet.toml``, an arrangement as every command takes it, and ``history.jsonl``, to which one line is
appended for each change, each undo and each redo. A line that a crash has torn ends the history there; what is in
``sheet.toml`` is believed in any case, also when its owner has changed it in an editor meanwhile.
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
"""Some ten thousand changes of a full sheet; at the next start the older half of a longer history is left out."""


@dataclass(frozen=True)
class HistoryStep:
    """One state of the sheet.

    Parameters
    ----------
    what : led to it, in words: "move heron".
    held : the arrangement, as `to_json` writes it.
    gesture : changes that belong together, such as those of one drag, have the same; "": none.
    """

    what: str
    held: str
    gesture: str = ""


class History:
    """The sheet, with undo and redo that outlive everything.

    Parameters
    ----------
    folder : is made where it is not there.

    Raises
    ------
    InputError : it cannot be used.
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
        """What lies on the sheet."""
        return self._now

    @property
    def sheet_file(self) -> Path:
        """The file that holds the sheet."""
        return self.folder / SHEET

    @property
    def undoes(self) -> str | None:
        """What `undo` would take back."""
        return self._steps[self._at].what if self._at else None

    @property
    def redoes(self) -> str | None:
        """What `redo` would do again."""
        return self._steps[self._at + 1].what if self._at + 1 < len(self._steps) else None

    def change(self, new: Arrangement, what: str, gesture: str = "") -> None:
        """Put another arrangement on the sheet.

        Raises
        ------
        InputError : it cannot be drawn, or not be saved; the sheet stays as it was.
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
        """Back to what lay there before.

        Raises
        ------
        InputError : there is nothing to take back.
        """
        self._go(-1, self.undoes, "undo")

    def redo(self) -> None:
        """Forward again.

        Raises
        ------
        InputError : nothing was taken back.
        """
        self._go(1, self.redoes, "redo")

    def close(self) -> None:
        """Let go of the file."""
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
        """Into ``sheet.toml`` first: should this be the last thing that happens, the sheet is right."""
        try:
            arrangement_file.save(self.sheet_file, new)
        except LinewrightError:
            # Somebody is in the middle of editing it, or it was damaged. It is kept beside, and written anew.
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
        """Take one line; False: it is not whole."""
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
        # The first line is replayed onto the empty sheet that every history begins with.
        with replacing(path) as stream:
            stream.write("\n".join([*lines, *back, ""]).encode())
        self._steps.insert(0, HistoryStep("", to_json(Arrangement())))
        self._at += 1
