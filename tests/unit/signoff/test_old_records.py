"""Records of earlier versions still verify: numbers, codes and verdicts always, words of one version only.

`record_of_0_1_0.json` was written by `gearqa lot` of version 0.1.0 from two gears of the sample `pinion`,
`record_of_0_2_0.json` by version 0.2.0 from the same two, and signed.
"""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from gearqa.cli import app
from gearqa.jobs.json_schemas import json_schema
from gearqa.signoff import verify
from gearqa.signoff.record import digest_of, load_record, record_bytes

FOLDER = Path(__file__).parents[3] / "sample_measurements" / "pinion"
KEPT = Path(__file__).with_name("record_of_0_1_0.json")
SIGNED = KEPT.with_name("record_of_0_2_0.json")


@pytest.fixture(autouse=True)
def later_version(monkeypatch: pytest.MonkeyPatch) -> None:
    """A version that did not write the record, whatever this one is called."""
    monkeypatch.setattr(verify, "__version__", "9.9.9")


def check(record: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, list[str]]:
    status = app.run(["verify", str(record), str(FOLDER)])
    return status, capsys.readouterr().out.splitlines()


def changed(tmp_path: Path, *place: Any, value: Any) -> Path:
    """The old record with one value changed and its digest renewed."""
    record = copy.deepcopy(load_record(KEPT))
    target: Any = record
    for step in place[:-1]:
        target = target[step]
    assert target.get(place[-1], "") != value
    target[place[-1]] = value
    record["digest"] = digest_of(record)
    file = tmp_path / "changed.json"
    file.write_bytes(record_bytes(record))
    return file


def test_an_old_record_verifies(capsys: pytest.CaptureFixture[str]) -> None:
    status, lines = check(KEPT, capsys)
    assert status == 0, lines
    assert any("words are those of version 0.1.0 and were not compared" in line for line in lines)
    changed_rules = (
        "7 values of the sign-off (lot.sampling.consumer_risk, ...) follow other rules since 0.3.0"
    )
    assert any(f"{changed_rules}; gearqa 0.1.0 can verify them" in line for line in lines)
    last = "lot P-1: nothing that was checked differs; not checked: chain, signature, recomputed values"
    assert last in lines
    jsonschema.validate(load_record(KEPT), json_schema("record"), cls=jsonschema.Draft202012Validator)


def test_an_old_signed_record_verifies(capsys: pytest.CaptureFixture[str]) -> None:
    key = SIGNED.with_suffix(".pub")
    assert app.run(["verify", str(SIGNED), str(FOLDER), "--key", str(key)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "lot P-1: nothing that was checked differs; not checked: chain, recomputed values" in lines


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("lot", "parameters", "helix_slope", "left", "mean_um"), 1.25),
        (("lot", "reasons", 0, "code"), "accepted"),
        (("lot", "gears", 0, "state"), "not proven"),
        (("lot", "cautions", 0, "code"), "wear"),
        (("grade", "gears", 0, "parameters", "runout", "value_um"), 7.1),
        (("part_file", "part", "name"), "another"),
    ],
)
def test_a_changed_number_code_or_verdict_of_an_old_record_is_named(
    place: tuple[Any, ...], value: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, lines = check(changed(tmp_path, *place, value=value), capsys)
    assert status == 1
    found = [line for line in lines if ": differs: " in line]
    assert len(found) == 1
    assert str(place[-1]) in found[0]
    assert "made by another software version, 0.1.0" in found[0]


def test_words_of_another_version_may_differ_but_not_be_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = ("lot", "parameters", "runout", "both", "ppk_withheld_reason")
    assert check(changed(tmp_path, *place, value="said otherwise"), capsys)[0] == 0
    status, lines = check(changed(tmp_path, *place, value=None), capsys)
    assert status == 1
    assert any("ppk_withheld_reason: None in the record" in line for line in lines)


def test_words_of_the_same_version_are_compared(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(verify, "__version__", "0.1.0")
    monkeypatch.setattr("gearqa.report.lot.screen.MOST_DIFFERENCES", 10_000)  # keys added since, too
    file = changed(tmp_path, "lot", "reasons", 0, "sentence", value="all is well")
    status, lines = check(file, capsys)
    assert status == 1
    assert any("lot.reasons[0].sentence: 'all is well' in the record" in line for line in lines)


def test_a_key_that_is_gone_is_named_and_one_that_was_added_is_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, lines = check(changed(tmp_path, "lot", "once_written", value=1), capsys)
    assert status == 1
    assert any("lot.once_written: in the record only" in line for line in lines)
    record = load_record(KEPT)
    del record["lot"]["parameters"]["runout"]["both"]["n_effective"]
    record["digest"] = digest_of(record)
    (tmp_path / "less.json").write_bytes(record_bytes(record))
    assert check(tmp_path / "less.json", capsys)[0] == 0


def texts(value: Any, key: str = "") -> set[tuple[str, str]]:
    """(key, text) of every text of a document, those under a key of words as that key's."""
    if isinstance(value, dict):
        return {pair for k, v in value.items() for pair in texts(v, key if key in verify.WORDS else k)}
    if isinstance(value, list):
        return {pair for v in value for pair in texts(v, key)}
    return {(key, value)} if isinstance(value, str) else set()


def test_sentences_are_words_and_words_are_sentences() -> None:
    """What reads as text, with a blank, is one of the words or of a closed list, a name or an edition."""
    record = json.loads(KEPT.read_text(encoding="utf-8"))
    found = {key for key, text in texts({k: record[k] for k in ("grade", "lot")}) if " " in text}
    others = {
        "name", "standard", "position", "operator", "inspector", "scheme", "rule", "distribution",
        "decision_rule", "in_lot", "state", "counts_as", "master_quality", "missing", "remark",
    }  # fmt: skip
    assert found <= verify.WORDS | others
    assert found >= {"interval_model", "message", "sentence", "statistic"}
