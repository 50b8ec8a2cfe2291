"""What a reader of the comparison must know, and why it came out as it did."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from gearqa.errors import Notice
from gearqa.incoming.editions import ISO_1328_1_1995, Edition, edition_named, states_edition
from gearqa.incoming.words import (
    COMPARISON_REASONS,
    SAME_GEARS_REASONS,
    explanation_sentence,
)
from gearqa.model.incoming import Basis, IncomingReason, IncomingResult, ReportedValue, Row
from gearqa.model.part import ISO_1328_1_2013
from gearqa.symbols import PARAMETERS

SERIALS_TOLD: Final = 6
FEW_CLAIMS: Final = 6
"""Fewer claims than this tell no edition."""
MUCH_LARGER: Final = 3.0


def reasons_of(result: IncomingResult) -> tuple[IncomingReason, ...]:
    """Why the comparison came out as it did, most important first."""
    return tuple(IncomingReason(code, sentence) for code, sentence in _reasons(result))


def _reasons(result: IncomingResult) -> Iterator[tuple[str, str]]:
    for side, lot in result.lots.items():
        for reason in lot.reasons:
            if reason.decides:
                whose = "our values" if side == "ours" else "the reported values"
                yield f"lot_{side}_{reason.code}", f"lot, on {whose}: {reason.sentence}"
    refused = [row for row in result.rows if row.claim == "not confirmed"]
    if refused:
        yield (
            "claims_not_confirmed",
            f"{_count(len(refused), 'claimed class', 'claimed classes')} not confirmed: {_places(refused)}",
        )
    unproven = [row for row in result.rows if row.claim == "not proven"]
    if unproven:
        yield (
            "claims_not_proven",
            f"{_count(len(unproven), 'claimed class', 'claimed classes')} not proven: our uncertainty leaves "
            "them open",
        )
    if result.contradicted:
        yield (
            "claims_contradicted",
            f"{_count(len(result.contradicted), 'claimed class', 'claimed classes')} better than the "
            f"reported value itself meets: {_places(result.contradicted)}",
        )
    if result.explanation.explained is not None:
        code = "difference_explained" if result.explanation.explained else "difference_not_explained"
        yield code, explanation_sentence(result.explanation)
    if result.en_exceeded:
        yield (
            "en_exceeded",
            f"{_count(len(result.en_exceeded), 'value')} differ by more than both uncertainties allow: "
            f"{_places(result.en_exceeded)}",
        )
    if result.same_gears is not None:
        yield (
            "same_gears" if result.same_gears else "not_the_same_gears",
            SAME_GEARS_REASONS[result.same_gears_reason],
        )
    if result.unmatched:
        named = ", ".join(
            f"{u.serial}" + (f" (nearest: {u.nearest})" if u.nearest else "")
            for u in result.unmatched[:SERIALS_TOLD]
        )
        more = (
            f" and {len(result.unmatched) - SERIALS_TOLD} more"
            if len(result.unmatched) > SERIALS_TOLD
            else ""
        )
        yield "serials_not_found", f"not measured by us under these serials: {named}{more}"
    yield f"comparison_{result.comparison_reason}", COMPARISON_REASONS[result.comparison_reason]


def cautions_of(
    result: IncomingResult,
    values: Sequence[ReportedValue],
    bases: Mapping[str, Basis],
    editions: Mapping[str, Edition],
) -> tuple[Notice, ...]:
    """Cautions that stand in every report of this comparison."""
    return tuple(Notice(code, message) for code, message in _cautions(result, values, bases, editions))


def _cautions(
    result: IncomingResult,
    values: Sequence[ReportedValue],
    bases: Mapping[str, Basis],
    editions: Mapping[str, Edition],
) -> Iterator[tuple[str, str]]:
    if not result.measured:
        yield "not_measured_by_us", "not measured by us: no claim is confirmed or refused"
    unsigned = [key for key in PARAMETERS if any(r.by_magnitude and r.parameter == key for r in result.rows)]
    if unsigned:
        symbols = ", ".join(PARAMETERS[key].symbol for key in unsigned)
        yield (
            "compared_by_magnitude",
            f"{symbols}: reported without sign (or with the opposite one throughout), compared by magnitude",
        )
    for basis, words in (("mean", "the mean over"), ("worst", "the worst of")):
        told = [PARAMETERS[key].symbol for key, one in bases.items() if one == basis]
        if told:
            yield (
                f"basis_{basis}",
                f"{', '.join(told)}: no basis is stated; {words} the traces of a flank fits",
            )
    turned = next((row for row in result.rows if row.claim_flank not in (None, row.flank)), None)
    if turned is not None:
        yield (
            "claims_on_the_other_flank",
            f"claims are judged on the flank that was meant: {turned.flank} of theirs is "
            f"{turned.claim_flank} of ours",
        )
    if any(row.basis == "mean" and row.claim not in ("none",) for row in result.rows):
        yield "claims_judged_by_worst", "claims are judged by our worst trace, also where a mean was reported"
    yield from _standards(result, values)
    yield from _own_values(result, editions)
    if result.explanation.few_values and result.explanation.rms_before_um is not None:
        yield (
            "few_values",
            f"{_count(result.explanation.n, 'value')} to explain: chance alone halves the difference of 4 "
            "values in 44 % of cases, of 12 in 0.03 %",
        )
    large = [
        row for row in result.rows
        if row.u_reported_um is not None and row.u_found_um is not None
        and row.u_reported_um > MUCH_LARGER * row.u_found_um
    ]  # fmt: skip
    if large:
        yield (
            "large_uncertainty",
            f"{_count(len(large), 'value')} with a stated uncertainty over {MUCH_LARGER:g} times ours: a "
            " large uncertainty makes every En number look good",
        )
    some = [
        (key, place)
        for key, places in result.agreement.items()
        for place, one in places.items()
        if one.outliers
    ]
    if some:
        named = ", ".join(f"{PARAMETERS[key].symbol} {place}".replace(" both", "") for key, place in some)
        yield "outliers", f"one gear's difference stands apart from the others': {named}"
    if result.same_gears is False:
        yield "not_the_same_gears", "differences of unlike gears say nothing about the measurement"


def _standards(result: IncomingResult, values: Sequence[ReportedValue]) -> Iterator[tuple[str, str]]:
    claimed = [value for value in values if value.class_text]
    silent = [value for value in claimed if not states_edition(value.standard)]
    if silent and edition_named(silent[0].standard) is not None:
        yield (
            "standard_not_stated",
            f"{_count(len(silent), 'claim')} without an edition of the standard: judged by {result.standard}",
        )
    others = sorted({row.standard_claimed or "" for row in result.rows if row.claim_reason == "other_system"})
    if others:
        yield (
            "other_system",
            f"classes of another system ({', '.join(others)}) are not compared with {result.standard}",
        )
    words = sorted({row.class_text for row in result.rows if row.claim_reason == "claim_in_words"})
    if words:
        more = f" and {len(words) - SERIALS_TOLD} more" if len(words) > SERIALS_TOLD else ""
        yield (
            "claim_in_words",
            f"classes whose system is not known ({', '.join(words[:SERIALS_TOLD])}{more}) are not compared "
            f"with {result.standard}: name it in the column standard",
        )
    if any(row.standard_claimed == ISO_1328_1_1995 and row.class_text for row in result.rows):
        yield (
            "older_edition",
            f"classes of {ISO_1328_1_1995} are judged by the tolerances of that edition (from memory), "
            "slopes over the evaluation range; the numbers are not compared with those of 2013",
        )


def _own_values(result: IncomingResult, editions: Mapping[str, Edition]) -> Iterator[tuple[str, str]]:
    """Whether claims follow from the supplier's own values."""
    rows = [
        row for row in result.rows
        if row.class_claimed is not None and (edition := editions.get(row.standard_claimed or ""))
        and row.parameter in edition.tolerances
    ]  # fmt: skip
    optimistic = [row for row in rows if row.contradicts_itself]
    if optimistic:
        yield (
            "claim_beyond_own_value",
            f"{_count(len(optimistic), 'claimed class', 'claimed classes')} better than the reported value "
            f"itself meets: {_places(optimistic)}",
        )
        by_rounding = [row for row in optimistic if _meets_rounded(row, editions)]
        if by_rounding:
            yield (
                "rounded_before_grading",
                f"{len(by_rounding)} of them would follow if the value were rounded to whole micrometres "
                "before grading; a value is graded as it is",
            )
    judged = [row for row in rows if row.standard_claimed == ISO_1328_1_2013]
    older = editions.get(ISO_1328_1_1995)
    if older is None or len(judged) < FEW_CLAIMS:
        return
    newer = sum(row.class_reported == row.class_claimed for row in judged)
    fits_older = sum(older.class_of(row.parameter, row.reported_um) == row.class_claimed for row in judged)
    if fits_older > newer:
        yield (
            "classes_of_older_edition",
            f"{fits_older} of {len(judged)} claimed classes follow from the reported values by "
            f"{ISO_1328_1_1995}, {newer} by {ISO_1328_1_2013}: ask which edition was used",
        )


def _meets_rounded(row: Row, editions: Mapping[str, Edition]) -> bool:
    edition = editions[row.standard_claimed or ""]
    rounded = float(int(abs(row.reported_um) + 0.5))
    found = edition.class_of(row.parameter, rounded)
    return found is not None and found <= (row.class_claimed or 0)


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def _places(rows: Sequence[Row]) -> str:
    """Parameters, flanks and serials of some rows."""
    named = [
        " ".join(filter(None, (row.serial, PARAMETERS[row.parameter].symbol, row.flank or "")))
        for row in rows[:SERIALS_TOLD]
    ]
    more = f" and {len(rows) - SERIALS_TOLD} more" if len(rows) > SERIALS_TOLD else ""
    return ", ".join(named) + more
