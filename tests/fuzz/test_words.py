"""Random text for commands that take text: accepted or refused with a message."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linewright.errors import LinewrightError
from linewright.sheet.sizes import Sheet
from linewright.simulation.faults import Faults
from linewright.sources import methods, pens
from linewright.virtual.bad_wire import WireFaults

NUMBERS = st.sampled_from(
    [*["0", "-1", "1e400", "nan", "inf", "1e-400", "0x10", "1_0", "4.5"], "9" * 400, "\u0663", "\u00bd"]
)
MEANT = st.sampled_from(
    [*["mm", "cm", "in", "x", ",", ":", "=", "#", "/", "A4", "landscape", "stipple", "spacing", "black"], "\x9b", "\0"]
)
WORDS = st.lists(st.one_of(st.text(max_size=12), NUMBERS, MEANT), min_size=1, max_size=6).map("".join)

READERS = {
    "sheet": Sheet.named,
    "pens": pens.read_pens,
    "method": methods.chosen,
    "fault": lambda words: Faults.parse([words]),
    "wire": lambda words: WireFaults.parse([words]),
}


@pytest.mark.parametrize("name", READERS)
@given(words=WORDS)
@settings(max_examples=40, deadline=None)
def test_words_are_understood_or_refused(name, words):
    with contextlib.suppress(LinewrightError):
        READERS[name](words)
