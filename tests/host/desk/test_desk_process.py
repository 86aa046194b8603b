"""The desk whole: a real server, real workers, the virtual rig, and pages without a browser."""

import contextlib
import json
import os
import signal
import socket
import struct
import subprocess
import time
from pathlib import Path

import pytest

from host.desk.desk_process import LIMIT_S, LINEWRIGHT, Desk

SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">
<path d="M5 35 C 15 5 45 5 55 35 M10 35 H50 M30 35 V15" fill="none" stroke="#000"/></svg>"""


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    found = Desk(tmp_path_factory.mktemp("state"))
    yield found
    code, said = found.end()
    assert (code, said) == (0, "")


@pytest.fixture
def page(desk):
    found = desk.page()
    found.send("take_over")
    found.until(lambda state: state["holder"]["you"])
    if found.state["drawing"] is not None:
        found.send("put_away")
    found.send("clear")
    yield found
    found.close()


def connected(page):
    page.until(
        lambda state: state["machine"]["state"] in ("asleep", "unhomed", "ready") and not state["machine"]["busy"]
    )


def test_from_a_dropped_file_to_the_finished_drawing(desk, page):
    status, _, body = desk.ask("POST", "/upload?name=bridge.svg", SVG)
    assert status == 200
    upload = json.loads(body)
    assert (upload["kind"], upload["name"], upload["bytes"]) == ("drawing", "bridge.svg", len(SVG))
    item = page.does("put", upload=upload["upload"])["item"]
    assert item == "bridge"
    plan = page.planned()
    assert plan["state"] == "ready"
    assert plan["strokes"] == 3
    status, headers, data = desk.ask("GET", f"/geometry/{plan['geometry']}")
    assert status == 200
    assert struct.unpack("<III", data[4:16]) == (3, plan["vertices"], 1)
    assert headers["content-type"] == "application/octet-stream"
    assert desk.ask("GET", f"/geometry/{plan['sketch']}")[0] == 200
    assert page.state["items"][0]["box_mm"] is not None
    connected(page)
    assert "not confirmed" in page.refused("draw", n=plan["n"], confirmed=[])
    assert "not the newest" in page.refused("draw", n=plan["n"] - 1, confirmed=["paper", "pen"])
    page.draws()
    page.until(lambda state: state["drawing"]["state"] == "finished")
    assert page.state["drawing"]["result"]["played_s"] == pytest.approx(plan["predicted_s"])
    places = [seen["progress"]["done_s"] for seen in page.seen if seen.get("progress")]
    assert places == sorted(places)
    assert 0.0 < places[-1] <= plan["predicted_s"] + 1e-3  # of many reports the newest is sent
    page.until(lambda state: state["log"] and state["log"][0]["again"])
    entry = page.state["log"][0]
    assert (entry["picture"], entry["outcome"]) == ("bridge.svg", "finished")
    assert desk.ask("GET", f"/geometry/{entry['geometry']}")[0] == 200
    page.does("put_away")
    page.does("clear")
    page.does("again", drawing=entry["id"])
    page.until(lambda state: [one["id"] for one in state["items"]] == ["bridge"])


def test_things_are_moved_undone_and_seen_by_a_page_that_comes_later(desk, page):
    item = page.does("put", words="Marrow Quay", width_mm=60)["item"]
    page.does("set", item=item, at_mm=[40, 50], gesture="g1")
    page.does("set", item=item, at_mm=[60, 80], turn_deg=30, gesture="g1")
    assert page.state["history"]["undo"].startswith("change")
    page.planned()
    later = desk.page()
    assert later.state["items"][0]["at_mm"] == [60, 80]
    assert later.state["items"][0]["turn_deg"] == 30
    later.close()
    page.does("undo")
    page.until(lambda state: state["items"][0]["at_mm"] is None)
    page.does("redo")
    page.until(lambda state: state["items"][0]["at_mm"] == [60, 80])
    assert "no method" in page.refused("set", item=item, method={"name": "no-such-way", "settings": {}})
    assert page.state["items"][0]["method"] is None


def test_the_machine_obeys_one_window_and_stands_for_every_one(desk, page):
    other = desk.page()
    assert not other.state["holder"]["you"]
    for event in ({"do": "home"}, {"do": "put", "surprise": True}, {"do": "abandon"}):
        assert "another window" in other.refused(**event)
    other.does("motors_off")
    other.does("take_over")
    other.until(lambda state: state["holder"]["you"])
    page.until(lambda state: not state["holder"]["you"])
    assert "another window" in page.refused("undo")
    other.close()


def test_hold_pace_and_abandon(page):
    page.does("put", words="herring drifter")
    connected(page)
    page.planned()
    page.does("connect", port="virtual", real_time=True)
    page.until(lambda state: state["machine"]["real_time"] and state["machine"]["state"] == "unhomed")
    page.draws()
    page.until(lambda state: state["progress"] and state["progress"]["stroke"] >= 1)
    assert "busy" in page.refused("home")
    page.does("hold")
    page.until(lambda state: state["drawing"]["state"] == "holding")
    held = page.state["progress"]["done_s"]
    page.does("pace", share=0.5)
    page.until(lambda state: state["drawing"]["state"] == "drawing" and state["progress"]["done_s"] > held)
    page.does("abandon")
    page.until(lambda state: state["drawing"]["state"] == "abandoned")
    assert page.state["drawing"]["can_carry_on"]
    page.until(lambda state: state["broken_off"] and not state["machine"]["busy"])
    page.does("forget", drawing=page.state["broken_off"][0]["id"])
    page.until(lambda state: not state["broken_off"])


def test_the_machine_by_hand(page):
    page.does("connect", port="virtual")
    page.until(lambda state: not state["machine"]["real_time"])
    page.until(lambda state: state["machine"]["state"] == "unhomed")
    page.does("jog", by_mm=[5, 5])
    page.until(lambda state: any("does not know where the pen is" in note["text"] for note in state["notes"]))
    page.does("home")
    page.until(lambda state: state["machine"]["state"] == "ready" and not state["machine"]["busy"])
    page.does("jog", to_mm=[30, 40])
    page.until(lambda state: state["machine"]["position_mm"] == [30, 40])
    page.until(lambda state: not state["machine"]["busy"])
    page.does("pen", height="down")
    page.until(lambda state: state["machine"]["pen_up"] is False and not state["machine"]["busy"])
    page.does("motors_off")
    page.until(lambda state: not state["machine"]["motors_on"])


def raw(desk, data, limit_s=LIMIT_S):
    """What the desk answers to bytes."""
    with socket.create_connection(desk.host.split(":"), timeout=limit_s) as link:
        link.sendall(data)
        link.shutdown(socket.SHUT_WR)
        answer = b""
        with contextlib.suppress(ConnectionResetError):  # it does not listen to the end of what it refuses
            while piece := link.recv(65536):
                answer += piece
        return answer


@pytest.mark.parametrize(
    "path",
    [
        "/page/../server.py",
        "/page/..%2fserver.py",
        "/page/%2e%2e/server.py",
        "/page//etc/passwd",
        "/page/index.html%00.js",
        "/page/.hidden.js",
        "/geometry/../../../etc/passwd",
        "/geometry/d20260101000000",
        "/photo/..%2f..%2fsheet.toml",
        "/picture/..%2fsheet.toml",
        "/upload/../sheet.toml",
    ],
)
def test_no_way_leads_out_of_the_page(desk, path):
    status, _, body = desk.ask("GET", path)
    assert status in (404, 405)
    assert b"import" not in body
    assert b"root:" not in body


def test_hostile_requests_are_refused_while_it_draws(desk, page):
    page.does("put", words="heron")
    connected(page)
    page.draws()
    assert desk.ask("GET", "/", cookie=False)[0] == 403
    assert desk.ask("POST", "/upload?name=a.png", b"x", Origin="http://evil.example")[0] == 403
    assert desk.ask("GET", "/", Host="rebound.example")[0] == 403
    assert desk.ask("POST", "/upload?name=a.exe", b"MZ" + bytes(100))[0] == 415
    named = f"Host: {desk.host}\r\nOrigin: http://{desk.host}\r\nCookie: {desk.cookie}\r\n"
    head = f"POST /upload?name=a.png HTTP/1.1\r\n{named}"
    assert b" 413 " in raw(desk, f"{head}Content-Length: 99999999999\r\n\r\nabc".encode())
    assert b" 400 " in raw(desk, f"{head}Content-Length: -1\r\n\r\n".encode())
    assert b" 400 " in raw(desk, b"\x16\x03\x01\x02\x00" + bytes(range(200)))  # as TLS begins
    assert b" 200 " not in raw(desk, b"GET / HTTP/1.1\r\nX: " + b"a" * 200_000)
    page.socket.send("not json")
    page.socket.send("{}")
    page.until(lambda state: state["drawing"]["state"] == "finished")


def test_no_secret_is_seen_by_others_and_nothing_listens_beyond_this_computer(desk):
    key = desk.address.partition("key=")[2]
    assert len(key) >= 22  # 128 bits in base64
    if not Path("/proc/self/cmdline").exists():
        pytest.skip("no /proc on this system")
    for process in Path("/proc").glob("[0-9]*"):
        try:
            seen = (process / "cmdline").read_bytes()
        except OSError:
            continue
        assert key.encode() not in seen
    inodes = set()
    for link in Path(f"/proc/{desk.process.pid}/fd").iterdir():
        try:
            target = str(link.readlink())
        except OSError:
            continue
        if target.startswith("socket:"):
            inodes.add(target[8:-1])
    listening = [
        line.split()
        for table in ("tcp", "tcp6")
        for line in Path(f"/proc/net/{table}").read_text().splitlines()[1:]
        if line.split()[3] == "0A" and line.split()[9] in inodes
    ]
    assert [row[1].partition(":")[0] for row in listening] == ["0100007F"]  # 127.0.0.1, and one alone


@pytest.fixture
def rig():
    """A virtual rig that lasts, as slow as a real machine."""
    command = [*LINEWRIGHT, "virtual", "--stay", "--real-time"]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    line = process.stderr.readline()
    yield line.split()[-1]
    process.kill()
    process.communicate(timeout=LIMIT_S)


@pytest.mark.slow
def test_a_drawing_outlives_a_killed_desk_and_a_sleeping_one(tmp_path, rig):
    """Killed in mid-drawing: the board stops by itself, pen up, and the next desk offers to carry on. Stopped for some
    seconds, as a laptop that sleeps: nothing is lost, and the page finds its place again."""
    first = Desk(tmp_path, "--port", rig)
    try:
        page = first.page()
        page.does("put", words="heron")
        page.until(lambda state: state["machine"]["state"] == "unhomed")
        assert page.state["desk"]["virtual"]
        page.draws()
        page.until(lambda state: state["progress"] and state["progress"]["stroke"] >= 2)
    finally:
        first.kill()
    second = Desk(tmp_path, "--port", rig)
    try:
        page = second.page()
        page.until(lambda state: state["machine"]["state"] not in ("connecting", "drawing"))
        assert page.state["machine"]["pen_up"]
        assert page.state["items"][0]["text"] == "heron"
        assert page.state["history"]["undo"] == "put words down"
        (broken,) = page.state["broken_off"]
        assert 1 <= broken["strokes_done"] < broken["strokes"]
        assert "not confirmed" in page.refused("resume", drawing=broken["id"], confirmed=[])
        page.does("resume", drawing=broken["id"], confirmed=["paper"])
        page.until(lambda state: state["progress"] and state["progress"]["stroke"] > broken["strokes_done"] + 1)
        os.kill(second.process.pid, signal.SIGSTOP)
        time.sleep(2.5)  # the board gives its host one second
        os.kill(second.process.pid, signal.SIGCONT)
        page.until(lambda state: state["drawing"]["state"] in ("finished", "failed"))
        if page.state["drawing"]["state"] == "failed":
            assert page.state["drawing"]["can_carry_on"]
        else:
            page.until(lambda state: not state["broken_off"])
            page.until(lambda state: state["log"] and state["log"][0]["again"])
    finally:
        second.end()
