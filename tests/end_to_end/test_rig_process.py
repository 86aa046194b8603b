"""A drawing over a real byte stream to a rig in another process, under both interpreters."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from whole_rig import ALLOWED_MM, BY_HAND, HOMING, assert_clean, zoo

from linewright.board.session import Session
from linewright.drawing.strokes import Drawing
from linewright.errors import Mismatch, PortError
from linewright.motion import plan
from linewright.run import course
from linewright.simulation import tape as tapes
from linewright.simulation.tape import TapeReader
from linewright.virtual.pipe import find_micropython
from linewright.virtual.port import open_transport


@pytest.fixture(params=["cpython", "micropython"])
def interpreter(request):
    if request.param == "micropython":
        try:
            find_micropython()
        except PortError as missing:
            pytest.skip(f"{missing} ({missing.hint})")
    return request.param


def draw(spec, strokes, rig, on_progress=lambda progress: None):
    program = plan(Drawing.from_strokes(strokes), rig)
    transport = open_transport(spec, rig=rig)
    try:
        session = Session(transport, rig)
        session.greet()
        session.home()
        result = course.draw(session, program, on_progress=on_progress)
        transport.close()
        report = transport.rig.report()
        return program, result, transport.report(program.drawing), report
    finally:
        transport.discard()


def assert_drawn(program, result, trace):
    assert result.finished
    assert result.final_position_error_steps == 0
    assert result.underruns == 0
    assert trace.end_steps == program.end_steps
    assert trace.deviation.max_mm <= ALLOWED_MM
    assert trace.deviation.strokes_drawn == len(program.drawing)
    assert_clean(trace)


def test_a_drawing_with_homing(interpreter):
    program, result, trace, report = draw(f"virtual:interpreter={interpreter}", zoo()[:3], HOMING)
    assert_drawn(program, result, trace)
    assert trace.played_ticks == result.played_ticks == program.predicted_ticks
    assert report["ended"] == "the host has disconnected"
    assert report["error"] == ""
    assert report["interpreter"] == interpreter
    assert report["drift_steps"] == [0, 0]


def test_both_interpreters_play_the_same_pulses(tmp_path):
    """Identical words for every shape of the zoo."""
    try:
        find_micropython()
    except PortError as missing:
        pytest.skip(f"{missing} ({missing.hint})")
    played = []
    for interpreter in ("cpython", "micropython"):
        tape = tmp_path / f"{interpreter}.tape"
        draw(f"virtual:interpreter={interpreter},tape={tape}", zoo(), BY_HAND)
        played.append(np.concatenate([entry.values for entry in TapeReader(tape) if entry.kind == tapes.WORDS]))
    assert len(played[0]) > 50_000
    assert np.array_equal(*played)


def test_a_host_that_sleeps_in_mid_stroke(interpreter):
    """The host is silent for 1.5 s of real time, while the program is longer than the board's queue."""
    slept = []

    def sleep_once(progress):
        if progress.played_s > 1.0 and not slept:
            slept.append(progress)
            time.sleep(1.5)

    turn = np.linspace(0, 50, 4000)
    spiral = np.column_stack((60 + turn / 2 * np.cos(turn), 60 + turn / 2 * np.sin(turn)))
    program, result, trace, _ = draw(f"virtual:interpreter={interpreter}", [spiral], BY_HAND, sleep_once)
    assert slept
    assert_drawn(program, result, trace)


def test_a_board_with_other_code_is_refused(monkeypatch):
    from linewright.board import files as board_files

    transport = open_transport("virtual", rig=BY_HAND)
    try:
        monkeypatch.setattr(board_files, "digest", lambda: 12345)
        with pytest.raises(Mismatch, match=r"the board's code .* does not match this host's"):
            Session(transport, BY_HAND).greet()
    finally:
        transport.discard()


def test_a_rig_that_dies_in_mid_drawing_is_a_port_error():
    transport = open_transport("virtual", rig=BY_HAND)
    try:
        session = Session(transport, BY_HAND)
        session.greet()
        session.home()

        def kill(progress):
            transport.rig._process.kill()

        with pytest.raises(PortError, match="the virtual rig disappeared"):
            course.draw(session, plan(Drawing.from_strokes(zoo()), BY_HAND), on_progress=kill)
    finally:
        transport.discard()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_rig_whose_disk_is_full_says_so():
    transport = open_transport("virtual:tape=/dev/full", rig=BY_HAND)

    def draw_all():
        session = Session(transport, BY_HAND)
        session.greet()
        session.home()
        course.draw(session, plan(Drawing.from_strokes(zoo()), BY_HAND))

    try:
        with pytest.raises(PortError, match="the virtual rig has ended: the tape /dev/full cannot be wr") as caught:
            draw_all()
    finally:
        transport.discard()
    assert "Traceback" not in str(caught.value)
    assert "free space" in caught.value.hint
