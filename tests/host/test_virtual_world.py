"""The simulated world of the board's port: time, blocks, halting, endstops, and the tape."""

from __future__ import annotations

from array import array

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.simulation import tape as tapes
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.replay import read_trace
from linewright.simulation.tape import TapeReader, TapeWriter
from linewright.virtual.world import BYTES, CLOCK_START_US, ENDSTOPS, FINISHED, NOW, World
from tape_maker import OVERHEAD, SETUP, TICK_HZ, WIDTH, line_words

X, Y = 1, 2


class EasyWire:
    """A host that has said certain bytes beforehand; time passes at once."""

    def __init__(self, *said: bytes) -> None:
        self.said = list(said)
        self.heard = b""
        self.asked: list[tuple[bool, bool]] = []

    def take(self, inbox, now):
        data = self.said.pop(0) if self.said else b""
        inbox[: len(data)] = data
        return len(data)

    def give(self, data, now):
        self.heard += data

    def let_pass(self, now, target, *, playing, expecting, at_rest):
        self.asked.append((playing, expecting))
        return target


class Board:
    """Uses the port as a board does."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.status = array("i", (0, 0, 0, 0))
        self.inbox = bytearray(512)
        world.configure(SETUP, WIDTH, OVERHEAD)

    def submit(self, words, servo_us=0):
        self.world.submit(array("I", [int(w) for w in words]), len(words), servo_us)

    def pause(self, max_us=1_000_000, expecting=0):
        self.world.pause(max_us, expecting, self.status, self.inbox)
        return self.status

    def play_all(self):
        before = self.status[FINISHED]
        while self.world.now < self.world._tail:
            self.pause()
        return self.status[FINISHED] - before


@pytest.fixture
def make(tmp_path):
    made = []

    def build(*said, machine=None, **faults):
        writer = TapeWriter(tmp_path / "x.tape", machine or Machine(), Faults(**faults))
        made.append(writer)
        world = World(EasyWire(*said), machine or Machine(), Faults(**faults), writer)
        return Board(world)

    yield build
    for writer in made:
        writer.close()


def entries(board, tmp_path):
    board.world.finish()
    board.world._tape.close()
    return list(TapeReader(tmp_path / "x.tape"))


def test_the_clock_starts_just_below_its_wrap_and_crosses_it(make):
    board = make()
    board.world.greet(board.status)
    assert board.status[NOW] == CLOCK_START_US == 2**30 - 5_000_000
    for _ in range(6):
        board.pause(1_000_000)
    assert board.status[NOW] == 1_000_000


def test_a_pause_ends_when_a_block_does_and_blocks_play_back_to_back(make):
    board = make()
    words = line_words(10, 0, 500)
    for _ in range(3):
        board.submit(words)
    for i in range(3):
        board.pause()
        assert board.status[FINISHED] == i + 1
        assert board.world.now == (i + 1) * 5000
    board.pause(7)
    assert board.world.now == 15_035
    assert board.world.steps == [30, 0]


def test_waiting_bytes_end_a_pause_before_it_begins(make):
    board = make(b"abc", b"defg")
    assert board.pause()[BYTES] == 3
    assert board.world.now == 0
    assert board.inbox[:3] == b"abc"
    board.pause(0)
    assert board.inbox[:4] == b"defg"
    assert board.pause(10)[BYTES] == 0
    assert board.world.now == 50
    board.world.write(bytearray(b"xyz.."), 3)
    assert board.world._wire.heard == b"xyz"


def test_the_wire_is_told_whether_the_player_plays_and_what_the_board_expects(make):
    board = make()
    board.pause(10, 1)
    board.submit(line_words(10, 0, 500))
    board.pause(10, 0)
    board.pause(10, 1)
    assert board.world._wire.asked == [(False, True), (True, False), (True, True)]


def test_halt_keeps_every_step_that_was_made_and_returns_the_rest(make):
    board = make()
    words = line_words(100, 40, 1000)
    board.submit(words)
    board.submit(words)
    board.pause(20_000)  # 100 words take 20 ms
    board.pause(10_100)  # half of the second: word 50 has begun and not yet waited
    assert board.world.halt() == 50
    assert board.world.steps == [150, 40 + int((words[:50] >> 1 & 1).sum())]
    assert board.pause(0)[FINISHED] == 2
    assert board.world.halt() == 0


def test_halt_completes_the_pulse_that_has_begun(make):
    board = make()
    words = line_words(100, 0, 1000)
    board.submit(words)
    # The first word: directions at 981, rise at 986, end at 1000.
    board.pause(197)  # tick 985
    assert board.world.halt() == 100
    board.submit(words)
    board.pause(198)  # tick 1975, i.e. 990 into the block
    assert board.world.halt() == 99
    assert board.world.steps == [1, 0]
    board.submit(words)
    assert board.world._queue[0].start == 985 + 1000


@given(st.lists(st.integers(1, 3000), min_size=1, max_size=12), st.integers(0, 2**32 - 1))
def test_halting_anywhere_any_number_of_times_loses_no_step(tmp_path_factory, pauses, seed):
    """Steps counted by the world, by the tape and by the board agree whenever the player is halted."""
    rng = np.random.default_rng(seed)
    path = tmp_path_factory.mktemp("tapes") / "x.tape"
    machine = Machine()
    with TapeWriter(path, machine, Faults()) as writer:
        board = Board(World(EasyWire(), machine, Faults(), writer))
        played = np.zeros(2, dtype=int)
        for pause_us in pauses:
            blocks = [
                line_words(*(int(v) for v in rng.integers(1, 60, 2)), int(rng.integers(100, 900))) for _ in range(3)
            ]
            for block in blocks:
                board.submit(block, 1700 if rng.random() < 0.3 else 0)
            board.pause(pause_us)
            board.world.servo(1300)
            board.pause(pause_us)
            unplayed = board.world.halt()
            words = np.concatenate(blocks)
            done = words[: len(words) - unplayed]
            played += [int((done & 1).sum()), int((done >> 1 & 1).sum())]
        board.world.finish()
    assert board.world.steps == played.tolist()
    trace = read_trace(path)
    assert trace.end_steps == tuple(played)
    assert not trace.damaged
    moments = [
        entry.tick + (int(entry.values[0] >> 4) + SETUP if entry.kind == tapes.WORDS else 0)
        for entry in TapeReader(path)
    ]
    assert moments == sorted(moments)


def test_endstops_close_at_the_true_zero_and_end_the_pause_there(make):
    board = make(start_x_mm=1.0, start_y_mm=50.0)
    board.submit(line_words(-100, 0, 5000))  # 80 steps to the switch
    assert board.pause()[ENDSTOPS] == X
    assert board.world.steps == [0, 0]  # counted when the block is done
    assert board.world.now == 79 * 5000 + 5000 - OVERHEAD + SETUP
    assert board.world.halt() == 20
    assert board.world.steps == [-80, 0]
    assert board.world.carriage_mm == pytest.approx((0.0, 50.0))
    board.submit(line_words(1, 0, 5000))
    assert board.pause()[ENDSTOPS] == 0


def test_endstop_at_the_far_end(make):
    machine = Machine(endstop=("max", "none"))
    board = make(machine=machine, start_x_mm=302.0)
    assert board.pause(0)[ENDSTOPS] == 0
    board.submit(line_words(100, 0, 5000))
    assert board.pause()[ENDSTOPS] == X
    assert board.world.halt() == 20  # 303 mm is the travel and the 3 mm behind it


def test_lost_steps_show_at_the_endstop(make):
    """Steps lost on the way from the switch appear on the way back."""
    board = make(start_x_mm=0.0, start_y_mm=50.0, pull_out_a_hz=5000.0)
    board.submit(line_words(100, 0, 500))  # 10 kHz: only the first step is followed
    board.play_all()
    board.submit(line_words(-100, 0, 5000))
    assert board.pause()[ENDSTOPS] == X
    assert board.world.halt() == 99
    assert board.world.steps == [99, 0]
    assert board.world.lost_steps == (99, 0)


def test_halting_takes_back_what_the_faulty_mechanics_had_been_told(make):
    board = make(backlash_x_mm=0.5, start_x_mm=10.0)
    board.submit(line_words(-120, 0, 500))
    board.pause(5000)
    board.world.halt()
    there = board.world.carriage_mm[0]
    assert there == pytest.approx(10 - 50 / 80 + 0.25)
    board.submit(line_words(10, 0, 500))
    board.play_all()
    assert board.world.carriage_mm[0] == pytest.approx(there)  # within the play


@pytest.mark.parametrize(
    ("fault", "before", "after"),
    [
        ({"stuck_y": 1}, Y, X | Y),
        ({"dead_x": 1}, 0, 0),
        ({"swapped_endstops": 1}, 0, Y),
    ],
)
def test_faulty_wiring(make, fault, before, after):
    board = make(start_x_mm=1.0, start_y_mm=50.0, **fault)
    board.submit(line_words(-100, 0, 500))
    assert board.pause(0)[ENDSTOPS] == before
    board.play_all()
    assert board.pause(0)[ENDSTOPS] == after


def test_a_bouncing_switch_settles_after_its_time(make, tmp_path):
    board = make(start_x_mm=1.0, start_y_mm=50.0, bounce_ms=5)
    board.submit(line_words(-100, 0, 5000))
    seen = []
    while board.world.now < 130_000 * 5:
        seen.append((board.world.now, board.pause(130_000)[ENDSTOPS]))
    switched = [(e.tick, int(e.values[0])) for e in entries(board, tmp_path) if e.kind == tapes.SWITCH]
    assert len(switched) > 5
    assert [level for _, level in switched[:4]] == [1, 0, 1, 0]
    assert switched[-1][1] == 1
    assert switched[-1][0] - switched[0][0] <= 5 * TICK_HZ // 1000
    assert seen[-1][1] == X


def test_the_tape_holds_events_in_order_of_time_even_in_mid_block(make, tmp_path):
    board = make()
    board.world.servo(1300)
    board.submit(line_words(10, 0, 1000), 1700)
    board.pause(1000)
    board.world.servo(1400)
    board.world.enable(1)
    board.pause()
    board.world.mark(-5, 7)
    found = entries(board, tmp_path)
    assert [entry.kind for entry in found] == [
        *(tapes.SHAPE, tapes.SERVO, tapes.SERVO),
        *(tapes.WORDS, tapes.SERVO, tapes.ENABLE, tapes.WORDS, tapes.ZERO),
    ]
    assert [len(entry.values) for entry in found if entry.kind == tapes.WORDS] == [5, 5]
    assert (found[-1].signed(0), found[-1].signed(1)) == (-5, 7)
    assert found[-1].tick == 10_000


def test_contiguous_blocks_become_one_entry(make, tmp_path):
    board = make()
    for _ in range(40):
        board.submit(line_words(128, 0, 100))
        board.play_all()
    found = [entry for entry in entries(board, tmp_path) if entry.kind == tapes.WORDS]
    assert [len(entry.values) for entry in found] == [40 * 128]
