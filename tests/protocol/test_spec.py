"""SPEC.md matches the code: its tables are generated from it, and its bytes are decoded by the real decoders."""

from __future__ import annotations

import re

from dual.record_reader import Reader
from linewire import endpoint, framing, messages, records
from protocol.spec_tables import NAMES, SPEC, filled

TEXT = SPEC.read_text()


def line(title: str) -> bytes:
    found = re.search(rf"^{re.escape(title)}: ([0-9a-f ]+)$", TEXT, re.MULTILINE)
    assert found, title
    return bytes.fromhex(found[1])


def test_tables_are_those_of_the_code() -> None:
    assert filled(TEXT) == TEXT, "run python tests/protocol/spec_tables.py"


def test_written_payload_is_read_as_the_written_records() -> None:
    written = re.findall(r"^  (ramp|pen|rest|end)((?: -?\d+)*)$", TEXT, re.MULTILINE)
    payload = line("payload")
    found, ended = Reader().payload(payload)
    assert ended == records.NOTHING
    assert len(found) == len(written)
    for (kind, first, second, v_end), (name, numbers) in zip(found, written, strict=True):
        assert kind == NAMES.index(name)
        expected = [int(number) for number in numbers.split()]
        got = [first, second, v_end] if kind == records.RAMP else [first, second]
        assert got[: len(expected)] == expected


def test_written_frames_hold_the_written_messages() -> None:
    for name in ("moves", "pace", "set"):
        reader = framing.FrameReader()
        (body,) = reader.feed(line(f"frame {name}"))
        assert body[:5] == bytes([messages.message_id(name), 1, 0, 0x33, 0x33])
        assert body[5:] == line(f"message {name}")
        assert messages.decode(body[0], body[5:])[0] == name
    assert messages.decode(messages.PACE, line("message pace")) == ("pace", {"value": 128})


def test_written_opening_links_a_fresh_host_and_board() -> None:
    host = endpoint.Endpoint(0x1111, True, 0)
    board = endpoint.Endpoint(0x2222, False, 0)
    board.receive(line("open host, calling"), 0)
    assert not board.linked
    host.receive(line("open board, offering"), 0)
    board.receive(line("open host, taking the offer"), 0)
    assert host.linked
    assert board.linked


def test_written_check_value_is_the_one_of_the_code() -> None:
    assert f"`{framing.CHECK_VALUE:X}`" in TEXT
