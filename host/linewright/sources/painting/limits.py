"""Limits of a drawing file's cost, so that an untrusted file cannot exhaust memory or time."""

from __future__ import annotations

from dataclasses import dataclass

from linewright.errors import SourceError


@dataclass(frozen=True)
class FileLimits:
    """Upper bounds for one picture, with their reasons.

    Parameters
    ----------
    file_bytes : size of the file, unpacked. The XML tree takes about ten times as much memory.
    elements : elements in the file. A tree of that many elements takes about 0.4 GB.
    depth : nesting of elements, ``use`` expanded; the walk spends up to four Python frames a level, and Python
        allows 1000 in all.
    use_depth : nesting of ``use`` inside what ``use`` shows.
    expanded : elements visited, copies through ``use`` included. Twenty nested pairs of ``use`` already make a million.
    entity_characters : length of an XML entity's text; a namespace has about forty.
    expanded_characters : of all attributes and texts after expanding entities; a file of the largest size without
        entities has fewer.
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
    """The error for an exceeded limit: what, value, limit, unit, place and hint.

    ``value`` : None if counting stopped at the limit.
    """
    most = f"{limit:,.10g} {unit}"
    said = f"more than {most}, the limit" if value is None else f"{value:,.10g} {unit}, the limit is {most}"
    return SourceError(f"{what}: {said}", where=where, hint=hint)
