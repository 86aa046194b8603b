"""The rig: what the machine is, read from a TOML file and checked as a whole.

A wrong figure here bends every drawing or breaks a motor's grip, so the checks are strict: a value outside what such
a machine can physically be is refused, every problem is listed at once with its line, and what is only doubtful
comes back from `Rig.warnings`. The file itself is explained by the comments of ``data/rig.toml``.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, TypeAdapter, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from linewright import units
from linewright.errors import RigError, RigIssue, SheetError
from linewright.sheet import Sheet
from linewright.toml_places import Places, find_places, line_of

FILE_LIMIT_BYTES: Final = 262_144
"""The commented default is 5 kB; a hundred times that is some other file, and is not read into memory."""

SERVO_LOW_US: Final = 500
SERVO_HIGH_US: Final = 2500
"""Pulses that hobby servos understand (common practice); beyond them the gears meet their stop and the motor stalls."""

SERVO_SAFE_US: Final = (1000, 2000)
"""The pulses that every hobby servo follows without meeting a stop (common practice)."""

STEP_RATE_HIGH_HZ: Final = 131_071
"""Path speed travels as 17 bits of whole steps/s; no motor is faster than the path."""

STEPS_HIGH: Final = 100_000_000
"""Steps from one end of an axis to the other; far inside the 32 bits of the wire's positions, where x + y must fit."""

ACCEL_HIGH_STEPS_S2: Final = 4_000_000
"""What the board takes as acceleration for hold and homing; a lower one only stops more gently."""

HOME_SEARCH: Final = 1.05
"""How far homing looks for a switch, in travels: a carriage pushed by hand stands up to a few per cent beyond it."""

NOT_CONNECTED: Final = -1
"""Pin number that tells the board that nothing is there."""

SETTING_TYPES: Final = {"cartesian": 0, "crossed-belt": 1}
SETTING_ENDSTOPS: Final = {"none": 0, "min": 1, "max": 2}

# Text that fits a title line. The board knows nothing of it.
Name = Annotated[str, StringConstraints(min_length=1, max_length=80)]


def _number(low: float, high: float, unit: str, why: str, default: Any = ...) -> Any:
    """A number with its physical bounds: ``why`` says what stops a machine from being outside them."""
    return Field(default, ge=low, le=high, allow_inf_nan=False, description=why, json_schema_extra={"unit": unit})


class _Section(BaseModel):
    # strict: a rig file that says "80" in quotes, or true for a number, is a slip and not a number.
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Kinematics(_Section):
    """How motors and axes hang together."""

    type: Literal["cartesian", "crossed-belt"] = Field(
        description="cartesian: A moves x, B moves y; crossed-belt: A = x + y, B = x - y"
    )


class Axis(_Section):
    """One direction of the machine."""

    travel_mm: float = _number(10, 5000, "mm", "a stamp to a wall")
    speed_mm_s: float = _number(1, 2000, "mm/s", "belt-driven carriages reach 2 m/s at most")
    accel_mm_s2: float = _number(1, 50_000, "mm/s^2", "50 m/s^2 is five times gravity")
    endstop: Literal["min", "max", "none"] = Field(description="at which end of the travel its switch is")


class Axes(_Section):
    """Both directions."""

    x: Axis
    y: Axis


class Motor(_Section):
    """One motor, its driver's microsteps and the belt it pulls."""

    belt_pitch_mm: float = _number(0.2, 25, "mm", "finest belt or screw pitch to coarsest belt; a screw has one tooth")
    pulley_teeth: int = _number(1, 200, "teeth", "one for a screw; larger pulleys are not for steppers")
    steps_per_turn: int = _number(4, 10_000, "full steps", "tin-can motors have 20, geared ones thousands")
    microsteps: int = _number(1, 256, "per full step", "the finest that drivers offer")
    reversed: bool = Field(False, description="true when the axis moves the wrong way")
    step_rate_hz: int = _number(100, STEP_RATE_HIGH_HZ, "steps/s", "17 bits of path speed on the wire", 40_000)

    @property
    def steps_per_mm(self) -> float:
        """Steps that move the belt by 1 mm."""
        return units.steps_per_mm(
            belt_pitch_mm=self.belt_pitch_mm,
            pulley_teeth=self.pulley_teeth,
            steps_per_turn=self.steps_per_turn,
            microsteps=self.microsteps,
        )


class Motors(_Section):
    """Both motors."""

    a: Motor
    b: Motor


class Motion(_Section):
    """What applies to the path as a whole."""

    junction_deviation_mm: float = _number(0.001, 1, "mm", "below one step, to a clearly rounded corner", 0.05)
    pen_down_speed_mm_s: float = _number(0.5, 2000, "mm/s", "slower is standing, faster no axis goes", 100.0)


class Driver(_Section):
    """Times of the step signals."""

    step_width_us: float = _number(1, 20, "us", "hobby drivers ask 1 to 2 us, opto-coupled ones up to 10", 2.0)
    direction_setup_us: float = _number(1, 20, "us", "hobby drivers ask up to 1 us, opto-coupled ones 5 to 10", 1.0)


class PenLift(_Section):
    """The servo that lifts the pen, and the line the pen leaves."""

    up_us: int = _number(SERVO_LOW_US, SERVO_HIGH_US, "us", "beyond it a hobby servo meets its stop and stalls")
    down_us: int = _number(SERVO_LOW_US, SERVO_HIGH_US, "us", "beyond it a hobby servo meets its stop and stalls")
    lift_ms: int = _number(0, 5000, "ms", "a servo turns 60 degrees in 100 to 250 ms", 150)
    lower_ms: int = _number(0, 5000, "ms", "a servo turns 60 degrees in 100 to 250 ms", 150)
    width_mm: float = _number(0.05, 30, "mm", "hair line to broad brush", 0.5)


class Homing(_Section):
    """How the machine finds its zero."""

    fast_mm_s: float = _number(0.5, 500, "mm/s", "faster runs past the switch into the frame", 30.0)
    slow_mm_s: float = _number(0.1, 100, "mm/s", "faster is not repeatable", 4.0)
    accel_mm_s2: float = _number(1, 50_000, "mm/s^2", "50 m/s^2 is five times gravity", 500.0)
    backoff_mm: float = _number(0.1, 100, "mm", "enough for the switch to let go", 3.0)
    passes: int = _number(1, 20, "approaches", "more only wear the switch", 2)


class SheetPlace(_Section):
    """Where the sheet lies, and which sheet it usually is."""

    # A TOML array arrives as a list; only the pair itself is lax, its numbers stay strict.
    offset_mm: tuple[
        Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)],
        Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)],
    ] = Field(default=(0.0, 0.0), strict=False, description="machine position of the sheet's top left corner, [x, y]")
    size: Name = Field(default="A4", description="A0..A6, letter, legal, or a free size such as 210x297mm")
    margin_mm: float = _number(0, 500, "mm", "kept clear all round", 10.0)


class Park(_Section):
    """Where the pen waits."""

    position_mm: tuple[
        Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)],
        Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)],
    ] = Field(default=(0.0, 0.0), strict=False, description="machine position after a drawing, [x, y]")


class Guard(_Section):
    """When the board acts on its own."""

    idle_after_s: float = _number(0, 3600, "s", "0: never let go; an hour at most", 60.0)
    host_silence_s: float = _number(0.5, 600, "s", "shorter trips on a busy laptop", 5.0)


class Pins(_Section):
    """GPIO numbers on the board."""

    step_a: int = _number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 2)
    step_b: int = _number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 3)
    direction_a: int = _number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 4)
    direction_b: int = _number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 5)
    enable: int = _number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 6)
    servo: int = _number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 7)
    endstop_x: int | None = _number(0, 47, "GPIO", "leave out where there is no switch", None)
    endstop_y: int | None = _number(0, 47, "GPIO", "leave out where there is no switch", None)


class Rig(_Section):
    """One machine.

    Examples
    --------
    >>> Rig.default().steps_per_mm
    array([80., 80.])
    >>> Rig.default().changed({"axis.x.travel_mm": -5})
    Traceback (most recent call last):
    ...
    linewright.errors.RigError: the rig has 1 problem
      axis.x.travel_mm = -5: allowed is 10..5000 mm (a stamp to a wall)
    """

    name: Name = Field("rig", description="what you call the machine")
    board: Literal["virtual", "rp2040", "rp2350"] = Field("virtual", description="which board drives it")
    kinematics: Kinematics
    axis: Axes
    motor: Motors
    motion: Motion = Motion()
    driver: Driver = Driver()
    pen: PenLift
    homing: Homing = Homing()
    sheet: SheetPlace = SheetPlace()
    park: Park = Park()
    guard: Guard = Guard()
    pins: Pins = Pins()

    @model_validator(mode="after")
    def _whole(self) -> Rig:
        issues = _cross_issues(dict(self))
        if issues:
            raise PydanticCustomError("rig_as_a_whole", "{text}", {"text": "; ".join(map(str, issues))})
        return self

    # Reading

    @classmethod
    def load(cls, path: str | Path) -> Rig:
        """Read a rig file.

        Raises
        ------
        RigError
            If the file cannot be read or is not a valid rig; ``issues`` lists every problem with its line.
        """
        hint = "`linewright rig` shows the commented default; copy it and change what differs on your machine"
        try:
            with Path(path).open("rb") as stream:
                data = stream.read(FILE_LIMIT_BYTES + 1)
        except OSError as error:
            raise RigError(f"cannot read the rig file {path}: {error.strerror or error}", hint=hint) from error
        if len(data) > FILE_LIMIT_BYTES:
            raise RigError(f"{path} is larger than {FILE_LIMIT_BYTES} bytes; that is no rig file", hint=hint)
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise RigError(f"{path} is not UTF-8 text (byte {error.start}); that is no rig file", hint=hint) from error
        return cls.parse(text, where=str(path))

    @classmethod
    def parse(cls, text: str, *, where: str = "rig") -> Rig:
        """Read a rig from TOML text; ``where`` names the text in messages. Raises `RigError` like `load`."""
        hint = "`linewright rig` shows the commented default; copy it and change what differs on your machine"
        try:
            raw = tomllib.loads(text.replace("\r\n", "\n"))
        except (ValueError, RecursionError) as error:
            found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
            place = f"{where}, line {found[1]}, column {found[2]}" if found else where
            if "(at end of document)" in str(error):
                place = f"{where}, line {text.rstrip().count(chr(10)) + 1}, at the end"
            reason = "nested too deeply" if isinstance(error, RecursionError) else str(error).split(" (at ")[0]
            raise RigError(f"{place}: not valid TOML: {reason}", hint="look for a missing quote or bracket") from error
        if not raw:
            raise RigError(f"{where} is empty: no key is set", hint=hint)
        return cls._checked(raw, f"{where}: the rig", find_places(text))

    @classmethod
    def default(cls) -> Rig:
        """The rig of the commented default file."""
        return cls.parse(cls.default_text(), where="the default rig")

    @staticmethod
    def default_text() -> str:
        """The commented default file, ready to be written next to a new machine."""
        return resources.files("linewright").joinpath("data", "rig.toml").read_text(encoding="utf-8")

    def changed(self, changes: Mapping[str, object]) -> Rig:
        """The same rig with some keys changed, checked again.

        Parameters
        ----------
        changes : dotted key, such as ``"axis.x.speed_mm_s"``, to value.

        Raises
        ------
        RigError
            If the changed rig is not valid.
        """
        raw = self.model_dump(exclude_unset=True)
        for key, value in changes.items():
            *tables, last = key.split(".")
            place = raw
            for table in tables:
                inner = place.setdefault(table, {})
                place = inner if isinstance(inner, dict) else {}
            place[last] = value
        return self._checked(raw, "the rig", {})

    @classmethod
    def _checked(cls, raw: dict[str, Any], what: str, places: Places) -> Rig:
        try:
            return cls.model_validate(raw)
        except ValidationError as error:
            issues = sorted(
                (*_field_issues(error, places), *_cross_issues(_valid_sections(raw), places)),
                key=lambda issue: (issue.line is None, issue.line or 0),
            )
        count = f"{len(issues)} problem" + "s" * (len(issues) != 1)
        raise RigError(f"{what} has {count}", issues=tuple(issues))

    # What the rest of the host asks

    @property
    def x(self) -> Axis:
        """``axis.x``."""
        return self.axis.x

    @property
    def y(self) -> Axis:
        """``axis.y``."""
        return self.axis.y

    @property
    def a(self) -> Motor:
        """``motor.a``."""
        return self.motor.a

    @property
    def b(self) -> Motor:
        """``motor.b``."""
        return self.motor.b

    @property
    def travel_mm(self) -> NDArray[np.float64]:
        """(2,) float64: the reach is 0..travel, x and y, mm."""
        return np.array([self.x.travel_mm, self.y.travel_mm])

    @property
    def steps_per_mm(self) -> NDArray[np.float64]:
        """(2,) float64: steps per mm of belt, motors A and B."""
        return np.array([self.a.steps_per_mm, self.b.steps_per_mm])

    @property
    def kinematics_matrix(self) -> NDArray[np.float64]:
        """(2, 2) float64, steps/mm: motor steps = matrix @ machine position in mm."""
        mixing = np.eye(2) if self.kinematics.type == "cartesian" else np.array([[1.0, 1.0], [1.0, -1.0]])
        return np.asarray(self.steps_per_mm[:, None] * mixing)

    @property
    def paper(self) -> Sheet:
        """The sheet that usually lies on this rig."""
        return Sheet.named(self.sheet.size, margin_mm=self.sheet.margin_mm)

    def step_space_accel_steps_s2(self) -> float:
        """Path acceleration in motor step space that no direction of travel may exceed, steps/s^2.

        With x = sum_j W_ij s_j (W the inverse of `kinematics_matrix`) a path acceleration A in step space gives axis i
        at most A * |row i of W| (Cauchy-Schwarz, reached when the direction lies along that row).
        """
        rows = np.linalg.norm(np.linalg.inv(self.kinematics_matrix), axis=1)
        return float(np.min(np.array([self.x.accel_mm_s2, self.y.accel_mm_s2]) / rows))

    def fingerprint(self) -> str:
        """32 hex digits that change with everything that changes the motion, and with nothing else.

        Left out: name, board, pins, guard, the pen's line width, sheet size and margin (a program carries its own
        sheet), and how homing is done, except for where it ends.
        """
        moving = self.model_dump(mode="json", include={"kinematics", "axis", "motor", "motion", "driver", "park"})
        moving["pen"] = self.pen.model_dump(mode="json", exclude={"width_mm"})
        moving["sheet"] = self.sheet.model_dump(mode="json", include={"offset_mm"})
        moving["homing"] = self.homing.model_dump(mode="json", include={"backoff_mm"})
        text = json.dumps(moving, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:32]

    def settings(self) -> dict[str, int]:
        """What the board is told of the rig: names and units of linewire's settings table, whole numbers.

        Rates round down, so that the board never goes faster than the file says; soft limits round outward to the
        step that a point on the rim of the reach is rounded to.
        """
        homing = self.homing
        told = {
            "kinematics": SETTING_TYPES[self.kinematics.type],
            "accel": min(max(1, math.floor(self.step_space_accel_steps_s2())), ACCEL_HIGH_STEPS_S2),
            "max_rate": max(self.a.step_rate_hz, self.b.step_rate_hz),
            "pen_up_us": self.pen.up_us,
            "pen_down_us": self.pen.down_us,
            "pen_lift_ms": self.pen.lift_ms,
            "pen_lower_ms": self.pen.lower_ms,
            "step_width_ns": units.us_to_ns(self.driver.step_width_us),
            "direction_setup_ns": units.us_to_ns(self.driver.direction_setup_us),
            "reversed_a": int(self.a.reversed),
            "reversed_b": int(self.b.reversed),
            "home_passes": homing.passes,
            "idle_after_s": round(self.guard.idle_after_s),
            "host_silence_ms": units.s_to_ms(self.guard.host_silence_s),
        }
        # Along one axis each busy motor makes this many steps per mm, on either kind of kinematics.
        for name, axis, spm in (("x", self.x, self.a.steps_per_mm), ("y", self.y, self.b.steps_per_mm)):
            told |= {
                f"{name}_low": 0,
                f"{name}_high": math.ceil(axis.travel_mm * spm - _STEP_SLACK),
                f"home_fast_{name}": max(1, math.floor(homing.fast_mm_s * spm)),
                f"home_slow_{name}": max(1, math.floor(homing.slow_mm_s * spm)),
                f"home_accel_{name}": min(max(1, math.floor(homing.accel_mm_s2 * spm)), ACCEL_HIGH_STEPS_S2),
                f"home_backoff_{name}": math.ceil(homing.backoff_mm * spm - _STEP_SLACK),
                f"home_travel_{name}": math.ceil(axis.travel_mm * HOME_SEARCH * spm - _STEP_SLACK),
                f"home_end_{name}": SETTING_ENDSTOPS[axis.endstop],
            }
        return told | {f"pin_{name}": NOT_CONNECTED if pin is None else pin for name, pin in self.pins}

    def warnings(self) -> tuple[str, ...]:
        """What is allowed but doubtful, in plain words, one sentence or two each."""
        return tuple(_warnings(self))

    @classmethod
    def schema_text(cls) -> str:
        """JSON schema of the rig file, for editors that check TOML while it is written."""
        schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **cls.model_json_schema()}
        return json.dumps(schema, indent=2) + "\n"


_STEP_SLACK: Final = 1e-6
"""Steps: travel x steps/mm of whole millimetres comes out a few 1e-12 off a whole number; a millionth of a step is
far above that and far below anything a machine can do."""


# Problems of single keys


def _valid_sections(raw: Mapping[str, Any]) -> dict[str, Any]:
    """The sections that are valid by themselves, defaults filled in, so that the rest can still be checked."""
    sections: dict[str, Any] = {}
    for name, field in Rig.model_fields.items():
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
    """The value, or its beginning where it would flood the message."""
    try:
        text = repr(value)
    except ValueError:  # an int of more digits than Python prints
        return "a number of thousands of digits"
    return value if len(text) <= 60 else text[:57] + "..."


def _model_at(path: tuple[str, ...]) -> type[BaseModel] | None:
    """The model that holds the key at ``path``."""
    model: type[BaseModel] = Rig
    for part in path[:-1]:
        field = model.model_fields.get(part)
        if field is None or not (isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel)):
            return None
        model = field.annotation
    return model


def _allowed(path: tuple[str, ...]) -> tuple[str, str]:
    """What is allowed for a key, and why, from the model itself."""
    model = _model_at(path)
    field = model.model_fields.get(path[-1]) if model else None
    if model is None or field is None:
        return "", ""
    schema = model.model_json_schema()["properties"][path[-1]]
    described = field.description or ""
    if "prefixItems" in schema:
        item = schema["prefixItems"][0]
        return f"allowed is a pair of numbers [x, y], each {item['minimum']:g}..{item['maximum']:g} mm", described
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


def _field_issues(error: ValidationError, places: Places) -> Iterator[RigIssue]:
    """Every problem that pydantic found with a single key, once, in our words."""
    seen: set[tuple[str, ...]] = set()
    for found in error.errors(include_url=False):
        # An index into a pair, or the branch of a union, is not a key of the file.
        path = tuple(part for part in found["loc"] if isinstance(part, str) and part not in ("int", "float"))
        if path in seen or found["type"] == "rig_as_a_whole":
            continue
        seen.add(path)
        key, line = ".".join(path), line_of(places, path)
        if found["type"] == "missing":
            allowed, why = _allowed(path)
            yield RigIssue(key, None, f"is missing; {allowed}", line=line, why=why)
        elif found["type"] == "extra_forbidden":
            yield RigIssue(key, _brief(found["input"]), f"no such key{_nearest(path)}", line=line)
        else:
            allowed, why = _allowed(path)
            yield RigIssue(key, _brief(found["input"]), allowed or found["msg"], line=line, why=why)


def _all_keys(model: type[BaseModel], prefix: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, field in model.model_fields.items():
        yield (*prefix, name)
        if isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel):
            yield from _all_keys(field.annotation, (*prefix, name))


def _nearest(path: tuple[str, ...]) -> str:
    """A suggestion for an unknown key: the same table first, then the same name in another table."""
    keys = list(_all_keys(Rig))
    beside = {key[-1]: key for key in keys if key[:-1] == path[:-1]}
    if match := difflib.get_close_matches(path[-1], beside, n=1):
        return f"; did you mean {'.'.join(beside[match[0]])}?"
    if elsewhere := [key for key in keys if key[-1] == path[-1]]:
        return f"; it belongs in the table [{'.'.join(elsewhere[0][:-1])}]" if len(elsewhere[0]) > 1 else ""
    anywhere = {key[-1]: key for key in keys}
    if match := difflib.get_close_matches(path[-1], anywhere, n=1):
        return f"; did you mean {'.'.join(anywhere[match[0]])}?"
    return f"; known here are {', '.join(beside)}" if beside else ""


# Problems between keys: each check names the sections it reads, and runs when those are valid

_Found = Iterator[tuple[str, object, str, str]]  # key, value, what is allowed, why


def _equal_steps(kinematics: Kinematics, motor: Motors) -> _Found:
    a, b = motor.a.steps_per_mm, motor.b.steps_per_mm
    if kinematics.type == "crossed-belt" and not math.isclose(a, b, rel_tol=1e-12):
        yield (
            "motor.b",
            f"{b:g} steps/mm",
            f"must equal motor.a's {a:g} steps/mm on a crossed-belt rig",
            "both motors pull the same belt, else straight lines bend",
        )


def _steps_per_mm(motor: Motors) -> _Found:
    # Below 1 step/mm a line is a staircase that any eye sees; above 5000 even 26 mm/s is past the wire's step rate.
    for name, one in (("a", motor.a), ("b", motor.b)):
        if not 1 <= one.steps_per_mm <= 5000:
            yield (
                f"motor.{name}",
                f"{one.steps_per_mm:g} steps/mm",
                "steps_per_turn x microsteps / (belt_pitch_mm x pulley_teeth) must be 1..5000 steps/mm",
                "a common machine has 80 to 200",
            )


def _pulse_times(motor: Motors, driver: Driver) -> _Found:
    # A driver wants the line low for as long as it was high before the next step.
    shortest_us = 2 * driver.step_width_us + driver.direction_setup_us
    for name, one in (("a", motor.a), ("b", motor.b)):
        fastest = math.floor(units.US_PER_S / shortest_us)
        if one.step_rate_hz > fastest:
            yield (
                f"motor.{name}.step_rate_hz",
                one.step_rate_hz,
                f"must be at most {fastest} steps/s",
                f"high, low and direction set-up take {shortest_us:g} us together",
            )


def _pen_moves(pen: PenLift) -> _Found:
    if pen.up_us == pen.down_us:
        yield ("pen.down_us", pen.down_us, "must differ from pen.up_us", "the pen would never leave the paper")


def _homing_speeds(axis: Axes, motor: Motors, homing: Homing) -> _Found:
    if homing.slow_mm_s > homing.fast_mm_s:
        yield ("homing.slow_mm_s", homing.slow_mm_s, f"must be at most fast_mm_s = {homing.fast_mm_s:g}", "")
    slowest_axis = min(axis.x.speed_mm_s, axis.y.speed_mm_s)
    # On a crossed belt one axis turns both motors at the axis's own belt speed, so one rule serves both kinds.
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
            yield (f"pins.endstop_{name}", None, f'is missing, but axis.{name}.endstop = "{one.endstop}"', "")


def _pins_apart(pins: Pins, board: str) -> _Found:
    taken: dict[int, str] = {}
    for name, pin in pins:
        if pin is None:
            continue
        if pin in taken:
            yield (f"pins.{name}", pin, f"GPIO {pin} is already pins.{taken[pin]}", "one line, one job")
        taken.setdefault(pin, name)
        if board == "rp2040" and pin > 29:
            yield (f"pins.{name}", pin, "allowed is 0..29 GPIO", "an RP2040 has no more (data sheet, 1.4)")


_CHECKS: Final[tuple[tuple[tuple[str, ...], Callable[..., _Found]], ...]] = (
    (("kinematics", "motor"), _equal_steps),
    (("motor",), _steps_per_mm),
    (("motor", "driver"), _pulse_times),
    (("pen",), _pen_moves),
    (("axis", "motor", "homing"), _homing_speeds),
    (("axis", "homing"), _homing_room),
    (("axis", "motor"), _steps_fit),
    (("axis", "park"), _park_inside),
    (("sheet",), _sheet_known),
    (("axis", "pins", "board"), _switches),
    (("pins", "board"), _pins_apart),
)


def _cross_issues(sections: Mapping[str, Any], places: Places | None = None) -> list[RigIssue]:
    return [
        RigIssue(key, value, allowed, line=line_of(places or {}, tuple(key.split("."))), why=why)
        for needed, check in _CHECKS
        if all(name in sections for name in needed)
        for key, value, allowed, why in check(*(sections[name] for name in needed))
    ]


# Doubts

_PICO_OWN_GPIO: Final = (23, 24, 25, 29)
"""Supply mode, USB power sense, the light and the supply's divider (Raspberry Pi Pico data sheet, section 2.1)."""


def _warnings(rig: Rig) -> Iterator[str]:
    matrix = np.abs(rig.kinematics_matrix)
    for i, (name, axis) in enumerate((("x", rig.x), ("y", rig.y))):
        for j, (motor_name, motor) in enumerate((("a", rig.a), ("b", rig.b))):
            wanted = axis.speed_mm_s * matrix[j, i]
            if wanted > motor.step_rate_hz:
                yield (
                    f"axis.{name}.speed_mm_s = {axis.speed_mm_s:g} asks {wanted:.0f} steps/s of motor {motor_name}; "
                    f"its step_rate_hz = {motor.step_rate_hz} holds it to {motor.step_rate_hz / matrix[j, i]:.1f} mm/s."
                )
    sheet = rig.paper
    for name, offset, size, axis in zip(
        "xy", rig.sheet.offset_mm, (sheet.width_mm, sheet.height_mm), (rig.x, rig.y), strict=True
    ):
        if offset + size > axis.travel_mm:
            yield (
                f"the {sheet.name} sheet ends at {name} = {offset + size:g} mm, beyond axis.{name}.travel_mm = "
                f"{axis.travel_mm:g}; what lies past that is cut off."
            )
    for key, pulse in (("up_us", rig.pen.up_us), ("down_us", rig.pen.down_us)):
        if not SERVO_SAFE_US[0] <= pulse <= SERVO_SAFE_US[1]:
            yield (
                f"pen.{key} = {pulse} is outside {SERVO_SAFE_US[0]}..{SERVO_SAFE_US[1]} us: some servos meet their "
                "stop there, draw their stall current and overheat. Listen for a hum."
            )
    # 30 us is about 3 degrees of a common servo (1000 us for 90 degrees), 1 mm at an arm of 20 mm.
    if (apart_us := abs(rig.pen.up_us - rig.pen.down_us)) < 30:
        yield f"pen.up_us and pen.down_us are only {apart_us} us apart; the pen hardly lifts."
    if rig.motion.junction_deviation_mm > rig.pen.width_mm / 2:
        yield (
            f"motion.junction_deviation_mm = {rig.motion.junction_deviation_mm:g} is more than half the pen's line "
            f"({rig.pen.width_mm:g} mm): rounded corners will show."
        )
    overrun_mm = rig.homing.fast_mm_s**2 / (2 * rig.homing.accel_mm_s2)  # v^2 = 2 a d
    if overrun_mm > rig.homing.backoff_mm:
        yield (
            f"homing.fast_mm_s = {rig.homing.fast_mm_s:g} needs {overrun_mm:.1f} mm to stop after the switch clicks, "
            f"more than backoff_mm = {rig.homing.backoff_mm:g}; slow down or raise homing.accel_mm_s2."
        )
    for name, axis in (("x", rig.x), ("y", rig.y)):
        if axis.endstop == "none":
            yield f"axis {name} has no endstop: set its zero by hand before every drawing."
    if rig.board != "virtual":
        if "pins" not in rig.model_fields_set:
            yield "[pins] is not in the file; the default rig's GPIO numbers are used. Check them against your wiring."
        for name, pin in rig.pins:
            if pin in _PICO_OWN_GPIO:
                yield f"pins.{name} = {pin}: on Pico boards GPIO 23, 24, 25 and 29 serve the board itself."
