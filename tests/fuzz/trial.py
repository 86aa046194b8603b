"""Reads one damaged file and measures the result, memory and time."""

from __future__ import annotations

import random
import time
import traceback
import warnings
from dataclasses import dataclass
from pathlib import Path

from fuzz.formats import FORMATS
from fuzz.mutations import damaged
from linewright.errors import LinewrightError


@dataclass(frozen=True)
class Outcome:
    """Result of one file.

    Parameters
    ----------
    became : "read", "refused", "wrong" (an oracle says so) or "bug".
    cpu_s : processor time of reading. why : the traceback, or the oracle's message.
    data : the file.
    """

    became: str
    cpu_s: float
    why: str
    data: bytes


class Trials:
    """Damaged files of one format.

    Parameters
    ----------
    name : of `FORMATS`.
    folder : may be written to.
    """

    def __init__(self, name: str, folder: Path) -> None:
        self._format = FORMATS[name]
        self._name = name
        self._seeds = self._format.seeds(folder)
        self._file = folder / f"damaged{self._format.suffix}"

    def seeds_are_read(self) -> None:
        """Undamaged files are read; otherwise the other tests prove nothing."""
        for seed in self._seeds:
            self._file.write_bytes(seed)
            wrong = self._format.wrong(seed, seed, self._format.read(self._file))
            assert not wrong, wrong

    def one(self, number: int) -> Outcome:
        """The file of this number, the same on every computer."""
        chance = random.Random(f"{self._name} {number}")
        seed = chance.choice(self._seeds)
        data = damaged(seed, self._format.words, chance)
        self._file.write_bytes(data)
        begun_s = time.process_time()
        became, why = "read", ""
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # those of other libraries, about damaged files
                value = self._format.read(self._file)
                cpu_s = time.process_time() - begun_s
                if why := self._format.wrong(seed, data, value):
                    became = "wrong"
        except LinewrightError as error:
            cpu_s = time.process_time() - begun_s
            became, why = "refused", str(error)
        except Exception:  # such bugs are the purpose of the test
            cpu_s = time.process_time() - begun_s
            became, why = "bug", traceback.format_exc()
        return Outcome(became, cpu_s, why, data)
