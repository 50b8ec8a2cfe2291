"""Why a comparison came out as it did: a stable code and a sentence each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from gearqa.model.incoming import ComparedValue, ExplanationResult, IncomingReason, IncomingResult
from gearqa.wording.numbers import count_text, fixed_text, short_text, um_text
from gearqa.wording.sentences import place_text, some_of
from gearqa.wording.visible import LONGEST_IN_SENTENCE, clip

MOST_NAMED: Final = 6
"""Gears and values that a sentence names."""

NOT_EXPLAINED: Final[Mapping[str, str]] = {
    "nothing_fits": "no change of settings, and no pair of changes, reproduces the reported values",
    "too_few_values": "too few values to tell a cause from chance",
    "several_fit_alike": "several changes of settings fit alike; the figures do not tell which one it is",
    "partly_explained": "of what else differs, several changes of settings fit alike",
}
NOT_COMPARED: Final[Mapping[str, str]] = {
    "nothing_measured": "these gears were not measured by us",
    "nothing_in_common": "no reported value was measured by us under its serial and place",
    "no_uncertainty": "neither an uncertainty nor a tolerance is known for any value",
    "not_the_same_gears": "the raw data are not of the same gears",
}
COMPARISON_REASONS: Final[Mapping[str, str]] = {
    "nothing_measured": "not measured by us: everything rests on the reported values",
    "their_data_only": "the supplier's own traces were evaluated again",
    "identical_curves": "both sides hold the very same numbers",
    "agrees_to_the_digit": "values agree to the last digit, closer than a measurement repeats",
    "values_differ": "two measurements of the same gears",
}
SAME_GEARS_REASONS: Final[Mapping[str, str]] = {
    "curves_alike": "the pitch curves lie over each other, tooth by tooth, and over no other gear's",
    "identical_data": "the raw data are the same numbers",
    "curves_unlike": "the pitch curves fit no better than those of any other gear",
    "serials_mixed_up": "the curves of a gear fit another serial of ours: serials are mixed up",
}


def reasons_of(result: IncomingResult) -> Iterator[IncomingReason]:
    """Reasons of the whole, the most important first."""
    yield IncomingReason(f"verdict_{result.verdict_reason}", verdict_sentence(result))
    for side, lot in result.lots.items():
        whose = "our values" if side == "ours" else "the reported values"
        for reason in lot.reasons:
            if reason.decides:
                yield IncomingReason(f"lot_{side}_{reason.code}", f"lot, on {whose}: {reason.sentence}")
    yield from _claims(result)
    explanation = result.explanation
    if explanation.explained is not None:
        code = "difference_explained" if explanation.explained else "difference_not_explained"
        yield IncomingReason(code, explanation_sentence(explanation))
    if result.en_exceeded:
        differ = "differs" if len(result.en_exceeded) == 1 else "differ"
        values = f"{count_text(len(result.en_exceeded), 'value')} {differ}"
        named = values_named(result.en_exceeded)
        yield IncomingReason("en_exceeded", f"{values} by more than both uncertainties allow: {named}")
    if result.same_gears is not None:
        code = "same_gears" if result.same_gears else "not_the_same_gears"
        yield IncomingReason(code, SAME_GEARS_REASONS[result.same_gears_reason])
    if result.unmatched:
        serials = [(one.serial, one.nearest) for one in result.unmatched]
        near = [f"{serial} (nearest: {other})" if other else serial for serial, other in serials]
        named = some_of(near, MOST_NAMED)
        yield IncomingReason("serials_not_found", f"not measured by us under these serials: {named}")
    kind = result.comparison_reason
    yield IncomingReason(f"comparison_{kind}", COMPARISON_REASONS[kind])


def _claims(result: IncomingResult) -> Iterator[IncomingReason]:
    refused = [row for row in result.rows if row.claim == "not confirmed"]
    if refused:
        sentence = f"{claims_text(len(refused))} not confirmed: {values_named(refused)}"
        yield IncomingReason("claims_not_confirmed", sentence)
    unproven = result.claims["not proven"]
    if unproven:
        them = "it" if unproven == 1 else "them"
        sentence = f"{claims_text(unproven)} not proven: our uncertainty leaves {them} open"
        yield IncomingReason("claims_not_proven", sentence)
    if result.contradicted:
        yield IncomingReason("claims_contradicted", better_than_own_value(result.contradicted))


def verdict_sentence(result: IncomingResult) -> str:
    """The verdict on the figures, with the numbers that it rests on."""
    if not result.values_judged:
        return NOT_COMPARED[result.verdict_reason]
    n, beyond, allowed = result.values_judged, result.values_beyond, result.values_beyond_allowed
    text = f"{beyond} of {count_text(n, 'value')} {'differs' if beyond == 1 else 'differ'} by more than both "
    text += "uncertainties allow"
    if beyond:
        text += f"; {allowed} may, of so many"
    far = max(result.rows, key=lambda row: row.share_of_allowed or 0.0)
    if result.verdict == "differs":
        text += (
            f"; the farthest is {values_named([far])}, {short_text(far.share_of_allowed or 0.0, 2)} times "
        )
        text += "what is allowed"
    return text


def claims_text(number: int) -> str:
    """Claimed classes, counted.

    >>> claims_text(1), claims_text(3)
    ('1 claimed class', '3 claimed classes')
    """
    return count_text(number, "claimed class", "claimed classes")


def better_than_own_value(rows: Sequence[ComparedValue]) -> str:
    """That claims contradict the reported values themselves."""
    return f"{claims_text(len(rows))} better than the reported value itself meets: {values_named(rows)}"


def values_named(rows: Sequence[ComparedValue]) -> str:
    """Serial, parameter and flank of some values."""
    return some_of(
        [f"{clip(row.serial, LONGEST_IN_SENTENCE)} {place_text(row.parameter, row.flank)}" for row in rows],
        MOST_NAMED,
    )


def explanation_sentence(result: ExplanationResult) -> str:
    """What is known about the cause of the difference."""
    best = result.explanations[0] if result.explanations else None
    if best is not None and result.shared:
        others = [e.sentence for e in result.explanations[1:] if e.same_predictions]
        either = f" (the same figures follow if {'; or if '.join(others)})" if others else ""
        rest = "" if result.explained else f"; {NOT_EXPLAINED[result.reason]}"
        return (
            f"the reported values follow {'' if result.explained else 'in part '}from the raw data if "
            f"{best.sentence}{either}: the rms difference of {result.n} values falls from "
            f"{fixed_text(best.rms_before_um)} to {um_text(best.rms_after_um)}{rest}"
        )
    text = NOT_EXPLAINED[result.reason]
    if best is None:
        return text
    return (
        f"{text}; nearest: {best.sentence} (rms {fixed_text(best.rms_before_um)} to "
        f"{um_text(best.rms_after_um)}, {result.n} values)"
    )
