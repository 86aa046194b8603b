"""Lint and type exceptions carry their reason."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
BARE = re.compile(r"# (?:noqa: [A-Z0-9, ]+|type: ignore\[[a-z, -]+\])$", re.MULTILINE)


def test_no_exception_stands_without_a_reason():
    bare = [
        f"{path.relative_to(ROOT)}: {found[0]}"
        for side in ("host", "shared_protocol", "device", "tests", "bench", "demo")
        for path in sorted((ROOT / side).rglob("*.py"))
        for found in BARE.finditer(path.read_text(encoding="utf-8"))
    ]
    assert bare == []


def test_a_bare_one_is_found():
    assert BARE.search("x = y  # noqa: S603\n") is not None
    assert BARE.search("x = y  # noqa: S603  a list, never a shell\n") is None
