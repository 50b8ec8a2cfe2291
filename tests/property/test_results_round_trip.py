"""What is written of a result is read back as it was, for all results that are read back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime, timedelta, timezone
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gearqa.errors import Notice
from gearqa.model.declared import Only
from gearqa.model.lot import Disposition, Exclusion, LotOptions
from gearqa.model.measurement import InputFile, Production
from gearqa.model.record import FirstResult
from gearqa.model.results import (
    CurveTrace,
    FlankResult,
    GearResult,
    LimitCurveResult,
    NotAssessed,
    ParameterResult,
    PitchResult,
    SizeResult,
    TraceResult,
    ZoneResult,
    ZoneTrace,
)
from gearqa.model.store_reports import AuditEntry, StoredPart
from gearqa.results.codec import read
from gearqa.results.entries import entries_of, kind_of
from gearqa.results.grade_json import GRADE
from gearqa.symbols import FLANKS, PARAMETERS

WORDS = st.text(st.characters(codec="utf-8"), max_size=5)
ZONES = st.none() | st.integers(-720, 720).map(lambda minutes: timezone(timedelta(minutes=minutes)))
SIMPLE: dict[Any, st.SearchStrategy[Any]] = {
    bool: st.booleans(),
    datetime: st.datetimes(timezones=ZONES),
    float: st.floats(allow_nan=False, allow_infinity=False),
    int: st.integers(-(2**53), 2**53),
    NoneType: st.none(),
    str: WORDS,
}


def made(model: type, kind: str | None = None, **chosen: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    """Any object of a model, of one kind; what does not apply to the kind is None."""
    values = {}
    for entry in entries_of(model):
        only = entry.mark(Only)
        if kind is not None and entry.path == kind_of(model):
            values[entry.path] = st.just(kind)
        elif only and kind not in only.kinds:
            values[entry.path] = st.none()
        else:
            values[entry.path] = chosen[entry.path] if entry.path in chosen else of_type(entry.hint)
    return st.builds(model, **values)


def of_type(hint: Any) -> st.SearchStrategy[Any]:
    if hint in SIMPLE:
        return SIMPLE[hint]
    parts = [of_type(one) for one in get_args(hint) if get_origin(hint) is not Literal and one is not ...]
    if get_origin(hint) in (Union, UnionType):
        return st.one_of(parts)
    if get_origin(hint) is Mapping:
        return st.dictionaries(WORDS, WORDS, max_size=2)
    if get_origin(hint) is tuple:
        return tuples(parts[0]) if ... in get_args(hint) else st.tuples(*parts)
    return st.from_type(hint)


def tuples(rows: st.SearchStrategy[Any]) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(rows, max_size=2).map(tuple)


def parameter(key: str) -> st.SearchStrategy[ParameterResult]:
    symbol = PARAMETERS[key].symbol
    return made(
        ParameterResult, symbol,
        flanks=st.dictionaries(st.sampled_from(FLANKS), made(FlankResult, symbol)),
    )  # fmt: skip


PRODUCTION = made(Production)
GEARS = made(
    GearResult,
    not_assessed=tuples(made(NotAssessed)),
    warnings=tuples(made(Notice)),
    parameters=st.fixed_dictionaries({}, optional={key: parameter(key) for key in ("runout", "helix_slope")}),
    traces=tuples(made(TraceResult, "profile") | made(TraceResult, "helix")),
    pitch=tuples(made(PitchResult)),
    size=tuples(made(SizeResult)),
    limit_curves=tuples(made(LimitCurveResult, traces=tuples(made(CurveTrace)))),
    zones=tuples(made(ZoneResult, traces=tuples(made(ZoneTrace)))),
    production=st.none() | PRODUCTION,
)


@pytest.mark.parametrize("key", PARAMETERS)
def test_every_parameter_is_read_as_it_was_written(key: str) -> None:
    @given(parameter(key))
    def check(one: ParameterResult) -> None:
        assert read(ParameterResult, GRADE.plain(one)) == one

    check()


@given(GEARS)
def test_a_gear_is_read_as_it_was_written(gear: GearResult) -> None:
    assert read(GearResult, GRADE.plain(gear)) == gear


@given(made(InputFile))
def test_an_input_is_read_as_it_was_written(file: InputFile) -> None:
    assert read(InputFile, GRADE.plain(file)) == file


def test_keys_that_an_older_version_did_not_write_are_read_as_not_known() -> None:
    text = GRADE.plain(TraceResult(
        kind="helix", flank="left", tooth=1, total_um=1.0, form_um=1.0, slope_um=0.5, slope_evaluation_um=0.5,
        slope_full_um=0.5, slope_by_helix_angle_um=0.5, crowning_um=0.0, points=480, start_mm=1.0, end_mm=9.0,
    ))  # fmt: skip
    for key in ("slope_by_helix_angle_um", "tip_zone_counted"):
        del text[key]
    trace = read(TraceResult, text)
    assert (trace.slope_by_helix_angle_um, trace.tip_zone_counted, trace.points) == (None, False, 480)


def test_every_field_has_its_key() -> None:
    """No key stands for two fields, in no kind of result."""
    for model in (GearResult, ParameterResult, FlankResult, TraceResult, PitchResult, Production):
        keys = [entry.key for entry in entries_of(model)]
        assert len(set(keys)) == len(keys) == len(fields(model))


@pytest.mark.parametrize("model", [LotOptions, Exclusion, Disposition, FirstResult, AuditEntry, StoredPart])
def test_what_records_and_stores_hold_is_read_as_it_was_written(model: type) -> None:
    @given(made(model))
    def check(one: object) -> None:
        assert read(model, GRADE.plain(one)) == one

    check()
