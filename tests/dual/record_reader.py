"""Decodes payloads with `linewire.records.read_records` to plain records, for tests."""

from array import array

from linewire import records
from linewire.records import MORE, PEN, RAMP

SLOTS = 8  # small, so that the slots wrap within a frame


class Reader:
    """A decoder with two arrays."""

    def __init__(self):
        self.state = records.new_state(SLOTS - 1)
        self._values = array("i", [0] * SLOTS)
        self._places = array("i", [0] * SLOTS)

    def payload(self, data, end=-1, at_once=3):
        """The records of ``data[:end]`` as (kind, first, second, v_end), and how it ended."""
        found = []
        state = self.state
        if not records.open_payload(state, data, 0, len(data) if end < 0 else end):
            return found, records.BAD
        while True:
            slot = state[records.D_SLOT]
            ended = records.read_records(state, data, self._values, self._places, at_once)
            for i in range(state[records.D_COUNT]):
                at = (slot + i) % SLOTS
                found.append(record(self._values[at], self._places[at]))
            if ended != MORE:
                return found, ended


def record(value, place):
    """A record as it lies in memory, as (kind, first, second, v_end)."""
    kind = value >> records.KIND_SHIFT
    number = value & records.NUMBER_MASK
    if kind == RAMP:
        da = (place >> records.PLACE_SHIFT) - records.PLACE_ZERO
        return kind, da, (place & records.PLACE_MASK) - records.PLACE_ZERO, number
    if kind == PEN:
        return kind, place, number, 0
    return kind, number, 0, 0


def laid_down(kind, first, second, v_end):
    """(value, place) of a record as it lies in memory."""
    if kind == RAMP:
        return v_end, first + records.PLACE_ZERO << records.PLACE_SHIFT | second + records.PLACE_ZERO
    if kind == PEN:
        return kind << records.KIND_SHIFT | second, first
    return kind << records.KIND_SHIFT | first, 0


def give(board, kind, first, second, v_end):
    """Give a board one record as if from a frame."""
    feeder = board.feeder
    slot = feeder.taken & len(feeder.values) - 1
    feeder.values[slot], feeder.places[slot] = laid_down(kind, first, second, v_end)
    fault = board.admit(1)
    if fault:
        board.stop_with(fault, feeder.taken)
