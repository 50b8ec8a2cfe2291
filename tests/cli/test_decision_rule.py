"""One decision rule for grade and lot, from the part file or the plan, and what grade says about it."""

from __future__ import annotations

import json
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from made_folders import INDEX_UM, pitch_folder

from gearqa.cli import app

LARGEST_PITCH_UM = max(abs(b - a) for a, b in zip((INDEX_UM[-1], *INDEX_UM), INDEX_UM, strict=False))
LIMIT_UM = 10.0
GUARDED = '[decision]\nrule = "guarded acceptance"\n'


def folder_at(folder: Path, *values: float, more: str = "") -> Path:
    """Gears whose largest single pitch has these values, against a limit of 10 with U 1."""
    extra = f"[tolerance.limits_um]\nsingle_pitch = {LIMIT_UM}\ncumulative_pitch = 200.0\n"
    extra += f"[uncertainty_um]\nsingle_pitch = 1.0\n{more}"
    gears = {f"G-{number}": value / LARGEST_PITCH_UM for number, value in enumerate(values, 1)}
    return pitch_folder(folder, gears, extra=extra)


def run(*words: str | Path) -> tuple[int, str]:
    """Exit status, and what is printed on one line."""
    with redirect_stdout(StringIO()) as out, redirect_stderr(StringIO()):
        status = app.run([str(word) for word in words])
    return status, " ".join(out.getvalue().split())


def document(folder: Path, command: str, *more: str) -> dict[str, Any]:
    file = folder.parent / "out.json"
    run(command, folder, "--json", file, *more)
    result: dict[str, Any] = json.loads(file.read_bytes())
    return result


def test_simple_acceptance_says_what_guarding_would_say(tmp_path: Path) -> None:
    status, text = run("grade", folder_at(tmp_path, 9.5))
    assert status == 0
    assert "Decision rule: simple acceptance" in text
    assert "Guarded acceptance (95 %) would say conformity not proven (fp left, fp right)." in text
    assert "would say the same." in run("grade", folder_at(tmp_path / "far", 5.0))[1]


def test_of_a_lot_the_gears_are_named(tmp_path: Path) -> None:
    status, text = run("grade", folder_at(tmp_path, 5.0, 9.5, 10.5))
    assert status == 1
    assert "Guarded acceptance (95 %) would say not proven of 2 gears (G-2, G-3)." in text


def test_guarded_acceptance_leaves_a_gear_open(tmp_path: Path) -> None:
    status, text = run("grade", folder_at(tmp_path, 9.5, more=GUARDED))
    assert status == 1
    assert "Conformity to the drawing: not proven fp left" in text
    assert "Decision rule: guarded acceptance, 95 %: what is not proven does not count as conforming" in text
    assert "not assessed" not in text


def test_a_lot_of_one_state_is_counted_by_its_word(tmp_path: Path) -> None:
    text = run("grade", folder_at(tmp_path, 5.0, 9.5, more=GUARDED))[1]
    assert "Conformity to the drawing: not proven 1 of 2 gears conforms; 1 not proven" in text


@pytest.mark.parametrize("rule", ["guarded acceptance", "simple acceptance", "guarded rejection"])
def test_grade_and_lot_judge_alike(tmp_path: Path, rule: str) -> None:
    folder = folder_at(tmp_path, 5.0, 9.5, 10.5, 12.0, more=f'[decision]\nrule = "{rule}"\n')
    graded, lot = document(folder, "grade"), document(folder, "lot", "--lot-size", "40")
    assert graded["decision_rule"] == lot["decision_rule"]["rule"] == rule
    verdicts = {"conforms": True, "does not conform": False, "not proven": None}
    for one, other in zip(graded["gears"], lot["gears"], strict=True):
        assert one["state"] == other["state"]
        assert one["conforms"] is verdicts[other["counts_as"]]
    assert graded["lot"]["not_proven"] == lot["not_proven"] == 2


def test_the_decision_table_of_a_plan_wins(tmp_path: Path) -> None:
    folder = folder_at(tmp_path, 5.0, 9.5, more='[decision]\nrule = "simple acceptance"\n')
    plan = tmp_path / "plan.toml"
    plan.write_text('schema = "gearqa.plan/1"\n', encoding="utf-8")
    assert document(folder, "lot", "--plan", str(plan))["decision_rule"]["rule"] == "simple acceptance"
    plan.write_text(f'schema = "gearqa.plan/1"\n{GUARDED}', encoding="utf-8")
    lot = document(folder, "lot", "--plan", str(plan))
    assert lot["decision_rule"]["rule"] == "guarded acceptance"
    assert lot["plan"]["decision"]["rule"] == "guarded acceptance"


def test_a_record_under_the_rule_of_the_part_file_verifies(tmp_path: Path) -> None:
    folder = folder_at(tmp_path / "lot", 9.5, 5.0, more='[decision]\nrule = "guarded rejection"\n')
    record = tmp_path / "record.json"
    run("lot", folder, "--lot-size", "2", "--lot-id", "L-1", "--record", record)
    status, text = run("verify", record, folder)
    assert status == 0, text


def test_a_disposition_is_of_the_date_of_the_sign_off_where_no_other_is_given(tmp_path: Path) -> None:
    """The example of the README, with and without a date of its own."""
    words = ("lot", folder_at(tmp_path, 5.0), "--disposition", "release", "--disposed-by", "NAME")
    text = run(*words, "--date", "2025-03-14")[1]
    assert "release, decided by NAME on 2025-03-14" in text
    assert "on 2025-03-15" in run(*words, "--date", "2025-03-14", "--disposed-on", "2025-03-15")[1]
    assert run(*words)[0] == 2
