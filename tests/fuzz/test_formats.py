"""Damaged files of every format: read or refused with a message, no traceback, no wrong result.

`bench/fuzz_formats.py` does the same with ten thousand, and watches memory and processor time.
"""

from __future__ import annotations

import struct

import pytest

from fuzz.formats import FORMATS
from fuzz.trial import Trials
from linewright.errors import LinewrightError
from linewright.simulation import tape

FILES = 12
"""Numbers of files of each format; the bench uses others."""


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


@pytest.mark.parametrize("name", ["rig", "arrangement", "pens", "maker", "form", "thing"])
@pytest.mark.parametrize("hostile", ["9" * 6000, "[" * 50_000])
def test_numbers_without_end_and_nesting_without_end_are_refused(name, hostile, tmp_path):
    """Both cause exceptions that are not the TOML or JSON reader's own."""
    file = tmp_path / f"hostile{FORMATS[name].suffix}"
    file.write_text(hostile if FORMATS[name].suffix == ".json" else f"steps = {hostile}\n")
    with pytest.raises(LinewrightError) as error:
        FORMATS[name].read(file)
    assert FORMATS[name].suffix == ".json" or "set_int_max_str_digits" not in str(error.value)


@pytest.mark.parametrize("kind", [tape.SHAPE, tape.SERVO, tape.ENABLE, tape.ZERO])
@pytest.mark.parametrize("values", [0, 9])
def test_an_entry_of_a_tape_with_another_number_of_values_is_damage(kind, values, tmp_path):
    seed = FORMATS["tape"].seeds(tmp_path)[0]
    file = tmp_path / "damaged.tape"
    file.write_bytes(seed + struct.pack("<HHIQ", kind, 0, values, 10**6) + bytes(4 * values))
    assert FORMATS["tape"].read(file).damaged
