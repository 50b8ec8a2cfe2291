"""How often to dress a part on a grinder: what all its limited series allow together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gearqa.drift.outlook import Outlook
from gearqa.model.drift import DressChoice, DressDecision, DriftSeries, deciding_series


def dress_decisions(analysed: Sequence[tuple[DriftSeries, Outlook]]) -> Iterator[DressDecision]:
    """The dress interval of every part and grinder with limited series."""
    groups: dict[tuple[str, str], list[tuple[DriftSeries, Outlook]]] = {}
    for pair in analysed:
        groups.setdefault((pair[0].part, pair[0].grinder), []).append(pair)
    for (part, grinder), members in groups.items():
        limited = [(one, outlook) for one, outlook in members if one.limit_kind != "none"]
        first = deciding_series(one for one, _ in limited)
        if first is None:
            continue
        parts, made = first.dress_interval_parts, first.made_parts
        holds = [one.dress_interval_holds_cycles for one, _ in limited]
        known = [outlook.dress.usual_risk for _, outlook in limited]
        usual = None
        if None not in known:
            pairs = [pair for pair in known if pair is not None]
            usual = max(pair[0] for pair in pairs), max(pair[1] for pair in pairs)
        yield DressDecision(
            part=part,
            grinder=grinder,
            parts=parts,
            at_least=first.dress_interval_at_least,
            parameter=first.parameter,
            flank=first.flank,
            reason=first.dress_interval_reason,
            usual_parts=first.current_dress_interval_parts,
            made_parts=made,
            from_now=None if parts is None or made is None else max(0, parts - made),
            holds_cycles=min((v for v in holds if v is not None), default=None),
            usual_risk=None if usual is None else usual[0],
            one_more_usual_risk=None if usual is None else usual[1],
            centred_parts=_centred(first, limited),
            choices=() if parts is None else tuple(_choices(limited)),
        )


def _centred(first: DriftSeries, limited: Sequence[tuple[DriftSeries, Outlook]]) -> int | None:
    """Smallest interval with every series centred; None where that gains nothing."""
    if first.dress_interval_parts is None:
        return None
    every = (max(one.dress_interval_parts or 0, one.dress_interval_centred_parts or 0) for one, _ in limited)
    found = min(every)
    return found if found > first.dress_interval_parts else None


def _choices(limited: Sequence[tuple[DriftSeries, Outlook]]) -> Iterator[DressChoice]:
    """Of each risk the fewest parts over all series."""
    for i, one in enumerate(limited[0][1].dress.kept):
        every = [(outlook.dress.kept[i], len(series.charts.risk_parts)) for series, outlook in limited]
        parts, at_least = min((kept.parts, kept.parts == reach) for kept, reach in every)
        more, more_at_least = min((kept.one_more, kept.one_more == reach) for kept, reach in every)
        yield DressChoice(one.risk, parts, at_least, more, more_at_least)
