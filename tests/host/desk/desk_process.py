"""`linewright desk` as a process, and a page without a browser, for tests."""

from __future__ import annotations

import http.client
import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from websockets.sync.client import ClientConnection, connect

LINEWRIGHT = (sys.executable, "-c", "from linewright.cli import main; main()")

LIMIT_S = 150.0
"""Time limit of waits, s; sufficient on a busy computer."""


class Desk:
    """A desk in a separate process."""

    def __init__(self, state: Path, *arguments: str) -> None:
        command = [*LINEWRIGHT, "desk", "--no-browser", "--json", *arguments]
        environment = {**os.environ, "XDG_STATE_HOME": str(state)}
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, self.process.stderr.read().decode() if self.process.stderr else ""
        self.address: str = json.loads(line)["address"]
        self.host = self.address.split("/")[2]
        _, headers, _ = self.ask("GET", self.address.removeprefix(f"http://{self.host}"), cookie=False)
        self.cookie = headers["set-cookie"].partition(";")[0]

    def ask(
        self, method: str, path: str, body: bytes | None = None, *, cookie: bool = True, **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        """One request; status, headers, content."""
        link = http.client.HTTPConnection(self.host, timeout=LIMIT_S)
        try:
            sent = {"Origin": f"http://{self.host}", **({"Cookie": self.cookie} if cookie else {}), **headers}
            link.request(method, path, body, sent)
            answer = link.getresponse()
            return answer.status, {key.lower(): value for key, value in answer.getheaders()}, answer.read()
        finally:
            link.close()

    def page(self, query: str = "") -> Page:
        """A page that only views."""
        socket = connect(
            f"ws://{self.host}/socket{query}",
            origin=f"http://{self.host}",
            additional_headers={"Cookie": self.cookie},
            open_timeout=LIMIT_S,
            close_timeout=2.0,
            max_size=None,
        )
        return Page(socket.__enter__())

    def end(self) -> tuple[int, str]:
        """End it like Ctrl-C; returns exit code and stderr."""
        self.process.terminate()
        try:
            _, said = self.process.communicate(timeout=LIMIT_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            raise
        return self.process.returncode, said.decode()

    def kill(self) -> None:
        """Kill it."""
        self.process.kill()
        self.process.communicate(timeout=LIMIT_S)


class Page:
    """A page without a display."""

    def __init__(self, socket: ClientConnection) -> None:
        self.socket = socket
        self.state: dict[str, Any] = {}
        self.seen: list[dict[str, Any]] = []
        self._answers: dict[int, dict[str, Any]] = {}
        self._number = 0
        self.until(lambda state: "plan" in state)

    def until(self, true: Any, limit_s: float = LIMIT_S) -> None:
        """Receive messages until a condition is true."""
        until_s = time.monotonic() + limit_s
        while not true(self.state):
            left_s = until_s - time.monotonic()
            assert left_s > 0, json.dumps({key: self.state.get(key) for key in ("plan", "machine", "drawing", "notes")})
            try:
                said = json.loads(self.socket.recv(timeout=left_s))
            except TimeoutError:
                continue
            if "set" in said:
                self.state.update(said["set"])
                self.seen.append(said["set"])
            elif "re" in said:
                self._answers[said["re"]] = said

    def send(self, do: str, **fields: Any) -> dict[str, Any]:
        """Send an event; its answer."""
        self._number += 1
        number = self._number
        self.socket.send(json.dumps({"id": number, "do": do, **fields}))
        self.until(lambda _: number in self._answers)
        return self._answers.pop(number)

    def does(self, do: str, **fields: Any) -> dict[str, Any]:
        """Send an event that must succeed."""
        answer = self.send(do, **fields)
        assert answer["ok"], answer
        return answer

    def refused(self, do: str, **fields: Any) -> str:
        """Send an event that must be refused; returns the reason."""
        answer = self.send(do, **fields)
        assert not answer["ok"], answer
        return str(answer["error"]["text"])

    def planned(self) -> dict[str, Any]:
        """Wait for the plan of the sheet."""
        self.until(lambda state: state["plan"]["state"] in ("ready", "refused", "empty"))
        plan: dict[str, Any] = self.state["plan"]
        return plan

    def draws(self) -> None:
        """Confirm everything, and begin to draw."""
        plan = self.planned()
        self.does("draw", n=plan["n"], confirmed=[one["key"] for one in self.state["before"]])

    def close(self) -> None:
        """The window is closed."""
        self.socket.close()
