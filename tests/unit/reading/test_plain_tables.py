"""Tables read by their declarations, against pydantic, a general library that validates by the same ones."""

from __future__ import annotations

import copy
import pickle
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from gearqa.model.part import Confirmation, FlankTolerance, Part
from gearqa.model.plain_tables import plain_dump, plain_json, plain_table, plain_text
from gearqa.model.plan import Plan
from gearqa.model.table_models import as_table

pytestmark = pytest.mark.independent

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
PARTS = sorted(SAMPLES.glob("*/part.toml"))
WHOLE = tomllib.loads("""
schema = "gearqa.part/1"
ignore = ["*.bak"]
columns = "map.toml"
uncertainty_um = { profile_slope = 1, size = 2.5, "CMM 1" = { runout = 1.5 } }
[part]
number = "X"
[gear]
kind = "external"
teeth = 31
normal_module_mm = 2
normal_pressure_angle_deg = 20.0
helix_angle_deg = 15.0
helix_hand = "left"
face_width_mm = 20.0
[evaluation]
fewest_teeth = 4
confirmed = [{ code = "stuck", parameter = "helix", serials = ["A"], reason = "r", by = "b" }]
[evaluation.profile]
control_diameter_mm = 60.0
tip_form_diameter_mm = 66.0
[evaluation.filter]
enabled = false
[design.profile]
tip_relief_um = 5.0
tip_relief_start_roll_length_mm = 10.0
points = [[1.0, 0.0], [20, -2.0]]
[tolerance]
class = 6
flanks = ["left"]
parameters = ["profile_total", "helix_slope"]
classes = { helix_slope = 5 }
limits_um = { profile_form = 5, helix_slope = [-4.0, 5.0] }
left = { class = 5 }
size = { method = "balls", pin_diameter_mm = 3.5, lower_mm = 60.0, upper_mm = 60.1 }
[tolerance.curve.helix]
upper_um = [[0.0, 5.0], [20.0, 5.0]]
lower_um = [[0.0, -5.0], [20.0, -5.0]]
[master_quality]
class = 4
[decision]
rule = "simple acceptance"
confidence = 0.9
[grinder.GR-1]
wheel_threads = 3
feed_mm = 0.2
""")
PLAN = tomllib.loads("""
schema = "gearqa.plan/1"
confidence = 0.9
drawn = "random"
dress_cycles = 3
require = ["ppk", "trend"]
minimum_ppk = 1.33
repeats = [{ serial = "A", use = "2", reason = "r", by = "b" }]
[sampling]
scheme = "own"
n = 20
k = 1.7
variables = ["helix_slope", "size"]
[master_quality]
coverage = 0.9
[uncertainty_source]
runout = { source = "s", date = "2025-01-20" }
""")
DOCUMENTS = [WHOLE, *(tomllib.loads(path.read_text(encoding="utf-8")) for path in PARTS)]
PLANS = [PLAN, *(tomllib.loads(path.read_text(encoding="utf-8")) for path in SAMPLES.glob("plans/*.toml"))]
TABLES = [*((Part, one) for one in DOCUMENTS), *((Plan, one) for one in PLANS)]
HOWS = [{}, {"mode": "json"}, {"by_alias": True}, {"mode": "json", "by_alias": True}]
VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(-3, 20), st.sampled_from([10**10, 2**70, -(2**70)]),
    st.floats(allow_nan=True), st.sampled_from([0.0, 1e-4, 1e5, 1e6, 1e9]), st.text(max_size=3),
    st.sampled_from(["left", "internal", "all", "balls", "helix_slope", "size"]),
    st.lists(st.one_of(st.integers(), st.floats(-9, 9), st.sampled_from(["left", "runout"])), max_size=3),
    st.dictionaries(st.sampled_from(["class", "runout", "left", "x"]), st.integers(0, 13), max_size=2),
)  # fmt: skip


def places(node, here=()):
    """Every table and list of a document, with its keys."""
    if isinstance(node, dict | list):
        for key, inner in node.items() if isinstance(node, dict) else enumerate(node):
            yield here, key
            yield from places(inner, (*here, key))


@st.composite
def documents(draw):
    """A kind of table, and a good document of it with a few values replaced, removed or added."""
    table, document = copy.deepcopy(draw(st.sampled_from(TABLES)))
    for _ in range(draw(st.integers(0, 2))):
        where, key = draw(st.sampled_from(list(places(document))))
        node = document
        for step in where:
            node = node[step]
        change = draw(st.sampled_from(["replace", "remove", "add"]))
        if change == "replace":
            node[key] = draw(VALUES)
        elif change == "remove":
            del node[key]
        elif isinstance(node, dict):
            node[draw(st.sampled_from(["class", "class_", "left", "teeth", "unknown"]))] = draw(VALUES)
    return table, document


@given(documents())
@settings(deadline=None, max_examples=600)
def test_what_is_taken_pydantic_takes_with_the_same_values(table_and_document):
    table, document = table_and_document
    before = copy.deepcopy(document)
    taken = plain_table(table, document)
    assert repr(document) == repr(before)
    try:
        model = table.model().model_validate(document)
    except ValidationError:
        assert taken is None
        return
    other = as_table(table, model)
    if taken is None:
        return
    assert repr(taken) == repr(other)
    assert taken == other
    for how in (
        {"exclude_unset": True},
        {"by_alias": True},
        {"by_alias": True, "exclude_unset": True},
        {"by_alias": True, "exclude": {"ignore", "columns"}},
    ):
        assert taken.model_dump_json(**how) == model.model_dump_json(**how)
        assert plain_text(taken, **how) in (None, model.model_dump_json(**how))
    for how in HOWS:
        assert repr(taken.model_dump(**how)) == repr(model.model_dump(**how))
    text = taken.model_dump_json(by_alias=True, exclude_unset=True)
    kept = plain_json(table, text)
    assert kept is None or repr(kept) == repr(as_table(table, table.model().model_validate_json(text)))


@pytest.mark.parametrize(("table", "document"), TABLES)
def test_good_files_need_no_pydantic(table, document):
    taken = plain_table(table, document)
    assert taken is not None
    text = plain_text(taken, by_alias=True, exclude_unset=True)
    assert text is not None
    assert plain_json(table, text) == taken
    for how in HOWS:
        assert taken.model_dump(**how) == plain_dump(taken, **how)


def test_a_table_is_frozen_copied_and_pickled():
    part = Part.model_validate(WHOLE)
    with pytest.raises(AttributeError):
        part.columns = "other"
    with pytest.raises(AttributeError):
        del part.columns
    other = part.model_copy(update={"columns": "other"})
    assert (other.columns, part.columns, other.gear) == ("other", "map.toml", part.gear)
    assert other != part
    kept = pickle.loads(pickle.dumps(part))
    assert kept == part
    assert kept.model_fields_set == part.model_fields_set
    assert hash(part.gear) == hash(kept.gear)


def test_a_table_made_of_words_is_checked():
    assert FlankTolerance(class_=5) == FlankTolerance.model_validate({"class": 5})
    with pytest.raises(ValidationError):
        Confirmation(code="stuck", parameter="none", serials="all", reason="r", by="b")
    with pytest.raises(ValidationError):
        FlankTolerance(class_=13)
