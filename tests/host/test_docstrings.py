"""The examples in docstrings give the results shown."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

import linewright

PACKAGE = Path(linewright.__file__).parent
MODULES = sorted(
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
    for path in PACKAGE.rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


def test_there_are_examples():
    assert doctest.testmod(importlib.import_module("linewright.units")).attempted > 0


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_hold(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0
