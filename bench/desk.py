"""Response times of the desk's server: start to first state, drop to a first preview and to strokes, slider, and a
click.

    .venv/bin/python bench/desk.py [--runs 5]

A page without a browser measures from its own request to the value that a browser would show; the browser's rendering
is not included. If other programs share the processors, the processor time of the desk and its workers is more
reliable than the clock. The reference is the same request without work in the same desk; for the
start, the same server library with one empty route.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))
from host.desk.desk_process import Desk, Page

PHOTOGRAPH = ROOT / "demo" / "heron.jpg"
AIMS_S = {
    "start to first sight": 1.0,
    "drop to a first look": 1.0,
    "drop to strokes": 1.0,
    "slider to strokes, 20 000 vertices": 0.3,
}

EMPTY = """
import socket, uvicorn
from starlette.applications import Starlette
from starlette.responses import Response
from starlette.routing import Route
async def nothing(_):
    return Response("")
s = socket.create_server(("127.0.0.1", 0))
print(s.getsockname()[1], flush=True)
app = Starlette(routes=[Route("/", nothing)])
uvicorn.Server(uvicorn.Config(app, log_level="critical")).run(sockets=[s])
"""


def empty_start_s() -> float:
    """Time from starting a server with one empty route to its first answer, s."""
    began_s = time.perf_counter()
    with subprocess.Popen([sys.executable, "-c", EMPTY], stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            port = server.stdout.readline().strip()
            urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=30).read()
            return time.perf_counter() - began_s
        finally:
            server.terminate()


def start_s() -> float:
    """Time from the command to the whole state on the page, s."""
    with tempfile.TemporaryDirectory() as folder:
        began_s = time.perf_counter()
        desk = Desk(Path(folder))
        try:
            page = desk.page()
            seconds = time.perf_counter() - began_s
            page.close()
            return seconds
        finally:
            desk.end()


def processor_s(pid: int) -> float:
    """Processor time of a process and of its children, seconds; nan where the system does not list it."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        below = [
            int(one) for task in Path(f"/proc/{pid}/task").iterdir() for one in (task / "children").read_text().split()
        ]
    except OSError:
        return float("nan")
    own = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")  # utime and stime, proc_pid_stat(5)
    return own + sum(processor_s(child) for child in below)


def timed(do: Callable[[], object]) -> float:
    """Duration of a call, s."""
    began_s = time.perf_counter()
    do()
    return time.perf_counter() - began_s


def sketched(page: Page, before: Any, *, rough: bool = False) -> None:
    """Wait for new strokes; with ``rough``, also for a first preview."""

    def seen(state: dict[str, Any]) -> bool:
        plan = state["plan"]
        return plan["state"] == "refused" or (plan["sketch"] not in (None, before) and (rough or not plan["rough"]))

    page.until(seen)


class Bench:
    """One desk with warm workers, as a minute after its start."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._dropped = 0
        self.pid = desk.process.pid
        self._page = desk.page()
        self._page.until(lambda state: state["methods"] and state["machine"]["state"] == "unhomed")
        self.drop()

    def drop(self) -> tuple[float, float]:
        """Drop a photograph onto an empty sheet; seconds to its first preview and to its strokes."""
        page = self._page
        page.does("clear")
        before = page.state["plan"]["sketch"]
        # A different file each time, so that nothing is cached; readers ignore bytes after the end of the picture.
        self._dropped += 1
        data = PHOTOGRAPH.read_bytes() + self._dropped.to_bytes(4, "big")
        began_s = time.perf_counter()
        _, _, body = self._desk.ask("POST", "/upload?name=heron.jpg", data)
        page.does("put", upload=json.loads(body)["upload"])
        sketched(page, before, rough=True)
        looked_s = time.perf_counter() - began_s
        sketched(page, before)
        return looked_s, time.perf_counter() - began_s

    def drop_nothing(self) -> None:
        """The same number of bytes that are not a picture."""
        self._desk.ask("POST", "/upload?name=heron.jpg", bytes(PHOTOGRAPH.stat().st_size))

    def slide(self, pitch: float) -> None:
        """Move a slider of the photograph's method and wait for the strokes."""
        page = self._page
        before = page.state["plan"]["sketch"]
        method = {"name": "waves", "settings": {"pitch": pitch}}
        page.does("set", item=page.state["items"][0]["id"], method=method, gesture="bench")
        sketched(page, before)

    def slide_nothing(self) -> None:
        """The same event without a change."""
        item = self._page.state["items"][0]
        self._page.does("set", item=item["id"], method=item["method"], gesture="bench")

    def planned(self) -> int:
        """Wait for the plan; its vertices."""
        return int(self._page.planned()["vertices"])


def main() -> int:
    """Print one table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    rows: dict[str, tuple[list[float], list[float], list[float]]] = {}

    def note(name: str, seconds: float, nothing: float, worked: float = float("nan")) -> None:
        for figures, figure in zip(rows.setdefault(name, ([], [], [])), (seconds, nothing, worked), strict=True):
            figures.append(figure)

    for _ in range(runs):
        note("start to first sight", start_s(), empty_start_s())
    vertices = 0
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(Path(folder))
        try:
            bench = Bench(desk)
            bench.planned()
            for _ in range(runs):
                bench.planned()
                before_s = processor_s(bench.pid)
                looked_s, dropped_s = bench.drop()
                worked_s = processor_s(bench.pid) - before_s
                nothing_s = timed(bench.drop_nothing)
                note("drop to a first look", looked_s, nothing_s)
                note("drop to strokes", dropped_s, nothing_s, worked_s)
            for run in range(runs):
                bench.planned()
                before_s = processor_s(bench.pid)
                moved = timed(lambda n=run: bench.slide(PITCH + n / 10))  # type: ignore[misc]  # bound at once
                worked_s = processor_s(bench.pid) - before_s
                vertices = bench.planned()
                note("slider to strokes, 20 000 vertices", moved, timed(bench.slide_nothing), worked_s)
            for run in range(runs):
                bench.slide(PITCH + (runs + run) / 10)  # and while that is planned:
                note("a click while it plans", timed(bench.slide_nothing), float("nan"))
        finally:
            desk.end()
    heads = ("from .. to", "median s", "least..most", "processor s", "doing nothing s", "aim s")
    table = Table(*heads, title=f"the desk's server, {runs} runs")
    for name, (ours, theirs, worked) in rows.items():
        aim = f"{AIMS_S[name]:g}" if name in AIMS_S else "-"
        nothing, work = statistics.median(theirs), statistics.median(worked)
        spread = f"{min(ours):.3f}..{max(ours):.3f}"
        reference, work_words = ("-" if one != one else f"{one:.3f}" for one in (nothing, work))
        table.add_row(name, f"{statistics.median(ours):.3f}", spread, work_words, reference, aim)
    console = Console(width=100)
    console.print(table)
    console.print(f"the photograph has {vertices:,} vertices as waves")
    return 0


PITCH = 20.0
"""Row spacings of waves in pen widths; about 20 000 vertices on A4."""


if __name__ == "__main__":
    raise SystemExit(main())
