"""`gearqa incoming --recursive`: each delivery as the single command checks it, whoever does the work."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

import gearqa
from gearqa.cli import app

SAMPLES = Path(__file__).parents[2] / "sample_measurements"
REPORT, FOLDER = SAMPLES / "supplier_report/report.csv", SAMPLES / "ring_conforming"
SUPPLIER = ("--supplier", "Quince Works (invented)")


def run(capsys, *words):
    status = app.run(["incoming", *map(str, words)])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return status, out, err


def true_report(folder: Path) -> str:
    """Our own values, as an honest supplier with our instrument would report them."""
    lines = ["serial,parameter,value_um,flank"]
    for gear in gearqa.grade(folder).gears:
        for key, one in gear.parameters.items():
            values = one.flanks.items() if one.flanks else [("", one)]
            lines += [f"{gear.serial},{key},{value.value_um:.2f},{flank}" for flank, value in values]
    return "\n".join(lines) + "\n"


@pytest.fixture
def deliveries(tmp_path: Path) -> Path:
    root = tmp_path / "deliveries"
    for name in ("north/2025-05-10", "2025-04-12", "2025-06-01"):
        shutil.copytree(FOLDER, root / name)
        shutil.copy(REPORT, root / name)
    honest = root / "2025-06-01" / "report.csv"
    honest.write_text(true_report(FOLDER), encoding="utf-8")
    with (root / "north/2025-05-10/report.csv").open("a", encoding="utf-8") as stream:
        stream.write("OT-0201,profile_total,no number,left,,,\n")
    return root


def test_the_line_of_a_delivery_says_that_asked_values_are_missing(capsys, deliveries):
    report = deliveries / "2025-06-01" / "report.csv"
    lines = [line for line in report.read_text(encoding="utf-8").splitlines() if ",runout," not in line]
    report.write_text("\n".join(lines) + "\n", encoding="utf-8")
    _, out, _ = run(capsys, deliveries / "2025-06-01", "--recursive")
    assert out.endswith("; agrees; values that the drawing asks for are missing\n")


def test_each_delivery_is_checked_as_by_itself_and_failures_are_last(capsys, deliveries, tmp_path):
    status, out, err = run(capsys, deliveries, "--recursive", "--review-folder", tmp_path / "out")
    assert status == 2
    first, second = out.splitlines()
    assert first.startswith(f"{deliveries / '2025-04-12'}: part OT-4471, 12 gears, SIMULATED: ")
    assert "figures differ (84 of 204 values); 1 claim refused" in first
    assert second.endswith("; agrees")
    assert f"not checked: {deliveries / 'north/2025-05-10'}\n  report.csv:" in err
    assert "no number" in err
    assert err.endswith("2 deliveries checked, 1 agrees, 1 does not, 1 NOT checked\n")
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == ["2025-04-12.html", "2025-04-12.json", "2025-06-01.html", "2025-06-01.json"]
    folder = deliveries / "2025-04-12"
    _, alone, _ = run(capsys, folder / "report.csv", folder, "--json", "-")
    assert json.loads(alone) == json.loads((tmp_path / "out/2025-04-12.json").read_text())


def test_nothing_depends_on_the_workers(capsys, deliveries, tmp_path):
    found = []
    for workers in (1, 2):
        out = tmp_path / f"out{workers}"
        store = tmp_path / f"{workers}.sqlite"
        said = run(
            capsys, deliveries, "--recursive", "--review-folder", out, "--workers", workers, "--store", store,
            *SUPPLIER,
        )  # fmt: skip
        assert said[0] == 2
        files = {path.name: path.read_bytes() for path in out.iterdir()}
        kept = gearqa.review_suppliers(store=store, as_of="2025-12-31")
        dates = [str(one.delivery.delivered_at.date()) for one in kept[0].deliveries]
        assert dates == ["2025-04-12", "2025-06-01"]
        found.append((said[1], files, [one.delivery.check for one in kept[0].deliveries]))
    assert found[0] == found[1]


def test_all_agree_or_not_is_the_exit_status(capsys, deliveries):
    status, out, _ = run(capsys, deliveries / "2025-0[67]*", "--recursive")
    assert (status, len(out.splitlines())) == (0, 1)
    status, _, _ = run(capsys, deliveries / "2025-*", "--recursive", "--quiet")
    assert status == 1


def test_the_reported_values_alone_and_other_names_of_reports(capsys, tmp_path):
    place = tmp_path / "lots" / "a"
    place.mkdir(parents=True)
    shutil.copy(REPORT, place / "Cert_17.CSV")
    status, _, err = run(capsys, tmp_path / "lots", "--recursive")
    assert (status, "no folder with report*.csv below" in err) == (2, True)
    words = (tmp_path / "lots", "--recursive", "--reports", "cert_*.csv")
    status, _, err = run(capsys, *words)
    assert (status, "the drawing is missing; put part.toml there, or give --part FILE" in err) == (2, True)
    status, out, _ = run(capsys, *words, "--part", FOLDER / "part.toml")
    assert (status, "not measured by us" in out or "asks for a look" in out) == (1, True)
    shutil.copy(REPORT, place / "cert_18.csv")
    status, _, err = run(capsys, *words, "--part", FOLDER / "part.toml")
    assert "one report is expected, found Cert_17.CSV, cert_18.csv; --reports PATTERN says which" in err


def test_a_delivery_is_not_kept_as_one_of_today(capsys, deliveries, tmp_path):
    (deliveries / "2025-06-01").rename(deliveries / "june")
    words = (deliveries / "june", "--recursive", "--store", tmp_path / "s.sqlite")
    status, _, err = run(capsys, *words, *SUPPLIER)
    assert (status, "the name june holds no date such as 2025-04-12; give --delivered T" in err) == (2, True)
    status, _, _ = run(capsys, *words, *SUPPLIER, "--delivered", "2025-06-01")
    assert status == 0
    status, _, err = run(capsys, *words)
    assert (status, "supplier" in err) == (2, True)


@pytest.mark.parametrize(
    ("words", "option"),
    [
        (("--recursive", "--json", "r.json"), "--json"),
        (("--recursive", "--serial", "OT-0201"), "--serial"),
        (("--workers", "2"), "--workers"),
        (("--review-folder", "out"), "--review-folder"),
        (("--recursive", "--delivered", "2025-01-01"), "--delivered"),
    ],
)
def test_options_without_effect_are_refused(capsys, deliveries, words, option):
    status, _, err = run(capsys, deliveries / "2025-04-12", *words)
    assert (status, option in err) == (2, True)


def test_no_file_of_a_delivery_is_overwritten(capsys, deliveries):
    place = deliveries / "2025-06-01"
    (place / "2025-06-01.json").write_text("{}")
    status, _, err = run(capsys, place, "--recursive", "--review-folder", place)
    assert status == 2
    assert "is not overwritten" in err
    assert (place / "2025-06-01.json").read_text() == "{}"


def test_tables_without_a_report_beside_them_are_named(capsys, caplog, deliveries):
    (deliveries / "2025-04-12/report.csv").rename(deliveries / "2025-04-12/cert.csv")
    status, out, err = run(capsys, deliveries / "2025-0[46]*", "--recursive")
    assert (status, len(out.splitlines())) == (0, 1)
    said = f"no report*.csv, not checked: {deliveries / '2025-04-12'}"
    assert said in caplog.messages + err.splitlines()


def test_folders_without_a_delivery_are_named(capsys, caplog, deliveries, tmp_path):
    (deliveries / "2025-07-01").mkdir()
    (tmp_path / "other/scans").mkdir(parents=True)
    (tmp_path / "other/scans/cert.pdf").write_bytes(b"%PDF-1.4")
    status, out, err = run(capsys, deliveries / "2025-0[67]*", tmp_path / "other", "--recursive")
    assert (status, len(out.splitlines())) == (0, 1)
    said = f"no report*.csv, not checked: {tmp_path / 'other'}, {deliveries / '2025-07-01'}"
    assert said in caplog.messages + err.splitlines()
    status, _, err = run(capsys, tmp_path / "other", "--recursive")
    assert (status, "for FOLDER: no folder with report*.csv below" in err) == (2, True)


def test_a_report_that_leads_nowhere_counts_as_not_checked(capsys, deliveries):
    lost = deliveries / "2025-06-02/report.csv"
    lost.parent.mkdir()
    lost.symlink_to(deliveries / "gone.csv")
    status, out, err = run(capsys, deliveries / "2025-06-*", "--recursive")
    assert (status, len(out.splitlines())) == (2, 1)
    assert f"not checked: {lost.parent}" in err
