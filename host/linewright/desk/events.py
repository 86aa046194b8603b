"""The events that a page may send, with their fields; others are rejected."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from typing import Annotated, Any, ClassVar, Final, Literal

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError

from linewright.errors import InputError

Id = Annotated[str, Field(pattern=r"^[\w.-]{1,120}$")]
Words = Annotated[str, Field(max_length=20_000)]
Figure = Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)]
Pair = Annotated[list[Figure], Field(min_length=2, max_length=2)]
Stroke = Annotated[int, Field(ge=1, le=10_000_000)]
Ids = Annotated[list[Id], Field(max_length=1000)]
Keys = Annotated[list[Annotated[str, Field(max_length=40)]], Field(max_length=20)]

_STRICT: Final = ConfigDict(extra="forbid", strict=True)


@dataclass(frozen=True)
class Event:
    """Fields common to all events."""

    __pydantic_config__: ClassVar[ConfigDict] = _STRICT


@dataclass(frozen=True)
class Plain(Event):
    """An event without further fields."""


@dataclass(frozen=True)
class PutEvent(Event):
    """An item to put on the sheet; exactly one of the first five fields."""

    upload: Id | None = None
    words: Words | None = None
    sentence: Words | None = None
    pattern: Id | None = None
    surprise: bool = False
    at_mm: Pair | None = None
    width_mm: Figure | None = None


@dataclass(frozen=True)
class Set(Event):
    """Fields of an item to change; see docs/DESK.md."""

    item: Id
    fields: Annotated[dict[str, Any], Field(max_length=20)]
    gesture: Annotated[str, Field(max_length=40)] = ""


@dataclass(frozen=True)
class Items(Event):
    """An event about several items."""

    items: Ids


@dataclass(frozen=True)
class Align(Event):
    """Align items at edges or centre."""

    items: Ids
    to: Literal["margins", "sheet", "first"]
    how: Literal["left", "centre", "right", "top", "middle", "bottom"]


@dataclass(frozen=True)
class Order(Event):
    """Change an item's position in the drawing order."""

    item: Id
    place: Annotated[int, Field(ge=0, le=1000)]


@dataclass(frozen=True)
class Paper(Event):
    """Change the sheet."""

    sheet: Annotated[str, Field(max_length=60)]
    landscape: bool | None = None
    margin_mm: Figure | None = None


@dataclass(frozen=True)
class Pens(Event):
    """Change the pens in the box."""

    pens: Annotated[list[dict[str, Any]], Field(min_length=1, max_length=24)]


@dataclass(frozen=True)
class ItemEvent(Event):
    """One item, or none."""

    item: Id | None = None


@dataclass(frozen=True)
class Within(Event):
    """A photograph, and the desired drawing time of the whole sheet."""

    item: Id
    time_s: Annotated[Figure, Field(gt=0)]


@dataclass(frozen=True)
class Draw(Event):
    """Draw the plan with this number."""

    n: int
    confirmed: Keys = field(default_factory=list)


@dataclass(frozen=True)
class Named(Event):
    """A past drawing by its id, and the confirmations given."""

    drawing: Id
    confirmed: Keys = field(default_factory=list)


@dataclass(frozen=True)
class Resume(Named):
    """Resume a drawing.

    Parameters
    ----------
    from_stroke : first stroke not on paper, counted from 1; None: the stroke at which it was interrupted.
    """

    from_stroke: Stroke | None = None


@dataclass(frozen=True)
class Pace(Event):
    """A fraction of the planned speed."""

    share: Figure


@dataclass(frozen=True)
class Answer(Event):
    """An answer to a question."""

    question: Id
    value: bool | int | float | Annotated[str, Field(max_length=400)]


@dataclass(frozen=True)
class Connect(Event):
    """The machine to connect, and its port."""

    port: Annotated[str, Field(max_length=200)]
    rig: Id | None = None
    real_time: bool = False


@dataclass(frozen=True)
class Jog(Event):
    """A jog of the pen: exactly one of the two fields, machine mm."""

    by_mm: Pair | None = None
    to_mm: Pair | None = None


@dataclass(frozen=True)
class PenEvent(Event):
    """A pen height."""

    height: Literal["up", "down"] | int


@dataclass(frozen=True)
class PenKeep(Event):
    """Store a tried servo pulse as the raised or lowered position."""

    height: Literal["up", "down"]
    us: Annotated[int, Field(ge=1, le=20_000)]


@dataclass(frozen=True)
class RigFile(Event):
    """An uploaded rig file."""

    upload: Id


@dataclass(frozen=True)
class TrialSheet(Event):
    """Make a trial sheet."""

    name: Id
    axis: Literal["x", "y"] | None = None
    top: Figure | None = None


@dataclass(frozen=True)
class Fit(Event):
    """Measurements of the trial sheet: figures, or a photograph."""

    answers: Annotated[dict[str, Annotated[str, Field(max_length=40)]], Field(max_length=200)] = field(
        default_factory=dict
    )
    photo: Id | None = None
    paper: Annotated[str, Field(max_length=40)] | None = None
    write: bool = False


@dataclass(frozen=True)
class Tune(Event):
    """Allowed wobble of lines, and whether to change the rig file."""

    wobble_mm: Figure = 0.1
    write: bool = False


@dataclass(frozen=True)
class Exercise(Event):
    """How long to exercise the machine."""

    minutes: Annotated[int, Field(ge=1, le=60)]


@dataclass(frozen=True)
class BringUp(Event):
    """The step at which bring-up starts."""

    start: Id | None = None
    over: bool = False


@dataclass(frozen=True)
class Confirmed(Event):
    """Confirmation of what only the user can check."""

    confirmed: Keys = field(default_factory=list)


@dataclass(frozen=True)
class Switch(Event):
    """On or off."""

    on: bool


SHEET_EVENTS: Final[dict[str, type[Event]]] = {
    "put": PutEvent,
    "set": Set,
    "copy": Items,
    "remove": Items,
    "align": Align,
    "order": Order,
    "sheet": Paper,
    "pens": Pens,
    "undo": Plain,
    "redo": Plain,
    "clear": Plain,
    "previews": ItemEvent,
    "within": Within,
    "again": Named,
}
"""Events that change the sheet, or show more of it."""

MACHINE_EVENTS: Final[dict[str, type[Event]]] = {
    "draw": Draw,
    "carry_on": Plain,
    "pen_in": Plain,
    "pace": Pace,
    "abandon": Plain,
    "put_away": Plain,
    "left": Named,
    "resume": Resume,
    "forget": Named,
    "answer": Answer,
    "ports": Plain,
    "connect": Connect,
    "disconnect": Plain,
    "rig_file": RigFile,
    "rig_new": Plain,
    "wiring": Plain,
    "home": Plain,
    "check": Plain,
    "jog": Jog,
    "pen": PenEvent,
    "pen_keep": PenKeep,
    "trial": TrialSheet,
    "trial_draw": Confirmed,
    "trial_close": Plain,
    "fit": Fit,
    "fit_undo": Plain,
    "tune": Tune,
    "exercise": Exercise,
    "stop": Plain,
    "task_close": Plain,
    "bring_up": BringUp,
    "phone": Switch,
}
"""Events that use the machine."""

ANYBODY: Final[dict[str, type[Event]]] = {"take_over": Plain, "hold": Plain, "motors_off": Plain}
"""Events that every window may send, including viewers: anybody may stop the machine."""

TABLE: Final[dict[str, type[Event]]] = {**SHEET_EVENTS, **MACHINE_EVENTS, **ANYBODY}


@cache
def _adapter(name: str) -> TypeAdapter[Event]:
    return TypeAdapter(TABLE[name])


def read(said: object) -> tuple[object, str, Event]:
    """Number, name and fields of a received event.

    Raises
    ------
    InputError : it is not a valid event.
    """
    if not isinstance(said, dict) or not isinstance(said.get("do"), str) or said["do"] not in TABLE:
        raise InputError("there is no such event")
    number = said.get("id")
    if number is not None and (isinstance(number, bool) or not isinstance(number, int | str)):
        raise InputError("an event's id is a number")
    name = said["do"]
    fields = {key: value for key, value in said.items() if key not in ("id", "do")}
    if name == "set":
        fields = {
            "item": fields.pop("item", None),
            "gesture": fields.pop("gesture", None) or "",
            "fields": fields,
        }
    try:
        return number, name, _adapter(name).validate_json(json.dumps(fields))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or name
        raise InputError(f"{name}: {where}: {first['msg']}") from None
