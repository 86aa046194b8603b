"""Virtual time: jumps while there is nothing to wait for, and does not run ahead of a slow host.

Lower bounds on real time are safe on any machine; upper bounds are not asserted.
"""

from __future__ import annotations

import os
import socket
import threading
import time

import pytest

from linewright.system.pipes import WatchedPipe
from linewright.virtual import wires
from linewright.virtual.wires import PATIENCE_S, RigEnds, SocketWire

TICK_HZ = 5_000_000


@pytest.fixture
def pair():
    with socket.create_server(("127.0.0.1", 0)) as server:
        host = socket.create_connection(server.getsockname())
        board, _ = server.accept()
    yield host, SocketWire(board)
    host.close()
    board.close()


def later(seconds, action, *arguments):
    timer = threading.Timer(seconds, action, arguments)
    timer.start()
    return timer


def test_time_jumps_while_the_player_plays_and_nothing_is_expected(pair):
    _, wire = pair
    hour = 3600 * TICK_HZ
    assert wire.let_pass(0, hour, playing=True, expecting=False, at_rest=False) == hour


def test_a_slow_host_is_waited_for_without_any_time_passing(pair, monkeypatch):
    host, wire = pair
    monkeypatch.setattr(wires, "PATIENCE_S", 60.0)  # even if a busy machine starts the timer late
    timer = later(0.1, host.sendall, b"records")
    assert wire.let_pass(1000, 10 * TICK_HZ, playing=True, expecting=True, at_rest=False) == 1000
    assert wire.take(bytearray(100), 1000) == 7
    timer.join()


def test_a_silent_host_lets_time_flow_like_real_time(pair):
    _, wire = pair
    begin = time.monotonic()
    assert wire.let_pass(0, TICK_HZ // 20, playing=True, expecting=True, at_rest=False) == TICK_HZ // 20
    assert time.monotonic() - begin >= PATIENCE_S + 0.05 - 0.001
    # Patience is over until the host speaks again: the next block takes its own time only.
    assert wire.let_pass(TICK_HZ // 20, TICK_HZ // 10, playing=True, expecting=True, at_rest=False) == TICK_HZ // 10
    assert time.monotonic() - begin >= PATIENCE_S + 0.1 - 0.001


def test_bytes_that_come_during_a_silence_end_it_at_their_time(pair):
    host, wire = pair
    begin = time.monotonic()
    timer = later(PATIENCE_S + 0.5, host.sendall, b"x")
    reached = wire.let_pass(0, 1000 * TICK_HZ, playing=True, expecting=True, at_rest=False)
    # Half a second less the time between the two lines above, and not more than real time.
    assert 0 < reached <= (time.monotonic() - begin - PATIENCE_S) * TICK_HZ
    timer.join()


def test_an_idle_board_lives_in_real_time(pair):
    host, wire = pair
    begin = time.monotonic()
    assert wire.let_pass(0, TICK_HZ // 10, playing=False, expecting=False, at_rest=False) == TICK_HZ // 10
    assert time.monotonic() - begin >= 0.1 - 0.001
    host.sendall(b"x")
    assert wire.let_pass(0, 3600 * TICK_HZ, playing=False, expecting=False, at_rest=False) < 3600 * TICK_HZ


def test_a_host_that_chats_and_sends_nothing_useful_does_not_stop_time(pair):
    host, wire = pair
    stop = threading.Event()

    def chat():
        while not stop.wait(0.05):
            host.sendall(b"x")

    chatter = threading.Thread(target=chat)
    chatter.start()
    now = 0
    inbox = bytearray(100)
    deadline = time.monotonic() + 30
    while now == 0 and time.monotonic() < deadline:
        now = wire.let_pass(now, TICK_HZ, playing=True, expecting=True, at_rest=False)
        wire.take(inbox, now)
    stop.set()
    chatter.join()
    assert now > 0


def test_real_time_on_request():
    host, board = socket.socketpair()
    wire = SocketWire(board, real_time=True)
    begin = time.monotonic()
    assert wire.let_pass(0, TICK_HZ // 10, playing=True, expecting=False, at_rest=False) == TICK_HZ // 10
    assert time.monotonic() - begin >= 0.1 - 0.001
    host.close()
    board.close()


def test_a_host_that_does_not_read_loses_bytes_and_blocks_nobody(pair):
    _, wire = pair
    for _ in range(200):
        wire.give(bytes(100_000), 0)
    assert wire.lost_bytes > 0


def test_the_end_of_the_host_ends_the_rig(pair):
    host, wire = pair
    host.close()
    assert wire.take(bytearray(10), 0) == 0
    with pytest.raises(RigEnds) as end:
        wire.let_pass(0, TICK_HZ, playing=False, expecting=True, at_rest=True)
    assert end.value.why == "the host has disconnected"


def test_a_board_that_plays_comes_to_rest_before_the_rig_ends(pair):
    """The end of the host does not remove power: playing continues without waiting, and ends."""
    host, wire = pair
    host.close()
    assert wire.take(bytearray(10), 7) == 0
    now = 7
    for _ in range(100):  # 30 s: the board's own silence is measured in played time
        now = wire.let_pass(now, now + 3 * TICK_HZ // 10, playing=True, expecting=True, at_rest=False)
    assert now == 7 + 30 * TICK_HZ
    assert wire.left_at == 7
    wire.give(b"nobody hears it", now)
    assert wire.let_pass(now, now + TICK_HZ, playing=False, expecting=True, at_rest=False) == now + TICK_HZ
    with pytest.raises(RigEnds):  # its pen stays down; the rig ends anyway
        wire.let_pass(now + 2 * TICK_HZ, now + 3 * TICK_HZ, playing=False, expecting=False, at_rest=False)


def test_a_host_that_leaves_bytes_unread_has_left_too():
    """Closing then resets the connection, which the rig sees as an error instead of an end."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        host = socket.create_connection(server.getsockname())
        board, _ = server.accept()
    wire = SocketWire(board)
    wire.give(b"unread", 0)
    assert host.recv(6, socket.MSG_PEEK | socket.MSG_WAITALL) == b"unread"
    host.close()
    wire.let_pass(0, TICK_HZ // 10, playing=False, expecting=False, at_rest=False)
    wire.take(bytearray(10), 0)
    with pytest.raises(RigEnds) as end:
        wire.let_pass(0, 3600 * TICK_HZ, playing=False, expecting=False, at_rest=True)
    assert end.value.why == "the host has disconnected"
    assert isinstance(end.value.__cause__, ConnectionResetError)
    board.close()


def test_the_end_of_the_leash_ends_the_rig():
    reader, writer = os.pipe()
    near, far = socket.socketpair()
    leashed = SocketWire(far, leash=WatchedPipe(reader))
    os.close(writer)
    assert leashed.let_pass(0, 3600 * TICK_HZ, playing=False, expecting=False, at_rest=False) < 3600 * TICK_HZ
    with pytest.raises(RigEnds, match="0"):
        leashed.let_pass(0, 3600 * TICK_HZ, playing=False, expecting=False, at_rest=True)
    os.close(reader)
    near.close()
    far.close()
