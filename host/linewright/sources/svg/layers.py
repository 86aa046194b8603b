"""`Layers`: groups directly below the root element, and the selected ones."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from linewright.errors import SourceError
from linewright.sources.svg.document import local_name


class Layers:
    """Layers of one file.

    Parameters
    ----------
    names : receives the name of each layer; groups with equal names are one layer.
    wanted : names or numbers, from 1, of the layers to draw; none: all.
    """

    def __init__(self, names: list[str], wanted: tuple[str, ...]) -> None:
        self._names = names
        self._numbers: dict[str, int] = {}
        self._wanted = wanted
        self._found: set[str] = set()

    def enter(self, group: Element) -> tuple[int, bool]:
        """Index of a top-level group's layer, and whether it is drawn."""
        label = next((v for k, v in group.attrib.items() if k.rpartition("}")[2] == "label"), "").strip()
        title = next((c.text or "" for c in group if local_name(c) == "title"), "").strip()
        name = label or title or group.get("id", "").strip() or f"layer {len(self._names) + 1}"
        name = " ".join(name.split())[:80]
        number = self._numbers.get(name)
        if number is None:
            number = self._numbers[name] = len(self._names)
            self._names.append(name)
        asked = {word for word in self._wanted if word in (name, str(number + 1))}
        self._found |= asked
        return number, bool(asked) or not self._wanted

    def check(self, where: str) -> None:
        """Refuse selected layers that are not in the file.

        Raises
        ------
        SourceError
            A layer is missing; the message lists the existing ones.
        """
        missing = [word for word in self._wanted if word not in self._found]
        if missing:
            there = ", ".join(f"{i + 1} {name}" for i, name in enumerate(self._names[:20])) or "none"
            raise SourceError(f"there is no layer {missing[0]!r}", where=where, hint=f"the layers are: {there}")
