"""What a reader of a comparison must know."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.criteria import Criteria, criteria_of
from gearqa.incoming.compare import ReportComparison
from gearqa.incoming.editions import Edition, edition_claimed, states_edition
from gearqa.incoming.reasons import MOST_NAMED, better_than_own_value
from gearqa.model.editions import ISO_1328_1_1995, ISO_1328_1_2013
from gearqa.model.incoming import Basis, ComparedValue, IncomingResult, ReportedValue, flank_of
from gearqa.symbols import PARAMETERS
from gearqa.wording.numbers import count_text, short_text
from gearqa.wording.sentences import place_text, some_of, symbols_text
from gearqa.wording.visible import LONGEST_IN_SENTENCE, clip

FEW_CLAIMS: Final = 6
"""Fewer claims than this do not show which edition was used."""
MUCH_LARGER: Final = 3.0
_SENTENCES: Final[Mapping[NoticeCode, str]] = {
    NoticeCode.REPORT_FOLLOWS_FROM_THEIR_TRACES: "the report follows from the supplier's own traces, "
    "evaluated as the drawing says: what differs is the measurement, or how flanks and teeth are named",
    NoticeCode.CALIBRATION_OVERDUE: "we measured after the calibration of the instrument was due: {serials}",
    NoticeCode.NOT_MEASURED_BY_US: "not measured by us: no claim is confirmed or refused",
    NoticeCode.SERIALS_BY_NUMBER: "serials were matched by the number at their end ({theirs} is {ours}): the "
    "values follow that order; write our serials into the column our_serial",
    NoticeCode.FEW_VALUES: "{values} to explain: chance alone halves the difference of 4 values in 44 % "
    "of cases, of 12 in 0.03 %",
    NoticeCode.LARGE_UNCERTAINTY: f"{{values}} with a stated uncertainty over {short_text(MUCH_LARGER)} "
    "times ours: a large uncertainty makes every En number look good",
    NoticeCode.OUTLIERS: "the difference of one gear lies far from those of the others: {places}",
    NoticeCode.NOT_THE_SAME_GEARS: "differences of unlike gears say nothing about the measurement",
    NoticeCode.COMPARED_BY_MAGNITUDE: "{symbols}: reported without sign (or with the opposite one "
    "throughout), compared by magnitude",
    NoticeCode.VALUES_NOT_REPORTED: "the drawing asks for values that the report does not give: {missing}; "
    "no class claimed for a gear covers them",
    NoticeCode.BASIS_MEAN: "{symbols}: no basis is stated; the mean over the traces of a flank fits",
    NoticeCode.BASIS_WORST: "{symbols}: no basis is stated; the worst of the traces of a flank fits",
    NoticeCode.CLAIMS_ON_THE_OTHER_FLANK: "claims are judged on the flank that was meant: {theirs} of theirs "
    "is {ours} of ours",
    NoticeCode.CLAIMS_JUDGED_BY_WORST: "claims are judged by our worst trace, also where a mean was reported",
    NoticeCode.STANDARD_NOT_STATED: "{claims} without an edition of the standard: judged by {standard}",
    NoticeCode.OTHER_SYSTEM: "classes of another system ({systems}) are not compared with {standard}",
    NoticeCode.CLAIM_IN_WORDS: "classes whose system is not known ({words}) are not compared with {standard}"
    ": name it in the column standard",
    NoticeCode.OTHER_EDITION: "classes of {title} are judged by its own tolerances, slopes over the {span}; "
    "the numbers are not compared with those of {standard}",
    NoticeCode.NO_TOLERANCE: "{title}, as far as it is known here, has no tolerance of {symbols}: these "
    "claims are not judged",
    NoticeCode.ROUNDED_BEFORE_GRADING: "{number} of these classes would follow if the value were rounded to "
    "whole micrometres before grading; a value is graded as it is",
    NoticeCode.CLASSES_OF_OLDER_EDITION: "{older} of {claims} claimed classes follow from the reported "
    f"values by {ISO_1328_1_1995}, {{newer}} by {ISO_1328_1_2013}: ask which edition was used",
}


def _caution(code: NoticeCode, **facts: object) -> Notice:
    return Notice(code, _SENTENCES[code].format(**facts))


def cautions_of(
    result: IncomingResult, comparison: ReportComparison, editions: Mapping[str, Edition]
) -> Iterator[Notice]:
    """Cautions for every report of this comparison."""
    rows, explanation = result.rows, result.explanation
    if comparison.follows_from_theirs and result.measured:
        yield _caution(NoticeCode.REPORT_FOLLOWS_FROM_THEIR_TRACES)
    if not result.measured:
        yield _caution(NoticeCode.NOT_MEASURED_BY_US)
    ours = comparison.sides.ours
    late = [
        one.serial
        for one in (ours.results if ours else ())
        if one.production and one.production.calibration_overdue
    ]
    if late:
        yield _caution(NoticeCode.CALIBRATION_OVERDUE, serials=some_of(late, MOST_NAMED))
    if comparison.sides.by_number:
        their_serial, our_serial = next(iter(comparison.sides.partner.items()))
        yield _caution(NoticeCode.SERIALS_BY_NUMBER, theirs=their_serial, ours=our_serial)
    missing = _not_reported(comparison.sides.values, criteria_of(comparison.sides.part))
    if missing:
        yield _caution(NoticeCode.VALUES_NOT_REPORTED, missing=", ".join(missing))
    yield from _how_compared(rows, comparison.explained.bases)
    yield from _standards(rows, comparison.sides.values, result.standard, editions)
    yield from _own_values(rows, editions)
    if explanation.few_values and explanation.rms_before_um is not None:
        yield _caution(NoticeCode.FEW_VALUES, values=count_text(explanation.n, "value"))
    both = [(row.u_reported_um, row.u_found_um) for row in rows]
    large = sum(u is not None and ours is not None and u > MUCH_LARGER * ours for u, ours in both)
    if large:
        yield _caution(NoticeCode.LARGE_UNCERTAINTY, values=count_text(large, "value"))
    outliers = [
        place_text(key, flank_of(place))
        for key, places in result.agreement.items()
        for place, one in places.items()
        if one.outliers
    ]
    if outliers:
        yield _caution(NoticeCode.OUTLIERS, places=", ".join(outliers))
    if result.same_gears is False:
        yield _caution(NoticeCode.NOT_THE_SAME_GEARS)


def _not_reported(values: Sequence[ReportedValue], criteria: Criteria) -> list[str]:
    """Values of reported gears that count for conformity and are not there, each with the gears."""
    given = {(value.serial, value.parameter, value.flank) for value in values}
    given |= {(serial, key, None) for serial, key, _ in given if not PARAMETERS[key].per_flank}
    serials = tuple(dict.fromkeys(value.serial for value in values))
    found = []
    for key, places in criteria.places.items():
        lacking: dict[tuple[str, ...], list[str | None]] = {}
        for flank, one in places:
            without = tuple(s for s in serials if not given & {(s, key, flank), (s, key, None)})
            if one.required and without:
                lacking.setdefault(without, []).append(flank)
        for without, flanks in lacking.items():
            names = ", ".join(clip(serial, LONGEST_IN_SENTENCE) for serial in without[:MOST_NAMED])
            gears = count_text(len(without), "gear") if len(without) > MOST_NAMED else names
            found.append(f"{place_text(key, flanks[0] if len(flanks) == 1 else None)} of {gears}")
    return found


def _how_compared(rows: Sequence[ComparedValue], bases: Mapping[str, Basis]) -> Iterator[Notice]:
    """Signs, basis and flank under which values were compared and claims judged."""
    unsigned = {row.parameter for row in rows if row.by_magnitude}
    if unsigned:
        symbols = symbols_text(key for key in PARAMETERS if key in unsigned)
        yield _caution(NoticeCode.COMPARED_BY_MAGNITUDE, symbols=symbols)
    for basis in ("mean", "worst"):
        fitting = [key for key, one in bases.items() if one == basis]
        if fitting:
            yield _caution(NoticeCode(f"basis_{basis}"), symbols=symbols_text(fitting))
    turned = next((row for row in rows if row.claim_flank not in (None, row.flank)), None)
    if turned is not None:
        code = NoticeCode.CLAIMS_ON_THE_OTHER_FLANK
        yield _caution(code, theirs=turned.flank, ours=turned.claim_flank)
    if any(row.basis == "mean" and row.claim != "none" for row in rows):
        yield _caution(NoticeCode.CLAIMS_JUDGED_BY_WORST)


def _standards(
    rows: Sequence[ComparedValue],
    values: Sequence[ReportedValue],
    standard: str,
    editions: Mapping[str, Edition],
) -> Iterator[Notice]:
    drawing = next(iter(editions))
    silent = Counter(
        title
        for value in values
        if value.class_text
        and not states_edition(value.standard)
        and (title := edition_claimed(value.standard, editions)) is not None
    )
    for title, number in silent.items():
        judged_by = standard if title == drawing else title
        claims = count_text(number, "claim")
        yield _caution(NoticeCode.STANDARD_NOT_STATED, claims=claims, standard=judged_by)
    others = sorted({row.standard_claimed or "" for row in rows if row.claim_reason == "other_system"})
    if others:
        yield _caution(NoticeCode.OTHER_SYSTEM, systems=", ".join(others), standard=standard)
    words = sorted({row.class_text for row in rows if row.claim_reason == "claim_in_words"})
    if words:
        yield _caution(NoticeCode.CLAIM_IN_WORDS, words=some_of(words, MOST_NAMED), standard=standard)
    for title, edition in editions.items():
        claimed = [row for row in rows if row.class_text and row.standard_claimed == title]
        if claimed and title != drawing:
            span = "full span" if edition.slope_span == "full" else "evaluation range"
            yield _caution(NoticeCode.OTHER_EDITION, title=title, span=span, standard=standard)
        lacking = {row.parameter for row in claimed if row.claim_reason == "no_tolerance"}
        if lacking:
            symbols = symbols_text(key for key in PARAMETERS if key in lacking)
            yield _caution(NoticeCode.NO_TOLERANCE, title=title, symbols=symbols)


def _own_values(rows: Sequence[ComparedValue], editions: Mapping[str, Edition]) -> Iterator[Notice]:
    """Whether claims follow from the supplier's own values."""
    claimed = [
        (row, row.class_claimed, edition)
        for row in rows
        if row.class_claimed is not None
        and (edition := editions.get(row.standard_claimed or ""))
        and row.parameter in edition.rows
    ]
    optimistic = [claim for claim in claimed if claim[0].contradicts_itself]
    if optimistic:
        refused = better_than_own_value([row for row, _, _ in optimistic])
        yield Notice(NoticeCode.CLAIM_BEYOND_OWN_VALUE, refused)
        if by_rounding := sum(_meets_rounded(*claim) for claim in optimistic):
            yield _caution(NoticeCode.ROUNDED_BEFORE_GRADING, number=by_rounding)
    judged = [(row, class_) for row, class_, _ in claimed if row.standard_claimed == ISO_1328_1_2013]
    older = editions.get(ISO_1328_1_1995)
    if older is None or len(judged) < FEW_CLAIMS:
        return
    newer = sum(row.class_reported == class_ for row, class_ in judged)
    fits_older = sum(older.class_of(row.parameter, row.reported_um) == class_ for row, class_ in judged)
    if fits_older > newer:
        code = NoticeCode.CLASSES_OF_OLDER_EDITION
        yield _caution(code, older=fits_older, claims=len(judged), newer=newer)


def _meets_rounded(row: ComparedValue, class_: int, edition: Edition) -> bool:
    found = edition.class_of(row.parameter, float(int(abs(row.reported_um) + 0.5)))
    return found is not None and found <= class_
