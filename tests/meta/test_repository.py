"""The repository as a whole: what its files may hold, oracle files, kinds of checks."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from oracle_file import KINDS, ORACLES, load

ROOT = Path(__file__).parents[2]

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "gearqa", "tests", "sample_measurements",
}  # fmt: skip

FORBIDDEN = re.compile(
    "|".join(
        [
            r"/(" + "work|farm|root|home|opt" + r")/",
            "tran" + "script",
            "seed" + r"[ _-]doc",
            "this" + " session",
            "helper" + " session",
            r"contract" + r"\.md",
            r"evaluation" + r"\.md",
            r"statistics_" + r"rules",
            "index" + "-url|extra" + "-index|pypi" + r"\.org/simple",
        ]
    ),
    re.IGNORECASE,
)
"""Paths of one machine, registries, and words about how the work was organised (put together here so
that this file does not hold them itself)."""

TEXT = {".py", ".md", ".toml", ".csv", ".txt", ".css", ".js", ".typ", ".mako", ".html", ".svg", ""}


def tracked() -> list[Path]:
    try:
        done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no git checkout")
    return [ROOT / name for name in done.stdout.split("\0") if name and (ROOT / name).is_file()]


def test_no_forbidden_words():
    found = []
    for path in tracked():
        if path.suffix not in TEXT or path.name == "LICENSE" or path.suffix == ".csv":
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            if match := FORBIDDEN.search(line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {match[0]}")
    assert not found, "\n".join(found)


def test_the_tests_that_the_developers_page_names_are_there():
    named = set(re.findall(r"`(test_\w+)`", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")))
    there = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "tests").rglob("test_*.py"))
    assert len(named) > 12
    assert {name for name in named if f"def {name}(" not in there} == set()


def test_nothing_else_stands_at_the_top():
    names = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL


def test_the_package_brings_its_data():
    import tomllib

    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = settings["tool"]["setuptools"]["package-data"]["*"]
    suffixes = {pattern.removeprefix("*") for pattern in patterns}
    for path in tracked():
        if path.is_relative_to(ROOT / "gearqa") and path.suffix != ".py":
            assert path.suffix in suffixes or path.name in suffixes, f"{path.name} is not in package-data"


@pytest.mark.parametrize("path", sorted(ORACLES.glob("*.csv")), ids=lambda path: path.stem)
def test_oracle_files_have_their_provenance_and_are_used(path):
    oracle = load(path.stem)
    assert oracle.rows
    assert oracle.source["kind"] in KINDS
    assert oracle.source["memory"].split()[0].strip(".,;") in {"yes", "no"}
    users = [p for p in (ROOT / "tests").rglob("*.py") if path.stem in p.read_text(encoding="utf-8")]
    assert users, "no test reads it"


def test_every_tolerance_has_a_row_that_gearqa_did_not_make():
    from gearqa.standards.iso1328_1_2013 import class_5_tolerances

    covered = set()
    for path in ORACLES.glob("iso1328_2013*.csv"):
        oracle = load(path.stem)
        if oracle.source["kind"] in {"published", "independent"}:
            covered |= set(oracle.rows[0]) | {row.get("parameter", "") for row in oracle.rows}
    by_hand = (ROOT / "tests/unit/standards/test_iso1328_1_2013.py").read_text(encoding="utf-8")
    covered |= set(re.findall(r"def test_(\w+)_by_hand\b", by_hand))
    assert set(class_5_tolerances(20, 2.0, 40.0, 20.0, 0.0)) <= covered


def test_each_kind_of_check_is_there():
    files = [p.read_text(encoding="utf-8") for p in (ROOT / "tests").rglob("test_*.py")]
    counts = {kind: sum(len(re.findall(rf"mark\.{kind}\b", text)) for text in files) for kind in KINDS}
    for oracle in map(load, (path.stem for path in ORACLES.glob("*.csv"))):
        counts[oracle.source["kind"]] += len(oracle.rows)
    assert counts["published"] > 20, counts
    assert counts["independent"] > 20, counts


def test_nothing_of_ours_is_only_compared_with_itself():
    for path in ORACLES.glob("*.csv"):
        oracle = load(path.stem)
        if oracle.source["kind"] == "regression":
            assert oracle.source.get("reason"), f"{path.name}: say why nothing better was to be had"
