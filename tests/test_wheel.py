"""The wheel contains all three packages and works outside the checkout, in its own environment."""

import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


def run(*command: object, cwd: Path) -> str:
    """Runs a program outside the checkout; returns its output; a failure includes it."""
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "VIRTUAL_ENV"))}
    # Output is compared, so without colours and with a known width.
    clean.update(NO_COLOR="1", COLUMNS="100")
    done = subprocess.run(
        [str(part) for part in command], capture_output=True, text=True, check=False, cwd=cwd, env=clean, timeout=300
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, ROOT, cwd=folder)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def environment(wheel, tmp_path_factory):
    """An environment with only the wheel; its dependencies are read from this environment.

    The dependencies come by a path entry instead of a download, which keeps the test quick and off the net. The
    checkout's editable installation is a path entry of its own there, and those are not followed: the wheel stands
    alone.
    """
    folder = tmp_path_factory.mktemp("environment")
    run(sys.executable, "-m", "venv", "--without-pip", folder, cwd=folder)
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    site = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=folder).strip())
    install = (sys.executable, "-m", "pip", "--python", python, "install", "--no-deps", "--no-index", "--quiet")
    run(*install, wheel, cwd=folder)
    (site / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return python


def test_wheel_holds_all_three_sides_and_nothing_else(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names if ".dist-info/" not in name}
    assert tops == {"linewright", "linewire", "lineboard"}
    for wanted in (
        "linewright/data/rig.toml",
        "linewright/data/board/main.py",
        "linewright/data/board/ship.txt",
        "linewright/py.typed",
        "linewire/SPEC.md",
        "lineboard/kernel.py",
    ):
        assert wanted in names
    assert not [name for name in names if "__pycache__" in name or name.endswith((".lw", ".log"))]


def test_imports_come_from_the_wheel(environment, tmp_path):
    code = "import linewright as a, linewire as b, lineboard as c; print(a.__file__, b.__file__, c.__file__, sep='\\n')"
    places = run(environment, "-W", "error", "-c", code, cwd=tmp_path).splitlines()
    site = environment.parent.parent
    assert len(places) == 3
    assert all(Path(place).is_relative_to(site) for place in places), places


def test_board_files_are_found_in_the_wheel(environment, tmp_path):
    code = (
        "from linewright.board import files as board_files\n"
        "print(board_files.digest(), *(file.name for file in board_files.listed()), sep='\\n')"
    )
    from linewright.board import files as board_files

    expected = [str(board_files.digest()), *(file.name for file in board_files.listed())]
    assert run(environment, "-c", code, cwd=tmp_path).splitlines() == expected


def test_command_starts(environment, tmp_path):
    command = environment.parent / "linewright"
    said = run(command, "--help", cwd=tmp_path)
    assert "draw" in said
    assert "plan" in said


def test_default_rig_comes_with_the_wheel(environment, tmp_path):
    code = "from linewright.rig.rig import Rig; print(Rig.default().kinematics.type)"
    assert run(environment, "-c", code, cwd=tmp_path).strip() == "cartesian"
