"""The whole analysis: observations to series, charts at a family-wise rate, advice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from gearqa.drift.advice import ALARM_CODES, advise
from gearqa.drift.ordering import seconds
from gearqa.drift.phrases import no_alarm_reasons, parameter_name
from gearqa.drift.series import analyse_series
from gearqa.errors import Notice, NoticeCode
from gearqa.model.drift import (
    DRIFT_PARAMETERS,
    DriftResult,
    DriftSeries,
    DriftSettings,
    Observation,
    SeriesKey,
)
from gearqa.model.measurement import GrinderEvent
from gearqa.statistics.families import sidak


def analyse_observations(
    observations: Iterable[Observation],
    events: Sequence[GrinderEvent] = (),
    settings: DriftSettings | None = None,
) -> DriftResult:
    """Analyse a history: one series per part, grinder, parameter and flank.

    Order of the observations does not matter, except that of two of one serial the later wins.
    The false-alarm rate of the charts is shared over all series that come out.
    """
    settings = settings or DriftSettings()
    wanted = settings.parameters or DRIFT_PARAMETERS
    late = None if settings.until is None else seconds(settings.until)
    groups: dict[SeriesKey, list[Observation]] = {}
    simulated = False
    for o in observations:
        too_late = late is not None and o.finished_at is not None and seconds(o.finished_at) > late
        if o.parameter in wanted and not too_late:
            groups.setdefault((o.part, o.grinder, o.parameter, o.flank), []).append(o)
            simulated = simulated or o.simulated
    by_grinder: dict[str, list[GrinderEvent]] = {}
    for event in events:
        if late is None or seconds(event.at) <= late:
            by_grinder.setdefault(event.grinder, []).append(event)
    rate = sidak(settings.family_false_alarm, max(len(groups), 1))
    keys = sorted(groups, key=lambda key: (key[0], key[1], wanted.index(key[2]), key[3] or ""))
    analysed = [analyse_series(key, groups[key], by_grinder.get(key[1], ()), settings, rate) for key in keys]
    series = tuple(one.series for one in analysed)
    advice = advise(analysed, settings)
    alarms = tuple(one for one in advice if one.code in ALARM_CODES)
    return DriftResult(
        series=series,
        reasons=alarms if any(one.alarm for one in series) else no_alarm_reasons(series),
        advice=advice,
        settings=settings,
        simulated=simulated,
        warnings=tuple(_warnings(series, by_grinder)),
    )


def _warnings(series: Sequence[DriftSeries], grinders: Iterable[str]) -> Iterator[Notice]:
    strangers = sorted(set(grinders) - {one.grinder for one in series})
    if strangers:
        text = f"events of grinders without gears: {', '.join(strangers)}"
        yield Notice(NoticeCode.EVENTS_OF_OTHER_GRINDERS, text)
    blind = sorted({one.parameter for one in series if one.limit_kind == "tolerance limit"})
    if blind:
        yield Notice(
            NoticeCode.UNCERTAINTY_UNKNOWN,
            f"no measurement uncertainty for {', '.join(map(parameter_name, blind))}: the limits carry no "
            "guard, and scatter of the parts cannot be told from scatter of the gauge",
        )
