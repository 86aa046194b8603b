"""The part of the rig file that the virtual rig's physics and checks need.

A `Machine` is stored as JSON: the rig's process gets one at start, and every tape begins with one, so that a tape can
be read after the rig file has changed.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

Pair = tuple[float, float]

NORMALLY_CLOSED = "normally-closed"


@dataclass(frozen=True)
class Machine:
    """Mechanics, limits and pen of one rig.

    Parameters
    ----------
    crossed : False: motor A = x, B = y. True: crossed belt, A = x + y, B = x - y.
    steps_per_mm : of motors A and B.
    travel_mm, speed_mm_s, accel_mm_s2, endstop : of the axes x and y; endstop is ``min``, ``max`` or ``none``.
    step_rate_hz : limits of motors A and B, steps/s.
    junction_deviation_mm : allowed rounding of corners; see `linewright.simulation.pulse_checks`.
    step_width_us, direction_setup_us : minimum times of the drivers.
    home_backoff_mm : distance between an axis' switch and its zero (or far end).
    pen_up_us, pen_down_us, pen_lift_ms, pen_lower_ms : servo pulses and travel times.
    pen_clear_us, pen_near_ms : pulse just clear of the paper (the up pulse if unknown), and the time from there to the
        paper.
    reversed : direction of motors A and B: True where the board inverts it.
    endstop_pins : board pins of the switches of x and y; -1: none.
    opens : whether the switches of x and y are normally closed (open when pressed).
    """

    crossed: bool = False
    steps_per_mm: Pair = (80.0, 80.0)
    travel_mm: Pair = (300.0, 220.0)
    speed_mm_s: Pair = (200.0, 200.0)
    accel_mm_s2: Pair = (2000.0, 2000.0)
    endstop: tuple[str, str] = ("min", "min")
    step_rate_hz: Pair = (40_000.0, 40_000.0)
    junction_deviation_mm: float = 0.05
    step_width_us: float = 2.0
    direction_setup_us: float = 1.0
    home_backoff_mm: float = 3.0
    pen_up_us: int = 1300
    pen_down_us: int = 1700
    pen_lift_ms: int = 150
    pen_lower_ms: int = 150
    pen_clear_us: int = 1300
    pen_near_ms: int = 80
    reversed: tuple[bool, bool] = (False, False)
    endstop_pins: tuple[int, int] = (-1, -1)
    opens: tuple[bool, bool] = (False, False)

    @classmethod
    def from_rig(cls, rig: Rig) -> Machine:
        """The machine that a rig file describes."""
        return cls(
            crossed=rig.kinematics.type == "crossed-belt",
            steps_per_mm=(float(rig.steps_per_mm[0]), float(rig.steps_per_mm[1])),
            travel_mm=(rig.x.travel_mm, rig.y.travel_mm),
            speed_mm_s=(rig.x.speed_mm_s, rig.y.speed_mm_s),
            accel_mm_s2=(rig.x.accel_mm_s2, rig.y.accel_mm_s2),
            endstop=(rig.x.endstop, rig.y.endstop),
            step_rate_hz=(float(rig.a.step_rate_hz), float(rig.b.step_rate_hz)),
            junction_deviation_mm=rig.motion.junction_deviation_mm,
            step_width_us=rig.driver.step_width_us,
            direction_setup_us=rig.driver.direction_setup_us,
            home_backoff_mm=rig.homing.backoff_mm,
            pen_up_us=rig.pen.up_us,
            pen_down_us=rig.pen.down_us,
            pen_lift_ms=rig.pen.lift_ms,
            pen_lower_ms=rig.pen.lower_ms,
            pen_clear_us=rig.pen.clear_us,
            pen_near_ms=rig.pen.near_ms,
            reversed=(rig.a.reversed, rig.b.reversed),
            endstop_pins=(_pin(rig.pins.endstop_x), _pin(rig.pins.endstop_y)),
            opens=(rig.x.endstop_contact == NORMALLY_CLOSED, rig.y.endstop_contact == NORMALLY_CLOSED),
        )

    @classmethod
    def from_json(cls, text: str) -> Machine:
        """Read what `to_json` wrote.

        Raises
        ------
        ValueError
            The text is not JSON, or a field is missing or unknown.
        """
        raw: Any = json.loads(text)
        names = {field.name for field in fields(cls)}
        if not isinstance(raw, dict) or set(raw) != names:
            raise ValueError(f"a machine has exactly the fields {', '.join(sorted(names))}")
        values: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in raw.items()}
        return cls(**values)

    def to_json(self) -> str:
        """One line of JSON for `from_json`."""
        return json.dumps(asdict(self))

    @property
    def to_steps(self) -> NDArray[np.float64]:
        """(2, 2) float64: millimetres (x, y) to steps (A, B)."""
        a, b = self.steps_per_mm
        return np.array([[a, a], [b, -b]]) if self.crossed else np.array([[a, 0.0], [0.0, b]])

    @property
    def to_mm(self) -> NDArray[np.float64]:
        """(2, 2) float64: steps (A, B) to millimetres (x, y)."""
        return np.asarray(np.linalg.inv(self.to_steps), dtype=np.float64)

    @property
    def frame_mm(self) -> Pair:
        """Length of the axes, mm, including the distance between travel and switch.

        In true coordinates a switch at the near end closes at 0, one at the far end at this length.
        """
        x, y = (
            travel + (0.0 if end == "none" else self.home_backoff_mm)
            for travel, end in zip(self.travel_mm, self.endstop, strict=True)
        )
        return x, y

    @property
    def step_mm(self) -> float:
        """The larger step of the two motors, mm of belt."""
        return 1.0 / min(self.steps_per_mm)

    def pen_is_down(self, servo_us: int) -> bool:
        """Whether a servo pulse puts the pen below the height that is clear of the paper; 0 (no pulse) means up."""
        return servo_us != 0 and abs(servo_us - self.pen_down_us) < abs(servo_us - self.pen_clear_us)

    def pen_needs_ms(self, before_us: int, servo_us: int) -> int:
        """Travel time of the pen between two pulses, ms."""
        whole, clear = abs(self.pen_up_us - self.pen_down_us), abs(self.pen_clear_us - self.pen_down_us)
        near = clear < whole
        if not near:
            return self.pen_lower_ms if self.pen_is_down(servo_us) else self.pen_lift_ms
        if not self.pen_is_down(servo_us) and self.pen_is_down(before_us):
            return self.pen_near_ms
        # The last part takes ``pen_near_ms``, the part above a proportional share of the rest.
        begin = abs(before_us - self.pen_down_us) if before_us else whole
        further = max(begin - max(clear, abs(servo_us - self.pen_down_us)), 0) / (whole - clear)
        last = self.pen_near_ms if self.pen_is_down(servo_us) else 0
        return round(last + min(further, 1.0) * (self.pen_lower_ms - self.pen_near_ms))


def _pin(number: int | None) -> int:
    """Pin number as in the board's settings: -1 for none."""
    return -1 if number is None else number
