"""Damaged files of every format: read, or refused in words; never a traceback, never taken for something else.

`bench/fuzz_formats.py` does the same with ten thousand, and watches memory and processor time.
"""

from __future__ import annotations

import pytest

from fuzz.formats import FORMATS
from fuzz.trial import Trials

FILES = 12
"""Of each format; the bench takes other ones."""


@pytest.mark.parametrize("name", FORMATS)
def test_damaged_files_are_read_or_refused(name, tmp_path):
    if name == "pdf":
        pytest.importorskip("pypdfium2")
    if name == "dxf":
        pytest.importorskip("ezdxf")
    trials = Trials(name, tmp_path)
    trials.seeds_are_read()
    found = [trials.one(number) for number in range(FILES)]
    assert not [one.why for one in found if one.became in ("bug", "wrong")]
    assert any(one.became == "refused" for one in found)
