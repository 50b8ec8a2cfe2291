"""The first screen: what is wrong now, which gears to hold, what to do to the grinder, when to dress next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from operator import itemgetter

from gearqa.model.drift import (
    LEAST_OFFSET_UM,
    DressDecision,
    DriftResult,
    DriftSeries,
    HoldRange,
    common_changes,
)
from gearqa.report.blocks import document as doc
from gearqa.report.drift import words
from gearqa.wording.numbers import chance_text, count_text, share_text, um_text
from gearqa.wording.safety import SETTER
from gearqa.wording.sentences import some_of

HOLD_TITLE, GRINDER_TITLE, DRESS_TITLE = "Gears to hold", "What to do to the grinder", "When to dress"
WRONG_TITLE, SEEN_TITLE = "What is wrong now", "Also seen"
SERIALS_NAMED = 6
RANGES_NAMED = 3
NAMES_SHOWN = 4


@dataclass(frozen=True, slots=True)
class DriftAnswer:
    """Advice that answers one question."""

    title: str
    codes: tuple[str, ...]


TOPICS = (
    DriftAnswer(
        WRONG_TITLE,
        ("signal", "limit_ahead", "correction", "level_change", "level_moved", "level_trend"),
    ),
    DriftAnswer(HOLD_TITLE, ("quarantine", "beyond_limit", "nothing_to_hold")),
    DriftAnswer(
        GRINDER_TITLE,
        ("correct_again", "find_cause", "check_cause", "correct_level", "centre_cycle", "centring_gain"),
    ),
    DriftAnswer(
        DRESS_TITLE,
        ("dress_interval", "dress_none", "dress_unknown", "dress_late", "dress_early", "dress_holds",
         "one_more_gear"),
    ),
    DriftAnswer("What to measure", ("measure_next", "measure_gap", "sampling_plan")),
    DriftAnswer(
        SEEN_TITLE,
        ("level_suspected", "correction_seen", "correction_past", "level_change_past", "label_effect"),
    ),
)  # fmt: skip
"""In the order of the page; advice of every report is left to the cautions."""


def topic_lists(result: DriftResult) -> Iterator[tuple[str, doc.Bullets]]:
    """The advice, question by question."""
    for topic in TOPICS:
        found = [one.sentence for code in topic.codes for one in result.advice if one.code == code]
        if topic.title in (WRONG_TITLE, SEEN_TITLE):
            found += [
                f"{words.long_name(series).capitalize()}: {words.seen_text(one)}."
                for series in result.ranked()
                for one in series.seen
                if series.alarm == (topic.title == WRONG_TITLE)
            ]
        if found:
            yield topic.title, doc.Bullets(tuple(found))


def answers(result: DriftResult) -> Iterator[tuple[str, doc.Verdict]]:
    """The four answers, for each part and grinder, and where they belong if there are several."""
    by_group = words.groups(result.ranked())
    decided = {(one.part, one.grinder): one for one in result.dress_intervals}
    for (part, grinder), members in by_group.items():
        ranges = [one for one in result.hold.ranges if (one.part, one.grinder) == (part, grinder)]
        yield (
            f"{part} on {grinder}" if len(by_group) > 1 else "",
            doc.Verdict((
                _wrong_now(members), _hold(members, ranges), _grinder(members),
                _dress(members, decided.get((part, grinder)), result.settings.risk),
            )),
        )  # fmt: skip


def _wrong_now(members: Sequence[DriftSeries]) -> doc.Answer:
    kinds = (
        ("beyond a limit", [one for one in members if one.quarantine and one.quarantine.failing]),
        ("beyond a control limit", [one for one in members if one.current_signals]),
        ("limit ahead", [one for one in members if one.limit_within_interval]),
        ("correction not as intended", [one for one in members if one.correction_alarm]),
        ("level moved", [one for one in members if one.steps or one.level_moved]),
        ("trend", [one for one in members if one.level_trend_um_per_cycle is not None]),
    )
    found = [(name, some) for name, some in kinds if some]
    question = "Wrong now"
    if found:
        wrong = [one for one in members if any(one in some for _, some in found)]
        detail = doc.join(*(
            part for name, some in found for part in ("; ", name, ": ", _some_names(some))
        ))[1:]  # fmt: skip
        urgent = any(one.alarm for one in wrong)
        noted = [one for one in wrong if one.seen]
        if noted:
            detail = doc.join(detail, "; seen by somebody: ", _some_names(noted))
        return doc.Answer(
            question, f"{len(wrong)} of {count_text(len(members), 'series', 'series')}",
            "bad" if urgent else "open", detail,
        )  # fmt: skip
    suspected = [one for one in members if one.suspected is not None and one.suspected.matters]
    if suspected:
        return doc.Answer(
            question, "nothing proven", "open", doc.join("perhaps a new level: ", _some_names(suspected))
        )
    short = [one for one in members if one.too_short]
    if short:
        return doc.Answer(question, "not decidable", "open", "; ".join(missing(short[0])))
    return doc.Answer(question, "nothing", "good", "no signal, no level change, no limit ahead")


def missing(series: DriftSeries) -> Iterator[str]:
    """What a short history lacks, and for what."""
    if not series.cycles:
        yield "dress cycles are not known: the production table needs dress"
        return
    lacking = [(needed, what) for needed, what in words.CYCLES_NEEDED if series.cycles < needed]
    if lacking:
        (needed, what), *more = lacking
        needs = ", ".join([f"{needed} needed for {what}", *(f"{count} for {name}" for count, name in more)])
        yield f"{count_text(series.cycles, 'dress cycle')}; {needs}"


def _hold(members: Sequence[DriftSeries], ranges: Sequence[HoldRange]) -> doc.Answer:
    asked = [one.quarantine for one in members if one.quarantine is not None]
    failing = list(dict.fromkeys(serial for one in asked for serial in one.failing))
    question = HOLD_TITLE
    if not ranges and not failing:
        known = [one.largest_p for one in asked if one.largest_p is not None]
        if asked and not known:
            return doc.Answer(question, "not decidable", "open", "limits, wear or levels are not known")
        if not asked and all(one.too_short for one in members):
            text = "too few dress cycles to judge parts that were not measured"
            return doc.Answer(question, "none measured", "open", text)
        detail = "" if not known else f"largest chance of a gear beyond a limit: {chance_text(max(known))}"
        return doc.Answer(question, "none", "good", detail)
    count = sum(one.parts for one in ranges)
    counts = [
        *([f"{count_text(count, 'part')} not measured"] if count else []),
        *([f"{len(failing)} measured beyond a limit"] if failing else []),
    ]
    details = []
    if ranges:
        first = max(ranges, key=lambda one: one.largest_p)
        shown = [f"{words.short_place(one)} {words.range_text(one)}" for one in ranges]
        details.append(some_of(shown[::-1], RANGES_NAMED))
        details.append(f"measure first: part {first.measure_first} of {words.short_place(first)}")
    if failing:
        details.append(f"measured beyond a limit: {some_of(failing, SERIALS_NAMED)}")
    return doc.Answer(question, " and ".join(counts), "bad", "; ".join(details))


def _grinder(members: Sequence[DriftSeries]) -> doc.Answer:
    question, todo = "At the grinder", list(_to_do(members))
    if not todo and all(one.too_short for one in members):
        return doc.Answer(question, "not decidable", "open", "too few dress cycles to tell what to correct")
    if not todo:
        return doc.Answer(question, "no correction", "good")
    answer, *more = todo
    return doc.Answer(question, answer, "open", doc.join("; ".join(more) + (". " if more else ""), SETTER))


def _to_do(members: Sequence[DriftSeries]) -> Iterator[str]:
    vain = [one for one in members if one.correction_alarm]
    if vain:
        yield f"check the correction of {_plain_names(vain)}"
    changes = common_changes(members)
    causeless = [one for one in changes if not one.possible_causes]
    recorded = [one for one in changes if any(series.current_signals for series, _ in one.changes)]
    if causeless:
        yield f"find what changed at {words.short_place(causeless[0].place)}"
    elif recorded:
        causes = some_of(list(recorded[0].possible_causes), NAMES_SHOWN)
        yield f"check what was recorded near {words.short_place(recorded[0].place)}: {causes}"
    trending = [one for one in members if one.cycles_to_correction is not None]
    signalling = [one for one in members if one.current_signals]
    drifting = [one for one in signalling if one.level_trend_um_per_cycle is not None]
    if signalling and not (vain or causeless or recorded):
        if not drifting:
            yield "find what changed"
        elif not trending:
            yield f"find what makes {_plain_names(drifting)} drift"
    for one in sorted(trending, key=_cycles_ahead)[:1]:
        ahead = _cycles_ahead(one)
        when = f"in {count_text(ahead, 'cycle')}" if ahead else "now"
        yield f"correct the level of {_plain_names([one])} {when}"
    for one in members:
        offset, centred = one.centring_offset_um, one.dress_interval_centred_parts
        if offset is None or centred is None or abs(offset) < LEAST_OFFSET_UM or one.correction_alarm:
            continue
        if centred > (one.dress_interval_parts or 0) and one.just_moved:
            yield f"measure the next cycle before correcting {_plain_names([one])}"
        elif centred > (one.dress_interval_parts or 0):
            yield f"move {_plain_names([one])} by {um_text(offset, 1, signed=True)}"


def _cycles_ahead(series: DriftSeries) -> int:
    return 0 if series.cycles_to_correction is None else series.cycles_to_correction.expected


def _dress(members: Sequence[DriftSeries], decision: DressDecision | None, risk: float) -> doc.Answer:
    question = f"Dress, for a risk of {share_text(risk)}"
    if decision is None:
        return doc.Answer(question, "no interval", "open", "no series has a limit")
    first = next(one for one in members if (one.parameter, one.flank) == (decision.parameter, decision.flank))
    if decision.parts is None:
        return doc.Answer(question, "no interval", "open", decision.reason or "")
    usual = "" if decision.usual_parts is None else f"; usual now: {count_text(decision.usual_parts, 'part')}"
    if decision.parts == 0:
        detail = doc.join("not even the first part keeps it: ", words.short_name(first), usual)
        return doc.Answer(question, "no interval keeps it", "bad", detail)
    answer = f"every {words.interval_text(first)} parts"
    due = decision.from_now == 0 and not decision.at_least
    if decision.from_now:
        answer += f", next in {decision.from_now}"
    elif due:
        answer += ", now"
    made = "" if decision.made_parts is None else f"; {decision.made_parts} made since the last dress"
    holds = ""
    if decision.holds_cycles is not None:
        holds = f"; holds for {count_text(decision.holds_cycles, 'coming cycle')}"
    shorter = decision.usual_parts is not None and decision.usual_parts > decision.parts
    status: doc.Status = "bad" if shorter and not decision.at_least else "none"
    who = "no series sets it shorter" if decision.at_least else doc.join(words.short_name(first), " decides")
    detail = doc.join(who, made, usual, holds, _nearest_limit(members))
    return doc.Answer(question, answer, status, detail)


def _nearest_limit(members: Sequence[DriftSeries]) -> doc.Text:
    """The series whose wear reaches its limit first, in the running cycle."""
    ahead = [(one.parts_to_limit.expected, one) for one in members if one.parts_to_limit is not None]
    if not ahead:
        return ""
    _, one = min(ahead, key=itemgetter(0))
    return doc.join("; nearest limit: ", words.short_name(one), f" {words.parts_text(one)}")


def _some_names(series: Sequence[DriftSeries]) -> doc.Text:
    shown = words.names_text(series[:NAMES_SHOWN])
    more = len(series) - NAMES_SHOWN
    return doc.join(shown, f" and {more} more") if more > 0 else shown


def _plain_names(series: Iterable[DriftSeries]) -> str:
    return doc.plain(_some_names(list(series)))
