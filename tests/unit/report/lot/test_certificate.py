"""Certificate and terminal of a lot: same strings, right numbers, charts that answer their question."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from math import comb
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from lot_factory import GOOD, make_gear, make_header, make_lot, make_part, make_production
from sheet_factory import html_of, pdf_bytes

from gearqa.model.decision_table import TABLE
from gearqa.model.lot import Disposition, LotOptions, LotResult
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.report.blocks import document as doc
from gearqa.report.lot import figures, words
from gearqa.report.lot.page import certificate, decision_rows
from gearqa.report.lot.screen import lot_blocks
from gearqa.report.render.terminal import Terminal
from gearqa.signoff.lot import sign_off
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import number_text

PART = make_part()


def varied(count: int, part: Part = PART, *, per_cycle: int = 10, seed: int = 1, production: bool = True):
    """Gears whose values vary a little, in dress cycles of so many."""
    rng = np.random.default_rng(seed)
    gears = []
    for i in range(count):
        values = {key: abs(v * (1 + 0.1 * rng.normal())) for key, v in GOOD.items() if "slope" not in key}
        for key in ("profile_slope", "helix_slope"):
            middle = 0.5 * rng.normal()
            values[key] = (middle - 0.3, middle + 0.4)
        row = make_production(i, per_cycle=per_cycle, every=9) if production else None
        gears.append(make_gear(f"G{i:03d}", part, values, production=row))
    return gears


def signed(
    gears, part: Part = PART, *, plan: Plan | None = None, simulated: bool = False, **more
) -> LotResult:
    return sign_off(make_header(part, simulated=simulated), part, gears, plan, lot_id="L-7", **more)


def made(result: LotResult, **more) -> doc.Document:
    return certificate(result, gear_words="internal, z 87", **more)


def printed(result: LotResult, *, width: int = 4000, wide: bool = True) -> str:
    stream = io.StringIO()
    Terminal(stream, width=width).blocks(lot_blocks(result, wide=wide))
    return stream.getvalue()


def strings(document: doc.Document) -> str:
    """All text of a document, charts apart."""
    return re.sub(r"<[^>]+>", "", html_of(document).partition("<body>")[2])


@pytest.fixture(scope="module")
def large() -> LotResult:
    return signed(varied(60), lot_size=600)


# --- numbers -------------------------------------------------------------------------------------


@pytest.mark.independent
@pytest.mark.parametrize(("n", "ac"), [(12, 0), (20, 1)])
def test_operating_characteristic_by_the_binomial_sum(n, ac):
    """The points that are printed, put into the sum by hand."""
    plan = Plan.model_validate({"sampling": {"n": n, "ac": ac}}, by_alias=True)
    result = signed(make_lot(n, PART), plan=plan, lot_size=200)
    (line,) = (line for line in words.risk_lines(result) if line.startswith("Operating"))
    shares = [float(text) / 100 for text in re.findall(r"at ([\d.]+) %", line)]
    for share, acceptance in zip(shares, (0.95, 0.50, 0.10), strict=True):
        found = sum(comb(n, k) * share**k * (1 - share) ** (n - k) for k in range(ac + 1))
        assert found == pytest.approx(acceptance, abs=0.003)  # three printed digits of the share


@pytest.mark.independent
def test_use_of_the_tolerance_by_hand():
    """Class 6 of this ring allows 7 um of profile slope and 26 um of runout (ISO 1328-1:2013)."""
    gears = [make_gear("A", PART, {"profile_slope": (-3.5, 1.0), "runout": 13.0})]
    result = signed(gears)
    slope = result.parameters["profile_slope"]["left"]
    assert slope.upper_limit_um == 7.0
    assert figures.uses("profile_slope", slope).tolist() == [0.5]
    assert figures.uses("runout", result.parameters["runout"]["both"]).tolist() == [0.5]


def test_use_of_limits_that_are_not_symmetric():
    part = make_part(limits_um={"profile_slope": [-6.0, 4.0]})
    result = signed([make_gear("A", part, {"profile_slope": (-5.0, 1.5)})], part)
    one = result.parameters["profile_slope"]["left"]
    assert figures.uses("profile_slope", one).tolist() == [0.8]  # 4 of 5 um from the middle at -1
    assert words.allowed("profile_slope", one) == "-6 to +4"


def test_an_index_is_never_printed_better_than_it_is(large):
    table = words.statistics_table(large, wide=True)
    titles = [doc.plain(column.title) for column in table.columns]
    series = words.all_series(large)
    for (_, _, one), row in zip(series, table.rows, strict=True):
        for title, exact in (("Ppk", one.ppk), ("Ppk lower bound", one.ppk_lower_bound)):
            text = row[titles.index(title)]
            if exact is None:
                assert text.startswith("– (")
            else:
                shown = float(text.rstrip("*"))
                assert 0 <= exact - shown < 0.01
                assert text.endswith("*") is (one.distribution == "lognormal")


def test_printed_values_are_the_rounded_ones(large):
    table = words.statistics_table(large, wide=True)
    titles = [doc.plain(column.title) for column in table.columns]
    for (_, _, one), row in zip(words.all_series(large), table.rows, strict=True):
        assert float(row[titles.index("mean µm")]) == round(one.mean_um, 2)
        assert float(row[titles.index("sd µm")]) == round(one.sd_um, 2)
        if one.sd_interval_um is not None:
            low, high = map(float, row[titles.index("sd interval µm")].rstrip("*").split(" to "))
            assert (low, high) == tuple(round(v, 2) for v in one.sd_interval_um)


def test_the_lower_bound_stands_first_for_fewer_than_fifty_gears(large):
    def order(result):
        titles = [doc.plain(c.title) for c in words.statistics_table(result, wide=True).columns]
        return titles.index("Ppk lower bound") < titles.index("Ppk")

    assert order(signed(varied(40), lot_size=400))
    assert not order(large)


@pytest.mark.parametrize("count", [1, 2, 3, 9])
def test_few_gears_have_no_index_and_say_why(count):
    result = signed(varied(count, per_cycle=100), lot_size=count)
    text = printed(result)
    assert not re.search(r"Ppk: performance index", text)
    assert "fewer than 10 gears" in text
    if count < 3:
        assert "no standard deviation" in text


# --- the same everywhere -------------------------------------------------------------------------


@pytest.mark.parametrize("count", [4, 60])
def test_terminal_page_and_paper_print_the_same_strings(count):
    result = signed(varied(count), lot_size=600, options=LotOptions(customer="Orchard works"))
    terminal, page = printed(result), strings(made(result))
    lines = [
        *(doc.plain(line).partition(" (row")[0] for line in words.reason_lines(result)),
        *words.risk_lines(result), *words.caution_lines(result),
        *words.master_lines(result), *words.statistics_notes(result, wide=True),
        words.plan_text(result.sampling), words.asked_text(result.sampling),
        words.found_text(result.sampling),
        words.rule_text(result), words.states_sentence(result), words.disposition_text(result),
        words.free_statement(result), "Orchard works",
    ]  # fmt: skip
    for line in lines:
        assert line in terminal
        assert line.replace("'", "&#x27;") in page or line in page


def test_cells_of_page_and_terminal_agree(large):
    page = html_of(made(large))
    for row in words.statistics_table(large, wide=True).rows:
        assert all(f">{cell}<" in page for cell in row[2:] if cell)


def test_every_reason_is_told_with_its_row(large):
    text = strings(made(large))
    for reason in large.reasons:
        assert f"row {reason.row} of the decision table" in text
    document = html_of(made(large))
    assert "<b>11 the plan accepts" in document or f"<b>{large.reasons[0].row} " in document


def test_the_words_of_the_states_are_those_of_all_reports():
    gears = [
        make_gear("good", PART), make_gear("bad", PART, {"runout": 40.0}),
        make_gear("open", PART, {"runout": 25.9}),
        make_gear("lost", PART, missing=[("runout", None)]),
    ]  # fmt: skip
    text = printed(signed(gears, lot_size=4))
    rows = {line.split()[0]: line for line in text.splitlines() if line.split()[:1] and line.split()[0] in
            {"good", "bad", "open", "lost"}}  # fmt: skip
    assert " conforms " in rows["good"]
    assert "does not conform" in rows["bad"]
    assert "not proven" in rows["open"]
    assert "not assessed" in rows["lost"]
    assert list(rows) == ["bad", "lost", "open", "good"]
    assert "Not assessed: lost: Fr" in text
    assert "Take out: bad" in text
    assert "Measure again: open, lost" in text


def test_a_rule_that_counts_otherwise_shows_both_states():
    plan = Plan.model_validate({"decision": {"rule": "simple acceptance"}}, by_alias=True)
    text = printed(signed([make_gear("open", PART, {"runout": 25.9})], plan=plan, lot_size=1))
    assert re.search(r"open +not proven +conforms", text)


@pytest.mark.parametrize("rule", ["guarded acceptance", "simple acceptance", "guarded rejection"])
def test_the_decision_rule_is_said_with_its_guard(rule):
    plan = Plan.model_validate({"decision": {"rule": rule}}, by_alias=True)
    text = words.rule_text(signed([make_gear("A", PART)], plan=plan))
    assert text.startswith(f"{rule}, 95 % (guard 1.645 u = 0.822 U)")


def test_simulated_verdicts_say_so(large):
    result = replace(large, simulated=True)
    for answer in words.verdict(result).answers:
        assert doc.plain(answer.answer).endswith("(SIMULATED)")
    assert "SIMULATED" not in strings(made(large))
    assert made(result).simulated


# --- certificate ---------------------------------------------------------------------------------


def test_record_chain_and_first_result_are_printed(large):
    first = {"digest": "c" * 64, "decision": "reject", "d_low": 2, "d_high": 3, "measured_n": 20}
    link = {
        "digest": "b" * 64, "lot_id": "L-7", "decision": "hold", "reinspection": True, "first_result": first
    }  # fmt: skip
    record = {"digest": "a" * 64, "previous": link, "signature": {"fingerprint": "f" * 64}}
    text = strings(made(large, record=record))
    for fact in ("a" * 64, "b" * 64, "signed with key " + "f" * 64, "re-inspection of the same lot",
                 "reject, 2 to 3 of 20 gears not conforming"):  # fmt: skip
        assert fact in text
    assert "chain not checked" in strings(made(large, record={"digest": "a" * 64, "previous": None}))
    assert "none was made with this certificate" in strings(made(large))


def test_what_is_not_known_is_said():
    result = signed(varied(12, production=False), lot_size=12)
    text = strings(made(result))
    for fact in ("reference not known, due not known", "grinder, wheel and dress not known", "time not known",
                 "Order of production: not known, so it is not drawn and cannot be checked",
                 "source not stated"):  # fmt: skip
        assert fact in text
    assert figures.order_figure(result) is None


def test_what_is_known_for_some_gears_says_for_how_many():
    gears = [
        make_gear("A", PART, production=make_production(0, operator="Inspector A")),
        make_gear("B", PART, production=make_production(1, operator=None, temperature_degC=None)),
    ]
    text = strings(made(signed(gears, lot_size=2)))
    assert "Inspector A (known for 1 of 2 gears)" in text
    assert "20.1 °C (known for 1 of 2 gears)" in text


def test_a_disposition_replaces_the_boxes_to_tick(large):
    assert "☐ release" in strings(made(large))
    person = Disposition("release", "Quality manager", "2025-03-07", concession="C-12")
    text = strings(made(replace(large, disposition=person)))
    assert "release, decided by Quality manager on 2025-03-07; concession: C-12" in text
    assert "☐" not in text


def test_what_a_person_decided_is_the_headline_with_the_recommendation_under_it(large):
    person = Disposition("hold", "Quality manager", "2025-03-07", reason="customer asks")
    first, second, *_ = words.verdict(replace(large, disposition=person)).answers
    assert (first.question, first.answer) == ("Disposition of lot L-7", "hold")
    assert "Quality manager on 2025-03-07" in doc.plain(first.detail)
    assert "customer asks" in doc.plain(first.detail)
    assert (second.question, second.answer) == ("Recommendation for lot L-7", large.decision)
    assert words.verdict(large).answers[0].question == "Recommendation for lot L-7"


def test_every_gear_stands_on_the_certificate_with_class_and_state(large):
    table = words.every_gear_table(large, {})
    cells = [doc.plain(c.text if isinstance(c, doc.Cell) else c) for row in table.rows for c in row]
    shown = [tuple(cells[at : at + 3]) for at in range(0, len(cells), 3) if cells[at]]
    expected = [(gear.serial, str(gear.class_indicated), gear.state) for gear in large.gears]
    assert shown == expected


def test_only_rows_of_the_decision_table_that_fit_are_printed(large):
    text = doc.plain(decision_rows(large))
    rules = {row.number: row.rule for row in TABLE}
    fitting = {reason.row for reason in large.reasons}
    assert all((rules[number] in text) == (number in fitting) for number in rules)


def test_uncertainty_requirement_and_teeth_are_stated(large):
    text = strings(certificate(large, required="class 6; fHα limits -6 to +4 µm", traced="4 a flank"))
    assert "class 6; fHα limits -6 to +4 µm" in text
    assert "4 a flank" in text
    known = {key: one.u_um for key, _, one in words.all_series(large) if one.u_um is not None}
    assert known
    for key, expanded in known.items():
        assert f"{PARAMETERS[key].symbol} {number_text(expanded)}" in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_sixty_gears_fit_two_pages(large, paper):
    document = made(large)
    data = pdf_bytes(document, paper)
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 2
    assert data == pdf_bytes(made(large), paper)


# --- charts --------------------------------------------------------------------------------------


def test_charts_are_svg_with_a_description(large):
    for figure in (figures.limits_figure(large), figures.probability_figure(large),
                   figures.characteristic_figure(large), figures.order_figure(large)):  # fmt: skip
        assert figure is not None
        root = ET.fromstring(figure.svg)
        assert root.tag.endswith("svg")
        assert figure.description
        assert doc.plain(figure.title).endswith("?")


def test_distribution_tells_count_worst_and_what_lies_beyond():
    gears = varied(10)
    gears[3] = make_gear("far", PART, {"runout": 80.0}, production=make_production(3))
    figure = figures.limits_figure(signed(gears, lot_size=100))
    assert figure is not None
    assert "Fr: 10 gears, worst 308 %, 1 beyond the limit." in figure.description
    assert "beyond 200 %" in doc.plain(figure.caption)


def test_probability_plot_ignores_quantities_without_a_distribution():
    gears = [
        make_gear(f"G{k}", PART, {"single_pitch": 8.0 + 0.01 * k, "runout": 10 + k / 4}) for k in range(12)
    ]
    result = signed(gears, lot_size=12)
    figure = figures.probability_figure(result)
    assert figure is not None
    assert "Probability plot of Fr" in doc.plain(figure.title)
    nearest = figures.nearest(words.all_series(result))
    assert nearest is not None
    assert nearest[0] == "single_pitch"


def test_probability_plot_tells_what_the_check_came_to(large):
    figure = figures.probability_figure(large)
    assert figure is not None
    assert re.search(
        r"Anderson-Darling\): p = 0\.\d{3}, (no departure seen|a departure is seen)", figure.description
    )
    few = figures.probability_figure(signed(varied(12), lot_size=12))
    assert few is not None
    assert "fewer than 20 gears" in few.description


def test_equal_values_give_no_probability_plot():
    assert figures.probability_figure(signed(make_lot(5, PART), lot_size=5)) is None


def test_order_of_production_marks_each_new_dress_cycle(large):
    figure = figures.order_figure(large)
    assert figure is not None
    words_in = re.findall(r">(D\d{3})<", figure.svg)
    assert words_in == [f"D{k:03d}" for k in range(1, 6)]
    assert "Tests of randomness" in figure.description


def test_no_acceptance_number_no_characteristic():
    plan = Plan.model_validate({"sampling": {"aql_percent": 1.0}}, by_alias=True)
    result = signed(varied(5), plan=plan)
    assert result.sampling.ac is None
    assert figures.characteristic_figure(result) is None
    assert "not known" in printed(result)
    assert made(result).sheets


def test_a_plan_by_variables_is_told_with_k():
    plan = Plan.model_validate({"sampling": {"n": 20, "k": 1.5, "variables": ["runout"]}}, by_alias=True)
    text = printed(signed(varied(20), plan=plan, lot_size=200))
    assert "quality index at least k = 1.5" in text


def test_a_lot_by_limit_curves_alone_has_no_table_of_statistics(tmp_path):
    import gearqa
    from gearqa.cli import app

    samples = Path(gearqa.__file__).parents[1] / "sample_measurements"
    drawing = (samples / "drawings" / "limit_curves.toml").read_text(encoding="utf-8")
    part, page = tmp_path / "curves.toml", tmp_path / "page.html"
    part.write_text(drawing[: drawing.index("[tolerance.size]")], encoding="utf-8")
    words = ["lot", samples / "ring_conforming", "--part", part, "--lot-size", "12", "--html", page]
    assert app.run(list(map(str, words))) == 0
    text = page.read_text(encoding="utf-8")
    assert "Statistics over the gears" not in text
    assert "few_gears" not in text
