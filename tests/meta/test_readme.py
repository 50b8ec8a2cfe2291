"""The README says what the code does: commands, options, columns, parameters, examples, versions."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest
from sybil import Sybil
from sybil.parsers.markdown import PythonCodeBlockParser

import gearqa
from gearqa.cli import app
from gearqa.cli.commands import COMMANDS
from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.topics import TOPICS
from gearqa.jobs.json_schemas import SCHEMAS, json_schema
from gearqa.model.plan import Plan
from gearqa.reading.folder.table_kinds import TABLES
from gearqa.reading.maps.columns_map import read_columns_map
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.settings.toml_file import load_toml
from gearqa.reading.values.sheet_formats import MEASURED_STUDY, REPORTED, STUDY
from gearqa.symbols import PARAMETERS
from gearqa.wording.safety import GEOMETRY_ONLY, WHO_DECIDES

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)


def table_rows(head: str) -> list[list[str]]:
    """Cells of the table whose head begins with these words."""
    (table,) = re.findall(rf"^\| {re.escape(head)} \|.*\n\|[-|]+\|\n((?:\|.*\n)+)", README, re.MULTILINE)
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in table.splitlines()]


def test_it_opens_with_one_paragraph_and_the_two_set_up_commands():
    head, first, *_ = README.split("\n\n")
    assert head == "# gearqa"
    for word in ("quality inspector", "process engineer", "supplier quality reviewer", "ISO 1328-1:2013"):
        assert word in first
    install, test = (block.strip() for block in blocks("sh")[:2])
    assert install.endswith("gearqa grade sample_measurements/ring_master")
    assert test.endswith("-m pytest")
    assert README.index(install) < 2500
    assert all(line.startswith("python3 -m venv") for line in (install, test))


def test_python_examples_run(monkeypatch):
    monkeypatch.chdir(ROOT)
    document = Sybil(parsers=[PythonCodeBlockParser()]).parse(ROOT / "README.md")
    examples = list(document.examples())
    assert len(examples) == len(blocks("python")) > 2
    for example in examples:
        example.evaluate()


@pytest.mark.parametrize("block", blocks("console"))
def test_terminal_examples_are_what_the_program_prints(monkeypatch, capsys, tmp_path, block):
    """Commands of a block one after the other, in an empty folder with the samples; ... stands for lines."""
    (tmp_path / "sample_measurements").symlink_to(ROOT / "sample_measurements")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    assert block.startswith("$ gearqa ")
    for example in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        command, _, shown = example.partition("\n")
        app.run(shlex.split(command)[1:])
        pieces = re.split(r"^\.\.\.\n", shown, flags=re.MULTILINE)
        pattern = r"(?:.*\n)*?".join(map(re.escape, pieces))
        printed = capsys.readouterr().out
        assert re.fullmatch(pattern, printed), printed


def test_the_part_file_is_valid_and_names_every_key(tmp_path):
    (text,) = (block for block in blocks("toml") if "gearqa.part/1" in block)
    path = tmp_path / "part.toml"
    path.write_text(text, encoding="utf-8")
    read_part(path)
    from gearqa.model.part import Part

    schema = Part.model_json_schema(by_alias=True)
    tables = [schema, *schema["$defs"].values()]
    missing = {key for table in tables for key in table.get("properties", {}) if key not in README}
    assert not missing


def test_the_column_map_is_valid(tmp_path):
    (text,) = (block for block in blocks("toml") if "[convention]" in block)
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    read_columns_map(path)
    assert tomllib.loads(text)["convention"]["seen_from"] == "opposite_face"
    schema = json_schema("columns")
    tables = [schema, *schema["$defs"].values()]
    missing = {key for table in tables for key in table.get("properties", {}) if key not in README}
    assert not missing


def test_the_keys_of_the_result_are_named():
    tables = [one for one in walked(json_schema("result")) if isinstance(one, dict)]
    missing = {key for table in tables for key in table.get("properties", {}) if f"`{key}`" not in README}
    assert not missing


def walked(value):
    yield value
    for one in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from walked(one)


def test_the_plan_file_is_valid_and_names_every_key(tmp_path):
    (text,) = (block for block in blocks("toml") if "gearqa.plan/1" in block)
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    assert load_toml(path, Plan).require == ("uncertainty", "trend")
    schema = Plan.model_json_schema(by_alias=True)
    tables = [schema, *schema["$defs"].values()]
    missing = {key for table in tables for key in table.get("properties", {}) if key not in text}
    assert not missing


def test_the_columns_of_reported_values_and_studies_are_named():
    for sheet in (REPORTED, STUDY, MEASURED_STUDY):
        assert all(f"`{column}`" in README for column in sheet.columns)


def test_links_lead_to_headings():
    headings = re.findall(r"^#+ (.*)$", README, re.MULTILINE)
    anchors = {re.sub(r"[^\w -]", "", heading).lower().replace(" ", "-") for heading in headings}
    links = re.findall(r"\]\(#([^)]*)\)", README)
    assert len(links) > 5
    assert set(links) <= anchors


def test_the_tables_are_those_of_the_reader():
    rows = {row[0]: row for row in table_rows("table")}
    assert set(rows) == set(TABLES)
    for kind, table in TABLES.items():
        needed = {name for names in table.required for name in names}
        assert set(re.findall(r"`(\w+)`", rows[kind][1])) == needed
        assert set(re.findall(r"`(\w+)`", rows[kind][2] if len(rows[kind]) > 2 else "")) == set(
            table.optional
        )


def test_the_parameters_are_those_of_the_table_of_symbols():
    graded = {"default": "yes", "on_request": "on request", "never": "no"}
    expected = [[f"`{p.key}`", p.symbol, graded[p.grading], p.meaning] for p in PARAMETERS.values()]
    assert table_rows("key") == expected


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_is_in_the_readme(name):
    assert f"gearqa {name} " in README
    command = app._Commands(name="gearqa").get_command(None, name)
    parts = {name: command, **{f"{name} {sub}": c for sub, c in getattr(command, "commands", {}).items()}}
    for words, part in parts.items():
        assert f"gearqa {words} " in README
        for option in (option for param in part.params for option in param.opts if option.startswith("--")):
            assert re.search(rf"{option}\b", README), f"{words} {option}"


def test_topics_and_schemas_are_in_the_readme():
    assert all(f"`{topic}`" in README for topic in TOPICS)
    assert f"gearqa schema [{'|'.join(SCHEMAS)}]" in README


def test_the_exit_status_is_the_one_of_the_program():
    expected = [[str(int(status)), status.meaning] for status in ExitStatus]
    assert table_rows("status") == expected


def test_the_cautions_are_there():
    assert GEOMETRY_ONLY.removeprefix("Geometry only: nothing here tells ")[:30] in README
    assert WHO_DECIDES in README
    assert "qualified setter" in README


def test_the_newest_change_is_this_version():
    changes = README.partition("\n## Changes\n")[2]
    versions = re.findall(r"^### (\S+)$", changes, re.MULTILINE)
    assert versions[0] == gearqa.__version__
    assert versions == sorted(versions, key=lambda v: [int(x) for x in v.split(".")], reverse=True)


def test_every_sample_is_named():
    for folder in sorted((ROOT / "sample_measurements").iterdir()):
        assert f"sample_measurements/{folder.name}`" in README, folder.name


def test_public_names_exist():
    assert set(gearqa.__all__) - {"__version__"} == set(gearqa._PLACES)
    for name in gearqa.__all__:
        assert getattr(gearqa, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nix'"):
        gearqa.nix  # noqa: B018
