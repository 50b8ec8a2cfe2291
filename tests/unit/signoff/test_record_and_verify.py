"""Records, signatures and their verification: every change is found and named."""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from lot_factory import make_header, make_lot, make_part

from gearqa.errors import RecordError
from gearqa.model.lot import Disposition, Exclusion, LotOptions
from gearqa.model.measurement import InputFile
from gearqa.model.plan import Plan
from gearqa.model.record import Verification
from gearqa.signoff import key_files as keys
from gearqa.signoff import record, verify
from gearqa.signoff.lot import sign_off
from gearqa.signoff.statistics_table import SEED

PART = make_part()
GEARS = tuple(make_lot(12, PART, {3: {"helix_slope": (4.0, 9.4)}}))


class Case:
    """A folder with two files, a record of it, and a grader that hands the same gears back."""

    def __init__(self, folder: Path, **more: Any) -> None:
        self.folder = folder
        inputs = []
        for name in ("part.toml", "profile.csv"):
            (folder / name).write_text(f"{name}\n1,2,3\n", encoding="utf-8")
            inputs.append(InputFile(name, hashlib.sha256((folder / name).read_bytes()).hexdigest()))
        self.header = replace(make_header(PART), inputs=tuple(inputs))
        self.plan = Plan()
        self.gears = GEARS
        self.record = self.make(**more)

    def make(
        self, lot_id: str = "L-7", disposition: Disposition | None = None, **more: Any
    ) -> dict[str, Any]:
        result = sign_off(
            self.header, PART, GEARS, self.plan, lot_size=100, lot_id=lot_id, disposition=disposition,
            excluded=(Exclusion("G005", "dropped"),),
            options=LotOptions(
                order="88", inspector="Inspector B", date="2025-03-05",
                restricted_to=tuple(gear.serial for gear in GEARS),
            ),
        )  # fmt: skip
        return record.make_record(
            result, PART, self.plan, self.header, GEARS, settings={"serials": ["G000"]}, **more
        )

    def grader(self, folder: Path, settings: Mapping[str, Any]) -> verify.GradedAgain:
        assert settings["serials"] == ["G000"]
        return verify.GradedAgain(PART, self.header, self.gears)

    def check(self, kept: Mapping[str, Any] | None = None, **more: Any) -> Verification:
        return verify.verify(kept or self.record, self.folder, grader=self.grader, **more)


@pytest.fixture
def case(tmp_path: Path) -> Case:
    return Case(tmp_path)


def told(found: Verification, subject: str) -> list[tuple[str, str]]:
    return [(f.status, f.sentence) for f in found.findings if f.subject == subject]


# --- record --------------------------------------------------------------------------------------


@pytest.mark.published
def test_canonical_form_follows_the_example_of_the_standard() -> None:
    # RFC 8785, 3.2.2 and 3.2.3, sample input and its canonical form (from memory)
    sample = json.loads(
        '{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],'
        '"string": "\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/",'
        '"literals": [null, true, false]}'
    )
    want = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert record.canonical(sample) == want.encode()


def test_digest_is_over_everything_but_itself_and_the_signature(case: Case) -> None:
    body = {k: v for k, v in case.record.items() if k not in {"digest", "signature"}}
    assert case.record["digest"] == hashlib.sha256(record.canonical(body)).hexdigest()
    assert record.digest_of({**case.record, "digest": "x", "signature": {"y": 1}}) == case.record["digest"]


def test_record_holds_what_it_rests_on(case: Case) -> None:
    kept = case.record
    assert kept["schema"] == "gearqa.record/1"
    assert kept["plan"] == Plan().model_dump(mode="json", by_alias=True)
    assert kept["part_file"]["uncertainty_um"]["helix_slope"] == 0.8
    assert [g["serial"] for g in kept["grade"]["gears"]] == [g.serial for g in GEARS]
    assert kept["made"] == {"inspector": "Inspector B", "date": "2025-03-05", "measured_by": ["Inspector B"]}
    assert {"python", "numpy", "scipy"} <= set(kept["libraries"])
    assert kept["lot"]["excluded"] == [{"serial": "G005", "reason": "dropped"}]
    assert kept["seeds"] == [SEED]


def test_record_survives_its_file(case: Case, tmp_path: Path) -> None:
    path = tmp_path / "lot.json"
    record.write_record(case.record, path)
    again = record.load_record(path)
    assert again == case.record
    assert record.digest_of(again) == case.record["digest"]
    with pytest.raises(RecordError, match="is there already"):
        record.write_record(case.record, path)
    record.write_record(case.record, path, replace=True)


def test_record_needs_a_lot_id(case: Case) -> None:
    with pytest.raises(RecordError, match="needs a lot_id"):
        case.make(lot_id="")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("{", "is no JSON document"),
        ("[]", "is no record"),
        ('{"schema": "gearqa.result/1"}', "is no record"),
        ('{"schema": "gearqa.record/1"}', "lacks lot_id, digest"),
        ('{"schema": "gearqa.record/1", "a": 1, "a": 2}', "a key occurs twice"),
        ('{"schema": "gearqa.record/1", "a": NaN}', "NaN is no JSON number"),
    ],
)
def test_unreadable_record(text: str, message: str, tmp_path: Path) -> None:
    path = tmp_path / "r.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RecordError, match=message):
        record.load_record(path)


def test_no_record_file(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="cannot read"):
        record.load_record(tmp_path / "none.json")


# --- verification --------------------------------------------------------------------------------


def test_nothing_changed(case: Case) -> None:
    found = case.check()
    assert found.consistent
    assert {f.subject: f.status for f in found.findings} == {
        "files": "consistent", "record": "consistent", "chain": "not checked", "signature": "not checked",
        "values": "consistent",
    }  # fmt: skip
    assert told(found, "chain") == [("not checked", "the record names no previous one")]


def test_disposition_and_options_are_recomputed_too(tmp_path: Path) -> None:
    person = Disposition("release", "quality manager", "2025-03-06", "agreed")
    assert Case(tmp_path, disposition=person).check().consistent


def test_changed_file_is_named(case: Case) -> None:
    path = case.folder / "profile.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("2", "3"), encoding="utf-8")
    found = case.check()
    assert not found.consistent
    [(status, sentence)] = told(found, "files")
    assert status == "differs"
    assert sentence.startswith("profile.csv: changed, SHA-256 is ")


def test_missing_and_additional_files_are_named(case: Case) -> None:
    (case.folder / "part.toml").unlink()
    (case.folder / "second.csv").write_text("x", encoding="utf-8")
    assert told(case.check(), "files") == [
        ("differs", "part.toml: not in the folder"),
        ("differs", "second.csv: not in the record"),
    ]


def paths(value: Any, where: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Places of all leaves of a document."""
    if isinstance(value, dict):
        return [p for k, v in value.items() for p in paths(v, (*where, k))]
    if isinstance(value, list):
        return [p for i, v in enumerate(value) for p in paths(v, (*where, i))]
    return [where]


def test_any_changed_leaf_breaks_the_digest(case: Case) -> None:
    places = paths(case.record)
    assert len(places) > 1000
    text = json.dumps(case.record)
    for place in places[:: len(places) // 40]:
        changed = json.loads(text)
        target: Any = changed
        for step in place[:-1]:
            target = target[step]
        old = target[place[-1]]
        target[place[-1]] = (
            (not old) if isinstance(old, bool) else old + 1 if isinstance(old, int | float) else f"{old}x"
        )
        found = record.digest_of(changed) if place != ("digest",) else case.record["digest"]
        assert found != changed["digest"], place


@pytest.mark.parametrize(
    ("place", "value", "where"),
    [
        (("lot", "decision"), "release", "lot.decision"),
        (
            ("lot", "parameters", "helix_slope", "left", "mean_um"),
            1.0,
            "lot.parameters.helix_slope.left.mean_um",
        ),
        (("lot", "gears", 3, "state"), "conforms", "lot.gears[G003].state"),
        (
            ("grade", "gears", 2, "parameters", "runout", "value_um"),
            7.1,
            "grade.gears[G002].parameters.runout.value_um",
        ),
        (("part_file", "tolerance", "class"), 7, "part_file.tolerance.class"),
    ],
)
def test_forged_value_with_renewed_digest_is_found_by_computing_again(
    case: Case, place: tuple[Any, ...], value: Any, where: str
) -> None:
    forged = copy.deepcopy(case.record)
    target: Any = forged
    for step in place[:-1]:
        target = target[step]
    assert target[place[-1]] != value
    target[place[-1]] = value
    forged["digest"] = record.digest_of(forged)
    found = case.check(forged)
    assert not found.consistent
    assert told(found, "record")[0][0] == "consistent"
    assert where in {f.where for f in found.findings if f.subject == "values" and f.status == "differs"}


def test_changed_measurement_is_found_in_the_values(case: Case) -> None:
    case.gears = tuple(make_lot(12, PART, {3: {"helix_slope": (4.0, 9.41)}}))
    sentences = [s for _, s in told(case.check(), "values")]
    assert any(
        s.startswith("grade.gears[G003].parameters.helix_slope.max_um: 9.4 in the record, now 9.41")
        for s in sentences
    )


def test_numbers_agree_within_1e_9_and_words_exactly() -> None:
    assert not list(verify.differences({"a": 1.0, "b": [1, "x"]}, {"a": 1.0 + 5e-10, "b": [1, "x"]}))
    assert [w for w, _ in verify.differences({"a": 1.0}, {"a": 1.0 + 5e-9})] == ["a"]
    assert [w for w, _ in verify.differences({"a": 3}, {"a": 4})] == ["a"]
    assert [w for w, _ in verify.differences({"a": "conforms"}, {"a": "Conforms"})] == ["a"]
    assert [w for w, _ in verify.differences({"a": None}, {"a": False})] == ["a"]
    assert [w for w, _ in verify.differences({"a": True}, {"a": 1})] == ["a"]
    assert [w for w, _ in verify.differences({"a": [1, 2]}, {"a": [1]})] == ["a"]
    assert [s for _, s in verify.differences({"a": 1}, {"b": 2})] == [
        "a: in the record only",
        "b: not in the record, now 2",
    ]


def test_another_software_version_is_named_as_that(case: Case) -> None:
    older = copy.deepcopy(case.record)
    for document in (older, older["grade"], older["lot"]):
        document["software"]["version"] = "0.0.9"
    older["digest"] = record.digest_of(older)
    same = case.check(older)
    assert same.consistent
    assert any("another software version: made by gearqa 0.0.9" in s for _, s in told(same, "values"))
    older["lot"]["parameters"]["helix_slope"]["left"]["mean_um"] += 1e-6
    older["digest"] = record.digest_of(older)
    changed = [s for status, s in told(case.check(older), "values") if status == "differs"]
    assert len(changed) == 1
    assert changed[0].endswith("(made by another software version, 0.0.9)")


def test_without_a_folder_files_and_values_are_not_checked(case: Case) -> None:
    found = verify.verify(case.record, None)
    assert found.consistent
    assert [s for s, status in found.subjects.items() if status == "not checked"] == [
        "files",
        "chain",
        "signature",
        "values",
    ]


def test_unreadable_inputs_are_a_difference_not_a_crash(case: Case) -> None:
    def grader(folder: Path, settings: Mapping[str, Any]) -> verify.GradedAgain:
        raise RecordError("profile.csv cannot be read")

    found = verify.verify(case.record, case.folder, grader=grader)
    assert told(found, "values") == [("differs", "cannot be computed again: profile.csv cannot be read")]


# --- chain ---------------------------------------------------------------------------------------


def test_chain(case: Case) -> None:
    second = case.make(lot_id="L-8", previous=case.record)
    assert {k: v for k, v in second["previous"].items() if k not in {"earlier", "repeated"}} == {
        "digest": case.record["digest"], "lot_id": "L-7", "decision": "hold", "reinspection": False,
    }  # fmt: skip
    assert told(case.check(second, previous=case.record), "chain")[0][0] == "consistent"
    assert told(case.check(second), "chain") == [("not checked", "no previous record was given")]


def test_broken_chain_is_named(case: Case) -> None:
    second = case.make(lot_id="L-8", previous=case.record)
    changed = copy.deepcopy(case.record)
    changed["lot"]["decision"] = "release"
    sentences = [s for _, s in told(case.check(second, previous=changed), "chain")]
    assert any("the previous record was changed" in s for s in sentences)
    other = case.make(lot_id="L-6")
    assert "another previous record" in told(case.check(second, previous=other), "chain")[0][1]
    assert told(case.check(previous=other), "chain")[0][0] == "differs"


def test_reinspection_keeps_the_first_result(case: Case) -> None:
    second = case.make(previous=case.record)
    third = case.make(previous=second)
    assert second["previous"]["reinspection"] is True
    first = {k: case.record["lot"]["sampling"][k] for k in ("d_low", "d_high", "measured_n")}
    for later in (second, third):
        assert later["previous"]["first_result"] == {
            "digest": case.record["digest"],
            "decision": "hold",
            **first,
        }


def test_records_of_another_part_are_not_chained(case: Case) -> None:
    other = copy.deepcopy(case.record)
    other["grade"]["part"]["number"] = "XX-1"
    with pytest.raises(RecordError, match="previous record is of part XX-1"):
        case.make(previous=other)


# --- signature -----------------------------------------------------------------------------------


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    private, public = tmp_path / "key.pem", tmp_path / "key.pub"
    keys.make_keys(private, public)
    return private, public


def test_signed_record(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    (tmp_path / "in").mkdir()
    case = Case(tmp_path / "in", key=keys.load_private_key(pair[0]))
    public = keys.load_public_key(pair[1])
    assert told(case.check(key=public), "signature") == [
        ("consistent", f"signed with the key given, {keys.fingerprint(public)}")
    ]
    assert told(case.check(), "signature")[0][0] == "not checked"
    forged = copy.deepcopy(case.record)
    forged["lot"]["decision"] = "release"
    forged["digest"] = record.digest_of(forged)
    for key in (public, None):
        assert told(case.check(forged, key=key), "signature") == [
            ("differs", "the signature does not fit the record")
        ]


def test_signature_of_somebody_else(tmp_path: Path, pair: tuple[Path, Path]) -> None:
    (tmp_path / "in").mkdir()
    case = Case(tmp_path / "in", key=keys.load_private_key(pair[0]))
    keys.make_keys(tmp_path / "other.pem", tmp_path / "other.pub")
    found = case.check(key=keys.load_public_key(tmp_path / "other.pub"))
    assert "made with another key" in told(found, "signature")[0][1]


def test_unsigned_record_with_a_key(case: Case, pair: tuple[Path, Path]) -> None:
    found = case.check(key=keys.load_public_key(pair[1]))
    assert told(found, "signature") == [("differs", "a key was given, but the record is not signed")]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"algorithm": "RSA"}, "only Ed25519 is known"),
        ({"value": "!"}, "cannot be read"),
        ({"fingerprint": "0"}, "fingerprint does not belong"),
        ({"public_key": "AAAA"}, "cannot be read"),
    ],
)
def test_damaged_signature(
    tmp_path: Path, pair: tuple[Path, Path], changes: dict[str, str], message: str
) -> None:
    (tmp_path / "in").mkdir()
    case = Case(tmp_path / "in", key=keys.load_private_key(pair[0]))
    damaged = copy.deepcopy(case.record)
    damaged["signature"].update(changes)
    assert message in told(case.check(damaged), "signature")[0][1]


@pytest.mark.published
def test_signature_of_the_standards_test_vector() -> None:
    # RFC 8032, 7.1, TEST 2 (from memory): one octet 0x72
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    secret = bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
    made = keys.sign(b"\x72", Ed25519PrivateKey.from_private_bytes(secret))
    import base64

    assert (
        base64.b64decode(made["public_key"]).hex()
        == "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"
    )
    assert base64.b64decode(made["value"]).hex() == (
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )
    assert keys.check_signature(b"\x72", made, None) is None
    assert keys.check_signature(b"\x73", made, None) == "the signature does not fit the record"


def test_key_files_are_private_and_never_overwritten(pair: tuple[Path, Path]) -> None:
    private, public = pair
    assert private.stat().st_mode & 0o077 == 0
    with pytest.raises(RecordError, match="is there already"):
        keys.make_keys(private, public)
    with pytest.raises(RecordError, match="holds a private key"):
        keys.load_public_key(private)
    with pytest.raises(RecordError, match="holds no private key"):
        keys.load_private_key(public)


def test_key_with_a_password(tmp_path: Path) -> None:
    private, public = tmp_path / "k.pem", tmp_path / "k.pub"
    keys.make_keys(private, public, password=b"secret")
    with pytest.raises(RecordError) as error:
        keys.load_private_key(private)
    assert "password" in error.value.hint
    with pytest.raises(RecordError) as error:
        keys.load_private_key(private, password=b"wrong")
    assert error.value.hint == "is the password right?"
    key = keys.load_private_key(private, password=b"secret")
    assert keys.fingerprint(key.public_key()) == keys.fingerprint(keys.load_public_key(public))


# --- the record before -----------------------------------------------------------------------------


def test_a_previous_record_that_was_changed_or_wrongly_signed_is_refused(case: Case, tmp_path: Path) -> None:
    changed = copy.deepcopy(case.record)
    changed["lot"]["decision"] = "release"
    with pytest.raises(RecordError, match="was changed"):
        case.make("L-8", previous=changed)
    private = tmp_path / "inspector.key"
    keys.make_keys(private, tmp_path / "inspector.pub")
    key = keys.load_private_key(private)
    signed, other = case.make("L-8", key=key), case.make("L-9", key=key)
    assert case.make("L-9", previous=signed)["previous"]["lot_id"] == "L-8"
    signed["signature"]["value"] = other["signature"]["value"]
    with pytest.raises(RecordError, match="the previous record: "):
        case.make("L-9", previous=signed)


def test_gears_of_every_earlier_record_of_the_chain_are_named(case: Case) -> None:
    first = case.record
    assert first["previous"] is None
    second = case.make("L-8", previous=first)
    serials = [gear["serial"] for gear in first["grade"]["gears"]]
    assert second["previous"]["earlier"] == [{"digest": first["digest"], "lot_id": "L-7", "serials": serials}]
    assert {one["lot_id"] for one in second["previous"]["repeated"]} == {"L-7"}
    assert {one["serial"] for one in second["previous"]["repeated"]} == set(serials)
    third = case.make("L-9", previous=second)
    assert [one["lot_id"] for one in third["previous"]["earlier"]] == ["L-7", "L-8"]
    assert {one["lot_id"] for one in third["previous"]["repeated"]} == {"L-8"}


def test_a_chain_has_no_branches(case: Case, tmp_path: Path) -> None:
    second = case.make("L-8", previous=case.record)
    record.refuse_fork(case.record, [tmp_path])
    place = tmp_path / "second.json"
    record.write_record(second, place)
    (tmp_path / "other.txt").write_text("{no record", encoding="utf-8")
    with pytest.raises(RecordError, match="follows the previous record already"):
        record.refuse_fork(case.record, [tmp_path])
    record.refuse_fork(case.record, [tmp_path], but=place)
    record.refuse_fork(second, [tmp_path])
