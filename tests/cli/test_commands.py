"""tolerances, new, columns, simulate, schema, explain."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import tomllib
from html.parser import HTMLParser
from pathlib import Path
from typing import get_args

import jsonschema
import pytest
from made_folders import pitch_folder

from gearqa.cli import app
from gearqa.cli.commands import new
from gearqa.cli.parameter_topics import ABOUT
from gearqa.cli.topics import TOPICS
from gearqa.diagnosis.causes import SIGNATURES
from gearqa.jobs.json_schemas import SCHEMAS, json_schema
from gearqa.model.results import DoubtCode, State
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.settings.templates import questions
from gearqa.results.tolerances_json import tolerances_json_schema
from gearqa.standards.iso1328_1_2013.tolerances import PROFILE_SLOPE
from gearqa.symbols import PARAMETERS
from gearqa.wording.verdicts import MASTER_QUALITY, RULES

ROOT = Path(__file__).parents[2]


def run(*words):
    return app.run([*map(str, words)])


# --- tolerances ---------------------------------------------------------------------------------


def tolerances(capsys, *words):
    assert run("tolerances", *words, "--json", "-") == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.independent
def test_tolerances_are_those_of_the_standard(capsys):
    """Module 2, d 100, b 20, class 5: rounded by hand from the formulas of ISO 1328-1:2013."""
    result = tolerances(capsys, "--module", 2, "--diameter", 100, "--face-width", 20, "--class", 5)
    assert list(result["classes"]) == ["5"]
    row = result["classes"]["5"]
    by_hand = {
        "single_pitch": 6.0, "cumulative_pitch": 19.0, "profile_slope": 4.9, "profile_form": 6.0,
        "profile_total": 8.0, "helix_slope": 6.0, "helix_form": 6.5, "helix_total": 9.0, "runout": 17.0,
    }  # fmt: skip
    assert {key: row[key] for key in by_hand} == by_hand
    assert "sector_pitch" not in row
    jsonschema.validate(result, tolerances_json_schema(), cls=jsonschema.Draft202012Validator)


@pytest.mark.independent
def test_tolerances_of_all_classes_and_with_teeth(capsys):
    result = tolerances(capsys, "--module", 2, "--teeth", 50, "--face-width", 20)
    assert list(result["classes"]) == [str(A) for A in range(1, 12)]
    assert result["gear"]["reference_diameter_mm"] == 100
    # by hand: k = 6, 5.9 + 0.48 (0.1 + 5.5 + 0.6 + 7) = 12.236
    assert result["classes"]["5"]["sector_pitch"] == 12.0
    jsonschema.validate(result, tolerances_json_schema(), cls=jsonschema.Draft202012Validator)


@pytest.mark.parametrize(
    ("words", "doubtful"),
    [
        (("--teeth", 87, "--helix-angle", 18, "--diameter", 160), False),  # 160.085, rounded
        (("--teeth", 87, "--helix-angle", 18, "--diameter", 100), True),
        (("--teeth", 87, "--diameter", 160), False),  # a helix angle that is not told
        (("--teeth", 87, "--diameter", 150), True),  # less than z m
        (("--diameter", 100), False),
    ],
)
def test_a_diameter_that_the_teeth_contradict_is_told(capsys, words, doubtful):
    assert run("tolerances", "--module", 1.75, "--face-width", 32, *words, "--json", "-") == 0
    assert ("for the reference diameter" in capsys.readouterr().err) is doubtful


def test_tolerances_from_a_part_file(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    for path in (folder, folder / "part.toml"):
        result = tolerances(capsys, "--part", path)
        assert result["gear"]["reference_diameter_mm"] == 16
        assert result["gear"]["teeth"] == 8


@pytest.mark.independent
def test_systems_beside_each_other(capsys):
    """Module 1.5, d 45, b 25: fHbeta of ISO 1328-1:2013 class 6 by hand, sqrt 2 (0.05 sqrt 45 + 0.35 sqrt 25
    + 4) = 8.606, rounded 8.5; of 1995 grade 6, sqrt 2 (0.07 sqrt 31.62 + 0.45 sqrt 28.28 + 3) = 8.18, 8.0;
    the printed cell of DIN 3962-2 for quality 6 is 9."""
    words = ("--module", 1.5, "--diameter", 45, "--face-width", 25, "--class", 6, "--compare")
    result = tolerances(capsys, *words)
    rows = {row["parameter"]: row for row in result["rows"]}
    assert rows["helix_slope"] == {
        "parameter": "helix_slope", "class": 6, "tolerance_um": 8.5,
        "nearest": {
            "ISO 1328-1:2013": {"class": 6, "tolerance_um": 8.5},
            "ISO 1328-1:1995": {"class": 6, "tolerance_um": 8.0},
            "DIN 3962:1978": {"class": 6, "tolerance_um": 9},
        },
    }  # fmt: skip
    assert set(rows["single_pitch"]["nearest"]) == set(result["systems"])
    assert result["outside"] == {}
    jsonschema.validate(result, json_schema("comparison"), cls=jsonschema.Draft202012Validator)
    assert run("tolerances", *words) == 0
    assert "No class is converted" in capsys.readouterr().out


def test_a_system_whose_range_the_gear_is_outside_of_is_named_and_left_out(capsys):
    words = ("--module", 3, "--diameter", 160, "--face-width", 32, "--compare")
    result = tolerances(capsys, *words, "--standard", "GB/T 10095.1-2008")
    assert result["systems"] == ["GB/T 10095.1-2008", "ISO 1328-1:2013", "JIS B 1702:1976"]
    assert list(result["outside"]) == ["DIN 3962:1978"]
    assert [row["class"] for row in result["rows"] if row["parameter"] == "runout"] == list(range(13))


def test_a_part_file_names_its_own_standard(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    path = folder / "part.toml"
    path.write_text(path.read_text().replace("[tolerance]", '[tolerance]\nstandard = "ISO 1328-1:1995"'))
    assert tolerances(capsys, "--part", path)["standard"] == "ISO 1328-1:1995"
    compared = tolerances(capsys, "--part", path, "--compare")
    assert compared["standard"] == "ISO 1328-1:1995"
    assert {row["class"] for row in compared["rows"]} == {6}


def test_tolerances_on_a_terminal(capsys):
    assert run("tolerances", "--module", 2, "--diameter", 100, "--face-width", 20) == 0
    out = capsys.readouterr().out
    assert "ISO 1328-1:2013" in out
    assert "fHα  1.2  1.7  2.5  3.5  4.9" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "missing: --module"),
        (["--module", "2", "--face-width", "20"], "--diameter"),
        (["--module", "0.1", "--diameter", "100", "--face-width", "1"], "m_n = 0.1 is outside"),
        (["--module", "0.1", "--diameter", "100", "--face-width", "1"], "b = 1 is outside"),
        (["--module", "2", "--diameter", "100", "--face-width", "20", "--class", "12"], "1 to 11"),
        (["--module", "2", "--diameter", "100", "--face-width", "20", "--standard", "X"], "ISO 1328-1:2013"),
        (["--module", "2", "--part", "p.toml"], "either --part or the sizes"),
        (["--module", "1,75", "--diameter", "100", "--face-width", "20"], "decimal point, not comma"),
        (["--module", "nan", "--diameter", "100", "--face-width", "20"], "expected a number"),
        (["--module", "1_0", "--diameter", "100", "--face-width", "20"], "expected a number"),
        (["--teeth", "7.5"], "expected a whole number"),
    ],
)
def test_tolerances_say_what_is_wrong(capsys, words, message):
    assert run("tolerances", *words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert message in err


# --- new ----------------------------------------------------------------------------------------

PINION = (
    "--number", "P-1", "--kind", "external", "--teeth", "23", "--module", "2.5", "--face-width", "28",
    "--class", "6",
)  # fmt: skip


def test_new_writes_a_part_file_that_can_be_read(capsys, tmp_path):
    folder = tmp_path / "lot"
    assert run("new", folder, *PINION, "--master-class", 3) == 0
    part = read_part(folder / "part.toml")
    assert (part.gear.teeth, part.tolerance.class_, part.master_quality.class_) == (23, 6, 3)
    assert (folder / "templates" / "profile.csv").exists()
    out, err = capsys.readouterr()
    assert out == ""
    assert "gearqa explain flanks" in err
    assert f"gearqa grade {folder}" in err


def test_new_never_overwrites(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    before = (folder / "part.toml").read_text()
    assert run("new", folder, *PINION) == 2
    assert (folder / "part.toml").read_text() == before
    assert "never overwritten" in capsys.readouterr().err


def test_an_empty_sheet_for_reported_values(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    assert run("new", folder, "--reported") == 0
    sheet = folder / "reported.csv"
    text = sheet.read_text(encoding="utf-8")
    assert text.startswith(
        "serial,parameter,value_um,flank,tooth,basis,class,standard,uncertainty_um,our_serial"
    )
    assert "part T-8" in text
    assert [line.split()[1] for line in text.splitlines() if line.startswith("#   ")] == [
        "single_pitch", "cumulative_pitch",
    ]  # fmt: skip
    assert f"gearqa incoming {sheet} {folder}" in capsys.readouterr().err
    sheet.write_text(text + "G-1,single_pitch,2.0,left,,,,,,\n", encoding="utf-8")
    assert run("incoming", sheet, folder, "--quiet") in (0, 1)
    assert run("new", folder, "--reported") == 2
    assert run("new", tmp_path / "none", "--reported") == 2
    assert "First: gearqa new" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def test_new_without_a_terminal_names_what_is_missing(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO())
    assert run("new", tmp_path / "lot", "--number", "P-1") == 2
    err = capsys.readouterr().err
    assert "missing: --kind, --teeth, --module, --face-width, --class" in err
    assert not (tmp_path / "lot").exists()


def test_every_question_has_its_option():
    assert [question.key for question in questions()] == list(new.OPTIONS)


def test_new_asks_for_what_no_option_answered():
    asked = []

    def answer(question):
        asked.append(question.key)
        return {"gear.helix_angle_deg": 18.0, "gear.teeth": 87}.get(question.key)

    answers = {"part.number": "P-1"}
    new.ask(questions(), answers, answer)
    assert "part.number" not in asked
    assert "gear.helix_hand" in asked  # after a helix angle that is not 0
    assert answers == {"part.number": "P-1", "gear.teeth": 87, "gear.helix_angle_deg": 18.0}
    asked.clear()
    new.ask(questions(), {"gear.helix_angle_deg": 0.0}, answer)
    assert "gear.helix_hand" not in asked


def test_a_question_is_asked_until_the_answer_fits(monkeypatch, capsys):
    (teeth,) = (q for q in questions() if q.key == "gear.teeth")
    (kind,) = (q for q in questions() if q.key == "gear.kind")
    (module,) = (q for q in questions() if q.key == "gear.normal_module_mm")
    replies = iter(["many", "87", "ring", "internal", "1,75"])
    monkeypatch.setattr("typer.prompt", lambda *args, **options: next(replies))
    assert [new.prompt(q) for q in (teeth, kind, module)] == [87, "internal", 1.75]
    err = capsys.readouterr().err
    assert "whole number" in err
    assert "one of: internal, external" in err


# --- columns ------------------------------------------------------------------------------------

FOREIGN = """Part ID;Side;Tooth no.;Roll [mm];Dev [mm]
A1;L;1;23,5;0,0012
A1;L;1;23,6;0,0013
A1;R;1;23,5;-0,0012
A1;R;1;23,6;0,0011
"""


def test_columns_drafts_a_map(capsys, tmp_path):
    (tmp_path / "PROF.csv").write_text(FOREIGN, encoding="utf-8")
    target = tmp_path / "map.toml"
    assert run("columns", tmp_path, "--write", target) == 0
    document = tomllib.loads(target.read_text(encoding="utf-8"))
    assert document["profile"]["separator"] == ";"
    assert document["profile"]["columns"]["deviation_um"] == {"column": "Dev [mm]", "factor": 1000.0}
    out = capsys.readouterr().out
    assert "Flank words  L, R" in out
    assert "separator semicolon, decimal comma" in out


def test_columns_prints_the_map_and_never_overwrites(capsys, tmp_path):
    table = tmp_path / "PROF.csv"
    table.write_text(FOREIGN, encoding="utf-8")
    assert run("columns", table) == 0
    assert "[profile.columns]" in capsys.readouterr().out
    (tmp_path / "map.toml").write_text("mine")
    assert run("columns", tmp_path, "--write", tmp_path / "map.toml") == 2
    assert (tmp_path / "map.toml").read_text() == "mine"


def test_columns_of_a_neutral_folder(capsys, tmp_path):
    assert run("columns", pitch_folder(tmp_path / "lot")) == 0
    out, err = capsys.readouterr()
    assert "Read without a map: pitch.csv" in out
    assert "no table needs a column map" in err


def test_columns_of_nothing(capsys, tmp_path):
    assert run("columns", tmp_path / "none") == 2
    assert "no such file or folder" in capsys.readouterr().err


# --- schema -------------------------------------------------------------------------------------


def test_schema_lists_its_names(capsys):
    assert run("schema") == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == list(SCHEMAS)


@pytest.mark.parametrize("name", SCHEMAS)
def test_schemas_are_valid_and_titled(capsys, name):
    assert run("schema", name) == 0
    schema = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"].startswith("https://json-schema.org/draft/2020-12/")
    assert schema["title"].startswith(("gearqa", "Rounded"))


def test_samples_agree_with_the_schemas_of_the_inputs():
    pairs = [("part", path) for path in ROOT.glob("sample_measurements/*/part.toml")]
    scenarios = ROOT / "sample_measurements" / "scenarios"
    pairs += [
        ("scenario", path) for path in scenarios.glob("*.toml") if "gearqa.scenario" in path.read_text()
    ]
    assert len(pairs) > 6
    for name, path in pairs:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        text = json.loads(json.dumps(document, default=str))
        jsonschema.validate(text, json_schema(name), cls=jsonschema.Draft202012Validator)


# --- simulate -----------------------------------------------------------------------------------


def test_simulate_writes_a_folder_that_grades(capsys, tmp_path):
    scenario = ROOT / "sample_measurements" / "scenarios" / "pinion.toml"
    assert run("simulate", tmp_path / "lot", "--scenario", scenario, "--seed", 1) == 0
    out, err = capsys.readouterr()
    assert out == ""
    assert "next: gearqa grade" in err
    assert run("grade", tmp_path / "lot", "--json", "-") in (0, 1)
    assert json.loads(capsys.readouterr().out)["simulated"] is True


def test_what_is_made_from_simulated_data_says_so(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    table = folder / "pitch.csv"
    table.write_text("# gearqa simulated\n" + table.read_text())
    assert run("grade", folder) == 0
    assert capsys.readouterr().out.startswith("SIMULATED")
    assert run("grade", folder, "--csv", "-") == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first.startswith("# gearqa result")
    assert "SIMULATED" in first


def test_simulate_refuses_a_folder_that_is_not_empty(capsys, tmp_path):
    folder = pitch_folder(tmp_path / "lot")
    scenario = ROOT / "sample_measurements" / "scenarios" / "pinion.toml"
    assert run("simulate", folder, "--scenario", scenario) == 2
    assert "not empty" in capsys.readouterr().err


# --- explain ------------------------------------------------------------------------------------


def test_explain_lists_its_topics(capsys):
    assert run("explain") == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == list(TOPICS)


@pytest.mark.parametrize("topic", TOPICS)
def test_every_topic_fits_a_terminal(capsys, monkeypatch, topic):
    monkeypatch.setenv("COLUMNS", "80")
    assert run("explain", topic) == 0
    out = capsys.readouterr().out
    assert len(out) > 200
    assert max(map(len, out.splitlines())) <= 80


def test_a_parameter_goes_by_key_or_symbol_and_its_page_holds_what_the_code_uses(capsys):
    pages = []
    for word in ("profile_slope", "fHα", "fH-alpha"):
        assert run("explain", word) == 0
        pages.append(" ".join(capsys.readouterr().out.split()))
    assert pages[0] == pages[1] == pages[2]
    terms = PROFILE_SLOPE
    assert f"class 5: {terms.d} d + {terms.m} m + {terms.constant}, in µm" in pages[0]
    assert "95 % (ISO 1328-1:2013) or 92 % (ISO 1328-1:1995)" in pages[0]
    assert "DIN 3962:1978: gearqa tolerances --compare" in pages[0]
    (cause,) = (one for one in SIGNATURES if one.keys == ("pressure_angle",))
    assert "lead of the wheel at dressing" in pages[0]
    assert any("lead of the wheel at dressing" in text for text in cause.causes)
    assert run("explain", "fp") == run("explain", "Fp") == 0
    single, cumulative = capsys.readouterr().out.split("Symbol, key")[1:]
    assert "single_pitch" in single
    assert "cumulative_pitch" in cumulative
    assert run("explain", "profil") == 2


def test_the_words_of_verdicts_and_doubts_are_all_there(capsys):
    assert run("explain", "verdicts") == 0
    out = " ".join(capsys.readouterr().out.split())
    for word in (*get_args(State), *get_args(DoubtCode), *RULES, *MASTER_QUALITY.values()):
        assert word in out


def test_every_parameter_has_a_page_and_names_errors_that_diagnosis_knows():
    known = {key for one in SIGNATURES for key in one.keys}
    assert list(ABOUT) == list(PARAMETERS)
    assert {key for about in ABOUT.values() for key in about.components} <= known


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_every_topic_can_be_shown_on_a_poor_console(encoding):
    code = "import sys\nfrom gearqa.cli import app\nfor topic in sys.argv[1:]: app.run(['explain', topic])"
    code += "\napp.run(['explain'])"
    done = subprocess.run(
        [sys.executable, "-c", code, *TOPICS],
        capture_output=True, check=True, env={"PYTHONIOENCODING": encoding, "PATH": ""},
    )  # fmt: skip
    assert b"\\u" not in done.stdout
    assert done.stderr == b""
    assert len(done.stdout.decode(encoding).splitlines()) > 10 * len(TOPICS)


class Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.links = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [v for k, v in attrs if k in {"src", "href"} and not (v or "").startswith("#")]


def test_explain_flanks_as_a_page(tmp_path, capsys):
    target = tmp_path / "flanks.html"
    assert run("explain", "flanks", "--html", target) == 0
    text = target.read_text(encoding="utf-8")
    page = Page()
    page.feed(text)
    assert page.tags.count("svg") == 2
    assert page.links == []
    assert "Content-Security-Policy" in text
    assert run("explain", "--html", tmp_path / "all.html") == 0
    assert "Exit status" in (tmp_path / "all.html").read_text(encoding="utf-8")
    assert capsys.readouterr().out == ""


SAMPLES = Path(__file__).parents[2] / "sample_measurements"
NEEDED_BY_FEW = {
    "pydantic", "pydantic_core", "rich", "secrets", "tempfile", "json", "scipy", "pandas", "polars", "orjson",
    "typst", "sqlalchemy", "numpy.ma", "numpy.random", "numpy.fft", "numpy.polynomial", "email", "logging",
    "asyncio", "multiprocessing", "gearqa.model.table_models", "gearqa.results.codec",
    "gearqa.model.diagnosis", "gearqa.wording.codes",
}  # fmt: skip
"""What takes long to load and one good gear shown on a terminal does not need."""


@pytest.mark.parametrize(
    ("words", "not_loaded"),
    [
        (
            ("tolerances", "--module", "2", "--diameter", "40", "--face-width", "20"),
            NEEDED_BY_FEW | {"numpy"},
        ),
        (("tolerances", "--part", SAMPLES / "pinion" / "part.toml"), NEEDED_BY_FEW),
        (("grade", SAMPLES / "pinion", "--serial", "P-013"), NEEDED_BY_FEW),
        (("explain", "row_order"), {"numpy", "pydantic"}),
        (("lot", SAMPLES / "pinion", "--lot-size", "4"), {"pydantic", "scipy.optimize", "polars", "orjson"}),
    ],
    ids=["tolerances of sizes", "tolerances of a part", "grade", "explain", "lot"],
)
def test_small_commands_load_what_they_need(words, not_loaded):
    code = (
        "import sys\nfrom gearqa.cli import app\nstatus = app.run(sys.argv[1:])\n"
        "print(*sorted(sys.modules), file=sys.stderr)\nsys.exit(status)"
    )
    line = [sys.executable, "-c", code, *map(str, words)]
    done = subprocess.run(line, check=False, capture_output=True, text=True)
    assert done.returncode in {0, 1}
    assert set(done.stderr.split()) & not_loaded == set()
