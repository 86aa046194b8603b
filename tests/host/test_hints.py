"""Commands and options named in messages and documents exist."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import typer

import linewright
from linewright.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = Path(linewright.__file__).parent
TEXTS = [*sorted(PACKAGE.rglob("*.py")), ROOT / "device" / "main.py", ROOT / "README.md", ROOT / "CHANGELOG.md"]
TEXTS += sorted((ROOT / "docs").glob("*.md"))
# The virtual rig's process has a command line of its own, and so has pip.
OF_OTHERS = {"--upgrade", "--machine", "--report", "--leash", "--folder", "--require-hashes"}


def commands() -> Iterator[tuple[str, set[str]]]:
    """Each command as typed, with its options."""

    def walk(command, words: tuple[str, ...]) -> Iterator[tuple[str, set[str]]]:
        options = {o for p in command.params for o in (*p.opts, *p.secondary_opts)} | {"--help"}
        yield " ".join(words), options
        for name, inner in getattr(command, "commands", {}).items():
            yield from walk(inner, (*words, name))

    yield from walk(typer.main.get_command(app), ("linewright",))


COMMANDS = dict(commands())
OPTIONS = set().union(*COMMANDS.values())


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: path.name)
def test_what_a_text_names_can_be_typed(path):
    text = path.read_text(encoding="utf-8")
    for words in re.findall(r"`(linewright(?: [a-z]+)+)", text):
        # The last word may be an argument, such as a height of the pen.
        assert words in COMMANDS or words.rpartition(" ")[0] in set(COMMANDS) - {"linewright"}, words
    for option in re.findall(r"(?<![\w-])--[a-z]+(?:-[a-z]+)*", text):
        assert option in OPTIONS | OF_OTHERS, option
