"""The pulse checks accept allowed pulses and report each kind of violation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linewright.simulation.machine import Machine
from linewright.simulation.pulse_checks import WordTiming, decode
from linewright.simulation.replay import read_trace
from tape_maker import TICK_HZ, TapeMaker, line_words, step_intervals


@pytest.fixture
def maker(tmp_path):
    return TapeMaker(tmp_path / "x.tape")


def broken(maker):
    """Names of the checks that a tape breaks."""
    return {check.name for check in read_trace(maker.close()).checks if check.broken}


def first(maker, name):
    check = read_trace(maker.close()).check(name)
    assert check.broken
    return check.violations[0]


def test_decode_reads_the_word_as_the_port_describes_it():
    # wait 100, both directions positive, A steps; then wait 50, A negative, B positive, both step; then a delay.
    words = np.array([100 << 4 | 0b1101, 50 << 4 | 0b1011, 1000 << 4], dtype=np.uint32)
    run = decode(words, 7, WordTiming(19, 5, 10))
    assert run.directed.tolist() == [107, 107 + 19 + 50]
    assert run.rise.tolist() == [112, 112 + 19 + 50]
    assert run.step_a.tolist() == [1, -1]
    assert run.step_b.tolist() == [0, 1]
    assert run.end == 7 + 100 + 50 + 1000 + 3 * 19


def test_a_move_within_all_limits_breaks_nothing(maker):
    # 2000 mm/s^2 at 80 steps/mm is 160 000 steps/s^2.
    for da, db in ((1600, 0), (-1600, 1234), (300, 1600), (-300, -1600)):
        maker.move(da, db, accel=150_000.0)
    assert broken(maker) == set()


def test_the_allowances_hold_at_the_limit_itself(maker):
    for da, db in ((1600, 0), (-1600, 1599), (7, -1600)):
        maker.move(da, db, accel=160_000.0)
    assert broken(maker) == set()


def test_twenty_per_cent_more_acceleration_is_seen(maker):
    maker.dwell(10)
    maker.move(1200, 0, accel=200_000.0)
    violation = first(maker, "acceleration")
    assert violation.axis == "x"
    assert 0 < violation.time_s < 0.5
    assert violation.value > violation.limit
    assert 1.05 * 2000 < violation.limit < 1.1 * 2000
    assert broken(maker) == {"acceleration"}


def test_a_stop_at_full_speed_is_seen_even_at_the_end_of_the_tape(maker):
    maker.play(line_words(800, 0, step_intervals(800, 0.0, 150_000.0)))  # 15 500 steps/s, 194 mm/s
    assert broken(maker) == {"acceleration"}


def test_a_jerk_in_mid_move_is_placed_in_time(maker):
    maker.dwell(100)
    maker.move(1000, 0, accel=150_000.0)
    start = maker.tick / TICK_HZ
    maker.line(400, 0, 8000)  # 100 mm/s from rest
    check = read_trace(maker.close()).check("acceleration")
    assert abs(check.violations[0].time_s - start) < 0.11  # the longest window


def test_power_off_ends_the_limits_of_motion(maker):
    maker.play(line_words(800, 0, step_intervals(800, 0.0, 150_000.0)))
    maker.writer.enable(maker.tick, False)
    assert broken(maker) == set()


def test_too_fast_along_one_axis(maker):
    maker.play(line_words(0, 950, step_intervals(950, 0.0, 150_000.0)))
    maker.line(0, 4000, 17_000)  # 212 mm/s where 200 are allowed
    violation = first(maker, "speed")
    assert violation.axis == "y"
    assert violation.unit == "mm/s"
    assert violation.value > violation.limit >= 200


def test_speed_at_the_limit_is_allowed(maker):
    maker.play(line_words(0, 800, step_intervals(800, 0.0, 160_000.0)))
    maker.line(0, 12_000, 16_000)
    maker.play(line_words(0, 800, step_intervals(800, 0.0, 160_000.0)[::-1]))
    assert broken(maker) == set()


def test_too_high_a_step_rate(tmp_path):
    maker = TapeMaker(tmp_path / "x.tape", Machine(step_rate_hz=(10_000.0, 40_000.0)))
    maker.play(line_words(800, 0, step_intervals(800, 0.0, 150_000.0)))  # to 15 500 steps/s
    maker.play(line_words(800, 0, step_intervals(800, 0.0, 150_000.0)[::-1]))
    assert broken(maker) == {"step rate", "step spacing"}
    assert first(maker, "step rate").axis == first(maker, "step spacing").axis == "A"


def test_two_steps_too_close(maker):
    words = line_words(100, 0, 5000)
    words[50] = (60 - 19) << 4 | 0b1101  # 12 us after the one before, where 24.8 us are allowed
    maker.play(words)
    violation = first(maker, "step spacing")
    assert violation.axis == "A"
    assert violation.value == pytest.approx(12.0)
    assert broken(maker) == {"step spacing"}


def test_pulse_too_narrow(maker):
    maker.shape(19, 5, 9)  # 1.8 us where 2 are asked
    maker.move(100, 0)
    assert broken(maker) == {"step high time"}


def test_pause_between_pulses_too_short(tmp_path):
    # A driver that wants long pulses, and a rate that it cannot follow: 16 us apart with 10 us pulses leaves 6 us.
    maker = TapeMaker(tmp_path / "x.tape", Machine(step_width_us=10.0, step_rate_hz=(65_000.0, 65_000.0)))
    maker.shape(60, 5, 50)
    words = np.array([(80 - 60) << 4 | 0b0101] * 20, dtype=np.uint32)
    maker.play(words)
    assert "step low time" in broken(maker)
    assert first(maker, "step low time").value == pytest.approx(6.0)


def test_direction_set_too_late(maker):
    maker.shape(19, 4, 10)  # 0.8 us where 1 is asked
    maker.move(100, 50)
    violation = first(maker, "direction set-up")
    assert violation.value == pytest.approx(0.8)
    assert broken(maker) == {"direction set-up"}


def test_direction_changes_while_the_step_is_high(maker):
    maker.shape(10, 5, 10)  # the next word begins while the pulse is high
    maker.play(np.array([1000 << 4 | 0b0101, 0 << 4 | 0b0010], dtype=np.uint32))
    assert "direction hold" in broken(maker)


def test_a_reversal_is_checked_against_the_last_step_of_an_earlier_piece(maker):
    maker.play(line_words(70_000, 0, 2000))  # longer than one piece of the reader
    maker.dwell(300)
    maker.move(-100, 0)
    result = read_trace(maker.close()).check("direction hold")
    assert result.checked == 3  # the first directions of both lines and one reversal; B's changes only once
    assert result.broken == 0


def test_steps_while_the_pen_is_on_its_way(maker):
    maker.pen(True, ms=100)  # the rig says 150 ms
    maker.move(100, 0)
    violation = first(maker, "pen at rest")
    # The first step comes sqrt(2 / 100 000) s after the start of the move.
    assert violation.value == pytest.approx(104.47, abs=0.01)
    assert violation.limit == 150


def test_beyond_the_frame(maker):
    # Power-up at 40 mm from the switch: 46 mm towards it end 6 mm beyond, where 5 are allowed.
    maker.line(-46 * 80, 0, 400)
    assert broken(maker) == {"frame"}


def test_crossed_belts_add_up(tmp_path):
    # A alone moves the pen diagonally: x and y by half a step each, so twice the motor acceleration is allowed.
    maker = TapeMaker(tmp_path / "x.tape", Machine(crossed=True))
    maker.move(1600, 0, accel=300_000.0)
    assert broken(maker) == set()
    maker = TapeMaker(tmp_path / "y.tape", Machine(crossed=True))
    maker.move(800, 800, accel=300_000.0)  # x alone, at 3750 mm/s^2
    assert "acceleration" in broken(maker)


def test_a_corner_within_the_junction_deviation_is_allowed_and_a_faster_one_is_not(tmp_path):
    # Right angle: v^2 = a d cos(45)/(1 - cos(45)) = 2.414 a d; 2000 mm/s^2 and 0.05 mm give 15.5 mm/s.
    corner = np.sqrt(2000 * 0.05 * np.cos(np.pi / 4) / (1 - np.cos(np.pi / 4))) * 80
    for factor, name in ((1.0, "allowed.tape"), (4.0, "too-fast.tape")):
        maker = TapeMaker(tmp_path / name)
        rise = step_intervals(200, 0.0, (corner * factor) ** 2 / 400)
        maker.play(line_words(200, 0, rise))
        maker.line(4000, 0, corner * factor)
        maker.line(0, 4000, corner * factor)
        maker.play(line_words(0, 200, rise[::-1]))
        assert ("acceleration" in broken(maker)) == (factor > 1)


@given(
    st.lists(st.tuples(st.integers(-900, 900), st.integers(-900, 900)).filter(any), min_size=1, max_size=6),
    st.integers(0, 2**32 - 1),
)
def test_where_the_pieces_are_cut_does_not_matter(tmp_path_factory, moves, seed):
    """Any way of cutting a tape into entries yields the same counts and the same findings."""
    folder = tmp_path_factory.mktemp("tapes")
    results = []
    for cut in (False, True):
        maker = TapeMaker(folder / f"{cut}.tape")
        rng = np.random.default_rng(seed)
        for da, db in moves:
            words = line_words(da, db, step_intervals(max(abs(da), abs(db)), 100.0, 400_000.0))
            for part in np.split(words, np.sort(rng.integers(0, len(words) + 1, 5))) if cut else [words]:
                maker.play(part)
                if cut:
                    maker.writer.switch(maker.tick, 0, False)  # ends the entry
        results.append(read_trace(maker.close()))
    one, other = results
    assert one.checks == other.checks
    assert (one.words, one.end_steps, one.played_ticks) == (other.words, other.end_steps, other.played_ticks)
    assert one.end_steps == (sum(m[0] for m in moves), sum(m[1] for m in moves))
