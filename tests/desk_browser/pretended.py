"""A fake desk: the page's own files and a state set by the test, for states that are rare on a real desk.

Every request of the browser is answered here, with the headers of the real server, and the
socket is a pair of lists.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

PAGE = Path(__file__).resolve().parents[2] / "host" / "linewright" / "desk" / "page"
ADDRESS = "http://127.0.0.1:1/"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
TYPES = {".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


def geometry(
    strokes: list[Any], *, pen: list[int] | None = None, items: list[int] | None = None, speed: float = 0.0
) -> bytes:
    """Strokes as bytes, as docs/DESK.md says; with times and speeds where a speed in mm/s is given."""
    arrays = [np.asarray(one, np.float32).reshape(-1, 2) for one in strokes]
    starts = np.concatenate(([0], np.cumsum([len(one) for one in arrays]))).astype("<u4")
    points = np.concatenate(arrays).astype("<f4") if arrays else np.empty((0, 2), "<f4")
    flags = (1 if speed else 0) | (2 if items is not None else 0)
    blocks = [b"LWG1", np.array([len(arrays), len(points), flags], "<u4").tobytes(), points.tobytes(), starts.tobytes()]

    def shorts(values: list[int]) -> bytes:
        whole = np.array(values, "<u2").tobytes()
        return whole + bytes(-len(whole) % 4)

    blocks.append(shorts(pen if pen is not None else [0] * len(arrays)))
    if speed:
        steps = np.hypot(*np.diff(points, axis=0, prepend=points[:1]).T)
        blocks.append((np.cumsum(steps) / speed).astype("<f4").tobytes())
        blocks.append((speed * (0.6 + 0.4 * np.sin(np.arange(len(points)) / 7))).astype("<f4").tobytes())
    if items is not None:
        blocks.append(shorts(items))
    return b"".join(blocks)


def rings(x: float, y: float, size: float, count: int, vertices: int = 90) -> list[Any]:
    """Closed curves as an example picture."""
    turn = np.linspace(0, 2 * np.pi, vertices)
    return [
        np.column_stack(
            (x + size * r * np.cos(turn) * (1 + 0.1 * np.sin(5 * turn + 6 * r)), y + size * r * np.sin(turn))
        )
        for r in np.linspace(0.08, 1, count)
    ]


def state(**changed: Any) -> dict[str, Any]:
    """All keys, of a virtual rig at rest with nothing on its sheet; `changed` replaces whole keys."""
    usual: dict[str, Any] = {
        "desk": {"version": "0.1.0", "window": "w1", "virtual": True, "rehearsal": "", "phone": False},
        "holder": {"window": "w1", "you": True},
        "sheet": {
            "name": "A4", "width_mm": 297.0, "height_mm": 210.0, "margin_mm": 10.0, "offset_mm": [10.0, 10.0], "landscape": True,
            "room_mm": [10, 10, 287, 200], "choices": ["A6", "A5", "A4", "A3"],
        },
        "reach": {"width_mm": 330, "height_mm": 240, "box_mm": [-10, -10, 320, 230], "park_mm": [-10, -10], "kinematics": "crossed-belt"},
        "items": [],
        "history": {"undo": None, "redo": None},
        "pens": [],
        "pens_usual": {"width_mm": 0.5, "speed_mm_s": 80, "up_us": 1200, "down_us": 1650},
        "plan": empty_plan(),
        "methods": METHODS,
        "patterns": PATTERNS,
        "letterings": [LETTERING],
        "previews": {"item": None, "list": []},
        "within": None,
        "before": [
            {"key": "paper", "text": "an A4 sheet lies against its marks and is held down"},
            {"key": "pen", "text": "the pen 'black' is in its holder and touches the paper when it is lowered"},
            {"key": "cautions", "text": "fingers, hair and cables are clear, and the switch for motor power is within reach"},
        ],
        "machine": machine("ready", "It is homed and ready."),
        "drawing": None,
        "progress": None,
        "broken_off": [],
        "questions": [],
        "notes": [],
        "log": [],
        "trials": [{"name": "scale", "about": "is 100 mm 100 mm?"}, {"name": "heights", "about": "where the pen presses how"}],
        "trial": None,
        "task": None,
        "phone": None,
    }  # fmt: skip
    assert set(changed) <= set(usual)
    return usual | changed


def machine(now: str, words: str, **changed: Any) -> dict[str, Any]:
    usual = {
        "state": now, "words": words, "name": "the virtual rig", "board": "virtual", "port": "virtual", "ports": [], "ports_looking": False,
        "rigs": [], "rig": "default", "position_mm": [0.0, 0.0], "pen_up": True, "motors_on": True, "endstop_x": False, "endstop_y": False,
        "fault": None, "hint": None, "busy": None, "real_time": False,
    }  # fmt: skip
    return usual | changed


def empty_plan(**changed: Any) -> dict[str, Any]:
    usual = {
        "state": "empty", "n": 0, "doing": "", "done": None, "sketch": None, "geometry": None, "stale": False, "strokes": 0, "vertices": 0,
        "predicted_s": 0.0, "ink_mm": 0.0, "travel_mm": 0.0, "pens": [], "warnings": [], "error": None,
    }  # fmt: skip
    return usual | changed


def thing(name: str, label: str, box: list[float], **changed: Any) -> dict[str, Any]:
    usual = {
        "id": name, "kind": "photograph", "label": label, "source": "u-1", "text": None, "pattern": None, "method": None, "at_mm": None,
        "align": None, "width_mm": None, "height_mm": None, "fit": "fit", "turn_deg": 0.0, "mirror": False, "repeat": None, "pens": None,
        "pen_by": "colour", "pen_for": {}, "inks": [], "frame": "whole", "frames": [], "box_mm": box, "boxes_mm": [box], "page_mm": [box[2] - box[0], box[3] - box[1]], "strokes": 40, "warnings": [],
        "error": None,
    }  # fmt: skip
    return usual | changed


def _setting(
    name: str, meaning: str, low: float, high: float, unit: str, default: float, kind: str = "number"
) -> dict[str, Any]:
    return {
        "name": name,
        "meaning": meaning,
        "kind": kind,
        "low": low,
        "high": high,
        "unit": unit,
        "choices": [],
        "default": default,
    }


METHODS = [
    {"name": name, "about": about, "takes": "photograph", "settings": [
        _setting("spacing_mm", "from line to line where it is darkest", 0.3, 20, "mm", 1.2),
        _setting("angle_deg", "of the lines", -180, 180, "degrees", 45),
        _setting("seed", "every number gives another picture", 0, 99999, "", 1, "whole"),
        {"name": "tone", "meaning": "how dark is dark", "kind": "choice", "low": None, "high": None, "unit": "", "choices": ["true", "strong"], "default": "true"},
        _setting("longest_mm", "of a line", 1, 500, "mm", 60),
    ]}
    for name, about in {
        "auto": "chooses a method that suits the picture", "streamlines": "long lines that follow the form", "hatching": "straight lines",
        "waves": "rows of waves", "stippling": "dots", "one-line": "a single line", "outline": "the edges",
    }.items()
]  # fmt: skip
PATTERNS = [
    {"name": name, "about": about, "takes": "seed", "settings": [_setting("seed", "every number gives another picture", 0, 99999, "", 1, "whole")]}
    for name, about in {
        "currents": "evenly spaced lines that follow a flow", "dunes": "ridge behind ridge", "ferns": "fronds that arch from one root",
        "wheels": "a wheel that rolls in a ring", "scales": "rows of ringed discs",
    }.items()
]  # fmt: skip
LETTERING = {
    "name": "lettering", "about": "single-line letters", "takes": "text", "settings": [
        {"name": "face", "meaning": "style of the letters", "kind": "choice", "low": None, "high": None, "unit": "", "choices": ["plain", "running"], "default": "plain"},
        _setting("size_mm", "height of a capital; 0: as large as the sheet allows", 0, 2000, "mm", 0),
    ]}  # fmt: skip


class Pretended:
    """Answers a page's requests and its socket.

    Attributes
    ----------
    said : events of the page, oldest first.
    beside : progress for the phone's page; None: no answer.
    answers : answers to events by their `do`; with "set" also changed keys of the state; default
        ``{"ok": True}``.
    """

    def __init__(self, page: Any, whole: dict[str, Any], strokes: dict[str, bytes] | None = None) -> None:
        self.page, self.state, self.strokes = page, whole, dict(strokes or {})
        self.said: list[dict[str, Any]] = []
        self.answers: dict[str, dict[str, Any]] = {}
        self.sockets: list[Any] = []
        self.uploads: list[str] = []
        self.beside: dict[str, Any] | None = None
        page.route("**/*", self._answer)
        page.route_web_socket("**/socket*", self._socket)

    def open(self, page: str = "") -> None:
        self.page.goto(ADDRESS + page)

    def _answer(self, route: Any) -> None:
        path = route.request.url.removeprefix(ADDRESS).partition("?")[0]
        if path == "upload":
            self.uploads.append(route.request.url.partition("name=")[2])
            route.fulfill(
                json={"upload": "u-1", "kind": "photograph", "name": "heron.jpg", "bytes": 1, "format": "JPEG"}
            )
        elif path == "progress" and self.beside is not None:
            route.fulfill(json=self.beside)
        elif path == "hold":
            self.said.append({"do": "hold"})
            route.fulfill(json={"ok": True})
        elif path.startswith("geometry/") and path[9:] in self.strokes:
            route.fulfill(body=self.strokes[path[9:]], content_type="application/octet-stream")
        elif path == "" or (path.startswith("page/") and (PAGE / path[5:]).is_file()):
            file = PAGE / (path[5:] or "index.html")
            route.fulfill(
                body=file.read_bytes(), headers={"Content-Type": TYPES[file.suffix], "Content-Security-Policy": POLICY}
            )
        else:
            route.fulfill(status=404, body="")

    def _socket(self, socket: Any) -> None:
        self.sockets.append(socket)
        socket.on_message(lambda text: self._heard(socket, json.loads(text)))
        socket.send(json.dumps({"set": self.state}))

    def _heard(self, socket: Any, event: dict[str, Any]) -> None:
        self.said.append(event)
        answer = dict(self.answers.get(event["do"], {"ok": True}))
        if changed := answer.pop("set", None):
            self.set(**changed)
        socket.send(json.dumps({"re": event["id"]} | answer))

    def set(self, **keys: Any) -> None:
        """Set keys of the state, for this page and for later connections."""
        self.state |= keys
        self.sockets[-1].send(json.dumps({"set": keys}))

    def last(self, do: str) -> dict[str, Any]:
        """The newest event of this name, without its number."""
        found = [one for one in self.said if one["do"] == do]
        assert found, f"the page said {[one['do'] for one in self.said]}, not {do}"
        return {key: value for key, value in found[-1].items() if key != "id"}
