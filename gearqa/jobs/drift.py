"""The job `drift`: what a grinder does over parts and dress cycles."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Final

from gearqa.diagnosis.alike import waves_as_shapes
from gearqa.diagnosis.gains import as_parameters, meant_effects
from gearqa.drift.analysis import analyse_observations
from gearqa.drift.grinder_diagnosis import grinder_diagnoses
from gearqa.drift.ordering import made_until
from gearqa.drift.reference_periods import Period, ReferencePeriodError, place_references
from gearqa.errors import ArgumentError, Notice
from gearqa.jobs.drift_gears import Asked, DriftGears, gears_of_folders, gears_of_store
from gearqa.jobs.parameters import COUNT, require_parameter, require_within
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.jobs.times import moment, parsed_time
from gearqa.model.drift import (
    COMPONENTS,
    DriftReport,
    DriftSeries,
    DriftSettings,
    Observation,
    SeenSignal,
    SeriesKey,
)
from gearqa.model.ranges import LARGEST_NUMBER, Range

if TYPE_CHECKING:
    from gearqa.jobs.stores import AnyStore
    from gearqa.model.history import Acknowledgement


RISK: Final = Range(0.0001, 0.5, high_open=True)
SECONDS: Final = Range(0.001, LARGEST_NUMBER)


def analyse_drift(
    folders: str | Path | Sequence[str | Path] | None = None,
    *,
    store: AnyStore = None,
    part_number: str | None = None,
    grinder: str | None = None,
    parameter: Sequence[str] | None = None,
    since: str | datetime | None = None,
    until: str | datetime | None = None,
    last_cycles: int | None = None,
    reference: str | None = None,
    risk: float = 0.01,
    cycle_time: float | None = None,
    measuring_time: float | None = None,
    escaped_parts: int | None = None,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    serial: Sequence[str] | None = None,
    progress: Progress = UNSEEN,
) -> DriftReport:
    """Analyse how grinders drift: wear between dresses, levels, charts, forecast, dress interval, advice.

    Parameters
    ----------
    folders : path or sequence of path, optional
        Inspection folders; without any the history store is analysed.
    store : HistoryStore, str or path, optional
        History store; None: $GEARQA_STORE, else the file in the user's data folder.
    part_number, grinder : str, optional
        Only this part number, only this grinder.
    parameter : sequence of str, optional
        Only these parameters, by key.
    since : str or datetime, optional
        Signals from then on raise the alarm, not only those of the current cycle.
    until : str or datetime, optional
        Later gears are left out.
    last_cycles : int, optional
        Number of dress cycles to analyse, the last ones.
    reference : str, optional
        Cycles that the control limits come from, as "FROM..TO": numbers, dress labels or times. Else the
        frozen ones of the store, else the first that fit.
    risk : float
        Risk of a part beyond the limit at the end of a cycle. [-]
    cycle_time, measuring_time : float, optional
        Time per gear on the grinder, which estimates parts since dress where they are missing, and to
        measure one. [s]
    escaped_parts : int, optional
        Parts that may be made before a change is seen; by default one dress cycle.
    part, columns : path, optional
        With folders: part file and column map to use.
    serial : sequence of str, optional
        With folders: only these serials.
    progress : Progress
        Shows how far the grading is.

    Returns
    -------
    DriftReport
        `header` names the source, `result` holds the series, the advice and whether there is an alarm.

    Raises
    ------
    ArgumentError
        If an argument is out of range, not known, or does not go with another.
    InputError
        If a folder cannot be read; all problems at once.
    EvaluationError
        If nothing is left to analyse.

    Examples
    --------
    >>> import gearqa
    >>> drift = gearqa.analyse_drift("sample_measurements/drift_history", parameter=["helix_slope"])
    >>> drift.result.headline
    'Left helix slope is out of control: beyond a control limit in cycle 40 (dress D040, wheel W-21,
    2025-04-09); level change at cycle 31 (dress D031, wheel W-21, 2025-04-08); wear is not proven, so
    no crossing can be shown; dress every 36 parts (at least: no later part was measured; to lengthen,
    raise in steps and measure) for a risk of 1 %.'
    >>> [(change.cycle, round(change.size_um, 1)) for change in drift.result.series[0].steps]
    [(31, 1.4)]
    """
    for key in parameter or ():
        require_parameter(key)
    _check_ranges(
        risk,
        {"cycle_time": cycle_time, "measuring_time": measuring_time},
        {"last_cycles": last_cycles, "escaped_parts": escaped_parts},
    )
    settings = DriftSettings(
        risk=risk,
        parameters=tuple(dict.fromkeys(parameter)) if parameter else None,
        since=moment(since, "since"),
        until=moment(until, "until", end_of_day=True),
        last_cycles=last_cycles,
        cycle_time_s=cycle_time,
        measuring_time_s=measuring_time,
        escaped_parts=escaped_parts,
    )
    asked = Asked(part_number, grinder, settings.parameters)
    if folders:
        if store is not None:
            text = "give folders, or a store: folders are analysed by themselves. To keep them: "
            raise ArgumentError("store", f"{text}gearqa history add")
        several = [folders] if isinstance(folders, str | Path) else folders
        gears = gears_of_folders(
            [Path(folder) for folder in several], asked, part=part, columns=columns, serials=serial,
            progress=progress,
        )  # fmt: skip
    else:
        for argument, value in (("part", part), ("columns", columns), ("serial", serial)):
            if value:
                text = "says how a folder is read; name the folder, or leave it out for the history store"
                raise ArgumentError(argument, text)
        gears = gears_of_store(store, asked)
    settings, notices = with_references(gears, settings, reference)
    alike = {number: waves_as_shapes(one.teeth, one.setup) for number, one in gears.traced.items()}
    settings = replace(settings, parts_per_dress=gears.parts_per_dress, waves_as_shapes=alike)
    meant = {number: meant_effects(gears.events, one.setup) for number, one in gears.traced.items()}
    result = analyse_observations(
        gears.observations, gears.events, settings, gears.made,
        {number: as_parameters(own) for number, own in meant.items()},
    )  # fmt: skip
    if not result.series:
        raise gears.nothing
    result = replace(
        result,
        series=tuple(_with_seen(one, gears.seen) for one in result.series),
        diagnosis=grinder_diagnoses(
            result.series, scatter_of_components(gears.observations), gears.traced, meant
        ),
    )
    return DriftReport(replace(gears.header, warnings=(*gears.header.warnings, *notices)), result)


def scatter_of_components(observations: Iterable[Observation]) -> dict[SeriesKey, float]:
    """U of the components of one gear: the median over the gears."""
    found: dict[SeriesKey, list[float]] = {}
    for one in observations:
        if one.parameter in COMPONENTS and one.U is not None:
            found.setdefault((one.part, one.grinder, one.parameter, one.flank), []).append(one.U)
    return {key: median(values) for key, values in found.items()}


def _with_seen(series: DriftSeries, seen: Sequence[Acknowledgement]) -> DriftSeries:
    """The series with who has seen its signals; cycles count anew where older gears were added."""
    own = [one for one in seen if (one.part_number, one.grinder, one.parameter, one.flank) == series.key]
    if not own:
        return series
    cycles = {one.dress: one.cycle for one in series.cycle_levels_um if one.dress is not None}
    return replace(
        series,
        seen=tuple(
            SeenSignal(
                cycles.get(one.dress or "", one.cycle), one.dress, one.seen_by, one.cause, one.action, one.at
            )
            for one in own
        ),
    )


def _check_ranges(risk: float, times: Mapping[str, float | None], counts: Mapping[str, int | None]) -> None:
    """Raise ArgumentError for a value out of range."""
    require_within("risk", risk, RISK)
    for argument, seconds in times.items():
        require_within(argument, seconds, SECONDS)
    for argument, count in counts.items():
        require_within(argument, count, COUNT)


def with_references(
    gears: DriftGears, settings: DriftSettings, chosen: str | None
) -> tuple[DriftSettings, tuple[Notice, ...]]:
    """Settings with the reference cycles of every series: the chosen ones, else the frozen ones."""
    if chosen is None and not gears.frozen:
        return settings, ()
    period = None if chosen is None else _period(chosen)
    try:
        references, notices = place_references(
            made_until(gears.observations, settings.until),
            gears.events,
            lambda part, grinder: period or gears.frozen.get((part, grinder)),
            cycle_time_s=settings.cycle_time_s,
        )
    except ReferencePeriodError as error:
        if chosen is None:
            raise
        raise ArgumentError("reference", str(error)) from error
    return replace(settings, references=references), notices


def _period(text: str) -> Period:
    """Both ends of a reference: times where they read as such, else dress labels or cycle numbers."""
    first, dots, last = text.partition("..")
    if not dots or not first.strip() or not last.strip():
        expected = "expected FROM..TO, such as 5..24, D005..D024 or 2025-04-07..2025-04-11"
        raise ArgumentError("reference", f"found '{text}', {expected}")
    return _end(first.strip(), closing=False), _end(last.strip(), closing=True)


def _end(text: str, *, closing: bool) -> str | datetime:
    if "-" not in text:  # 20250407 reads as a date, but may be a dress label
        return text
    try:
        return parsed_time(text, end_of_day=closing)
    except ValueError:
        return text
