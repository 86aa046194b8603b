"""The rig: what the machine is, read from a TOML file and checked as a whole.

A wrong figure here bends every drawing or breaks a motor's grip, so the checks are strict: a value outside what such
a machine can physically be is refused, every problem is listed at once with its line, and what is only doubtful
comes back from `Rig.warnings`. The file itself is explained by the comments of ``data/rig.toml``.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import tomllib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, StringConstraints, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from linewright import units
from linewright.errors import RigError
from linewright.rig_checks import cross_issues, doubts, field_issues, valid_sections
from linewright.rig_electrics import WITHOUT_MOTION, DriverCurrent, Load, Supply, Windings
from linewright.rig_section import Section as _Section
from linewright.rig_section import number as _number
from linewright.rig_smoothing import Smoothing
from linewright.sheet import Sheet
from linewright.toml_places import Places, find_places

if TYPE_CHECKING:
    from linewright.motion.corrections import Corrections as KnownErrors

FILE_LIMIT_BYTES: Final = 262_144
"""The commented default is 5 kB; fifty times that is some other file, and is not read into memory."""

SERVO_LOW_US: Final = 500
SERVO_HIGH_US: Final = 2500
"""Pulses that hobby servos understand (common practice); beyond them the gears meet their stop and the motor stalls."""

STEP_RATE_HIGH_HZ: Final = 131_071
"""Path speed travels as 17 bits of whole steps/s; no motor is faster than the path."""

ACCEL_HIGH_STEPS_S2: Final = 4_000_000
"""What the board takes as acceleration for hold and homing; a lower one only stops more gently."""

HOME_SEARCH: Final = 1.05
"""How far homing looks for a switch, in travels: a carriage pushed by hand stands up to a few per cent beyond it."""

NOT_CONNECTED: Final = -1
"""Pin number that tells the board that nothing is there."""

SETTING_TYPES: Final = {"cartesian": 0, "crossed-belt": 1}
SETTING_ENDSTOPS: Final = {"none": 0, "min": 1, "max": 2}
SETTING_CONTACTS: Final = {"normally-open": 0, "normally-closed": 1}

# Text that fits a title line. The board knows nothing of it.
Name = Annotated[str, StringConstraints(min_length=1, max_length=80)]


class Kinematics(_Section):
    """How motors and axes hang together."""

    type: Literal["cartesian", "crossed-belt"] = Field(
        description="cartesian: A moves x, B moves y; crossed-belt: A = x + y, B = x - y"
    )


class Axis(Load):
    """One direction of the machine."""

    travel_mm: float = _number(10, 5000, "mm", "a stamp to a wall")
    speed_mm_s: float = _number(1, 2000, "mm/s", "belt-driven carriages reach 2 m/s at most")
    accel_mm_s2: float = _number(1, 50_000, "mm/s^2", "50 m/s^2 is five times gravity")
    endstop: Literal["min", "max", "none"] = Field(description="at which end of the travel its switch is")
    endstop_contact: Literal["normally-open", "normally-closed"] = Field(
        "normally-open", description="normally-open: closes when pressed; normally-closed: opens, as a broken wire does"
    )


class Axes(_Section):
    """Both directions."""

    x: Axis
    y: Axis


class Motor(Windings):
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


class Driver(DriverCurrent):
    """Times of the step signals, and the current that the drivers are set to."""

    step_width_us: float = _number(1, 20, "us", "hobby drivers ask 1 to 2 us, opto-coupled ones up to 10", 2.0)
    direction_setup_us: float = _number(1, 20, "us", "hobby drivers ask up to 1 us, opto-coupled ones 5 to 10", 1.0)


class PenLift(_Section):
    """The servo that lifts the pen, and the line the pen leaves."""

    up_us: int = _number(SERVO_LOW_US, SERVO_HIGH_US, "us", "beyond it a hobby servo meets its stop and stalls")
    down_us: int = _number(SERVO_LOW_US, SERVO_HIGH_US, "us", "beyond it a hobby servo meets its stop and stalls")
    lift_ms: int = _number(0, 5000, "ms", "a servo turns 60 degrees in 100 to 250 ms", 150)
    lower_ms: int = _number(0, 5000, "ms", "a servo turns 60 degrees in 100 to 250 ms", 150)
    near_us: int = _number(0, SERVO_HIGH_US, "us", "between up and down, just clear of the paper; 0: not known", 0)
    near_ms: int = _number(0, 5000, "ms", "a servo answers within 20 ms and turns a few degrees in as many", 80)
    width_mm: float = _number(0.05, 30, "mm", "hair line to broad brush", 0.5)

    @property
    def clear_us(self) -> int:
        """The pulse that just clears the paper; where none is known, that for all the way up."""
        return self.near_us or self.up_us


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


class PenHeight(_Section):
    """How much further than ``pen.down_us`` the servo has to go at places of the sheet, measured on a grid."""

    x_mm: tuple[float, ...] = Field(
        default=(), strict=False, description="machine places of the columns, mm, ascending"
    )
    y_mm: tuple[float, ...] = Field(default=(), strict=False, description="machine places of the rows, mm, ascending")
    change_us: tuple[Annotated[tuple[float, ...], Field(strict=False)], ...] = Field(
        default=(), strict=False, description="one row of changes for each of y_mm, one change for each of x_mm"
    )


Deviations = tuple[Annotated[tuple[float, float], Field(strict=False)], ...]


class Corrections(_Section):
    """What was measured to be untrue about the machine; the fit of a trial sheet writes it."""

    scale_x: float = _number(-0.2, 0.2, "", "a fifth off is a wrong pulley, not an error of scale", 0.0)
    scale_y: float = _number(-0.2, 0.2, "", "a fifth off is a wrong pulley, not an error of scale", 0.0)
    squareness_deg: float = _number(-5, 5, "degrees", "more is seen from across the room: set the rails right", 0.0)
    backlash_x_mm: float = _number(0, 3, "mm", "more is a loose pulley or belt: tighten it", 0.0)
    backlash_y_mm: float = _number(0, 3, "mm", "more is a loose pulley or belt: tighten it", 0.0)
    straightness_x_mm: Deviations = Field(
        default=(), strict=False, description="[place along x, how far off in y] by rising place"
    )
    straightness_y_mm: Deviations = Field(
        default=(), strict=False, description="[place along y, how far off in x] by rising place"
    )
    pen_height: PenHeight = PenHeight()


class Guard(_Section):
    """When the board acts on its own."""

    idle_after_s: float = _number(0, 3600, "s", "0: never let go; an hour at most", 60.0)
    host_silence_s: float = _number(0.5, 600, "s", "shorter trips on a busy laptop", 5.0)
    rest_current_after_s: float = _number(0, 60, "s", "rotors swing for some tenths of a second after a stop", 0.5)


class DriftChecks(_Section):
    """When a drawing is interrupted to home again and see whether the machine has kept its place."""

    check: tuple[Literal["start", "pens", "end"], ...] = Field(
        default=(), strict=False, description="moments of a drawing: at its start, between pens, at its end"
    )
    limit_mm: float = _number(0.01, 100, "mm", "below one step, to a lost cause", 0.3)


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
    rest_current: int | None = _number(0, 47, "GPIO", "leave out where the drivers have no such input", None)


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
    board: Literal["virtual", "rp2040", "rp2350", "portable"] = Field("virtual", description="which board drives it")
    kinematics: Kinematics
    axis: Axes
    motor: Motors
    motion: Motion = Motion()
    smoothing: Smoothing = Smoothing()
    driver: Driver = Driver()
    pen: PenLift
    homing: Homing = Homing()
    sheet: SheetPlace = SheetPlace()
    park: Park = Park()
    corrections: Corrections = Corrections()
    guard: Guard = Guard()
    drift: DriftChecks = DriftChecks()
    pins: Pins = Pins()
    supply: Supply = Supply()

    @model_validator(mode="after")
    def _whole(self) -> Rig:
        issues = cross_issues(dict(self))
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
        hint = "`linewright rig new` asks about your machine and writes one; `linewright rig default` is an example"
        try:
            with Path(path).open("rb") as stream:
                data = stream.read(FILE_LIMIT_BYTES + 1)
        except OSError as error:
            raise RigError(
                f"cannot read the rig file {path}: {error.strerror or error}",
                hint=f"check the name and the permissions; {hint}",
            ) from error
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
        hint = "`linewright rig new` asks about your machine and writes one; `linewright rig default` is an example"
        try:
            raw = tomllib.loads(text.replace("\r\n", "\n"))
        except (ValueError, RecursionError) as error:
            found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
            place = f"{where}, line {found[1]}, column {found[2]}" if found else where
            if "(at end of document)" in str(error):
                place = f"{where}, line {text.rstrip().count(chr(10)) + 1}, at the end"
            reason = "nested too deeply" if isinstance(error, RecursionError) else str(error).split(" (at ")[0]
            twice = "overwrite" in reason or "twice" in reason
            fix = (
                "it stands further up already; keep one of the two" if twice else "look for a missing quote or bracket"
            )
            raise RigError(f"{place}: not valid TOML: {reason}", hint=fix) from error
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
                if not isinstance(place.get(table), dict):
                    place[table] = {}  # where a single value stood, the model says that a table is none
                place = place[table]
            place[last] = value
        return self._checked(raw, "the rig", {})

    @classmethod
    def _checked(cls, raw: dict[str, Any], what: str, places: Places) -> Rig:
        try:
            return cls.model_validate(raw)
        except ValidationError as error:
            issues = sorted(
                (*field_issues(cls, error, places), *cross_issues(valid_sections(cls, raw), places)),
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
    def finds_its_place(self) -> bool:
        """Whether homing finds both axes; else somebody has to put the pen to its park position."""
        return "none" not in (self.x.endstop, self.y.endstop)

    @property
    def travel_mm(self) -> NDArray[np.float64]:
        """(2,) float64: the reach is 0..travel, x and y, mm."""
        return np.array([self.x.travel_mm, self.y.travel_mm])

    @property
    def steps_per_mm(self) -> NDArray[np.float64]:
        """(2,) float64: steps per mm of belt, motors A and B."""
        return np.array([self.a.steps_per_mm, self.b.steps_per_mm])

    @property
    def scale(self) -> NDArray[np.float64]:
        """(2,) float64: mm that each axis really moves for 1 mm of belt, as measured."""
        return np.array([1.0 + self.corrections.scale_x, 1.0 + self.corrections.scale_y])

    @property
    def kinematics_matrix(self) -> NDArray[np.float64]:
        """(2, 2) float64, steps/mm: motor steps = matrix @ place of the drives in true mm."""
        mixing = np.eye(2) if self.kinematics.type == "cartesian" else np.array([[1.0, 1.0], [1.0, -1.0]])
        return np.asarray(self.steps_per_mm[:, None] * mixing / self.scale)

    @property
    def known_errors(self) -> KnownErrors:
        """The measured errors, as the map between the pen and its drives."""
        from linewright.motion.corrections import Corrections

        return Corrections.from_rig(self)

    def steps_at(self, true_mm: tuple[float, float]) -> tuple[int, int]:
        """The motor position that brings the pen to a place, axes engaged as homing leaves them."""
        a, b = np.rint(self.kinematics_matrix @ self.known_errors.carriage_mm(np.array([true_mm], dtype=np.float64))[0])
        return int(a), int(b)

    def true_at(self, steps: tuple[int, int]) -> tuple[float, float]:
        """The place of the pen at a motor position, axes engaged as homing leaves them: undoes `steps_at`."""
        drive = np.linalg.solve(self.kinematics_matrix, np.array(steps, dtype=np.float64))
        x, y = self.known_errors.true_mm(np.asarray(drive, dtype=np.float64)[None])[0]
        return float(x), float(y)

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
        return float(np.min(np.array([self.x.accel_mm_s2, self.y.accel_mm_s2]) * np.minimum(self.scale, 1.0) / rows))

    def fingerprint(self) -> str:
        """32 hex digits that change with everything that changes the motion, and with nothing else.

        Left out: name, board, pins, guard, drift, the pen's line width, sheet size and margin (a program carries its
        own sheet), electrical figures and masses, and how homing is done, except for where it ends.
        """
        moving = self.model_dump(
            mode="json",
            include=_MOVES,
            exclude=WITHOUT_MOTION,
        )
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
            "rest_current_after_ms": units.s_to_ms(self.guard.rest_current_after_s),
        }
        # Along one axis each busy motor makes this many steps per mm, on either kind of kinematics.
        room = self.known_errors.room_mm
        for i, (name, axis, spm) in enumerate(zip("xy", (self.x, self.y), self.steps_per_mm / self.scale, strict=True)):
            told |= {
                f"{name}_low": math.floor(room[0][i] * spm + _STEP_SLACK),
                f"{name}_high": math.ceil(room[1][i] * spm - _STEP_SLACK),
                f"home_fast_{name}": max(1, math.floor(homing.fast_mm_s * spm)),
                f"home_slow_{name}": max(1, math.floor(homing.slow_mm_s * spm)),
                f"home_accel_{name}": min(max(1, math.floor(homing.accel_mm_s2 * spm)), ACCEL_HIGH_STEPS_S2),
                f"home_backoff_{name}": math.ceil(homing.backoff_mm * spm - _STEP_SLACK),
                f"home_travel_{name}": math.ceil(axis.travel_mm * HOME_SEARCH * spm - _STEP_SLACK),
                f"home_end_{name}": SETTING_ENDSTOPS[axis.endstop],
                f"contact_{name}": SETTING_CONTACTS[axis.endstop_contact],
            }
        return told | {f"pin_{name}": NOT_CONNECTED if pin is None else pin for name, pin in self.pins}

    def warnings(self) -> tuple[str, ...]:
        """What is allowed but doubtful, in plain words, one sentence or two each."""
        return tuple(doubts(self))

    @classmethod
    def schema_text(cls) -> str:
        """JSON schema of the rig file, for editors that check TOML while it is written."""
        schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **cls.model_json_schema()}
        return json.dumps(schema, indent=2) + "\n"


_MOVES: Final = {"kinematics", "axis", "motor", "motion", "smoothing", "driver", "park", "corrections"}

_STEP_SLACK: Final = 1e-6
"""Steps: travel x steps/mm of whole millimetres comes out a few 1e-12 off a whole number; a millionth of a step is
far above that and far below anything a machine can do."""
