"""A lot sign-off in words: order, digits, verdicts and reasons, decided once.

Terminal and certificate print the same strings; renderers only lay out. Nothing here claims more of a
lot than its sample shows: the tool recommends, a person decides.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from gearqa.errors import NoticeCode
from gearqa.model.lot import (
    INDEPENDENT_OF_ONE_CYCLE,
    DecisionRisks,
    FlankKey,
    InLot,
    LotGear,
    LotResult,
    MeasuredOnce,
    ParameterStatistics,
    Repeat,
    SamplingResult,
)
from gearqa.model.measurement import measured_name
from gearqa.model.results import GearResult, State
from gearqa.report.blocks import document as doc
from gearqa.report.blocks.document import Status
from gearqa.report.blocks.verdicts import DECISION_STATUS
from gearqa.symbols import QUANTITIES, SIZE, Flank, quantity_of, symbol_of
from gearqa.wording.numbers import (
    DASH,
    allowed_text,
    cases_text,
    class_text,
    count_text,
    fixed_text,
    interval_text,
    margin_text,
    number_text,
    share_text,
    size_mm_text,
    value_text,
    zone_value,
)
from gearqa.wording.sentences import place_text, sentence, some_of, symbols_text
from gearqa.wording.verdicts import (
    MASTER_QUALITY,
    RULES,
    STATE_OF_MASTER_QUALITY,
    conform_text,
    master_words,
    not_conform_text,
)
from gearqa.wording.visible import clip

STATE_STATUS: Mapping[State, Status] = {
    "conforms": "good",
    "does not conform": "bad",
    "not proven": "open",
    "not assessed": "open",
}
IN_LOT_STATUS: Mapping[InLot, Status] = {"shown": "good", "not shown": "open", "refuted": "bad"}
CAUTION_CODES = ("geometry_only", "who_decides")
"""Notes that every output has among its cautions."""
WARNINGS_OF_A_KIND: Final = 3
"""Warnings of one code that are printed in full."""
MOST_MISSING = 20
"""Gears with something not assessed that are named under a table."""
FEW_GEARS = 50
"""Below so many gears the lower bound of an index comes before the index."""

Series = tuple[str, FlankKey, ParameterStatistics]


# --- the decision --------------------------------------------------------------------------------


def marked(word: str, result: LotResult) -> str:
    """A verdict; one on simulated data carries the word SIMULATED."""
    return f"{word} (SIMULATED)" if result.simulated else word


def verdict(result: LotResult) -> doc.Verdict:
    """What a person decided, if recorded; recommendation, class of the sample, master quality."""
    grade = class_text(result.class_, result.beyond, complete=result.class_complete)
    incomplete = "" if result.class_complete else "; * of an incomplete set, see not assessed"
    in_lot = result.master_quality.in_lot
    name = f"lot {clip(result.lot_id, 48)}" if result.lot_id else "the lot"
    reason = next(reason.sentence for reason in result.reasons if reason.decides)
    answers: tuple[tuple[str, str, Status, str], ...] = (
        (f"Recommendation for {name}", result.decision, DECISION_STATUS[result.decision],
         f"{sentence(reason)}{_without_uncertainty(result)}"),
        ("Flank tolerance class of the sample", grade, "none", f"{states_sentence(result)}{incomplete}."),
        ("Master quality of the lot", in_lot, IN_LOT_STATUS[in_lot],
         f"{_master_detail(result)}{_without_uncertainty(result)}"),
    )  # fmt: skip
    person = result.disposition
    if person is not None:
        by = disposition_text(result).removeprefix(f"{person.decision}, ")
        status: Status = DECISION_STATUS[person.decision]
        answers = ((f"Disposition of {name}", person.decision, status, sentence(by)), *answers)
    return doc.Verdict(
        tuple(doc.Answer(title, marked(word, result), status, why) for title, word, status, why in answers)
    )


def _without_uncertainty(result: LotResult) -> str:
    """What a green answer must not hide: values whose uncertainty is not known were compared as they are."""
    if any(one.probability_of_conformity is not None for one in result.gears):
        return ""  # of some values only: a caution names them
    told = (one.message for one in result.cautions if one.code == NoticeCode.UNCERTAINTY_UNKNOWN)
    return "".join(f" {sentence(message)}" for message in told)


def _master_words(result: LotResult) -> tuple[str, str]:
    return master_words(proven=any(one.probability_of_conformity is not None for one in result.gears))


def _master_detail(result: LotResult) -> str:
    master, n = result.master_quality, count_text(result.sample_size, "gear")
    is_so, is_not = _master_words(result)
    found = f"{master.proven} of {n} {is_so}; at least {share_text(master.share_lower_bound)}"
    if master.in_lot == "refuted":
        found = f"{master.refuted} of {n} {is_not}; at most {share_text(master.share_upper_bound)}"
    if not master.parameters:
        return sentence(master.sentence)
    if result.sorted is not None:
        return f"{master.proven} of {result.lot_size} {is_so}; the whole lot was measured."
    sure, asked = share_text(master.confidence, 6), share_text(master.coverage, 6)
    return f"{found} of the lot with {sure} confidence, {asked} asked for."


def reason_lines(result: LotResult) -> tuple[doc.Text, ...]:
    """Every reason in one sentence with what would settle it, the deciding one first."""
    lines = []
    for reason in result.reasons:
        row = f" (row {reason.row} of the decision table{', decides' if reason.decides else ''})"
        head = doc.Span(f"{reason.decision}: ", "strong")
        lines.append((head, doc.Span(reason.sentence), doc.Span(row, "muted")))
    return tuple(lines)


def states_sentence(result: LotResult) -> str:
    """How many gears of the sample are in each state."""
    counts = (
        f"{result.conforming} {conform_text(result.conforming)}",
        f"{result.not_conforming} {not_conform_text(result.not_conforming)}",
        f"{result.not_proven} not proven",
        f"{result.not_assessed} not assessed",
    )
    return f"{count_text(result.sample_size, 'gear')} measured: {', '.join(counts)}"


def lot_size_text(result: LotResult) -> str:
    """Size of the lot, and whether all of it was measured."""
    if result.lot_size is None:
        return "not known"
    return f"{result.lot_size}{', all measured' if result.sorted is not None else ''}"


def disposition_text(result: LotResult) -> str:
    """The decision of a person."""
    one = result.disposition
    if one is None:
        return "none recorded: the tool recommends, a person decides on the lot"
    reason = f"; reason: {clip(one.reason, 400)}" if one.reason else ""
    concession = f"; concession: {clip(one.concession, 400)}" if one.concession else ""
    return f"{one.decision}, decided by {clip(one.by)} on {one.date}{reason}{concession}"


# --- sampling ------------------------------------------------------------------------------------


def plan_text(sampling: SamplingResult) -> str:
    """The plan and where its numbers come from."""
    edition = f"; table: {sampling.edition}" if sampling.edition else ""
    return f"{sampling.scheme}; {sampling.basis}{edition}"


def asked_text(sampling: SamplingResult) -> str:
    """What the plan asks for."""
    if sampling.required_n is None:
        return "not known without the lot size"
    words = count_text(sampling.required_n, "gear")
    if sampling.ac is not None:
        words += f"; accepts with {sampling.ac}, rejects from {sampling.re} that do not conform"
    if sampling.k is not None:
        words += f"; quality index at least k = {number_text(sampling.k)}"
    return words


def found_text(sampling: SamplingResult) -> str:
    """What was measured, and what the plan concludes."""
    still_open = sampling.d_high - sampling.d_low
    words = {True: "accepts", False: "does not accept", None: "neither accepts nor rejects"}[sampling.accept]
    return (
        f"{count_text(sampling.measured_n, 'gear')} measured: {sampling.d_low} counted as not conforming, "
        f"{still_open} open; the plan {words}"
    )


def drawn_text(result: LotResult) -> str:
    """How the gears were picked."""
    if result.sorted is not None:
        return "no sample: the whole lot was measured"
    how = {"random": "at random", "systematic": "systematically", "convenience": "for convenience"}
    return how.get(result.drawn, "not stated")


def risk_lines(result: LotResult) -> tuple[str, ...]:
    """Operating characteristic, producer's and consumer's risk; of a whole lot the sort result."""
    sampling = result.sampling
    if result.sorted is not None:
        accepted, rejected = len(result.sorted.accepted), result.sorted.rejected
        named = f": {some_of([clip(serial, 48) for serial in rejected], 12)}" if rejected else ""
        return (
            f"The whole lot was measured: {accepted} accepted, {len(rejected)} rejected{named}; there is no "
            "risk of sampling.",
        )
    if sampling.required_n is not None and sampling.measured_n < sampling.required_n:
        return ("Risks: none are stated, for a sample smaller than the plan asks accepts no lot.",)
    if sampling.ac is None or sampling.p10 is None or sampling.p50 is None or sampling.p95 is None:
        return ("Operating characteristic: not known, for the plan gives no acceptance number.",)
    constant = "" if sampling.k is None else f", k = {number_text(sampling.k)}"
    used = f"{count_text(sampling.measured_n, 'gear')}, acceptance number {sampling.ac}{constant}"
    one_percent = ""
    if sampling.passes_at_one_percent is not None:
        cases = cases_text(sampling.passes_at_one_percent)
        one_percent = f" A process with 1 % nonconforming is accepted in {cases}."
    return (
        f"Operating characteristic of the plan alone ({used}): 95 % acceptance at "
        f"{share_text(sampling.p95)} nonconforming, 50 % at {share_text(sampling.p50)}, 10 % at "
        f"{share_text(sampling.p10)}.{one_percent}",
        *([] if result.risks is None else _risks(result.risks, sampling)),
        *_curves_apart(result),
    )


def _curves_apart(result: LotResult) -> Iterator[str]:
    risks = result.risks
    computed = risks is not None and (risks.producer is not None or risks.consumer is not None)
    if computed and (apart := _apart_words(result.gears)):
        yield f"What is stated with the spread seen counts values alone, not the {apart}s of the drawing."


def _apart_words(gears: Sequence[LotGear]) -> str:
    """What gears are judged by beside values and size, in the singular; empty for nothing."""
    curves, zones = any(gear.limit_curves for gear in gears), any(gear.zones for gear in gears)
    return " and ".join(word for word, there in (("limit curve", curves), ("zone", zones)) if there)


def _risks(risks: DecisionRisks, sampling: SamplingResult) -> Iterator[str]:
    """Producer's and consumer's risk by the plan alone and as measured, which is what is decided by."""
    process = "at the AQL of" if sampling.aql is not None else "with"
    nonconforming = "" if sampling.aql is not None else " nonconforming"
    both = f"as measured here not known, for {risks.unknown_reason}"
    if risks.producer is not None and risks.producer_measuring is not None:
        place = place_text(risks.producer_parameter or "", _flank(risks.producer_flank))
        both = (
            f"as measured here in {cases_text(risks.producer)} (most in {place} with the spread seen: "
            f"{share_text(risks.producer_measuring)} of its good gears are not accepted)"
        )
    yield (
        f"Producer's risk: a process {process} {share_text(risks.good_quality)}{nonconforming} is not "
        f"accepted in {cases_text(risks.producer_plan)} by the plan alone, {both}."
    )
    lot = "a process with" if sampling.lq is None else "a lot with the limiting quality of"
    seen = "" if risks.consumer is None else f"{cases_text(risks.consumer)} with the spread seen, "
    yield (
        f"Consumer's risk: {lot} {share_text(risks.bad_quality)} nonconforming is accepted in "
        f"{cases_text(risks.consumer_plan)} by the plan alone, as measured here in {seen}at most "
        f"{cases_text(risks.consumer_at_most)} (a value just beyond its limit counts as conforming in "
        f"{cases_text(risks.consumer_measuring)})."
    )


def _flank(flank: FlankKey | None) -> Flank | None:
    return None if flank is None or flank == "both" else flank


def sampling_facts(result: LotResult) -> doc.Facts:
    """The sampling plan and its result."""
    sampling = result.sampling
    plan, asked, found = plan_text(sampling), asked_text(sampling), found_text(sampling)
    drawn, rule = drawn_text(result), rule_text(result)
    facts = (("Plan", plan), ("Asks for", asked), ("Found", found), ("Sample drawn", drawn))
    return doc.Facts((*facts, ("Decision rule", rule)))


def rule_text(result: LotResult) -> str:
    """How a value is judged under the measurement uncertainty."""
    rule = result.decision_rule
    if rule.guard is None:
        return f"{rule.rule}: no measurement uncertainty is known, values are compared as they are"
    guard = f"guard {fixed_text(rule.guard, 3)} u = {fixed_text(rule.guard / 2, 3)} U"
    return f"{rule.rule}, {share_text(rule.confidence, 6)} ({guard}); {RULES[rule.rule]}"


# --- gears ---------------------------------------------------------------------------------------


def probability_text(probability: float | None) -> str:
    """Probability of conformity of one gear in percent, rounded away from being proven either way.

    >>> probability_text(0.94999), probability_text(0.999999999), probability_text(0.0)
    ('94.99', '>99.99', '<0.01')
    """
    if probability is None:
        return DASH
    exact = round(100 * probability, 9)
    if exact > 99.99:
        return ">99.99"
    if exact < 0.01:
        return "<0.01"
    hundredths = round(exact * 100, 6)
    return fixed_text((math.floor(hundredths) if exact >= 50 else math.ceil(hundredths)) / 100)


def series_name(key: str, flank: FlankKey | None) -> doc.Text:
    """Symbol of a parameter, with the flank where it has one."""
    if key not in QUANTITIES:
        return doc.plain(place_text(key, _flank(flank)))
    if flank in {None, "both"}:
        return doc.symbol(key)
    return (*doc.symbol(key), doc.Span(f" {flank}", "muted"))


def worst_first(gears: Iterable[LotGear]) -> list[LotGear]:
    """Gears that do not conform first, then open ones, then by probability of conformity."""
    rank = {"does not conform": 0, "not assessed": 1, "not proven": 2, "conforms": 3}

    def place(gear: LotGear) -> tuple[int, float, int]:
        p = gear.probability_of_conformity
        grade = gear.class_indicated
        return rank[gear.state], 2.0 if p is None else p, -(99 if grade is None else grade)

    return sorted(gears, key=place)


def gear_table(result: LotResult, most: int, *, caption: str = "") -> doc.Table:
    """The gears of the sample, worst first, no more than `most`."""
    gears = worst_first(result.gears)
    shown, rest = gears[:most], gears[most:]
    counted = any(gear.counts_as != gear.state for gear in result.gears)
    columns = (
        doc.Column("gear", "left", weight=1), doc.Column("state", "left"),
        *((doc.Column("counts as", "left"),) if counted else ()),
        doc.Column("P %"), doc.Column("P least in", "left"),
        doc.Column("class indicated"), doc.Column("class proven"), doc.Column("master quality", "left"),
    )  # fmt: skip
    rows = []
    for gear in shown:
        least = DASH
        shown_p = probability_text(gear.probability_of_conformity)
        if gear.probability_parameter is not None and shown_p != ">99.99":
            least = doc.plain(series_name(gear.probability_parameter, gear.probability_flank))
        grade = class_text(gear.class_indicated, False, complete=gear.class_complete)
        rows.append(
            (
                clip(measured_name(gear.serial, gear.measurement), 48),
                doc.Cell(gear.state, STATE_STATUS[gear.state]),
                *((gear.counts_as,) if counted else ()),
                shown_p,
                least,
                _indicated(gear, grade),
                class_text(gear.class_proven, False),
                STATE_OF_MASTER_QUALITY[gear.master_quality],
            )
        )
    return doc.Table(caption, columns, tuple(rows), notes=tuple(_gear_notes(shown, rest)))


GEARS_IN_A_ROW = 4


def every_gear_table(result: LotResult, classes: Mapping[str, str]) -> doc.Table:
    """Every measured gear with class and state, some to a row: the sample as measured, then those
    left out, then measurements that do not count.

    `classes` are those of gears that were left out of the sample.
    """
    shown: list[tuple[str, str, str, Status]] = [
        (
            measured_name(gear.serial, gear.measurement),
            _indicated(gear, class_text(gear.class_indicated, False, complete=gear.class_complete)),
            gear.state, STATE_STATUS[gear.state],
        )
        for gear in result.gears
    ]  # fmt: skip
    classes = {**classes, **{repeat.serial: _class_by(repeat.used) for repeat in result.repeats}}
    shown += [
        (one.serial, classes.get(one.serial, DASH), f"{one.state}, {one.how}", STATE_STATUS[one.state])
        for one in result.left_out
    ]
    shown += [
        (
            f"{repeat.serial} ({one.measurement})", _class_by(one), f"{one.state}, not counted",
            STATE_STATUS[one.state],
        )
        for repeat in result.repeats
        for one in repeat.measurements
        if not one.used
    ]  # fmt: skip
    columns: list[doc.Column] = []
    for _ in range(min(GEARS_IN_A_ROW, len(shown))):
        columns += doc.Column("gear", "left"), doc.Column("class"), doc.Column("state", "left", weight=1)
    cells: list[doc.Cell | doc.Text] = []
    for serial, grade, state, status in shown:
        cells += [clip(serial, 48), grade, doc.Cell(state, status)]
    cells += [""] * (-len(cells) % len(columns))
    width = len(columns)
    rows = tuple(tuple(cells[at : at + width]) for at in range(0, len(cells), width))
    return doc.Table("Every gear measured", tuple(columns), rows, dense=True)


def _class_by(one: MeasuredOnce) -> str:
    return class_text(one.class_, one.beyond, complete=one.class_complete)


def classes_of(gears: Iterable[GearResult]) -> dict[str, str]:
    """Class of each gear, by serial."""
    return {gear.serial: class_text(gear.class_, gear.beyond, complete=gear.class_complete) for gear in gears}


def traced_text(gears: Iterable[GearResult]) -> str:
    """How many teeth were traced on each flank, over all gears; empty where none was."""
    counts = {
        len({trace.tooth for trace in gear.traces if (trace.kind, trace.flank) == where})
        for gear in gears
        for where in {(trace.kind, trace.flank) for trace in gear.traces}
    }
    if not counts:
        return ""
    return f"{min(counts)} a flank" if len(counts) == 1 else f"{min(counts)} to {max(counts)} a flank"


def _indicated(gear: LotGear, grade: str) -> str:
    beyond = any(value.class_indicated is None for value in gear.values)
    return "beyond" if gear.class_indicated is None and beyond and gear.values else grade


def _zone_notes(gears: Sequence[LotGear]) -> Iterator[str]:
    outside = [
        f"{clip(gear.serial, 48)}: {place_text(one.parameter, one.flank)} {one.state}, "
        f"{zone_value(one.value_um, limit)} µm of {number_text(limit)}"
        for gear in gears
        for one in gear.zones
        if one.state != "conforms" and (limit := one.upper_limit_um) is not None
    ]
    yield from _named("Zones", outside)
    if any(gear.zones for gear in gears):
        yield "Zones are judged under U of the same deviation of the whole trace, by value without it."


def _named(what: str, entries: Sequence[str]) -> Iterator[str]:
    """Gears of which something is said, the first of many; nothing without any."""
    more = [f"{len(entries) - MOST_MISSING} more"] if len(entries) > MOST_MISSING else []
    if entries:
        yield f"{what}: {'; '.join([*entries[:MOST_MISSING], *more])}"


def _gear_notes(shown: Sequence[LotGear], rest: Sequence[LotGear]) -> Iterator[str]:
    every = [*shown, *rest]
    if any(gear.probability_of_conformity is not None for gear in shown):
        apart = _apart_words(shown).replace(" and ", " or ")
        curves = f" or {apart}" if apart else ""
        yield (
            f"P: probability of conformity of the worst value{curves} of this gear; not of the gear, not of "
            "the lot."
        )
    if rest:
        alike = {gear.state for gear in rest}
        words = f", all of state: {rest[0].state}" if len(alike) == 1 else ""
        yield f"Worst first; {len(rest)} more in the JSON result{words}."
    outside = [
        f"{clip(gear.serial, 48)}: {place_text(f'{one.kind}_curve', one.flank)} {one.state}, margin "
        f"{margin_text(one.margin_um)} µm (tooth {one.tooth})"
        for gear in every
        for one in gear.limit_curves
        if one.state != "conforms"
    ]
    yield from _named("Limit curves", outside)
    if any(gear.limit_curves for gear in every):
        stated = all(one.u_um is not None for gear in every for one in gear.limit_curves)
        rule = "under U of the total deviation" if stated else "by value where U of the total is not stated"
        unstated = "" if stated else "; P does not count those"
        yield f"Limit curves are judged {rule}{unstated}; a pass says nothing about slope or form."
    yield from _zone_notes(every)
    missing = [
        f"{clip(gear.serial, 48)}: {', '.join(place_text(*one.split()) for one in gear.missing)}"
        for gear in every
        if gear.missing
    ]
    yield from _named("Not assessed", missing)
    known = [gear for gear in shown if gear.class_proven is None and gear.class_indicated is not None]
    if known and any(gear.probability_of_conformity is not None for gear in known):
        yield (
            "class proven –: a value is not proven to meet any class, has no stated uncertainty, or a "
            "parameter is missing."
        )


# --- statistics ----------------------------------------------------------------------------------


def all_series(result: LotResult) -> list[Series]:
    """(key, flank, statistics) of every series, in table order."""
    order = [key for key in QUANTITIES if key in result.parameters]
    return [(key, flank, one) for key in order for flank, one in result.parameters[key].items()]


def allowed(key: str, one: ParameterStatistics) -> str:
    """Limits of a series as they are printed everywhere."""
    if one.upper_limit_um is None:
        return DASH
    low = one.lower_limit_um
    if key != SIZE and low is not None and low == -one.upper_limit_um:
        return allowed_text(key, one.upper_limit_um, None)
    if low is None:
        return number_text(one.upper_limit_um)
    return allowed_text(key, None, (low, one.upper_limit_um))


class Footnotes:
    """Reasons under a table, each once, by letter."""

    def __init__(self) -> None:
        self._letters: dict[str, str] = {}

    def mark(self, reason: str) -> str:
        """The cell of something withheld: a dash and the letter of its reason."""
        letter = self._letters.setdefault(reason, chr(ord("a") + len(self._letters) % 26))
        return f"{DASH} ({letter})"

    def lines(self) -> tuple[str, ...]:
        """The reasons with their letters."""
        return tuple(f"({letter}) {reason}." for reason, letter in self._letters.items())


COLUMNS: Final = (
    "", "flank", "n", "mean µm", "mean interval µm", "sd µm", "sd interval µm", "limits µm", "worst µm",
    "U µm", "Ppk lower bound", "Ppk", "tolerance interval µm", "class",
)  # fmt: skip
ONLY_WIDE: Final = frozenset({"mean interval µm", "limits µm", "worst µm", "U µm", "class"})
"""Columns that a narrow console has no room for."""


def statistics_table(result: LotResult, *, wide: bool, dense: bool = False) -> doc.Table:
    """One row per parameter and flank: mean, spread, index with lower bound, tolerance interval.

    With `wide` also what a narrow console has no room for, where there is any of it.
    """
    series, notes = all_series(result), Footnotes()
    rows = [_statistics_row(key, flank, one, notes) for key, flank, one in series]
    order = list(range(len(COLUMNS)))
    if all(one.n >= FEW_GEARS for *_, one in series):
        order[10], order[11] = 11, 10
    order = [
        k for k in order if COLUMNS[k] not in ONLY_WIDE or (wide and any(row[k] != DASH for row in rows))
    ]
    columns = tuple(doc.Column(COLUMNS[k], "left" if k < 2 else "right") for k in order)
    lines = (*statistics_notes(result, wide=wide), *notes.lines())
    return doc.Table("", columns, tuple(tuple(row[k] for k in order) for row in rows), lines, dense=dense)


def _statistics_row(key: str, flank: FlankKey, one: ParameterStatistics, notes: Footnotes) -> tuple[str, ...]:
    signed = quantity_of(key).signed
    star = "*" if one.distribution == "lognormal" else ""
    few = "fewer than 3 gears: no standard deviation"
    if one.sd_interval_um is not None:
        spread = interval_text(one.sd_interval_um, signed=False) + star
    elif one.sd_um is None:
        spread = notes.mark(few)
    elif one.sd_um == 0:
        spread = notes.mark("all values are equal")
    else:
        spread = notes.mark(_no_spread(one))
    bound, index = _index_text(one, one.ppk_lower_bound, notes), _index_text(one, one.ppk, notes)
    if one.tolerance_interval_um is None:
        interval, meets = notes.mark(one.tolerance_interval_withheld_reason or "not stated"), DASH
    else:
        low, high = one.tolerance_interval_um
        interval = (f"≤ {fixed_text(high)}" if low is None else interval_text((low, high))) + star
        beyond = key != SIZE and one.tolerance_interval_class is None
        meets = class_text(one.tolerance_interval_class, beyond)
    return (
        symbol_of(key), "" if flank == "both" else flank, str(one.n),
        DASH if one.mean_um is None else value_text(one.mean_um, signed=signed),
        interval_text(one.mean_interval_um, signed=signed) + (star if one.mean_interval_um else ""),
        notes.mark(few) if one.sd_um is None else value_text(one.sd_um), spread,
        allowed(key, one), DASH if one.worst_um is None else _worst_text(key, one),
        DASH if one.u_um is None else number_text(one.u_um),
        bound, index, interval, meets,
    )  # fmt: skip


def _no_spread(one: ParameterStatistics) -> str:
    """Why a standard deviation has no interval."""
    if one.distribution == "not assumed":
        return "no interval without a distribution"
    if one.interval_model.startswith("no model"):
        return one.interval_model
    return one.ppk_withheld_reason or "too few dress cycles: no bound"


def _worst_text(key: str, one: ParameterStatistics) -> str:
    assert one.worst_um is not None
    limits: tuple[tuple[float, float], ...] = ()
    if one.upper_limit_um is not None:
        low = -math.inf if one.lower_limit_um is None else one.lower_limit_um
        limits = ((low, one.upper_limit_um),)
    return value_text(one.worst_um, signed=quantity_of(key).signed, limits=limits)


def _index_text(one: ParameterStatistics, index: float | None, notes: Footnotes) -> str:
    if index is None:
        return notes.mark(one.ppk_withheld_reason or "no spread, no index")
    # rounded down: an index is never printed better than it is
    down = math.floor(round(index * 100, 6)) / 100
    return fixed_text(down) + ("*" if one.distribution == "lognormal" else "")


def statistics_notes(result: LotResult, *, wide: bool) -> Iterator[str]:
    """How to read the table."""
    series = [one for *_, one in all_series(result) if one.n]
    if not series:
        return
    sure, coverage = share_text(series[0].confidence, 6), share_text(series[0].coverage, 6)
    slopes = any(one.distribution == "normal" for one in series)
    yield (
        f"One value per gear{' (slopes: mean over the traces of the flank)' if slopes else ''}; intervals "
        f"and bounds with {sure} confidence. {sentence(series[0].interval_model)}"
    )
    if (size := result.parameters.get(SIZE)) is not None:
        yield f"Size: from the middle of its limits, {_middle_text(size['both'])} mm."
    if any(one.ppk is not None for one in series):
        yield (
            "Ppk: performance index in the sense of ISO 22514-2, of the sample as it is, smaller side; "
            "slopes from the largest and smallest trace."
        )
    if any(one.distribution == "lognormal" and one.mean_interval_um is not None for one in series):
        yield "* if lognormal."
    yield f"Cpk: not stated; {series[0].cpk_withheld_reason}."
    if any(one.tolerance_interval_um is not None for one in series):
        yield (
            f"Tolerance interval (ISO 16269-6): with {sure} confidence at least {coverage} of the lot lies "
            "within it" + ("; class: the class that it meets." if wide else ".")
        )


def _middle_text(size: ParameterStatistics) -> str:
    return DASH if size.zero_mm is None else size_mm_text(size.zero_mm)


def free_statement(result: LotResult) -> str | None:
    """The statement that needs no distribution, in one sentence."""
    known = [one for *_, one in all_series(result) if one.share_below_worst is not None]
    if not known:
        return None
    least = min(known, key=lambda one: one.share_below_worst or 0.0)
    assert least.share_below_worst is not None
    counted = count_text(least.n, "gear")
    if least.n_cycles is not None and least.interval_model != INDEPENDENT_OF_ONE_CYCLE:
        counted += f" in {count_text(least.n_cycles, 'dress cycle')}"
    return (
        f"Without any distribution, {share_text(least.confidence, 6)} confidence: at least "
        f"{share_text(least.share_below_worst)} of the lot lies within the worst value seen of each "
        f"parameter ({counted})."
    )


# --- master quality, cautions --------------------------------------------------------------------


def master_lines(result: LotResult) -> tuple[str, ...]:
    """Master quality in sample and lot, with the criterion."""
    master = result.master_quality
    is_so, is_not = _master_words(result)
    found = f"{master.proven} {is_so}, {master.refuted} {is_not}"
    if not master.parameters:
        return (f"Master quality: {master.sentence}.",)
    return (
        f"Master quality of this job: class {master.class_} or better in {symbols_text(master.parameters)}; "
        "no standard defines it.",
        f"Master quality in the sample: {MASTER_QUALITY[master.in_sample]}; {found}.",
        f"Master quality in the lot: {master.in_lot}; {master.sentence}.",
    )


def caution_lines(result: LotResult) -> tuple[str, ...]:
    """Cautions and what grading warns of, as sentences."""
    told = (one.message for one in (*result.cautions, *result.warnings))
    return tuple(map(sentence, (*told, *_gear_warnings(result))))


def _gear_warnings(result: LotResult) -> Iterator[str]:
    """What grading warns of about gears, those with the same warning together."""
    by_code: dict[str, dict[str, list[str]]] = {}
    warned = [(measured_name(gear.serial, gear.measurement), gear.warnings) for gear in result.gears]
    warned += [
        (f"{repeat.serial} ({one.measurement})", one.warnings)
        for repeat in result.repeats
        for one in repeat.measurements
        if not one.used
    ]
    for name, notices in warned:
        for notice in notices:
            by_code.setdefault(notice.code, {}).setdefault(notice.message, []).append(name)
    for messages in by_code.values():
        shown = list(messages.items())[:WARNINGS_OF_A_KIND]
        for message, serials in shown:
            yield f"{message} ({some_of([clip(serial, 48) for serial in serials], 8)})"
        if more := len(messages) - len(shown):
            yield f"and {count_text(more, 'more such warning')} in the JSON result"


def note_lines(result: LotResult, *, without: Sequence[str] = ()) -> tuple[str, ...]:
    """What is true of the method, as sentences, without those that every output has among its cautions."""
    left_out = {*CAUTION_CODES, *without}
    return tuple(sentence(one.message) for one in result.notes if one.code not in left_out)


def repeat_text(repeat: Repeat) -> str:
    """All measurements of a gear, which one counts, and who says why."""
    states = ", ".join(f"{clip(one.measurement, 48)}: {one.state}" for one in repeat.measurements)
    why = (
        f"; reason: {clip(repeat.reason, 400)}; by {clip(repeat.by)}"
        if repeat.reason
        else ": it is the first one"
    )
    return (
        f"Measured {len(repeat.measurements)} times: {clip(repeat.serial, 48)} ({states}). Measurement "
        f"{clip(repeat.use, 48)} counts{why}."
    )


def segregation_lines(result: LotResult) -> tuple[str, ...]:
    """Which gears are taken out or measured again, exclusions with their reasons, restrictions."""

    def named(serials: Iterable[str]) -> str:
        return ", ".join(clip(serial, 48) for serial in serials)

    lines = []
    if result.segregate:
        where = f", to: {clip(result.segregated_to)}" if result.segregated_to else "; where to: not stated"
        lines.append(f"Take out: {named(result.segregate)}{where}.")
    if result.remeasure:
        lines.append(f"Measure again: {named(result.remeasure)}.")
    lines += map(repeat_text, result.repeats)
    drawn = {gear.serial for gear in result.gears}
    lines += [
        f"{one.how.capitalize()}: {clip(one.serial, 48)}, {one.state}; reason: {one.reason}"
        for one in result.left_out
        if one.how != "unselected"
    ]
    if result.options.restricted_to:
        lines.append(f"Restricted to: {named(result.options.restricted_to)}.")
    for state in STATE_STATUS:
        others = [one.serial for one in result.left_out if (one.how, one.state) == ("unselected", state)]
        if others:
            lines.append(f"Measured besides, {state}: {some_of([clip(one, 48) for one in others], 12)}.")
    lines += [
        f"Sorted out, stays counted: {clip(one.serial, 48)}; {clip(one.reason, 400)}."
        for one in result.sorted_out
        if one.serial in drawn
    ]
    return tuple(lines)
