"""The joint fit of one gear: which errors are in it, how large, how sure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import accumulate, pairwise
from typing import Final

import numpy as np

from gearqa.arrays import Array, BoolArray
from gearqa.diagnosis import effects as made
from gearqa.diagnosis.effects import Effect
from gearqa.diagnosis.observations import GROUPS, Layout, layout_key, observe
from gearqa.diagnosis.points import FlankPoints
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.measurement import GearMeasurement
from gearqa.statistics.grouped_fit import Candidates, GroupedFit, best_block, grouped_fit, identifiable

FAMILY_RISK: Final = 0.004
"""Chance that a report on gears without errors names one, over all tests together."""
USUAL_SCATTER: Final = (0.3, 2.0)
"""Scatter between teeth in micrometres (common practice, no source), worth two observations."""
MOST_LOBES: Final = 12
"""Higher radial orders have nothing to do with clamping."""
MOST_FOUND: Final = 12
ROUGH: Final = 2.0
"""A gear with so many times the usual scatter is judged by its own."""
LONGEST_PATTERN: Final = 8
"""Wheel threads beyond which a pattern is not looked for unasked."""
GENERATED: Final = frozenset({"tangential"})
"""Errors that the table makes while flanks are generated, or whole teeth that sit wrong."""
TOLD_APART: Final = 3.0
"""Standard deviations of the share of whole teeth within which one of the two is taken, beyond which the
other is ruled out."""


@dataclass(frozen=True, eq=False, slots=True)
class Found:
    """One error with its amplitudes."""

    effect: Effect
    amplitudes: Array
    covariance: Array
    freedom: float
    p: float
    significant: bool


@dataclass(frozen=True, eq=False, slots=True)
class Decomposition:
    """What the joint fit found in one gear."""

    gear: GearMeasurement
    layout: Layout
    found: tuple[Found, ...]
    not_identifiable: tuple[Effect, ...]
    scatter: dict[str, float]
    """What is left, by kind of observation. [um]"""
    residual: Array = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True, eq=False, slots=True)
class _Plan:
    """What is the same for all gears of a layout."""

    layout: Layout
    base: tuple[Effect, ...]
    base_columns: Array
    base_blocks: tuple[slice, ...]
    hidden: tuple[Effect, ...]
    options: tuple[Effect, ...]
    option_columns: Candidates
    whole_teeth: dict[tuple[str, int | None], Array] = field(default_factory=dict)
    """How orders show that moved whole teeth, by key and order."""

    def of_whole_teeth(self, effect: Effect) -> Array:
        key = effect.key, effect.order
        if key not in self.whole_teeth:
            (self.whole_teeth[key],) = self.layout.responses([made.on_whole_teeth(effect)])
        return self.whole_teeth[key]


@dataclass(frozen=True, eq=False, slots=True)
class _Model:
    """What is fitted to one gear."""

    chosen: tuple[int, ...]
    """Numbers of the options."""
    columns: Array
    effects: tuple[Effect, ...]
    """Base and options."""
    blocks: tuple[slice, ...]
    """Columns of each effect, then of each share."""
    shares: tuple[tuple[int, Array], ...] = ()
    """Orders of which it is open how much moved whole teeth: numbers of the effects, and amplitudes of which
    a share did. One column each."""


Plans = dict[tuple[object, ...], _Plan]
"""What is the same for all gears of a layout and wheel, by both."""


def decompose(
    gears: Sequence[GearMeasurement],
    setup: PartSetup,
    *,
    threads: Sequence[int | None] = (),
    plans: Plans | None = None,
) -> list[Decomposition]:
    """Split the deviations of gears into physical errors.

    Parameters
    ----------
    gears : sequence of GearMeasurement
        Gears of one part.
    setup : PartSetup
        The part.
    threads : sequence of int or None, optional
        Threads of the grinding wheel of each gear; unknown: short patterns are looked for.
    plans : Plans, optional
        What earlier calls for this part worked out; grows.

    Returns
    -------
    list of Decomposition
        One a gear, in their order. The scatter of a kind of observation is the larger one of the gear's
        own and the median over the gears.
    """
    plans = {} if plans is None else plans
    seen = []
    for gear, of_wheel in zip(gears, threads or [None] * len(gears), strict=True):
        layout, y = observe(gear, setup)
        key = (*layout_key(layout), of_wheel)
        if key not in plans:
            plans[key] = _plan(layout, of_wheel)
        seen.append((gear, plans[key], y))
    if not seen:
        return []
    bounds = (
        FAMILY_RISK / 2 / max(1, sum(len(plan.base) for _, plan, _ in seen)),
        FAMILY_RISK / 2 / max(1, sum(len(plan.options) for _, plan, _ in seen)),
    )
    picked = [_search(plan, y, bounds) for _, plan, y in seen]
    common = _common_scatter([fit for fit, _ in picked])
    return [
        _decomposed(gear, plan, y, model, common, bounds)
        for (gear, plan, y), (_, model) in zip(seen, picked, strict=True)
    ]


def _plan(layout: Layout, threads: int | None) -> _Plan:
    zeros = layout.nuisance()
    wanted, untold = _wanted(layout)
    responses = layout.responses(wanted)
    can = identifiable(zeros, responses) & _seen(wanted, layout)
    told = {effect.key for effect, yes in zip(wanted, can, strict=True) if yes}
    if len(layout.pitch) == 1 and "eccentricity" in told and "tangential" not in told:
        untold += tuple(one for one in wanted if one.key in ("eccentricity", "tangential"))
        either = made.first_order(layout.pitch[0][0])
        wanted = tuple(
            either if one.key == "eccentricity" else one for one in wanted if one.key != "tangential"
        )
        responses = layout.responses(wanted)
        can = identifiable(zeros, responses) & _seen(wanted, layout)
    base = tuple(effect for effect, yes in zip(wanted, can, strict=True) if yes)
    blocks, columns = _side_by_side([r for r, yes in zip(responses, can, strict=True) if yes], zeros)
    options = _options(layout, threads)
    option_blocks, option_columns = _side_by_side(layout.responses(options), np.zeros((len(zeros), 0)))
    hidden = (*untold, *(effect for effect, yes in zip(wanted, can, strict=True) if not yes))
    return _Plan(
        layout,
        base,
        columns,
        blocks,
        hidden,
        options,
        Candidates(option_columns, option_blocks),
    )


def _wanted(layout: Layout) -> tuple[tuple[Effect, ...], tuple[Effect, ...]]:
    """Errors that are always fitted; and those that are not, since one flank was traced: what the flanks
    share and what they differ by would look alike, so that flank has a slope and a crowning of its own."""
    g = layout.setup.geometry
    shapes, untold = made.mean_shapes(g.s, g.H), tuple[Effect, ...]()
    for kind in ("profile", "helix"):
        traced = {trace.flank for trace in layout.traces if trace.kind == kind}
        if len(traced) == 1:
            halves = tuple(one for one in shapes if one.key in made.HALVES[kind])
            untold += halves
            shapes = (
                *made.of_one_flank(kind, traced.pop()),
                *(one for one in shapes if one.key not in made.HALVES[kind]),
            )
    return (*shapes, made.eccentricity(), made.tangential_order(1), made.tilt()), untold


def _seen(effects: Sequence[Effect], layout: Layout) -> BoolArray:
    """Whether a layout shows an error well enough: balls hardly move with teeth that move along the arc."""
    return np.array([effect.key != "tangential" or bool(layout.pitch) for effect in effects], dtype=np.bool_)


def _side_by_side(responses: Sequence[Array], before: Array) -> tuple[tuple[slice, ...], Array]:
    edges = accumulate((r.shape[1] for r in responses), initial=before.shape[1])
    blocks = tuple(slice(a, b) for a, b in pairwise(edges))
    return blocks, np.concatenate([before, *responses], axis=1)


def _options(layout: Layout, threads: int | None) -> tuple[Effect, ...]:
    """Errors that are looked for in pitch and ball readings; without those there are none."""
    if not layout.pitch and not len(layout.spaces):
        return ()
    g = layout.setup.geometry
    highest = (g.z - 1) // 2
    both_flanks = len(layout.pitch) == 2 or len(layout.spaces) > 0
    found: list[Effect] = []
    if both_flanks:
        found += [made.lobes(n) if n <= MOST_LOBES else made.radial_order(n) for n in range(2, highest + 1)]
    if layout.pitch:
        found += [made.tangential_order(n) for n in range(2, highest + 1)]
        found += [made.pitch_ramp(tooth, g.z) for tooth in range(1, g.z + 1)]
        found += [made.wheel_threads(period, g.z) for period in periods(g.z, threads)]
        found += [
            made.one_tooth(int(place) + 1, flank, g.z) for flank, teeth in layout.pitch for place in teeth
        ]
    return tuple(found)


def periods(z: int, threads: int | None) -> list[int]:
    """Periods of wheel threads that the teeth of a gear can show."""
    if threads is not None:
        shared = math.gcd(z, threads)
        return [shared] if shared > 1 else []
    return [period for period in range(2, LONGEST_PATTERN + 1) if z % period == 0 and z > 2 * period]


def _search(plan: _Plan, y: Array, bounds: tuple[float, float]) -> tuple[GroupedFit, _Model]:
    """Add the best of the options until none is significant any more, then drop what became needless."""
    model = _model(plan, ())
    fit = _fit(plan, y, model)
    allowed = np.ones(len(plan.options), dtype=bool)
    ramps = np.array([effect.key == "pitch_ramp" for effect in plan.options], dtype=bool)
    while len(model.chosen) < MOST_FOUND and allowed.any():
        number, p = best_block(fit, model.columns, plan.layout.groups, plan.option_columns, allowed)
        if number < 0 or p > bounds[1]:
            break
        allowed[number] = False
        if ramps[number]:
            allowed &= ~ramps
        model = _model(plan, (*model.chosen, number))
        fit = _fit(plan, y, model)
    while model.chosen:
        p_values = [fit.block_p(block) for block in model.blocks[len(plan.base) :]]
        worst = int(np.argmax(p_values))
        if p_values[worst] <= bounds[1]:
            break
        model = _model(plan, (*model.chosen[:worst], *model.chosen[worst + 1 :]))
        fit = _fit(plan, y, model)
    return _told_apart(plan, y, model, fit, bounds)


def _told_apart(
    plan: _Plan, y: Array, model: _Model, fit: GroupedFit, bounds: tuple[float, float]
) -> tuple[GroupedFit, _Model]:
    """Orders beyond chance as errors of the table or as whole teeth; both where the traces leave it open."""
    orders = {
        number: fit.theta[block]
        for number, (effect, block) in enumerate(zip(model.effects, model.blocks, strict=True))
        if effect.key in GENERATED
        and effect.flank is None
        and fit.block_p(block) <= _bound(plan, number, bounds)
    }
    if not orders:
        return fit, model
    model = _model(plan, model.chosen, shares=orders)
    fit = _fit(plan, y, model)
    whole = set()
    for (number, _), block in zip(model.shares, model.blocks[len(model.effects) :], strict=True):
        share, deviation = float(fit.theta[block][0]), math.sqrt(fit.covariance[block, block][0, 0])
        no_table, no_teeth = abs(share) > TOLD_APART * deviation, abs(share - 1) > TOLD_APART * deviation
        if no_table != no_teeth:
            del orders[number]
            if no_table:
                whole.add(number)
    model = _model(plan, model.chosen, whole, orders)
    return _fit(plan, y, model), model


def _bound(plan: _Plan, number: int, bounds: tuple[float, float]) -> float:
    return bounds[0] if number < len(plan.base) else bounds[1]


def _fit(plan: _Plan, y: Array, model: _Model, known: tuple[Array, Array] | None = None) -> GroupedFit:
    groups = plan.layout.groups
    return grouped_fit(y, model.columns, groups, len(GROUPS), expected=USUAL_SCATTER, known=known)


def _model(
    plan: _Plan,
    chosen: tuple[int, ...],
    whole_teeth: Iterable[int] = (),
    shares: Mapping[int, Array] | None = None,
) -> _Model:
    effects = [*plan.base, *(plan.options[number] for number in chosen)]
    options = [plan.option_columns.columns[:, plan.option_columns.of_block[number]] for number in chosen]
    more, columns = _side_by_side(options, plan.base_columns)
    blocks = [*plan.base_blocks, *more]
    for number in whole_teeth:
        columns[:, blocks[number]] = plan.of_whole_teeth(effects[number])
        effects[number] = made.on_whole_teeth(effects[number])
    told: list[tuple[int, Array]] = []
    their: list[Array] = []
    for number, amplitudes in (shares or {}).items():
        apart = plan.of_whole_teeth(effects[number]) - columns[:, blocks[number]]
        share = (apart @ amplitudes)[:, None]
        if identifiable(columns, [*their, share])[-1]:
            their.append(share)
            told.append((number, amplitudes))
    more, columns = _side_by_side(their, columns)
    return _Model(chosen, columns, tuple(effects), (*blocks, *more), tuple(told))


def _common_scatter(fits: Sequence[GroupedFit]) -> tuple[Array, Array]:
    """Scatter of each kind over the gears and its freedom, without gears that are far rougher than most;
    NaN where no gear tells."""
    squares = np.stack([fit.scatter**2 for fit in fits])
    freedom = np.stack([fit.group_freedom for fit in fits])
    common, total = np.full(len(GROUPS), np.nan), np.zeros(len(GROUPS))
    for kind in range(len(GROUPS)):
        tells = np.isfinite(squares[:, kind]) & (freedom[:, kind] > 0)
        if not tells.any():
            continue
        s2, nu = squares[tells, kind], freedom[tells, kind]
        near = s2 <= ROUGH**2 * np.median(s2)
        total[kind] = nu[near].sum()
        common[kind] = math.sqrt(float((s2 * nu)[near].sum() / total[kind]))
    return common, total


def _decomposed(
    gear: GearMeasurement,
    plan: _Plan,
    y: Array,
    model: _Model,
    common: tuple[Array, Array],
    bounds: tuple[float, float],
) -> Decomposition:
    fit = _fit(plan, y, model, common)
    shares = dict(zip(dict(model.shares), model.blocks[len(model.effects) :], strict=True))
    found = []
    for number, effect in enumerate(model.effects):
        block = model.blocks[number]
        p = fit.block_p(block)
        one = Found(
            effect,
            fit.theta[block],
            fit.covariance[block, block],
            float(fit.freedom[block].min()),
            p,
            p <= _bound(plan, number, bounds),
        )
        if effect.key in GENERATED:
            share, of = shares.get(number), dict(model.shares).get(number)
            one = _in_two_parts(one, fit, block, share, of, plan.base[number])
        found.append(one)
    scatter = {
        name: float(value) for name, value in zip(GROUPS, fit.scatter, strict=True) if np.isfinite(value)
    }
    return Decomposition(gear, plan.layout, tuple(found), plan.hidden, scatter, fit.residual)


def _in_two_parts(
    one: Found, fit: GroupedFit, order: slice, share: slice | None, of: Array | None, generated: Effect
) -> Found:
    """An order with its own amplitudes, and as many again for what whole teeth that moved make more: all of
    them, none, or where that is open a share."""
    q = order.stop - order.start
    whole = made.on_whole_teeth(generated)
    places = [*range(order.start, order.stop)]
    again = np.eye(q) if one.effect is not generated else np.zeros((q, q))
    into = np.concatenate([np.eye(q), again])
    if share is not None and of is not None:
        places.append(share.start)
        into = np.block([[np.eye(q), np.zeros((q, 1))], [np.zeros((q, q)), of[:, None]]])

    of_these = fit.covariance[np.ix_(places, places)]
    known = np.isfinite(of_these).all()

    def columns(at: FlankPoints) -> Array:
        before = generated.columns(at)
        return np.concatenate([before, whole.columns(at) - before])

    return replace(
        one,
        effect=replace(generated, columns=columns),
        amplitudes=into @ fit.theta[places],
        covariance=into @ of_these @ into.T if known else np.full((2 * q, 2 * q), np.inf),
    )
