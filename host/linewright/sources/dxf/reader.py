"""`painting_of`: the model space of a DXF, with entities in order and layers as layers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from linewright.errors import InputError, SourceError
from linewright.sources.dxf.entities import EntityOutlines
from linewright.sources.painting.bounds import bounds
from linewright.sources.painting.limits import FileLimits, refuse
from linewright.sources.painting.marks import Line, Mark, Paint, Painting
from linewright.sources.painting.matrices import IDENTITY
from linewright.sources.painting.segments import ROW
from linewright.sources.source_file import size_of, source_file

if TYPE_CHECKING:
    from linewright.sources.picture import Wish

INSERT_DEPTH: Final = 24
"""Largest nesting of blocks; drawings nest a few levels."""

_COUNTED: Final = frozenset(("LINE", "ARC", "CIRCLE", "LWPOLYLINE", "INSERT"))
"""Entities that ezdxf returns for every block reference, at any scale."""

ENTITIES_HIGH: Final = 200_000
"""Most entities, copies through blocks included; ezdxf takes about 0.1 ms for each."""

HIDDEN_BY_NAME: Final = ("defpoints",)
"""Layer of dimension points, which is never plotted."""

_UNIT_MM: Final = {
    1: 25.4, 2: 304.8, 3: 1609344.0, 4: 1.0, 5: 10.0, 6: 1000.0, 7: 1e6, 8: 25.4e-6, 9: 0.0254, 10: 914.4,
    11: 1e-7, 12: 1e-6, 13: 1e-3, 14: 100.0, 15: 1e4, 16: 1e5, 17: 1e12, 18: 1.495978707e14, 19: 9.4607304725808e18,
    20: 3.0856775814913673e19, 21: 1.2e6 / 3937, 22: 1e5 / 3937, 23: 3.6e6 / 3937, 24: 6.336e9 / 3937,
}  # fmt: skip
"""mm in one unit of the header variable $INSUNITS: inch, foot, mile, mm, cm, m, km, microinch, mil, yard, angstrom,
nanometre, micrometre, decimetre, decametre, hectometre, gigametre, astronomical unit, light year, parsec, US survey
foot, inch, yard and mile (the format's public reference). A survey foot is 1200 / 3937 m (Federal Register 24, 5445,
1959; from memory)."""

_HEADER_BYTES: Final = 2**20
"""A file's header is within this many bytes of its start; all variables take about 20 kB."""

_INK: Final = "#000000"
"""Colour number 7 is white on dark screens and black on paper."""


def looks_like_one(path: Path, head: bytes) -> bool:
    """Whether a file is a DXF: by its name, or by its first two lines."""
    if path.suffix.lower() == ".dxf":
        return True
    lines = head.replace(b"\r", b"").split(b"\n")
    return len(lines) > 1 and lines[0].strip() == b"0" and lines[1].strip() == b"SECTION"


def painting_of(source: str, wish: Wish, limits: FileLimits | None = None) -> Painting:
    """Everything drawable of a DXF.

    Parameters
    ----------
    source : path of the file.
    wish : layers to draw.
    limits : upper bounds; None: the defaults.

    Raises
    ------
    SourceError
        The file cannot be read, is no DXF, or exceeds a limit.
    InputError
        The extra for documents is not installed.
    """
    limits = limits or FileLimits()
    try:
        import ezdxf.filemanagement as files
        from ezdxf.lldxf.const import DXFError
    except ImportError:
        raise InputError("DXF needs the package ezdxf", hint="pip install 'linewright[documents]'") from None
    size = size_of(source)
    if size > limits.file_bytes:
        hint = "save only the needed part"
        raise refuse("the file is too large", size, limits.file_bytes, "bytes", where=source, hint=hint)
    hint = "download it again, or save it anew as DXF where it opens"
    try:
        document = files.readfile(source)
    except (DXFError, OSError) as error:
        raise SourceError(
            f"it is not a DXF file, or it is damaged or truncated{_short(error)}", where=source, hint=hint
        ) from None
    except Exception as error:  # parsers raise various exceptions on damaged bytes
        raise SourceError(f"it is not a DXF file, or it is damaged{_short(error)}", where=source, hint=hint) from error
    painting = Painting(name=source)
    _ModelWalk(painting, document, wish, limits, _states_units(source)).run()
    return painting


def _states_units(source: str) -> bool:
    """Whether the file states its units; ezdxf assumes metres if not."""
    with source_file(source) as stream:
        return b"$INSUNITS" in stream.read(_HEADER_BYTES)


def _short(error: Exception) -> str:
    """Message of ezdxf in brackets, if there is one."""
    words = " ".join(str(error).split())
    return "" if not words else f" ({words})" if len(words) <= 80 else f" ({words[:77]}...)"


@dataclass
class _ModelWalk:
    """Conversion of one document to a painting."""

    painting: Painting
    document: Any
    wish: Wish
    limits: FileLimits
    states_units: bool
    layers: dict[str, int] = field(default_factory=dict)
    shown: set[str] = field(default_factory=set)
    left_out: dict[str, int] = field(default_factory=dict)
    counted: dict[tuple[str, int], int] = field(default_factory=dict)
    entities: int = 0

    def run(self) -> None:
        code = int(self.document.header.get("$INSUNITS", 0)) if self.states_units else 0
        self.unit_mm = _UNIT_MM.get(code, 1.0)
        if code not in _UNIT_MM:
            what = f"states an unknown unit, {code}" if code else "states no units"
            self.painting.notes.add(f"the file {what}; one unit is taken as 1 mm (--size sets another width)")
        for number, layer in enumerate(self.document.layers, 1):
            name = layer.dxf.name
            hidden = layer.is_off() or layer.is_frozen() or name.lower() in HIDDEN_BY_NAME
            picked = name in self.wish.layers or str(number) in self.wish.layers
            if picked if self.wish.layers else not hidden:
                self.shown.add(name.lower())
            self.layers[name.lower()] = len(self.painting.layers)
            self.painting.layers.append(name)
        self._bounded(self._least(self.document.modelspace(), 0))
        for entity in self.document.modelspace():
            self._entity(entity, 0, None)
        for kind, count in self.left_out.items():
            self.painting.notes.add(f"a {kind} is not drawn", count=count)
        self._page()

    def _page(self) -> None:
        """Set the page, which a DXF does not have, to the bounding box of its curves, y down from its top left
        corner.
        """
        painting, unit = self.painting, self.unit_mm
        kinds = np.frombuffer(bytes(painting.segments.kinds), dtype=np.uint8)
        with np.errstate(over="ignore", invalid="ignore"):  # non-finite numbers are refused when strokes are made
            box = bounds(kinds, np.array(painting.segments.rows).reshape(-1, ROW))
        if box is None:
            return
        x, y, width, height = box
        painting.width_mm, painting.height_mm = width * unit, height * unit
        # Horizontal or vertical lines only still need a page with an area.
        least = max(painting.width_mm, painting.height_mm, 1.0) * 1e-6
        painting.width_mm, painting.height_mm = max(painting.width_mm, least), max(painting.height_mm, least)
        matrix = (unit, 0.0, 0.0, -unit, -x * unit, (y + height) * unit)
        painting.marks[:] = [replace(mark, matrix=matrix) for mark in painting.marks]

    def _least(self, entities: Any, depth: int) -> int:
        """Lower bound of the number of entities on the walk; each block is counted once."""
        from ezdxf.lldxf.const import DXFError

        found = 0
        for entity in entities:
            kind = entity.dxftype()
            if kind not in _COUNTED:
                continue
            found += 1
            if kind != "INSERT" or depth >= INSERT_DEPTH:
                continue
            try:
                name, times = str(entity.dxf.get("name", "")), max(int(entity.mcount), 1)
                hidden = self._is_hidden(entity)
                block = None if hidden else self.document.blocks.get(name)
            except (DXFError, ValueError, TypeError, AttributeError):
                continue  # damaged; handled by the walk
            if block is not None:
                key = name.lower(), depth + 1
                if key not in self.counted:
                    self.counted[key] = self._least(block, depth + 1)
                found += times * (1 + self.counted[key])
        return found

    def _is_hidden(self, entity: Any) -> bool:
        layer = str(entity.dxf.get("layer", "0")).lower()
        # Layers need not be listed; unlisted ones are visible.
        return bool((layer in self.layers and layer not in self.shown) or entity.dxf.get("invisible", 0))

    def _count(self) -> None:
        self.entities += 1
        self._bounded(self.entities)

    def _bounded(self, entities: int) -> None:
        limit = min(ENTITIES_HIGH, self.limits.expanded)
        if entities > limit:
            hint = "its blocks may contain each other; explode or delete them in a drawing program"
            raise refuse("too many entities", None, limit, "entities", where=self.painting.name, hint=hint)

    def _entity(self, entity: Any, depth: int, block_colour: str | None) -> None:
        from ezdxf.lldxf.const import DXFError

        self._count()
        segments = self.painting.segments
        marks = len(self.painting.marks)
        rows, outlines = len(segments), len(segments.starts)
        try:
            drawn = self._drawn(entity, depth, block_colour)
        except (DXFError, ValueError, ArithmeticError, TypeError, AttributeError, LookupError):
            drawn = False  # ezdxf raises various exceptions on damaged entities
        if not drawn:
            if len(self.painting.marks) == marks:
                segments.drop(rows, outlines)
            kind = str(entity.dxftype())
            name = kind if kind.isascii() and kind.isprintable() else "damaged entity"
            self.left_out[name] = self.left_out.get(name, 0) + 1

    def _drawn(self, entity: Any, depth: int, block_colour: str | None) -> bool:
        """Draw an entity or skip it if hidden; False if it cannot be drawn."""
        if self._is_hidden(entity):
            return True
        layer = str(entity.dxf.get("layer", "0")).lower()
        if entity.dxftype() in ("INSERT", "DIMENSION", "LEADER", "MLINE", "ACAD_TABLE"):
            self._block(entity, depth, self._colour(entity, block_colour))
            return True
        segments = self.painting.segments
        paint, dashes = Paint(self._colour(entity, block_colour)), self._dashes(entity)
        painted = EntityOutlines(segments, self.unit_mm, self.limits, self.painting).draw(entity)
        if painted is None:
            return False
        if len(segments.starts) > len(self.painting.owner):
            fill = paint if painted == "fill" else None
            line = None if painted == "fill" else Line(paint, 0.0, "round", "round", dashes=dashes)
            self.painting.add(Mark(IDENTITY, fill, line, even_odd=True, layer=self.layers.get(layer, -1)))
        return True

    def _block(self, entity: Any, depth: int, colour: str) -> None:
        """The contents of a block reference, with its attributes."""
        if depth >= INSERT_DEPTH:
            self.painting.notes.add(f"blocks nested more than {INSERT_DEPTH} deep are left out")
            return
        is_many = entity.dxftype() == "INSERT" and getattr(entity, "mcount", 1) > 1
        for one in entity.multi_insert() if is_many else (entity,):
            self._count()
            for part in one.virtual_entities():
                self._entity(part, depth + 1, colour)
            for attribute in getattr(one, "attribs", ()):
                self._entity(attribute, depth + 1, colour)

    def _colour(self, entity: Any, block_colour: str | None) -> str:
        """Colour on paper: numbers 7 and 0 are black, 256 is the layer's."""
        from ezdxf import colors

        if entity.rgb is not None:
            return _hex(entity.rgb)
        number = int(entity.dxf.get("color", 256))
        if number == 0 and block_colour is not None:
            return block_colour
        if number == 256:
            name = entity.dxf.get("layer", "0")
            if not self.document.layers.has_entry(name):
                return _INK
            layer = self.document.layers.get(name)
            if layer.rgb is not None:
                return _hex(layer.rgb)
            number = abs(int(layer.color))
        return _INK if number in (0, 7) or not 0 < number < 256 else _hex(colors.aci2rgb(number))

    def _dashes(self, entity: Any) -> tuple[float, ...]:
        """Dash, gap, ... of an entity's linetype, in units of the file."""
        name = str(entity.dxf.get("linetype", "BYLAYER"))
        layers = self.document.layers
        if name.upper() == "BYLAYER" and layers.has_entry(entity.dxf.get("layer", "0")):
            name = str(layers.get(entity.dxf.get("layer", "0")).dxf.get("linetype", "CONTINUOUS"))
        if name.upper() in ("CONTINUOUS", "BYLAYER", "BYBLOCK") or not self.document.linetypes.has_entry(name):
            return ()
        pattern = self.document.linetypes.get(name).pattern_tags
        elements = [tag.value for tag in pattern.tags if tag.code == 49]
        scale = float(self.document.header.get("$LTSCALE", 1.0)) * float(entity.dxf.get("ltscale", 1.0))
        dashes = tuple(abs(float(part)) * scale for part in elements)
        if len(dashes) < 2 or len(dashes) % 2 or not 0 < sum(dashes) < math.inf or elements[0] < 0:
            return ()
        return dashes


def _hex(rgb: Any) -> str:
    red, green, blue = rgb[:3]
    colour = f"#{red:02x}{green:02x}{blue:02x}"
    return _INK if colour == "#ffffff" else colour
