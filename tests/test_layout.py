"""docs/ARCHITECTURE.md matches the tree, and the layers of the host are respected."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TEXT = (ROOT / "docs" / "ARCHITECTURE.md").read_text(encoding="utf-8")
LAYOUT = TEXT.partition("## Layout")[2].partition("```")[2].partition("```")[0]
# A package that the layout only describes; its `__init__` names its modules.
TOLD_AS_A_WHOLE = "svg"


def drawn() -> set[str]:
    """Paths that the layout names, by its indentation; several names may share a line."""
    found, above = set(), {0: ""}
    for line in LAYOUT.splitlines():
        indent = len(line) - len(line.lstrip())
        names = line.split("  ")
        for word in (word.strip() for word in names):
            if re.fullmatch(r"[\w.]+(/[\w.]+)*/?", word) and ("." in word or word.endswith("/")):
                found.add(above[indent] + word)
                if word.endswith("/"):
                    above[indent + 2] = above[indent] + word
    return found


def modules() -> set[str]:
    found = set()
    for top in ("host/linewright", "shared_protocol/linewire", "device/lineboard"):
        for path in (ROOT / top).rglob("*.py"):
            inside = path.relative_to(ROOT)
            if not path.name.startswith("__") and TOLD_AS_A_WHOLE not in inside.parts:
                found.add(inside.as_posix())
    return found


def test_every_module_is_in_the_picture():
    assert sorted(modules() - drawn()) == []


@pytest.mark.parametrize("name", sorted(drawn()))
def test_the_picture_shows_nothing_else(name):
    assert (ROOT / name).exists()


# From bottom to top. A package imports from itself and the layers below; packages of one layer do not import each
# other.
LAYERS = [
    {"units", "errors", "files", "folders", "wording", "version", "system"},
    {"compiled", "drawing", "state_file"},
    {"machine", "sheet"},
    {"rig"},
    {"program"},
    {"motion", "tidy", "maker"},
    {"sources"},
    {"simulation", "board"},
    {"virtual"},
    {"pictures", "run"},
    {"planning"},
    {"calibration"},
    {"bringup"},
    {"tasks"},
    {"desk"},
    {"cli", "library"},
]
LEVEL = {package: level for level, layer in enumerate(LAYERS) for package in layer}
HOST = ROOT / "host" / "linewright"


@cache
def parsed(path: Path) -> ast.Module:
    """The tree of a file, for reading only."""
    return ast.parse(path.read_text(encoding="utf-8"))


def imports(root: Path = HOST) -> dict[str, set[str]]:
    """Which modules of ours each module imports: dotted, without the package's own name; "" is the package itself.

    Imports for type checkers and imports within functions count like any other.
    """
    paths = {".".join(p.relative_to(root).with_suffix("").parts).removesuffix("__init__").rstrip("."): p
             for p in root.rglob("*.py")}  # fmt: skip
    found: dict[str, set[str]] = {name: set() for name in paths}
    for name, path in paths.items():
        package = name if path.name == "__init__.py" else name.rpartition(".")[0]
        for node in ast.walk(parsed(path)):
            for target in named(node, package):
                # The longest prefix that is a module; the rest is a name in it.
                while target not in paths:
                    target = target.rpartition(".")[0]
                found[name].add(target)
        found[name].discard(name)
    return found


def named(node: ast.AST, package: str) -> set[str]:
    """Our modules that a statement imports, without the package's name."""
    if isinstance(node, ast.Import):
        full = {alias.name for alias in node.names}
    elif isinstance(node, ast.ImportFrom):
        parts = f"linewright.{package}".rstrip(".").split(".")
        above = ".".join(parts[: len(parts) - node.level + 1]) + "." if node.level else ""
        full = {f"{above}{node.module or ''}.{alias.name}".replace("..", ".") for alias in node.names}
    else:
        return set()
    return {name.partition(".")[2] for name in full if name.partition(".")[0] == "linewright"}


def arrows_up(graph: dict[str, set[str]]) -> list[str]:
    """Imports from a layer that is not below. The package's public `__init__` may import anything, and no module
    imports it.
    """
    wrong = []
    for name, targets in graph.items():
        here = name.partition(".")[0]
        for target in targets:
            there = target.partition(".")[0]
            if here and there != here and (not there or LEVEL[there] >= LEVEL[here]):
                wrong.append(f"{name} imports {target or 'linewright'}")
    return sorted(wrong)


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Modules that import each other directly or indirectly."""
    reach = {name: reached(graph, name) for name in graph}
    return sorted({tuple(sorted(m for m in reach[name] if name in reach[m])) for name in graph if name in reach[name]})


def reached(graph: dict[str, set[str]], name: str) -> set[str]:
    seen: set[str] = set()
    ahead = list(graph[name])
    while ahead:
        at = ahead.pop()
        if at not in seen:
            seen.add(at)
            ahead += graph[at]
    return seen


def test_every_package_has_a_layer():
    tops = {p.stem for p in HOST.iterdir() if p.suffix == ".py" and p.stem != "__init__"}
    tops |= {p.name for p in HOST.iterdir() if p.is_dir() and any(p.rglob("*.py"))}
    assert tops <= set(LEVEL)


def test_no_import_points_up_or_sideways():
    assert arrows_up(imports()) == []


def test_no_modules_import_each_other():
    assert circles(imports()) == []


def public_classes(*roots: Path) -> dict[str, list[str]]:
    """Every public class at the top of a module, with the modules that define one of that name."""
    found: dict[str, list[str]] = {}
    for root in roots:
        for path in sorted(root.rglob("*.py")):
            for node in parsed(path).body:
                if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                    found.setdefault(node.name, []).append(path.relative_to(root).as_posix())
    return found


def test_one_name_is_one_class_on_host_and_board():
    found = public_classes(HOST, ROOT / "shared_protocol", ROOT / "device")
    assert {name: paths for name, paths in found.items() if len(paths) > 1} == {}


def test_a_name_used_twice_is_found(tmp_path):
    for name in ("drawing.py", "rig.py"):
        (tmp_path / name).write_text("class Line:\n    class Inner:\n        pass\nclass _Own:\n    pass\n")
    assert public_classes(tmp_path) == {"Line": ["drawing.py", "rig.py"]}


def test_what_is_put_in_by_hand_is_found(tmp_path):
    """An import for type checkers, one inside a function, one by its full name and a relative one."""
    for name, text in {
        "units.py": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from linewright.rig.rig import Rig\n",
        "rig/__init__.py": "",
        "rig/rig.py": "def f():\n    from . import edit\n",
        "rig/edit.py": "import linewright.rig.rig\n",
    }.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text)
    graph = imports(tmp_path)
    assert arrows_up(graph) == ["units imports rig.rig"]
    assert circles(graph) == [("rig.edit", "rig.rig")]


# What the command line may run of the packages that touch a board, a journal or a running rig: plain values, the memory
# of machines, and how bring-up asks. Sessions, links and journals are the tasks' business.
CLI_RUNS = {"board.drift", "board.machines", "board.session_values", "bringup.steps", "bringup.talk"}
BELOW_THE_TASKS = {"board", "bringup", "run", "simulation", "virtual"}


def when_run(path: Path) -> set[str]:
    """Our modules that a module imports when it is loaded or used, without imports for type checkers."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            node.body = []
    package = ".".join(path.relative_to(HOST).parent.parts) if path.is_relative_to(HOST) else "cli"
    return set().union(*(named(node, package) for node in ast.walk(tree)))


def beyond_arguments_and_printing(path: Path) -> list[str]:
    found = {name for name in when_run(path) if name.partition(".")[0] in BELOW_THE_TASKS}
    return sorted(name for name in found if not any(f"{name}.".startswith(f"{one}.") for one in CLI_RUNS))


@pytest.mark.parametrize("path", sorted((HOST / "cli").rglob("*.py")), ids=lambda path: path.stem)
def test_the_command_line_keeps_to_arguments_and_printing(path):
    assert beyond_arguments_and_printing(path) == []


def test_a_command_that_opens_a_session_is_found(tmp_path):
    path = tmp_path / "command.py"
    path.write_text(
        "from typing import TYPE_CHECKING\nfrom linewright.board.drift import DriftCheck\n"
        "if TYPE_CHECKING:\n    from linewright.run.journal import Story\n"
        "def command():\n    from linewright.board.session import Session\n    from linewright.run import journal\n"
    )
    assert beyond_arguments_and_printing(path) == ["board.session.Session", "run.journal"]


NOT_BEFORE_THE_PULSES = {"time", "datetime", "typer", "rich", "starlette"}


@pytest.mark.parametrize("package", sorted(set(LEVEL) & {p.name for p in HOST.iterdir()} & {
    "drawing", "machine", "sheet", "rig", "program", "motion", "tidy", "sources",
}))  # fmt: skip
def test_nothing_on_the_way_to_the_pulses_knows_clocks_or_screens(package):
    for path in (HOST / package).rglob("*.py"):
        tree = parsed(path)
        names = {a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names}
        names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        assert {name.partition(".")[0] for name in names} & NOT_BEFORE_THE_PULSES == set(), path
