"""What drift analysis states against what invented histories of known truth give.

Run by hand, from the root of the project: python tests/benchmarks/drift_claims.py [--runs N] [TABLE ...]
The generator is its own: it shares no code with `gearqa`. Rates come with their standard error.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
from scipy.special import ndtr

from gearqa.drift.analysis import analyse_observations
from gearqa.model.drift import DriftResult, DriftSeries, DriftSettings, Observation
from gearqa.model.measurement import GrinderEvent

Array = np.ndarray
SERIES = [(name, flank) for name in ("single_pitch", "cumulative_pitch", "profile_slope", "profile_crowning",
          "helix_slope", "helix_crowning") for flank in ("left", "right")] + [("runout", None)]  # fmt: skip
VECTORS = [(key, None) for key in ("eccentricity_0_deg", "eccentricity_90_deg", "tilt_0_deg", "tilt_90_deg")]
SIZES = [
    (key, None) for key in (*(f"runout_order_{n}" for n in (1, 2, 3, 4, 6)), "pitch_order_1", "pitch_ramp")
]
"""Components: vectors, and sizes of vectors in any direction, which are skewed."""
START = datetime(2026, 1, 5, 6)
PART_TIME = 90.0
PARTS = 40
SD_CYCLE, SD_PART = 0.35, 0.25


def straight(rate: float) -> Callable[[Array], Array]:
    return lambda s: rate * s


def saturating(s: Array) -> Array:
    return 2.0 * (1 - np.exp(-s / 8.0))


def accelerating(s: Array) -> Array:
    return 2.0 * (s / (PARTS - 1)) ** 2


def run_in(s: Array) -> Array:
    return 1.2 * (1 - np.exp(-s / 4.0)) + 0.02 * s


@dataclass
class Truth:
    """One series of a history; every part is drawn, some are measured."""

    cycles: int = 40
    positions: tuple[int, ...] = (0, 19, 39)
    wear: Callable[[Array], Array] = field(default_factory=lambda: straight(0.0))
    limits: tuple[float | None, float | None] = (-6.0, 6.0)
    steps: tuple[tuple[int, float], ...] = ()
    """First cycle (from 0) at a new level, and its size."""
    trend: float = 0.0
    rho: float = 0.0
    label: Callable[[int, Array], Array] | None = None
    """Effect of a label by cycle and part."""
    skew: bool = False
    sd_part: float = SD_PART
    noise_growth: float = 0.0
    sd_cycle: float = SD_CYCLE
    spread: float = 0.0
    size: bool = False
    """The length of a vector of two such values."""

    def levels(self, rng: np.random.Generator) -> Array:
        """Level of each cycle and of the one to come. shape (cycles + 1,)"""
        n = self.cycles + 1
        noise = rng.standard_normal(n) if not self.skew else rng.exponential(1.0, n) - 1
        for c in range(1, n) if self.rho else ():
            noise[c] = self.rho * noise[c - 1] + math.sqrt(1 - self.rho**2) * noise[c]
        level = self.sd_cycle * noise + self.trend * np.arange(n)
        for first, size in self.steps:
            level[first:] += size
        return level

    def level_ahead(self) -> float:
        return self.trend * self.cycles + sum(size for _, size in self.steps)


def parts_of(truth: Truth, rng: np.random.Generator) -> Array:
    """Every part of every cycle. shape (cycles, PARTS)"""
    if truth.size:
        across = replace(truth, size=False, steps=(), trend=0.0)
        return np.hypot(parts_of(replace(truth, size=False), rng), parts_of(across, rng))
    s = np.arange(float(PARTS))
    scatter = (
        truth.sd_part * (1 + truth.noise_growth * s / PARTS) * rng.standard_normal((truth.cycles, PARTS))
    )
    found = truth.levels(rng)[:-1, None] + truth.wear(s)[None, :] + scatter
    if truth.label is not None:
        found = found + np.array([truth.label(c, s) for c in range(truth.cycles)])
    return found


def observations(
    values: Array, truth: Truth, key: tuple[str, str | None], labels: Callable[[int, int], dict] | None = None
) -> Iterator[Observation]:
    for c in range(truth.cycles):
        for s in truth.positions:
            at = START + timedelta(seconds=PART_TIME * (c * (PARTS + 3) + s + 1))
            y = float(values[c, s])
            yield Observation(
                "OT-1", "G1", "W1", f"D{c + 1:03d}", s + 1, at, f"{c + 1:03d}-{s + 1:02d}", key[0], key[1], y,
                y - truth.spread, y + truth.spread, *truth.limits, **(labels(c, s) if labels else {}),
            )  # fmt: skip


def correction(cycle: int, size: float, key: tuple[str, str | None]) -> GrinderEvent:
    at = START + timedelta(seconds=PART_TIME * (cycle * (PARTS + 3) + 0.5))
    return GrinderEvent(at, "correction", "G1", None, key[0], key[1], size, "um")  # type: ignore[arg-type]


def analysed(
    truths: Sequence[Truth], rng: np.random.Generator, *, events: Sequence[GrinderEvent] = (),
    labels: Callable[[int, int], dict] | None = None, settings: DriftSettings | None = None,
) -> tuple[DriftResult, list[Array]]:  # fmt: skip
    """Report over several series, the first of them first, and every part made."""
    made = [parts_of(truth, rng) for truth in truths]
    rows = [
        o
        for truth, values, key in zip(truths, made, (*SERIES, *VECTORS, *SIZES), strict=False)
        for o in observations(values, truth, key, labels)
    ]
    return analyse_observations(rows, events, settings), made


def first_of(result: DriftResult) -> DriftSeries:
    return next(one for one in result.series if (one.parameter, one.flank) == SERIES[0])


def rate(hits: Sequence[float]) -> str:
    values = np.array(hits, dtype=float)
    if not len(values):
        return "-"
    return f"{values.mean():.3f} ± {values.std() / math.sqrt(len(values)):.3f} (n {len(values)})"


def told(what: str, stated: str, found: str) -> None:
    print(f"  {what:<66} stated {stated:<12} found {found}", flush=True)


def risk_of(truth: Truth, parts: int) -> float:
    """Chance that the last of so many parts of the next cycle lies beyond a limit."""
    if parts < 1:
        return 0.0
    s = np.array([parts - 1.0])
    mean = truth.level_ahead() + float(truth.wear(s)[0])
    own = truth.sd_part * (1 + truth.noise_growth * s[0] / PARTS)
    sd = math.hypot(truth.sd_cycle, own)
    low, high = truth.limits
    found = 0.0 if high is None else ndtr((mean + truth.spread - high) / sd)
    return float(found + (0.0 if low is None else ndtr((low - mean + truth.spread) / sd)))


# --- tables -------------------------------------------------------------------------------------


def null_reports(runs: int, rng: np.random.Generator) -> None:
    print("False claims of wear, movement or label in a report of 13 quiet series, 2 labels (stated 0.05)")
    _null_rows((), runs, rng)
    print("The same with 11 components, seven of them sizes of vectors in any direction")
    _null_rows((*VECTORS, *SIZES), runs, rng)


def _null_rows(components: Sequence[tuple[str, str | None]], runs: int, rng: np.random.Generator) -> None:
    for cycles, positions in (
        (40, (0, 19, 39)),
        (20, (0, 19, 39)),
        (12, (0, 19, 39)),
        (20, (0, 39)),
        (20, (0, 10, 20, 30, 39)),
    ):
        kinds: dict[str, list[float]] = {"any": [], "wear": [], "level": [], "label": []}
        for _ in range(runs):
            truths = [Truth(cycles, positions)] * len(SERIES)
            truths += [Truth(cycles, positions, size=key in SIZES) for key in components]
            words = rng.integers(0, 2, (cycles, PARTS))
            heat = rng.normal(20, 0.3, (cycles, PARTS))

            def labels(c: int, s: int, words: Array = words, heat: Array = heat) -> dict:
                return {"operator": f"P{words[c, s]}", "temperature_degC": float(heat[c, s])}

            result, _ = analysed(truths, rng, labels=labels)
            wear = any(one.wear_significant for one in result.series)
            level = any(
                one.steps or one.level_moved or one.level_trend_um_per_cycle is not None
                for one in result.series
            )
            label = any(x.claimed for one in result.series for x in one.labels)
            for kind, hit in (
                ("any", wear or level or label),
                ("wear", wear),
                ("level", level),
                ("label", label),
            ):
                kinds[kind].append(hit)
        for kind, hits in kinds.items():
            stated = {"any": "0.05", "wear": "0.01", "level": "0.03", "label": "0.01"}[kind]
            told(f"C {cycles}, {len(positions)} parts: {kind}", stated, rate(hits))


def power_and_place(runs: int, rng: np.random.Generator) -> None:
    print("A step in one of 13 series: named, place and size in their interval")
    cases = (
        (40, 10, 1.5),
        (20, 6, 1.5),
        (12, 4, 1.5),
        (12, 4, 3.0),
        (40, 2, 1.1),
        (40, 2, 1.5),
        (40, 1, 1.5),
    )
    for cycles, before, step in cases:
        named, place, near, size = [], [], [], []
        for _ in range(runs):
            truth = Truth(cycles, steps=((cycles - before, step),))
            result, _ = analysed([truth, *[Truth(cycles)] * 12], rng)
            steps = first_of(result).steps
            named.append(bool(steps))
            if steps:
                last = steps[-1]
                at = cycles - before + 1
                place.append(last.cycle_low <= at <= last.cycle_high)
                near.append(abs(last.cycle - at) <= 1)
                low, high = last.size_interval_um or (0.0, 0.0)
                size.append(low <= step <= high)
        told(f"C {cycles}, {before} cycles after {step} um: named", "-", rate(named))
        told("    place within its range", "0.95", rate(place))
        told("    place within one cycle", "-", rate(near))
        told("    size inside its interval (given that it was named)", "<0.95", rate(size))


def wear_and_trend(runs: int, rng: np.random.Generator) -> None:
    print("Wear 0.05 um a part, trend 0.04 um a cycle: found, true value in its interval")
    for cycles in (40, 20, 12):
        found, inside = [], []
        for _ in range(runs):
            series = first_of(analysed([Truth(cycles, wear=straight(0.05))], rng)[0])
            low, high = series.wear_interval_um_per_part or (0.0, 0.0)
            found.append(bool(series.wear_significant))
            inside.append(low <= 0.05 <= high)
        told(f"C {cycles}: wear found", "-", rate(found))
        told("    interval of the wear", "0.95", rate(inside))
    for cycles, trend in ((40, 0.04), (20, 0.1)):
        found, inside = [], []
        for _ in range(runs):
            series = first_of(analysed([Truth(cycles, trend=trend)], rng)[0])
            found.append(series.level_trend_um_per_cycle is not None and not series.steps)
            if found[-1]:
                low, high = series.trend_interval or (0.0, 0.0)
                inside.append(low <= trend <= high)
        told(f"C {cycles}: trend {trend} found, without a step", "-", rate(found))
        told("    interval of the trend", "0.95", rate(inside))


def corrections(runs: int, rng: np.random.Generator) -> None:
    print("Recorded corrections: effect in its interval, verdict")
    key = SERIES[0]
    for effect in (1.2, 0.0, -1.3, 0.5):
        inside, verdicts = [], []
        for _ in range(runs):
            result, _ = analysed([Truth(steps=((25, effect),))], rng, events=[correction(25, 1.2, key)])
            (one,) = first_of(result).corrections
            inside.append((one.low or 0) <= effect <= (one.high or 0))
            verdicts.append(one.verdict)
        told(f"+1.2 um recorded, {effect:+.1f} um made: interval of the effect", "0.95", rate(inside))
        counts = {word: verdicts.count(word) for word in dict.fromkeys(verdicts)}
        print("    verdicts:", ", ".join(f"{word} {n / runs:.2f}" for word, n in counts.items()))
    good, trend = [], []
    for _ in range(runs):
        places = (14, 28)
        truth = Truth(trend=-0.1, steps=tuple((k, 1.4) for k in places))
        result, _ = analysed([truth], rng, events=[correction(k, 1.4, key) for k in places])
        series = first_of(result)
        good += [one.verdict == "as intended" for one in series.corrections]
        trend.append(bool(series.steps))
    told("trend -0.1 against +1.4 every 14 cycles: as intended", "-", rate(good))
    told("    a level change claimed beside them", "-", rate(trend))


def risks(runs: int, rng: np.random.Generator) -> None:
    print("Actual risk of the last part at the advised interval (stated 0.01); cut: interval below all parts")
    shapes: dict[str, tuple[Callable[[Array], Array], float]] = {
        "straight": (straight(0.055), 2.6),
        "saturating": (saturating, 2.6),
        "accelerating": (accelerating, 2.6),
        "run-in": (run_in, 2.6),
    }
    for cycles, positions in (
        (40, (0, 19, 39)),
        (20, (0, 19, 39)),
        (12, (0, 19, 39)),
        (20, (0, 39)),
        (20, (0, 10, 20, 30, 39)),
    ):
        for name, (wear, limit) in shapes.items():
            truth = Truth(cycles, positions, wear, (-2.6, limit))
            _risk_rows(f"C {cycles}, {len(positions)} parts, {name}", truth, runs, rng)
    for after in (1, 2, 3, 6):
        truth = Truth(40, wear=straight(0.055), limits=(-2.6, 3.6), steps=((40 - after, 1.5),))
        _risk_rows(f"C 40, {after} cycles after a step of 1.5 um", truth, runs, rng)
    for rho in (0.4, 0.7):
        _risk_rows(
            f"C 40, neighbours correlated {rho}",
            Truth(rho=rho, wear=straight(0.055), limits=(-2.6, 2.6)),
            runs,
            rng,
        )
    _risk_rows(
        "C 40, trend 0.03, next cycle", Truth(wear=straight(0.055), limits=(-2.6, 3.8), trend=0.03), runs, rng
    )
    _risk_rows("C 20, scatter doubles over the cycle",
               Truth(20, wear=straight(0.055), limits=(-2.6, 3.0), noise_growth=1.0), runs, rng)  # fmt: skip
    _risk_rows(
        "C 20, skewed levels", Truth(20, wear=straight(0.055), limits=(-2.6, 2.6), skew=True), runs, rng
    )


def _risk_rows(what: str, truth: Truth, runs: int, rng: np.random.Generator) -> None:
    risk, parts, none, free = [], [], 0, []
    for _ in range(runs):
        series = first_of(analysed([truth], rng)[0])
        if series.dress_interval_parts is None:
            none += 1
            continue
        parts.append(series.dress_interval_parts)
        risk.append(risk_of(truth, series.dress_interval_parts))
        moved, offset = series.dress_interval_centred_parts, series.centring_offset_um
        if moved is not None and offset is not None:
            low, high = truth.limits
            shifted = replace(truth, limits=(low and low - offset, high and high - offset))
            free.append(max(risk_of(shifted, n) for n in range(1, moved + 1)))
    cut = float(np.mean(np.array(parts) < PARTS)) if parts else 0.0
    told(
        what,
        "0.01",
        f"{rate(risk)}, parts {np.mean(parts):.0f}, cut {cut:.2f}, none {none}; free level {rate(free)}",
    )


def holds(runs: int, rng: np.random.Generator) -> None:
    print("Unmeasured parts beyond a limit that the hold list names, and its size (share of parts made)")
    early = Truth(positions=(0, 9, 19), steps=((36, 1.5),), limits=(-2.6, 3.0))
    slow = Truth(wear=straight(0.03), limits=(-2.6, 2.6))
    cases = {
        "step 1.5, 1 cycle ago, limit 2.6": replace(slow, steps=((39, 1.5),)),
        "step 1.5, 4 cycles ago, limit 2.6": replace(slow, steps=((36, 1.5),)),
        "step -2.2, 4 cycles ago": replace(slow, steps=((36, -2.2),), wear=straight(-0.03)),
        "no step, wear to the limit": Truth(wear=straight(0.055), limits=(-2.6, 2.6)),
        "step 1.5, 4 cycles ago, limits far": replace(slow, steps=((36, 1.5),), limits=(-9.0, 9.0)),
        "saturating, step 1.5, 4 cycles ago": Truth(steps=((36, 1.5),), wear=saturating, limits=(-2.6, 3.4)),
        "last measured part 20 of 40": replace(early, wear=straight(0.05)),
        "last measured part 20, accelerating": replace(early, wear=accelerating),
    }  # fmt: skip
    settings = DriftSettings(parts_per_dress={"G1": PARTS})
    for what, truth in cases.items():
        share, size, named = [], [], []
        for _ in range(runs):
            result, (values,) = analysed([truth], rng, settings=settings)
            low, high = truth.limits
            bad = (values < (low or -99)) | (values > (high or 99))
            measured = np.zeros_like(bad)
            measured[:, truth.positions] = True
            last = max(truth.positions)
            bad[-1, last + 1 :] = (
                False  # of the current cycle only what was made before the last measured one
            )
            held = np.zeros_like(bad)
            for one in result.hold.ranges:
                held[one.cycle - 1, one.from_part - 1 : one.to_part] = True
            asked = first_of(result).quarantine is not None
            named.append(asked)
            start = truth.steps[0][0] if truth.steps else 0
            out = bad & ~measured
            out[:start] = False
            if asked and out.any():
                share.append(float((held & out).sum() / out.sum()))
            if asked:
                size.append(float(held.mean()))
        told(
            what,
            ">0.99",
            f"{rate(share)}; size {np.mean(size) if size else 0:.3f}; list made {np.mean(named):.2f}",
        )


def labels(runs: int, rng: np.random.Generator) -> None:
    print("Two fixtures, 3 um between them: claimed, effect in its interval, risk at the advised interval")
    for how in ("alternating parts", "alternating cycles", "one change"):
        claimed, inside, risk = [], [], []
        for _ in range(runs):

            def second(c: int, s: Array | int, how: str = how) -> Array | int:
                place = np.searchsorted((0, 19, 39), s)
                if how == "alternating parts":
                    return (place + c) % 2
                return np.full(np.shape(s), c % 2 if how == "alternating cycles" else int(c >= 20))

            truth = Truth(
                wear=straight(0.03), limits=(-3.2, 3.2), label=lambda c, s: 3.0 * (second(c, s) - 0.5)
            )
            result, _ = analysed([truth], rng, labels=lambda c, s: {"fixture": f"F{int(second(c, s))}"})
            series = first_of(result)
            found = [x for x in series.labels if x.name == "fixture"]
            claimed.append(any(x.claimed for x in found))
            if found:
                sign = 1 if found[0].value == "F1" else -1
                inside.append(found[0].low <= 3.0 * sign <= found[0].high)
            if series.dress_interval_parts is not None:
                worst = replace(truth, label=None, steps=((0, 1.5),))
                risk.append(risk_of(worst, series.dress_interval_parts))
        told(f"{how}: claimed", "-", rate(claimed))
        told("    effect inside its interval", "0.95", rate(inside))
        told("    risk of the last part on the worse fixture", "0.01", rate(risk))
    claimed, wear = [], []
    for _ in range(runs):

        def warm(c: int, s: Array | int) -> Array:
            hours = (PART_TIME * ((c % 8) * (PARTS + 3) + np.asarray(s) + 1)) / 3600
            return np.exp(-hours)

        truth = Truth(label=lambda c, s: -2.0 * warm(c, s))
        values = parts_of(truth, rng)
        rows = [replace(o, finished_at=o.finished_at + timedelta(hours=14 * ((int(o.serial[:3]) - 1) // 8)))
                for o in observations(values, truth, SERIES[0])]  # fmt: skip
        series = first_of(analyse_observations(rows))
        claimed.append(any(x.claimed for x in series.labels if x.name == "pause"))
        wear.append(bool(series.wear_significant))
    told("warm-up of 2 um each morning: pause claimed", "-", rate(claimed))
    told("    wear claimed (there is none)", "0.01", rate(wear))


def sampling(runs: int, rng: np.random.Generator) -> None:
    print("The sampling sentence: a lasting change shows on the chart of levels within N parts")
    from gearqa.statistics.control_charts import future_factor
    from gearqa.statistics.detection import plan_power

    for m, reference, shift in ((3, 12, 1.5), (3, 25, 1.5), (2, 25, 2.0), (4, 12, 1.0)):
        each, parts = 0.01 / 13 / 3, PARTS
        power = plan_power(
            parts, m, shift, sd_part=SD_PART, sd_cycle=SD_CYCLE, rate=each, reference=reference
        )
        n = max(20 * runs, 2000)
        level_sd = math.hypot(SD_CYCLE, SD_PART / math.sqrt(m))
        past = rng.normal(0, level_sd, (n, reference))
        half = future_factor(reference, each) * past.std(axis=1, ddof=1)
        off = shift - past.mean(axis=1)
        signal = ndtr((off - half) / level_sd) + ndtr((-off - half) / level_sd)
        seen = rng.geometric(np.maximum(signal, 1e-15)) * parts <= power.bound_parts
        told(
            f"m {m}, limits from {reference} cycles, {shift} um: within {power.bound_parts} parts",
            "0.95",
            rate(seen),
        )


TABLES: dict[str, Callable[[int, np.random.Generator], None]] = {
    "null": null_reports, "steps": power_and_place, "wear": wear_and_trend, "corrections": corrections,
    "risk": risks, "holds": holds, "labels": labels, "sampling": sampling,
}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tables", nargs="*", choices=[[], *TABLES], help="tables to make; all without")
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    for name in chosen.tables or TABLES:
        begin = time.perf_counter()
        TABLES[name](chosen.runs, np.random.default_rng(chosen.seed))
        print(f"  [{name}: {time.perf_counter() - begin:.0f} s, {chosen.runs} runs]\n", flush=True)


if __name__ == "__main__":
    main()
