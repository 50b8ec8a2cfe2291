"""JSON Schemas of TOML inputs, made from their models."""

from __future__ import annotations

from typing import Any, Final

_UNITS: Final = {"_mm": "mm", "_deg": "degree", "_um": "micrometre", "_pitch": "1/inch"}


def with_units(schema: dict[str, Any], title: str, description: str) -> dict[str, Any]:
    """Add dialect, title, and the unit that a key's suffix states, to a JSON Schema."""

    def add(node: Any) -> None:
        if isinstance(node, dict):
            for key, entry in node.get("properties", {}).items():
                unit = next((u for suffix, u in _UNITS.items() if key.endswith(suffix)), None)
                if unit and isinstance(entry, dict):
                    entry["unit"] = unit
            for value in node.values():
                add(value)
        elif isinstance(node, list):
            for value in node:
                add(value)

    head = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    result = {**head, **schema, "title": title, "description": description}
    add(result)
    return result
