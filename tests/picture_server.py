"""A picture maker on loopback for tests: each path has one behaviour, good or bad."""

from __future__ import annotations

import base64
import contextlib
import io
import json
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from PIL import Image, ImageDraw

SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    b'<path d="M5 5H55V35H5Z" fill="none" stroke="black"/></svg>'
)


def png(side: int = 64) -> bytes:
    """A white picture with a black ring."""
    image = Image.new("L", (side, side), 255)
    ImageDraw.Draw(image).ellipse((8, 8, side - 9, side - 9), outline=0, width=4)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


class Server:
    """The server, and its received requests.

    Attributes
    ----------
    questions : method, path, headers and body of every request.
    """

    def __init__(self) -> None:
        self.questions: list[tuple[str, str, dict[str, str], bytes]] = []
        self.leaving = threading.Event()
        outer = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self) -> None:
                outer.answer(self, b"")

            def do_POST(self) -> None:
                outer.answer(self, self.rfile.read(int(self.headers.get("Content-Length", "0"))))

            def log_message(self, *_words: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self.server.server_port}"

    def answer(self, ask: BaseHTTPRequestHandler, body: bytes) -> None:
        self.questions.append((ask.command, ask.path, dict(ask.headers), body))
        name = ask.path.partition("?")[0].strip("/").replace("-", "_")
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            getattr(self, f"on_{name}")(ask)
        ask.close_connection = True

    def send(self, ask, data: bytes, kind: str = "image/png", status: int = 200, **headers: str) -> None:
        ask.send_response(status)
        ask.send_header("Content-Type", kind)
        ask.send_header("Content-Length", str(len(data)))
        ask.send_header("Connection", "close")
        for key, value in headers.items():
            ask.send_header(key.replace("_", "-"), value)
        ask.end_headers()
        ask.wfile.write(data)

    def times(self, path: str) -> int:
        return sum(1 for _, asked, _, _ in self.questions if asked.startswith(path))

    # Good ways

    def on_picture(self, ask) -> None:
        self.send(ask, png())

    def on_svg(self, ask) -> None:
        self.send(ask, SVG, "image/svg+xml")

    def on_base64(self, ask) -> None:
        data = json.dumps({"images": [{"data": base64.b64encode(png()).decode()}]}).encode()
        self.send(ask, data, "application/json")

    def on_data_url(self, ask) -> None:
        text = "data:image/png;base64," + base64.b64encode(png()).decode()
        self.send(ask, json.dumps({"images": [{"data": text}]}).encode(), "application/json")

    def on_url(self, ask) -> None:
        self.send(ask, json.dumps({"images": [{"url": f"{self.url}/moved"}]}).encode(), "application/json")

    def on_moved(self, ask) -> None:
        self.send(ask, b"", status=302, Location="/picture")

    def on_second_time(self, ask) -> None:
        if self.times("/second-time") == 1:
            self.send(ask, b"busy", "text/plain", 503, Retry_After="0")
        else:
            self.send(ask, png())

    def on_chunked(self, ask) -> None:
        ask.send_response(200)
        ask.send_header("Transfer-Encoding", "chunked")
        ask.end_headers()
        for part in (png()[:50], png()[50:], b""):
            ask.wfile.write(b"%x\r\n%s\r\n" % (len(part), part))

    def on_claims_jpeg(self, ask) -> None:
        self.send(ask, png(), "image/jpeg")

    # Bad ways

    def on_hang(self, _ask) -> None:
        self.leaving.wait(30)

    def on_drip(self, ask) -> None:
        ask.send_response(200)
        ask.end_headers()
        for byte in png():
            ask.wfile.write(bytes([byte]))
            ask.wfile.flush()
            if self.leaving.wait(0.05):
                return

    def on_slow_head(self, ask) -> None:
        ask.wfile.write(b"HTTP/1.1 200 OK\r\n")
        while not self.leaving.wait(0.05):
            ask.wfile.write(b"X-Wait: a\r\n")
            ask.wfile.flush()

    def on_five_gigabytes(self, ask) -> None:
        ask.send_response(200)
        ask.send_header("Content-Length", str(5 * 2**30))
        ask.end_headers()
        ask.wfile.write(png())
        self.leaving.wait(30)

    def on_endless(self, ask) -> None:
        ask.send_response(200)
        ask.send_header("Connection", "close")
        ask.end_headers()
        block = png() + bytes(65536)
        while not self.leaving.is_set():
            ask.wfile.write(block)

    def on_half_way(self, ask) -> None:
        ask.send_response(200)
        ask.send_header("Content-Length", "100000")
        ask.end_headers()
        ask.wfile.write(png())

    def on_redirect(self, ask) -> None:
        self.send(ask, b"", status=307, Location="http://example.invalid/other")

    def on_round_and_round(self, ask) -> None:
        self.send(ask, b"", status=302, Location="/round-and-round")

    def on_leads_astray(self, ask) -> None:
        self.send(ask, json.dumps({"images": [{"url": "file:///etc/passwd"}]}).encode())

    def on_leads_round(self, ask) -> None:
        self.send(ask, json.dumps({"images": [{"url": "/round-and-round"}]}).encode())

    def on_lies(self, ask) -> None:
        self.send(ask, b"<!doctype html><title>Sorry</title><p>Out of ink.", "image/png")

    def on_binary(self, ask) -> None:
        self.send(ask, bytes(range(256)) * 4, "image/png")

    def on_nothing(self, ask) -> None:
        self.send(ask, b"")

    def on_refuses(self, ask) -> None:
        self.send(ask, f"no such key: {ask.headers.get('Authorization')}".encode(), "text/plain", 401)

    def on_always_busy(self, ask) -> None:
        self.send(ask, b"busy", "text/plain", 429, Retry_After="0")

    def on_busy_for_hours(self, ask) -> None:
        self.send(ask, b"busy", "text/plain", 503, Retry_After="7200")

    def on_other_json(self, ask) -> None:
        self.send(ask, b'{"error": "quota", "images": []}', "application/json")

    def on_bad_base64(self, ask) -> None:
        self.send(ask, b'{"images": [{"data": "***"}]}', "application/json")

    def on_number(self, ask) -> None:
        self.send(ask, b'{"images": [{"data": 7}]}', "application/json")

    def on_deep(self, ask) -> None:
        self.send(ask, b"[" * 100_000, "application/json")

    def on_garbage(self, ask) -> None:
        ask.wfile.write(b"\x00\x01nonsense\r\n\r\n")


@contextlib.contextmanager
def serving() -> Iterator[Server]:
    """A server while the block runs."""
    made = Server()
    thread = threading.Thread(target=made.server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield made
    finally:
        made.leaving.set()
        made.server.shutdown()
        made.server.server_close()
        thread.join(5)
        time.sleep(0)
