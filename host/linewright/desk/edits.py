"""Changes of the sheet requested by the page, and items as page values."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from linewright.desk import catalogue
from linewright.errors import InputError
from linewright.planning.arrangement import Arrangement, Item, Repeat, free_id

if TYPE_CHECKING:
    from collections.abc import Sequence

    from linewright.desk.penbox import PenBox
    from linewright.desk.uploads import Uploads
    from linewright.drawing.crop import Box

SHARE: Final = 0.4
"""Width of an item added to others, as a fraction of the usable sheet."""

LEAST_MM: Final = 12.0
"""Free areas lower or narrower than this are not used for new items."""

LEAST_LINE_MM: Final = 6.0
"""The same for lettering: its capitals are then 4 mm high, eight lines of a common pen."""

LETTER: Final = (0.75, 1.4, 1.6)
"""Approximate letter width, line height and line spacing, in capital heights."""

FILLED: Final = 0.9
"""Fraction of the free area that a new item fills."""

TALLEST: Final = 1 / 14
"""Largest height of capitals beside another item, as a fraction of the shorter side of the usable sheet."""

GAP: Final = 1.0
"""Gap between words and the item beside them, in capital heights."""

ROOMS: Final = 60
"""Free areas cached."""

COPY_OFF_MM: Final = 8.0
"""Offset of a copy from its original."""

PLAIN: Final = ("align", "width_mm", "height_mm", "fit", "text", "pen_by")
"""Item fields that the page sends in arrangement form."""


def label(item: Item, uploads: Uploads) -> str:
    """Short description of an item."""
    upload = uploads.of_source(item.source)
    if upload is not None:
        return upload.name
    if item.pattern is not None:
        return item.pattern.partition(":")[0]
    return item.what


def shown(item: Item, uploads: Uploads, pens: PenBox, laid: dict[str, Any] | None) -> dict[str, Any]:
    """An item as a page value.

    Parameters
    ----------
    laid : its place on the sheet; None: not laid out yet.
    """
    upload = uploads.of_source(item.source)
    kind = "pattern" if item.pattern is not None else "words" if item.text is not None else "drawing"
    method = catalogue.value_of(item.method)
    if item.text is not None and method is not None and method["name"] == "words":
        kind = "sentence"
    if upload is not None:
        kind = upload.kind
    boxes = [] if laid is None else laid["boxes_mm"]
    return {
        "id": item.id,
        "kind": kind,
        "label": label(item, uploads),
        "source": None if upload is None else upload.id,
        "text": item.text,
        "pattern": catalogue.value_of(item.pattern),
        "method": method,
        "at_mm": None if item.at_mm is None else list(item.at_mm),
        "align": item.align,
        "width_mm": item.width_mm,
        "height_mm": item.height_mm,
        "fit": item.fit,
        "turn_deg": item.turn_deg,
        "mirror": item.mirror,
        "repeat": None
        if item.repeat is None
        else {"columns": item.repeat.columns, "rows": item.repeat.rows, "gap_mm": list(item.repeat.gap_mm)},
        "pens": pens.names(item.pens),
        "pen_by": item.pen_by,
        "pen_for": dict(item.pen_for),
        "inks": [] if laid is None else laid["inks"],
        "boxes_mm": boxes or None,
        "box_mm": _around(boxes),
        "page_mm": None if laid is None else laid["page_mm"],
        "strokes": None if laid is None else laid["strokes"],
    }


def _around(boxes: Sequence[Sequence[float]]) -> list[float] | None:
    if not boxes:
        return None
    return [*(min(b[i] for b in boxes) for i in (0, 1)), *(max(b[i] for b in boxes) for i in (2, 3))]


def changed(item: Item, said: dict[str, Any], pens: PenBox) -> Item:
    """An item with fields changed as sent by the page.

    Raises
    ------
    InputError : unknown field or wrong type. The values are checked with the arrangement.
    """
    new: dict[str, Any] = {}
    for key, value in said.items():
        if key in PLAIN:
            new[key] = value
        elif key == "mirror":
            new[key] = value is True
        elif key == "turn_deg":
            new[key] = _figure(value, key)
        elif key == "at_mm":
            new[key] = None if value is None else _pair(value, key)
        elif key == "repeat":
            new[key] = None if value is None else _repeat(value)
        elif key == "method":
            new["method"] = None if value is None else catalogue.words_of(value)
        elif key == "pattern":
            new["pattern"] = catalogue.words_of(value)
        elif key == "pens":
            if value is not None and not (isinstance(value, list) and all(isinstance(name, str) for name in value)):
                raise InputError("pens is a list of names")
            new["pens"] = pens.choice(value)
        elif key == "pen_for":
            new["pen_for"] = _pen_for(value)
        else:
            raise InputError(f"an item has no {key!r}")
    for key in ("width_mm", "height_mm"):
        if new.get(key) is not None:
            new[key] = _figure(new[key], key)
    return pens.still_chosen(replace(item, **new))


def _pen_for(value: object) -> tuple[tuple[str, str], ...]:
    if not isinstance(value, dict) or not all(isinstance(word, str) for pair in value.items() for word in pair):
        raise InputError("pen_for is a table of colours or layers and names of pens")
    return tuple(value.items())


def _figure(value: object, key: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{key} = {value!r} is not a number")
    return float(value)


def _pair(value: object, key: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(f"{key} is two numbers, such as [20, 30]")
    return _figure(value[0], key), _figure(value[1], key)


def _repeat(value: object) -> Repeat:
    if not isinstance(value, dict) or set(value) - {"columns", "rows", "gap_mm"}:
        raise InputError("repeat has columns, rows and gap_mm")
    counts = [value.get(key, 1) for key in ("columns", "rows")]
    if not all(isinstance(count, int) and not isinstance(count, bool) for count in counts):
        raise InputError("columns and rows are whole numbers")
    return Repeat(counts[0], counts[1], _pair(value.get("gap_mm", [5.0, 5.0]), "gap_mm"))


def put(
    arrangement: Arrangement,
    item: Item,
    room_mm: Box,
    at_mm: list[float] | None,
    width_mm: float | None,
    boxes_mm: Sequence[Sequence[float]] = (),
) -> tuple[Arrangement, str]:
    """Add an item to the sheet; also returns its id.

    The first item fills the sheet. Later ones are smaller and go to the largest free area, or to the bottom of the
    sheet if there is none.

    Parameters
    ----------
    boxes_mm : bounding boxes of the other items.
    at_mm : its centre; None: in a free area.
    """
    lone = not arrangement.items
    wide, high = room_mm[2] - room_mm[0], room_mm[3] - room_mm[1]
    caption_mm = None if lone or not _is_lettered(item) else _caption_mm(item, min(wide, high), boxes_mm)
    usual_mm = caption_mm or SHARE * min(wide, high)
    if at_mm is not None:
        item = replace(item, at_mm=_pair(at_mm, "at_mm"), align="centre")
    elif boxes_mm and width_mm is None:
        aspect = _aspect(item)
        free = free_room(room_mm, boxes_mm, aspect, LEAST_LINE_MM if _is_lettered(item) else LEAST_MM)
        if free is None:
            item = replace(item, align="bottom")
        else:
            width_mm = min(FILLED * (free[2] - free[0]), FILLED * aspect * (free[3] - free[1]), usual_mm)
            at = (free[0] + free[2]) / 2, (free[1] + free[3]) / 2
            if caption_mm is not None:
                at = _beside(free, boxes_mm, width_mm, width_mm / aspect, width_mm / _capitals(item))
            item = replace(item, at_mm=at, align="centre")
    if width_mm is None and not lone and item.width_mm is None:
        width_mm = usual_mm
    if width_mm is not None:
        item = replace(item, width_mm=round(_figure(width_mm, "width_mm"), 1))
    named = item if item.id else replace(item, id=free_id(item, {one.id for one in arrangement.items}))
    return arrangement.added(named), named.id


def _is_lettered(item: Item) -> bool:
    """Whether the item is lettering, and not a picture made of a sentence."""
    return item.text is not None and item.method is None


def _capitals(item: Item) -> float:
    """Approximate width of lettering, in capital heights."""
    return LETTER[0] * max(1, *map(len, (item.text or "").split("\n")))


def _aspect(item: Item) -> float:
    """Approximate ratio of width to height of an item."""
    if not _is_lettered(item):
        return 1.0
    _, high, apart = LETTER
    return max(1.0, _capitals(item) / (high + apart * (item.text or "").count("\n")))


def _caption_mm(item: Item, shorter_mm: float, boxes_mm: Sequence[Sequence[float]]) -> float:
    """Width of lettering beside other items: at most that of the widest one, with capitals of at most `TALLEST`."""
    widest_mm = max((box[2] - box[0] for box in boxes_mm), default=shorter_mm)
    return min(TALLEST * shorter_mm * _capitals(item), widest_mm)


def _beside(
    free: Box, boxes_mm: Sequence[Sequence[float]], width_mm: float, height_mm: float, capital_mm: float
) -> tuple[float, float]:
    """Centre of words in a free area: centred below or above the nearest item, or beside its lower edge."""
    x0, y0, x1, y1 = free
    middle = (x0 + x1) / 2, (y0 + y1) / 2
    near = min(
        boxes_mm,
        key=lambda box: (
            max(box[0] - x1, x0 - box[2], 0.0) + max(box[1] - y1, y0 - box[3], 0.0),
            -(box[2] - box[0]) * (box[3] - box[1]),
        ),
    )
    half = width_mm / 2 + GAP * capital_mm, height_mm / 2 + GAP * capital_mm
    wanted = []
    for axis, (low, high) in enumerate(((x0, x1), (y0, y1))):
        if near[axis + 2] <= low:  # the item lies before the area: close to its beginning
            wanted.append(low + half[axis])
        elif near[axis] >= high:
            wanted.append(high - half[axis])
        else:
            wanted.append((near[axis] + near[axis + 2]) / 2 if axis == 0 else near[3] - height_mm / 2)
        size = (width_mm, height_mm)[axis]
        least, most = low + size / 2, high - size / 2
        wanted[axis] = min(max(wanted[axis], least), most) if least <= most else middle[axis]
    return wanted[0], wanted[1]


def free_room(
    room_mm: Box, boxes_mm: Sequence[Sequence[float]], aspect: float = 1.0, least_mm: float = LEAST_MM
) -> Box | None:
    """The empty axis-parallel box in which an item of a given proportion can be largest.

    Parameters
    ----------
    boxes_mm : left, top, right, bottom of each item.
    aspect : width by height of the item.
    least_mm : smallest side of an area that is used.

    Returns
    -------
    None if every free area is too small. Of several as large, the lowest.
    """
    free: list[Box] = [room_mm]
    for left, top, right, foot in boxes_mm:
        parts: list[Box] = []
        for x0, y0, x1, y1 in free:
            if right <= x0 or x1 <= left or foot <= y0 or y1 <= top:
                parts.append((x0, y0, x1, y1))
            else:
                parts += [(x0, y0, left, y1), (right, y0, x1, y1), (x0, y0, x1, top), (x0, foot, x1, y1)]
        parts = [one for one in parts if min(one[2] - one[0], one[3] - one[1]) >= least_mm]
        free = sorted(
            set(parts), key=lambda one: (-round(min(one[2] - one[0], aspect * (one[3] - one[1])), 1), -one[1])
        )
        free = free[:ROOMS]
    return free[0] if free else None


def copied(arrangement: Arrangement, names: Sequence[str], laid: dict[str, Any]) -> tuple[Arrangement, list[str]]:
    """Copies of items, slightly offset; also returns their ids."""
    new: list[str] = []
    for name in names:
        item = arrangement.item(name)
        where = laid.get(name)
        at, align = item.at_mm, item.align
        if at is None and where is not None:
            at, align = tuple(where["boxes_mm"][0][:2]), None
            item = replace(item, width_mm=item.width_mm or where["page_mm"][0])
        if at is not None:
            item = replace(item, at_mm=(at[0] + COPY_OFF_MM, at[1] + COPY_OFF_MM), align=align)
        item = replace(item, id=free_id(replace(item, id=""), {one.id for one in arrangement.items}))
        arrangement = arrangement.added(item)
        new.append(item.id)
    return arrangement, new


def aligned(
    arrangement: Arrangement, names: Sequence[str], laid: dict[str, Any], box_mm: Sequence[float], how: str
) -> Arrangement:
    """Items moved so that an edge or their centre matches that of a box.

    Raises
    ------
    InputError : an item has not been laid out yet.
    """
    axis = 0 if how in ("left", "centre", "right") else 1
    share = {"left": 0.0, "top": 0.0, "centre": 0.5, "middle": 0.5, "right": 1.0, "bottom": 1.0}[how]
    for name in names:
        item = arrangement.item(name)
        if name not in laid:
            raise InputError(f"{name} has no place yet", hint="wait until its lines are there")
        own = _around(laid[name]["boxes_mm"])
        assert own is not None, "what is laid out has a box"
        size = own[axis + 2] - own[axis]
        goal = box_mm[axis] + share * (box_mm[axis + 2] - box_mm[axis] - size)
        corner = [own[0], own[1]]
        corner[axis] = goal
        keeps = item.width_mm is None and item.height_mm is None
        item = replace(item, width_mm=laid[name]["page_mm"][0] if keeps else item.width_mm)
        arrangement = arrangement.changed(replace(item, at_mm=(corner[0], corner[1]), align=None))
    return arrangement


def box_of(names: Sequence[str], laid: dict[str, Any]) -> list[float] | None:
    """Bounding box of the first of some items; None: it has not been laid out yet."""
    return _around(laid[names[0]]["boxes_mm"]) if names and names[0] in laid else None


def ordered(arrangement: Arrangement, name: str, place: int) -> Arrangement:
    """Move an item to another position in the drawing order."""
    items = [item for item in arrangement.items if item.id != name]
    items.insert(max(0, min(place, len(items))), arrangement.item(name))
    return replace(arrangement, items=tuple(items))
