"""How many elements a ``use`` shows, told before any of them is drawn."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from linewright.sources.svg.document import Document, href_of, local_name
from linewright.sources.svg.scene import DRAWN, for_us

_HOLDERS = frozenset(("g", "a", "svg", "symbol"))


class Copies:
    """Counts elements as the walk visits them, each element of the file once however often it is shown.

    The count is a lower bound: what may be hidden and what stands in a ``switch`` is not counted, and what shows itself
    ends there. So nothing is refused by it that the walk would not refuse in the end.

    Parameters
    ----------
    document : what is counted in.
    most : where counting ends.
    """

    def __init__(self, document: Document, most: int) -> None:
        self._document = document
        self._most = most
        # A style sheet may hide anything, so that nothing is known before its rules are applied.
        self._unsure = any("display" in sheet for sheet in document.sheets)
        self._counts: dict[Element, int] = {}

    def least(self, element: Element) -> int:
        """At least so many elements are visited where this one is shown; ``most`` stands for any larger number."""
        ahead = [] if self._unsure else [(element, False)]
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
        if element.get("display") is not None or "display" in element.get("style", "") or not for_us(element):
            return []
        if name == "use":
            target = self._document.target(href_of(element))
            return [] if target is None or local_name(target) not in DRAWN else [target]
        if name not in _HOLDERS:
            return []
        return [child for child in element if local_name(child) in DRAWN and local_name(child) != "symbol"]
