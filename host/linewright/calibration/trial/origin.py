"""Compares a rig file with the one a sheet was drawn with: a correction is valid only for that one.

A fit measures the error left by the corrections at the time of drawing, and replaces them by the sum. With other
corrections in the rig file, that sum is wrong.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from linewright.rig.rig import Rig

SECTIONS: Final = ("kinematics", "corrections")
MOTOR: Final = {"belt_pitch_mm", "pulley_teeth", "steps_per_turn", "microsteps", "reversed"}
"""Keys that affect where a point is drawn. Limits and smoothing affect only speed, which a ruler does not show."""


def differences(drawn: Rig, now: Rig, changes: Mapping[str, object]) -> tuple[str, ...]:
    """Differences between a rig file and the one a sheet was drawn with, as far as they affect a result.

    Parameters
    ----------
    drawn, now : the rig at the time of drawing, and now.
    changes : keys to be changed by the result; they must be unchanged.

    Returns
    -------
    One entry for each key, with both values.

    Examples
    --------
    >>> from linewright.rig.rig import Rig
    >>> rig = Rig.default()
    >>> differences(rig, rig.changed({"corrections.scale_x": 0.005}), {})
    ('corrections.scale_x (drawn with 0, now 0.005)',)
    >>> differences(rig, rig.changed({"axis.x.accel_mm_s2": 900.0}), {})
    ()
    """
    then, since = _kept(drawn, changes), _kept(now, changes)
    return tuple(
        f"{key} (drawn with {_short(then.get(key))}, now {_short(since.get(key))})"
        for key in sorted({*then, *since})
        if then.get(key) != since.get(key)
    )


def already(now: Rig, changes: Mapping[str, object]) -> tuple[str, ...] | None:
    """Corrections already in a rig file, as ``key = value``; None if it has all of them."""
    says = dict(_flat(now.model_dump(mode="json")))
    after = dict(_flat(now.changed(changes).model_dump(mode="json"))) if changes else says
    if after == says:
        return None
    plain = dict(_flat(type(now).default().changed({"corrections": {}}).model_dump(mode="json")))
    wanted = [key for key in says if key.startswith("corrections.") and after.get(key) != says[key]]
    return tuple(f"{key} = {_short(says[key])}" for key in wanted if says[key] != plain.get(key))


def _kept(rig: Rig, changes: Mapping[str, object]) -> dict[str, Any]:
    """Relevant keys: the geometry, and the keys to be changed."""
    every = dict(_flat(rig.model_dump(mode="json")))

    def matters(key: str) -> bool:
        section, _, rest = key.partition(".")
        if section == "motor":
            return rest.rpartition(".")[2] in MOTOR
        return section in SECTIONS or key in ("sheet.offset_mm", "sheet.turn_deg", *changes)

    return {key: value for key, value in every.items() if matters(key)}


def _flat(table: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    """Dotted keys and their values."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{path}{key}.")
        else:
            yield f"{path}{key}", value


def _short(value: object) -> str:
    """A value for a message; large tables are only named."""
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list | tuple) and str(value).count(",") > 1:
        return f"a table of {len(value)}"
    return "nothing" if value in ((), [], None) else str(value)
