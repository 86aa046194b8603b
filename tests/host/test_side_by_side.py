"""Parallel processing of pieces of a picture: same results, errors and reports as in sequence."""

import threading

import pytest

from linewright.sources.side_by_side import side_by_side
from linewright.system import processors

LONG_S = 60


@pytest.fixture(autouse=True, params=[1, 3])
def so_many_processors(request, monkeypatch):
    monkeypatch.setattr(processors, "usable", lambda: request.param)


def test_results_come_in_the_order_of_the_pieces():
    def piece(number):
        return lambda report: (report("making", 1.0), number)[1]

    assert side_by_side([piece(n) for n in range(7)], lambda _doing, _done: None) == list(range(7))
    assert side_by_side([], lambda _doing, _done: None) == []


@pytest.mark.parametrize("so_many_processors", [3], indirect=True)
def test_pieces_run_at_the_same_time_where_there_are_processors_for_them():
    meeting = threading.Barrier(3)

    def piece(_report):
        return meeting.wait(LONG_S) >= 0

    assert side_by_side([piece] * 3, lambda _doing, _done: None) == [True] * 3


def test_reports_come_from_the_calling_thread_alone():
    threads = set()

    def piece(report):
        for n in range(100):
            report("making", n / 100)

    side_by_side([piece] * 4, lambda _doing, _done: threads.add(threading.get_ident()))
    assert threads == {threading.get_ident()}


def test_an_error_of_a_piece_is_passed_on():
    def wrong(_report):
        raise ValueError("no ink")

    with pytest.raises(ValueError, match="no ink"):
        side_by_side([lambda _report: 1, wrong], lambda _doing, _done: None)


def test_whoever_gives_up_ends_every_piece():
    """An endless piece is ended at its next report."""
    ended = []

    def piece(report):
        try:
            while True:
                report("making", 0.5)
        finally:
            ended.append(1)

    def give_up(_doing, _done):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        side_by_side([piece, piece], give_up)
    assert ended in ([1], [1, 1])  # a piece that had not begun is not run
    assert [one for one in threading.enumerate() if one.name.startswith("ThreadPool")] == []
