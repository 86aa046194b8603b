"""The complete desk: real server, workers and virtual rig, with clients in place of browsers."""

import contextlib
import http.client
import io
import json
import os
import signal
import socket
import struct
import subprocess
import time
from pathlib import Path

import pytest
from PIL import Image

from host.desk.desk_process import LIMIT_S, LINEWRIGHT, Desk

SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">
<path d="M5 35 C 15 5 45 5 55 35 M10 35 H50 M30 35 V15" fill="none" stroke="#000"/></svg>"""


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    state = tmp_path_factory.mktemp("state")
    found = Desk(state, "--phone")
    yield found
    code, said = found.end()
    assert (code, said) == (0, "")
    for secret in (found.address.partition("key=")[2], found.cookie.partition("=")[2]):
        assert [path for path in state.rglob("*") if path.is_file() and secret.encode() in path.read_bytes()] == []


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
    assert places[-1] == pytest.approx(plan["predicted_s"], abs=1e-3)  # of many reports the newest is sent
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
    connected(page)
    other.does("motors_off")
    other.until(lambda state: not state["machine"]["motors_on"])
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
    page.until(lambda state: state["drawing"]["pace"] == 0.5 and state["progress"]["left_s"] > 0)
    page.does("carry_on")
    page.until(lambda state: state["drawing"]["state"] == "drawing" and state["progress"]["done_s"] > held)
    page.does("abandon")
    page.until(lambda state: state["drawing"]["state"] == "abandoned")
    assert page.state["drawing"]["can_carry_on"]
    page.until(lambda state: state["broken_off"] and not state["machine"]["busy"])
    page.does("forget", drawing=page.state["broken_off"][0]["id"])
    page.until(lambda state: not state["broken_off"])
    assert page.state["drawing"] is None  # nothing else holds the sheet


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
    """The desk's answer to raw bytes."""
    with socket.create_connection(desk.host.split(":"), timeout=limit_s) as link:
        answer = b""
        with contextlib.suppress(OSError):  # it stops reading a request that it refuses
            link.sendall(data)
            link.shutdown(socket.SHUT_WR)
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
    # No valid request head is as long or has as many lines.
    assert b" 200 " not in raw(desk, b"GET / HTTP/1.1\r\nX: " + b"a" * 200_000)
    many = "".join(f"X{n}: a\r\n" for n in range(20_000))
    assert b" 200 " not in raw(desk, f"GET / HTTP/1.1\r\n{named}{many}\r\n".encode())
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


RIGS = {}
"""Processes of virtual rigs by their ports."""


@pytest.fixture
def rig():
    """The port of a separate virtual rig in real time."""
    command = [*LINEWRIGHT, "virtual", "--stay", "--real-time"]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    port = process.stderr.readline().split()[-1].rstrip("`")
    RIGS[port] = process
    yield port
    process.kill()
    process.communicate(timeout=LIMIT_S)


@pytest.mark.slow
def test_a_drawing_outlives_a_killed_desk_and_a_sleeping_one(tmp_path, rig):
    """Killed during a drawing: the board stops by itself, pen up, and the next desk offers to resume. Stopped for some
    seconds, like a sleeping laptop: nothing is lost, and the page reconnects."""
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
        # The sheet shows less than the board has counted: its motors had no power for a while.
        left = page.does("left", drawing=broken["id"])
        assert (left["stroke"], left["asks"]) == (broken["strokes_done"] + 1, True)
        _, _, strokes = second.ask("GET", f"/geometry/{left['geometry']}")
        assert struct.unpack_from("<I", strokes, 4)[0] == broken["strokes"]
        asked = {"drawing": broken["id"], "confirmed": ["paper"]}
        assert "leaves strokes out" in page.refused("resume", **asked, from_stroke=left["stroke"] + 1)
        page.does("resume", **asked, from_stroke=1)
        page.until(lambda state: state["progress"] and state["progress"]["stroke"] >= 1)
        assert page.state["progress"]["stroke"] <= broken["strokes_done"]
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


def test_a_phone_may_send_photographs_look_and_hold_and_nothing_else(desk, page):
    answer = page.send("phone", on=True)
    if not answer["ok"]:
        assert "in no network" in answer["error"]["text"]
        pytest.skip(answer["error"]["text"])
    page.until(lambda state: state["phone"])
    host, _, key = page.state["phone"]["address"].removeprefix("http://").partition("/")
    png = io.BytesIO()
    Image.new("L", (30, 20), 200).save(png, "PNG")

    def asked(method, path, body=None, cookie=""):
        link = http.client.HTTPConnection(host, timeout=LIMIT_S)
        with contextlib.closing(link):
            link.request(method, path, body, {"Origin": f"http://{host}", "Cookie": cookie})
            got = link.getresponse()
            return got.status, got.getheader("set-cookie", "").partition(";")[0], got.read()

    assert asked("GET", "/progress")[0] == 403
    assert asked("GET", "/progress", cookie=desk.cookie)[0] == 403
    status, cookie, _ = asked("GET", f"/{key}")
    assert status == 200
    assert b"phone.js" in asked("GET", "/", cookie=cookie)[2]
    assert json.loads(asked("GET", "/progress", cookie=cookie)[2])["drawing"] is None
    assert asked("POST", "/hold", cookie=cookie)[0] == 409  # nothing is being drawn
    assert asked("POST", "/upload?name=a.png", png.getvalue(), cookie)[0] == 200
    page.until(lambda state: [one["name"] for one in state["phone"]["received"]] == ["a.png"])
    assert asked("POST", "/upload?name=a.svg", SVG, cookie)[0] == 415
    for path in ("/socket", "/geometry/s1", "/photo/u-0000000000000000", "/picture/p0"):
        assert asked("GET", path, cookie=cookie)[0] == 404
    page.does("phone", on=False)
    page.until(lambda state: state["phone"] is None)
    with pytest.raises(OSError, match="refused"):
        asked("GET", "/progress", cookie=cookie)


def test_a_rig_file_and_its_wiring_on_the_page(desk, page, tmp_path):
    from importlib.resources import files

    text = (files("linewright") / "data" / "rig.toml").read_bytes()
    sent = json.loads(desk.ask("POST", "/upload?name=../Quay%20side.toml", text)[2])
    assert sent["kind"] == "rig"
    assert "no picture" in page.refused("put", upload=sent["upload"])
    rig = page.does("rig_file", upload=sent["upload"])["rig"]
    page.until(lambda state: rig in [one["id"] for one in state["machine"]["rigs"]])
    connected(page)
    page.does("connect", port="virtual", rig=rig)
    page.until(lambda state: state["machine"]["rig"] == rig)
    (one,) = [one for one in page.state["machine"]["rigs"] if one["id"] == rig]
    assert one["name"].endswith("(Quay-side.toml)")
    connected(page)
    wrong = json.loads(desk.ask("POST", "/upload?name=wrong.toml", b"[machine]\nx = 1\n")[2])
    refused = page.refused("rig_file", upload=wrong["upload"])
    assert "wrong.toml" in refused
    assert "uploads" not in refused
    assert "no such file" in page.refused("rig_file", upload="u-0000000000000000")
    wiring = page.does("wiring")
    assert wiring["cautions"]
    status, headers, picture = desk.ask("GET", f"/picture/{wiring['picture']}.svg")
    assert (status, headers["content-type"]) == (200, "image/svg+xml")
    assert picture.startswith(b"<?xml")
    page.does("connect", port="virtual", rig="default")
    page.until(lambda state: state["machine"]["rig"] == "default")
    connected(page)


def test_a_task_that_is_over_is_put_away(page):
    connected(page)
    page.does("check")
    page.until(lambda state: state["task"] and state["task"]["done"] == 1.0)
    assert {row["outcome"] for row in page.state["task"]["rows"]} <= {"passed", "note", "not run"}
    assert not any("`linewright" in row["hint"] for row in page.state["task"]["rows"])
    page.does("task_close")
    page.until(lambda state: state["task"] is None)


def test_a_browser_that_does_not_keep_up_stalls_nobody(desk, page):
    """A window that reads nothing: others are answered, the drawing ends, and no data accumulates for it."""
    with socket.socket() as slow:
        slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        slow.settimeout(LIMIT_S)
        slow.connect(("127.0.0.1", int(desk.host.split(":")[1])))
        slow.sendall(
            f"GET /socket HTTP/1.1\r\nHost: {desk.host}\r\nOrigin: http://{desk.host}\r\nCookie: {desk.cookie}\r\n"
            "Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
        )
        assert slow.recv(12) == b"HTTP/1.1 101"
        connected(page)
        item = page.does("put", words="quay", width_mm=20)["item"]
        page.planned()
        before = page.state["plan"]["n"]
        for n in range(40):
            page.does("pens", pens=[{"name": f"{n}-{i}-" + "x" * 33, "colour": "#000000"} for i in range(24)])
            page.does("set", item=item, at_mm=[20 + n / 10, 30])
        page.draws()
        page.until(lambda state: state["drawing"]["state"] == "finished")
        assert page.state["plan"]["n"] > before
        waiting = _unsent_bytes(desk, slow.getsockname()[1])
        assert waiting is None or waiting < 5_000_000  # data in the system's socket buffers


def _unsent_bytes(desk, port):
    """Bytes in the system's buffers for a peer of the desk; None if not reported."""
    try:
        rows = Path("/proc/net/tcp").read_text().splitlines()[1:]
    except OSError:
        return None
    ours = f":{int(desk.host.split(':')[1]):04X}"
    theirs = f":{port:04X}"
    found = [row.split() for row in rows]
    queues = [one[4] for one in found if one[1].endswith(ours) and one[2].endswith(theirs)]
    return int(queues[0].partition(":")[0], 16) if queues else None


def test_a_board_that_goes_in_mid_jog_is_found_again(tmp_path, rig):
    """The cable is pulled while the pen moves: the page reports it, the desk continues and connects to the next
    board.
    """
    desk = Desk(tmp_path, "--port", rig)
    try:
        page = desk.page()
        connected(page)
        page.does("home")
        page.until(lambda state: state["machine"]["state"] == "ready" and not state["machine"]["busy"])
        page.does("jog", to_mm=[180, 180])
        page.until(lambda state: state["machine"]["busy"] == "Moving")
        RIGS[rig].kill()
        page.until(lambda state: state["machine"]["state"] == "lost" and not state["machine"]["busy"])
        assert page.state["machine"]["position_mm"] is None
        assert any(note["kind"] == "error" for note in page.state["notes"])
        page.does("put", words="quay")  # the sheet is still there to work on
        assert page.planned()["state"] == "ready"
        page.does("connect", port="virtual")
        page.until(lambda state: state["machine"]["state"] == "unhomed")
    finally:
        code, said = desk.end()
    assert (code, said) == (0, "")
