"""Clauses and sentences about drift, as the shop says them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Protocol

from gearqa.model.drift import (
    COMPONENTS,
    DressDecision,
    DriftSeries,
    HoldRange,
    LabelFinding,
    PartsToLimit,
    Sentence,
)
from gearqa.symbols import PARAMETERS, SIZE, Flank
from gearqa.wording.numbers import count_text, fixed_text, share_text, short_text
from gearqa.wording.sentences import sentence

METAL = {
    "profile_slope": "at the tip",
    "helix_slope": "at the face away from the datum face",
    "profile_crowning": "in the middle of the profile",
    "helix_crowning": "in the middle of the face width",
}
"""Where a positive amount means more metal."""
RUNS_LISTED = 6
"""Runs of cycles that a sentence lists."""


def parameter_name(parameter: str) -> str:
    """Name of a parameter without the word deviation."""
    if parameter == SIZE:
        return "size"
    if parameter in COMPONENTS:
        return COMPONENTS[parameter]
    return PARAMETERS[parameter].name.removesuffix(" deviation")


def series_name(parameter: str, flank: Flank | None) -> str:
    """Name of a series: flank and parameter."""
    return f"{flank} {parameter_name(parameter)}" if flank else parameter_name(parameter)


def name_of(series: DriftSeries) -> str:
    """Name of an analysed series."""
    return series_name(series.parameter, series.flank)


def direction(parameter: str, amount: float) -> str:
    """What a positive or negative amount means on the gear."""
    if parameter in METAL:
        return f"{'more' if amount > 0 else 'less'} metal {METAL[parameter]}"
    return f"a {'larger' if amount > 0 else 'smaller'} {'dimension' if parameter == SIZE else 'deviation'}"


class HasPlace(Protocol):
    """A dress cycle with its labels on the shop floor."""

    @property
    def cycle(self) -> int | None: ...
    @property
    def dress(self) -> str | None: ...
    @property
    def wheel(self) -> str | None: ...
    @property
    def at(self) -> datetime | None: ...


def cycles_place(places: Sequence[HasPlace]) -> str:
    """Cycles in their order with their labels, runs drawn together; of very many the last ones.

    >>> from gearqa.model.drift import CycleLevel
    >>> day = datetime(2025, 4, 12, 6)
    >>> cycles = [CycleLevel(c, f"D{c}", 0.0, None, "W-21", day) for c in (3, 7, 8, 9)]
    >>> cycles_place(cycles)
    'cycles 3, 7 to 9 (dress D3, D7 to D9, wheel W-21, 2025-04-12)'
    >>> cycles_place(cycles[:1])
    'cycle 3 (dress D3, wheel W-21, 2025-04-12)'
    """
    runs: list[list[HasPlace]] = []
    for place in places:
        if runs and place.cycle is not None and place.cycle == (runs[-1][-1].cycle or 0) + 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    head = "cycles " if len(places) > 1 else "cycle "
    if len(runs) > RUNS_LISTED:
        runs, head = runs[-3:], f"{len(places)} cycles, the last ones "
    text = head + ", ".join(_ends(str(run[0].cycle), str(run[-1].cycle)) for run in runs)
    if places[0].cycle is None:
        text = "a cycle without a measured gear"
    shown = [place for run in runs for place in run]
    dresses = [_ends(run[0].dress, run[-1].dress) for run in runs]
    if len(runs) > 2:
        dresses = [_ends(shown[0].dress, shown[-1].dress)]
    wheels = list(dict.fromkeys(place.wheel for place in shown if place.wheel))
    days = [place.at.date().isoformat() for place in shown if place.at is not None]
    known = (
        ("dress ", ", ".join(dresses) if all(place.dress for place in shown) else ""),
        ("wheel ", _ends(wheels[0], wheels[-1]) if wheels else ""),
        ("", _ends(days[0], days[-1]) if days else ""),
    )
    labels = ", ".join(f"{name}{word}" for name, word in known if word)
    return f"{text} ({labels})" if labels else text


def _ends(first: str | None, last: str | None) -> str:
    return f"{first}" if first == last else f"{first} to {last}"


def wear_clause(parameter: str, flank: Flank | None, wear: float, interval: tuple[float, float]) -> str:
    """How much a series loses or gains per part.

    >>> wear_clause("profile_slope", "left", -0.0496, (-0.052, -0.047))
    'left profile slope loses 0.050 µm per part (0.047 to 0.052; less metal at the tip)'
    """
    verb = "gains" if wear > 0 else "loses"
    low, high = sorted(abs(v) for v in interval)
    ends = f"{_magnitude(low)} to {_magnitude(high)}"
    name, towards = series_name(parameter, flank), direction(parameter, wear)
    return f"{name} {verb} {_magnitude(wear)} µm per part ({ends}; {towards})"


def _magnitude(rate: float) -> str:
    """To a nanometre, small ones with two digits that count."""
    return fixed_text(abs(rate), 3) if abs(rate) >= 0.01 else short_text(abs(rate), 2)


def trend_clause(slope: float, interval: tuple[float, float]) -> str:
    """How the level moves from dress to dress.

    >>> trend_clause(-0.0262, (-0.0371, -0.0153))
    'the level after dress moves by -0.026 µm per cycle (-0.037 to -0.015); dressing does not reset it'
    """
    rate, low, high = (short_text(v, 2, signed=True) for v in (slope, *interval))
    return f"the level after dress moves by {rate} µm per cycle ({low} to {high}); dressing does not reset it"


def held_ranges(ranges: Sequence[HoldRange], most: int) -> str:
    """Ranges to hold in words; cycles in a row with the same parts together, of many the last ones."""
    runs: list[list[HoldRange]] = []
    for one in ranges:
        last = runs[-1][-1] if runs else None
        alike = last is not None and (last.from_part, last.to_part) == (one.from_part, one.to_part)
        if alike and last is not None and one.cycle is not None and last.cycle == one.cycle - 1:
            runs[-1].append(one)
        else:
            runs.append([one])
    texts = [_held_run(run) for run in runs]
    if len(texts) > most:
        return f"{len(texts) - most} ranges before, and {'; '.join(texts[-most:])}"
    return "; ".join(texts)


def _held_run(run: Sequence[HoldRange]) -> str:
    first = run[0]
    alone = first.from_part == first.to_part
    parts = f"part {first.from_part}" if alone else f"parts {first.from_part} to {first.to_part}"
    return f"{parts} of {cycles_place(run)}"


def label_clause(label: LabelFinding) -> str:
    """Effect of a label in words."""
    ends = f"({short_text(label.low, 2, signed=True)} to {short_text(label.high, 2, signed=True)})"
    effect = f"{short_text(label.effect, 2, signed=True)} µm"
    if label.name == "temperature":
        return f"{effect} per degree {ends}; taken out of wear and levels"
    if label.name == "pause":
        return f"first part after a stop {effect} {ends}; taken out of wear and levels"
    return f"{label.name} {label.value} against {label.against} {effect} {ends}; taken out of wear and levels"


def limit_clause(side: str, parts: PartsToLimit) -> str:
    """When the limit is reached."""
    if parts.expected == 0:
        return f"the {side} limit is already reached at the dress"
    expected = count_text(parts.expected, "part")
    now = f", {parts.from_now} from now" if parts.from_now < parts.expected else ""
    return f"the {side} limit is reached after {expected} of this cycle ({parts.low} to {parts.high}){now}"


def dress_clause(parts: int, at_least: bool, risk: float) -> str:
    """How often to dress."""
    if parts == 0:
        return f"not even the first part after a dress keeps the risk of {share_text(risk)}"
    floor = " (at least: no later part was measured; to lengthen, raise in steps and measure)"
    floor = floor if at_least else ""
    return f"dress every {count_text(parts, 'part')}{floor} for a risk of {share_text(risk)}"


def from_now_clause(decision: DressDecision) -> str:
    """When the next dress is due, counted from the last part made."""
    if decision.made_parts is None or decision.from_now is None:
        return "parts made since the last dress are not known"
    made = count_text(decision.made_parts, "part")
    if decision.from_now:
        return f"{count_text(decision.from_now, 'part')} from now ({made} made since the last dress)"
    if decision.at_least:
        return f"{made} made since the last dress, as many as were ever measured"
    return f"{made} made since the last dress: dress now"


def no_alarm_reasons(series: Iterable[DriftSeries]) -> tuple[Sentence, ...]:
    """Why there is no alarm."""
    controls = [one.in_control for one in series if not one.is_component]
    calm = "no signal that counts, and no forecast reaches its limit within the current dress interval"
    found = [Sentence("no_alarm", sentence(calm))]
    if silent := controls.count(None):
        text = f"{silent} of {len(controls)} series are too short for a statement about control"
        found.append(Sentence("control_unknown", sentence(text)))
    return tuple(found)
