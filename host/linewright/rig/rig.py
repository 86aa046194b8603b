"""The rig: description of a machine, read from a TOML file and validated as a whole.

A wrong value spoils every drawing or makes motors lose steps, so the checks are strict. Values that are physically
impossible are refused, all problems are listed at once with their lines, and doubtful values are returned by
`Rig.warnings`. Comments in ``data/rig.toml`` explain the file.
"""

from __future__ import annotations

import functools
import hashlib
import json
import math
import re
from collections.abc import Callable, Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from linewright.errors import RigError
from linewright.files import opened
from linewright.machine.shape import MachineShape
from linewright.rig.boards import BOARDS
from linewright.rig.checks import cross_issues, field_issues, valid_sections
from linewright.rig.electrics import WITHOUT_MOTION, Supply
from linewright.rig.section import Section
from linewright.rig.sections import (
    Axes,
    Axis,
    Corrections,
    DriftChecks,
    Driver,
    GuardTimes,
    Homing,
    Kinematics,
    Motion,
    Motor,
    Motors,
    Name,
    Park,
    PenLift,
    Pins,
    SheetPlace,
)
from linewright.rig.smoothness import Smoothing
from linewright.rig.toml_lines import Places, find_places, read_toml
from linewright.sheet.sizes import Sheet

FILE_LIMIT_BYTES: Final = 262_144
"""Largest accepted file, fifty times the commented default."""


class Rig(Section):
    """One machine.

    Examples
    --------
    >>> Rig.default().steps_per_mm
    array([80., 80.])
    >>> Rig.default().changed({"axis.x.travel_mm": -5})
    Traceback (most recent call last):
    ...
    linewright.errors.RigError: the rig has 1 problem
      axis.x.travel_mm = -5: allowed is 10..5000 mm (from a stamp to a wall)
    """

    name: Name = Field("rig", description="name of the machine")
    board: Literal[
        "virtual",
        "pico",
        "pico-w",
        "pico-2",
        "pico-2-w",
        "nano-rp2040-connect",
        "tiny-2040",
        "xiao-rp2040",
        "xiao-rp2350",
        "rp2040",
        "rp2350",
        "portable",
    ] = Field("virtual", description="board that drives the machine")
    assumed: tuple[str, ...] = Field(
        default=(),
        strict=False,
        description="keys with assumed instead of measured values; `rig check` marks results that depend on them",
    )
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
    guard: GuardTimes = GuardTimes()
    drift: DriftChecks = DriftChecks()
    pins: Pins = Pins()
    supply: Supply = Supply()

    @model_validator(mode="after")
    def _whole(self) -> Rig:
        issues = cross_issues(dict(self))
        if issues:
            raise PydanticCustomError("rig_as_a_whole", "{text}", {"text": "; ".join(map(str, issues))})
        return self

    @classmethod
    def load(cls, path: str | Path) -> Rig:
        """Read a rig file.

        Raises
        ------
        RigError
            The file cannot be read or is not a valid rig; ``issues`` lists every problem with its line.
        """
        hint = "`linewright rig new` asks about your machine and writes one; `linewright rig default` is an example"
        try:
            with opened(path) as stream:
                data = stream.read(FILE_LIMIT_BYTES + 1)
        except OSError as error:
            raise RigError(
                f"cannot read the rig file {path}: {error.strerror or error}",
                hint=f"check the name and the permissions; {hint}",
            ) from error
        if len(data) > FILE_LIMIT_BYTES:
            raise RigError(f"{path} is larger than {FILE_LIMIT_BYTES} bytes, the limit for a rig file", hint=hint)
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise RigError(
                f"{path} is not UTF-8 text (byte {error.start}), so it cannot be a rig file", hint=hint
            ) from error
        return cls.parse(text, where=str(path))

    @classmethod
    def parse(cls, text: str, *, where: str = "rig") -> Rig:
        """Read a rig from TOML text; ``where`` names the text in messages. Raises `RigError` like `load`."""
        hint = "`linewright rig new` asks about your machine and writes one; `linewright rig default` is an example"
        text = text.replace("\r\n", "\n")
        try:
            raw = read_toml(text)
        except ValueError as error:
            found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
            place = f"{where}, line {found[1]}, column {found[2]}" if found else where
            if "(at end of document)" in str(error):
                place = f"{where}, line {text.rstrip().count(chr(10)) + 1}, at the end"
            reason = str(error).split(" (at ")[0]
            twice = "overwrite" in reason or "twice" in reason
            fix = (
                "it is set further up already; keep one of the two" if twice else "look for a missing quote or bracket"
            )
            raise RigError(f"{place}: not valid TOML: {reason}", hint=fix) from error
        if not raw:
            raise RigError(f"{where} is empty: no key is set", hint=hint)
        return cls._checked(raw, f"{where}: the rig", lambda: find_places(text))

    @staticmethod
    @functools.cache  # a rig never changes, and whoever asks for answers asks for this one often
    def default() -> Rig:
        """The rig of the commented default file."""
        return Rig.parse(Rig.default_text(), where="the default rig")

    @staticmethod
    def default_text() -> str:
        """Text of the commented default file, to be saved for a new machine."""
        return resources.files("linewright").joinpath("data", "rig.toml").read_text(encoding="utf-8")

    def changed(self, changes: Mapping[str, object]) -> Rig:
        """The same rig with some keys changed, validated again.

        Parameters
        ----------
        changes : dotted key, such as ``"axis.x.speed_mm_s"``, to value.

        Raises
        ------
        RigError
            The changed rig is not valid.
        """
        raw = self.model_dump(exclude_unset=True)
        for key, value in changes.items():
            *tables, last = key.split(".")
            place = raw
            for table in tables:
                if not isinstance(place.get(table), dict):
                    place[table] = {}  # a single value here makes validation fail
                place = place[table]
            place[last] = value
        return self._checked(raw, "the rig", dict)

    @classmethod
    def _checked(cls, raw: dict[str, Any], what: str, find: Callable[[], Places]) -> Rig:
        try:
            return cls.model_validate(raw)
        except ValidationError as error:
            places = find()
            issues = sorted(
                (*field_issues(cls, error, places), *cross_issues(valid_sections(cls, raw), places)),
                key=lambda issue: (issue.line is None, issue.line or 0),
            )
        count = f"{len(issues)} problem" + "s" * (len(issues) != 1)
        raise RigError(f"{what} has {count}", issues=tuple(issues))

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
        """Whether homing finds both axes; otherwise the user has to move the pen to its park position."""
        return "none" not in (self.x.endstop, self.y.endstop)

    @property
    def chip(self) -> str:
        """Name that the board sends in its greeting: "virtual", "rp2040", "rp2350" or "portable"."""
        return BOARDS[self.board].chip

    @property
    def senses_motor_power(self) -> bool:
        """Whether the board senses the motor supply."""
        return self.supply.power_sense != "none" and self.pins.motor_power is not None

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
        """(2,) float64: measured travel of each axis, mm per mm of belt."""
        return np.array([1.0 + self.corrections.scale_x, 1.0 + self.corrections.scale_y])

    @property
    def kinematics_matrix(self) -> NDArray[np.float64]:
        """(2, 2) float64, steps/mm: motor steps = matrix @ drive position in true mm."""
        mixing = np.eye(2) if self.kinematics.type == "cartesian" else np.array([[1.0, 1.0], [1.0, -1.0]])
        return np.asarray(self.steps_per_mm[:, None] * mixing / self.scale)

    @property
    def shape(self) -> MachineShape:
        """The measured errors of the machine, as the map between pen and drives."""
        known = self.corrections
        return MachineShape(
            lean=math.tan(math.radians(known.squareness_deg)),
            straight_x=tuple((float(at), float(off)) for at, off in known.straightness_x_mm),
            straight_y=tuple((float(at), float(off)) for at, off in known.straightness_y_mm),
            play_mm=(known.backlash_x_mm, known.backlash_y_mm),
            # After its switch has closed, an axis backs off: in + direction from a switch at the near end.
            home_sense=(-1 if self.x.endstop == "max" else 1, -1 if self.y.endstop == "max" else 1),
            reach_mm=(self.x.travel_mm, self.y.travel_mm),
        )

    def steps_at(self, true_mm: tuple[float, float]) -> tuple[int, int]:
        """Motor position that brings the pen to a place, with backlash taken up as after homing."""
        a, b = np.rint(self.kinematics_matrix @ self.shape.carriage_mm(np.array([true_mm], dtype=np.float64))[0])
        return int(a), int(b)

    def true_at(self, steps: tuple[int, int]) -> tuple[float, float]:
        """Pen position at a motor position, with backlash taken up as after homing; inverse of `steps_at`."""
        drive = np.linalg.solve(self.kinematics_matrix, np.array(steps, dtype=np.float64))
        x, y = self.shape.true_mm(np.asarray(drive, dtype=np.float64)[None])[0]
        return float(x), float(y)

    @property
    def paper(self) -> Sheet:
        """The sheet usually used on this rig."""
        return Sheet.named(self.sheet.size, margin_mm=self.sheet.margin_mm)

    def step_space_accel_steps_s2(self) -> float:
        """Largest path acceleration in motor step space over all directions, steps/s^2.

        With x = sum_j W_ij s_j (W the inverse of `kinematics_matrix`) a path acceleration A in step space gives axis i
        at most A * |row i of W| (Cauchy-Schwarz, reached when the direction lies along that row).
        """
        rows = np.linalg.norm(np.linalg.inv(self.kinematics_matrix), axis=1)
        return float(np.min(np.array([self.x.accel_mm_s2, self.y.accel_mm_s2]) * np.minimum(self.scale, 1.0) / rows))

    def fingerprint(self) -> str:
        """32 hex digits that depend on everything that affects the motion, and on nothing else.

        Excluded: name, board, pins, guard, drift, the pen's line width, sheet size and margin (a program carries its
        own sheet), electrical figures and masses, and how homing is done, except for where it ends.
        """
        moving = self.model_dump(
            mode="json",
            include=_MOVES,
            exclude=WITHOUT_MOTION,
        )
        moving["pen"] = self.pen.model_dump(mode="json", exclude={"width_mm"})
        moving["sheet"] = self.sheet.model_dump(mode="json", include={"offset_mm"})
        if self.sheet.turn_deg:
            moving["sheet"]["turn_deg"] = self.sheet.turn_deg
        moving["homing"] = self.homing.model_dump(mode="json", include={"backoff_mm"})
        text = json.dumps(moving, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:32]

    @classmethod
    def schema_text(cls) -> str:
        """JSON schema of the rig file, for editors that check TOML while it is written."""
        schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **cls.model_json_schema()}
        return json.dumps(schema, indent=2) + "\n"


_MOVES: Final = {"kinematics", "axis", "motor", "motion", "smoothing", "driver", "park", "corrections"}
