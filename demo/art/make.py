"""Write the postcards: ``python demo/art/make.py`` fills ``demo/`` with one SVG per card, the same bytes each time."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

CARDS = ("heron", "lighthouse", "drifter", "helmet")


def main(names: list[str]) -> None:
    folder = Path(__file__).resolve().parent.parent
    for name in names or CARDS:
        (folder / f"{name}.svg").write_text(import_module(name).draw().svg(), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
