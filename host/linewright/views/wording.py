"""Durations and lengths as people say them."""

from __future__ import annotations


def duration(seconds: float) -> str:
    """``0.8 s``, ``42 s``, ``3 min 05 s``, ``2 h 07 min``."""
    if seconds < 10:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def length(mm: float) -> str:
    """``8.4 mm``, ``25 cm``, ``4.31 m``."""
    if abs(mm) < 100:
        return f"{mm:.1f} mm"
    if abs(mm) < 1000:
        return f"{mm / 10:.0f} cm"
    return f"{mm / 1000:.2f} m"


def grouped(number: int) -> str:
    """``1 204``: thousands set apart by a thin gap that no locale reads as a decimal point."""
    return f"{number:,}".replace(",", "\u202f")


def count(number: int, one: str, many: str | None = None) -> str:
    """``1 stroke``, ``1 204 strokes``."""
    return f"{grouped(number)} {one if number == 1 else many or one + 's'}"
