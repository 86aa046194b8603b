"""Ports by name: behaviour and errors of each kind."""

from __future__ import annotations

import contextlib
import os
import pty
import socket
import threading
import time

import pytest

from linewright.errors import InputError, PortError
from linewright.virtual.port import open_transport


@pytest.fixture
def listener():
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server


@pytest.fixture
def peers(listener):
    transport = open_transport(f"socket:127.0.0.1:{listener.getsockname()[1]}")
    peer, _ = listener.accept()
    yield transport, peer
    transport.close()
    peer.close()


def test_bytes_pass_both_ways(peers):
    transport, peer = peers
    transport.write(b"hello")
    assert peer.recv(100) == b"hello"
    peer.sendall(b"abcdef")
    assert transport.read(4, 1.0) == b"abcd"
    assert transport.read(4, 1.0) == b"ef"


def test_read_comes_back_with_what_is_there_and_waits_for_no_more(peers):
    transport, peer = peers
    begin = time.monotonic()
    assert transport.read(100, 0.05) == b""
    assert time.monotonic() - begin >= 0.05
    threading.Timer(0.05, peer.sendall, [b"x"]).start()
    assert transport.read(100, 30.0) == b"x"
    assert transport.read(100, 0.0) == b""


def test_much_at_once(peers):
    transport, peer = peers
    data = bytes(range(256)) * 4000
    sender = threading.Thread(target=peer.sendall, args=[data])
    sender.start()
    got = bytearray()
    while len(got) < len(data):
        got += transport.read(4096, 5.0)
    sender.join()
    assert got == data


def test_a_peer_that_leaves_is_a_port_error(peers):
    transport, peer = peers
    peer.close()
    with pytest.raises(PortError, match="disappeared while reading"):
        transport.read(10, 1.0)
    with pytest.raises(PortError, match="disappeared while writing"):
        transport.write(b"x" * 10_000_000)


def test_closing_twice_is_no_error_and_a_closed_port_is(peers):
    transport, _ = peers
    transport.close()
    transport.close()
    with pytest.raises(PortError):
        transport.read(10, 0.1)
    with pytest.raises(PortError):
        transport.write(b"x")


def test_serial_ports_move_bytes():
    master, slave = pty.openpty()
    transport = open_transport(f"serial:{os.ttyname(slave)}")
    os.write(master, b"\x00\x11\x13\xff")  # XON and XOFF are bytes like any other
    assert transport.read(100, 1.0) == b"\x00\x11\x13\xff"
    transport.write(b"\x00\n\r\x03")
    assert os.read(master, 100) == b"\x00\n\r\x03"
    transport.close()
    os.close(master)
    os.close(slave)


def test_a_pulled_serial_cable_is_a_port_error():
    master, slave = pty.openpty()
    transport = open_transport(f"serial:{os.ttyname(slave)}")
    os.close(slave)
    os.close(master)
    with pytest.raises(PortError, match="disappeared"):
        transport.read(10, 1.0)
    transport.close()


def test_a_busy_serial_port_is_named_as_such():
    master, slave = pty.openpty()
    first = open_transport(f"serial:{os.ttyname(slave)}")
    with pytest.raises(PortError, match="is busy") as caught:
        open_transport(f"serial:{os.ttyname(slave)}")
    assert "close it" in caught.value.hint
    first.close()
    os.close(master)
    os.close(slave)


def test_a_missing_serial_port():
    with pytest.raises(PortError, match="there is no port /dev/no-such-port") as caught:
        open_transport("serial:/dev/no-such-port")
    assert "`linewright ports`" in caught.value.hint


def test_a_serial_port_that_may_not_be_opened(monkeypatch):
    # Root may open everything, so the system call is replaced.
    real_open = os.open

    def refusing(path, *rest, **more):
        if path == "/dev/ttyFORBIDDEN":
            raise PermissionError(13, "Permission denied", path)
        return real_open(path, *rest, **more)

    monkeypatch.setattr(os, "open", refusing)
    with pytest.raises(PortError, match="permission denied") as caught:
        open_transport("serial:/dev/ttyFORBIDDEN")
    assert "dialout" in caught.value.hint


@pytest.mark.parametrize("what", ["file", "folder", os.devnull])
def test_something_that_is_no_serial_port(what, tmp_path):
    (tmp_path / "file").write_text("x")
    (tmp_path / "folder").mkdir()
    path = tmp_path / what  # an absolute path stays as it is
    with pytest.raises(PortError) as caught:
        open_transport(f"serial:{path}")
    assert caught.value.message == f"{path} is not a serial port"
    assert "`linewright ports`" in caught.value.hint


def test_a_host_that_nobody_knows(monkeypatch):
    def unknown(*_, **__):
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    with pytest.raises(PortError, match="no computer has that name") as caught:
        open_transport("socket:nohost.invalid:7000")
    assert "127.0.0.1" in caught.value.hint


def test_nobody_listens():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(PortError, match="connection refused"):
        open_transport(f"socket:127.0.0.1:{port}")


@pytest.mark.parametrize("spec", ["", "serial:", "socket:", "socket:host", "socket:host:port", "usb:1", "/dev/ttyACM0"])
def test_what_names_no_port(spec):
    with pytest.raises(InputError, match="names no port"):
        open_transport(spec)


@pytest.mark.parametrize("spec", ["virtual:wobble=1", "virtual:interpreter=basic", "virtual:skew_deg=90"])
def test_options_of_the_virtual_rig_are_checked_before_anything_starts(spec):
    with pytest.raises(InputError):
        open_transport(spec)


def test_the_virtual_rig_comes_and_goes_with_its_transport(tmp_path):
    tape = tmp_path / "kept.tape"
    transport = open_transport(f"virtual:tape={tape},backlash_x_mm=0.1")
    process = transport.rig.process_id
    os.kill(process, 0)
    transport.close()
    with contextlib.suppress(ProcessLookupError):
        os.kill(process, 0)
        pytest.fail("the rig's process is still there")
    report = transport.rig.report()
    assert report["ended"] == "the host has disconnected"
    assert transport.report().words == 0
    folder = transport.rig.tape if transport.rig.tape != tape else transport.rig._folder
    transport.discard()
    assert not folder.exists()
    assert tape.exists()
