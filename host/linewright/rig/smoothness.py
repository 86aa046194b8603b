"""``[smoothing]``: smoothing of the motion. See `motion/tip` and `motion/shaping`."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from linewright.rig.section import Section, number


class Smoothing(Section):
    """Smoothing of the motion; off by default."""

    jerk_mm_s3: float = number(0, 100_000_000, "mm/s^3", "0: unlimited; an S-curve takes accel / jerk longer", 0.0)
    shaper: Literal["none", "tip", "zv", "zvd"] = Field(
        default="none",
        description="none; tip: the motors' path is bent so that the pen follows the line; zv, zvd: slower, the "
        "motors stay on the line",
    )
    x_hz: float = number(0, 200, "Hz", "0: not known; belt-driven carriages ring at a few to some tens of Hz", 0.0)
    y_hz: float = number(0, 200, "Hz", "0: not known; belt-driven carriages ring at a few to some tens of Hz", 0.0)
    x_damping: float = number(0, 0.9, "of critical", "from undamped to hardly any oscillation", 0.05)
    y_damping: float = number(0, 0.9, "of critical", "from undamped to hardly any oscillation", 0.05)
    band: float = number(0, 0.3, "of the frequencies", "from exactly known to roughly known", 0.05)
    swing_mm: float = number(0.001, 5, "mm", "from less than one step to a clearly visible oscillation", 0.05)
