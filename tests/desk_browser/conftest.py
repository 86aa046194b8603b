"""Fixtures of the page's tests: a browser for each file, and a real server where required.

A browser for each file only, because while Playwright runs, no other code in this process can have an asyncio loop.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from desk_browser.pretended import Pretended, state
from get_chromium import installed

WAIT_MS = 60_000
"""Time limit of waits, ms; on an idle computer they take tenths of a second."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = installed()
    if not path:
        if os.environ.get("LINEWRIGHT_REQUIRE_CHROMIUM"):
            pytest.fail("there is no Chromium, which LINEWRIGHT_REQUIRE_CHROMIUM asks for; see `make chromium`")
        pytest.skip("there is no Chromium here; `make chromium` says why")
    expect.set_options(timeout=WAIT_MS)
    with sync_playwright() as driver:
        # Chromium refuses its sandbox as root; all pages here are our own.
        browser = driver.chromium.launch(executable_path=path, args=["--no-sandbox"], timeout=60_000)
        yield browser
        browser.close()


SIZE = {"width": 1100, "height": 720}


@pytest.fixture(scope="module")
def one_page(browser: Browser) -> Iterator[Page]:
    """A page that the tests of a file share: a new one would cost each of them half a second of processor time."""
    context = browser.new_context(viewport=SIZE, reduced_motion="reduce")
    context.set_default_timeout(WAIT_MS)
    yield context.new_page()
    context.close()


@pytest.fixture
def page(one_page: Page) -> Iterator[Page]:
    wrong: list[str] = []

    def failed(error: Any) -> None:
        wrong.append(str(error))

    def told(said: Any) -> None:
        if "Content Security Policy" in said.text:
            wrong.append(said.text)

    one_page.on("pageerror", failed)
    one_page.on("console", told)
    one_page.set_viewport_size(SIZE)
    one_page.emulate_media(color_scheme="light", reduced_motion="reduce")
    yield one_page
    one_page.goto("about:blank")
    one_page.unroute_all()
    one_page.remove_listener("pageerror", failed)
    one_page.remove_listener("console", told)
    assert wrong == []


@pytest.fixture
def desk(page: Page) -> Any:
    """Opens a pretended desk whose state has these keys."""

    def opened(strokes: dict[str, bytes] | None = None, **keys: Any) -> Pretended:
        pretended = Pretended(page, state(**keys), strokes)
        pretended.open()
        expect(page.locator("button.step")).to_be_visible()
        return pretended

    return opened


@contextlib.contextmanager
def served(home: Path, *arguments: str) -> Iterator[str]:
    """The address of a real desk with a home of its own."""
    log = (home / "log.txt").open("w+")
    settings = os.environ | {f"XDG_{kind}_HOME": str(home / kind.lower()) for kind in ("STATE", "CONFIG", "DATA")}
    program = shutil.which("linewright", path=str(Path(sys.executable).parent))
    assert program, "the environment has no `linewright`"
    server = subprocess.Popen(
        [program, "desk", "--no-browser", "--json", *arguments],
        stdout=subprocess.PIPE,
        stderr=log,
        text=True,
        env=settings,
        cwd=home,
    )
    try:
        assert server.stdout is not None
        line = server.stdout.readline()
        assert line, (home / "log.txt").read_text()
        yield json.loads(line)["address"]
    finally:
        server.terminate()
        try:
            server.wait(20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait(20)
        log.close()
        if server.stdout is not None:
            server.stdout.close()


@pytest.fixture(scope="module")
def address(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A page of a real desk on the virtual rig."""
    with served(tmp_path_factory.mktemp("desk")) as found:
        yield found
