"""Clauses and sentences about drift, as the shop says them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from gearqa.model.drift import SIZE, DriftSeries, HoldRange, LabelFinding, PartsToLimit, Sentence
from gearqa.symbols import PARAMETERS, Flank
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
    return PARAMETERS[parameter].name.removesuffix(" deviation")


def series_name(parameter: str, flank: Flank | None) -> str:
    """Name of a series: flank and parameter."""
    return f"{flank} {parameter_name(parameter)}" if flank else parameter_name(parameter)


def direction(parameter: str, amount: float) -> str:
    """What a positive or negative amount means on the gear."""
    if parameter in METAL:
        return f"{'more' if amount > 0 else 'less'} metal {METAL[parameter]}"
    return f"a {'larger' if amount > 0 else 'smaller'} {'dimension' if parameter == SIZE else 'deviation'}"


def listed_cycles(numbers: Sequence[int]) -> str:
    """Sorted cycles in words, runs drawn together; of very many the last ones.

    >>> listed_cycles([3, 7, 8, 9]), listed_cycles([12])
    ('cycles 3, 7 to 9', 'cycle 12')
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    texts = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    if len(texts) > RUNS_LISTED:
        return f"{len(numbers)} cycles, the last ones {', '.join(texts[-3:])}"
    return f"{'cycle' if len(numbers) == 1 else 'cycles'} {', '.join(texts)}"


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


def cycle_place(cycle: int, dress: str | None, wheel: str | None, at: datetime | None) -> str:
    """A cycle with its label on the shop floor.

    >>> cycle_place(31, "D031", "W-21", datetime(2025, 4, 12, 6))
    'cycle 31 (dress D031, wheel W-21, 2025-04-12)'
    """
    known = (("dress ", dress), ("wheel ", wheel), ("", None if at is None else at.date().isoformat()))
    words = ", ".join(f"{name}{word}" for name, word in known if word)
    return f"cycle {cycle} ({words})" if words else f"cycle {cycle}"


def held_ranges(ranges: Sequence[HoldRange], most: int) -> str:
    """Ranges to hold in words; cycles in a row with the same parts together, of many the last ones."""
    runs: list[list[HoldRange]] = []
    for one in ranges:
        last = runs[-1][-1] if runs else None
        alike = last is not None and (last.from_part, last.to_part) == (one.from_part, one.to_part)
        if alike and last is not None and one.cycle == last.cycle + 1:
            runs[-1].append(one)
        else:
            runs.append([one])
    texts = [_held_run(run) for run in runs]
    if len(texts) > most:
        return f"{len(texts) - most} ranges before, and {', '.join(texts[-most:])}"
    return ", ".join(texts)


def _held_run(run: Sequence[HoldRange]) -> str:
    first, last = run[0], run[-1]
    label = "" if first.dress is None else f" ({first.dress})"
    where = f"cycle {first.cycle}{label}"
    if len(run) > 1:
        labels = "" if first.dress is None or last.dress is None else f" ({first.dress} to {last.dress})"
        where = f"cycles {first.cycle} to {last.cycle}{labels}"
    alone = first.from_part == first.to_part
    return f"{where} {f'part {first.from_part}' if alone else f'parts {first.from_part} to {first.to_part}'}"


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


def no_alarm_reasons(series: Iterable[DriftSeries]) -> tuple[Sentence, ...]:
    """Why there is no alarm."""
    controls = [one.in_control for one in series]
    calm = "no signal that counts, and no forecast reaches its limit within the current dress interval"
    found = [Sentence("no_alarm", sentence(calm))]
    if silent := controls.count(None):
        text = f"{silent} of {len(controls)} series are too short for a statement about control"
        found.append(Sentence("control_unknown", sentence(text)))
    return tuple(found)
