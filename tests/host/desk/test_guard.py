"""Access control: hostile requests are refused before they reach the application."""

import asyncio

import pytest

from linewright.desk.guard import AccessGuard, Door

HOST = "127.0.0.1:8123"
DOOR = Door(frozenset({HOST}))
GOOD = {"host": HOST, "cookie": f"{DOOR.cookie}={DOOR.token}"}
OURS = {**GOOD, "origin": f"http://{HOST}"}


def ask(headers, *, method="GET", path="/", query="", kind="http"):
    """One request; returns the response, and whether it reached the application."""
    through, sent = [], []

    async def inner(scope, receive, send):
        through.append(scope["path"])
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    async def receive():
        return {"type": "websocket.connect"}

    async def send(message):
        sent.append(message)

    pairs = headers if isinstance(headers, list) else list(headers.items())
    scope = {
        "type": kind,
        "method": method,
        "path": path,
        "query_string": query.encode(),
        "headers": [(key.encode(), value.encode()) for key, value in pairs],
    }
    asyncio.run(AccessGuard(inner, lambda: DOOR)(scope, receive, send))
    return sent, bool(through)


def test_who_has_the_cookie_comes_in():
    for headers, method in ((GOOD, "GET"), (OURS, "GET"), (OURS, "POST")):
        sent, through = ask(headers, method=method)
        assert through
        assert sent[0]["status"] == 204
        assert b"content-security-policy" in dict(sent[0]["headers"])


def test_the_socket_comes_in_with_cookie_and_origin():
    assert ask(OURS, kind="websocket", path="/socket")[1]


HOSTILE = {
    "no host": {key: value for key, value in OURS.items() if key != "host"},
    "a name that resolves here": {**OURS, "host": "rebound.example:8123", "origin": "http://rebound.example:8123"},
    "localhost by name": {**OURS, "host": "localhost:8123", "origin": "http://localhost:8123"},
    "another port": {**OURS, "host": "127.0.0.1:80"},
    "two hosts": [*OURS.items(), ("host", "evil.example")],
    "another origin": {**OURS, "origin": "http://evil.example"},
    "another port's origin": {**OURS, "origin": "http://127.0.0.1:9999"},
    "https origin": {**OURS, "origin": f"https://{HOST}"},
    "null origin": {**OURS, "origin": "null"},
    "two origins": [*OURS.items(), ("origin", "http://evil.example")],
    "another site's frame": {**OURS, "sec-fetch-site": "cross-site"},
    "another port's page": {**OURS, "sec-fetch-site": "same-site"},
    "no cookie": {key: value for key, value in OURS.items() if key != "cookie"},
    "a wrong cookie": {**OURS, "cookie": f"{DOOR.cookie}={'x' * len(DOOR.token)}"},
    "an empty cookie": {**OURS, "cookie": f"{DOOR.cookie}="},
    "the key as cookie": {**OURS, "cookie": f"{DOOR.cookie}={DOOR.key}"},
    "another desk's cookie": {**OURS, "cookie": f"linewright-desk-9={DOOR.token}"},
    "a damaged cookie": {**OURS, "cookie": '\x01="\\'},
}


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_hostile_requests_are_refused(name, kind):
    sent, through = ask(HOSTILE[name], kind=kind, method="POST", path="/socket" if kind == "websocket" else "/upload")
    assert not through
    if kind == "websocket":
        assert [message["type"] for message in sent] == ["websocket.close"]
    else:
        assert sent[0]["status"] == 403
        assert DOOR.token.encode() not in sent[1]["body"]
        assert DOOR.key.encode() not in sent[1]["body"]


def test_what_changes_things_must_say_where_it_comes_from():
    assert not ask(GOOD, method="POST", path="/upload")[1]
    assert not ask(GOOD, kind="websocket", path="/socket")[1]


def test_the_key_is_exchanged_for_a_cookie_that_no_script_reads_and_no_other_site_sends():
    sent, through = ask({"host": HOST}, query=f"key={DOOR.key}")
    assert not through
    assert sent[0]["status"] == 200
    cookie = dict(sent[0]["headers"])[b"set-cookie"].decode()
    assert cookie.startswith(f"{DOOR.cookie}={DOOR.token};")
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert DOOR.key.encode() not in sent[1]["body"]


@pytest.mark.parametrize(
    "key",
    ["", "x", DOOR.token, DOOR.key[:-1], DOOR.key + "x", DOOR.key.swapcase()],
    ids=["empty", "short", "token", "one less", "one more", "other case"],
)
def test_a_wrong_key_gives_no_cookie(key):
    sent, through = ask({"host": HOST}, query=f"key={key}")
    assert not through
    assert sent[0]["status"] == 403 if key else True
    assert b"set-cookie" not in dict(sent[0]["headers"])


def test_the_key_works_at_the_listeners_own_name_alone():
    sent, _ = ask({"host": "rebound.example:8123"}, query=f"key={DOOR.key}")
    assert sent[0]["status"] == 403


def test_keys_are_long_and_never_the_same():
    """24 bytes are 192 bits; in base64 that is 32 signs."""
    doors = [Door(frozenset({HOST})) for _ in range(100)]
    secrets = {door.key for door in doors} | {door.token for door in doors}
    assert len(secrets) == 200
    assert all(len(secret) == 32 for secret in secrets)


def test_a_door_does_not_tell_its_secrets_when_it_is_printed():
    assert DOOR.key not in repr(DOOR)
    assert DOOR.token not in repr(DOOR)
