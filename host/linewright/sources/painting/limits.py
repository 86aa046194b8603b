"""What an SVG may cost at most: a picture from the net must not be able to fill the memory or the evening."""

from __future__ import annotations

from dataclasses import dataclass

from linewright.errors import SourceError


@dataclass(frozen=True)
class FileLimits:
    """Upper bounds for one picture. Each names what it protects and why it is that large.

    Parameters
    ----------
    file_bytes : size of the file, unpacked. The XML tree takes about ten times as much memory.
    elements : elements in the file. A tree of that many elements takes about 0.4 GB.
    depth : nesting of elements, ``use`` expanded; the walk spends up to four Python frames a level, and Python
        allows 1000 in all.
    use_depth : nesting of ``use`` inside what ``use`` shows.
    expanded : elements visited, copies through ``use`` included. Twenty nested pairs of ``use`` already make a million.
    entity_characters : of the text that an XML entity stands for; a namespace takes some forty.
    expanded_characters : of all attributes and texts once entities are expanded; no file of the largest size without
        entities has as many.
    photograph_px : pixels of an embedded photograph.
    segments : lines, curves and arcs before flattening; 270 bytes of memory each while the picture is read.
    vertices : points after flattening; 10 km of pen path at one point per millimetre, days of drawing, 160 MB.
    coordinate_mm : distance from the origin. A kilometre is beyond any sheet, and doubles still resolve 1e-10 mm there.
    """

    file_bytes: int = 64 * 2**20
    elements: int = 500_000
    depth: int = 150
    use_depth: int = 32
    expanded: int = 500_000
    entity_characters: int = 4096
    expanded_characters: int = 2**27
    photograph_px: int = 100_000_000
    segments: int = 3_000_000
    vertices: int = 10_000_000
    coordinate_mm: float = 1e6


def refuse(what: str, value: float | None, limit: float, unit: str, *, where: str, hint: str) -> SourceError:
    """The error for a limit that was passed: what, value, limit, unit, place and a way out.

    ``value`` : none where nothing was counted beyond the limit.
    """
    most = f"{limit:,.10g} {unit}"
    said = f"more than {most}, the limit" if value is None else f"{value:,.10g} {unit}, the limit is {most}"
    return SourceError(f"{what}: {said}", where=where, hint=hint)
