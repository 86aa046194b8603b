"""docs/ARCHITECTURE.md draws the tree as it is."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TEXT = (ROOT / "docs" / "ARCHITECTURE.md").read_text(encoding="utf-8")
LAYOUT = TEXT.partition("## Layout")[2].partition("```")[2].partition("```")[0]
# Packages that the layout describes by what they do and not by their modules.
TOLD_AS_A_WHOLE = {"cli", "views", "svg"}


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
            if not path.name.startswith("__") and not TOLD_AS_A_WHOLE & set(inside.parts):
                found.add(inside.as_posix())
    return found


def test_every_module_is_in_the_picture():
    assert sorted(modules() - drawn()) == []


@pytest.mark.parametrize("name", sorted(drawn()))
def test_the_picture_shows_nothing_else(name):
    assert (ROOT / name).exists()


# From the picture to the frames; a line further down, what none of it may know.
ON_THE_WAY = [
    *("units", "drawing", "clip", "sheet", "rig", "rig_checks", "toml_places", "files", "sources", "tidy", "motion"),
    *("program", "program_file", "wirepack", "pipeline"),
]
NOT_ITS_BUSINESS = {"views", "cli", "session", "conversation", "transport", "virtual", "journal", "time", "datetime"}


def imported(path: Path) -> set[str]:
    """First name of every module that a file imports, ours without the package."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module] if node.module != "linewright" else [f"linewright.{a.name}" for a in node.names]
        found |= {name.removeprefix("linewright.").split(".")[0] for name in names}
    return found


@pytest.mark.parametrize("name", ON_THE_WAY)
def test_nothing_on_the_way_to_the_pulses_knows_screens_links_or_clocks(name):
    place = ROOT / "host" / "linewright" / name
    files = list(place.rglob("*.py")) or [place.with_suffix(".py")]
    for path in files:
        assert imported(path) & NOT_ITS_BUSINESS == set(), path.name
