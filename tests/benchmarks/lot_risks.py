"""Bounds and risks of a lot, stated and found by simulation, through the program's own functions.

    python tests/benchmarks/lot_risks.py [--runs 1000] [bounds] [lognormal] [risks]

Found figures of 1000 runs are uncertain by about 0.014 (0.95) and 0.028 (0.3), two standard errors.
"""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path

import numpy as np
from scipy import optimize, stats

sys.path.insert(0, str(Path(__file__).parents[1]))
import lot_factory
from lot_factory import make_gear, make_header, make_part, make_production

from gearqa.evaluation.criteria import Criteria, criteria_of
from gearqa.model.lot import LotResult
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.signoff.lot import sign_off

_criteria: dict[int, Criteria] = {}


def _criteria_once(part: Part) -> Criteria:
    """The factory of gears asks for the criteria of its one drawing again and again."""
    if id(part) not in _criteria:
        _criteria[id(part)] = criteria_of(part)
    return _criteria[id(part)]


lot_factory.criteria_of = _criteria_once
GRID = ((2, 10), (3, 7), (4, 5), (5, 10), (5, 4), (10, 5), (20, 3))
COMMON = (0.0, 0.2, 0.5, 0.8)
INDEX = 1.33
COVERAGE = 0.99
LOT_SIZE = 400


def part_with(key: str, expanded: float | None = None) -> Part:
    """A drawing that asks for one parameter only."""
    return make_part({} if expanded is None else {key: expanded}, parameters=[key])


def decided(
    key: str, part: Part, values: np.ndarray, cycles: np.ndarray | None = None, **plan: object
) -> LotResult:
    """The sign-off of a lot of 400 by gears with these values."""
    rows = [None] * len(values)
    if cycles is not None:
        count = int((cycles == cycles[0]).sum())
        length = LOT_SIZE / len(set(cycles.tolist()))
        rows = [
            make_production(
                i, cycle=int(c), parts_since_dress=1 + round(i % count * (length - 1) / max(1, count - 1))
            )
            for i, c in enumerate(cycles)
        ]
    gears = [
        make_gear(f"G{i}", part, {key: float(v)}, production=row)
        for i, (v, row) in enumerate(zip(values, rows, strict=True))
    ]
    rules = Plan.model_validate(plan, by_alias=True)
    return sign_off(make_header(part), part, gears, rules, lot_size=LOT_SIZE)


def bounds(runs: int) -> None:
    """Lower bound of Ppk and tolerance interval with known dress cycles."""
    part = part_with("helix_slope")
    limit = criteria_of(part).of["helix_slope", "left"].tolerance
    assert limit is not None
    sd = limit / (3 * INDEX)
    print(f"\nbounds with dress cycles: true index {INDEX}, stated 0.95, {runs} runs")
    print("cycles x gears  common   Ppk bound holds  median   99 % interval holds")
    for count, size in GRID:
        for common in COMMON:
            rng = np.random.default_rng(count * 1000 + size * 10 + int(10 * common))
            cycles = np.repeat(np.arange(count), size)
            held, inside, found = 0, 0, []
            for _ in range(runs):
                level = rng.normal(size=count)[cycles] * math.sqrt(common)
                x = sd * (level + rng.normal(size=cycles.size) * math.sqrt(1 - common))
                one = decided("helix_slope", part, x, cycles).parameters["helix_slope"]["left"]
                assert one.ppk_lower_bound is not None
                found.append(one.ppk_lower_bound)
                held += one.ppk_lower_bound <= INDEX
                if one.tolerance_interval_um is None:
                    inside += 1
                    continue
                low, high = one.tolerance_interval_um
                assert low is not None
                inside += stats.norm.cdf(high / sd) - stats.norm.cdf(low / sd) >= COVERAGE
            row = f"{count:3d} x {size:2d}        {common:.1f}      {held / runs:.3f}            "
            print(f"{row}{np.median(found):.2f}     {inside / runs:.3f}", flush=True)


def mixed_quantile(shift: float) -> float:
    """99 % quantile of normal values, 5 % of which lie so much higher."""
    return float(optimize.brentq(
        lambda q: 0.95 * stats.norm.cdf(q) + 0.05 * stats.norm.cdf(q - shift) - COVERAGE, 0, shift + 6
    ))  # fmt: skip


def lognormal(runs: int) -> None:
    """Tolerance interval of a form deviation that is lognormal, or not."""
    part = part_with("helix_form")
    cases = {
        "lognormal": (lambda rng, n: 0.3 * rng.normal(size=n), 0.3 * stats.norm.ppf(COVERAGE)),
        **{
            f"shifted exponential, shift {shift:g}": (
                lambda rng, n, a=shift: np.log(a + rng.exponential(size=n)),
                math.log(shift - math.log(1 - COVERAGE)),
            )
            for shift in (0.5, 1.0, 2.0, 5.0)
        },
        **{
            f"5 % second population, {shift:g} sd higher": (
                lambda rng, n, d=shift: 0.3 * (rng.normal(size=n) + d * (rng.random(n) < 0.05)),
                0.3 * mixed_quantile(shift),
            )
            for shift in (2.0, 3.0, 4.0, 6.0, 10.0)
        },
    }
    print(f"\nlognormal tolerance interval, 99 % of the lot, stated 0.95, {runs} runs")
    print("n     values                                  stated   wrongly stated (of all samples)")
    for n in (43, 90, 125, 200):
        for name, (draw, quantile) in cases.items():
            rng = np.random.default_rng(n)
            stated = wrong = 0
            for _ in range(runs):
                one = decided("helix_form", part, np.exp(draw(rng, n))).parameters["helix_form"]["left"]
                if one.tolerance_interval_um is not None:
                    stated += 1
                    wrong += math.log(one.tolerance_interval_um[1]) < quantile
            print(f"{n:3d}   {name:40s} {stated / runs:.3f}    {wrong / runs:.3f}", flush=True)
            if n < 90:
                break


def risks(runs: int) -> None:
    """Producer's and consumer's risk of the decision, over lots of 400, sample 43, acceptance number 0."""
    limit = criteria_of(part_with("helix_slope")).of["helix_slope", "left"].tolerance
    assert limit is not None
    print(f"\nrisks of the decision, 43 of 400, Ac 0, {runs} runs; stated: median over the runs")
    print(
        "rule                 U/T    sd/T   producer: plan  stated  found    "
        "consumer: plan  stated  at most  found"
    )
    for rule in ("guarded acceptance", "simple acceptance"):
        for share, spread in ((0.05, 0.10), (0.15, 0.10), (0.15, 0.06)):
            width = 2 * limit
            part, u, sd = part_with("helix_slope", share * width), share * width / 2, spread * width
            row, plan = [], {"decision": {"rule": rule}}
            for quality, want in (("good", True), ("bad", False)):
                rng = np.random.default_rng(int(1000 * share + 100 * spread))
                count, at, most, plan_risk = 0, [], [], 0.0
                fraction = 0.05
                for _run in range(runs):
                    if quality == "good":
                        fraction = 1 - 0.95 ** (1 / 43)
                        true = limit - stats.norm.ppf(1 - fraction) * sd + sd * rng.normal(size=43)
                    else:
                        true = lot_with(rng, fraction, limit, sd)[:43]
                    lot = decided("helix_slope", part, true + u * rng.normal(size=43), **plan)
                    count += (lot.decision == "release") is not want
                    assert lot.risks is not None
                    plan_risk = lot.risks.producer_plan if want else lot.risks.consumer_plan
                    known = lot.risks.producer if want else lot.risks.consumer
                    at += [] if known is None else [known]
                    most.append(lot.risks.consumer_at_most)
                row.append(f"{plan_risk:.3f}           {np.median(at) if at else math.nan:.3f}   ")
                row.append("" if want else f"{most[0]:.3f}    ")
                row.append(f"{count / runs:.3f}    ")
            print(f"{rule:20s} {share:.2f}   {spread:.2f}   {''.join(row)}", flush=True)
    print("\nbad by u/4: 20 of 400 lie u/4 beyond the limit, all others far inside")
    for rule, known in (("guarded acceptance", True), ("simple acceptance", True), ("unknown U", False)):
        u = 0.15 * limit
        part = part_with("helix_slope", 2 * u if known else None)
        plan = {"decision": {"rule": rule}} if known else {}
        rng, passed, lot = np.random.default_rng(4), 0, None
        for _ in range(runs):
            true = np.zeros(LOT_SIZE)
            true[:20] = limit + u / 4
            rng.shuffle(true)
            lot = decided("helix_slope", part, true[:43] + u * rng.normal(size=43), **plan)
            passed += lot.decision == "release"
        assert lot is not None
        assert lot.risks is not None
        stated = f"plan alone {lot.risks.consumer_plan:.3f}, at most {lot.risks.consumer_at_most:.3f}"
        print(f"{rule:20s} {stated}, found {passed / runs:.3f}", flush=True)


def lot_with(rng: np.random.Generator, fraction: float, limit: float, sd: float) -> np.ndarray:
    """A lot of 400 in random order with exactly this fraction beyond its upper limit."""
    mean, bad = limit - stats.norm.ppf(1 - fraction) * sd, round(fraction * LOT_SIZE)
    tail, body = rng.random(bad) * fraction, fraction + rng.random(LOT_SIZE - bad) * (1 - fraction)
    lot = mean + sd * stats.norm.isf(np.concatenate([tail, body]))
    return np.asarray(rng.permutation(lot))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("tables", nargs="*", choices=["bounds", "lognormal", "risks"], default=[])
    parser.add_argument("--runs", type=int, default=1000)
    given = parser.parse_args()
    for name in given.tables or ["bounds", "lognormal", "risks"]:
        {"bounds": bounds, "lognormal": lognormal, "risks": risks}[name](given.runs)
