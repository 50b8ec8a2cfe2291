"""What every TOML table of gearqa has in common, and how its own checks name the key at fault."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError

from gearqa.errors import Reason
from gearqa.model.ranges import plausible_range


def _fields(schema: Any) -> dict[str, Any]:
    """Fields of a table, wherever its own validators have put them."""
    while schema["type"] != "model-fields":
        if "schema" not in schema:  # a reference to a table that is known already
            return {}
        schema = schema["schema"]
    fields: dict[str, Any] = schema["fields"]
    return fields


def _bound(key: str, node: Any) -> None:
    """Give all numbers below a field their plausible range; tables inside have done so themselves."""
    if isinstance(node, list):
        for one in node:
            _bound(key, one)
    elif isinstance(node, dict) and node.get("type") != "model":
        if node.get("type") in ("float", "int"):
            node.update(plausible_range(key, node["type"], node))
        for one in node.values():
            _bound(key, one)


class TomlTable(BaseModel):
    """A TOML table: every key known, strict types, immutable; no number beyond what it can mean."""

    model_config = ConfigDict(
        extra="forbid",
        strict=True,
        frozen=True,
        allow_inf_nan=False,
        populate_by_name=True,
        defer_build=True,
    )

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        schema = handler(source)
        for key, field in _fields(schema).items():
            _bound(key, field)
        return schema


def about(text: str, **settings: Any) -> Any:
    """A field with the sentence that explains it to users: in the JSON Schema and in new part files."""
    return Field(description=text, **settings)


def optional(text: str, **settings: Any) -> Any:
    """A field that may be left out."""
    return about(text, default=None, **settings)


def section(text: str | None = None) -> Any:
    """A table that may be left out: then it holds its defaults."""
    return Field(description=text, default={}, validate_default=True)


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
