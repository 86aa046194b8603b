"""The tape's file format: round trip, and detection of damage."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.errors import InputError
from linewright.simulation import tape as tapes
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.replay import read_trace
from linewright.simulation.tape import TapeReader
from tape_maker import TapeMaker, line_words


def test_a_tape_explains_itself(tmp_path):
    machine = Machine(crossed=True, travel_mm=(111.0, 222.0), endstop=("max", "none"))
    faults = Faults(skew_deg=0.3)
    maker = TapeMaker(tmp_path / "x.tape", machine, faults)
    maker.zero(-3, 1 << 29)
    maker.move(10, -10)
    reader = TapeReader(maker.close())
    assert reader.machine == machine
    assert reader.faults == faults
    shape, zero, words = reader
    assert (shape.kind, shape.values.tolist()) == (tapes.SHAPE, [19, 5, 10])
    assert (zero.signed(0), zero.signed(1)) == (-3, 1 << 29)
    assert (words.kind, words.tick, len(words.values)) == (tapes.WORDS, 0, 10)
    assert not reader.damaged


def test_the_layout_is_the_documented_one(tmp_path):
    maker = TapeMaker(tmp_path / "x.tape")
    maker.tick = 0x1_0000_0002
    maker.play(np.array([0x12345675], dtype=np.uint32))
    data = maker.close().read_bytes()
    assert data[:8] == b"LWTAPE\x01\n"
    body = 12 + struct.unpack_from("<I", data, 8)[0]
    assert body % 4 == 0
    assert struct.unpack_from("<HHIQ3I", data, body) == (tapes.SHAPE, 0, 3, 0, 19, 5, 10)
    assert struct.unpack_from("<HHIQI", data, body + 28) == (tapes.WORDS, 0, 1, 0x1_0000_0002, 0x12345675)
    assert len(data) == body + 28 + 20


def test_long_runs_are_split_and_short_ones_joined(tmp_path):
    maker = TapeMaker(tmp_path / "x.tape")
    words = line_words(128, 0, 100)
    for _ in range(1100):
        maker.play(words)
    counts = [len(entry.values) for entry in TapeReader(maker.close()) if entry.kind == tapes.WORDS]
    assert sum(counts) == 1100 * 128
    assert len(counts) == 3


def test_a_tape_that_was_cut_off_reads_up_to_its_last_whole_word(tmp_path):
    maker = TapeMaker(tmp_path / "x.tape")
    maker.play(line_words(100, 0, 1000))
    path = maker.close()
    path.write_bytes(path.read_bytes()[:-42])
    trace = read_trace(path)
    assert trace.damaged
    assert trace.words == 100 - 11


@pytest.mark.parametrize("data", [b"", b"hello", b"LWTAPE\x01\n", b"LWTAPE\x01\n\xff\xff\xff\xff{}", b"LWTAPE\x02\n"])
def test_what_is_no_tape_is_refused(tmp_path, data):
    path = tmp_path / "x.tape"
    path.write_bytes(data)
    with pytest.raises(InputError):
        TapeReader(path)


@given(st.integers(0, 3000), st.binary(min_size=1, max_size=40))
def test_any_damage_is_an_error_or_is_survived(tmp_path_factory, where, junk):
    """Any bytes in any place of a tape yield entries or an InputError, never another exception."""
    path = tmp_path_factory.mktemp("tapes") / "x.tape"
    maker = TapeMaker(path)
    maker.pen(True)
    maker.move(300, 200)
    data = bytearray(maker.close().read_bytes())
    data[where : where + len(junk)] = junk
    path.write_bytes(data)
    try:
        for entry in TapeReader(path):
            assert len(entry.values) <= tapes.LONGEST_RUN
    except InputError:
        pass


def test_machine_json_is_strict():
    assert Machine.from_json(Machine().to_json()) == Machine()
    for text in ("{}", "[]", Machine().to_json().replace("crossed", "crooked")):
        with pytest.raises(ValueError, match="exactly the fields"):
            Machine.from_json(text)
