"""gearqa verify: changes are found and named, and so is what was not checked."""

from __future__ import annotations

import json
import random
import shutil
from pathlib import Path

import jsonschema
import pytest
from lot_samples import PLANS, SAMPLES
from made_folders import pitch_folder

from gearqa.cli import app
from gearqa.jobs.json_schemas import json_schema
from gearqa.signoff.record import digest_of, record_bytes
from gearqa.wording.safety import CAUTIONS


def run(*line):
    return app.run([str(word) for word in line])


class Kept:
    """A sample folder with two chained records, the second one signed, and keys."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.folder = place / "pinion"
        shutil.copytree(SAMPLES / "pinion", self.folder)
        shutil.copy(PLANS / "one_lot.toml", place)
        self.first, self.second = place / "first.json", self.folder / "second.json"
        assert run("keys", place / "me") == 0
        self.key = place / "me.pub"
        line = (
            "lot",
            self.folder,
            "--lot-size",
            40,
            "--plan",
            place / "one_lot.toml",
            "-q",
            "--remark",
            "Größe",
        )
        assert run(*line, "--lot-id", "P-1", "--record", self.first) == 1
        more = (
            "--lot-id",
            "P-2",
            "--record",
            self.second,
            "--previous",
            self.first,
            "--sign",
            place / "me.key",
        )
        assert run(*line, *more) == 1


@pytest.fixture(scope="module")
def original(tmp_path_factory) -> Kept:
    return Kept(tmp_path_factory.mktemp("kept"))


@pytest.fixture
def kept(original, tmp_path) -> Kept:
    """A copy that a test may spoil."""
    copy = object.__new__(Kept)
    shutil.copytree(original.place, tmp_path / "copy")
    copy.place = tmp_path / "copy"
    copy.folder, copy.key = copy.place / "pinion", copy.place / "me.pub"
    copy.first, copy.second = copy.place / "first.json", copy.folder / "second.json"
    return copy


def verify(capsys, *line) -> tuple[int, list[str]]:
    capsys.readouterr()
    status = run("verify", *line)
    lines = capsys.readouterr().out.splitlines()
    assert tuple(lines[-len(CAUTIONS) :]) == (CAUTIONS if status < 2 else ())
    return status, lines[: -len(CAUTIONS)]


def test_everything_in_order_a_line_each(original, capsys):
    """The record may lie in the folder, which was read when it was not there."""
    status, lines = verify(
        capsys, original.second, original.folder, "--previous", original.first, "--key", original.key
    )
    assert status == 0
    heads = [line.split(": ")[:2] for line in lines[:-1]]
    assert heads == [
        [name, "consistent"] for name in ("files", "record", "chain", "signature", "recomputed values")
    ]
    assert lines[-1] == "lot P-2: nothing that was checked differs; not checked: nothing"
    assert not any("untouched" in line for line in lines)


def test_what_is_not_checked_is_said(original, capsys):
    status, lines = verify(capsys, original.first)
    assert status == 0
    assert lines[2] == "chain: not checked: the record names no previous one"
    assert "not signed" in lines[3]
    assert lines[-1].endswith("not checked: files, chain, signature, recomputed values")


def change_a_digit(table: Path) -> str:
    """Change one digit in the middle of a series in the middle of a table; return the serial of the row."""
    lines = table.read_text(encoding="utf-8").splitlines(keepends=True)
    series = lines[len(lines) // 2].rsplit(",", 2)[0]
    own = [k for k, line in enumerate(lines) if line.rsplit(",", 2)[0] == series]
    at = own[len(own) // 2]
    head, _, last = lines[at].rstrip("\n").rpartition(",")
    place = next(k for k, c in enumerate(last) if c.isdigit())
    lines[at] = f"{head},{last[:place]}{(int(last[place]) + 3) % 10}{last[place + 1 :]}\n"
    table.write_text("".join(lines), encoding="utf-8", newline="")
    return head.split(",")[0]


@pytest.mark.parametrize("name", ["profile.csv", "helix.csv", "pitch.csv", "runout.csv"])
def test_one_digit_of_a_table_is_reported(kept, capsys, name):
    serial = change_a_digit(kept.folder / name)
    status, lines = verify(capsys, kept.first, kept.folder)
    assert status == 1
    assert any(line.startswith(f"files: differs: {name}: changed, SHA-256 is") for line in lines)
    assert any(line.startswith("recomputed values: differs: ") and f"[{serial}]" in line for line in lines)


def test_a_table_more_or_less_is_named(kept, capsys):
    shutil.copy(kept.folder / "size.csv", kept.folder / "more.csv")
    (kept.folder / "runout.csv").unlink()
    status, lines = verify(capsys, kept.first, kept.folder)
    assert status == 1
    assert "files: differs: runout.csv: not in the folder" in lines
    assert "files: differs: more.csv: not in the record" in lines


def test_the_plan_is_checked_where_it_lay(kept, capsys):
    plan = kept.place / "one_lot.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace("20.0", "25.0"), encoding="utf-8")
    status, lines = verify(capsys, kept.first, kept.folder)
    assert status == 1
    assert any("../one_lot.toml: changed" in line for line in lines)
    plan.unlink()
    status, lines = verify(capsys, kept.first, kept.folder)
    assert status == 0
    assert any("the record holds the plan whole" in line for line in lines)


def test_a_value_of_the_record_is_named_even_with_a_new_digest(kept, capsys):
    record = json.loads(kept.first.read_text(encoding="utf-8"))
    record["lot"]["decision"] = "release"
    kept.first.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.first, kept.folder)
    assert status == 1
    assert any(line.startswith("record: differs: the record was changed") for line in lines)
    record["digest"] = digest_of(record)
    kept.first.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.first, kept.folder)
    assert status == 1
    assert "recomputed values: differs: lot.decision: 'release' in the record, now 'hold'" in lines


def test_a_broken_chain_is_named(kept, capsys):
    record = json.loads(kept.first.read_text(encoding="utf-8"))
    record["made"]["inspector"] = "somebody else"
    kept.first.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.second, "--previous", kept.first)
    assert status == 1
    assert any(line.startswith("chain: differs: the previous record was changed") for line in lines)
    record["digest"] = digest_of(record)
    kept.first.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.second, "--previous", kept.first)
    assert status == 1
    assert any(line.startswith("chain: differs: another previous record") for line in lines)


def test_a_changed_signature_or_another_key_is_named(kept, capsys):
    record = json.loads(kept.second.read_text(encoding="utf-8"))
    value = record["signature"]["value"]
    record["signature"]["value"] = value[:10] + ("A" if value[10] != "A" else "B") + value[11:]
    kept.second.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.second, "--key", kept.key)
    assert status == 1
    assert "signature: differs: the signature does not fit the record" in lines
    assert run("keys", kept.place / "other") == 0
    record["signature"]["value"] = value
    kept.second.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.second, "--key", kept.place / "other.pub")
    assert status == 1
    assert any("made with another key" in line for line in lines)
    del record["signature"]
    kept.second.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.second, "--key", kept.key)
    assert status == 1
    assert "signature: differs: a key was given, but the record is not signed" in lines


def test_no_changed_byte_passes_and_none_is_a_crash(original, tmp_path, capsys):
    """Single bytes at random; a change of blanks or line ends alone is a change too."""
    text = original.second.read_bytes()
    target = tmp_path / "changed.json"
    random.seed(7)
    blanks = [k for k, c in enumerate(text[:20_000]) if c == ord("\n")]
    changes = [(random.randrange(len(text)), random.randrange(1, 256)) for _ in range(60)]
    changes += [(k, ord("\n") ^ ord("\t")) for k in random.sample(blanks, 5)]
    for at, flip in changes:
        changed = bytearray(text)
        changed[at] ^= flip
        target.write_bytes(bytes(changed))
        status, lines = verify(capsys, target, "--key", original.key)
        assert status in {1, 2}, (at, flip)
        assert status == 2 or any(": differs: " in line for line in lines)


def decoded_alike(text):
    """Another base64 text of the same bytes: the unused bits of its last digit set (RFC 4648, 3.5)."""
    digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
    last = text.rstrip("=")[-1]
    return text.replace(f"{last}=", f"{digits[digits.index(last) + 1]}=")


def reordered(value):
    return dict(reversed(value.items())) if isinstance(value, dict) else value


FORGERIES = {
    "a key added inside": lambda r: r["signature"].update(approved_by="quality manager"),
    "a key added outside": lambda r: r.update(approved_by="quality manager"),
    "a key added to who made it": lambda r: r["made"].update(approved_by="quality manager"),
    "a key added to the link": lambda r: r["previous"].update(approved_by="quality manager"),
    "a key missing": lambda r: r["signature"].pop("fingerprint"),
    "unused bits of the value": lambda r: r["signature"].update(value=decoded_alike(r["signature"]["value"])),
    "unused bits of the key": lambda r: r["signature"].update(
        public_key=decoded_alike(r["signature"]["public_key"])
    ),
    "a number as the algorithm": lambda r: r["signature"].update(algorithm=25519),
    "a list as the value": lambda r: r["signature"].update(value=[1]),
    "keys in another order": lambda r: r.update(signature=reordered(r["signature"])),
    "keys of the plan in another order": lambda r: r.update(plan=reordered(r["plan"])),
    "a number spelt otherwise": lambda r: r["settings"].update(lot_size=40.0),
    "no signature, said aloud": lambda r: r.update(signature=None),
}


@pytest.mark.parametrize("forged", FORGERIES)
@pytest.mark.parametrize("renewed", [False, True], ids=["digest kept", "digest renewed"])
def test_nothing_is_added_to_a_signed_record_unseen(kept, capsys, forged, renewed):
    record = json.loads(kept.second.read_text(encoding="utf-8"))
    FORGERIES[forged](record)
    if renewed:
        record["digest"] = digest_of(record)
    kept.second.write_text(json.dumps(record, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    status, lines = verify(capsys, kept.second, "--key", kept.key)
    assert status in {1, 2}
    assert status == 2 or any(": differs: " in line for line in lines)


def test_a_key_that_occurs_twice_and_blanks_show(kept, capsys):
    text = kept.second.read_text(encoding="utf-8")
    for changed in (
        text.replace('"algorithm"', '"algorithm": "none",\n  "algorithm"', 1),
        text.replace('"algorithm": ', '"algorithm":  ', 1),
        text.replace("\n", ""),
        text + "\n",
        "\ufeff" + text,
        text.replace("ö", "\\u00f6"),
    ):
        assert changed != text
        kept.second.write_text(changed, encoding="utf-8")
        status, lines = verify(capsys, kept.second, "--key", kept.key)
        assert status == 2 or (status == 1 and any(": differs: " in line for line in lines))


def test_an_added_key_of_an_unsigned_record_shows_even_with_its_digest_renewed(kept, capsys):
    record = json.loads(kept.first.read_text(encoding="utf-8"))
    record["approved_by"] = "quality manager"
    record["digest"] = digest_of(record)
    kept.first.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.first)
    assert status == 1
    assert "record: differs: the record has a key that no record has: approved_by" in lines
    status, lines = verify(capsys, kept.second, "--previous", kept.first)
    assert status == 1
    assert any(line.startswith("chain: differs: the previous record has a key") for line in lines)


def test_a_changed_line_end_is_named_by_its_line(kept, capsys):
    text = kept.first.read_bytes()
    kept.first.write_bytes(text.replace(b"\n", b"\r\n", 5).replace(b"\r\n", b"\n", 4))
    status, lines = verify(capsys, kept.first)
    assert status == 1
    assert any("text was changed from line 5 on" in line for line in lines)


@pytest.mark.parametrize("key", ["lot", "grade", "plan", "settings", "part_file"])
@pytest.mark.parametrize("value", [[], None, "x", 5, {}])
def test_a_misshapen_record_is_no_crash(original, tmp_path, capsys, key, value):
    record = json.loads(original.first.read_text(encoding="utf-8"))
    record[key] = value
    record["digest"] = digest_of(record)
    target = tmp_path / "odd.json"
    target.write_bytes(record_bytes(record))
    status, lines = verify(capsys, target, original.folder)
    assert status in {1, 2}
    assert status == 2 or any(": differs: " in line for line in lines)


def test_another_version_is_named_as_that(kept, capsys):
    record = json.loads(kept.first.read_text(encoding="utf-8"))
    record["software"]["version"] = "0.0.1"
    record["lot"]["gears"][0]["probability_of_conformity"] *= 1 + 1e-6
    record["digest"] = digest_of(record)
    kept.first.write_bytes(record_bytes(record))
    status, lines = verify(capsys, kept.first, kept.folder)
    assert status == 1
    assert any("another software version: made by gearqa 0.0.1" in line for line in lines)
    assert any(
        "probability_of_conformity" in line and "made by another software version" in line for line in lines
    )


@pytest.mark.parametrize(
    ("content", "message"),
    [(b"", "is no JSON"), (b"{}", "is no record"), (b"\xff\xfe", "is no UTF-8"), (None, "cannot read")],
)
def test_what_cannot_be_read_is_bad_use(tmp_path, capsys, content, message):
    target = tmp_path / "r.json"
    if content is not None:
        target.write_bytes(content)
    assert run("verify", target) == 2
    assert message in capsys.readouterr().err


def test_a_folder_that_is_none_is_bad_use(original, tmp_path, capsys):
    assert run("verify", original.first, tmp_path / "nix") == 2
    assert "does not exist" in capsys.readouterr().err
    assert run("verify", original.first, "--key", original.place / "me.key") == 2
    assert "holds a private key" in capsys.readouterr().err


def test_json_agrees_with_its_schema(original, capsys):
    assert run("verify", original.second, original.folder, "--json", "-") == 0
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, json_schema("verify"), cls=jsonschema.Draft202012Validator)
    assert found["subjects"] == {
        "files": "consistent", "record": "consistent", "chain": "not checked", "signature": "not checked",
        "values": "consistent",
    }  # fmt: skip


def test_many_differences_are_counted(tmp_path, capsys):
    folder, record = pitch_folder(tmp_path / "lot", [f"G-{k}" for k in range(12)]), tmp_path / "r.json"
    assert run("lot", folder, "--lot-size", 12, "--lot-id", "L", "--record", record, "-q") == 0
    pitch_folder(folder, {f"G-{k}": 2.0 for k in range(12)})
    status, lines = verify(capsys, record, folder)
    assert status == 1
    assert sum(line.startswith("recomputed values: differs") for line in lines) == 50
    assert any("more differences" in line for line in lines)


def test_a_part_file_and_a_map_from_elsewhere_are_found_again(tmp_path, monkeypatch, capsys):
    """Named from the folder, so that a record can be checked wherever both lie now."""
    folder = pitch_folder(tmp_path / "a" / "lot")
    (folder / "part.toml").rename(tmp_path / "a" / "drawing.toml")
    monkeypatch.chdir(tmp_path / "a")
    assert run("lot", "lot", "--part", "drawing.toml", "--lot-id", "L", "--record", "r.json", "-q") == 1
    (tmp_path / "a").rename(tmp_path / "b")
    monkeypatch.chdir(tmp_path)
    status, lines = verify(capsys, "b/r.json", "b/lot")
    assert status == 0, lines
    assert (
        json.loads(Path("b/r.json").read_text(encoding="utf-8"))["settings"]["part_file"] == "../drawing.toml"
    )


def test_a_second_look_at_a_lot_keeps_the_first_result(kept, capsys):
    again = kept.place / "again.json"
    line = ("lot", kept.folder, "--lot-size", 40, "--plan", kept.place / "one_lot.toml", "--lot-id", "P-1")
    page = kept.place / "again.html"
    assert run(*line, "--record", again, "--previous", kept.first, "--html", page, "-q") == 1
    link = json.loads(again.read_text(encoding="utf-8"))["previous"]
    assert link["reinspection"] is True
    assert link["first_result"]["measured_n"] == 4
    assert "this is a re-inspection of the same lot" in page.read_text(encoding="utf-8")
    assert "First result, kept" in page.read_text(encoding="utf-8")
