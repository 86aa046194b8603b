"""Durations, lengths and counts formatted for people."""

from __future__ import annotations

from typing import Final

GAP: Final = "\u202f"
"""Thousands separator: a narrow space, because a comma or full stop could be read as a decimal point."""


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
    """``1 204``: thousands separated by `GAP`."""
    return f"{number:,}".replace(",", GAP)


def times(number: int) -> str:
    """``once``, ``twice``, ``3 times``."""
    return {1: "once", 2: "twice"}.get(number, f"{grouped(number)} times")


def count(number: int, one: str, many: str | None = None) -> str:
    """``1 stroke``, ``1 204 strokes``."""
    return f"{grouped(number)} {one if number == 1 else many or one + 's'}"
