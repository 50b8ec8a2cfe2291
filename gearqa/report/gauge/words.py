"""A gauge study in words: title, verdict, tables, and the uncertainties for part.toml."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import astuple

import numpy as np

from gearqa.errors import NoticeCode
from gearqa.model.gauge import (
    ACCEPTABLE_PERCENT,
    ONE_GEAR,
    WANTED_INDEX,
    CrossedResult,
    GaugeResult,
    ReferenceResult,
    rounded_up,
)
from gearqa.report.blocks import document as doc
from gearqa.symbols import symbol_of
from gearqa.wording.numbers import (
    DASH,
    count_text,
    fixed_text,
    interval_text,
    short_text,
    signed_text,
    value_text,
)
from gearqa.wording.sentences import place_text, sentence

STATUS: Mapping[bool | None, doc.Status] = {True: "good", False: "bad", None: "none"}
ANSWERS = {True: "yes", False: "no", None: "not judged"}
SUITABILITY = {True: "good enough", False: "not good enough", None: "not judged"}
PLACE = (doc.Column("parameter", "left"), doc.Column("flank", "left"))


def title(result: GaugeResult) -> str:
    """What was studied."""
    kind = "a calibrated gear" if result.kind == "reference" else f"items and {result.factor}"
    if result.part is None:
        return f"Gauge study with {kind}"
    part = " ".join(filter(None, (result.part["number"], result.part["revision"])))
    by = f", tolerances by {result.standard}" if result.standard else ""
    return f"Gauge study with {kind}, part {part}{by}"


def verdict(result: GaugeResult) -> doc.Verdict:
    """Is the instrument good enough."""
    suitable = result.suitable
    why = sentence(_why(result))
    answer, status = ANSWERS[suitable], STATUS[suitable]
    if suitable and (doubt := _doubt(result)):
        answer, status = f"{answer}, {doubt}", "open"
    answers = [doc.Answer("Good enough for the tolerance", answer, status, why)]
    if result.uncertainty_um:
        shown = ", ".join(f"{symbol_of(key)} {fixed_text(U)}" for key, U in result.uncertainty_um.items())
        how = "Coverage factor k = 2, bias added in full."
        answers.append(doc.Answer("Expanded uncertainty U in µm", shown, "none", how))
    return doc.Verdict(tuple(answers))


def _doubt(result: GaugeResult) -> str:
    """What a yes rests on, where it is not proven."""
    if any(isinstance(one, CrossedResult) and one.operators == 1 for one in result.all_series):
        return "for the repeats alone"
    if not all(one.proven for one in result.all_series):
        return "by the spread found"
    codes = {notice.code for notice in result.cautions}
    return "with the U found, not the U stated" if NoticeCode.STATED_TOO_SMALL in codes else ""


def _status(one: CrossedResult | ReferenceResult) -> doc.Status:
    return "open" if one.suitable and not one.proven else STATUS[one.suitable]


def _why(result: GaugeResult) -> str:
    if result.part is None:
        return "no part file, no limits: give --part"
    refused = [f"{series_name(one)}: {_reason(one)}" for one in result.all_series if one.suitable is False]
    if refused:
        return f"not for {'; '.join(refused)}"
    if result.suitable is None:
        left = [
            f"{series_name(one)}: {_not_judged(one)}" for one in result.all_series if one.suitable is None
        ]
        good = ", ".join(series_name(one) for one in result.all_series if one.suitable)
        return "; ".join(left) + (f"; good enough: {good}" if good else "")
    if result.kind == "reference":
        some = result.reference_series
        cg = any(one.cgk is not None for one in some)
        stated = any(one.stated_um is not None for one in some)
        wanted = [f"Cg and Cgk of at least {short_text(WANTED_INDEX)} wanted"] if cg else []
        return ", and ".join(wanted + ["bias and spread within the stated U"] * stated)
    limit, widest = short_text(ACCEPTABLE_PERCENT), _widest(result)
    upper = "" if widest is None else f"; by the upper end of its interval {fixed_text(widest, 0)} %"
    return f"gauge spread of at most {limit} % of the tolerance (6 s over its width){upper}"


def _not_judged(one: CrossedResult | ReferenceResult) -> str:
    """Why a series was not judged."""
    if not one.series.values_differ:
        return "no values differ"
    if isinstance(one, CrossedResult):
        return "the drawing has no limits"
    return "no two-sided limits for Cgk, and no uncertainties of reference and instrument for En"


def _widest(result: GaugeResult) -> float | None:
    """Largest share of a tolerance that the upper end of a gauge spread takes. [%]"""
    ends = [
        one.percent_of_tolerance * one.gauge_sd_interval_um[1] / one.gauge_sd_um
        for one in result.crossed_series
        if one.percent_of_tolerance and one.gauge_sd_interval_um[1] is not None
    ]
    return max(ends, default=None)


def _reason(one: CrossedResult | ReferenceResult) -> str:
    """Why a series is not good enough."""
    if isinstance(one, CrossedResult):
        percent = fixed_text(one.percent_of_tolerance or 0.0, 0)
        return f"gauge spread {percent} % of the tolerance, at most {short_text(ACCEPTABLE_PERCENT)} % wanted"
    wanted = short_text(WANTED_INDEX)
    indices = (("Cg", one.cg), ("Cgk", one.cgk))
    why = [
        f"{name} {fixed_text(x)}, {wanted} wanted"
        for name, x in indices
        if x is not None and x < WANTED_INDEX
    ]
    if one.agrees is False and one.en is not None:
        why.append(f"bias outside both uncertainties, En {signed_text(one.en, 2)}")
    if one.spread_within is False and one.stated_um is not None:
        spread = fixed_text(2 * one.sd_um)
        why.append(f"2 s = {spread} µm above the stated U of {short_text(one.stated_um)} µm")
    if one.sd_um == 0 and not why:
        why.append(f"bias {signed_text(one.bias_um, 2)} µm, more than a tenth of the tolerance")
    return ", ".join(why)


def linearity_table(result: GaugeResult) -> doc.Table | None:
    """Bias against calibrated value; nothing with fewer than three gears."""
    if not result.linearity:
        return None
    heads = ("gears", "bias per µm", "95 % interval", "p")
    columns = (*PLACE, *map(doc.Column, heads), doc.Column("", "left"))
    lines = tuple(
        (
            doc.symbol(one.parameter),
            one.flank or DASH,
            str(one.gears),
            signed_text(one.slope, 3),
            f"{signed_text(one.slope_interval[0], 3)} to {signed_text(one.slope_interval[1], 3)}",
            fixed_text(one.p, 3),
            doc.Cell("changes with size", "bad") if one.significant else "no change seen",
        )
        for one in result.linearity
    )
    notes = ("Line of the bias against the calibrated value, one point a gear.",)
    return doc.Table("Does the bias change with size", columns, lines, notes)


def series_name(one: CrossedResult | ReferenceResult) -> str:
    """Parameter and flank of a series; of several calibrated gears also which."""
    item = f"of {one.item}" if isinstance(one, ReferenceResult) and one.item != ONE_GEAR else None
    return place_text(one.symbol, one.flank, item)


def _place(one: CrossedResult | ReferenceResult) -> tuple[doc.Text, str]:
    return doc.symbol(one.series.parameter), one.flank or DASH


def factor_text(result: GaugeResult, name: str = "") -> str:
    """One of what the operators of the study are: operator A, set-up 3.

    The command line and a study give the factor in the plural.
    """
    one = result.factor.removesuffix("s")
    return f"{one} {name}" if name else one


def variance_table(result: GaugeResult, *, wide: bool = True) -> doc.Table:
    """Spreads with the interval of the gauge's, and what they mean."""
    columns = [*PLACE, doc.Column("gauge s"), doc.Column("95 % interval")]
    if wide:
        columns += [doc.Column(f"{word} s") for word in ("repeat", result.factor, "interaction")]
    columns += [doc.Column("items s"), doc.Column("% of tolerance"), doc.Column("% of total")]
    if wide:
        columns.append(doc.Column("distinct categories"))
    lines = []
    for one in result.crossed_series:
        v, percent, total = one.variance, one.percent_of_tolerance, one.percent_of_total_variation
        interval = interval_text(one.gauge_sd_interval_um, signed=False)
        cells: list[doc.Cell | doc.Text] = [*_place(one), value_text(one.gauge_sd_um), interval]
        if wide:
            cells += [value_text(np.sqrt(part)) for part in (v.repeatability, v.operator)]
            cells.append("pooled" if one.interaction_pooled else value_text(np.sqrt(v.interaction)))
        cells += [
            value_text(np.sqrt(v.item)),
            DASH if percent is None else doc.Cell(fixed_text(percent, 0), _status(one)),
            DASH if total is None else fixed_text(total, 0),
        ]
        if wide:
            cells.append(DASH if one.distinct_categories is None else str(one.distinct_categories))
        lines.append(tuple(cells))
    notes = tuple(_variance_notes(result))
    return doc.Table("How far the instrument spreads", tuple(columns), tuple(lines), notes, dense=wide)


def _variance_notes(result: GaugeResult) -> Iterator[str]:
    series = result.crossed_series
    first = series[0]
    operators = count_text(first.operators, factor_text(result), result.factor)
    counts = f"{count_text(first.items, 'item')}, {operators}, {count_text(first.trials, 'trial')}"
    how = "modified large sample, mean squares before pooling"
    yield f"s: standard deviation in µm; {counts}. Interval: {how}."
    uneven = [one for one in series if one.method == "mixed model"]
    if uneven:
        named = ", ".join(f"{series_name(one)} ({count_text(one.values, 'value')})" for one in uneven)
        yield (
            f"Incomplete or uneven, so by a mixed model (restricted maximum likelihood, interval by "
            f"Satterthwaite, interaction by its likelihood ratio): {named}."
        )
    tested = [
        f"{series_name(one)} p = {fixed_text(one.interaction_p, 3)}"
        + (" (pooled)" if one.interaction_pooled else "")
        for one in series
        if one.interaction_p is not None
    ]
    if tested:
        rule = f"pooled with the repeats where the p of its test is above {short_text(result.pool_above)}"
        yield f"Interaction {rule}: {', '.join(tested)}."
    elif first.trials == 1:
        yield "One trial each: interaction and repeats cannot be told apart and are taken together."


def parts_table(result: GaugeResult) -> doc.Table:
    """Where the gauge spread comes from, for a narrow screen."""
    columns = [*PLACE, *(doc.Column(f"{word} s") for word in ("repeat", result.factor, "interaction"))]
    lines = []
    for one in result.crossed_series:
        v = one.variance
        parts = [value_text(np.sqrt(part)) for part in (v.repeatability, v.operator)]
        parts.append("pooled" if one.interaction_pooled else value_text(np.sqrt(v.interaction)))
        lines.append((*_place(one), *parts))
    return doc.Table("Where the spread comes from", tuple(columns), tuple(lines))


def squares_table(result: GaugeResult) -> doc.Table:
    """Sums of squares and variance components, for whoever checks the calculation."""
    squares, variances = "sums of squares", "variances, unclipped"
    columns = (
        *PLACE,
        *(doc.Column(word, group=squares) for word in ("item", "operator", "interaction", "repeat", "total")),
        *(doc.Column(word, group=variances) for word in ("item", "operator", "interaction", "repeat")),
    )
    lines: list[tuple[doc.Cell | doc.Text, ...]] = []
    for one in result.crossed_series:
        if one.sum_of_squares is None:
            continue
        raw = one.variance_unclipped
        numbers = (*astuple(one.sum_of_squares), raw.item, raw.operator, raw.interaction, raw.repeatability)
        lines.append((*_place(one), *(fixed_text(number, 4) for number in numbers)))
    return doc.Table("Analysis of variance, µm²", columns, tuple(lines), dense=True)


def reference_table(result: GaugeResult, *, wide: bool = True) -> doc.Table:
    """Bias and spread on calibrated gears."""
    heads = ("n", "reference", "bias", "95 % interval", "s", "U", "Cg", "Cgk")
    columns = [*PLACE, *map(doc.Column, heads)]
    if wide:
        columns += [doc.Column("stated U"), doc.Column("En"), doc.Column("verdict", "left")]
    lines = []
    for one in result.reference_series:
        cells: list[doc.Cell | doc.Text] = [
            *_place(one),
            str(one.n),
            value_text(one.reference_um, signed=True),
            value_text(one.bias_um, signed=True),
            interval_text(one.bias_interval_um),
            value_text(one.sd_um),
            DASH if one.U_um is None else fixed_text(rounded_up(one.U_um)),
            *(DASH if index is None else fixed_text(index) for index in (one.cg, one.cgk)),
        ]
        if wide:
            cells += [
                DASH if one.stated_um is None else short_text(one.stated_um),
                DASH if one.en is None else signed_text(one.en, 2),
                doc.Cell(SUITABILITY[one.suitable], _status(one)),
            ]
        lines.append(tuple(cells))
    notes = (
        "Values in µm. U = 2 times the root of spread and reference uncertainty, plus the bias (in the "
        "manner of ISO 18653). Cg and Cgk by a tenth of the tolerance either side; none for "
        "one-sided limits.",
    )
    caption = "Bias and spread against the certificate"
    return doc.Table(caption, tuple(columns), tuple(lines), notes, dense=wide)


def uncertainty_table(result: GaugeResult, caption: str, title: str) -> doc.Table:
    """The `[uncertainty_um]` block of part.toml, to be copied line by line."""
    lines = tuple((line,) for line in uncertainty_block(result))
    return doc.Table(caption, (doc.Column(title, "left"),), lines)


def uncertainty_block(result: GaugeResult) -> tuple[str, ...]:
    """Lines of an `[uncertainty_um]` table for part.toml; what has no U is a comment."""
    lines = ["[uncertainty_um]  # expanded uncertainty U, k = 2"]
    for key in dict.fromkeys((*result.crossed, *result.references)):
        U = result.uncertainty_um.get(key)
        if U is not None:
            lines.append(f"{key} = {fixed_text(U)}")
        elif key in result.crossed:
            spread = fixed_text(2 * max(one.gauge_sd_um for one in result.crossed[key]))
            lines.append(f"# {key} = ?  # spread alone, 2 s = {spread}; the bias is not known")
        elif any(one.sd_um == 0 for one in result.references[key]):
            lines.append(f"# {key} = ?  # no values differ, so the spread is not known")
        else:
            lines.append(f"# {key} = ?  # the uncertainty of the reference is not known")
    return tuple(lines)
