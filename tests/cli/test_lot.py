"""gearqa lot: verdicts of the samples, options, outputs, and what is never said."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
import pytest
from lot_samples import FORBIDDEN, PLANS, SAMPLES, WALK, words
from made_folders import pitch_folder
from outside import pdf_text

from gearqa.cli import app
from gearqa.jobs.json_schemas import json_schema
from gearqa.model.plan import Plan
from gearqa.reading.settings.toml_file import load_toml

KEYS = {
    "schema", "software", "inputs", "simulated", "lot_size", "sample_size", "decision", "reasons", "class",
    "conforming", "not_conforming", "not_proven", "not_assessed", "master_quality", "decision_rule",
    "sampling", "parameters", "lot_id", "excluded", "gears", "drawn", "segregate", "remeasure", "cautions",
    "disposition",
}  # fmt: skip
MASTER_KEYS = {"in_sample", "in_lot", "confidence", "coverage", "share_lower_bound"}
SAMPLING_KEYS = {
    "scheme", "edition", "code_letter", "required_n", "ac", "re", "measured_n", "nonconforming", "accept",
    "p95", "p50", "p10", "d_low", "d_high", "basis", "lq", "consumer_risk",
}  # fmt: skip
SERIES_KEYS = {
    "n", "mean_um", "sd_um", "upper_limit_um", "lower_limit_um", "distribution", "ppk", "ppk_lower_bound",
    "cpk", "cpk_withheld_reason", "tolerance_interval_um", "worst_um", "outliers", "n_cycles", "statistic",
    "sd_interval_um", "mean_interval_um", "ppk_withheld_reason", "confidence", "coverage", "u_um",
    "not_proven",
}  # fmt: skip
GEAR_KEYS = {"serial", "state", "probability_of_conformity", "class_indicated", "class_proven"}


def run(*line):
    return app.run([str(word) for word in line])


class Signed:
    """All outputs of one sample lot."""

    def __init__(self, folder: str, place: Path) -> None:
        outputs = {"json": "lot.json", "csv": "lot.csv", "html": "lot.html", "pdf": "lot.pdf"}
        outputs["record"] = "record.json"
        said = {
            "inspector": "Inspector B",
            "date": "2025-03-06",
            "order": "PO-1881",
            "customer": "Orchard works",
        }
        files = {option: place / name for option, name in outputs.items()}
        line = [word for option, value in (files | said).items() for word in (f"--{option}", value)]
        self.status = run(*words(folder, *line, "-q"))
        self.place = place
        self.result = json.loads((place / "lot.json").read_text(encoding="utf-8"))
        self.record = json.loads((place / "record.json").read_text(encoding="utf-8"))
        self.html = (place / "lot.html").read_text(encoding="utf-8")

    @property
    def pdf(self) -> str:
        return pdf_text(self.place / "lot.pdf", "-layout")


@pytest.fixture(scope="module", params=list(WALK))
def signed(request, tmp_path_factory) -> tuple[str, Signed]:
    return request.param, Signed(request.param, tmp_path_factory.mktemp(request.param))


# --- verdicts of the samples ---------------------------------------------------------------------


def test_the_sample_lots_get_their_verdicts_for_the_right_reasons(signed):
    folder, made = signed
    _, status, decision, code = WALK[folder]
    assert (made.status, made.result["decision"]) == (status, decision)
    (deciding,) = (reason for reason in made.result["reasons"] if reason["decides"])
    assert deciding["code"] == code
    assert made.result["reasons"][0] == deciding


def test_numbers_behind_the_verdicts(signed):
    """n by the hypergeometric formula of the plan, computed apart; letter F at AQL 1 % points to letter E."""
    folder, made = signed
    sampling = made.result["sampling"]
    if WALK[folder][0] == "aql":
        assert (sampling["code_letter"], sampling["required_n"], sampling["ac"]) == ("E", 13, 0)
    else:
        from scipy.stats import hypergeom

        least = next(n for n in range(1, 97) if hypergeom(96, 20, n).pmf(0) <= 0.10)
        assert sampling["required_n"] == least
    counts = [made.result[key] for key in ("conforming", "not_conforming", "not_proven", "not_assessed")]
    assert sum(counts) == made.result["sample_size"] == sampling["measured_n"]


def test_json_holds_the_keys_and_agrees_with_its_schema(signed):
    _, made = signed
    result = made.result
    assert set(result) >= KEYS
    assert set(result["master_quality"]) >= MASTER_KEYS
    assert set(result["sampling"]) >= SAMPLING_KEYS
    assert set(result["decision_rule"]) == {"rule", "confidence", "guard"}
    assert all(reason["code"] and reason["sentence"] for reason in result["reasons"])
    assert all(set(gear) >= GEAR_KEYS for gear in result["gears"])
    assert set(result["parameters"]["runout"]) == {"both"}
    for flanks in result["parameters"].values():
        assert all(set(one) >= SERIES_KEYS for one in flanks.values())
        assert all(one["cpk"] is None and one["cpk_withheld_reason"] for one in flanks.values())
    for name, document in (("lot", result), ("record", made.record)):
        schema = json_schema(name)
        jsonschema.Draft202012Validator.check_schema(schema)
        jsonschema.validate(document, schema, cls=jsonschema.Draft202012Validator)
    jsonschema.validate(result["plan"], json_schema("plan"), cls=jsonschema.Draft202012Validator)


def test_the_plan_file_is_an_input_named_from_the_folder(signed):
    folder, made = signed
    names = {one["file"]: one["sha256"] for one in made.result["inputs"]}
    assert names[f"../plans/{WALK[folder][0]}.toml"]
    assert str(SAMPLES) not in (made.place / "record.json").read_text(encoding="utf-8")


def test_forbidden_words_stand_in_no_output(signed, capsys, monkeypatch):
    folder, made = signed
    monkeypatch.setenv("COLUMNS", "5000")
    run(*words(folder))
    files = ("lot.json", "lot.csv", "record.json")
    outputs = {name: (made.place / name).read_text(encoding="utf-8") for name in files}
    outputs |= {
        "terminal": capsys.readouterr().out,
        "html": re.sub(r"<(style|script)>.*?</\1>", "", made.html, flags=re.DOTALL),
        "pdf": " ".join(made.pdf.split()),
    }
    for name, text in outputs.items():
        assert "SIMULATED" in text, name
        for pattern in FORBIDDEN:
            assert not re.search(pattern, text, re.IGNORECASE), (name, pattern)


def test_the_check_for_forbidden_words_can_fail():
    said = (
        "The lot is defect-free",
        "12 ppm",
        "capability",
        "released by X",
        "the lot conforms",
        "untouched",
    )
    for text in said:
        assert any(re.search(pattern, text, re.IGNORECASE) for pattern in FORBIDDEN), text


# --- certificate ---------------------------------------------------------------------------------


def test_certificate_has_two_pages(signed):
    _, made = signed
    assert made.pdf.count("\f") == 2


def test_certificate_says_who_with_what_when_and_how(signed):
    """What an auditor asks for is on paper and page alike."""
    folder, made = signed
    facts = [
        "OT-4471", "Drawing revision", "L-7", "96", "PO-1881", "Orchard works", "Inspector B", "2025-03-06",
        "CAL-0417, due 2026-01-31", "°C", "GM-1", "Measured by", "systematically", "guarded acceptance",
        "Nothing is rounded before deciding", "ISO 1328-1:2013", "ISO 14253-1:2017", "JCGM 106:2012",
        "ISO 22514-2:2017", "ISO 16269-6:2014", "Previous record", "chain not checked", "Disposition",
        "a person decides", made.record["digest"], "not of the lot", "Decision table", "SIMULATED",
        "Geometry only", "qualified setter",
    ]  # fmt: skip
    if WALK[folder][0] == "one_lot":
        facts += ["uncertainty budget UB-12, 2025-01-20", "calibration certificate CAL-0417, 2025-01-31"]
    if folder == "ring_faults":
        facts += ["red rack, bay 3", "Take out: OT-0303", "Measure again: OT-0302, OT-0306"]
    paper, page = " ".join(made.pdf.split()), re.sub(r"<[^>]+>", "", made.html)
    for fact in facts:
        assert fact in paper, fact
        assert fact in page, fact


def test_certificate_stacks_one_chart_per_question(signed):
    _, made = signed
    titles = re.findall(r'<span class="ft">(.*?)<div class="scroll">', made.html)
    heads = [re.sub(r"<[^>]+>", "", title) for title in titles]
    want = ["Distribution against limits", "Probability plot", "Order of production"]
    if made.result["sampling"]["p10"] is not None:
        want.insert(0, "Operating characteristic")
    for head, start in zip(heads, want, strict=True):
        assert head.startswith(start)
        assert head.endswith("?")


class Balanced(HTMLParser):
    """Collects what would run or be fetched."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        names = {name for name, _ in attrs}
        if tag in {"img", "iframe", "object", "embed", "base"} or any(n.startswith("on") for n in names):
            self.found.append(tag)
        self.found += [
            tag for name, value in attrs if name in {"src", "href"} and not (value or "").startswith("#")
        ]


HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(1)>\u202e#let x = 1 $x$ \x1b[31m" + "long" * 3000


def test_hostile_text_is_only_text(tmp_path, capsys):
    page, paper = tmp_path / "c.html", tmp_path / "c.pdf"
    folder = pitch_folder(tmp_path / "lot")
    status = run(
        "lot", folder, "--lot-id", HOSTILE, "--remark", HOSTILE, "--customer", HOSTILE, "--inspector",
        HOSTILE, "--order", HOSTILE, "--html", page, "--pdf", paper, "--record", tmp_path / "r.json",
        "--disposition", "hold", "--disposed-by", HOSTILE, "--disposed-on", "2025-03-06", "--reason", HOSTILE,
    )  # fmt: skip
    assert status == 1
    text = page.read_text(encoding="utf-8")
    parser = Balanced()
    parser.feed(text)
    assert not parser.found
    assert text.count("<script>") == 1
    assert "&lt;script&gt;" in text
    printed = pdf_text(paper, "-layout")
    assert "<script>alert(1)</script>" in printed
    assert "#let x = 1 $x$" in " ".join(printed.split())
    assert printed.count("\f") <= 4
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "\u202e" not in out
    assert (
        json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))["lot"]["options"]["remark"] == HOSTILE
    )


# --- terminal ------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [80, 120])
def test_terminal_puts_the_decision_first_and_keeps_its_width(capsys, monkeypatch, width):
    monkeypatch.setenv("COLUMNS", str(width))
    assert run(*words("ring_faults")) == 1
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= width
    assert lines[0].startswith("SIMULATED DATA")
    assert lines[2] == "Recommendation for lot L-7: reject (SIMULATED)"
    text = "\n".join(lines)
    order = [
        "- reject: 5 gears of 8", "Asks for", "Risks: none are stated",
        "Gears of the sample", "Statistics over the gears", "Master quality\n", "Cautions", "Disposition",
    ]  # fmt: skip
    places = [text.index(word) for word in order]
    assert places == sorted(places)


def test_terminal_without_greek_letters(monkeypatch):
    stream = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    monkeypatch.setattr("sys.stdout", stream)
    monkeypatch.setenv("COLUMNS", "100")
    run(*words("ring_master"))
    stream.flush()
    text = stream.buffer.getvalue().decode("ascii")
    assert "fH-alpha" in text
    assert "\\u" not in text


def test_defaults_are_printed_without_a_plan(capsys, tmp_path):
    assert run("lot", pitch_folder(tmp_path / "lot"), "--lot-size", 50) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "limiting quality 5 %, consumer's risk 10 %, hypergeometric, lot of 50" in out
    assert "own computed plan, not a table of a standard" in out
    assert "simple acceptance: no measurement uncertainty is known" in out
    assert "Asks for 27 gears; accepts with 0, rejects from 1" in out


def test_without_uncertainty_every_page_says_so(tmp_path):
    folder = pitch_folder(tmp_path / "lot", [f"G-{k}" for k in range(12)])
    page, paper = tmp_path / "c.html", tmp_path / "c.pdf"
    assert run("lot", folder, "--lot-size", 12, "--html", page, "--pdf", paper, "-q") == 0
    pages = pdf_text(paper, "-layout").split("\f")[:-1]
    assert len(pages) == 2
    assert all("simple acceptance: no uncertainty known" in text for text in pages)
    assert "probability of conformity" not in page.read_text(encoding="utf-8").partition("Decision table")[0]


# --- few gears -----------------------------------------------------------------------------------


def test_three_gears_give_wide_bounds_and_plain_warnings_instead_of_an_index(tmp_path, capsys):
    target = tmp_path / "lot.json"
    some = [word for serial in ("OT-0101", "OT-0102", "OT-0103") for word in ("--serial", serial)]
    assert run("lot", SAMPLES / "ring_master", "--lot-size", 20, *some, "--json", target) == 1
    result = json.loads(target.read_text(encoding="utf-8"))
    assert result["options"]["restricted_to"] == ["OT-0101", "OT-0102", "OT-0103"]
    series = [one for flanks in result["parameters"].values() for one in flanks.values()]
    assert all(one["ppk"] is None and one["ppk_lower_bound"] is None for one in series)
    assert result["sampling"]["p10"] is None  # 3 of 18 can never accept
    assert {(one["how"], one["state"]) for one in result["left_out"]} == {("unselected", "conforms")}
    assert len(result["left_out"]) == 9
    out = " ".join(capsys.readouterr().out.split())
    assert "3 gears are too few for an index: bounds would be meaningless" in out
    assert "Restricted to: OT-0101, OT-0102, OT-0103" in out
    assert "measure 15 more" in out  # the plan asks for 18 of 20


# --- options -------------------------------------------------------------------------------------


def test_exclusions_stand_in_full_everywhere(tmp_path):
    reason = "dropped on the floor = burr on tooth 14, measured before deburring; see the log of the shift"
    folder = pitch_folder(tmp_path / "lot", ["A", "B", "C=1"])
    page, record = tmp_path / "c.html", tmp_path / "r.json"
    status = run(
        "lot", folder, "--lot-size", 2, "--exclude", f"A={reason}", "--lot-id", "L", "--html", page,
        "--record", record, "-q",
    )  # fmt: skip
    assert status == 0
    kept = json.loads(record.read_text(encoding="utf-8"))
    assert kept["lot"]["excluded"] == [{"serial": "A", "reason": reason}]
    assert [gear["serial"] for gear in kept["lot"]["gears"]] == ["B", "C=1"]
    assert [gear["serial"] for gear in kept["grade"]["gears"]] == ["A", "B", "C=1"]
    shown = page.read_text(encoding="utf-8")
    assert reason in shown
    assert "conforms, excluded" in shown.partition("Every gear measured")[2]
    assert run("lot", folder, "--lot-size", 2, "--exclude", "C=1=bent", "-q") == 0


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (["--exclude", "A"], "expected SERIAL=REASON"),
        (["--exclude", "A= "], "both not empty"),
        (["--exclude", "A=x", "--exclude", "A=y"], "excluded twice"),
        (["--exclude", "AA=x"], "did you mean 'A'"),
        (["--exclude", "A=x", "--exclude", "B=y"], "no gear is left"),
        (["--date", "6.3.2025"], "a date such as 2025-03-14"),
        (["--lot-size", "0"], "expected 1 to 1000000000"),
        (["--lot-size", "9" * 25], "a whole number of at most 18 digits"),
        (["--lot-size", "1"], "2 gears were measured, but the lot size is 1"),
        (["--record", "r.json"], "a record needs --lot-id"),
        (["--replace"], "needs --record FILE"),
        (["--previous", "x.json"], "needs --record FILE"),
        (["--sign", "x.key"], "needs --record FILE"),
        (["--disposition", "release"], "needs --disposed-by NAME"),
        (["--concession", "C-1"], "needs --disposition"),
        (["--plan", "missing.toml"], "missing.toml"),
        (["--serial", "Z"], "Z"),
        (["--record", "r.json", "--lot-id", "L", "--previous", "none.json"], "cannot read none.json"),
        (["--record", "r.json", "--lot-id", "L", "--sign", "none.key"], "cannot read none.key"),
        (["--html", "-", "--pdf", "-"], "two outputs"),
    ],
)
def test_bad_use_says_what_is_wrong_and_writes_nothing(tmp_path, monkeypatch, capsys, line, message):
    folder = pitch_folder(tmp_path / "lot", ["A", "B"])
    monkeypatch.chdir(tmp_path)
    assert run("lot", folder, "--json", "out.json", *line) == 2
    assert message in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lot"]


def test_an_unknown_key_of_a_plan_is_an_error(tmp_path, capsys):
    plan = tmp_path / "plan.toml"
    plan.write_text("[sampling]\nlimiting_quality = 5.0\n", encoding="utf-8")
    assert run("lot", pitch_folder(tmp_path / "lot"), "--plan", plan) == 2
    assert "limiting_quality_percent" in capsys.readouterr().err


def test_a_record_is_kept_unless_it_is_to_be_replaced(tmp_path, capsys):
    folder, record = pitch_folder(tmp_path / "lot"), tmp_path / "r.json"
    line = ("lot", folder, "--lot-id", "L", "--record", record, "-q")
    assert run(*line) == 1
    before = record.read_bytes()
    assert run(*line) == 2
    assert "is there already" in capsys.readouterr().err
    assert record.read_bytes() == before
    assert run(*line, "--remark", "again", "--replace") == 1
    assert record.read_bytes() != before


def test_outputs_never_take_the_place_of_inputs(tmp_path, capsys):
    folder, record = pitch_folder(tmp_path / "lot"), tmp_path / "r.json"
    assert run("lot", folder, "--lot-id", "L", "--record", record, "-q") == 1
    before = record.read_bytes()
    again = ("lot", folder, "--lot-id", "L", "--record", record, "--replace", "--previous", record, "-q")
    assert run(*again) == 2
    assert run("lot", folder, "--json", folder / "part.toml") == 2
    assert "is not overwritten" in capsys.readouterr().err
    assert record.read_bytes() == before


def test_a_disposition_stands_beside_the_recommendation(tmp_path, capsys):
    target = tmp_path / "lot.json"
    status = run(
        "lot", pitch_folder(tmp_path / "lot"), "--json", target, "--disposition", "release", "--disposed-by",
        "Quality manager", "--disposed-on", "2025-03-07", "--reason", "urgent", "--concession", "C-12",
    )  # fmt: skip
    assert status == 1  # the recommendation is what counts
    result = json.loads(target.read_text(encoding="utf-8"))
    assert result["decision"] == "hold"
    assert result["disposition"] == {
        "decision": "release", "by": "Quality manager", "date": "2025-03-07", "reason": "urgent",
        "concession": "C-12",
    }  # fmt: skip
    out = capsys.readouterr().out
    assert "release, decided by Quality manager on 2025-03-07; reason: urgent; concession: C-12" in " ".join(
        out.split()
    )


def test_measured_after_the_calibration_was_due_holds_the_lot(tmp_path):
    folder = tmp_path / "lot"
    shutil.copytree(SAMPLES / "ring_master", folder)
    table = folder / "production.csv"
    table.write_text(
        table.read_text(encoding="utf-8").replace("2026-01-31T", "2025-01-31T"), encoding="utf-8"
    )
    target = tmp_path / "lot.json"
    assert run("lot", folder, "--lot-size", 12, "--json", target, "-q") == 1
    result = json.loads(target.read_text(encoding="utf-8"))
    assert (result["decision"], result["reasons"][0]["code"]) == ("hold", "calibration_overdue")


def test_csv_has_one_row_a_gear_parameter_and_flank(signed):
    _, made = signed
    text = (made.place / "lot.csv").read_text(encoding="utf-8")
    assert text.startswith("# gearqa result, SIMULATED")
    rows = list(csv.DictReader(io.StringIO(text.partition("\n")[2])))
    values = [(g["serial"], v) for g in made.result["gears"] for v in (*g["values"], g["size"])]
    assert len(rows) == len(values)
    for row, (serial, value) in zip(rows, values, strict=True):
        assert (row["serial"], row["parameter"], row["state"]) == (serial, value["parameter"], value["state"])
        assert float(row["value_um"]) == value["value_um"]


def test_csv_for_spreadsheets(tmp_path):
    target = tmp_path / "lot.csv"
    run("lot", pitch_folder(tmp_path / "lot"), "--csv", target, "--csv-style", "semicolon", "-q")
    raw = target.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf# gearqa result\n")
    assert b";2,0;" in raw


def test_results_on_standard_output_stand_alone(tmp_path, capsys):
    run("lot", pitch_folder(tmp_path / "lot"), "--json", "-")
    assert json.loads(capsys.readouterr().out)["schema"] == "gearqa.lot/1"


# --- plans, explanations -------------------------------------------------------------------------


def test_a_new_plan_changes_nothing_and_is_never_overwritten(tmp_path, capsys):
    folder = tmp_path / "lot"
    assert run("new", folder, "--plan") == 0
    plan = folder / "plan.toml"
    assert load_toml(plan, Plan) == Plan()
    text = plan.read_text(encoding="utf-8")
    assert max(map(len, text.splitlines())) <= 110
    missing = [key for key in _keys(Plan.model_json_schema(by_alias=True)) if key not in text]
    assert not missing
    assert run("new", folder, "--plan") == 2
    assert "never overwritten" in capsys.readouterr().err
    assert plan.read_text(encoding="utf-8") == text


def test_every_line_of_a_new_plan_can_be_used(tmp_path):
    """Each key with its default, the comment mark taken away, one at a time."""
    from gearqa.reading.settings.templates import plan_file_text

    lines = plan_file_text().splitlines()
    usable = [k for k, line in enumerate(lines) if re.match(r"# \w+ = [^\s#]", line)]
    assert len(usable) > 8
    for k in usable:
        changed = [line[2:] if number == k else line for number, line in enumerate(lines)]
        path = tmp_path / f"plan{k}.toml"
        path.write_text("\n".join(changed), encoding="utf-8")
        load_toml(path, Plan)


def _keys(schema):
    tables = [schema, *schema["$defs"].values()]
    return {key for table in tables for key in table.get("properties", {})}


@pytest.mark.parametrize("plan", sorted(PLANS.glob("*.toml")), ids=lambda path: path.stem)
def test_sample_plans_are_valid_and_used(plan):
    load_toml(plan, Plan)
    assert plan.stem in {name for name, *_ in WALK.values()}


def test_explain_lot_prints_the_decision_table(capsys, monkeypatch):
    from gearqa.model.decision_table import TABLE

    monkeypatch.setenv("COLUMNS", "400")
    assert run("explain", "lot") == 0
    out = capsys.readouterr().out
    for row in TABLE:
        assert row.rule in out
    assert "a person decides" in out


def test_doubtful_readings_hold_the_lot_and_their_warning_stands_everywhere(tmp_path, capsys):
    folder = pitch_folder(tmp_path / "lot", [f"G-{k}" for k in range(8)])
    table = folder / "pitch.csv"
    dead = re.sub(r"^(G-3,left,\d+),.*$", r"\1,0", table.read_text(encoding="utf-8"), flags=re.MULTILINE)
    table.write_text(dead, encoding="utf-8")
    out = {name: tmp_path / f"out.{name}" for name in ("json", "html")}
    record = tmp_path / "record.json"
    line = ["lot", folder, "--lot-size", 8, "--lot-id", "L-1", "--record", record]
    assert run(*line, *(word for name, file in out.items() for word in (f"--{name}", file))) == 1
    result = json.loads(out["json"].read_text(encoding="utf-8"))
    assert result["decision"] == "hold"
    (gear,) = (one for one in result["gears"] if "warnings" in one)
    message = "the pitch of the left flank reads 0 µm everywhere"
    assert (gear["serial"], gear["state"], gear["warnings"][0]["code"]) == ("G-3", "not assessed", "stuck")
    assert message in gear["warnings"][0]["message"]
    assert message in record.read_text(encoding="utf-8")
    for text in (capsys.readouterr().out, out["html"].read_text(encoding="utf-8")):
        plain = " ".join(re.sub("<[^>]*>", " ", text).split())
        assert "The pitch of the left flank reads 0 µm everywhere" in plain
        assert "(G-3)" in plain


def test_the_screen_names_the_system_of_the_classes(capsys):
    drawing = SAMPLES / "drawings" / "jis_b_1702_1976.toml"
    app.run(["lot", str(SAMPLES / "ring_conforming"), "--part", str(drawing), "--lot-size", "60"])
    out = capsys.readouterr().out
    assert re.search(r"^Standard +JIS B 1702:1976$", out, re.MULTILINE)
    assert "ISO 1328" not in out
