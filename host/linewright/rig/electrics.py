"""Electrical and mechanical figures of a rig: supplies, windings, driver currents, moving masses.

They do not change the motion, so they are not part of a program's fingerprint. `linewright rig check` uses them to
check safety and limits. Each may be omitted; what depends on it is then reported as unchecked.
"""

from __future__ import annotations

from typing import Any, Final, Literal

from pydantic import Field

from linewright.rig.section import Section, number


class Windings(Section):
    """Data-sheet figures of a motor; part of ``[motor.?]``."""

    rated_current_a: float | None = number(
        0.05, 20, "A", "can-stack motors take 0.1 A per winding, large motors 10 A", None
    )
    resistance_ohm: float | None = number(0.05, 500, "ohm", "of one winding, measured with an ohmmeter", None)
    inductance_mh: float | None = number(0.05, 500, "mH", "of one winding; data sheet", None)
    holding_torque_n_m: float | None = number(0.001, 50, "N m", "both windings at rated current; data sheet", None)
    rotor_inertia_g_cm2: float | None = number(0.1, 50_000, "g cm^2", "data sheet; 54 for a typical 42 mm motor", None)


class Load(Section):
    """Moving mass and friction of an axis; part of ``[axis.?]``."""

    moving_mass_g: float | None = number(1, 100_000, "g", "from a pen holder to a heavy gantry", None)
    drag_n: float | None = number(0, 500, "N", "reading of a spring scale that pulls the carriage", None)


class DriverCurrent(Section):
    """Settings and limits of the drivers; part of ``[driver]``."""

    current_a: float | None = number(0.05, 20, "A", "peak current per winding that the driver is set to", None)
    sense_ohm: float | None = number(0.005, 5, "ohm", "sense resistor on the driver", None)
    reference_factor: float | None = number(
        0.1, 100, "", "k of V = I x k x R in the driver's data sheet; 8 and 5 are common", None
    )
    logic_v: float = number(1.8, 5.5, "V", "supply of the driver's logic side", 3.3)
    motor_v_max: float | None = number(5, 100, "V", "highest motor supply in the driver's data sheet", None)
    enable_pull_up: Literal["yes", "no"] = Field(
        default="no", description="whether a resistor holds the drivers' enable line at the off level"
    )


class Supply(Section):
    """``[supply]``: power supplies."""

    motor_v: float | None = number(3, 80, "V", "above 60 V direct current is no longer extra-low voltage", None)
    motor_a: float | None = number(0.1, 100, "A", "current on the supply's plate", None)
    servo: Literal["own", "regulator", "usb"] = Field(
        default="own",
        description="a 5 V supply of its own, a regulator fed from the motor supply, or the board's USB line",
    )
    servo_a: float | None = number(0.1, 50, "A", "current of the servo's supply or regulator", None)
    servo_stall_a: float | None = number(0.05, 20, "A", "data sheet; 0.7 for a micro servo, 2.5 for a large one", None)
    power_sense: Literal["none", "optocoupler", "divider"] = Field(
        default="none", description="circuit at pins.motor_power that senses whether the motors have power"
    )
    switch_v: float = number(
        0, 48, "V", "0 for plain contacts to ground; otherwise the supply voltage of the sensors", 0.0
    )
    switch_shifted: Literal["yes", "no"] = Field(
        default="no", description="whether optocouplers or level shifters reduce the sensors' signals to 3.3 V"
    )


WITHOUT_MOTION: Final[Any] = {
    "motor": {"a": set(Windings.model_fields), "b": set(Windings.model_fields)},
    "axis": {axis: {*Load.model_fields, "endstop_contact"} for axis in ("x", "y")},
    "driver": set(DriverCurrent.model_fields),
}
"""Keys that `Rig.fingerprint` leaves out, as pydantic's ``exclude`` takes them."""
