"""`PaintServers`: one ink for a gradient or a pattern, since a pen has one colour."""

from __future__ import annotations

from linewright.sources.svg.cascade import Cascade
from linewright.sources.svg.document import Document, href_of, local_name
from linewright.sources.svg.notes import Notes
from linewright.sources.svg.paint import parse_colour

_BLACK = "#000000"  # ink for what a pattern fills, and for a stop without a colour of its own
_MOST_LINKS = 8  # a gradient may take its colours from another one; files use one or two links


class PaintServers:
    """Answers what ``url(#name)`` as a paint comes to.

    Parameters
    ----------
    document, cascade : where the servers and the colours of their stops are.
    notes : is told of patterns, which are not drawn.
    """

    def __init__(self, document: Document, cascade: Cascade, notes: Notes) -> None:
        self._document = document
        self._cascade = cascade
        self._notes = notes
        self._known: dict[str, str | None] = {}

    def colour(self, reference: str, line: int | None) -> str | None:
        """``#rrggbb`` or ``"none"``: the first colour of a gradient, black for a pattern; None when there is neither.

        ``line`` is that of the element that refers to it, for the notes.
        """
        if reference not in self._known:
            self._known[reference] = self._find(reference, line)
        return self._known[reference]

    def _find(self, reference: str, line: int | None) -> str | None:
        server = self._document.target(reference)
        for _ in range(_MOST_LINKS):
            if server is None:
                return None
            if local_name(server) == "pattern":
                self._notes.add(f"the pattern '{reference[:40]}' is not drawn, only the outline it fills", line)
                return _BLACK
            if local_name(server) not in ("linearGradient", "radialGradient"):
                return None
            for stop in server:
                if local_name(stop) == "stop":
                    return parse_colour(self._cascade.declared(stop).get("stop-color", "black")) or _BLACK
            server = self._document.target(href_of(server))
        return None
