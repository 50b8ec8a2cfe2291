"""Every number of every settings file - drawing, plan, column map, scenario - one at a time beyond all sense.

Keys are found in the models, so that a new one is tested too; a new table needs a place in `GOOD`.
"""

from __future__ import annotations

import copy
import json
import os
import re
import shutil
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_origin

import pytest
from pydantic import BaseModel

from gearqa.cli import app
from gearqa.errors import PartFileError
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.reading.maps.columns_map import read_columns_map
from gearqa.reading.maps.map_model import ColumnsMap
from gearqa.reading.settings.allowed_values import allowed_types, is_model, model_keys, slot_at
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.settings.toml_file import load_toml
from gearqa.simulate.scenario import Scenario

WORDS = ["1e308", "-1e308", "1e-308", "nan", "inf", "1" + 30 * "0"]
CORPUS = Path(__file__).parents[1] / "corpus"
PART = """
master_quality = { class = 4 }
decision = { confidence = 0.95 }
[evaluation.helix]
start_face_position_mm = 2.0
end_face_position_mm = 26.0
[evaluation.pitch]
measuring_diameter_mm = 58.0
[evaluation.filter]
profile_cutoff_mm = 0.5
helix_cutoff_mm = 0.8
[tolerance.classes]
runout = 7
[tolerance.left]
class = 7
classes = { helix_slope = 7 }
limits_um = { profile_form = 9.0 }
[tolerance.curve.profile]
upper_um = [[10.0, 9.0], [17.0, 9.0]]
lower_um = [[10.0, -9.0], [17.0, -9.0]]
[tolerance.curve.helix.left]
upper_um = [[2.0, 9.0], [26.0, 9.0]]
lower_um = [[2.0, -9.0], [26.0, -9.0]]
[[tolerance.zone]]
kind = "helix"
from = 4.0
to = 20.0
total_um = 9.0
form_um = 9.0
required = true
[uncertainty_um.GM-1]
helix_total = 0.8
[grinder.GR-4]
parts_per_dress = 40
"""
WAYS = {
    "by roll": """
[evaluation.profile]
start_roll_length_mm = 10.0
end_roll_length_mm = 17.0
[design.profile]
points = [[10.0, 0.0], [17.0, -2.0]]
[design.helix]
points = [[2.0, 0.0], [26.0, -2.0]]
[tolerance.size]
method = "balls"
pin_diameter_mm = 4.5
lower_mm = 60.0
upper_mm = 80.0
"""
}
PLANS = {
    "own": """
drawn = "systematic"
dress_cycles = 2
require = ["ppk"]
minimum_ppk = 1.0
[sampling]
n = 2
k = 1.2
variables = ["profile_slope"]
""",
    "own by number": "[sampling]\nn = 2\nac = 0\n",
}
MAP = r"""
[[profile]]
file = ["t.csv"]
separator = ";"
decimal = ","
skip_rows = 0
where = { Kind = "P" }
[profile.columns]
serial = "Part"
roll_length_mm = { column = "Roll", factor = 1.0, offset = 0.0 }
[[profile.wide]]
header = '^(?P<flank>[LR])(?P<tooth>\d+)$'
value = "deviation_um"
factor = 1.0
values = { L = "left", R = "right" }
[[pitch]]
file = ["p.csv"]
[pitch.columns]
serial = "serial"
flank = { constant = "left" }
tooth = { column = "tooth", offset = 0.0 }
index_um = "index_um"
measurement = { constant = 1 }
"""
SCENARIO = """
[[lobes]]
n = 3
amplitude_um = 0.5
[process.thermal]
time_constant_min = 30.0
drift = { both = { material_um = 0.5 } }
[[process.step]]
at_part = 2
shift = { left = { helix_slope_um = 0.5 } }
[[process.step]]
at_cycle = 1
record = { event = "correction", parameter = "helix_slope", flank = "left", correction = 0.5, unit = "um" }
[[gear]]
serial = "P-011"
missing_spaces = [4]
[[gear.tooth_shift]]
tooth = 2
flank = "left"
shift_um = 1.0
[gear.missing_teeth]
left = [3]
right = [5]
[[repeat]]
label = "2"
"""


def _merged(*texts: str) -> dict[str, Any]:
    """Several texts as one document; tables are put together, the later value stands."""

    def put(into: dict[str, Any], more: dict[str, Any]) -> None:
        for key, value in more.items():
            if isinstance(value, dict) and isinstance(into.get(key), dict):
                put(into[key], value)
            else:
                into[key] = value

    document: dict[str, Any] = {}
    for text in texts:
        put(document, tomllib.loads(text))
    return document


def _corpus(name: str) -> str:
    return (CORPUS / name).read_text(encoding="utf-8")


def _good() -> dict[tuple[str, str], dict[str, Any]]:
    by_diameter = _merged(_corpus("part/pinion.toml"), PART)
    by_roll = copy.deepcopy(by_diameter)
    del by_roll["evaluation"]["profile"], by_roll["design"], by_roll["tolerance"]["size"]
    scenario = _merged(_corpus("scenario/pinion.toml"), SCENARIO)
    scenario["lot"]["parts"] = 2
    scenario["process"] |= {"parts_per_dress": 2, "parts_of_cycle": [1, 2]}
    scenario["measuring"] |= {"teeth": 3, "profile_points": 40, "helix_points": 40}
    scenario["measuring"] |= {"profile_face_positions_mm": [14.0], "helix_diameters_mm": [59.0]}
    return {
        ("part", "by diameter"): by_diameter,
        ("part", "by roll"): _merged(_toml(by_roll), WAYS["by roll"]),
        ("plan", "aql"): _merged(_corpus("plan/aql.toml")),
        ("plan", "one_lot"): _merged(_corpus("plan/one_lot.toml"), "master_quality = { coverage = 0.9 }"),
        **{("plan", name): _merged(text) for name, text in PLANS.items()},
        ("map", "map"): _merged(MAP),
        ("scenario", "scenario"): scenario,
    }


class _Bare(str):
    """A word that is written as it is."""

    __slots__ = ()


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, _Bare):
        return str(value)
    return json.dumps(value, ensure_ascii=False)


def _toml(document: dict[str, Any]) -> str:
    return "".join(f"{json.dumps(key)} = {_value(value)}\n" for key, value in document.items())


GOOD = _good()
MODELS: dict[str, type[BaseModel]] = {"part": Part, "plan": Plan, "map": ColumnsMap, "scenario": Scenario}
READ = {
    "part": read_part,
    "plan": lambda path: load_toml(path, Plan),
    "map": read_columns_map,
    "scenario": lambda path: load_toml(path, Scenario),
}
JOBS = {
    "part": ("lot/part.toml", ["lot lot"]),
    "plan": ("plan.toml", ["lot lot --plan plan.toml"]),
    "map": ("mapped/map.toml", ["grade mapped --columns mapped/map.toml"]),
    "scenario": ("scenario.toml", ["simulate made --scenario scenario.toml"]),
}


def _numbers(model: type[BaseModel], here: Any, path: tuple[str | int, ...] = ()) -> Iterator[Any]:
    """Paths of all numbers that a document holds or may hold in the tables it has."""
    for one in slot_at(model, path).annotations if path else (model,):
        if is_model(one) and isinstance(here, dict):
            for key in model_keys(one):
                yield from _numbers(model, here.get(key), (*path, key))
        elif get_origin(one) is dict and isinstance(here, dict):
            for key, inner in here.items():
                yield from _numbers(model, inner, (*path, key))
        elif get_origin(one) in (list, tuple) and isinstance(here, list):
            for number, inner in enumerate(here[:2]):
                yield from _numbers(model, inner, (*path, number))
        elif one in (int, float) or (get_origin(one) is tuple and isinstance(here, int | float)):
            yield path


def _owner(model: type[BaseModel], path: tuple[str | int, ...]) -> tuple[str, str | int]:
    """The table and key that a number belongs to."""
    for end in reversed(range(len(path))):
        for one in slot_at(model, path[:end]).annotations if end else (model,):
            if is_model(one):
                return _declared(one, str(path[end])), path[end]
    raise AssertionError(path)


def _declared(table: type[BaseModel], key: str) -> str:
    bases = [one for one in table.__mro__[:-2] if is_model(one) and key in model_keys(one)]
    return bases[-1].__name__


def _places() -> dict[tuple[str, tuple[str | int, ...]], list[str]]:
    """(kind, path) -> a good file that holds it; all where none does."""
    found: dict[Any, list[str]] = {}
    for (kind, name), document in GOOD.items():
        for path in dict.fromkeys(_numbers(MODELS[kind], document)):
            found.setdefault((kind, path), []).append(name)
    return {
        place: [name for name in names if _holds(GOOD[place[0], name], place[1])][:1] or names
        for place, names in found.items()
    }


def _holds(document: Any, path: tuple[str | int, ...]) -> bool:
    for step in path:
        if isinstance(document, dict) and step not in document:
            return False
        document = document[step]
    return True


PLACES = _places()


def _told(kind: str, file: Path) -> str | None:
    """What a reader says of a file; None where it takes it."""
    try:
        READ[kind](file)
    except PartFileError as error:
        return str(error)
    return None


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shop") / "shop"
    folder.mkdir()
    (folder / "pinion_part.toml").write_text(_toml(GOOD["part", "by diameter"]), encoding="utf-8")
    (folder / "scenario.toml").write_text(_toml(GOOD["scenario", "scenario"]), encoding="utf-8")
    (folder / "mapped").mkdir()
    (folder / "mapped" / "part.toml").write_text(_corpus("part/small.toml"), encoding="utf-8")
    rolls = "".join(f"A;P;{n},5;0,2{n};0,{n}\n" for n in range(1, 10))
    (folder / "mapped" / "t.csv").write_text("Part;Kind;Roll;L1;R1\n" + rolls, encoding="utf-8")
    teeth = "".join(f"A,{n},{n % 3}.5\n" for n in range(1, 6))
    (folder / "mapped" / "p.csv").write_text("serial,tooth,index_um\n" + teeth, encoding="utf-8")
    here = os.getcwd()
    os.chdir(folder)
    try:
        assert app.run(["simulate", "lot", "--scenario", "scenario.toml"]) == 0
    finally:
        os.chdir(here)
    return folder


@pytest.fixture
def run(shop, tmp_path, monkeypatch, capsys):
    """Write a settings file into the shop and do its jobs; what came of each."""

    def run(kind: str, document: dict[str, Any]) -> list[tuple[int, str]]:
        shutil.rmtree(tmp_path, ignore_errors=True)
        shutil.copytree(shop, tmp_path)
        monkeypatch.chdir(tmp_path)
        name, lines = JOBS[kind]
        Path(name).write_text(_toml(document), encoding="utf-8")
        results = []
        for line in lines:
            status = app.run(line.split())
            out, err = capsys.readouterr()
            assert not re.search(r"\b(nan|inf)\b(?!')", out), line
            results.append((status, err))
        return results

    return run


@pytest.mark.parametrize(("kind", "name"), GOOD)
def test_the_good_file_is_good(kind, name, run):
    for status, err in run(kind, GOOD[kind, name]):
        assert status in (0, 1), err


@pytest.mark.parametrize("kind", MODELS)
def test_every_number_of_the_models_is_swept(kind):
    tables, waiting = set(), [MODELS[kind]]
    wanted = set()
    for table in waiting:
        for key, info in model_keys(table).items():
            types = list(allowed_types(info))
            for one in types:
                types += [a for a in getattr(one, "__args__", ()) if a is not type(None)]
                if is_model(one) and one not in tables:
                    tables.add(one)
                    waiting.append(one)
            if {int, float} & {one for one in types if isinstance(one, type)}:
                wanted.add((_declared(table, key), key))
    assert not wanted - {_owner(MODELS[kind], path) for one, path in PLACES if one == kind}


@pytest.mark.parametrize(
    ("kind", "path"),
    [pytest.param(*place, id=f"{place[0]} {'.'.join(map(str, place[1]))}") for place in PLACES],
)
def test_a_number_beyond_all_sense_is_told_or_has_a_result(kind, path, run, tmp_path):
    for name in PLACES[kind, path]:
        for word in WORDS:
            document = copy.deepcopy(GOOD[kind, name])
            table: Any = document
            for step in path[:-1]:
                table = table[step]
            table[path[-1]] = _Bare(word)
            began = time.process_time()
            file = tmp_path / "one.toml"
            file.parent.mkdir(exist_ok=True)
            file.write_text(_toml(document), encoding="utf-8")
            told = _told(kind, file)
            assert told is None or "found" in told, (name, word)
            assert len(told or "") < 3000, (name, word)
            if told is None:
                assert word == "1e-308", (name, word)
                for status, err in run(kind, document):
                    assert status in (0, 1, 2), (name, word, err)
                    assert (status == 2) <= bool(err.strip()), (name, word)
            assert time.process_time() - began < 10, (name, word)
