"""Counts the elements shown by ``use`` before any of them is drawn."""

from __future__ import annotations

from collections.abc import Callable
from xml.etree.ElementTree import Element

from linewright.sources.svg.document import Document, href_of, local_name
from linewright.sources.svg.scene import DRAWN, for_us

_HOLDERS = frozenset(("g", "a", "svg", "symbol"))


class Copies:
    """Counts elements as the walk visits them, with each element evaluated once.

    The count is a lower bound: hidden elements and the contents of ``switch`` are not counted, and cycles end. So
    nothing is refused that the walk would accept.

    Parameters
    ----------
    document : the document.
    most : counting stops here.
    shown : whether an element is drawn, by style sheets and attributes.
    """

    def __init__(self, document: Document, most: int, shown: Callable[[Element], bool]) -> None:
        self._document = document
        self._most = most
        self._shown = shown
        self._counts: dict[Element, int] = {}

    def least(self, element: Element) -> int:
        """Lower bound of the elements visited for this one; ``most`` for any larger number."""
        ahead = [(element, False)]
        while ahead:
            at, parts_counted = ahead.pop()
            parts = self._parts(at)
            if parts_counted:
                self._counts[at] = min(1 + sum(self._counts[part] for part in parts), self._most)
            elif at not in self._counts:
                self._counts[at] = 0
                ahead.append((at, True))
                ahead.extend((part, False) for part in parts)
        return self._counts.get(element, 0)

    def _parts(self, element: Element) -> list[Element]:
        name = local_name(element)
        if not for_us(element) or not self._shown(element):
            return []
        if name == "use":
            target = self._document.target(href_of(element))
            return [] if target is None or local_name(target) not in DRAWN else [target]
        if name not in _HOLDERS:
            return []
        return [child for child in element if local_name(child) in DRAWN and local_name(child) != "symbol"]
