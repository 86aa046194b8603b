"""Uploaded files are limited in size and named by content, not by the page."""

import asyncio

import pytest

from linewright.desk import uploads
from linewright.desk.uploads import TooLarge, Unknown, Uploads
from linewright.errors import InputError

PNG = b"\x89PNG\r\n\x1a\n" + bytes(40)
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"/>'


async def pieces(*data, wait_s=0.0):
    for piece in data:
        await asyncio.sleep(wait_s)
        yield piece


def receive(store, name, *data, length=None, wait_s=0.0):
    return asyncio.run(store.receive(name, pieces(*data, wait_s=wait_s), length))


@pytest.fixture
def store(tmp_path):
    return Uploads(tmp_path)


def left(store):
    """Names of the stored files, without those that only hold a name."""
    return sorted(path.name for path in store.folder.iterdir() if path.suffix != ".name")


@pytest.mark.parametrize(
    ("data", "kind", "form", "suffix"),
    [
        (PNG, "photograph", "PNG", ".png"),
        (b"\xff\xd8\xff\xe0" + bytes(20), "photograph", "JPEG", ".jpg"),
        (b"\0\0\0\x18ftypheic\0\0\0\0heic" + bytes(20), "photograph", "HEIC", ".heic"),
        (SVG, "drawing", "SVG", ".svg"),
        (b"<?xml version='1.0'?>" + SVG, "drawing", "SVG", ".svg"),
        (b"%PDF-1.7\n", "drawing", "PDF", ".pdf"),
        (b"0\nSECTION\n2\nHEADER\n", "drawing", "DXF", ".dxf"),
    ],
)
def test_a_file_is_what_it_holds(store, data, kind, form, suffix):
    found = receive(store, "picture.exe", data)
    assert (found.kind, found.format, found.path.suffix) == (kind, form, suffix)
    assert store.get(found.id) == found
    assert store.of_source(found.inside) == found
    assert found.path.read_bytes() == data


def test_the_same_file_is_kept_once(store):
    first, second = receive(store, "a.png", PNG), receive(store, "b.png", PNG[:20], PNG[20:])
    assert first.id == second.id
    assert len(left(store)) == 1


@pytest.mark.parametrize("name", ["../../heron.png", "/etc/passwd", "..\\heron.png", "a/b\0c.png", "\n", "", "x" * 900])
def test_a_name_is_only_shown(store, name):
    found = receive(store, name, PNG)
    assert found.path.parent == store.folder
    assert found.name
    assert not set("/\\\0\n") & set(found.name)
    assert len(found.name) <= 80


@pytest.mark.parametrize("name", ["../sheet.toml", "u-1", "u-*", "u-0123456789abcdeX", "", "u-0123456789abcdef/.."])
def test_nothing_else_is_found_by_an_id(store, name):
    receive(store, "a.png", PNG)
    with pytest.raises(InputError):
        store.get(name)


def test_more_than_the_limit_is_refused_as_soon_as_it_is_known(store, monkeypatch):
    monkeypatch.setattr(uploads, "HIGH_BYTES", 1000)
    with pytest.raises(TooLarge):
        receive(store, "a.png", length=1001)
    taken = []

    async def endless():
        while True:
            taken.append(0)
            yield bytes(300)

    with pytest.raises(TooLarge):
        asyncio.run(store.receive("a.png", endless(), None))
    assert len(taken) == 4
    assert left(store) == []


@pytest.mark.parametrize("data", [b"", b"hello", b"MZ" + bytes(50), bytes(600), b"\x7fELF", b"#!/bin/sh\n"])
def test_what_cannot_be_drawn_is_refused(store, data):
    with pytest.raises(Unknown):
        receive(store, "picture.png.txt", data)
    assert left(store) == []


def test_a_sender_that_stops_is_not_waited_for(store, monkeypatch):
    monkeypatch.setattr(uploads, "PIECE_S", 0.02)
    with pytest.raises(InputError, match="stopped coming"):
        receive(store, "a.png", PNG[:10], PNG[10:], wait_s=5.0)
    assert left(store) == []


def test_a_sender_that_drips_is_not_waited_for(store, monkeypatch):
    monkeypatch.setattr(uploads, "WHOLE_S", 0.05)
    with pytest.raises(InputError, match="stopped coming"):
        receive(store, "a.png", *[b"x"] * 100, wait_s=0.01)
    assert left(store) == []


def test_only_so_many_come_at_once(store, monkeypatch):
    monkeypatch.setattr(uploads, "AT_ONCE", 1)

    async def both():
        first = asyncio.create_task(store.receive("a.png", pieces(PNG, wait_s=0.05), None))
        await asyncio.sleep(0)
        with pytest.raises(InputError, match="on their way"):
            await store.receive("b.png", pieces(PNG), None)
        return await first

    assert asyncio.run(both()).kind == "photograph"


def test_what_was_half_there_when_the_desk_was_killed_goes(tmp_path):
    folder = tmp_path / "uploads"
    folder.mkdir()
    (folder / ".coming-1").write_bytes(bytes(10))
    assert left(Uploads(tmp_path)) == []
