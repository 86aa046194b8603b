"""What every section of a rig file is made of: strict, frozen, each number with its bounds and their reason."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field


def number(low: float, high: float, unit: str, why: str, default: Any = ...) -> Any:
    """A number with its physical bounds: ``why`` says what stops a machine from being outside them."""
    return Field(default, ge=low, le=high, allow_inf_nan=False, description=why, json_schema_extra={"unit": unit})


class Section(BaseModel):
    """One table of the file."""

    # strict: a rig file that says "80" in quotes, or true for a number, is a slip and not a number.
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


"""Nothing is converted, nothing is added, nothing changes after it has been read."""
