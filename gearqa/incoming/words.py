"""Sentences about the outcome: what a reviewer can say to a supplier."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from gearqa.model.incoming import Change, ExplanationResult

_PHRASES: Final[Mapping[tuple[str, str], str]] = {
    (
        "slope_span",
        "evaluation",
    ): "slopes are taken over the evaluation range, as ISO 1328-1:1995 does, not over the full span",
    (
        "slope_span",
        "full",
    ): "slopes are taken over the full span (control to tip diameter, whole face width), as "
    "ISO 1328-1:2013 does, not over the evaluation range",
    ("filter", "off"): "the traces are not filtered",
    ("filter", "as drawn"): "the traces are filtered",
    (
        "tip_zone",
        "not counted",
    ): "plus material between the evaluation range and the tip form diameter is not counted",
    ("profile_axis", "diameter"): "the profile is evaluated over the diameter, not over the length of roll",
    (
        "plane",
        "normal",
    ): "profile and helix deviations are given in the normal plane, not in the transverse plane",
    (
        "plane",
        "transverse, from tables in the normal plane",
    ): "the traces hold deviations in the normal plane, the report gives them in the transverse plane",
    (
        "profile_sign",
        "plus towards the root",
    ): "profile slopes carry the opposite sign: plus towards the root",
    (
        "helix_sign",
        "plus towards the datum face",
    ): "helix slopes carry the opposite sign: plus towards the datum face",
    ("helix_sign", "by helix angle"): "helix slopes are signed by the helix angle: plus is a larger angle",
    ("flanks", "left and right swapped"): "left and right flank change places",
    ("tooth_direction", "the other way round"): "teeth are numbered the other way round",
    ("runout_from", "pitch"): "runout follows from the pitch of both flanks, not from ball readings",
}


def change_text(change: Change) -> str:
    """One change in words, as something that the supplier does.

    >>> change_text(Change("profile_range", "95 %", "92 %"))
    'the profile is evaluated over 92 % of the length of roll, not over 95 %'
    """
    phrase = _PHRASES.get((change.setting, change.to))
    if phrase is not None:
        return phrase
    match change.setting:
        case "profile_range":
            return f"the profile is evaluated over {change.to} of the length of roll, not over {change.from_}"
        case "filter":
            return f"the traces are filtered with {change.to.replace(' x ', ' ')} times ours"
        case "tooth_start":
            return f"counting starts elsewhere: {change.to}"
        case "rounding":
            return f"values are rounded {change.to.replace(' um', ' µm')}"
    return f"{change.setting} is {change.to}, not {change.from_}"


def changes_text(changes: Sequence[Change]) -> str:
    """Several changes in one sentence, without a full stop."""
    return ", and ".join(change_text(change) for change in changes)


EXPLANATION_REASONS: Final[Mapping[str, str]] = {
    "no_raw_data": "there are no traces to evaluate under other settings",
    "no_difference": "there is no difference to explain",
    "nothing_fits": "no change of settings, and no pair of changes, reproduces the reported values",
    "too_few_values": "too few values to tell a cause from chance",
    "several_fit_alike": "several changes of settings fit alike; the figures do not tell which one it is",
    "explained": "one explanation reproduces the reported values and no other does",
    "explained_either_way": "the reported values are reproduced; more than one description predicts the very "
    "same figures",
}

COMPARISON_REASONS: Final[Mapping[str, str]] = {
    "nothing_measured": "not measured by us: everything rests on the reported values",
    "their_data_only": "the supplier's own traces were evaluated again",
    "identical_curves": "both sides hold the very same numbers",
    "agrees_to_the_digit": "values agree to the last digit, closer than a measurement repeats",
    "values_differ": "two measurements of the same gears",
}

SAME_GEARS_REASONS: Final[Mapping[str, str]] = {
    "no_raw_data": "raw data of both sides are needed to tell, and there are none",
    "no_pitch_curves": "complete pitch of both flanks from both sides is needed to tell",
    "curves_alike": "the pitch curves lie over each other, tooth by tooth, and over no other gear's",
    "identical_data": "the raw data are the same numbers",
    "curves_unlike": "the pitch curves fit no better than those of any other gear",
    "serials_mixed_up": "the curves of a gear fit another serial of ours: serials are mixed up",
    "curves_too_unlike_to_tell": "the pitch curves are neither alike enough nor unlike enough to tell",
}


def explanation_sentence(result: ExplanationResult) -> str:
    """What is known about the cause of the difference."""
    best = result.explanations[0] if result.explanations else None
    if result.explained and best is not None:
        others = [e.sentence for e in result.explanations[1:] if e.same_predictions]
        either = f" (the same figures follow if {'; or if '.join(others)})" if others else ""
        return (
            f"the reported values follow from the raw data if {best.sentence}{either}: the rms difference of "
            f"{result.n} values falls from {best.rms_before_um:.2f} to {best.rms_after_um:.2f} µm"
        )
    text = EXPLANATION_REASONS[result.reason]
    if best is not None and best.rms_after_um < best.rms_before_um:
        text += (
            f"; nearest: {best.sentence} (rms {best.rms_before_um:.2f} to {best.rms_after_um:.2f} µm, "
            f"{result.n} values)"
        )
    return text
