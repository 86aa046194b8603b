#!/usr/bin/env python3
"""Checks the page's scripts by the TypeScript compiler: JSDoc types, and all names.

    .venv/bin/python tests/page_types.py

The compiler is Debian's package `node-typescript`, unpacked under .tools; the node that runs it comes with Playwright.
Nothing of either is part of the product. If the compiler is not available, a message says so and nothing is checked;
LINEWRIGHT_REQUIRE_TYPESCRIPT=1 makes it a failure.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from get_chromium import APT, LONGEST_S

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / ".tools" / "typescript"
COMPILER = FOLDER / "usr" / "share" / "nodejs" / "typescript" / "lib" / "tsc.js"
PROJECT = ROOT / "tests" / "desk_browser" / "tsconfig.json"
PACKAGE = "node-typescript"


def node() -> str:
    """The program; empty where there is none."""
    try:
        from playwright._impl._driver import compute_driver_executable
    except ImportError:
        return shutil.which("node") or ""
    return compute_driver_executable()[0]


def fetched() -> str:
    """Unpacks the compiler if it is not there yet; why not, where that fails."""
    if COMPILER.is_file():
        return ""
    if not (shutil.which("apt-get") and shutil.which("dpkg-deb")):
        return f"apt-get and dpkg-deb are missing; unpack Debian's {PACKAGE} into {FOLDER}"
    FOLDER.mkdir(parents=True, exist_ok=True)
    wanted: list[list[str]] = [["apt-get", "-q", "download", PACKAGE]]
    if os.geteuid() == 0:
        wanted.insert(0, [*APT, "update"])
    for command in wanted:
        done = subprocess.run(command, cwd=FOLDER, capture_output=True, text=True, check=False, timeout=LONGEST_S)
        if done.returncode != 0:
            return " ".join(command) + " failed:\n" + "\n".join(done.stderr.splitlines()[-8:])
    for package in FOLDER.glob(f"{PACKAGE}_*.deb"):
        subprocess.run(["dpkg-deb", "-x", package, FOLDER], check=True, timeout=LONGEST_S)
        package.unlink()
    return "" if COMPILER.is_file() else f"{PACKAGE} has no {COMPILER.relative_to(FOLDER)}"


def main() -> int:
    """Check them; see the top of the file."""
    runner = node()
    problem = fetched() if runner else "there is no node; Playwright for Python brings one"
    if problem:
        print(f"page_types: the page's types are not checked: {problem}", file=sys.stderr)
        return 1 if os.environ.get("LINEWRIGHT_REQUIRE_TYPESCRIPT") else 0
    return subprocess.run([runner, str(COMPILER), "--project", str(PROJECT)], check=False, timeout=LONGEST_S).returncode


if __name__ == "__main__":
    sys.exit(main())
