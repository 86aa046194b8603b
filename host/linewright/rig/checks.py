"""Checks of a rig file.

There are two kinds: problems of a single key (kind, range, name), found by pydantic and reported in our words; and keys
that contradict each other, with one small check each. The model is in `rig`; values that are allowed but doubtful are
in `doubts`.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

from pydantic import BaseModel, TypeAdapter, ValidationError

from linewire.records import SERVO_HIGH_US, SERVO_LOW_US
from linewright import units
from linewright.errors import RigIssue, SheetError
from linewright.rig.boards import BOARDS, CHIP_RP2040
from linewright.rig.electrics import Supply
from linewright.rig.sections import (
    Axes,
    Corrections,
    Driver,
    Homing,
    Kinematics,
    Motors,
    Park,
    PenLift,
    Pins,
    SheetPlace,
)
from linewright.rig.smoothness import Smoothing
from linewright.rig.toml_lines import Places, line_of
from linewright.sheet.sizes import Sheet

SERVO_SAFE_US: Final = (1000, 2000)
"""Pulses that every hobby servo can follow without reaching a stop (common practice)."""

STEEPEST: Final = 0.05
"""Largest slope of a straightness table, mm per mm: no carriage runs on a rail bent by 5 mm in 100 mm."""

SERVO_FRAME_MS: Final = 20
"""Period of a hobby servo's pulses, 50 per second (common practice): it may start to move 20 ms after a change."""

STEPS_HIGH: Final = 100_000_000
"""Most steps along an axis: far inside the 32 bits of the protocol's positions, which must hold x + y."""


def valid_sections(rig: type[BaseModel], raw: Mapping[str, Any]) -> dict[str, Any]:
    """The sections that are valid by themselves, with defaults, so that the others can still be checked."""
    sections: dict[str, Any] = {}
    for name, field in rig.model_fields.items():
        adapter: TypeAdapter[Any] = TypeAdapter(field.annotation or object)
        try:
            if name in raw:
                sections[name] = adapter.validate_python(raw[name])
            elif not field.is_required():
                sections[name] = field.default
        except ValidationError:
            continue
    return sections


def _brief(value: object) -> object:
    """The value, shortened if it is too long for the message."""
    try:
        text = repr(value)
    except ValueError:  # an int of more digits than Python prints
        return "a number of thousands of digits"
    return value if len(text) <= 60 else text[:57] + "..."


def _model_at(rig: type[BaseModel], path: tuple[str, ...]) -> type[BaseModel] | None:
    """The model that holds the key at ``path``."""
    model = rig
    for part in path[:-1]:
        field = model.model_fields.get(part)
        if field is None or not (isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel)):
            return None
        model = field.annotation
    return model


def _allowed(rig: type[BaseModel], path: tuple[str, ...]) -> tuple[str, str]:
    """Allowed values of a key and the reason, from the model."""
    model = _model_at(rig, path)
    field = model.model_fields.get(path[-1]) if model else None
    if model is None or field is None:
        return "", ""
    schema = model.model_json_schema()["properties"][path[-1]]
    described = field.description or ""
    if "prefixItems" in schema:
        item = schema["prefixItems"][0]
        return f"allowed is a pair of numbers [x, y], each {item['minimum']:g}..{item['maximum']:g} mm", described
    if schema.get("type") == "array":
        return "allowed is a list of numbers, or of lists of numbers", described
    if "enum" in schema:
        return "allowed is " + " or ".join(f'"{value}"' for value in schema["enum"]), described
    schema = next((option for option in schema.get("anyOf", []) if "minimum" in option), schema) | {
        "unit": schema.get("unit", "")
    }
    if "minimum" in schema:
        whole = "a whole number " if schema["type"] == "integer" else ""
        return f"allowed is {whole}{schema['minimum']:g}..{schema['maximum']:g} {schema['unit']}", described
    names = {"boolean": "true or false", "string": "text of 1..80 characters"}
    return f"allowed is {names.get(schema.get('type', ''), 'a table of keys')}", described


@dataclass(frozen=True)
class Bounds:
    """Allowed values of one key, from the model.

    Parameters
    ----------
    words : description in words.
    low, high : limits of a number; 0 and 0 for anything else.
    is_number : the value is a number.
    whole : the number must be whole.
    choices : allowed words; empty: any text.
    optional : the key may be omitted.
    """

    words: str
    low: float = 0.0
    high: float = 0.0
    is_number: bool = False
    whole: bool = False
    choices: tuple[str, ...] = ()
    optional: bool = False


def bounds_of(rig: type[BaseModel], key: str) -> Bounds:
    """Bounds of a dotted key.

    Examples
    --------
    >>> from linewright.rig.rig import Rig
    >>> bounds_of(Rig, "motor.a.microsteps").words
    'allowed is a whole number 1..256 per full step'
    """
    path = tuple(key.split("."))
    model = _model_at(rig, path)
    if model is None:
        raise KeyError(key)
    words, _ = _allowed(rig, path)
    schema = model.model_json_schema()["properties"][path[-1]]
    options = schema.get("anyOf", [schema])
    optional = any(option.get("type") == "null" for option in options)
    number = next((option for option in options if "minimum" in option), None)
    if number is None:
        return Bounds(words, choices=tuple(schema.get("enum", ())), optional=optional)
    return Bounds(
        words,
        low=number["minimum"],
        high=number["maximum"],
        is_number=True,
        whole=number["type"] == "integer",
        optional=optional,
    )


def field_issues(rig: type[BaseModel], error: ValidationError, places: Places) -> Iterator[RigIssue]:
    """All problems of single keys that pydantic found, once each, in our words."""
    seen: set[tuple[str, ...]] = set()
    for found in error.errors(include_url=False):
        # Indices of pairs and branches of unions are not keys of the file.
        path = tuple(part for part in found["loc"] if isinstance(part, str) and part not in ("int", "float"))
        if path in seen or found["type"] == "rig_as_a_whole":
            continue
        seen.add(path)
        key, line = ".".join(path), line_of(places, path)
        if found["type"] == "missing" and isinstance(found["loc"][-1], str):  # otherwise half of a pair is missing
            allowed, why = _allowed(rig, path)
            yield RigIssue(key, None, f"is missing; {allowed}; {_how_to_add(rig, path)}", line=line, why=why)
        elif found["type"] == "extra_forbidden":
            yield RigIssue(key, _brief(found["input"]), f"no such key{_nearest(rig, path)}", line=line)
        else:
            allowed, why = _allowed(rig, path)
            yield RigIssue(key, _brief(found["input"]), allowed or found["msg"], line=line, why=why)


def _how_to_add(rig: type[BaseModel], path: tuple[str, ...]) -> str:
    """Where to write a missing key or table."""
    what = "it at the top of the file"
    if _model_at(rig, (*path, "")) is not None:
        what = f"it as [{'.'.join(path)}]"
    elif len(path) > 1:
        what = f"it into [{'.'.join(path[:-1])}]"
    return f"write {what}, as `linewright rig default` shows"


def _all_keys(model: type[BaseModel], prefix: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, field in model.model_fields.items():
        yield (*prefix, name)
        if isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel):
            yield from _all_keys(field.annotation, (*prefix, name))


def _nearest(rig: type[BaseModel], path: tuple[str, ...]) -> str:
    """Suggestion for an unknown key: a similar one in the same table, or the same name in another table."""
    keys = list(_all_keys(rig))
    beside = {key[-1]: key for key in keys if key[:-1] == path[:-1]}
    if match := difflib.get_close_matches(path[-1], beside, n=1):
        return f"; did you mean {'.'.join(beside[match[0]])}?"
    if elsewhere := [key for key in keys if key[-1] == path[-1]]:
        return f"; it belongs in the table [{'.'.join(elsewhere[0][:-1])}]" if len(elsewhere[0]) > 1 else ""
    anywhere = {key[-1]: key for key in keys}
    if match := difflib.get_close_matches(path[-1], anywhere, n=1):
        return f"; did you mean {'.'.join(anywhere[match[0]])}?"
    return f"; known here are {', '.join(beside)}" if beside else ""


_Found = Iterator[tuple[str, object, str, str]]  # key, value, what is allowed, why


def _equal_steps(kinematics: Kinematics, motor: Motors) -> _Found:
    a, b = motor.a.steps_per_mm, motor.b.steps_per_mm
    if kinematics.type == "crossed-belt" and not math.isclose(a, b, rel_tol=1e-12):
        yield (
            "motor.b",
            f"{b:g} steps/mm",
            f"must equal motor.a's {a:g} steps/mm on a crossed-belt rig",
            "both motors pull the same belt; with different steps, straight lines are drawn bent",
        )


def _steps_per_mm(motor: Motors) -> _Found:
    # Below 1 step/mm lines are visibly stepped; above 5000 even 26 mm/s exceeds the protocol's step rate.
    for name, one in (("a", motor.a), ("b", motor.b)):
        if not 1 <= one.steps_per_mm <= 5000:
            yield (
                f"motor.{name}",
                f"{one.steps_per_mm:g} steps/mm",
                "steps_per_turn x microsteps / (belt_pitch_mm x pulley_teeth) must be 1..5000 steps/mm",
                "typical machines have 80 to 200",
            )


def _pulse_times(motor: Motors, driver: Driver) -> _Found:
    # A driver needs the step line low for as long as it was high.
    shortest_us = 2 * driver.step_width_us + driver.direction_setup_us
    for name, one in (("a", motor.a), ("b", motor.b)):
        fastest = math.floor(units.US_PER_S / shortest_us)
        if one.step_rate_hz > fastest:
            yield (
                f"motor.{name}.step_rate_hz",
                one.step_rate_hz,
                f"must be at most {fastest} steps/s",
                f"the high, low and direction set-up times add up to {shortest_us:g} us",
            )


def _pen_moves(pen: PenLift) -> _Found:
    if pen.up_us == pen.down_us:
        yield ("pen.down_us", pen.down_us, "must differ from pen.up_us", "otherwise the pen never leaves the paper")
    elif pen.clear_us != pen.up_us:
        if not 0 <= (pen.clear_us - pen.up_us) / (pen.down_us - pen.up_us) < 1:
            between = f"must lie between pen.up_us = {pen.up_us} and pen.down_us = {pen.down_us}"
            yield ("pen.near_us", pen.near_us, between, "at this height the pen is just clear of the paper")
        if not SERVO_FRAME_MS <= pen.near_ms <= min(pen.lift_ms, pen.lower_ms):
            most = f"must be {SERVO_FRAME_MS} ms at least, and no more than pen.lift_ms and pen.lower_ms"
            yield (
                "pen.near_ms",
                pen.near_ms,
                most,
                "a servo reads its pulse every 20 ms; a full lift takes longer than this part of it",
            )


def _homing_speeds(axis: Axes, motor: Motors, homing: Homing) -> _Found:
    if homing.slow_mm_s > homing.fast_mm_s:
        yield ("homing.slow_mm_s", homing.slow_mm_s, f"must be at most fast_mm_s = {homing.fast_mm_s:g}", "")
    slowest_axis = min(axis.x.speed_mm_s, axis.y.speed_mm_s)
    # On a crossed belt one axis turns both motors at the axis' own belt speed, so one rule covers both kinds.
    by_rate = min(one.step_rate_hz / one.steps_per_mm for one in (motor.a, motor.b))
    if homing.fast_mm_s > min(slowest_axis, by_rate):
        why = "the slower axis's speed" if slowest_axis <= by_rate else "the motors' step_rate_hz"
        yield ("homing.fast_mm_s", homing.fast_mm_s, f"must be at most {min(slowest_axis, by_rate):g} mm/s", why)


def _homing_room(axis: Axes, homing: Homing) -> _Found:
    half_mm = min(axis.x.travel_mm, axis.y.travel_mm) / 2
    if homing.backoff_mm > half_mm:
        yield ("homing.backoff_mm", homing.backoff_mm, f"must be at most half the shorter travel, {half_mm:g} mm", "")


def _park_inside(axis: Axes, park: Park) -> _Found:
    for name, at, one in zip("xy", park.position_mm, (axis.x, axis.y), strict=True):
        if at > one.travel_mm:
            yield (
                "park.position_mm",
                list(park.position_mm),
                f"{name} must be 0..{one.travel_mm:g} mm",
                f"axis.{name}.travel_mm ends there",
            )


def _steps_fit(axis: Axes, motor: Motors) -> _Found:
    spm = max(motor.a.steps_per_mm, motor.b.steps_per_mm)
    for name, one in (("x", axis.x), ("y", axis.y)):
        if one.travel_mm * spm > STEPS_HIGH / 2:
            most_mm = STEPS_HIGH / 2 / spm
            yield (f"axis.{name}.travel_mm", one.travel_mm, f"must be at most {most_mm:g} mm", f"at {spm:g} steps/mm")


def _straightness(corrections: Corrections) -> _Found:
    for name in ("straightness_x_mm", "straightness_y_mm"):
        table = getattr(corrections, name)
        key, given = f"corrections.{name}", _brief([list(pair) for pair in table])
        if not all(math.isfinite(number) and abs(number) <= 5000 for pair in table for number in pair):
            yield (key, given, "each number must be -5000..5000 mm", "")
        elif any(after[0] <= before[0] for before, after in pairwise(table)):
            yield (key, given, "the places must increase from pair to pair", "")
        elif any(abs(b[1] - a[1]) > STEEPEST * (b[0] - a[0]) for a, b in pairwise(table)):
            yield (key, given, f"must not be steeper than {STEEPEST:g} mm in 1 mm", "no real rail is bent as much")


def _pen_heights(pen: PenLift, corrections: Corrections) -> _Found:
    known = corrections.pen_height
    key, rows = "corrections.pen_height.change_us", known.change_us
    for name, places in (("x_mm", known.x_mm), ("y_mm", known.y_mm)):
        if not all(abs(place) <= 5000 for place in places) or any(b <= a for a, b in pairwise(places)):
            yield (f"corrections.pen_height.{name}", _brief(list(places)), "must increase, within -5000..5000 mm", "")
    if len(rows) != len(known.y_mm) or any(len(row) != len(known.x_mm) for row in rows):
        shape = f"must be {len(known.y_mm)} rows of {len(known.x_mm)} changes"
        yield (key, _brief([list(row) for row in rows]), shape, "one row for each of y_mm, one change for each of x_mm")
        return
    if bool(known.x_mm) != bool(known.y_mm):
        yield (key, _brief([list(row) for row in rows]), "needs places in both x_mm and y_mm, or in neither", "")
    low, high = SERVO_LOW_US - pen.down_us, SERVO_HIGH_US - pen.down_us
    if not all(low <= change <= high for row in rows for change in row):
        why = f"pen.down_us = {pen.down_us} and the change must stay within what hobby servos take"
        yield (key, _brief([list(row) for row in rows]), f"each change must be {low}..{high} us", why)


def _sheet_known(sheet: SheetPlace) -> _Found:
    try:
        Sheet.named(sheet.size, margin_mm=sheet.margin_mm)
    except SheetError as error:
        key = "sheet.margin_mm" if "margin" in error.message else "sheet.size"
        value = sheet.margin_mm if key == "sheet.margin_mm" else sheet.size
        yield (key, value, error.message, error.hint)


def _switches(axis: Axes, pins: Pins, board: str) -> _Found:
    if board == "virtual":
        return
    for name, one, pin in (("x", axis.x, pins.endstop_x), ("y", axis.y, pins.endstop_y)):
        if one.endstop != "none" and pin is None:
            missing = (
                f'is missing, but axis.{name}.endstop = "{one.endstop}"; write its GPIO there, or endstop = "none"'
            )
            yield (f"pins.endstop_{name}", None, missing, "")


def _power_sensed(supply: Supply, pins: Pins) -> _Found:
    if supply.power_sense != "none" and pins.motor_power is None:
        missing = f'is missing, but supply.power_sense = "{supply.power_sense}"; write its GPIO there, or "none" here'
        yield ("pins.motor_power", None, missing, "")


def _pins_apart(pins: Pins, board: str) -> _Found:
    taken: dict[int, str] = {}
    for name, pin in pins:
        if pin is None:
            continue
        if pin in taken:
            yield (f"pins.{name}", pin, f"GPIO {pin} is already pins.{taken[pin]}", "each line needs its own GPIO")
        taken.setdefault(pin, name)
        if BOARDS[board].chip == CHIP_RP2040 and pin > 29:
            yield (f"pins.{name}", pin, "allowed is GPIO 0..29", "the RP2040 has no others (data sheet, 1.4)")


def _shaper_knows(smoothing: Smoothing) -> _Found:
    if smoothing.shaper != "none" and not smoothing.x_hz and not smoothing.y_hz:
        yield (
            "smoothing.shaper",
            smoothing.shaper,
            "needs smoothing.x_hz or smoothing.y_hz",
            "this shaper cancels a ringing frequency",
        )
    slow = (("x_hz", 1.0, "Hz"), ("y_hz", 1.0, "Hz"), ("jerk_mm_s3", 100.0, "mm/s^3"))
    for key, least, unit in slow:
        value = getattr(smoothing, key)
        if 0 < value < least:
            yield (
                f"smoothing.{key}",
                value,
                f"must be 0 or at least {least:g} {unit}",
                "with less, each move would take seconds",
            )


_CHECKS: Final[tuple[tuple[tuple[str, ...], Callable[..., _Found]], ...]] = (
    (("smoothing",), _shaper_knows),
    (("kinematics", "motor"), _equal_steps),
    (("motor",), _steps_per_mm),
    (("motor", "driver"), _pulse_times),
    (("pen",), _pen_moves),
    (("axis", "motor", "homing"), _homing_speeds),
    (("axis", "homing"), _homing_room),
    (("axis", "motor"), _steps_fit),
    (("axis", "park"), _park_inside),
    (("corrections",), _straightness),
    (("pen", "corrections"), _pen_heights),
    (("sheet",), _sheet_known),
    (("axis", "pins", "board"), _switches),
    (("pins", "board"), _pins_apart),
    (("supply", "pins"), _power_sensed),
)


def cross_issues(sections: Mapping[str, Any], places: Places | None = None) -> list[RigIssue]:
    """Contradictions between keys of sections that are valid by themselves."""
    return [
        RigIssue(key, value, allowed, line=line_of(places or {}, tuple(key.split("."))), why=why)
        for needed, check in _CHECKS
        if all(name in sections for name in needed)
        for key, value, allowed, why in check(*(sections[name] for name in needed))
    ]
