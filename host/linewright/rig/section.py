"""Base class of the sections of a rig file: strict, frozen, each number with bounds and their reason."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field


def number(low: float, high: float, unit: str, why: str, default: Any = ...) -> Any:
    """A number with physical bounds; ``why`` is the reason for them."""
    return Field(default, ge=low, le=high, allow_inf_nan=False, description=why, json_schema_extra={"unit": unit})


class Section(BaseModel):
    """One table of the file."""

    # Strict: "80" in quotes, or true for a number, is an error.
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


"""Values are not converted, unknown keys are refused, and instances are immutable."""
