"""The virtual rig as a process: start, reliable end, and cleanup."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from linewright.errors import InputError, PortError
from linewright.simulation.faults import Faults
from linewright.simulation.machine import Machine
from linewright.simulation.tape import TapeReader
from linewright.virtual.launcher import RigOptions, RigProcess
from linewright.virtual.pipe import find_micropython, package_paths

ENDS_S = 60  # a generous limit, so that a loaded machine passes; nothing waits for it when all is well


def environment():
    return {**os.environ, "PYTHONPATH": os.pathsep.join(package_paths())}


@pytest.fixture
def start(tmp_path):
    started = []

    def run(*options, **more):
        command = [sys.executable, "-m", "linewright.virtual"]
        command += ["--tape", str(tmp_path / "x.tape"), "--report", str(tmp_path / "report.json")]
        machine = tmp_path / "machine.json"  # starts faster than a rig file
        machine.write_text(Machine().to_json())
        command += ["--machine", str(machine), *options]
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(), text=True, **more
        )
        started.append(process)
        return process

    yield run
    for process in started:
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.fixture
def connect():
    links = []

    def to(process):
        line = process.stdout.readline()
        assert line.startswith("listening on 127.0.0.1:"), process.stderr.read()
        links.append(socket.create_connection(("127.0.0.1", int(line.rpartition(":")[2]))))
        return links[-1]

    yield to
    for link in links:
        link.close()


def report(tmp_path):
    return json.loads((tmp_path / "report.json").read_text())


def micropython_or_skip():
    try:
        return find_micropython()
    except PortError as missing:
        pytest.skip(f"{missing} ({missing.hint})")


def children_of(pid):
    """Process ids whose parent is ``pid``."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            if int(stat.read_text().rpartition(")")[2].split()[1]) == pid:
                found.append(int(stat.parent.name))
    return found


def gone(pid):
    deadline = time.monotonic() + ENDS_S
    while time.monotonic() < deadline:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.02)
    return False


def test_it_ends_when_the_host_leaves(start, connect, tmp_path):
    process = start()
    connect(process).close()
    assert process.wait(ENDS_S) == 0
    assert report(tmp_path)["ended"] == "the host has disconnected"
    assert not TapeReader(tmp_path / "x.tape").damaged


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
@pytest.mark.parametrize("connected", [False, True])
def test_it_ends_on_a_signal_with_tape_and_report_complete(start, connect, tmp_path, number, connected):
    process = start("--fault", "skew_deg=1")
    if connected:
        link = connect(process)
        link.sendall(b"\0\0")
    else:
        process.stdout.readline()
    process.send_signal(number)
    assert process.wait(ENDS_S) == 0
    assert report(tmp_path)["ended"] == f"asked to end by {number.name}"
    reader = TapeReader(tmp_path / "x.tape")
    assert list(reader) is not None
    assert reader.faults == Faults(skew_deg=1)
    assert not reader.damaged


@pytest.mark.parametrize("connected", [False, True])
def test_it_ends_when_its_leash_does(start, connect, connected):
    process = start("--leash", stdin=subprocess.PIPE)
    if connected:
        connect(process)
    else:
        process.stdout.readline()
    process.stdin.close()
    process.stdin = None  # communicate() of the fixture would flush it
    assert process.wait(ENDS_S) == 0


def test_noise_on_the_link_does_not_disturb_it(start, connect, tmp_path):
    process = start()
    link = connect(process)
    link.sendall(os.urandom(5000))
    time.sleep(0.1)
    link.close()
    assert process.wait(ENDS_S) == 0
    assert report(tmp_path)["error"] == ""


def test_a_second_host_is_refused(start, connect):
    process = start()
    link = connect(process)
    port = link.getpeername()[1]
    deadline = time.monotonic() + ENDS_S
    refused = False
    while not refused and time.monotonic() < deadline:
        try:
            socket.create_connection(("127.0.0.1", port)).close()
        except ConnectionError:
            refused = True
    assert refused


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--listen", "0.0.0.0:0"], "not a loopback address"),
        (["--listen", "nonsense"], "is not an address and a port"),
        (["--fault", "wobble=1"], "no fault is called"),
        (["--machine", "{tmp}/none.json"], "cannot use"),
        (["--tape", "{tmp}/no/such/folder/x.tape"], "x.tape cannot be written: No such file or directory\n  next: "),
    ],
)
def test_bad_options_are_named(start, tmp_path, options, words):
    process = start(*(option.format(tmp=tmp_path) for option in options))
    assert process.wait(ENDS_S) in (1, 2)
    errors = process.stderr.read()
    assert words in errors
    assert "Traceback" not in errors


def test_a_port_in_use_is_named(start):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        process = start("--listen", f"127.0.0.1:{port}")
        _, errors = process.communicate(timeout=ENDS_S)
    assert process.returncode == 1
    assert f"cannot listen on 127.0.0.1:{port}: address already in use\n  next: " in errors
    assert "Errno" not in errors


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_is_named_and_is_no_bug(start, connect):
    process = start("--tape", "/dev/full")
    connect(process).close()
    _, errors = process.communicate(timeout=ENDS_S)
    assert process.returncode == 2
    assert errors.startswith("the tape /dev/full cannot be written: No space left on device\n  next: ")
    assert "Traceback" not in errors


def test_a_missing_micropython_is_named_before_a_host_connects(start, tmp_path):
    os.environ["LINEWRIGHT_MICROPYTHON"] = str(tmp_path / "nothing")
    try:
        process = start("--interpreter", "micropython")
    finally:
        del os.environ["LINEWRIGHT_MICROPYTHON"]
    words, errors = process.communicate(timeout=ENDS_S)
    assert process.returncode == 1
    assert words == ""
    assert "is not a program that can be run\n  next: " in errors
    assert "Traceback" not in errors


@pytest.mark.parametrize("how", ["host", "sigterm", "sigkill"])
def test_micropython_leaves_no_orphan(start, connect, tmp_path, how):
    micropython_or_skip()
    process = start("--interpreter", "micropython")
    link = connect(process)
    deadline = time.monotonic() + ENDS_S
    children = []
    while not children and time.monotonic() < deadline:
        children = children_of(process.pid)
    assert len(children) == 1
    if how == "host":
        link.close()
    elif how == "sigterm":
        process.terminate()
    else:
        process.kill()
    process.wait(ENDS_S)
    assert gone(children[0])
    if how != "sigkill":
        assert report(tmp_path)["error"] == ""


def test_the_launcher_explains_a_rig_that_does_not_start(tmp_path):
    with pytest.raises(PortError, match="did not start"):
        RigProcess(RigOptions(Machine(), tape=tmp_path / "no" / "such" / "x.tape"))


def test_the_launcher_names_a_folder_without_room(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    with pytest.raises(InputError, match="cannot write its files to") as caught:
        RigProcess(RigOptions(Machine()))
    assert "TMPDIR" in caught.value.hint


def test_a_rig_ends_with_the_process_that_started_it(tmp_path):
    """Even one that is killed and cannot clean up."""
    script = (
        "import os, signal\n"
        "from linewright.virtual.launcher import RigOptions, RigProcess\n"
        "from linewright.simulation.machine import Machine\n"
        "rig = RigProcess(RigOptions(Machine()))\n"
        "print(rig.process_id, rig._folder, flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=environment(), timeout=ENDS_S
    )
    assert done.returncode == -signal.SIGKILL, done.stderr
    process, folder = done.stdout.split()
    assert gone(int(process))
    assert not Path(folder).exists()


def test_told_to_stay_it_serves_host_after_host_but_one_at_a_time(start, connect):
    process = start("--stay")
    with connect(process) as first:
        address = first.getpeername()
        assert refused_at(address)
    # The place is free soon after the first host has disconnected, and can be taken again.
    second = connected_to(address)
    assert refused_at(address)
    second.close()
    connected_to(address).close()
    assert process.poll() is None
    process.send_signal(signal.SIGTERM)
    assert process.wait(ENDS_S) == 0


def connected_to(address):
    deadline = time.monotonic() + ENDS_S
    while time.monotonic() < deadline:
        with contextlib.suppress(ConnectionRefusedError):
            return socket.create_connection(address)
        time.sleep(0.01)
    raise AssertionError("nothing listens")


def refused_at(address):
    deadline = time.monotonic() + ENDS_S
    while time.monotonic() < deadline:
        try:
            socket.create_connection(address).close()
        except (ConnectionRefusedError, ConnectionResetError):
            return True
        time.sleep(0.01)
    return False
