"""What is different when stored gears are graded anew, and the part data that comes of it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gearqa.errors import EvaluationError, PartFileError, Problem, Reason
from gearqa.history.parts import READING_KEYS, part_text
from gearqa.model.part import Part
from gearqa.symbols import FLANKS


@dataclass(frozen=True, slots=True)
class NewGrading:
    """How gears are graded anew; by default as their part data asks."""

    class_: int | None = None
    """Class required in general; what the drawing says of a parameter or flank stays."""
    part: Part | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    """Dotted keys of the part file with their new values."""
    from_files: bool = False
    """Evaluate the raw files again even where stored values would do."""


def changed_part(part: Part, new: NewGrading) -> Part:
    """The part data under which gears are graded anew; raises PartFileError."""
    document = json.loads(part_text(new.part or part))
    settings = dict(new.settings)
    if new.class_ is not None:
        settings["tolerance.class"] = new.class_
    if "tolerance.standard" in settings and part.slope_span == part.edition.slope_span:
        document.get("evaluation", {}).pop("slope_span", None)  # as the new system has it
    for key, value in settings.items():
        *tables, name = key.split(".")
        table = document
        for step in tables:
            table = table.setdefault(step, {})
            if not isinstance(table, dict):
                what = (f"'{value}'", "the name of a key")
                raise PartFileError(
                    [Problem(Reason.VALUE_OUT_OF_RANGE, "--set", *what, key=key, hint="no such table")]
                )
        table[name] = value
    for name in READING_KEYS:  # the gears' own folders are read as before
        document.pop(name, None)
        if (value := getattr(part, name)) not in (None, ()):
            document[name] = value
    try:
        changed = Part.model_validate_json(json.dumps(document, default=str))
    except ValueError as error:
        raise PartFileError(_validation_problems(error, settings)) from error
    if new.part is None and changed.edition.text != part.edition.text:
        _refuse_old_classes(part, changed, settings)
    if changed.part.number != part.part.number:
        raise EvaluationError(
            f"the part file is of part number {changed.part.number}, the gears are of {part.part.number}",
            hint="choose gears of one part number with --part-number",
        )
    return changed


def _refuse_old_classes(part: Part, changed: Part, settings: Mapping[str, Any]) -> None:
    """Raise PartFileError where classes of the former system would count as classes of the new one."""
    asked = changed.tolerance
    classes = {"tolerance.class": asked.class_, "tolerance.classes": asked.classes}
    for flank in FLANKS:
        own = getattr(asked, flank)
        classes |= {f"tolerance.{flank}.class": own.class_, f"tolerance.{flank}.classes": own.classes}
    classes["master_quality.class"] = changed.master_quality.class_
    kept = [
        key
        for key, value in classes.items()
        if value not in (None, {}) and not any(one == key or one.startswith(f"{key}.") for one in settings)
    ]
    if kept:
        found, title = ", ".join(kept), part.tolerance.standard
        expected = f"a class of {asked.standard}; those of the drawing are of {title} and are not converted"
        hint = "say --class and --set KEY=CLASS for the others, or give a drawing by that system with --part"
        raise PartFileError(
            [Problem(Reason.MISSING_KEY, "--standard", f"none for {found}", expected, hint=hint)]
        )


def _validation_problems(error: ValueError, settings: Mapping[str, Any]) -> list[Problem]:
    """Problems of a changed drawing, from what its schema says."""
    listed: list[dict[str, Any]] = error.errors()  # type: ignore[attr-defined]  # as pydantic raises it
    problems = []
    for one in listed:
        place = ".".join(str(step) for step in one["loc"])
        key = next((k for k in settings if k == place or k.endswith(f".{place}")), place)
        unknown = one["type"] == "extra_forbidden"
        reason = Reason.UNKNOWN_KEY if unknown else Reason.VALUE_OUT_OF_RANGE
        expected = "a key of the part file" if unknown else str(one["msg"])
        hint = "gearqa schema part lists the keys"
        problems.append(Problem(reason, "--set", repr(one.get("input")), expected, key=key, hint=hint))
    return problems
