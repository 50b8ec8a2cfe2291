"""JSON Schemas of the results, made from the result models and from how `jsonio` prints them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from gearqa.results.entries import key_of
from gearqa.symbols import PARAMETERS

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
TOLERANCES_SCHEMA = "gearqa.tolerances/1"
UNITS = {
    "_mm": "mm", "_deg": "degree", "_um": "micrometre", "_arcmin": "minute of arc", "_degC": "degree Celsius",
}  # fmt: skip
SHA256 = "^[0-9a-f]{64}$"

SIMPLE: dict[Any, Schema] = {
    str: {"type": "string"},
    int: {"type": "integer"},
    float: {"type": "number"},
    bool: {"type": "boolean"},
    NoneType: {"type": "null"},
    datetime: {"type": "string", "format": "date-time"},
}

DESCRIPTIONS: dict[str, str] = {
    "class": "Smallest flank tolerance class that is met; null if none or not graded. Of a gear: the worst.",
    "class_exact": "Class as a real number, from the unrounded formula; null for a value of 0.",
    "class_complete": "False if something graded was not assessed.",
    "beyond": "Whether even class 11 is exceeded; then class is null and sorts as the worst.",
    "governing": "Parameters that share the worst class.",
    "conforms": "Meets the drawing; null if it could not be assessed.",
    "master_quality": "Meets what the job calls master quality; null if it cannot be decided.",
    "master_deciding": "Parameters that keep the gear from master quality, or leave it open.",
    "near_limit": "Values within the expanded uncertainty U of a limit; null if no U is given.",
    "value_um": "Value of largest magnitude over flanks and teeth, signed, not rounded.",
    "min_um": "Smallest signed value over traces.",
    "max_um": "Largest signed value over traces.",
    "mean_um": "Mean over the traces of the flank.",
    "spread_um": "Largest less smallest value over the traces of the flank.",
    "tolerance_um": "Rounded tolerance of the required class; null where the drawing states limits.",
    "limits_um": "Limits of the drawing; they win over the class.",
    "slope_um": "Slope over the span that the part file asks for.",
    "slope_evaluation_um": "Rise of the mean line over the evaluation length.",
    "slope_full_um": "Rise over control to tip diameter (profile) or the whole face width (helix).",
    "slope_by_helix_angle_um": "Helix slope, plus = larger helix angle.",
    "hand": "Helix slope of a spur gear: towards a right-hand or a left-hand helix.",
    "pressure_angle_deviation_arcmin": "Transverse pressure angle: what the flank's mean slope over the "
    "evaluation length amounts to; plus = too large. Not graded.",
    "base_radius_deviation_um": "Base radius: what the flank's mean slope over the evaluation length amounts "
    "to; plus = too large. Not graded.",
    "helix_angle_deviation_arcmin": "Helix angle: what the flank's mean slope over the evaluation length "
    "amounts to; plus = too large, of a spur gear towards a right-hand helix. Not graded.",
    "decision_rule": "How measurement uncertainty enters the verdict.",
    "simulated": "Whether any input is simulated or made up.",
}


def of_type(hint: Any) -> Schema:  # noqa: PLR0911 - one line per kind of type
    """Schema of a type hint."""
    if hint in SIMPLE:
        return dict(SIMPLE[hint])
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        return _either([of_type(one) for one in arguments])
    if origin is Literal:
        return {"enum": list(arguments)}
    if origin is tuple and len(arguments) == 2 and arguments[1] is Ellipsis:
        return {"type": "array", "items": of_type(arguments[0])}
    if origin is tuple:
        items = [of_type(one) for one in arguments]
        return {"type": "array", "prefixItems": items, "items": False, "minItems": len(items)}
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {"type": "object", "additionalProperties": of_type(arguments[1])}
    if is_dataclass(hint) and isinstance(hint, type):
        return of_fields(hint)
    raise TypeError(f"no schema for {hint!r}")


def _either(options: list[Schema]) -> Schema:
    if all(set(option) == {"type"} for option in options):
        return {"type": [option["type"] for option in options]}
    return {"anyOf": options}


def of_fields(
    model: type, names: Iterable[str] | None = None, *, optional: Iterable[str] = (), **replaced: Schema
) -> Schema:
    """Schema of a table with these fields of a model; `replaced` gives properties of another shape."""
    hints = get_type_hints(model)
    names = tuple(names) if names is not None else tuple(f.name for f in fields(model))
    properties: Schema = {}
    for name in names:
        key = key_of(name)
        properties[key] = replaced.get(key) or of_type(hints[name])
    left_out = set(map(key_of, optional))
    return table(properties, required=[key for key in properties if key not in left_out])


def table(properties: Schema, *, required: Iterable[str] | None = None) -> Schema:
    """Schema of a table in which nothing else may stand."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties) if required is None else list(required),
        "additionalProperties": False,
    }


def array(items: Schema) -> Schema:
    """Schema of a list."""
    return {"type": "array", "items": items}


def reference(name: str) -> Schema:
    """Reference to a definition of the same document."""
    return {"$ref": f"#/$defs/{name}"}


def document(schema_id: str, title: str, properties: Schema, definitions: Schema | None = None) -> Schema:
    """A whole schema: dialect, title, `schema` and `software` keys, units and descriptions."""
    whole = {
        "$schema": DIALECT,
        "title": title,
        **table({"schema": {"const": schema_id}, "software": software(), **properties}),
        **({"$defs": definitions} if definitions else {}),
    }
    _describe(whole)
    return whole


def software() -> Schema:
    """Schema of the key that names the program."""
    return table({"name": {"type": "string"}, "version": {"type": "string"}})


def input_file() -> Schema:
    """Schema of one entry of `inputs`: read, with its digest, or left out with the reason."""
    return table(
        {
            "file": {"type": "string"},
            "sha256": {"type": ["string", "null"], "pattern": SHA256},
            "left_out": {"type": "string"},
        },
        required=["file", "sha256"],
    )


def _describe(node: Any) -> None:
    if isinstance(node, dict):
        for key, entry in node.get("properties", {}).items():
            if not isinstance(entry, dict) or "$ref" in entry:
                continue
            unit = next((unit for suffix, unit in UNITS.items() if key.endswith(suffix)), None)
            if unit:
                entry["unit"] = unit
            if key in DESCRIPTIONS and "properties" not in entry:
                entry["description"] = DESCRIPTIONS[key]
        for value in node.values():
            _describe(value)
    elif isinstance(node, list):
        for value in node:
            _describe(value)


def tolerances_json_schema() -> Schema:
    """Schema of `tolerances --json`."""
    number: Schema = {"type": "number", "exclusiveMinimum": 0}
    gear = table(
        {
            "teeth": {"type": ["integer", "null"]},
            "normal_module_mm": number,
            "reference_diameter_mm": number,
            "face_width_mm": number,
            "helix_angle_deg": {"type": "number", "minimum": 0},
        }
    )
    gradable = {key: number for key, p in PARAMETERS.items() if p.grading != "never"}
    row = table(gradable, required=[key for key in gradable if key != "sector_pitch"])
    classes = {
        "type": "object",
        "patternProperties": {"^([1-9]|1[01])$": row},
        "additionalProperties": False,
        "minProperties": 1,
    }
    return document(
        TOLERANCES_SCHEMA,
        "Rounded tolerances of a gear, micrometres; a slope's is its magnitude",
        {"standard": {"type": "string"}, "gear": gear, "classes": classes},
    )
