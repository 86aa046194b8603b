"""Pictures from an HTTP endpoint. A separate thread makes the request, so that a hanging connection cannot exceed the
time-out.

Answers are not trusted: their length is counted while they arrive, their type is found from their bytes, and an address
in them is requested without the maker's headers.
"""

from __future__ import annotations

import base64
import binascii
import contextlib
import http.client
import json
import os
import queue
import ssl
import threading
import time
from collections.abc import Callable, Mapping
from typing import Any, Final
from urllib.parse import quote, urljoin, urlsplit

from linewright.errors import MakerError
from linewright.maker.kinds import described
from linewright.maker.setup import AddressMaker, Maker, filled

CHUNK: Final = 65_536
CONNECT_S: Final = 10.0
"""A reachable host answers much faster; without this limit an unreachable one takes minutes to fail."""

REDIRECTS: Final = 5
"""Redirects followed for a picture's address. The maker's own address is never redirected, because the request carries
the sentence and the key."""

TRY_AGAIN: Final = (429, 502, 503, 504)
"""HTTP statuses after which the request is repeated (RFC 9110, sections 15.6.3 to 15.6.5; RFC 6585, section 4)."""

PAUSE_S: Final = 0.5
"""Pause before the second attempt; doubled for each further one. A Retry-After header replaces it."""

_SCHEMES: Final = ("http", "https")


def fetch(
    maker: Maker, endpoint: AddressMaker, sentence: str, report: Callable[[str, float], object]
) -> tuple[bytes, str]:
    """The picture's bytes, and the content type that the answer states.

    Raises
    ------
    MakerError : the request failed; the message contains no secret.
    """
    work = _Work(maker, endpoint, sentence, os.environ)
    results: queue.SimpleQueue[tuple[bytes, str] | BaseException] = queue.SimpleQueue()

    def ask() -> None:
        try:
            results.put(work.result())
        except BaseException as error:
            results.put(error)

    threading.Thread(target=ask, name="picture maker", daemon=True).start()
    try:
        while True:
            with contextlib.suppress(queue.Empty):
                found = results.get(timeout=0.05)
                break
            taken = time.monotonic() - work.began
            report("waiting for the picture", min(taken / maker.timeout_s, 1.0))
            if taken > maker.timeout_s:
                raise _late(maker, work)
    finally:
        work.give_up.set()
    if isinstance(found, BaseException):
        raise found
    return found


class _Work:
    """One request, in a thread of its own."""

    def __init__(self, maker: Maker, endpoint: AddressMaker, sentence: str, environment: Mapping[str, str]) -> None:
        self.maker = maker
        self.endpoint = endpoint
        self.began = time.monotonic()
        self.received = 0
        self.give_up = threading.Event()
        self._secrets = maker.secrets(environment)
        words = maker.asked(sentence)
        self._url = filled(endpoint.url, environment).replace("{sentence}", quote(words, safe=""))
        self._headers = {name: _line(name, filled(value, environment)) for name, value in endpoint.headers.items()}
        self._body: bytes | None = None
        if endpoint.body is not None:
            self._body = json.dumps(_with_sentence(endpoint.body, words), ensure_ascii=False).encode()
            self._headers.setdefault("Content-Type", "application/json")

    def result(self) -> tuple[bytes, str]:
        """The picture's bytes and stated content type.

        Raises
        ------
        MakerError
        """
        method = "GET" if self._body is None else "POST"
        # Base64 is 4/3 as long as the picture, plus the JSON around it.
        wide = self.endpoint.kind == "base64"
        limit = self.maker.size_bytes * 4 // 3 + CHUNK if wide else self.maker.size_bytes
        if self.endpoint.kind == "url":
            limit = max(CHUNK, 2**20)
        try:
            data, claimed = self._persistently(method, self._url, self._headers, self._body, limit)
        except _Moved as moved:
            raise self._error(
                f"it answered {moved.status} and points to {moved.to[:200]!r}, which is not followed, as your sentence "
                "and key would go there",
                "if you trust that address, put it into the maker's file",
            ) from None
        if self.endpoint.kind == "picture":
            return data, claimed
        text = self._found_in(data)
        if self.endpoint.kind == "base64":
            return self._decoded(text), ""
        return self._followed(text)

    def _persistently(
        self, method: str, url: str, headers: Mapping[str, str], body: bytes | None, limit: int
    ) -> tuple[bytes, str]:
        """The answer's bytes, with as many attempts as the maker's file allows."""
        import urllib3

        pause = PAUSE_S
        for attempt in range(1, self.maker.attempts + 1):
            last = attempt == self.maker.attempts
            try:
                return self._once(method, url, headers, body, limit)
            except _Later as later:
                if last:
                    raise self._error(later.words, "try again later, or look at the maker's own messages") from None
                pause = later.pause_s if later.pause_s is not None else pause
            except (urllib3.exceptions.HTTPError, http.client.HTTPException, OSError, ValueError) as error:
                words = self._in_words(error)
                hopeless = isinstance(error, (urllib3.exceptions.LocationParseError, ssl.SSLError, ValueError))
                if last or hopeless or isinstance(error, urllib3.exceptions.SSLError):
                    raise self._error(words, "check the url in the maker's file, and that the maker runs") from None
            if self.give_up.wait(pause):
                raise self._error("given up", "")
            pause *= 2
        raise AssertionError("unreachable")

    def _once(
        self, method: str, url: str, headers: Mapping[str, str], body: bytes | None, limit: int
    ) -> tuple[bytes, str]:
        """One request and its answer, read to its end or to the size limit."""
        import urllib3

        left = max(self.maker.timeout_s - (time.monotonic() - self.began), 0.05)
        timeout = urllib3.Timeout(connect=min(CONNECT_S, left), read=left)
        sent = {"Accept-Encoding": "identity", "User-Agent": "linewright", **headers}
        with urllib3.PoolManager(num_pools=1, timeout=timeout, ssl_context=ssl.create_default_context()) as pool:
            # urllib3's Retry can neither limit the total time nor report the attempts.
            answer = pool.request(
                method, url, headers=sent, body=body, redirect=False, retries=False, preload_content=False
            )
            try:
                return self._read(answer, limit)
            finally:
                answer.close()

    def _read(self, answer: Any, limit: int) -> tuple[bytes, str]:
        claimed = answer.headers.get("Content-Type", "").partition(";")[0].strip()
        if answer.status in TRY_AGAIN:
            raise _Later(f"it answered {answer.status} {answer.reason or ''}".rstrip(), _pause(answer.headers))
        if 300 <= answer.status < 400:
            raise _Moved(answer.status, answer.headers.get("Location", ""))
        stated = answer.headers.get("Content-Length", "")
        if stated.isdigit() and int(stated) > limit:
            raise self._too_much(f"{int(stated):,} bytes", limit)
        parts: list[bytes] = []
        size = 0
        # read1 returns what has arrived, so a slow stream meets the time-out instead of blocking for a full chunk.
        while chunk := answer.read1(CHUNK):
            parts.append(chunk)
            size += len(chunk)
            self.received += len(chunk)
            if size > limit:
                raise self._too_much("more", limit)
            if self.give_up.is_set():
                raise self._error("given up", "")
        data = b"".join(parts)
        if answer.status >= 400:
            reason = f"it answered {answer.status} {answer.reason or ''}".rstrip()
            raise self._error(f"{reason} with {described(data)}", "check url, headers and body in the maker's file")
        return data, claimed

    def _found_in(self, data: bytes) -> str:
        """The text at the place in the answer that the maker's file names."""
        try:
            now = json.loads(data)
        except (ValueError, RecursionError):
            raise self._error(
                f"its answer is no JSON but {described(data)}", "check `answer` and the url in the maker's file"
            ) from None
        way = []
        for step in self.endpoint.place:
            way.append(step)
            if isinstance(now, list) and step.isdigit() and int(step) < len(now):
                now = now[int(step)]
            elif isinstance(now, dict) and step in now:
                now = now[step]
            else:
                there = f"keys {', '.join(map(str, list(now)[:12]))}" if isinstance(now, dict) else _shape(now)
                raise self._error(
                    f"its answer has no {'.'.join(way)}: there it has {there}", "correct `answer` in the maker's file"
                )
        if not isinstance(now, str):
            raise self._error(
                f"its answer has no text at {'.'.join(way)} but {_shape(now)}", "correct `answer` in the maker's file"
            )
        return now

    def _decoded(self, text: str) -> bytes:
        """Base64, bare or as a ``data:`` address (RFC 2397)."""
        if text.startswith("data:"):
            text = text.partition(",")[2]
        packed = "".join(text.split()).replace("-", "+").replace("_", "/")
        try:
            return base64.b64decode(packed + "=" * (-len(packed) % 4), validate=True)
        except binascii.Error as error:
            raise self._error(
                f"what stands at {'.'.join(self.endpoint.place)} is no base64 ({error})",
                "correct `answer` in the maker's file",
            ) from None

    def _followed(self, address: str) -> tuple[bytes, str]:
        """The picture at an address in an answer; requested without the maker's headers, over http or https only."""
        if address.startswith("data:"):
            return self._decoded(address), ""
        address = urljoin(self._url, address)
        secure = urlsplit(self._url).scheme == "https"
        for _ in range(REDIRECTS + 1):
            parts = urlsplit(address)
            if parts.scheme not in _SCHEMES or not parts.hostname or (secure and parts.scheme != "https"):
                raise self._error(
                    f"its answer leads to {address[:120]!r}, which is not followed",
                    "only http and https are, and from https nothing but https",
                )
            try:
                return self._persistently("GET", address, {}, None, self.maker.size_bytes)
            except _Moved as moved:
                address = urljoin(address, moved.to)
        raise self._error(
            f"its picture's address was redirected more than {REDIRECTS} times", "look at it in a browser"
        )

    def _in_words(self, error: Exception) -> str:
        import urllib3

        host = urlsplit(self._url).netloc.rpartition("@")[2]
        if isinstance(error, urllib3.exceptions.NewConnectionError):
            return f"nobody answers at {host}"
        if isinstance(error, urllib3.exceptions.ConnectTimeoutError):
            return f"{host} cannot be reached within {CONNECT_S:g} s"
        if isinstance(error, urllib3.exceptions.TimeoutError):
            return f"{host} sent nothing for {self.maker.timeout_s:g} s"
        if isinstance(error, urllib3.exceptions.SSLError):
            return f"the connection to {host} is not secure: {error}"
        if isinstance(error, urllib3.exceptions.ProtocolError):
            return f"{host} broke the connection off after {self.received:,} bytes of its answer"
        return f"{host}: {error}"

    def _too_much(self, size: str, limit: int) -> MakerError:
        return self._error(
            f"its answer has {size}, the limit is {limit:,} bytes",
            "ask for a smaller picture, or raise `size_mb` in the maker's file",
        )

    def _error(self, words: str, hint: str) -> MakerError:
        return MakerError(f"the picture maker did not deliver: {redacted(words, self._secrets)}", hint=hint)


class _Later(Exception):
    """The server asks for a retry later."""

    def __init__(self, words: str, pause_s: float | None) -> None:
        super().__init__(words)
        self.words = words
        self.pause_s = pause_s


class _Moved(Exception):
    """The answer is a redirect to another address."""

    def __init__(self, status: int, to: str) -> None:
        super().__init__(to)
        self.status = status
        self.to = to


def redacted(words: str, secrets: tuple[str, ...]) -> str:
    """A message with all secrets removed that an answer may have repeated."""
    for secret in sorted(secrets, key=len, reverse=True):
        words = words.replace(secret, "***")
    return words


def _line(name: str, value: str) -> str:
    """A header's value, checked to be one line of Latin-1 (RFC 9110, section 5.5)."""
    value = value.strip()
    if not value.isprintable() or not value.isascii():
        raise MakerError(
            f"the picture maker's header {name} has characters in it that no header may have",
            hint="see whether the environment variable holds the key alone",
        )
    return value


def _with_sentence(value: Any, words: str) -> Any:
    """The body's template with ``{sentence}`` replaced in all of its texts."""
    if isinstance(value, str):
        return value.replace("{sentence}", words)
    if isinstance(value, dict):
        return {key: _with_sentence(inner, words) for key, inner in value.items()}
    if isinstance(value, list):
        return [_with_sentence(inner, words) for inner in value]
    return value


def _shape(value: object) -> str:
    """The type of a JSON value in words, without its contents."""
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return "an object"
    return {str: "a text", bool: "true or false", type(None): "null"}.get(type(value), "a number")


def _pause(headers: Any) -> float | None:
    """Seconds of a Retry-After header (RFC 9110, section 10.2.3); None if it is missing or a date."""
    said = headers.get("Retry-After", "")
    return float(said) if said.isdigit() else None


def _late(maker: Maker, work: _Work) -> MakerError:
    got = f"; {work.received:,} bytes had come" if work.received else ""
    return MakerError(
        f"the picture maker did not deliver within {maker.timeout_s:g} s{got}",
        hint="give it longer with `timeout_s` in the maker's file, or see whether it hangs",
    )
