"""The only unit conversions of the host.

Lengths are millimetres, times seconds, angles radians unless a name says otherwise (``_us``, ``_ms``, ``_deg``).
"""

from __future__ import annotations

import math
import re
from typing import Final

MM_PER_INCH: Final = 25.4
"""Exact: the international inch (international yard and pound agreement, 1959)."""

MM_PER: Final[dict[str, float]] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "q": 0.25,
    "in": MM_PER_INCH,
    "px": MM_PER_INCH / 96.0,
    "pt": MM_PER_INCH / 72.0,
    "pc": MM_PER_INCH / 6.0,
}
"""Millimetres in one of each absolute unit. px, pt, pc and Q as in CSS Values and Units Level 3, section 5.2
(1 px = 1/96 in, 1 pt = 1/72 in, 1 pc = 12 pt, 1 Q = a quarter of a millimetre)."""

MM_PER_PX: Final = MM_PER["px"]

TICK_HZ: Final = 5_000_000
"""Clock of the pulse words: one tick is 200 ns. It divides the 125 MHz and the 150 MHz of the boards' processors."""

US_PER_S: Final = 1_000_000
MS_PER_S: Final = 1_000
NS_PER_US: Final = 1_000

MILLI: Final = 1_000.0
"""Thousandths in a whole: millimetres in a metre, grams in a kilogram, millihenries in a henry."""
KG_M2_PER_G_CM2: Final = 1e-7
"""1 g cm^2 = 1e-3 kg x 1e-4 m^2."""

_LENGTH = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z]*)\s*", re.ASCII)


def length_mm(text: str, *, unit: str = "mm") -> float:
    """Read a length such as ``210``, ``21cm`` or ``8.5 in``.

    Parameters
    ----------
    text : number with an optional unit of `MM_PER`, in either case.
    unit : what a bare number is measured in.

    Returns
    -------
    float, mm

    Raises
    ------
    ValueError
        If the text is not a finite number with a known unit.

    Examples
    --------
    >>> length_mm("2 in")
    50.8
    >>> length_mm("")
    Traceback (most recent call last):
    ...
    ValueError: '' is not a length; write a number with one of the units mm, cm, m, q, in, px, pt, pc
    """
    match = _LENGTH.fullmatch(text)
    named = (match[2].lower() or unit) if match else ""
    value = float(match[1]) * MM_PER[named] if match and named in MM_PER else math.nan
    if not math.isfinite(value):
        units = ", ".join(MM_PER)
        raise ValueError(f"{text!r} is not a length; write a number with one of the units {units}")
    return value


def inches_to_mm(inches: float) -> float:
    """Inches to millimetres, exact definition."""
    return inches * MM_PER_INCH


def steps_per_mm(*, belt_pitch_mm: float, pulley_teeth: int, steps_per_turn: int, microsteps: int) -> float:
    """Steps that move the belt by one millimetre.

    One turn of the pulley moves the belt by pitch x teeth and takes the motor's full steps times the driver's
    microsteps: 200 x 16 / (2 mm x 20) = 80 steps/mm (common practice).
    """
    return steps_per_turn * microsteps / (belt_pitch_mm * pulley_teeth)


def us_to_ns(us: float) -> int:
    """Microseconds to whole nanoseconds, nearest."""
    return round(us * NS_PER_US)


def s_to_ms(s: float) -> int:
    """Seconds to whole milliseconds, nearest."""
    return round(s * MS_PER_S)


def ticks_to_s(ticks: int) -> float:
    """Ticks of the pulse clock to seconds."""
    return ticks / TICK_HZ


def ms_to_ticks(ms: int) -> int:
    """Whole milliseconds to ticks of the pulse clock, exact."""
    return ms * (TICK_HZ // MS_PER_S)
