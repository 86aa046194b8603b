"""The feeder plays the queue exactly, and stops in a controlled way."""

import random
from array import array
from itertools import pairwise
from math import isqrt

import pytest

from dual import fake_world
from lineboard import kernel
from lineboard.feeder import BLOCKS, EARLY, END, LOOK_AHEAD, PEN, RAMP, REST, SLOTS, Feeder
from lineboard.ports.virtual import VirtualPort
from linewright.program import duration as timing

ACCEL = 20_000


class Rig:
    """A feeder on a port on a fake world."""

    def __init__(self):
        self.world = fake_world.FakeWorld()
        self.port = VirtualPort(self.world)
        self.port.enable(True)
        self.feeder = Feeder(self.port)
        self.feeder.state[kernel.S_ACCEL] = ACCEL

    def turn(self, max_us=20_000):
        self.feeder.feed()
        self.port.pause(max_us, False)

    def run(self, turns=100_000):
        for _ in range(turns):
            self.turn()
            if self.feeder.ended:
                return
        raise AssertionError("never ended")

    def played_ticks(self):
        assert 0 <= self.feeder.played[3] < kernel.TICK_HZ
        return self.feeder.played[2] * kernel.TICK_HZ + self.feeder.played[3]

    def push(self, records):
        for record in records:
            self.feeder.push(*record)


def zigzag(seed, count=60):
    """Legal random ramps from rest to rest, with speeds that the acceleration allows."""
    chance = random.Random(seed)
    records = []
    v = 0
    for _ in range(count):
        da, db = 0, 0
        while not (da or db):
            da, db = chance.randint(-300, 300), chance.randint(-300, 300)
        d = (da * da + db * db) ** 0.5
        top = (v * v + 2 * ACCEL * d) ** 0.5
        low = max(0.0, v * v - 2 * ACCEL * d) ** 0.5
        v_end = max(1, int(chance.uniform(low + 1, top - 1 if top - 1 > low + 1 else low + 1)))
        v_end = min(v_end, 4000)
        records.append((RAMP, da, db, v_end))
        v = v_end
    # Long enough for a stop from any of these speeds.
    records.append((RAMP, 1000, 0, 0))
    return records


def long_ago(blocks_before_wrap):
    """A rig that has played almost 2^30 blocks, where the counts of port and feeder wrap to 0."""
    rig = Rig()
    counted = 2**30 - blocks_before_wrap
    rig.world.submitted = rig.world.finished = rig.port._submitted = counted
    rig.port.pause(0, False)
    feeder = rig.feeder
    feeder._submitted = feeder._collected = counted
    feeder._at = counted % len(feeder._buffers)
    return rig


def predicted_ticks(records):
    """Duration predicted by the host: ramps by the closed formula, pen actions and rests by their own durations."""
    ticks = 0
    v = 0
    for kind, x, y, v_end in records:
        if kind == RAMP:
            ticks += int(timing.ramp_ticks([x], [y], [v], [v_end])[0])
            v = v_end
        else:
            ticks += v_end
            v = v if kind == PEN and v_end == 0 else 0
    return ticks


def test_a_new_board_stands_at_the_origin():
    feeder = Feeder(VirtualPort(fake_world.FakeWorld()))
    assert (feeder.a, feeder.b, feeder.records_done, feeder.taken) == (0, 0, 0, 0)
    assert list(feeder.played) == [0, 0, 0, 0]
    assert feeder.standing()


@pytest.mark.parametrize("seed", range(5))
def test_an_undisturbed_program_plays_every_step_and_takes_its_predicted_time(seed):
    """Independent references: the host's formula for ticks, the world's count for steps."""
    records = [(PEN, 1300, 0, 1_000_000), *zigzag(seed), (REST, 0, 0, 77_777), (PEN, 1700, 0, 500_000)]
    records += [*zigzag(seed + 100), (END, 0, 0, 0)]
    rig = Rig()
    rig.world.keep_blocks = True
    rig.push(records)
    rig.run()
    assert rig.played_ticks() == predicted_ticks(records)
    for (begun, words, _), (next_begun, _, _) in pairwise(rig.world.blocks):
        assert next_begun == begun + sum((word >> 4) + rig.port.overhead_ticks for word in words), "no gaps"
    assert (rig.world.a, rig.world.b) == (sum(r[1] for r in records if r[0] == RAMP), sum(r[2] for r in records))
    assert (rig.feeder.a, rig.feeder.b) == (rig.world.a, rig.world.b)
    assert rig.feeder.records_done == len(records)
    assert rig.feeder.starved == rig.feeder.underruns == 0


@pytest.mark.parametrize("seed", range(3))
def test_after_a_sleep_of_the_spare_time_and_a_turn_of_20_ms_the_player_still_has_words(seed):
    records = [*zigzag(seed), (REST, 0, 0, 20_000), (PEN, 1700, 0, 500_000), *zigzag(seed + 100), (END, 0, 0, 0)]
    rig = Rig()
    rig.world.keep_blocks = True
    rig.push(records)
    slept = 0
    while not (rig.feeder.ended or rig.feeder.broke_off):
        rig.feeder.feed()
        spare_us = rig.feeder.spare_us()
        until = rig.world.tick + 5 * (spare_us + 20_000)
        rig.port.pause(20_000, False)
        while spare_us and until - rig.world.tick >= 5:
            rig.port.pause((until - rig.world.tick) // 5, False)
        slept += spare_us > 0
    assert slept > 20
    for (begun, words, _), (next_begun, _, _) in pairwise(rig.world.blocks):
        assert next_begun == begun + sum((word >> 4) + rig.port.overhead_ticks for word in words), "no gaps"
    assert rig.feeder.underruns == rig.feeder.starved == 0
    assert rig.played_ticks() == predicted_ticks(records)


def test_the_servo_moves_between_the_strokes_and_nothing_steps_meanwhile():
    first, second = zigzag(1, 5), zigzag(2, 5)
    rig = Rig()
    rig.push([*first, (PEN, 1700, 0, 1_000_000), *second, (END, 0, 0, 0)])
    rig.run()
    ((tick, us),) = rig.world.servo_log
    assert us == 1700
    steps_before = [edge for edge in rig.world.edges if edge[0] <= tick]
    assert (sum(e[1] for e in steps_before), sum(e[2] for e in steps_before)) == (
        sum(r[1] for r in first),
        sum(r[2] for r in first),
    )
    assert not [edge for edge in rig.world.edges if tick < edge[0] <= tick + 1_000_000]


def test_no_more_is_rendered_than_the_look_ahead_and_one_block():
    rig = Rig()
    rig.push(
        [(RAMP, 400, 0, 4000), *[(RAMP, 80, 60, 4000), (RAMP, -80, 60, 1000)] * 40, (RAMP, 400, 0, 0), (END, 0, 0, 0)]
    )
    most = 0
    while not rig.feeder.ended:
        rig.turn()
        queued = sum((word >> 4) + rig.port.overhead_ticks for words, _ in rig.world.queue for word in words)
        most = max(most, queued)
    # A block may overrun its quarter of the look-ahead by one piece of up to 16 steps, here 20 ms (800 steps/s in x).
    assert LOOK_AHEAD / 2 < most < LOOK_AHEAD * 5 / 4 + 100_000


def test_a_record_counts_when_the_player_has_finished_it():
    records = [*zigzag(4, 20), (END, 0, 0, 0)]
    ends = [0]
    v = 0
    for _, x, y, v_end in records[:-1]:
        ends.append(ends[-1] + int(timing.ramp_ticks([x], [y], [v], [v_end])[0]))
        v = v_end
    rig = Rig()
    rig.push(records)
    seen = set()
    while not rig.feeder.ended:
        rig.turn()
        done = rig.feeder.records_done
        seen.add(done)
        if done < len(records):
            assert ends[done] <= rig.world.tick
    assert len(seen) > 10


def test_hold_stops_within_the_limits_and_carries_on_to_the_exact_step():
    records = [*zigzag(5, 30), (END, 0, 0, 0)]
    rig = Rig()
    rig.push(records)
    for _ in range(40):
        rig.turn()
    asked_at = rig.world.tick
    rig.feeder.set_pace(0)
    rig.feeder.feed()
    while not rig.feeder.standing():
        rig.turn()
    # The look-ahead plus at most v/a.
    assert rig.world.tick - asked_at < LOOK_AHEAD * 1.5 + 4000 * kernel.TICK_HZ // ACCEL * 1.1
    assert (rig.feeder.a, rig.feeder.b) == (rig.world.a, rig.world.b)
    stood_at = len(rig.world.edges)
    for _ in range(50):
        rig.turn()
    assert len(rig.world.edges) == stood_at
    rig.feeder.set_pace(256)
    rig.run()
    assert (rig.world.a, rig.world.b) == (sum(r[1] for r in records), sum(r[2] for r in records))
    assert rig.feeder.starved == rig.feeder.underruns == 0


def test_a_hold_at_any_time_is_no_underrun():
    """Also if the last word before the standstill fills its block."""
    records = [(RAMP, 200, 0, 2000), (RAMP, 300, 50, 2000), (RAMP, 200, 0, 0), (END, 0, 0, 0)]
    for a in range(20, 500, 5):
        rig = Rig()
        rig.push(records)
        while rig.world.a < a:
            rig.turn(2_000)
        rig.feeder.set_pace(0)
        rig.feeder.feed()
        while not rig.feeder.standing():
            rig.turn(2_000)
        rig.feeder.set_pace(256)
        rig.run()
        assert (rig.feeder.underruns, rig.feeder.starved) == (0, 0)
        assert rig.world.a == 700


def test_a_hold_that_ends_before_anybody_has_seen_it_is_no_underrun():
    for a in range(300, 360, 2):
        rig = Rig()
        rig.push([(RAMP, 700, 0, 2000), (RAMP, 200, 0, 0), (END, 0, 0, 0)])
        while rig.world.a < a:
            rig.turn(1_000)
        rig.feeder.set_pace(0)
        while not rig.feeder.state[kernel.S_STILL]:
            rig.turn(1_000)
        while rig.world.queue:
            rig.port.pause(20_000, False)
        rig.feeder.set_pace(256)
        rig.run()
        assert (rig.feeder.underruns, rig.feeder.starved) == (0, 0)
        assert rig.world.a == 900


def test_records_that_come_at_every_turn_keep_the_pen_at_speed():
    """A long ramp is playing; only records received after its start continue the path."""
    rig = Rig()
    first = (RAMP, 8000, 0, 2000)
    later = [(RAMP, 10, 0, 2000)] * 60 + [(RAMP, 200, 0, 0), (END, 0, 0, 0)]
    rig.feeder.queue[kernel.Q_ENOUGH] = 1
    rig.push([first])
    for record in later:
        rig.turn(5_000)
        rig.push([record])
    assert 0 < rig.world.a < 8000
    rig.run()
    assert rig.played_ticks() == predicted_ticks([first, *later])
    assert rig.feeder.starved == 0


@pytest.mark.parametrize("kind", [REST, PEN])
def test_one_call_supplies_the_look_ahead_in_whatever_pieces(kind):
    rig = Rig()
    rig.push([(kind, 1500, 0, LOOK_AHEAD // 5)] * 12)
    rig.feeder.feed()
    assert len(rig.world.queue) == 5


def test_running_out_of_records_makes_the_pen_slow_down_and_wait():
    """Half a queue of equal ramps at speed, a pause of seconds, then the rest."""
    v = 2000
    up = v * v // (2 * ACCEL)
    records = [(RAMP, up, 0, v)] + [(RAMP, 10, 0, v)] * 900 + [(RAMP, up, 0, 0), (END, 0, 0, 0)]
    rig = Rig()
    rig.push(records[: SLOTS // 2 + 10])
    for _ in range(2000):
        rig.turn()
    assert rig.feeder.standing()
    assert rig.feeder.starved == 1
    known = up + 10 * (SLOTS // 2 + 9)
    assert rig.world.a == known, "everything known is drawn"
    # It slows down instead of stopping at once: the last step intervals grow.
    ticks = [edge[0] for edge in rig.world.edges]
    assert ticks[-1] - ticks[-2] > 4 * (ticks[-101] - ticks[-102])
    # No speed change faster than the allowed acceleration.  Under constant acceleration the mean speed over a stretch
    # is the speed at the middle of its time, exactly; 10 % for the integers.
    stretches = list(zip(ticks[::20], ticks[20::20], strict=False))
    for (t0, t1), (t2, t3) in pairwise(stretches):
        change = 20 * kernel.TICK_HZ / (t3 - t2) - 20 * kernel.TICK_HZ / (t1 - t0)
        assert abs(change) <= 1.1 * ACCEL * (t2 + t3 - t0 - t1) / 2 / kernel.TICK_HZ
    rig.push(records[SLOTS // 2 + 10 :])
    rig.run()
    assert rig.world.a == sum(r[1] for r in records)
    assert rig.feeder.underruns == 0


@pytest.mark.parametrize("seed", range(6))
def test_a_path_of_tiny_ramps_that_runs_out_counts_as_such(seed):
    """The pen may stop before a ramp that is too short to continue with."""
    chance = random.Random(seed)
    rig = Rig()
    tiny = [(RAMP, chance.randint(1, 3), chance.randint(-3, 3), chance.randint(200, 400)) for _ in range(450)]
    rig.push(tiny)
    for _ in range(2000):
        rig.turn()
    assert rig.feeder.standing()
    assert (rig.feeder.starved, rig.feeder.underruns) == (1, 0)
    rig.push([(RAMP, 100, 0, 0), (END, 0, 0, 0)])
    rig.run()
    assert rig.feeder.starved == 1


def test_it_waits_at_rest_until_a_stroke_is_known_to_its_end():
    rig = Rig()
    rig.push([(RAMP, 100, 0, 1000)] * 3)
    for _ in range(100):
        rig.turn()
    assert not rig.world.edges
    assert rig.feeder.starved == 0
    # Also if the earlier program was dropped, with its end.
    rig.push([(RAMP, 100, 0, 0), (END, 0, 0, 0)])
    rig.feeder.drop()
    rig.feeder.begin(0)
    rig.push([(RAMP, 100, 0, 1000)] * 3)
    for _ in range(100):
        rig.turn()
    assert not rig.world.edges
    assert not rig.feeder.ending()
    rig.push([(RAMP, 100, 0, 0), (END, 0, 0, 0)])
    rig.run()
    assert rig.world.a == 400


@pytest.mark.parametrize("turns", [3, 17, 40, 41, 42, 90])
def test_halt_knows_where_the_pen_stands(turns):
    rig = Rig()
    rig.push([*zigzag(6, 40), (END, 0, 0, 0)])
    for _ in range(turns):
        rig.turn(max_us=3_333)
    rig.feeder.halt()
    assert (rig.feeder.a, rig.feeder.b) == (rig.world.a, rig.world.b)
    if edges := rig.world.edges:
        # The world began at tick 0, and a word ends within 10 us of its step.
        assert 0 <= rig.played_ticks() - edges[len(edges) - 1][0] < 50
    done = rig.feeder.records_done
    rig.feeder.drop()
    edges = len(rig.world.edges)
    for _ in range(20):
        rig.turn()
    assert len(rig.world.edges) == edges
    assert rig.feeder.standing()
    assert rig.feeder.records_done == done
    # The next program starts from there.
    a, b = rig.world.a, rig.world.b
    rig.feeder.begin(0)
    rig.push([(RAMP, 50, -20, 300), (RAMP, 50, -20, 0), (END, 0, 0, 0)])
    rig.run()
    assert (rig.world.a, rig.world.b) == (a + 100, b - 40) == (rig.feeder.a, rig.feeder.b)
    # It can also be halted.
    rig.feeder.begin(0)
    rig.push([*zigzag(7, 40), (END, 0, 0, 0)])
    for _ in range(30):
        rig.turn(max_us=3_333)
    rig.feeder.halt()
    assert (rig.feeder.a, rig.feeder.b) == (rig.world.a, rig.world.b)


def test_a_halt_counts_every_record_that_the_pen_has_finished():
    """Ramps of two or three steps: many end inside each block.  Independent: the world's own step edges."""
    v = 3000
    up = v * v // (2 * ACCEL)
    steps = [up] + [2, 3] * 200 + [up]
    records = [(RAMP, n, 0, v) for n in steps[:-1]] + [(RAMP, up, 0, 0), (END, 0, 0, 0)]
    seen = set()
    for turns in range(50, 110):
        rig = Rig()
        rig.push([(PEN, 1700, 0, 100_000), (REST, 0, 0, 0), *records])
        for _ in range(turns):
            rig.turn(max_us=2_777)
        rig.feeder.halt()
        made, done = rig.world.a, 2
        while done - 2 < len(steps) and made >= steps[done - 2]:
            made -= steps[done - 2]
            done += 1
        if rig.world.a:
            assert rig.feeder.records_done == done
        seen.add(done)
        rig.feeder.drop()
        rig.turn()
        assert rig.feeder.records_done == done or not rig.world.a
    assert len(seen) > 15


def test_a_halt_counts_blocks_that_finish_while_it_is_made():
    """Between the look at the finished blocks and the stop of the player, some more may finish."""
    v = 3000
    up = v * v // (2 * ACCEL)
    steps = [up, *[2, 3] * 200, up]
    seen = set()
    for turns in range(20, 60):
        rig = Rig()
        rig.push([*((RAMP, n, 0, v) for n in steps[:-1]), (RAMP, up, 0, 0), (END, 0, 0, 0)])
        for _ in range(turns):
            rig.turn(max_us=2_777)
        collected = rig.feeder._collected
        rig.port.pause(40_000, False)
        finished = rig.port.finished()
        rig.port.finished = lambda collected=collected: collected
        rig.feeder.halt()
        done, made = 0, rig.world.a
        while done < len(steps) and made >= steps[done]:
            made -= steps[done]
            done += 1
        assert rig.feeder.a == rig.world.a
        assert rig.feeder.records_done == done
        seen.add(finished - collected)
    assert max(seen) > 0


@pytest.mark.parametrize("blocks_before_wrap", range(1, 9))
def test_the_count_of_blocks_wraps(blocks_before_wrap):
    """Nothing is played twice or left out, and a halt while both blocks are submitted finds the pen's position."""
    path = [*zigzag(3, 30), (END, 0, 0, 0)]
    rig = long_ago(blocks_before_wrap)
    rig.push(path)
    rig.run()
    assert rig.feeder._submitted < 2**20
    assert rig.played_ticks() == predicted_ticks(path)
    assert (rig.feeder.a, rig.feeder.b) == (rig.world.a, rig.world.b)

    halted = long_ago(blocks_before_wrap)
    halted.push(path)
    while halted.feeder._submitted > 2**20:
        halted.turn(max_us=1_000)
    assert not halted.feeder.resting()
    halted.feeder.halt()
    assert (halted.feeder.a, halted.feeder.b) == (halted.world.a, halted.world.b)

    waiting = long_ago(blocks_before_wrap)
    waiting.push([(REST, 0, 0, 60_000)] * 12)
    waiting.feeder.feed()
    assert waiting.feeder.resting()


@pytest.mark.parametrize("block", range(BLOCKS))
def test_a_halt_in_a_long_wait_does_not_count_it_in_whatever_block(block):
    """Not before its last word has been played: a wait of more than 2^26 ticks takes two."""
    for words in (0, 1):
        rig = long_ago(BLOCKS - block)
        rig.push([(REST, 0, 0, 2**26 + 2**25), (END, 0, 0, 0)])
        rig.feeder.feed()
        rig.port.wait((words * 2**26 + 2**24) // 5)
        rig.feeder.halt()
        assert rig.feeder.records_done == 0
        assert rig.played_ticks() == words * (kernel.MAX_WAIT + rig.port.overhead_ticks)


@pytest.mark.parametrize("block", range(BLOCKS))
def test_a_standstill_that_was_meant_is_no_underrun_in_whatever_block(block):
    """A single step from rest may end at any speed (`linewire/SPEC.md`); the next ramp still begins at rest."""
    for wait in (0, 1000):
        rig = long_ago(BLOCKS - block)
        rig.push([(RAMP, 1, 0, 3000), (REST, 0, 0, wait)])
        for _ in range(10):
            rig.turn()
        assert rig.feeder.standing()
        rig.push([(RAMP, 100, 0, 1000), (RAMP, 100, 0, 0), (END, 0, 0, 0)])
        rig.run()
        assert (rig.feeder.underruns, rig.feeder.starved) == (0, 0)
        assert rig.world.a == rig.feeder.a == 201


@pytest.mark.parametrize("block", range(BLOCKS))
def test_a_program_after_one_that_was_stopped_in_motion_begins_at_rest(block):
    """After a halt, starvation or an unplayable ramp, the next program begins without counting an underrun."""
    for way in ("halted", "starved", "refused"):
        rig = long_ago(BLOCKS - block)
        rig.push([(PEN, 1500, 0, kernel.TICK_HZ)] + [(RAMP, 100, 0, 2000), (RAMP, 100, 0, 2000), (RAMP, 40, 0, 1)])
        rig.feeder.queue[kernel.Q_ENOUGH] = 1
        if way == "refused":
            rig.push([(RAMP, 16383, 0, 1), (RAMP, 100, 0, 0)])
        while rig.world.a < 150:
            rig.turn(1_000)
        if way == "halted":
            rig.feeder.halt()
        else:
            while not rig.feeder.standing():
                rig.turn()
            assert rig.world.a == 240
            assert rig.feeder.unplayable == (way == "refused")
        rig.feeder.drop()
        a = rig.world.a
        assert rig.feeder.servo_us == 1500
        rig.feeder.begin(7)
        assert rig.feeder.servo_us == 0
        path = [(RAMP, 100, 0, 1000), (RAMP, 100, 0, 0), (END, 0, 0, 0)]
        rig.push(path)
        rig.run()
        assert rig.feeder.underruns == 0
        assert rig.world.a == rig.feeder.a == a + 200
        assert rig.played_ticks() == predicted_ticks(path)
        assert rig.feeder.records_done == 10


def test_the_length_of_a_ramp_of_the_boards_own_is_the_floor_of_the_true_one():
    chance = random.Random(8)
    rig = Rig()
    ramps = [(RAMP, 1, 1, 300), (RAMP, 3, -4, 300), (RAMP, -16383, 0, 300), (RAMP, 0, -2, 300)]
    ramps += [(RAMP, chance.randint(-16383, 16383), chance.randint(-300, 300), 300) for _ in range(400)]
    rig.push(ramps)
    assert list(rig.feeder.lengths[: len(ramps)]) == [isqrt(x * x + y * y) for _, x, y, _ in ramps]


def test_a_halt_in_a_wait_does_not_count_it():
    rig = Rig()
    rig.push([(REST, 0, 0, 0), (PEN, 1700, 0, 2_000_000), (RAMP, 10, 0, 100), (RAMP, 10, 0, 0), (END, 0, 0, 0)])
    for _ in range(5):
        rig.turn()
    rig.feeder.halt()
    assert rig.feeder.records_done == 1


def stall(rig, v):
    """The feeder is not called for 0.5 s during a path at speed ``v``; returns the number of records played."""
    up = v * v // (2 * ACCEL) + 1
    start = rig.world.a + up
    rig.push([(RAMP, up, 0, v)] + [(RAMP, 7, 3, v)] * 400 + [(RAMP, up, 0, 0), (END, 0, 0, 0)])
    while rig.world.a < start + 700:
        rig.turn()
    for _ in range(50):
        rig.port.pause(10_000, False)
    assert not rig.world.queue
    made = rig.world.a - start
    rig.feeder.feed()
    return 1 + made // 7


def test_a_player_that_ran_dry_at_speed_is_not_set_going_again():
    """The player stops at once and would restart at full speed, which loses steps both times."""
    rig = Rig()
    rig.push([*zigzag(6, 40), (END, 0, 0, 0)])
    for _ in range(30):
        rig.turn()
    rig.feeder.halt()
    rig.feeder.drop()
    rig.feeder.begin(0)
    done = stall(rig, 3000)
    assert rig.feeder.broke_off
    assert rig.feeder.underruns == 1
    made = rig.world.a, rig.world.b
    for _ in range(20):
        rig.turn()
    assert (rig.world.a, rig.world.b) == made
    assert not rig.feeder.standing(), "nobody may carry on from there"
    rig.feeder.halt()
    assert rig.feeder.standing()
    assert (rig.feeder.a, rig.feeder.b) == made
    assert rig.feeder.records_done == done


def test_a_player_that_ran_dry_at_speed_is_not_set_going_for_a_last_piece():
    """The known records are shorter than the next block: the pen would start at full speed, then brake for the end."""
    dry = 0
    for plain in range(140, 260, 10):
        rig = Rig()
        rig.feeder.state[kernel.S_ACCEL] = 2_000_000
        rig.feeder.queue[kernel.Q_ENOUGH] = 1
        rig.push([(RAMP, 3, 0, 3000), (RAMP, plain, 0, 3000)])
        rig.turn(1_000)
        for _ in range(50):
            rig.port.pause(10_000, False)
        left = 3 + plain - rig.world.a
        rig.feeder.feed()
        if left > 5:  # it would slow down within v^2 / 2a = 3 steps
            dry += 1
            assert rig.feeder.broke_off
            assert rig.feeder.underruns == 1
    assert dry > 8


def test_a_player_that_ran_dry_within_the_first_ramp_has_not_come_to_a_stand():
    rig = Rig()
    rig.feeder.state[kernel.S_ACCEL] = 200_000
    rig.push([(RAMP, 3000, 0, 9000), (RAMP, 1000, 0, 0), (END, 0, 0, 0)])
    while rig.world.a < 500:
        rig.turn(1_000)
    for _ in range(50):
        rig.port.pause(10_000, False)
    assert rig.world.a < 3000
    rig.feeder.feed()
    assert rig.feeder.broke_off
    assert not rig.feeder.standing()


def test_a_player_that_ran_dry_at_a_crawl_goes_on():
    rig = Rig()
    stall(rig, 900)
    assert not rig.feeder.broke_off
    assert rig.feeder.underruns == 1
    rig.run()
    up = 900 * 900 // (2 * ACCEL) + 1
    assert (rig.world.a, rig.world.b) == (rig.feeder.a, rig.feeder.b) == (2 * up + 7 * 400, 3 * 400)


def test_what_counts_where_it_ran_dry_is_the_last_step_and_not_those_before():
    """The feeder is not called at several moments of a deceleration from 3000 to 300 steps/s."""
    seen = set()
    for plain in range(60, 130, 10):
        rig = Rig()
        rig.feeder.state[kernel.S_ACCEL] = 200_000
        slows = [(RAMP, 24, 0, 3000), (RAMP, plain, 0, 3000), (RAMP, 24, 0, 300), (RAMP, 300, 0, 300), (RAMP, 10, 0, 0)]
        rig.push([*slows, (END, 0, 0, 0)])
        while rig.world.a < 5:
            rig.turn(1_000)
        for _ in range(50):
            rig.port.pause(10_000, False)
        edges = rig.world.edges
        apart = edges[len(edges) - 1][0] - edges[len(edges) - 2][0]
        rig.feeder.feed()
        assert rig.feeder.underruns == 1
        assert rig.feeder.broke_off == (apart < kernel.TICK_HZ // 1000)
        seen.add(rig.feeder.broke_off)
    assert seen == {False, True}


def test_a_long_queue_wraps_around():
    """Many times the number of slots, with the queue always refilled."""
    rig = Rig()
    v = 3000
    up = v * v // (2 * ACCEL)
    records = [(RAMP, up, 0, v)] + [(RAMP, 2, 7, v)] * (5 * SLOTS) + [(RAMP, up, 0, 0), (END, 0, 0, 0)]
    at = 0
    while not rig.feeder.ended:
        while at < len(records) and rig.feeder.room():
            rig.feeder.push(*records[at])
            at += 1
        assert rig.feeder.dequeued == at - SLOTS + rig.feeder.room() == rig.feeder.granted() - SLOTS
        rig.turn()
    assert rig.world.b == 7 * 5 * SLOTS
    assert rig.played_ticks() == predicted_ticks(records)
    assert rig.feeder.records_done == len(records)
    assert rig.feeder.granted() == len(records) + SLOTS


def test_a_ramp_the_kernel_refuses_is_not_played():
    """A ramp of thousands of steps at 1 step/s exceeds every counter; the board reports a fault."""
    rig = Rig()
    rig.push([(RAMP, 16383, 0, 1), (END, 0, 0, 0)])
    rig.turn()
    rig.turn()
    assert rig.feeder.unplayable
    assert not rig.world.edges


def test_a_ramp_the_kernel_refuses_in_mid_path_ends_the_path_there():
    """Its speed is 1 step/s, that of the ramp before."""
    rig = Rig()
    rig.push([(RAMP, 100, 0, 1000), (RAMP, 40, 0, 1), (RAMP, 16383, 0, 1), (RAMP, 100, 0, 0), (END, 0, 0, 0)])
    for _ in range(2000):
        rig.turn()
    assert rig.feeder.unplayable
    assert rig.feeder.standing()
    assert (rig.world.a, rig.feeder.a, rig.feeder.records_done) == (140, 140, 2)


def test_pen_without_waiting_time_still_happens_in_its_place():
    rig = Rig()
    rig.push(
        [(RAMP, 10, 0, 100), (RAMP, 10, 0, 0), (PEN, 1500, 0, 0), (RAMP, 5, 0, 100), (RAMP, 5, 0, 0), (END, 0, 0, 0)]
    )
    rig.run()
    ((tick, us),) = rig.world.servo_log
    assert us == 1500
    assert len([edge for edge in rig.world.edges if edge[0] <= tick]) == 20
    assert len(rig.world.edges) == rig.world.a == rig.feeder.a == 30, "the word that carries the pulse steps nothing"


def test_a_pen_without_waiting_time_at_rest_waits_for_nothing():
    rig = Rig()
    for records, heights in (([(PEN, 1500, 0, 0)], [1500]), ([(REST, 0, 0, 100), (PEN, 1600, 0, 0)], [1500, 1600])):
        rig.push(records)
        for _ in range(5):
            rig.turn()
        assert [us for _, us in rig.world.servo_log] == heights
        assert rig.feeder.starved == 0
    assert rig.feeder.records_done == 3


def with_pens(records, every):
    """The same path with pen actions during motion after every few ramps, and their heights."""
    out = []
    heights = []
    for i, record in enumerate(records):
        out.append(record)
        if (i + 1) % every == 0 and record[3]:
            heights.append(1500 + i % 200)
            out.append((PEN, heights[-1], 0, 0))
    return out, heights


@pytest.mark.parametrize("every", [1, 7, 40])
def test_a_pen_in_passing_changes_no_pulse_and_no_time(every):
    plain, passing = Rig(), Rig()
    records = zigzag(3, 200)
    plain.push([*records, (END, 0, 0, 0)])
    plain.run()
    records, heights = with_pens(records, every)
    passing.push([*records, (END, 0, 0, 0)])
    passing.run()
    assert list(passing.world.edges) == list(plain.world.edges)
    assert passing.played_ticks() == plain.played_ticks() == predicted_ticks(records)
    assert passing.feeder.records_done == len(records) + 1
    assert passing.feeder.underruns == 0
    assert passing.world.servo_log[-1][1] == heights[-1]


def test_pens_in_passing_leave_every_block_as_long_as_the_loop_needs():
    """All blocks together have to last longer than the longest turn of the loop, 20 ms."""
    rig = Rig()
    rig.world.keep_blocks = True
    records, _ = with_pens(zigzag(3, 60), 1)
    rig.push([*records, (END, 0, 0, 0)])
    rig.run()
    spans = [sum((word >> 4) + rig.port.overhead_ticks for word in words) for _, words, _ in rig.world.blocks]
    assert min(spans[:-1]) >= LOOK_AHEAD >> EARLY
    assert (LOOK_AHEAD >> EARLY) * BLOCKS > 100_000


def test_a_pen_in_passing_is_set_where_it_stands_in_the_path():
    """Within the eighth of the look-ahead by which it may be early."""
    rig = Rig()
    records, heights = with_pens(zigzag(5, 60), 5)
    rig.push([*records, (END, 0, 0, 0)])
    rig.run()
    wanted, steps, v, tick = [], 0, 0, 0
    for kind, x, y, v_end in records:
        if kind == PEN:
            wanted.append(tick)
        else:
            tick += int(timing.ramp_ticks([x], [y], [v], [v_end])[0])
            steps += max(abs(x), abs(y))
            v = v_end
    assert len(rig.world.edges) == steps
    assert [us for _, us in rig.world.servo_log] == heights
    early = [at - seen for at, (seen, _) in zip(wanted, rig.world.servo_log, strict=True)]
    assert max(early) <= LOOK_AHEAD >> EARLY
    # Never late: here the first words play immediately after they are pushed.
    assert min(early) >= 0


def test_a_halt_counts_a_pen_in_passing_with_the_step_behind_it():
    path = [(RAMP, 300, 0, 1500), (PEN, 1600, 0, 0), (RAMP, 300, 0, 1500), (RAMP, 500, 0, 0), (END, 0, 0, 0)]
    for turns in range(1, 60):
        rig = Rig()
        rig.push(path)
        for _ in range(turns):
            rig.turn(7_000)
        rig.feeder.halt()
        made = rig.world.a
        assert rig.feeder.a == made
        # Joined to the block in which the first ramp ends, it counts with that ramp.
        done = sum((made >= 300, made >= 300, made >= 600, made >= 1100))
        assert done - 1 <= rig.feeder.records_done <= done


def test_a_pen_in_passing_at_the_start_of_a_block_is_done_with_its_first_word():
    rig = Rig()
    feeder = rig.feeder
    rig.push([(PEN, 1600, 0, 0), (RAMP, 300, 0, 1500)])
    assert feeder._pass_pen()
    assert feeder._end_words[0] == 1


def test_what_follows_a_pen_in_passing_must_be_known_before_it_is_passed():
    rig = Rig()
    rig.push([(RAMP, 400, 0, 2000), (PEN, 1600, 0, 0)])
    rig.push([(RAMP, 1, 0, 2000)] * (SLOTS - 4))
    while rig.world.a < 50:
        rig.turn()
    rig.push([(RAMP, 400, 0, 0), (END, 0, 0, 0)])
    rig.run()
    assert rig.world.servo_log[0][1] == 1600

    rig = Rig()
    rig.push([(RAMP, 400, 0, 2000), (RAMP, 400, 0, 2000), (PEN, 1600, 0, 0)])
    rig.feeder.queue[kernel.Q_ENOUGH] = 1
    for _ in range(200):
        rig.turn()
    assert rig.feeder.standing()
    assert rig.feeder.starved == 1
    assert rig.world.servo_log == []
    assert rig.feeder.dequeued == rig.feeder.records_done == 2
    rig.push([(RAMP, 400, 0, 0), (END, 0, 0, 0)])
    rig.run()
    assert [us for _, us in rig.world.servo_log] == [1600]
    assert rig.world.a == 1200
    assert rig.feeder.underruns == 0


def test_buffers_belong_to_the_player_until_played():
    """The fake world copies words; a real port needs them unchanged until the block has finished."""
    rig = Rig()
    kept = []
    submit = rig.world.submit

    def keep(words, count, servo_us):
        kept.append((words, array("i", words[0:count])))
        submit(words, count, servo_us)

    rig.world.submit = keep
    rig.push([*zigzag(7), (END, 0, 0, 0)])
    while not rig.feeder.ended:
        rig.turn()
        for words, copy in kept[rig.world.finished :]:
            assert words[0 : len(copy)] == copy
