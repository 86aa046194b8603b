"""The tables of a rig file: one class each, every key with unit, bounds and their reason."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field, StringConstraints

from linewire.records import SERVO_HIGH_US, SERVO_LOW_US
from linewright import units
from linewright.rig.electrics import DriverCurrent, Load, Windings
from linewright.rig.section import Section, number
from linewright.sheet.position import SheetPosition

STEP_RATE_HIGH_HZ: Final = 131_071
"""Path speed is encoded in 17 bits of whole steps/s, and no motor is faster than the path."""

# Text that fits a title line. The board does not use it.
Name = Annotated[str, StringConstraints(min_length=1, max_length=80)]


class Kinematics(Section):
    """Relation between motors and axes."""

    type: Literal["cartesian", "crossed-belt"] = Field(
        description="cartesian: A moves x, B moves y; crossed-belt: A = x + y, B = x - y"
    )


class Axis(Load):
    """One direction of the machine."""

    travel_mm: float = number(10, 5000, "mm", "from a stamp to a wall")
    speed_mm_s: float = number(1, 2000, "mm/s", "belt-driven carriages reach at most 2 m/s")
    accel_mm_s2: float = number(1, 50_000, "mm/s^2", "50 m/s^2 is five times gravity")
    endstop: Literal["min", "max", "none"] = Field(description="end of the travel at which the switch is")
    endstop_contact: Literal["normally-open", "normally-closed"] = Field(
        "normally-open",
        description="normally-open: closes when pressed; normally-closed: opens when pressed, so a broken wire reads "
        "as pressed",
    )


class Axes(Section):
    """Both directions."""

    x: Axis
    y: Axis


class Motor(Windings):
    """One motor, its driver's microsteps and the belt it pulls."""

    belt_pitch_mm: float = number(
        0.2,
        25,
        "mm",
        "from the finest belt or screw pitch to the coarsest belt; for a screw, give its lead and 1 tooth",
    )
    pulley_teeth: int = number(1, 200, "teeth", "1 for a screw; larger pulleys are unusual for stepper motors")
    steps_per_turn: int = number(4, 10_000, "full steps", "tin-can motors have 20, geared ones thousands")
    microsteps: int = number(1, 256, "per full step", "256 is the finest that drivers offer")
    reversed: bool = Field(False, description="true when the axis moves the wrong way")
    step_rate_hz: int = number(100, STEP_RATE_HIGH_HZ, "steps/s", "path speed has 17 bits in the protocol", 40_000)

    @property
    def steps_per_mm(self) -> float:
        """Steps that move the belt by 1 mm."""
        return units.steps_per_mm(
            belt_pitch_mm=self.belt_pitch_mm,
            pulley_teeth=self.pulley_teeth,
            steps_per_turn=self.steps_per_turn,
            microsteps=self.microsteps,
        )


class Motors(Section):
    """Both motors."""

    a: Motor
    b: Motor


class Motion(Section):
    """Limits of the path as a whole."""

    junction_deviation_mm: float = number(0.001, 1, "mm", "from less than one step to a clearly rounded corner", 0.05)
    pen_down_speed_mm_s: float = number(0.5, 2000, "mm/s", "slower is hardly a motion; no axis is faster", 100.0)


class Driver(DriverCurrent):
    """Times of the step signals, and the current that the drivers are set to."""

    step_width_us: float = number(1, 20, "us", "hobby drivers need 1 to 2 us, opto-coupled ones up to 10 us", 2.0)
    direction_setup_us: float = number(1, 20, "us", "hobby drivers need up to 1 us, opto-coupled ones 5 to 10 us", 1.0)


class PenLift(Section):
    """The servo that lifts the pen, and the line the pen leaves."""

    up_us: int = number(SERVO_LOW_US, SERVO_HIGH_US, "us", "beyond it a hobby servo meets its stop and stalls")
    down_us: int = number(SERVO_LOW_US, SERVO_HIGH_US, "us", "beyond it a hobby servo meets its stop and stalls")
    lift_ms: int = number(0, 5000, "ms", "a servo turns 60 degrees in 100 to 250 ms", 150)
    lower_ms: int = number(0, 5000, "ms", "a servo turns 60 degrees in 100 to 250 ms", 150)
    near_us: int = number(0, SERVO_HIGH_US, "us", "between up and down, just clear of the paper; 0: not known", 0)
    near_ms: int = number(0, 5000, "ms", "a servo reacts within 20 ms and turns a few degrees in another 20 ms", 80)
    width_mm: float = number(0.05, 30, "mm", "from a hairline to a broad brush", 0.5)

    @property
    def clear_us(self) -> int:
        """Pulse just clear of the paper; the up pulse if it is unknown."""
        return self.near_us or self.up_us


class Homing(Section):
    """How the machine finds its zero."""

    fast_mm_s: float = number(0.5, 500, "mm/s", "faster runs past the switch into the frame", 30.0)
    slow_mm_s: float = number(0.1, 100, "mm/s", "faster is not repeatable", 4.0)
    accel_mm_s2: float = number(1, 50_000, "mm/s^2", "50 m/s^2 is five times gravity", 500.0)
    backoff_mm: float = number(0.1, 100, "mm", "enough for the switch to open again", 3.0)
    passes: int = number(1, 20, "approaches", "more passes only wear the switch", 2)


class SheetPlace(Section):
    """Where the sheet lies, and which sheet it usually is."""

    # TOML arrays arrive as lists, so the pair is lax; its numbers stay strict.
    offset_mm: tuple[
        Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)],
        Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)],
    ] = Field(default=(0.0, 0.0), strict=False, description="machine position of the sheet's top left corner, [x, y]")
    turn_deg: float = number(-5, 5, "degrees", "lay it straighter", 0.0)
    size: Name = Field(default="A4", description="A0..A6, letter, legal, or a free size such as 210x297mm")
    margin_mm: float = number(0, 500, "mm", "kept clear on all sides", 10.0)

    @property
    def position(self) -> SheetPosition:
        """Position and rotation of the sheet."""
        return SheetPosition(self.offset_mm, self.turn_deg)


class Park(Section):
    """Where the pen waits."""

    position_mm: tuple[
        Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)],
        Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)],
    ] = Field(default=(0.0, 0.0), strict=False, description="machine position after a drawing, [x, y]")


class PenHeight(Section):
    """Change of ``pen.down_us`` over the sheet, measured on a grid."""

    x_mm: tuple[float, ...] = Field(default=(), strict=False, description="machine x of the columns, mm, ascending")
    y_mm: tuple[float, ...] = Field(default=(), strict=False, description="machine y of the rows, mm, ascending")
    change_us: tuple[Annotated[tuple[float, ...], Field(strict=False)], ...] = Field(
        default=(), strict=False, description="one row of changes per value of y_mm, one change per value of x_mm"
    )


Deviations = tuple[Annotated[tuple[float, float], Field(strict=False)], ...]


class Corrections(Section):
    """Measured errors of the machine, written by the fit of a trial sheet."""

    scale_x: float = number(-0.2, 0.2, "", "an error of 20 % means a wrong pulley, not a scale error", 0.0)
    scale_y: float = number(-0.2, 0.2, "", "an error of 20 % means a wrong pulley, not a scale error", 0.0)
    squareness_deg: float = number(-5, 5, "degrees", "a larger error is clearly visible: align the rails", 0.0)
    backlash_x_mm: float = number(0, 3, "mm", "more means a loose pulley or belt: tighten it", 0.0)
    backlash_y_mm: float = number(0, 3, "mm", "more means a loose pulley or belt: tighten it", 0.0)
    straightness_x_mm: Deviations = Field(default=(), strict=False, description="[x, deviation in y] in order of x, mm")
    straightness_y_mm: Deviations = Field(default=(), strict=False, description="[y, deviation in x] in order of y, mm")
    pen_height: PenHeight = PenHeight()


class GuardTimes(Section):
    """Times after which the board acts by itself."""

    idle_after_s: float = number(0, 3600, "s", "0: never switch the motors off; at most one hour", 60.0)
    host_silence_s: float = number(0.5, 600, "s", "a shorter time would trip on a busy laptop", 0.7)
    rest_current_after_s: float = number(0, 60, "s", "rotors oscillate for some tenths of a second after a stop", 0.5)


class DriftChecks(Section):
    """When a drawing homes again to check whether the machine has kept its position."""

    check: tuple[Literal["start", "pens", "end"], ...] = Field(
        default=(), strict=False, description="moments of a drawing: at its start, between pens, at its end"
    )
    limit_mm: float = number(0.01, 100, "mm", "from less than one step to a ruined drawing", 0.3)


class Pins(Section):
    """GPIO numbers on the board."""

    step_a: int = number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 2)
    step_b: int = number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 3)
    direction_a: int = number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 4)
    direction_b: int = number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 5)
    enable: int = number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 6)
    servo: int = number(0, 47, "GPIO", "RP2040: 0..29, RP2350: 0..47 (data sheets)", 7)
    endstop_x: int | None = number(0, 47, "GPIO", "leave out if there is no switch", None)
    endstop_y: int | None = number(0, 47, "GPIO", "leave out if there is no switch", None)
    rest_current: int | None = number(0, 47, "GPIO", "leave out if the drivers have no such input", None)
    motor_power: int | None = number(0, 47, "GPIO", "leave out if nothing senses the motor supply", None)
