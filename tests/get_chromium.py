#!/usr/bin/env python3
"""Finds Debian's Chromium for the tests of the desk's page; as root, installs it.

    python3 tests/get_chromium.py           says where it is

Exit status 0: it is there.  1: not possible here; the reason is on the error stream.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

NAMES = ("chromium", "chromium-browser")
PACKAGE = "chromium"
APT = ["apt-get", "-q", "-y", "-o", "DPkg::Lock::Timeout=120"]
LONGEST_S = 900


def installed() -> str:
    """Path of the program; empty if there is none."""
    return next((path for name in NAMES if (path := shutil.which(name))), "")


def why_not() -> str:
    """Reason why it cannot be installed here; empty if it can."""
    if shutil.which("apt-get") is None:
        return "apt-get is missing; install a Chromium yourself, as `chromium` on the PATH"
    if os.geteuid() != 0:
        return f"only root may install it: apt-get install {PACKAGE}"
    return ""


def install() -> str:
    """Installs the package; returns the end of apt's output if it failed."""
    settings = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
    for arguments in (["update"], ["install", "--no-install-recommends", PACKAGE]):
        done = subprocess.run(
            [*APT, *arguments], capture_output=True, text=True, check=False, env=settings, timeout=LONGEST_S
        )
        if done.returncode != 0:
            return f"apt-get {arguments[0]} failed:\n" + "\n".join((done.stdout + done.stderr).splitlines()[-8:])
    return ""


def main() -> int:
    """Ensures that Chromium is installed; see the top of the file."""
    problem = ""
    if not installed():
        try:
            problem = why_not() or install()
        except subprocess.TimeoutExpired:
            problem = f"apt-get took longer than {LONGEST_S} s"
    path = installed()
    if not path:
        print(f"get_chromium: no Chromium here: {problem}", file=sys.stderr)
        return 1
    print(f"{path} shows the desk's page to the tests")
    return 0


if __name__ == "__main__":
    sys.exit(main())
