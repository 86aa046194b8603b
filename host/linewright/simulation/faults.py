"""Faults of the simulated machine, with names and ranges.

On the command line each is ``--fault name=value``. All are off by default and none is random, so repeated runs are
identical. (Faults of the link are in `linewright.virtual.bad_wire` and seeded.)
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Self

from linewright.errors import InputError


def fault(meaning: str, unit: str, low: float, high: float, default: float = 0.0) -> float:
    """A dataclass field with meaning, unit and range."""
    metadata = {"meaning": meaning, "unit": unit, "low": low, "high": high}
    value: float = field(default=default, metadata=metadata)
    return value


@dataclass(frozen=True)
class Defects:
    """Base of the dataclasses of faults: named numbers with ranges."""

    @classmethod
    def parse(cls, options: Iterable[str]) -> Self:
        """Read options such as ``backlash_x_mm=0.2``.

        Raises
        ------
        InputError
            If a name is unknown, a value is not a number, or a value is out of range.
        """
        known = {f.name: f for f in dataclasses.fields(cls)}
        values: dict[str, float] = {}
        for option in options:
            name, _, text = option.partition("=")
            name = name.strip()
            if name not in known:
                raise InputError(f"no fault is called {name!r}", hint=f"known are: {', '.join(known)}")
            low, high = known[name].metadata["low"], known[name].metadata["high"]
            try:
                value = float(text)
            except ValueError:
                raise InputError(f"fault {name} = {text!r} is not a number", hint=f"{name}={high:g}") from None
            if not low <= value <= high:
                unit = known[name].metadata["unit"]
                raise InputError(f"fault {name} = {value:g} is outside {low:g}..{high:g} {unit}".rstrip())
            values[name] = value
        return cls(**values)

    @classmethod
    def described(cls) -> str:
        """One line per fault, for help texts."""
        lines = []
        for f in dataclasses.fields(cls):
            unit = f" {f.metadata['unit']}" if f.metadata["unit"] else ""
            lines.append(f"{f.name}: {f.metadata['meaning']} ({f.metadata['low']:g}..{f.metadata['high']:g}{unit})")
        return "\n".join(lines)

    def options(self) -> list[str]:
        """Options for `parse` that give the same faults; only those that differ from their defaults."""
        return [
            f"{f.name}={getattr(self, f.name)!r}"
            for f in dataclasses.fields(self)
            if getattr(self, f.name) != f.default
        ]


@dataclass(frozen=True)
class Faults(Defects):
    """Faults of one machine. Every field is a number; its default means no fault."""

    skew_deg: float = fault("y axis leans towards +x by this angle (squareness error)", "deg", -10, 10)
    scale_x: float = fault("x moves too far by this share: 0.01 = 1 %", "", -0.2, 0.2)
    scale_y: float = fault("y moves too far by this share", "", -0.2, 0.2)
    backlash_x_mm: float = fault("backlash of the x axis", "mm", 0, 5)
    backlash_y_mm: float = fault("backlash of the y axis", "mm", 0, 5)
    ringing_x_hz: float = fault("undamped natural frequency of the x axis; 0 = stiff", "Hz", 0, 500)
    ringing_y_hz: float = fault("undamped natural frequency of the y axis; 0 = stiff", "Hz", 0, 500)
    ringing_damping: float = fault("damping ratio of the ringing", "", 0.0, 0.95, 0.08)
    bow_x_mm: float = fault("the x rail pushes the pen aside in y by this much in its middle", "mm", -5, 5)
    bow_y_mm: float = fault("the y rail pushes the pen aside in x by this much in its middle", "mm", -5, 5)
    paper_tilt_x_us: float = fault(
        "slope of the paper along x: additional servo pulse needed at the far end", "us", -500, 500
    )
    paper_tilt_y_us: float = fault("slope of the paper along y, likewise", "us", -500, 500)
    paper_bow_us: float = fault("sag of the paper in the middle", "us", -500, 500)
    pull_out_a_hz: float = fault("motor A loses steps above this rate; 0 = never", "Hz", 0, 1e6)
    pull_out_b_hz: float = fault("motor B, likewise", "Hz", 0, 1e6)
    start_x_mm: float = fault("position of the carriage at power-up", "mm", 0, 5000, 40.0)
    start_y_mm: float = fault("position of the carriage at power-up", "mm", 0, 5000, 30.0)
    bounce_ms: float = fault("endstops bounce for this time after each change", "ms", 0, 100)
    switch_scatter_mm: float = fault("standard deviation of the endstops' switching points", "mm", 0, 1)
    dead_x: float = fault("1: the x endstop never closes", "", 0, 1)
    dead_y: float = fault("1: the y endstop never closes", "", 0, 1)
    stuck_x: float = fault("1: the x endstop is always closed", "", 0, 1)
    stuck_y: float = fault("1: the y endstop is always closed", "", 0, 1)
    swapped_endstops: float = fault("1: the wires of the endstops are swapped", "", 0, 1)
    reversed_a: float = fault("1: motor A turns the other way than the rig file says", "", 0, 1)
    reversed_b: float = fault("1: motor B, likewise", "", 0, 1)
    swapped_motors: float = fault("1: the plugs of the motors are swapped", "", 0, 1)
    still_a: float = fault("1: motor A does not turn, as with a disconnected coil", "", 0, 1)
    still_b: float = fault("1: motor B, likewise", "", 0, 1)
    power_off_at_s: float = fault("the motors lose power at this time after the start; 0 = never", "s", 0, 1e5)
    power_off_for_s: float = fault("duration of that loss of power", "s", 0.01, 3600, 2.0)
    inverted_servo: float = fault("1: the servo's arm points the other way, so up is down", "", 0, 1)

    @property
    def uneven_paper(self) -> bool:
        """Whether the paper's height under the pen varies."""
        return any((self.paper_tilt_x_us, self.paper_tilt_y_us, self.paper_bow_us))

    @property
    def bends_the_path(self) -> bool:
        """Whether the pen's position differs from the counted steps."""
        return any(
            (
                self.skew_deg,
                self.scale_x,
                self.scale_y,
                self.backlash_x_mm,
                self.backlash_y_mm,
                self.bow_x_mm,
                self.bow_y_mm,
                self.ringing_x_hz,
                self.ringing_y_hz,
                self.pull_out_a_hz,
                self.pull_out_b_hz,
            )
        )
