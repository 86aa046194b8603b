"""Methods of other packages: one that is installed for real, and handling of failing packages."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from linewright import cli
from linewright.errors import InputError, SourceError
from linewright.sources import Wish, methods, plugins

EXAMPLE = Path(__file__).resolve().parents[1] / "plugin_example"
ROOM = Wish(room_mm=(60.0, 40.0))


@pytest.fixture(scope="session")
def site(tmp_path_factory) -> Path:
    """A folder with the example package, installed by pip from a copy of its sources."""
    folder = tmp_path_factory.mktemp("site")
    source = tmp_path_factory.mktemp("source") / "package"
    shutil.copytree(EXAMPLE, source)
    words = ["install", "--quiet", "--no-deps", "--no-build-isolation", "--no-index", "--target", folder, source]
    subprocess.run([sys.executable, "-m", "pip", *map(str, words)], check=True, timeout=300)
    return folder


@pytest.fixture(autouse=True)
def _fresh():
    """Each test sees only the packages that it put on the path."""
    plugins.installed.cache_clear()
    yield
    plugins.installed.cache_clear()
    for name in [name for name in sys.modules if name.startswith(("quay_ripples", "broken_"))]:
        del sys.modules[name]


@pytest.fixture
def ripples(site, monkeypatch):
    monkeypatch.syspath_prepend(site)


def offer(folder: Path, monkeypatch, code: str, *, name: str = "sunken", package: str = "broken-one") -> None:
    """A package as installed by pip, whose method is the class ``Way`` of this code."""
    module = package.replace("-", "_")
    (folder / f"{module}.py").write_text(f"from dataclasses import dataclass\n{code}", encoding="utf-8")
    about = folder / f"{module}-2.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {package}\nVersion: 2.0\n")
    (about / "entry_points.txt").write_text(f"[{plugins.GROUP}]\n{name} = {module}:Way\n")
    monkeypatch.syspath_prepend(folder)
    plugins.installed.cache_clear()


WAY = """
@dataclass(frozen=True)
class Way:
    about = "wrecks"
    takes = "seed"
    def read(self, source, wish):
        {}
"""


def test_an_installed_package_adds_a_pattern_with_settings_and_help(ripples, capsys):
    assert cli.run(["methods", "--json"]) == 0
    (entry,) = (one for one in json.loads(capsys.readouterr().out)["methods"] if one["name"] == "ripples")
    assert entry["takes"] == "seed"
    assert entry["about"] == "rings around stones in still water"
    assert entry["package"] == "quay-ripples 0.1"
    assert cli.run(["methods", "ripples", "--json"]) == 0
    settings = {one["name"]: one for one in json.loads(capsys.readouterr().out)["settings"]}
    assert settings["spacing_mm"]["allowed"] == "1..20 mm"
    assert settings["stones"]["default"] == "3"


def test_it_is_planned_like_one_of_ours(ripples, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    words = ["plan", "--pattern", "ripples:seed=4,spacing_mm=2", "--no-pictures", "--json", "-o", "ripples.lw"]
    assert cli.run(words) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["strokes"] == len(methods.chosen("ripples:seed=4,spacing_mm=2").read("", Wish()).drawing) > 10
    assert (tmp_path / "ripples.lw").exists()


def test_its_settings_have_their_ranges(ripples):
    with pytest.raises(InputError, match=r"spacing_mm = 0.1 is outside 1..20 mm"):
        methods.chosen("ripples:spacing_mm=0.1")
    with pytest.raises(InputError, match="ripples has no setting 'spacing'") as refused:
        methods.chosen("ripples:spacing=3")
    assert "did you mean spacing_mm" in refused.value.hint


def test_a_misspelt_name_is_answered_with_it(ripples):
    with pytest.raises(InputError, match="there is no method") as refused:
        methods.chosen("riples")
    assert "did you mean ripples" in refused.value.hint


def test_a_package_that_fails_while_it_draws_is_named(tmp_path, monkeypatch):
    offer(tmp_path, monkeypatch, WAY.format("return 1 / 0"))
    with pytest.raises(SourceError) as failed:
        methods.chosen("sunken").read("", ROOM)
    assert failed.value.message == (
        "the method sunken of the package broken-one 2.0 failed: ZeroDivisionError: division by zero"
    )
    assert failed.value.hint.startswith("tell the authors of that package")


@pytest.mark.parametrize(
    ("returned", "why"),
    [
        ("return [[0, 0], [1, 1]]", "it returned list, not a Picture"),
        ("return picture([[[0, 0], [float('nan'), 1]]])", "a point of its strokes is not finite"),
        ("return picture([[[0, 0], [1, 1]]], width=0.0)", "its size is 0.0 x 9.0 mm"),
        ("return picture([[[0, 0], [1, 1]]], pen=[7])", "a stroke uses a pen that it does not list"),
    ],
)
def test_what_is_no_picture_is_not_drawn(returned, why, tmp_path, monkeypatch):
    code = (
        "from linewright.drawing.strokes import Drawing\nfrom linewright.sources import Picture\n"
        "def picture(strokes, pen=None, width=9.0):\n"
        "    return Picture(Drawing.from_strokes(strokes, pen), width, 9.0)\n"
    )
    offer(tmp_path, monkeypatch, code + WAY.format(returned))
    with pytest.raises(SourceError, match=r"of the package broken-one 2\.0 failed") as failed:
        methods.chosen("sunken").read("", ROOM)
    assert failed.value.message.endswith(why)


@pytest.mark.parametrize(
    ("code", "why"),
    [
        ("import nothing_of_this_name", "ModuleNotFoundError: No module named 'nothing_of_this_name'"),
        ("raise SystemError('wet')", "SystemError: wet"),
        ("Way = 3", "broken_one:Way is not a dataclass"),
        ("@dataclass(frozen=True)\nclass Way:\n    pass", "broken_one:Way has no method read(source, wish)"),
        (WAY.format("pass").replace('"seed"', '"sea"'), "takes, one of photograph, text, seed"),
        (WAY.format("pass").replace("def read", "depth: int\n    def read"), "usual settings"),
    ],
)
def test_a_package_that_cannot_be_used_is_named_and_stops_nothing(code, why, tmp_path, monkeypatch, capsys):
    offer(tmp_path, monkeypatch, code)
    assert cli.run(["methods"]) == 0
    said = capsys.readouterr()
    assert "the method sunken of the package broken-one 2.0 cannot be used" in said.err
    assert why in said.err
    assert "wheels" in said.out
    assert "sunken" not in said.out
    with pytest.raises(InputError, match=r"broken-one 2\.0 cannot be used") as refused:
        methods.chosen("sunken")
    assert "pip uninstall broken-one" in refused.value.hint
    assert methods.chosen("wheels:seed=2")


def test_a_name_of_ours_stays_ours(tmp_path, monkeypatch):
    offer(tmp_path, monkeypatch, WAY.format("return 1 / 0"), name="wheels")
    assert len(methods.chosen("wheels").read("", ROOM).drawing)
    (trouble,) = methods.troubles()
    assert trouble.endswith("is not used: Linewright has a method of that name")


def test_two_packages_with_one_name_are_both_named(tmp_path, monkeypatch):
    offer(tmp_path, monkeypatch, WAY.format("pass"))
    offer(tmp_path, monkeypatch, WAY.format("pass"), package="broken-two")
    with pytest.raises(InputError, match=r"broken-one 2.0 and broken-two 2.0 both offer a method sunken"):
        methods.chosen("sunken")


def test_whoever_waits_may_end_it_and_the_package_is_not_blamed(ripples):
    class Enough(Exception):
        pass

    def report(_state, _done):
        raise Enough

    with pytest.raises(Enough):
        methods.chosen("ripples").read("", Wish(room_mm=(60.0, 40.0), report=report))


def test_the_same_seed_gives_the_same_strokes(ripples):
    first, again = (methods.chosen("ripples:seed=9").read("", ROOM).drawing for _ in range(2))
    assert np.array_equal(first.points_mm, again.points_mm)
