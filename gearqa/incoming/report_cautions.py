"""What a reader of a comparison must know."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from gearqa.errors import Notice, NoticeCode
from gearqa.incoming.compare import ReportComparison
from gearqa.incoming.editions import ISO_1328_1_1995, Edition, edition_named, states_edition
from gearqa.incoming.reasons import MOST_NAMED, better_than_own_value
from gearqa.model.incoming import ComparedValue, IncomingResult, ReportedValue, flank_of
from gearqa.model.part import ISO_1328_1_2013
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import count_text, short_text
from gearqa.wording.sentences import place_text, some_of, symbols_text

FEW_CLAIMS: Final = 6
"""Fewer claims than this do not show which edition was used."""
MUCH_LARGER: Final = 3.0
BASIS_WORDS: Final = {"mean": "the mean over", "worst": "the worst of"}


def cautions_of(
    result: IncomingResult, comparison: ReportComparison, editions: Mapping[str, Edition]
) -> Iterator[Notice]:
    """Cautions for every report of this comparison."""
    rows = result.rows
    if comparison.follows_from_theirs and result.measured:
        yield Notice(
            NoticeCode.REPORT_FOLLOWS_FROM_THEIR_TRACES,
            "the report follows from the supplier's own traces, evaluated as the drawing says: what differs "
            "is the measurement, or how flanks and teeth are named",
        )
    if not result.measured:
        yield Notice(NoticeCode.NOT_MEASURED_BY_US, "not measured by us: no claim is confirmed or refused")
    yield from _how_compared(rows, comparison.explained.bases)
    yield from _standards(rows, comparison.sides.values, result.standard)
    yield from _own_values(rows, editions)
    explanation = result.explanation
    if explanation.few_values and explanation.rms_before_um is not None:
        yield Notice(
            NoticeCode.FEW_VALUES,
            f"{count_text(explanation.n, 'value')} to explain: chance alone halves the difference of 4 "
            "values in 44 % of cases, of 12 in 0.03 %",
        )
    large = sum(
        row.u_reported_um is not None
        and row.u_found_um is not None
        and row.u_reported_um > MUCH_LARGER * row.u_found_um
        for row in rows
    )
    if large:
        yield Notice(
            NoticeCode.LARGE_UNCERTAINTY,
            f"{count_text(large, 'value')} with a stated uncertainty over {short_text(MUCH_LARGER)} times "
            "ours: a large uncertainty makes every En number look good",
        )
    outliers = [
        place_text(key, flank_of(place))
        for key, places in result.agreement.items()
        for place, one in places.items()
        if one.outliers
    ]
    if outliers:
        yield Notice(
            NoticeCode.OUTLIERS,
            f"the difference of one gear lies far from those of the others: {', '.join(outliers)}",
        )
    if result.same_gears is False:
        yield Notice(
            NoticeCode.NOT_THE_SAME_GEARS, "differences of unlike gears say nothing about the measurement"
        )


def _how_compared(rows: Sequence[ComparedValue], bases: Mapping[str, str]) -> Iterator[Notice]:
    """Signs, basis and flank under which values were compared and claims judged."""
    unsigned = [key for key in PARAMETERS if any(r.by_magnitude and r.parameter == key for r in rows)]
    if unsigned:
        yield Notice(
            NoticeCode.COMPARED_BY_MAGNITUDE,
            f"{symbols_text(unsigned)}: reported without sign (or with the opposite one throughout), "
            "compared by magnitude",
        )
    for basis, words in BASIS_WORDS.items():
        fitting = [key for key, one in bases.items() if one == basis]
        if fitting:
            yield Notice(
                NoticeCode(f"basis_{basis}"),
                f"{symbols_text(fitting)}: no basis is stated; {words} the traces of a flank fits",
            )
    turned = next((row for row in rows if row.claim_flank not in (None, row.flank)), None)
    if turned is not None:
        yield Notice(
            NoticeCode.CLAIMS_ON_THE_OTHER_FLANK,
            f"claims are judged on the flank that was meant: {turned.flank} of theirs is "
            f"{turned.claim_flank} of ours",
        )
    if any(row.basis == "mean" and row.claim != "none" for row in rows):
        yield Notice(
            NoticeCode.CLAIMS_JUDGED_BY_WORST,
            "claims are judged by our worst trace, also where a mean was reported",
        )


def _standards(
    rows: Sequence[ComparedValue], values: Sequence[ReportedValue], standard: str
) -> Iterator[Notice]:
    claimed = [value for value in values if value.class_text]
    silent = [value for value in claimed if not states_edition(value.standard)]
    if silent and edition_named(silent[0].standard) is not None:
        yield Notice(
            NoticeCode.STANDARD_NOT_STATED,
            f"{count_text(len(silent), 'claim')} without an edition of the standard: judged by {standard}",
        )
    others = sorted({row.standard_claimed or "" for row in rows if row.claim_reason == "other_system"})
    if others:
        yield Notice(
            NoticeCode.OTHER_SYSTEM,
            f"classes of another system ({', '.join(others)}) are not compared with {standard}",
        )
    words = sorted({row.class_text for row in rows if row.claim_reason == "claim_in_words"})
    if words:
        yield Notice(
            NoticeCode.CLAIM_IN_WORDS,
            f"classes whose system is not known ({some_of(words, MOST_NAMED)}) are not compared with "
            f"{standard}: name it in the column standard",
        )
    if any(row.standard_claimed == ISO_1328_1_1995 and row.class_text for row in rows):
        yield Notice(
            NoticeCode.OLDER_EDITION,
            f"classes of {ISO_1328_1_1995} are judged by the tolerances of that edition (from memory), "
            "slopes over the evaluation range; the numbers are not compared with those of 2013",
        )


def _own_values(rows: Sequence[ComparedValue], editions: Mapping[str, Edition]) -> Iterator[Notice]:
    """Whether claims follow from the supplier's own values."""
    claimed = [
        (row, row.class_claimed, edition)
        for row in rows
        if row.class_claimed is not None
        and (edition := editions.get(row.standard_claimed or ""))
        and row.parameter in edition.tolerances
    ]
    optimistic = [(row, class_, edition) for row, class_, edition in claimed if row.contradicts_itself]
    if optimistic:
        yield Notice(
            NoticeCode.CLAIM_BEYOND_OWN_VALUE, better_than_own_value([row for row, _, _ in optimistic])
        )
        by_rounding = sum(_meets_rounded(row, class_, edition) for row, class_, edition in optimistic)
        if by_rounding:
            yield Notice(
                NoticeCode.ROUNDED_BEFORE_GRADING,
                f"{by_rounding} of these classes would follow if the value were rounded to whole micrometres "
                "before grading; a value is graded as it is",
            )
    judged = [(row, class_) for row, class_, _ in claimed if row.standard_claimed == ISO_1328_1_2013]
    older = editions.get(ISO_1328_1_1995)
    if older is None or len(judged) < FEW_CLAIMS:
        return
    newer = sum(row.class_reported == class_ for row, class_ in judged)
    fits_older = sum(older.class_of(row.parameter, row.reported_um) == class_ for row, class_ in judged)
    if fits_older > newer:
        yield Notice(
            NoticeCode.CLASSES_OF_OLDER_EDITION,
            f"{fits_older} of {len(judged)} claimed classes follow from the reported values by "
            f"{ISO_1328_1_1995}, {newer} by {ISO_1328_1_2013}: ask which edition was used",
        )


def _meets_rounded(row: ComparedValue, class_: int, edition: Edition) -> bool:
    found = edition.class_of(row.parameter, float(int(abs(row.reported_um) + 0.5)))
    return found is not None and found <= class_
