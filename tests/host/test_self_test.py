"""Assumptions of `board check` about the link's formats."""

from __future__ import annotations

import dataclasses

from lineboard import feeder
from linewire import records
from linewire.encoding import encode_payload
from linewright.board import self_test
from linewright.board.session_values import Greeting


def greeting(queue_slots: int) -> Greeting:
    fields = {field.name: 0 for field in dataclasses.fields(Greeting)}
    return Greeting(**{**fields, "queue_slots": queue_slots})  # type: ignore[arg-type]  # the fields are numbers


def test_one_frame_may_hold_as_many_records_as_the_format_says() -> None:
    """Ramps equal to the previous one take three bits, the minimum."""
    alike = [(records.RAMP, 3, 1, 500)] * (records.MOST + 50)
    payload, first = encode_payload(alike, 0)
    second, following = encode_payload(alike, first)
    assert len(payload) == len(second) or following == len(alike)
    payload, following = encode_payload([*alike, *alike], first)
    assert len(payload) == records.RECORDS_ROOM
    assert following - first == records.MOST


def test_a_queue_that_a_full_frame_and_a_round_trip_overfill_fails_the_check() -> None:
    assert self_test.QUEUE_RECORDS > records.MOST
    assert self_test._queue(greeting(self_test.QUEUE_RECORDS - 1)).outcome == "failed"
    assert self_test._queue(greeting(self_test.QUEUE_RECORDS)).outcome == "passed"
    assert feeder.SLOTS >= self_test.QUEUE_RECORDS, "our own boards pass"
