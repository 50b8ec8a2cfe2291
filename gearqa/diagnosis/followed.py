"""Components that drift follows from gear to gear: by one plain least squares fit, without any selection.

What `diagnose` names of a gear is picked by tests, which makes a poor series: it comes and goes. Here each
component is the same linear function of the readings on every gear, so that it scatters like a reading.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gearqa.arrays import Array, IntArray
from gearqa.diagnosis import effects as made
from gearqa.diagnosis.alike import alike_orders
from gearqa.diagnosis.decomposition import MOST_LOBES
from gearqa.diagnosis.effects import Effect
from gearqa.diagnosis.observations import Layout, by_flank
from gearqa.errors import NoticeCode
from gearqa.evaluation.evaluate import evaluate_with
from gearqa.evaluation.gaps import DOUBTS
from gearqa.evaluation.part_setup import PartSetup
from gearqa.model.measurement import GearMeasurement, Trace
from gearqa.model.results import ComponentFigure, GearResult, TraceResult
from gearqa.statistics.grouped_fit import identifiable
from gearqa.symbols import FLANKS, Flank

LOBES: Final = (2, 3, 4, 6)
"""Orders of runout that are followed on any grinder (common practice, no source: usual numbers of jaws and
pads); the number of jaws of the part file and of evenly spaced traced teeth are two more."""
MOST_GAIN: Final = 5.0
"""Scatter of a component over that of a reading from which the readings do not tell it."""
WITHOUT: Final = DOUBTS - {NoticeCode.TOO_FEW_TEETH}
"""Readings in doubt: of such a gear nothing is followed."""


def with_components(
    gears: Iterable[GearMeasurement], setup: PartSetup, plans: Plans | None = None
) -> Iterator[tuple[GearMeasurement, GearResult]]:
    """Grade gears one after another, each given back with its result, which holds its components.

    `plans` is for several calls for gears of one part: it holds what later ones need not work out again.
    """
    plans = {} if plans is None else plans
    for gear, result in evaluate_with(gears, setup):
        yield gear, replace(result, components=_components(gear, result, setup, plans))


@dataclass(frozen=True, eq=False, slots=True)
class _Plan:
    """What is the same for all gears that were looked at in the same places."""

    together: Array
    """Slopes of the traces to what the fit sees of them. shape (traces, traces)"""
    functions: Array
    """Readings to amplitudes. shape (amplitudes, n)"""
    vectors: tuple[IntArray, IntArray]
    """Places of the two amplitudes of what has a direction."""
    named: tuple[tuple[str, Flank | None, int], ...]
    """Components that the readings tell: place among the amplitudes, sizes of the vectors behind them."""
    per_reading: tuple[float, ...]
    """Scatter of each of them over that of a reading; of a size that of one direction."""
    columns: Array
    """Amplitudes to readings. shape (n, amplitudes)"""
    freedom: int
    ramps: Array
    """Ramps with a step before each tooth, less what the fit takes up, of length 1. shape (n, z)"""
    per_um: Array
    """Length of each of them for a step of one micrometre. shape (z,)"""


Plans = dict[tuple[object, ...], _Plan | None]


def _components(
    gear: GearMeasurement,
    result: GearResult,
    setup: PartSetup,
    plans: Plans,
) -> tuple[ComponentFigure, ...]:
    if any(one.code in WITHOUT for one in result.not_assessed):
        return ()
    pitch = [gear.pitch[flank].index_um for flank in FLANKS if flank in gear.pitch]
    readings = np.concatenate(pitch) if len(pitch) == len(FLANKS) else None
    both = readings is not None and bool(np.isfinite(readings).all())
    if not both:
        readings = None if gear.runout is None else gear.runout.radial_um
    if readings is None or not (both or np.isfinite(readings).all()):
        return ()
    key = (both, *((one.kind, one.flank, one.tooth, one.label_mm) for one in result.traces))
    if key not in plans:
        plans[key] = _plan(gear, result.traces, setup, both=both)
    plan = plans[key]
    if plan is None:
        return ()
    if result.traces:
        slopes = plan.together @ np.array([one.slope_full_um for one in result.traces])
        readings = np.concatenate([slopes, readings])
    return tuple(_figures(plan, readings))


def _figures(plan: _Plan, y: Array) -> Iterator[ComponentFigure]:
    theta = plan.functions @ y
    first, second = plan.vectors
    values = [*theta.tolist(), *np.hypot(theta[first], theta[second]).tolist()]
    rest = y - plan.columns @ theta
    twice = 2 * math.sqrt(rest @ rest) / math.sqrt(plan.freedom) if plan.freedom > 0 else None
    for (key, flank, at), gain in zip(plan.named, plan.per_reading, strict=True):
        yield ComponentFigure(key, flank, values[at], None if twice is None else twice * gain)
    if plan.ramps.size:
        along = plan.ramps.T @ y
        best = int(np.argmax(np.abs(along)))
        u = None if twice is None else float(twice / plan.per_um[best])
        yield ComponentFigure("pitch_ramp", None, float(abs(along[best]) / plan.per_um[best]), u)


def _named(
    places: Sequence[tuple[Effect, slice]], amplitudes: int
) -> tuple[tuple[IntArray, IntArray], tuple[tuple[str, Flank | None, int], ...]]:
    """Pairs of amplitudes whose size is wanted, and where each component stands: among the amplitudes, or
    among the sizes behind them."""
    pairs: list[tuple[int, int]] = []
    named: list[tuple[str, Flank | None, int]] = []
    for effect, place in places:
        at, size = place.start, amplitudes + len(pairs)
        if place.stop - at > 1:
            pairs.append((at, at + 1))
        if effect.key in ("eccentricity", "tilt"):
            named += [(f"{effect.key}_0_deg", None, at), (f"{effect.key}_90_deg", None, at + 1)]
        if effect.key in ("eccentricity", "lobes"):
            named.append((f"runout_order_{effect.order}", None, size))
        elif effect.key == "tangential":
            named.append(("pitch_order_1", None, size))
        elif effect.key == "twist":
            named.append(("twist", effect.flank, at))
    both: IntArray = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return (both[:, 0], both[:, 1]), tuple(named)


def _plan(
    gear: GearMeasurement, traces: Iterable[TraceResult], setup: PartSetup, *, both: bool
) -> _Plan | None:
    g = setup.geometry
    teeth: IntArray = np.arange(g.z, dtype=np.int64)
    at = {(one.kind, one.flank, one.tooth, one.label_mm): one for one in gear.traces}
    looked_at: list[Trace] = [at[one.kind, one.flank, one.tooth, one.label_mm] for one in traces]
    pitch: tuple[tuple[Flank, IntArray], ...] = tuple((flank, teeth) for flank in FLANKS) if both else ()
    layout = Layout(setup, tuple(looked_at), pitch, teeth[:0] if both else teeth, runout_less_pitch=())
    kept = np.concatenate(
        [3 * np.arange(len(looked_at)), np.arange(3 * len(looked_at), len(layout.groups))]
    )  # of a trace its slope
    wanted = (
        made.eccentricity(),
        *((made.on_whole_teeth(made.tangential_order(1)),) if both else ()),
        *made.mean_shapes(g.s, g.H),
        made.tilt(),
        *(
            made.lobes(n) if both else _as_balls_see_it(made.lobes(n))
            for n in _orders(setup, (one.tooth for one in looked_at))
        ),
    )
    zeros = layout.nuisance()[kept]
    responses = [response[kept] for response in layout.responses(wanted)]
    can = identifiable(zeros, responses)
    those = [(effect, r) for effect, r, yes in zip(wanted, responses, can, strict=True) if yes]
    X = np.concatenate([zeros, *(r for _, r in those)], axis=1)
    functions = np.linalg.pinv(X)
    places, first = [], zeros.shape[1]
    for effect, response in those:
        place = slice(first, first + response.shape[1])
        first = place.stop
        if float(np.linalg.norm(functions[place][:2], axis=1).max()) <= MOST_GAIN:
            places.append((effect, place))
    ramps, per_um = np.zeros((len(kept), 0)), np.zeros(0)
    if both:
        columns = layout.responses([made.pitch_ramp(tooth + 1, g.z) for tooth in teeth])
        ramps = np.concatenate([column[kept] for column in columns], axis=1)
        ramps = ramps - X @ (functions @ ramps)
        per_um = np.linalg.norm(ramps, axis=0)
        ramps = ramps / per_um
    vectors, named = _named(places, len(functions))
    gains = np.linalg.norm(functions, axis=1)
    pairs = [max(gains[i], gains[j]) for i, j in zip(*vectors, strict=True)]
    per_reading = tuple(float(([*gains, *pairs])[at]) for _, _, at in named)
    freedom = len(X) - int(np.linalg.matrix_rank(X))
    together = by_flank(looked_at)[0]
    return _Plan(together, functions, vectors, named, per_reading, X, freedom, ramps, per_um)


def _as_balls_see_it(lobes: Effect) -> Effect:
    """Lobes without the free part along the arc, which hardly moves a ball."""
    return replace(lobes, columns=lambda at: lobes.columns(at)[:2])


def _orders(setup: PartSetup, teeth: Iterable[int]) -> list[int]:
    jaws = {one.jaws for one in setup.part.grinder.values() if one.jaws is not None}
    highest = min(MOST_LOBES, (setup.geometry.z - 1) // 2)
    alike = alike_orders(teeth, setup.geometry.z)[:1]
    return sorted(n for n in {*LOBES, *jaws, *alike} if n <= highest)
