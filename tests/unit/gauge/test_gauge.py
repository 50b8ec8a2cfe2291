"""Gauge studies: the published data set, reading, reference gears, studies from measured gears."""

from __future__ import annotations

import json
from pathlib import Path

import gauge_samples
import numpy as np
import pytest
from unit.evaluation.make import gear, helix, part, with_trace

from gearqa.errors import MeasurementFileError, Reason
from gearqa.evaluation.evaluate import evaluate
from gearqa.gauge.study_analysis import analyse_study, study_from_gears
from gearqa.reading.settings.part_file import read_part
from gearqa.reading.values.study import read_measured_study, read_study
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.document import Figure
from gearqa.report.gauge.figures import interaction_plot
from gearqa.report.gauge.page import gauge_document
from gearqa.report.gauge.screen import gauge_blocks
from gearqa.report.gauge.words import linearity_table, uncertainty_block, variance_table, verdict
from gearqa.results.gauge_json import GAUGE

SAMPLES = Path(__file__).parents[3] / "sample_measurements"
pytestmark = pytest.mark.usefixtures("ideal_readings")

# AIAG, Measurement Systems Analysis, 4th edition: 10 parts, 3 appraisers, 3 trials (data from memory)
AIAG = {
    "A": ["29 -56 134 47 -80 2 59 -31 226 -136", "41 -68 117 50 -92 -11 75 -20 199 -125",
          "64 -58 127 64 -84 -21 66 -17 201 -131"],
    "B": ["8 -47 119 1 -56 -20 47 -63 180 -168", "25 -122 94 103 -120 22 55 8 212 -162",
          "7 -68 134 20 -128 6 83 -34 219 -150"],
    "C": ["4 -138 88 14 -146 -29 2 -46 177 -149", "-11 -113 109 20 -107 -67 1 -56 145 -177",
          "-15 -96 67 11 -145 -49 21 -49 187 -216"],
}  # fmt: skip


def aiag_table(key="profile_slope"):
    lines = ["item,operator,trial,parameter,value_um"]
    for operator, trials in AIAG.items():
        for trial, values in enumerate(trials, 1):
            lines += [
                f"{item},{operator},{trial},{key},{int(v) / 100}" for item, v in enumerate(values.split(), 1)
            ]
    return "\n".join(lines) + "\n"


def study(tmp_path, text, **options):
    path = tmp_path / "study.csv"
    path.write_text(text, encoding="utf-8")
    return analyse_study(read_study(path), **options)


def problems(tmp_path, text):
    path = tmp_path / "study.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(MeasurementFileError) as caught:
        read_study(path)
    return caught.value.problems


@pytest.mark.published
def test_the_aiag_study_through_file_and_json(tmp_path):
    """Printed results of the manual's analysis of variance, from memory: EV .199933, AV .226838, GRR .302372,
    PV 1.042327; sums of squares 3.1673 88.3619 .3590 2.7589 94.6471; ndc 4."""
    result = study(tmp_path, aiag_table())
    table = GAUGE.document(result)["parameters"]["profile_slope"]
    assert (table["items"], table["operators"], table["trials"]) == (10, 3, 3)
    squares = {key: round(value, 6) for key, value in table["sum_of_squares"].items()}
    assert squares == {
        "item": 88.361934, "operator": 3.167262, "interaction": 0.358982, "repeatability": 2.758933,
        "total": 94.647112,
    }  # fmt: skip
    variance = {key: round(np.sqrt(value), 6) for key, value in table["variance"].items()}
    assert variance == {
        "repeatability": 0.199933, "operator": 0.226838, "interaction": 0.0, "item": 1.042327,
        "gauge": 0.302372,
    }  # fmt: skip
    assert table["interaction_pooled"] is True
    assert round(table["interaction_p"], 3) == 0.974
    assert round(table["percent_of_total_variation"], 2) == 27.86
    assert table["distinct_categories"] == 4
    assert [round(v, 5) for v in table["gauge_sd_interval_um"]] == [0.22343, 1.45661]
    assert table["percent_of_tolerance"] is None
    assert table["U_um"] is None


def test_not_pooled_when_asked(tmp_path):
    """sd .313217 not pooled (from memory)."""
    one = study(tmp_path, aiag_table(), pool_above=1.0).crossed["profile_slope"][0]
    assert one.interaction_pooled is False
    assert round(one.gauge_sd_um, 6) == 0.313217


@pytest.mark.independent
def test_percent_of_tolerance_by_hand(tmp_path):
    """f_H_alpha class 5 of the made pinion is 4.9 either side: 600 sd / 9.8; upper limits: 600 sd / U."""
    result = study(tmp_path, aiag_table(), part=part())
    one = result.crossed["profile_slope"][0]
    assert one.limits_um == (-4.9, 4.9)
    assert one.percent_of_tolerance == pytest.approx(600 * 0.302372 / 9.8, abs=1e-3)
    assert (one.suitable, result.suitable) == (True, True)
    positive = aiag_table("runout").replace(",-", ",")
    (upper,) = study(tmp_path, positive, part=part()).crossed["runout"]
    assert upper.limits_um == (None, 17.0)
    assert upper.percent_of_tolerance == pytest.approx(600 * upper.gauge_sd_um / 17)
    tight = part(tolerance={"limits_um": {"profile_slope": 1.0}})
    assert study(tmp_path, aiag_table(), part=tight).suitable is False


def test_an_incomplete_study_is_analysed_by_a_mixed_model_and_says_so(tmp_path):
    whole = study(tmp_path, aiag_table()).crossed["profile_slope"][0]
    lines = aiag_table().splitlines()
    text = "\n".join(line for line in lines if not line.startswith(("3,B,", "7,C,1,"))) + "\n"
    result = study(tmp_path, text)
    (one,) = result.crossed["profile_slope"]
    assert (one.method, one.values, one.sum_of_squares) == ("mixed model", 86, None)
    assert one.gauge_sd_um == pytest.approx(whole.gauge_sd_um, rel=0.1)
    assert one.gauge_sd_interval_um[0] < one.gauge_sd_um < one.gauge_sd_interval_um[1]
    table = json.loads(GAUGE.json(result))["parameters"]["profile_slope"]
    assert (table["method"], table["sum_of_squares"]) == ("mixed model", None)
    assert any("mixed model" in note for note in variance_table(result).notes)
    assert [section.id for section in gauge_document(result).sheets[0].sections][:3] == [
        "result",
        "notes",
        "",
    ]


def calibrated_gears(slope=0.0):
    repeats = 0.05 * np.sin(np.arange(25))
    lines = ["item,trial,parameter,value_um,reference_um,reference_uncertainty_um"]
    for item, known, own in (("A", -6.0, 0.02), ("B", 0.5, -0.03), ("C", 4.0, 0.02), ("D", 9.0, -0.01)):
        values = known * (1 + slope) + 0.1 + own + repeats
        lines += [f"{item},{n},fHα,{um:.3f},{known},0.4" for n, um in enumerate(values, 1)]
    return "\n".join(lines) + "\n"


@pytest.mark.independent
@pytest.mark.parametrize("slope", [0.0, 0.04])
def test_a_bias_that_changes_with_size_is_seen_over_several_gears(tmp_path, slope):
    """The slope that the values were made with."""
    result = study(tmp_path, calibrated_gears(slope))
    (line,) = result.linearity
    assert (line.parameter, line.gears, line.significant) == ("profile_slope", 4, slope > 0)
    assert line.slope_interval[0] <= slope <= line.slope_interval[1]
    shown = linearity_table(result)
    assert shown is not None
    assert shown.rows[0][-1] != "no change seen" if slope else shown.rows[0][-1] == "no change seen"
    assert json.loads(GAUGE.json(result))["linearity"][0]["gears"] == 4


def test_a_refusal_says_why(tmp_path):
    part = read_part(SAMPLES / "ring_conforming" / "part.toml")
    tight = part.tolerance.model_copy(update={"limits_um": {"profile_slope": (-1.0, 1.0)}})
    result = study(tmp_path, aiag_table(), part=part.model_copy(update={"tolerance": tight}))
    assert result.suitable is False
    why = verdict(result).answers[0].detail
    assert "fHα: gauge spread 91 % of the tolerance, at most 30 % wanted" in str(why)
    gears = study(tmp_path, calibrated_gears(), part=part.model_copy(update={"tolerance": tight}))
    assert "Cgk" in str(verdict(gears).answers[0].detail) or gears.suitable is not False


def test_a_yes_says_how_far_the_upper_end_of_its_interval_reaches(tmp_path):
    """600 s / width of the tolerance; three operators leave the upper end of s far out."""
    tight, wide = (part(tolerance={"limits_um": {"profile_slope": limit}}) for limit in (4.9, 60.0))
    result = study(tmp_path, aiag_table(), part=tight)
    upper = result.crossed["profile_slope"][0].gauge_sd_interval_um[1]
    assert upper is not None
    (answer,) = verdict(result).answers
    assert (answer.answer, answer.status) == ("yes, by the spread found", "open")
    assert f"by the upper end of its interval {600 * upper / 9.8:.0f} %" in str(answer.detail)
    (answer,) = verdict(study(tmp_path, aiag_table(), part=wide)).answers
    assert (answer.answer, answer.status) == ("yes", "good")
    assert f"by the upper end of its interval {600 * upper / 120:.0f} %" in str(answer.detail)


def test_a_narrow_screen_shows_where_the_spread_comes_from(tmp_path):
    blocks = gauge_blocks(study(tmp_path, aiag_table()), wide=False)
    captions = [str(one.caption) for one in blocks if isinstance(one, doc.Table)]
    assert "Where the spread comes from" in captions


@pytest.mark.parametrize(
    ("text", "reason", "words"),
    [
        ("trial,parameter,value_um\n1,Fp,1\n", Reason.MISSING_COLUMN, "no column 'item'"),
        ("item,operator,trial,parameter,value_um\n1,A,1,Fp,1\n1,A,2,Fp,1\n",
         Reason.NOTHING_TO_GRADE, "two items"),
        ("item,operator,trial,parameter,value_um\n1,A,1,Fp,1\n1,A,1,Fp,1\n2,A,1,Fp,1\n2,A,2,Fp,1\n",
         Reason.DUPLICATE_ROW, "each trial once"),
        ("item,operator,trial,parameter,value_um\n1,A,1,Fp,x\n", Reason.NOT_A_NUMBER, "a number"),
        ("item,operator,trial,parameter,value_um\n1,A,,Fp,1\n", Reason.EMPTY_CELL, "a text"),
        ("trial,parameter,value_um,reference_um\n1,fHα,1,2\n2,fHα,1,3\n",
         Reason.CONTRADICTION, "same reference"),
        ("trial,parameter,value_um,reference_um\n1,fHα,1,2\n", Reason.NOTHING_TO_GRADE, "25 are wanted"),
        ("trial,parameter,value_um,reference_um\n1,fHα,1,2\n1,fHα,1,2\n",
         Reason.DUPLICATE_ROW, "each trial once"),
    ],
)  # fmt: skip
def test_faults(tmp_path, text, reason, words):
    found = problems(tmp_path, text)
    assert reason in {p.reason for p in found}
    assert words in " ".join(map(str, found))


@pytest.mark.independent
def test_reference_gear_by_hand(tmp_path):
    """Values 2.1 2.3 2.2 2.0 2.4 against 2.0 (U 0.4): bias 0.2, s 0.15811; T = 9.8."""
    text = "trial,parameter,value_um,reference_um,reference_uncertainty_um\n" + "".join(
        f"{k},fHα,{v},2.0,0.4\n" for k, v in enumerate((2.1, 2.3, 2.2, 2.0, 2.4), 1)
    )
    drawing = part(uncertainty_um={"profile_slope": 0.7})
    result = study(tmp_path, text, part=drawing)
    (one,) = result.references["profile_slope"]
    assert one.bias_um == pytest.approx(0.2)
    assert one.sd_um == pytest.approx(0.1581139, abs=1e-7)
    assert one.cg == pytest.approx(0.2 * 9.8 / (6 * 0.1581139), abs=1e-5)
    assert one.cgk == pytest.approx((0.98 - 0.2) / (3 * 0.1581139), abs=1e-5)
    assert one.U_um == pytest.approx(2 * np.hypot(0.1581139, 0.2) + 0.2, abs=1e-6)
    assert one.en == pytest.approx(0.2 / np.hypot(0.4, 0.7), abs=1e-9)
    assert result.uncertainty_um == {"profile_slope": 0.71}  # 0.70990, rounded up
    assert {"few_values", "bias", "stated_too_small"} <= {n.code for n in result.cautions}


def test_without_the_uncertainty_of_the_reference_there_is_no_u(tmp_path):
    text = "trial,parameter,value_um,reference_um\n1,fHα,1.0,1.1\n2,fHα,1.2,1.1\n"
    result = study(tmp_path, text)
    assert result.uncertainty_um == {}
    assert uncertainty_block(result)[1].startswith("# profile_slope = ?")


def test_the_block_can_be_pasted(tmp_path):
    result = study(tmp_path, gauge_samples.reference_text())
    block = "\n".join(uncertainty_block(result))
    drawing = (gauge_samples.FOLDER.parent / "ring_conforming/part.toml").read_text(encoding="utf-8")
    pasted = tmp_path / "part.toml"
    pasted.write_text(drawing.partition("[uncertainty_um]")[0] + block + "\n", encoding="utf-8")
    read = read_part(pasted)
    assert read.uncertainty_um == result.uncertainty_um
    assert set(read.uncertainty_um) == {"profile_slope", "helix_slope"}


def test_one_sided_limits_have_no_cg(tmp_path):
    text = "trial,parameter,value_um,reference_um,reference_uncertainty_um\n1,Fr,9.0,9.1,1\n2,Fr,9.2,9.1,1\n"
    (one,) = study(tmp_path, text, part=part()).references["runout"]
    assert one.cg is one.cgk is None


def test_a_bias_that_nothing_judges_leaves_the_instrument_unjudged(tmp_path):
    text = "trial,parameter,value_um,reference_um\n1,Fr,9.0,12.1\n2,Fr,9.2,12.1\n"
    drawing = part(uncertainty_um={"runout": 1.4})
    result = study(tmp_path, text, part=drawing)
    (one,) = result.references["runout"]
    assert (one.spread_within, one.agrees, one.suitable, result.suitable) == (True, None, None, None)
    wide = study(tmp_path, text.replace("9.2", "19.2"), part=drawing)
    assert wide.suitable is False
    with_certificate = text.replace("reference_um\n", "reference_um,reference_uncertainty_um\n")
    with_certificate = with_certificate.replace("12.1\n", "9.1,0.4\n")
    assert study(tmp_path, with_certificate, part=drawing).suitable is True


@pytest.mark.parametrize("name", gauge_samples.FILES)
def test_samples_are_what_their_script_makes(name):
    path = gauge_samples.FOLDER / name
    assert path.read_text(encoding="utf-8") == gauge_samples.FILES[name]()
    result = analyse_study(read_study(path))
    assert result.simulated


def test_the_sample_study_recovers_its_spreads():
    """chi-square intervals of 20 (repeats) and 9 (items) degrees of freedom or more, at 99.9 %."""
    result = analyse_study(read_study(gauge_samples.FOLDER / "crossed.csv"))
    for key, (items, repeats, _) in gauge_samples.SPREADS.items():
        (one,) = result.crossed[key]
        assert 0.6 < np.sqrt(one.variance.repeatability) / repeats < 1.4
        assert 0.35 < np.sqrt(one.variance.item) / items < 1.8


def made_gears(slopes):
    gears = [
        gear(with_trace(helix("left", 1, slope=s), helix("left", 13, slope=s)), serial=f"M{k}")
        for k, s in enumerate(slopes)
    ]
    return tuple(evaluate(gears, part()))


def test_a_study_from_measured_gears(tmp_path):
    table = tmp_path / "which.csv"
    rows = [f"M{k},{k // 4},{'AB'[k // 2 % 2]},{k % 2}" for k in range(8)]
    table.write_text("serial,item,operator,trial\n" + "\n".join(rows) + "\n", encoding="utf-8")
    slopes = [1.0, 1.2, 1.4, 1.6, 5.0, 5.2, 5.4, 5.6]
    which = read_measured_study(table, [f"M{k}" for k in range(8)])
    values = study_from_gears(made_gears(slopes), which, ("helix_slope", "runout"), simulated=False)
    by_flank = {(s.parameter, s.flank): s for s in values.crossed}
    left = by_flank["helix_slope", "left"]
    # two of four traces carry the slope: the flank's mean is half of it
    assert np.allclose(left.values_um, np.reshape(slopes, (2, 2, 2)) / 2)
    assert ("runout", None) in by_flank
    result = GAUGE.document(analyse_study(values, part=part()))
    top = result["parameters"]["helix_slope"]
    assert top["flank"] == "left"  # the flank that spreads more
    assert [one["flank"] for one in top["series"]] == ["left", "right"]


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        (["X,1,A,1"], Reason.UNKNOWN_SERIAL),
        (["M0,1,A,1", "M0,1,A,2"], Reason.DUPLICATE_ROW),
        (["M0,1,A,1", "M1,1,A,1"], Reason.DUPLICATE_ROW),
        (["M0,,A,1"], Reason.EMPTY_CELL),
    ],
)
def test_faults_of_the_table_of_trials(tmp_path, rows, reason):
    table = tmp_path / "which.csv"
    table.write_text("serial,item,operator,trial\n" + "\n".join(rows) + "\n", encoding="utf-8")
    with pytest.raises(MeasurementFileError) as caught:
        read_measured_study(table, ["M0", "M1"])
    assert reason in {p.reason for p in caught.value.problems}


def crossed_with_interaction():
    """Operators differ by item: alternating signs."""
    lines = ["item,operator,trial,parameter,value_um"]
    rng = np.random.default_rng(1)
    for item in range(6):
        for place, operator in enumerate("AB"):
            for trial in (1, 2):
                value = item + (1 - 2 * place) * (-1) ** item * 1.5 + rng.normal(0, 0.05)
                lines.append(f"{item},{operator},{trial},fHα,{value:.3f}")
    return "\n".join(lines) + "\n"


def test_the_interaction_is_drawn_only_where_it_is_significant(tmp_path):
    assert interaction_plot(study(tmp_path, aiag_table())) == ()
    crossed = study(tmp_path, crossed_with_interaction())
    assert len(interaction_plot(crossed)) == 1
    assert crossed.crossed["profile_slope"][0].interaction_pooled is False


def test_the_page_has_the_table_first_and_one_dot_plot(tmp_path):
    document = gauge_document(study(tmp_path, aiag_table()))
    blocks = [block for section in document.sheets[0].sections for block in section.blocks]
    assert [type(block).__name__ for block in blocks[:3]] == ["Verdict", "Table", "Figure"]
    assert sum(isinstance(block, Figure) for block in blocks) == 1


@pytest.mark.parametrize("wide", [False, True])
def test_terminal_words(tmp_path, wide):
    for text in (aiag_table(), gauge_samples.reference_text()):
        assert gauge_blocks(study(tmp_path, text, part=part()), wide=wide)


def crossed_text(values):
    """Table of values, shape (items, operators, trials)."""
    rows = (f"G{i},O{o},{t},fHa,{v}" for (i, o, t), v in np.ndenumerate(values) if np.isfinite(v))
    return "\n".join(["item,operator,trial,parameter,value_um", *rows]) + "\n"


def reference_text(values, reference=2.0, parameter="fHa"):
    rows = (f"{t},{parameter},{v},{reference},0.3" for t, v in enumerate(values, 1))
    return "\n".join(["trial,parameter,value_um,reference_um,reference_uncertainty_um", *rows]) + "\n"


def test_values_that_never_differ_earn_no_yes(tmp_path):
    """Rounded more coarsely than the instrument repeats: the spread is not known, and so U is not."""
    drawing = part(tolerance={"limits_um": {"profile_slope": 12.0}})
    same = np.broadcast_to(np.arange(5.0)[:, None, None], (5, 3, 2))
    for text in (crossed_text(same), reference_text([2.0] * 30)):
        result = study(tmp_path, text, part=drawing)
        (answer,) = verdict(result).answers
        assert (result.suitable, answer.answer, result.uncertainty_um) == (None, "not judged", {})
        assert "no values differ" in str(answer.detail)
        assert "no_spread" in {notice.code for notice in result.cautions}
    far = study(tmp_path, reference_text([9.0] * 30), part=drawing)
    assert far.suitable is False
    assert "bias +7.00 µm, more than a tenth of the tolerance" in str(verdict(far).answers[0].detail)
    rough = np.broadcast_to(np.array([0.1, 4.41, 2.3, 1.7, 3.3])[:, None, None], (5, 3, 3)).copy()
    holes = rough.copy()
    holes[2, 1, 1] = np.nan
    for values in (rough, holes):  # standard deviations of equal values are rounded, not 0
        result = study(tmp_path, crossed_text(values), part=drawing)
        assert (result.suitable, verdict(result).answers[0].answer) == (None, "not judged")
        assert "no_spread" in {notice.code for notice in result.cautions}
    for value, suitable in ((4.39, None), (4.41, False)):  # a tenth of 24 is 2.4
        assert study(tmp_path, reference_text([value] * 30), part=drawing).suitable is suitable


@pytest.mark.parametrize(("stated", "proven"), [(0.27, False), (0.29, True)])
def test_the_spread_is_within_the_stated_u_at_its_bound_too(tmp_path, stated, proven):
    """20 values, s = 0.1026; chi-square of 19 freedoms at 5 % is 10.117 (any table): 2 s up to 0.281."""
    drawing = part(tolerance={"limits_um": {"profile_slope": 1000}}, uncertainty_um={"profile_slope": stated})
    (one,) = study(tmp_path, reference_text([2.0, 2.2] * 10), part=drawing).references["profile_slope"]
    assert (one.suitable, one.proven) == (True, proven)


def test_one_operator_proves_repeats_alone(tmp_path):
    values = np.arange(5.0)[:, None, None] + np.array([[[0.1, -0.1, 0.0, 0.05]]])
    result = study(tmp_path, crossed_text(values), part=part(tolerance={"limits_um": {"profile_slope": 60}}))
    (answer,) = verdict(result).answers
    assert (answer.answer, answer.status) == ("yes, for the repeats alone", "open")
    assert result.crossed["profile_slope"][0].proven is False


def test_two_values_of_a_calibrated_gear_prove_nothing(tmp_path):
    """Cg 3.4 of two values: chi-square of one freedom leaves 0.21 as its lower bound."""
    drawing = part(tolerance={"limits_um": {"profile_slope": 14.5}})
    result = study(tmp_path, reference_text([2.0, 2.2]), part=drawing)
    assert (result.suitable, result.references["profile_slope"][0].proven) == (True, False)
    assert (verdict(result).answers[0].answer, verdict(result).answers[0].status) == (
        "yes, by the spread found",
        "open",
    )
    assert "interval_beyond" in {notice.code for notice in result.cautions}
    many = study(tmp_path, reference_text([2.0, 2.2] * 20), part=drawing)
    assert (verdict(many).answers[0].answer, verdict(many).answers[0].status) == ("yes", "good")


def test_a_parameter_that_nothing_judges_is_not_covered_by_another(tmp_path):
    drawing = part(tolerance={"limits_um": {"profile_slope": 14.5}})
    both = reference_text([2.0, 2.2] * 20) + "".join(
        f"{t},ffa,{v},2.0,\n" for t, v in enumerate([1.0, 5.0] * 9)
    )
    result = study(tmp_path, both, part=drawing)
    assert result.suitable is None
    (answer, _) = verdict(result).answers
    assert answer.answer == "not judged"
    assert str(answer.detail).startswith("ffα: no two-sided limits")
    assert "good enough: fHα" in str(answer.detail)
