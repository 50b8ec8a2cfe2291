"""Hand-made graded gears for lot decisions: values in, GearResult out, no measurement needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from gearqa.evaluation.criteria import Criteria, all_of, criteria_of
from gearqa.model.measurement import InputFile, Production
from gearqa.model.part import Part
from gearqa.model.results import (
    FlankResult,
    GearResult,
    GradeHeader,
    MasterCriterion,
    NotAssessed,
    ParameterResult,
)
from gearqa.symbols import PARAMETERS, Flank

GOOD: dict[str, float] = {
    "single_pitch": 2.0, "cumulative_pitch": 8.0, "runout": 7.0, "profile_total": 4.0, "profile_form": 3.0,
    "profile_slope": 1.0, "helix_total": 4.0, "helix_form": 3.0, "helix_slope": 1.0,
}  # fmt: skip
"""Values well within class 6 of the part below."""

UNCERTAINTY: dict[str, float] = {
    "single_pitch": 0.6, "cumulative_pitch": 1.2, "runout": 1.4, "profile_total": 0.9, "profile_form": 0.8,
    "profile_slope": 0.7, "helix_total": 0.9, "helix_form": 0.8, "helix_slope": 0.8,
}  # fmt: skip


def make_part(uncertainty: Mapping[str, Any] | None = None, **tolerance: Any) -> Part:
    """A ring of 87 teeth, class 6 required, class 4 called master quality."""
    return Part.model_validate(
        {
            "schema": "gearqa.part/1",
            "part": {"number": "OT-4471", "name": "Ring, orchard tractor", "revision": "C"},
            "gear": {
                "kind": "internal", "teeth": 87, "normal_module_mm": 1.75, "normal_pressure_angle_deg": 20.0,
                "helix_angle_deg": 18.0, "helix_hand": "right", "face_width_mm": 32.0,
            },
            "tolerance": {"class": 6, **tolerance},
            "uncertainty_um": UNCERTAINTY if uncertainty is None else dict(uncertainty),
        },
        by_alias=True,
    )  # fmt: skip


Value = float | tuple[float, float]


def make_gear(
    serial: str, part: Part, values: Mapping[str, Value | Mapping[Flank, Value]] | None = None, *,
    missing: Sequence[tuple[str, Flank | None]] = (), production: Production | None = None,
) -> GearResult:  # fmt: skip
    """A gear with the good values, changed where `values` says so; a pair is smallest and largest trace."""
    criteria = criteria_of(part)
    given = {**GOOD, **(values or {})}
    parameters = {
        key: _parameter(key, given[key], criteria, [flank for name, flank in missing if name == key])
        for key in criteria.asked
        if (key, None) not in missing
    }
    parameters = {key: one for key, one in parameters.items() if one is not None}
    classes = [one.class_ for one in parameters.values()]
    complete = not missing
    known = [c for c in classes if c is not None]
    verdicts = [one.conforms for one in parameters.values()] + [None for _ in missing]
    return GearResult(
        serial=serial,
        class_=max(known) if known and None not in classes else None,
        class_complete=complete,
        beyond=None in classes,
        governing=(),
        conforms=all_of(verdicts),
        master_quality=all_of([one.master_quality for one in parameters.values()]),
        master_deciding=(),
        near_limit=None,
        not_assessed=tuple(NotAssessed(key, flank, "not measured") for key, flank in missing),
        warnings=(),
        parameters=parameters,
        traces=(),
        pitch=(),
        production=production,
    )


def _parameter(
    key: str, given: Value | Mapping[Flank, Value], criteria: Criteria, lost: Sequence[Flank | None]
) -> ParameterResult | None:
    flanks: dict[Flank, FlankResult] = {}
    for flank, criterion in criteria.places[key]:
        if flank is not None and flank in lost:
            continue
        value = given[flank] if isinstance(given, Mapping) and flank is not None else given
        assert not isinstance(value, Mapping)
        low, high = value if isinstance(value, tuple) else (value, value)
        worst = max(low, high, key=abs)
        verdict = criterion.judge(worst, low, high)
        common = {
            "value_um": worst, "min_um": low, "max_um": high, "tooth": 1, "tooth_to": None,
            "class_": verdict.class_, "class_exact": verdict.class_exact, "beyond": verdict.beyond,
            "required_class": criterion.required_class, "tolerance_um": criterion.tolerance,
            "limits_um": criterion.limits, "conforms": verdict.conforms,
            "master_quality": verdict.master_quality,
        }  # fmt: skip
        if flank is None:
            return ParameterResult(
                symbol=PARAMETERS[key].symbol, flank=None, space=1, space_to=2, method="readings", **common
            )  # type: ignore[arg-type]
        flanks[flank] = FlankResult(
            symbol=PARAMETERS[key].symbol, mean_um=(low + high) / 2, spread_um=high - low, **common
        )  # type: ignore[arg-type]
    if not flanks:
        return None
    name, one = max(flanks.items(), key=lambda pair: abs(pair[1].value_um))
    return ParameterResult(
        symbol=PARAMETERS[key].symbol, value_um=one.value_um, min_um=min(f.min_um for f in flanks.values()),
        max_um=max(f.max_um for f in flanks.values()), flank=name, tooth=1, tooth_to=None, space=None,
        space_to=None, method=None,
        class_=None if any(f.class_ is None for f in flanks.values())
        else max(f.class_ for f in flanks.values() if f.class_ is not None),
        class_exact=one.class_exact, beyond=any(f.beyond for f in flanks.values()),
        required_class=one.required_class, tolerance_um=one.tolerance_um, limits_um=one.limits_um,
        conforms=all_of([f.conforms for f in flanks.values()]),
        master_quality=all_of([f.master_quality for f in flanks.values()]), flanks=flanks,
    )  # fmt: skip


def make_production(
    number: int, *, per_cycle: int = 10, cycle: int | None = None, every: int = 1, **more: Any
) -> Production:
    """The production row of the gear of that running number, from 0; every so many parts is measured."""
    at = datetime(2025, 3, 4, 6, 0) + timedelta(minutes=2 * number)
    row: dict[str, Any] = {
        "finished_at": at, "measured_at": at + timedelta(minutes=30), "grinder": "GR-1", "wheel": "W-1",
        "dress": f"D{(number // per_cycle if cycle is None else cycle):03d}",
        "parts_since_dress": number % per_cycle * every + 1, "instrument": "GM-1", "operator": "Inspector B",
        "temperature_degC": 20.1, "calibration_ref": "CAL-1", "calibration_due": datetime(2026, 1, 31),
    }  # fmt: skip
    return Production(**{**row, **more})


def make_header(part: Part, *, simulated: bool = False) -> GradeHeader:
    """What is true of the whole inspection."""
    return GradeHeader(
        standard=part.tolerance.standard,
        part={"number": part.part.number, "name": part.part.name, "revision": part.part.revision},
        inputs=(InputFile("part.toml", "0" * 64), InputFile("profile.csv", "1" * 64)),
        simulated=simulated,
        decision_rule="simple acceptance",
        master_quality=MasterCriterion(part.master_quality.class_, part.master_parameters),
    )


def make_lot(
    count: int, part: Part, changes: Mapping[int, Mapping[str, Any]] | None = None, *, per_cycle: int = 4,
    production: bool = True,
) -> list[GearResult]:  # fmt: skip
    """`count` good gears; `changes` gives other values to some of them by number."""
    return [
        make_gear(
            f"G{i:03d}", part, (changes or {}).get(i),
            production=make_production(i, per_cycle=per_cycle, every=9) if production else None,
        )
        for i in range(count)
    ]  # fmt: skip
