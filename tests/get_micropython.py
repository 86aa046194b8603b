#!/usr/bin/env python3
"""Installs the Unix MicroPython locally, for the tests that need the real interpreter.

    python3 tests/get_micropython.py        leaves .tools/micropython, a script that starts it

Debian packages MicroPython from the release ``SUITE`` on; that build has viper.  On a machine of an older
release the package cannot be installed, because it asks for a newer C library, so this program unpacks it
together with the libraries it names into ``.tools/`` and starts it through that C library's own loader.

Nothing of the system is changed and no right of root is needed.  The addresses come from the machine's own
apt configuration with the name of the suite exchanged; apt runs on private directories with the hooks of
the system cleared, and checks the archive's signature with the Debian keys installed here.

Running it again is cheap: it stops at once when the interpreter it left still answers.
Exit status 0: ``.tools/micropython`` answers.  1: not possible here; the reason is on the error stream.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

# The Debian release after the one this project is developed on; its micropython is 1.24 or later.
# The device code asks for 1.22 (see docs/DEPENDENCIES.md).
SUITE = "trixie"
PACKAGE = "micropython"
OLDEST = (1, 22, 0)

ROOT = Path(__file__).resolve().parent.parent
TOOLS = ROOT / ".tools"
LAUNCHER = TOOLS / "micropython"
KEYRING = Path("/usr/share/keyrings/debian-archive-keyring.gpg")

# A feature that the tests need: viper with 32-bit pointers. (The words are not negative: a 64-bit build reads them
# unsigned.)
PROBE = """
import sys, array, micropython
@micropython.viper
def total(words: ptr32, count: int) -> int:
    sum = 0
    for index in range(count):
        sum += words[index]
    return sum
words = array.array('i', (40, 0, 2))
assert total(words, 3) == 42
print('%d.%d.%d' % sys.implementation[1][:3])
"""


class Unavailable(Exception):
    """This machine cannot provide the interpreter; the message states the reason and a remedy."""


def version_of(launcher: Path) -> str:
    """Asks the interpreter for its version; empty where it does not answer or cannot run viper."""
    try:
        answer = subprocess.run(
            [launcher, "-c", PROBE], capture_output=True, text=True, timeout=30, check=False, cwd=ROOT
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return answer.stdout.strip() if answer.returncode == 0 else ""


def own_codename() -> str:
    """Code name of the Debian release that runs here, from os-release(5)."""
    fields = {}
    for line in Path("/etc/os-release").read_text(encoding="utf-8").splitlines():
        name, _, value = line.partition("=")
        fields[name] = value.strip('"')
    if fields.get("ID") != "debian" or not fields.get("VERSION_CODENAME"):
        raise Unavailable("this is not a Debian release with a code name")
    return fields["VERSION_CODENAME"]


def archive_addresses(codename: str) -> list[str]:
    """Base addresses that the machine's apt uses for the main archive of its own release."""
    listing = subprocess.run(
        ["apt-get", "indextargets", "--format", "$(CREATED_BY)|$(RELEASE)|$(COMPONENT)|$(REPO_URI)"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    found = []
    for line in listing.splitlines():
        created_by, release, component, address = line.split("|", 3)
        if (created_by, release, component) == ("Packages", codename, "main") and address not in found:
            found.append(address)
    if not found:
        raise Unavailable(f"apt knows no archive for the main component of {codename}")
    return found


def apt_settings(private: Path, addresses: list[str]) -> Path:
    """Writes the settings of a private apt below `private`; returns the settings file."""
    for folder in ("etc/parts", "state/lists/partial", "cache/archives/partial", "log"):
        (private / folder).mkdir(parents=True)
    (private / "state/status").touch()
    stanzas = [
        f"Types: deb\nURIs: {address}\nSuites: {SUITE}\nComponents: main\nTargets: Packages\nSigned-By: {KEYRING}\n"
        for address in addresses
    ]
    (private / "etc/archive.sources").write_text("\n".join(stanzas), encoding="utf-8")
    settings = private / "apt.conf"
    settings.write_text(
        # Hooks of the system would change the system's directories.
        "#clear APT::Update::Pre-Invoke;\n"
        "#clear APT::Update::Post-Invoke;\n"
        "#clear APT::Update::Post-Invoke-Success;\n"
        "#clear DPkg::Pre-Invoke;\n"
        "#clear DPkg::Post-Invoke;\n"
        "#clear DPkg::Pre-Install-Pkgs;\n"
        f'Dir::Etc::sourcelist "{private}/etc/archive.sources";\n'
        f'Dir::Etc::sourceparts "{private}/etc/parts";\n'
        f'Dir::Etc::preferences "{private}/etc/preferences";\n'
        f'Dir::Etc::preferencesparts "{private}/etc/parts";\n'
        f'Dir::State "{private}/state";\n'
        f'Dir::State::status "{private}/state/status";\n'
        f'Dir::Cache "{private}/cache";\n'
        f'Dir::Log "{private}/log";\n'
        # The directories are private to the caller, so the unprivileged user apt would change to cannot write there.
        f'APT::Sandbox::User "{"root" if os.geteuid() == 0 else ""}";\n'
        'APT::Get::AllowUnauthenticated "false";\n'
        'Acquire::AllowInsecureRepositories "false";\n'
        'Acquire::Languages "none";\n'
        'Acquire::Retries "3";\n',
        encoding="utf-8",
    )
    return settings


def run_apt(settings: Path, *arguments: str) -> None:
    """Run apt with settings of our own; raises Unavailable with the last lines of its output."""
    done = subprocess.run(
        ["apt-get", "-q", "-y", "-c", settings, *arguments], capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        said = "\n".join((done.stdout + done.stderr).strip().splitlines()[-8:])
        raise Unavailable(f"apt-get {arguments[0]} failed:\n{said}")


def download(private: Path) -> list[Path]:
    """Fetches the package and everything it depends on; returns the package files."""
    settings = apt_settings(private, archive_addresses(own_codename()))
    run_apt(settings, "update")
    run_apt(settings, "install", "--download-only", "--no-install-recommends", PACKAGE)
    return sorted((private / "cache/archives").glob("*.deb"))


def loader_name(program: Path) -> str:
    """File name of the dynamic loader that an ELF program asks for (its PT_INTERP string)."""
    image = program.read_bytes()
    start = image.index(b"/ld-linux")
    return image[start + 1 : image.index(b"\0", start)].decode("ascii")


def unpack(packages: list[Path], tree: Path) -> None:
    """Unpacks the packages into `tree` without running any of their scripts."""
    for package in packages:
        subprocess.run(["dpkg-deb", "--extract", package, tree], check=True)


def install() -> None:
    """Downloads, unpacks and writes the launcher; replaces an older tree only when the new one is complete."""
    for program in ("apt-get", "dpkg-deb"):
        if shutil.which(program) is None:
            raise Unavailable(f"{program} is missing; this needs a Debian machine")
    if not KEYRING.exists():
        raise Unavailable(f"{KEYRING} is missing; install debian-archive-keyring")
    TOOLS.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="apt-", dir=TOOLS) as private_name:
        private = Path(private_name)
        fresh = private / "tree"
        fresh.mkdir()
        unpack(download(private), fresh)
        loader = next(iter(sorted(fresh.rglob(loader_name(fresh / "usr/bin/micropython")))), None)
        if loader is None:
            raise Unavailable("the unpacked C library carries no loader")
        libraries = sorted({path.parent.relative_to(fresh) for path in fresh.rglob("*.so.*")})
        tree = TOOLS / "micropython-tree"
        shutil.rmtree(tree, ignore_errors=True)
        fresh.rename(tree)
    search = ":".join(f"$tree/{folder}" for folder in libraries)
    launcher_text = (
        "#!/bin/sh\n"
        "# Written by tests/get_micropython.py: MicroPython through the loader of its own C library.\n"
        'tree=$(dirname "$(readlink -f "$0")")/micropython-tree\n'
        f'exec "$tree/{loader.relative_to(fresh)}" --library-path "{search}" "$tree/usr/bin/micropython" "$@"\n'
    )
    LAUNCHER.write_text(launcher_text, encoding="utf-8")
    LAUNCHER.chmod(0o755)


def main() -> int:
    """Ensures that ``.tools/micropython`` works; see the top of the file."""
    version = version_of(LAUNCHER)
    if not version:
        try:
            install()
        except (Unavailable, OSError, subprocess.CalledProcessError) as problem:
            print(f"get_micropython: no Unix MicroPython here: {problem}", file=sys.stderr)
            return 1
        version = version_of(LAUNCHER)
    if not version:
        print("get_micropython: the unpacked interpreter does not start or cannot run viper code", file=sys.stderr)
        return 1
    if tuple(int(part) for part in version.split(".")) < OLDEST:
        print(f"get_micropython: MicroPython {version} is older than the board code needs", file=sys.stderr)
        return 1
    print(f".tools/micropython is MicroPython {version} with viper")
    return 0


if __name__ == "__main__":
    sys.exit(main())
