"""What a grinder does to the gears now, in physical errors: from the levels of the series that drift follows.

A component is the mean of its level over the dress cycles since the last change of what it is made of, so
that it rests on what a folder and a store keep of every gear; under a proven trend, the end of the line
through them. Where wear is proven it stands amid a dress cycle, so that a correction leaves as much on one
side as on the other.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gearqa.arrays import Array
from gearqa.diagnosis.alike import TracedPart, first_order_alike, not_told_apart, waves_as_shapes
from gearqa.diagnosis.causes import causes_of
from gearqa.diagnosis.corrections import corrections_for
from gearqa.diagnosis.gains import OF_QUANTITY, MeantEffect, with_gains
from gearqa.diagnosis.hidden import BALLS, PLACES, ROUND
from gearqa.diagnosis.points import graded_rise
from gearqa.drift.gains import recorded_changes
from gearqa.drift.moved import moved_components
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.diagnosis import Component, Correction, GrinderDiagnosis, NotIdentifiable
from gearqa.model.drift import COMPONENTS, LEAST_OFFSET_UM, DriftSeries, SeriesKey
from gearqa.symbols import FLANKS, Flank, TraceKind
from gearqa.wording.numbers import count_text

RISK: Final = 0.01
"""Chance that the list of a grinder without errors names one."""
FEWEST_CYCLES: Final = 3
FEWEST_ON_A_LINE: Final = 6
"""Cycles that tell where a proven trend has led to."""
RAYLEIGH: Final = math.sqrt(math.pi / 2), math.sqrt(2 - math.pi / 2)
"""Mean and standard deviation of the size of a vector of chance, over that of one direction."""
RAMP_OF_CHANCE: Final = 3.5
"""Size over its standard deviation that the largest of all ramps hardly reaches by chance."""
TRACED: Final[tuple[tuple[TraceKind, str, str], ...]] = (
    ("profile", "pressure_angle", "profile_asymmetry"),
    ("helix", "lead", "taper"),
)
APART: Final = {
    "pressure_angle": "profile_asymmetry", "profile_asymmetry": "profile_asymmetry",
    "profile_crowning": "profile_crowning_asymmetry", "helix_crowning": "helix_crowning_asymmetry",
}  # fmt: skip
"""What the flanks share -> what they differ by."""
AMID: Final = " amid a dress cycle"
Members = Mapping[tuple[str, Flank | None], DriftSeries]
Means = Mapping[str, Mapping[Flank | None, float]]


@dataclass(frozen=True, slots=True)
class _Found:
    component: Component
    p: float


def grinder_diagnoses(
    series: Sequence[DriftSeries],
    scatter: Mapping[SeriesKey, float],
    parts: Mapping[str, TracedPart],
    meant: Mapping[str, Sequence[MeantEffect]],
) -> tuple[GrinderDiagnosis, ...]:
    """Components, changes and corrections of every part and grinder; `scatter` is U of a component of one
    gear, k = 2, `meant` what recorded changes would do to each part."""
    groups: dict[tuple[str, str], dict[tuple[str, Flank | None], DriftSeries]] = {}
    for one in series:
        if one.part in parts:
            groups.setdefault((one.part, one.grinder), {})[one.parameter, one.flank] = one
    return tuple(
        _of_grinder(
            members,
            {key[2:]: u for key, u in scatter.items() if key[:2] == where},
            parts[where[0]],
            [one for one in meant.get(where[0], ()) if one.event.grinder == where[1]],
        )
        for where, members in groups.items()
    )


def _of_grinder(
    members: Members,
    scatter: Mapping[tuple[str, Flank | None], float],
    traced: TracedPart,
    meant: Sequence[MeantEffect],
) -> GrinderDiagnosis:
    setup = traced.setup
    tested = [*_vectors(members, scatter), *_sizes(members, scatter), *_shapes(members, traced)]
    bound = RISK / max(1, len(tested))
    found = [replace(one.component, significant=one.p <= bound and _worth(one)) for one in tested]
    found, alike = not_told_apart(found, found, traced.teeth, setup)
    means = _means(members)
    shared = [replace(one, explains=_shares(one, means, setup) if one.significant else {}) for one in found]
    shared.sort(key=lambda one: (not one.significant, -_used(one, members, means), -abs(one.amplitude_um)))
    real = [one for one in shared if one.significant]
    changes = recorded_changes(members, meant)
    worn = {key for (key, _), one in members.items() if one.wear_significant}
    corrections = tuple(
        replace(one, expect=one.expect + AMID) if OF_QUANTITY.get(one.quantity) in worn else one
        for one in with_gains(corrections_for(real, setup), changes)
    )
    used = [(_used(one, members, means), one) for one in real]
    apart = {one.key for one in real}
    gaining = (c.quantity for use, one in used if use > 0 for c in _against(one, corrections, setup, apart))
    first = next(iter(members.values()))
    return GrinderDiagnosis(
        part=first.part,
        grinder=first.grinder,
        components=tuple(shared),
        moved=moved_components(members, traced),
        corrections=corrections,
        gains_most=next(gaining, None),
        causes=causes_of(real),
        not_identifiable=(*alike, *_hidden(members, scatter, traced)),
        changes=changes,
    )


def _worth(one: _Found) -> bool:
    return abs(one.component.amplitude_um) >= LEAST_OFFSET_UM


def _against(
    one: Component, listed: Sequence[Correction], setup: PartSetup, real: Container[str]
) -> list[Correction]:
    """Corrections of the list that take a component away, the one for the whole of it first, or those of
    each flank where the flanks differ."""
    own = {c.quantity for c in corrections_for([one], setup)}
    by_flank = one.key in APART and APART[one.key] in real
    return sorted((c for c in listed if c.quantity in own), key=lambda c: (c.flank is None) == by_flank)


# --- components ---------------------------------------------------------------------------------


def _levels(*series: DriftSeries | None) -> Array:
    """Levels of the cycles that all series have, since the last change of any. shape (cycles, series)"""
    known = [one for one in series if one is not None]
    if len(known) < len(series):
        return np.zeros((0, len(series)))
    first = max(one.segment_from_cycle for one in known)
    levels = [
        {c.cycle: c.level_um + worn for c in one.cycle_levels_um if c.cycle >= first}
        for one in known
        for worn in (_worn(one),)
    ]
    shared = sorted(set.intersection(*(set(one) for one in levels)))
    x = np.array([[one[cycle] for one in levels] for cycle in shared]).reshape(-1, len(known))
    moving = [one.level_trend_um_per_cycle is not None for one in known]
    if not any(moving):
        return x
    if len(x) < FEWEST_ON_A_LINE:
        return x[:0]
    x[:, moving] = _at_last(x[:, moving], np.array(shared, dtype=np.float64))
    return x


def _at_last(x: Array, cycle: Array) -> Array:
    """Values whose mean, and its variance, are those of the end of the least-squares line of each column."""
    n, off = len(cycle), cycle - cycle.mean()
    squares = float(off @ off)
    slope = off @ x / squares
    rest = x - x.mean(axis=0) - np.outer(off, slope)
    wider = math.sqrt(n * (n - 1) / (n - 2) * (1 / n + off[-1] ** 2 / squares))
    return np.asarray(x.mean(axis=0) + off[-1] * slope + wider * rest)


def _worn(one: DriftSeries) -> float:
    """What wear makes of a level by the middle of the usual dress cycle where it is proven, else amid the
    parts measured: there the mean does not depend on it. [um]"""
    if one.wear_um_per_part is None:
        return 0.0
    if one.wear_significant:
        return one.wear_um_per_part * ((one.current_dress_interval_parts or 1) - 1) / 2
    charts = one.charts
    return float(np.interp(charts.parts_since_dress, charts.saw_parts, charts.saw_curve_um).mean())


def _wear_error(one: DriftSeries) -> float:
    """Standard error of a mean level that the rate of proven wear adds, from amid the parts measured to the
    middle of the usual dress cycle. [um]"""
    if not one.wear_significant or one.wear_interval_um_per_part is None:
        return 0.0
    low, high = one.wear_interval_um_per_part
    middle = ((one.current_dress_interval_parts or 1) + 1) / 2
    return (high - low) / 4 * abs(middle - float(one.charts.parts_since_dress.mean()))


def _vectors(members: Members, scatter: Mapping[tuple[str, Flank | None], float]) -> Iterator[_Found]:
    from scipy import special

    for key, order_of in (("eccentricity", "runout_order_1"), ("tilt", None)):
        x = _levels(members.get((f"{key}_0_deg", None)), members.get((f"{key}_90_deg", None)))
        n = len(x)
        if n < FEWEST_CYCLES:
            continue
        both = [members[f"{key}_{angle}_deg", None] for angle in (0, 90)]
        by_wear = [_wear_error(one) ** 2 + 1e-12 for one in both]
        mean, covariance = x.mean(axis=0), np.cov(x, rowvar=False) / n + np.diag(by_wear)
        size = float(np.hypot(*mean))
        along = mean / size if size else np.array([1.0, 0.0])
        square = float(mean @ np.linalg.solve(covariance, mean))
        p = float(special.fdtrc(2, n - 2, square * (n - 2) / (2 * (n - 1))))
        phase = math.degrees(math.atan2(mean[1], mean[0])) % 360
        u = 2 * math.sqrt(float(along @ covariance @ along))
        one = Component(key, None, 1, size, phase, u, False, {}, scatter_um=_scatter(both) / math.sqrt(2))
        if order_of is not None and (series := members.get((order_of, None))) is not None:
            each = _of_size(series, key, 1, scatter.get((order_of, None)))
            if each is not None and size**2 < each.component.amplitude_um**2 / 2 and each.p < p:
                yield _Found(replace(each.component, origin="clamping"), each.p)
                continue
        yield _Found(one, p)


def _sizes(members: Members, scatter: Mapping[tuple[str, Flank | None], float]) -> Iterator[_Found]:
    for (key, flank), series in members.items():
        u = scatter.get((key, flank))
        found = None
        if key.startswith("runout_order_") and key != "runout_order_1":
            found = _of_size(series, "lobes", int(key.removeprefix("runout_order_")), u)
        elif key == "pitch_order_1":
            found = _of_size(series, "tangential", 1, u)
        elif key == "pitch_ramp":
            found = _of_size(series, "pitch_ramp", None, u)
        elif key == "twist":
            found = _of_mean("twist", flank, _levels(series)[:, 0], _wear_error(series))
        if found is not None:
            yield found


def _of_size(series: DriftSeries, key: str, order: int | None, u: float | None) -> _Found | None:
    """The size of a wave, against the size that chance alone has."""
    from scipy import special

    x = _levels(series)[:, 0]
    if len(x) < FEWEST_CYCLES:
        return None
    error = math.hypot(float(x.std(ddof=1)) / math.sqrt(len(x)), _wear_error(series))
    size, p = float(x.mean()), 1.0
    if u:
        over = size / (u / 2)
        if order is None:
            p = 0.0 if over > RAMP_OF_CHANCE else 1.0
        else:
            p = float(special.ndtr(-(over - RAYLEIGH[0]) / RAYLEIGH[1] * math.sqrt(len(x))))
    return _Found(Component(key, None, order, size, None, 2 * error, False, {}), p)


def _of_mean(key: str, flank: Flank | None, x: Array, wear_error: float = 0.0) -> _Found | None:
    from scipy import special

    if len(x) < FEWEST_CYCLES:
        return None
    mean, error = float(x.mean()), math.hypot(float(x.std(ddof=1)) / math.sqrt(len(x)), wear_error)
    p = 2 * float(special.stdtr(len(x) - 1, -abs(mean) / max(error, 1e-12)))
    return _Found(Component(key, flank, None, mean, None, 2 * error, False, {}), p)


def _shapes(members: Members, traced: TracedPart) -> Iterator[_Found]:
    """Slopes and crownings off their design: what the flanks share and what they differ by."""
    setup = traced.setup
    hand = setup.geometry.s * (setup.geometry.H or 1)
    specs = setup.specs
    for kind, alike, apart in TRACED:
        if first_order_alike(traced, kind):
            continue
        for what in ("slope", "crowning"):
            both = [members.get((f"{kind}_{what}", flank)) for flank in FLANKS]
            x = _levels(*both)
            spec = specs[kind]
            if not len(x) or spec is None:
                continue
            design = setup.part.design.profile if kind == "profile" else setup.part.design.helix
            rise = graded_rise(setup, kind) if what == "slope" else 1.0
            left, right = (x.T - (design.crowning_um if what == "crowning" else 0.0)) / rise
            names = (alike, apart) if what == "slope" else (f"{kind}_crowning", f"{kind}_crowning_asymmetry")
            halves = [(left + right) / 2, (right - left) / 2]
            if (kind, what) == ("helix", "slope"):
                halves = [hand * halves[1], halves[0]]
            for name, half in zip(names, halves, strict=True):
                known = [one for one in both if one is not None]
                wear_error = math.hypot(*map(_wear_error, known)) / 2 / rise
                if (found := _of_mean(name, None, half, wear_error)) is not None:
                    scatter = _scatter(known) / 2 / rise
                    yield replace(found, component=replace(found.component, scatter_um=scatter))


def _scatter(series: Sequence[DriftSeries]) -> float:
    """Standard deviation of the sum of two values of one part, parts and cycles together."""
    return math.hypot(*(one.sd_um or 0.0 for one in series))


# --- what they make -----------------------------------------------------------------------------


def _means(members: Members) -> Means:
    """Mean level of each parameter by flank, since its last change."""
    found: dict[str, dict[Flank | None, float]] = {}
    for (key, flank), one in members.items():
        if key not in COMPONENTS and len(x := _levels(one)):
            found.setdefault(key, {})[flank] = float(x.mean())
    return found


def _shares(one: Component, means: Means, setup: PartSetup) -> dict[str, float]:
    """Share of each deviation of the mean gear that goes with a component."""
    g = setup.geometry
    found = {}
    tan = math.tan(g.alpha_t)
    ranges = {
        "eccentricity": (2.0, 2 / math.cos(g.alpha_t)),
        "lobes": (2.0, 2 * math.hypot(1 / (one.order or 1), tan)),
        "tangential": (0.0, 2.0),
        "pitch_ramp": (0.0, 1.0),
    }
    if one.key in ranges:
        for parameter, per_um in zip(("runout", "cumulative_pitch"), ranges[one.key], strict=True):
            known = [value for value in means.get(parameter, {}).values() if value > 0]
            if known and per_um:
                found[parameter] = min(1.0, per_um * one.amplitude_um / max(known))
    for kind, alike, apart in TRACED:
        if one.key in (alike, apart):
            slopes = means.get(f"{kind}_slope", {})
            if len(slopes) == len(FLANKS):
                sign, graded = _sign_on(one.key, setup), graded_rise(setup, kind) * one.amplitude_um
                rest = max(abs(slopes[f] - sign[f] * graded) for f in FLANKS)
                worst = max(abs(slopes[f]) for f in FLANKS)
                found[f"{kind}_slope"] = max(0.0, 1 - rest / worst) if worst else 0.0
    return {key: share for key, share in found.items() if share > 0}


def _sign_on(key: str, setup: PartSetup) -> dict[Flank, float]:
    """What one micrometre of a component makes of the slope of each flank."""
    hand = setup.geometry.s * (setup.geometry.H or 1)
    if key in ("pressure_angle", "taper"):
        return {"left": 1.0, "right": 1.0}
    side = hand if key == "lead" else 1.0
    return {"left": -side, "right": side}


def _used(one: Component, members: Members, means: Means) -> float:
    """Largest part of a tolerance that a component uses up on the mean gear."""
    found = [0.0]
    for parameter, share in one.explains.items():
        for (key, flank), series in members.items():
            limits = [abs(limit) for limit in series.limit_um if limit]
            if key == parameter and limits:
                found.append(share * abs(means.get(parameter, {}).get(flank, 0.0)) / min(limits))
    return max(found)


# --- what cannot be told ------------------------------------------------------------------------


def _hidden(
    members: Members, scatter: Mapping[tuple[str, Flank | None], float], traced: TracedPart
) -> Iterator[NotIdentifiable]:
    gears = max(one.gears for one in members.values())
    orders = {key: one for (key, _), one in members.items() if key.startswith("runout_order_")}
    if not orders:
        reason = "of no gear pitch of both flanks or balls of all spaces are kept"
        alike = sorted({order for _, order in waves_as_shapes(traced.teeth, traced.setup)})
        if alike:
            teeth = len(set().union(*traced.teeth.values()))
            count = count_text(teeth, "traced tooth", "traced teeth")
            reason += f"; on the {count} a wave of order {alike[0]} looks like pressure angle, lead or taper"
        yield NotIdentifiable("eccentricity", reason, f"{BALLS}; what a store took in before version 0.4.0: "
                              "gearqa history regrade --from-files")  # fmt: skip
    elif (have := max(one.gears for one in orders.values())) < gears:
        yield NotIdentifiable(
            "eccentricity", f"kept of {have} of {count_text(gears, 'gear')} only",
            f"{BALLS}; what a store took in before version 0.4.0: gearqa history regrade --from-files",
        )  # fmt: skip
    if orders and not any(key in orders for key, _ in scatter):
        yield NotIdentifiable(
            "lobes", "how large orders come out by chance is kept from version 0.5.0 on",
            "newer gears, or gearqa history regrade --from-files",
        )  # fmt: skip
    for kind, alike_key, apart_key in TRACED:
        if first_order_alike(traced, kind):
            reason = f"on the {kind} traces eccentricity, tilt and errors of the table look the same"
            for key in (alike_key, apart_key):
                yield NotIdentifiable(key, reason, ROUND.replace("helices", f"{kind} traces"))
            continue
        flanks = [flank for flank in FLANKS if (f"{kind}_slope", flank) in members]
        if len(flanks) == 1:
            reason = f"{kind} traces of the {flanks[0]} flank only: what the flanks share is not known"
            yield NotIdentifiable(alike_key, reason, f"{kind} traces of both flanks")
    if not any(key == "twist" for key, _ in members):
        yield NotIdentifiable("twist", "each flank is measured at one place only", PLACES)
    short = [one for one in members.values() if len(_levels(one)) < FEWEST_CYCLES]
    if short:
        few = (
            FEWEST_ON_A_LINE
            if all(one.level_trend_um_per_cycle is not None for one in short)
            else FEWEST_CYCLES
        )
        since = any(one.segment_from_cycle > 1 for one in short)
        reason = f"fewer than {few} dress cycles" + (
            " since the last level change or recorded correction" if since else ""
        )
        yield NotIdentifiable("level", reason, "the next cycles")
