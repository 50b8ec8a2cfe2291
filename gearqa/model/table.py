"""What every TOML table of gearqa has in common, and how its own checks name the key at fault."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from gearqa.errors import Reason


class TomlTable(BaseModel):
    """A TOML table: every key known, strict types, no NaN or infinity, immutable."""

    model_config = ConfigDict(
        extra="forbid", strict=True, frozen=True, allow_inf_nan=False, populate_by_name=True
    )


def about(text: str, **settings: Any) -> Any:
    """A field with the sentence that explains it to users: in the JSON Schema and in new part files."""
    return Field(description=text, **settings)


def optional(text: str, **settings: Any) -> Any:
    """A field that may be left out."""
    return about(text, default=None, **settings)


def fault(
    key: str,
    found: str,
    expected: str,
    *,
    reason: Reason = Reason.CONTRADICTION,
    hint: str = "",
    concerns: tuple[str, ...] = (),
) -> PydanticCustomError:
    """An error for a table's validator to raise: `key` is dotted and relative to the table.

    `concerns` names other keys that the check uses: if one of them is faulty itself, that is reported
    instead.
    """
    context = {
        "key": key, "found": found, "expected": expected, "reason": str(reason), "hint": hint,
        "concerns": list(concerns),
    }  # fmt: skip
    return PydanticCustomError("gearqa_fault", "{key}: found {found}, expected {expected}", context)
