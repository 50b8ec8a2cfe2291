"""gearqa explain CODE: a page for everything that a message, a verdict or a decision is called."""

from __future__ import annotations

import pytest

from gearqa.cli import app
from gearqa.errors import NoticeCode, Reason
from gearqa.model.decision_table import TABLE
from gearqa.wording.codes import GROUPS
from gearqa.wording.verdicts import MASTER_QUALITY, RULES

EXPLAINED = [code for codes in GROUPS.values() for code in codes]


def shown(capsys, word):
    assert app.run(["explain", word]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_every_code_has_one_entry_and_no_entry_is_left_over():
    known = {*map(str, Reason), *map(str, NoticeCode), "missing"}
    assert len(EXPLAINED) == len(set(EXPLAINED))
    assert set(EXPLAINED) == known


@pytest.mark.parametrize("code", EXPLAINED)
def test_an_entry_says_what_and_what_to_do_in_sentences(code):
    means, advice = next(one[code] for one in GROUPS.values() if code in one)
    for text in (means, advice):
        assert text[0].isupper() or text.startswith(("gearqa", "007"))
        assert text.endswith(".")
        assert "  " not in text


@pytest.mark.parametrize("code", ["row_order", "unit_doubt", "few_cycles", "bias"])
def test_a_code_has_a_page(capsys, code):
    means, advice = next(one[code] for one in GROUPS.values() if code in one)
    text = shown(capsys, code)
    assert means in text
    assert advice in text


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.code)
def test_every_row_of_the_decision_table_has_a_page(capsys, row):
    text = shown(capsys, row.code)
    assert " ".join(row.rule.split()) in text
    assert f"Row {row.number} " in text


@pytest.mark.parametrize("word", ["not proven", *MASTER_QUALITY.values(), *RULES])
def test_every_verdict_and_rule_leads_to_the_page_of_verdicts(capsys, word):
    assert word in shown(capsys, word)


def test_an_unknown_topic_names_those_that_are_like_it(capsys, tmp_path):
    assert app.run(["explain", "row_ordr"]) == 2
    assert "did you mean row_order" in " ".join(capsys.readouterr().err.split())
    assert app.run(["explain", "runot"]) == 2
    assert "runout" in capsys.readouterr().err
    page = tmp_path / "code.html"
    assert app.run(["explain", "row_order", "--html", str(page)]) == 0
    assert "sorted by position" in page.read_text(encoding="utf-8")


def test_an_option_is_explained_by_the_help_of_every_command_that_has_it(capsys):
    assert app.run(["explain", "--previous"]) == 0
    out = capsys.readouterr().out
    assert "gearqa lot " in out
    assert "gearqa verify " in out
    assert "gearqa explain lot" in out
    assert app.run(["explain", "previous"]) == 0
    assert capsys.readouterr().out == out
    assert app.run(["explain", "--previos"]) == 2
    assert "did you mean --previous" in capsys.readouterr().err
