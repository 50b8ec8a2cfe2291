"""Plan files: defaults, one scheme at a time, faults named by key."""

from __future__ import annotations

from pathlib import Path

import pytest

from gearqa.errors import PartFileError
from gearqa.model.plan import Plan
from gearqa.reading.settings.toml_file import load_toml


def load(text: str, folder: Path) -> Plan:
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return load_toml(path, Plan)


def test_defaults_are_those_of_no_plan(tmp_path: Path) -> None:
    plan = load('schema = "gearqa.plan/1"\n', tmp_path)
    assert plan == Plan()
    assert (plan.decision.rule, plan.decision.confidence) == ("guarded acceptance", 0.95)
    assert (plan.confidence, plan.coverage, plan.drawn, plan.require) == (0.95, 0.99, "unknown", ())
    assert (plan.master_quality.confidence, plan.master_quality.coverage) == (0.95, 0.95)
    assert plan.sampling.resolved == "isolated lot"


@pytest.mark.parametrize(
    ("text", "scheme"),
    [
        ("aql_percent = 1.0", "AQL"),
        ('aql_percent = 0.65\nlevel = "S-3"', "AQL"),
        ("n = 20\nac = 1", "own"),
        ('n = 20\nk = 1.5\nvariables = ["runout"]', "own"),
        ("limiting_quality_percent = 10.0", "isolated lot"),
        ("consumer_risk_percent = 5.0\nac = 1", "isolated lot"),
    ],
)
def test_scheme_follows_from_the_keys(text: str, scheme: str, tmp_path: Path) -> None:
    assert load(f"[sampling]\n{text}\n", tmp_path).sampling.resolved == scheme


@pytest.mark.parametrize(
    ("text", "key", "expected"),
    [
        ("drawnn = 'random'", "drawnn", "drawn"),
        ("drawn = 'by hand'", "drawn", "random"),
        ("confidence = 95", "confidence", "1"),
        ("require = ['ppk']", "minimum_ppk", "the lower bound asked for"),
        ("require = ['trend', 'trend']", "require", "each once"),
        ("[decision]\nrule = 'strict'", "decision.rule", "guarded acceptance"),
        ("[sampling]\nscheme = 'AQL'", "sampling.aql_percent", "the AQL in percent"),
        ("[sampling]\naql_percent = 1.0\nn = 20", "sampling.n", "only with scheme 'own'"),
        ("[sampling]\naql_percent = 1.0\nac = 1", "sampling.ac", "the table gives it"),
        ("[sampling]\nn = 20", "sampling.ac", "ac, or k and variables"),
        ("[sampling]\nn = 20\nk = 1.5", "sampling.variables", "k and variables together"),
        (
            "[sampling]\nn = 20\nk = 1.5\nvariables = ['single_pitch']",
            "sampling.variables",
            "with a distribution",
        ),
        ("[uncertainty_source.helix]\nsource = 'x'", "uncertainty_source", "one of"),
    ],
)
def test_fault_names_the_key_and_what_is_allowed(text: str, key: str, expected: str, tmp_path: Path) -> None:
    with pytest.raises(PartFileError) as error:
        load(text + "\n", tmp_path)
    [problem] = error.value.problems
    assert (problem.key or "").startswith(key)
    assert expected in str(problem)
