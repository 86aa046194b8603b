"""What keeps the desk from answering late; `bench/desk.py` measures the times."""

import asyncio
import gc
import socket
import threading
import weakref

from linewright.desk import catalogue, workers
from linewright.desk.archive import Archive
from linewright.desk.questions import DeskNotes
from linewright.desk.screen import Screen
from linewright.desk.server import _listener
from linewright.desk.sheet_desk import SheetDesk
from linewright.rig.rig import Rig

LIMIT_S = 60.0


def test_small_messages_do_not_wait_for_each_other():
    async def delays():
        met = asyncio.get_running_loop().create_future()

        def connected(_reader, writer):
            met.set_result(writer.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()

        listener = _listener("127.0.0.1:0")
        async with await asyncio.start_server(connected, sock=listener):
            _, writer = await asyncio.open_connection(*listener.getsockname())
            without_delay = await met
            writer.close()
            return not without_delay

    assert not asyncio.run(delays())


def test_methods_are_loaded_before_a_setting_is_changed(tmp_path, monkeypatch):
    loaded = threading.Event()
    monkeypatch.setattr(catalogue, "load", loaded.set)
    monkeypatch.setattr(workers, "set_aside", lambda: None)
    screen = Screen()
    sheet = SheetDesk(tmp_path, Rig.default(), screen, DeskNotes(screen), Archive(tmp_path))
    try:
        sheet._heard_second(sheet._catalogue_wish, workers.MADE, {"methods": ["waves"]})
        assert loaded.wait(LIMIT_S)
        assert screen.get("methods") == ["waves"]
    finally:
        sheet.close()


def test_loading_passes_over_packages_that_cannot_be_used(monkeypatch):
    seen = []

    class Faulty:
        def kind(self):
            seen.append("faulty")
            raise catalogue.InputError("it cannot be used")

    class Sound:
        def kind(self):
            seen.append("sound")

    monkeypatch.setattr(catalogue.methods, "usable", lambda: {"a": Faulty(), "b": Sound()})
    catalogue.load()
    assert seen == ["faulty", "sound"]


def test_garbage_goes_before_what_lives_is_set_aside():
    class Ring:
        pass

    ring = Ring()
    ring.itself = ring
    gone = weakref.ref(ring)
    del ring
    try:
        workers.set_aside()
        assert gone() is None
        assert gc.get_freeze_count() > 1000  # the interpreter alone has more
    finally:
        gc.unfreeze()
