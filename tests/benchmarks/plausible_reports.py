"""How often honest reports are asked about, and how often odd ones are: run by hand.

    python tests/benchmarks/plausible_reports.py [REPORTS] [SEED]

Reports come from a generator of its own: traces and index curves of gears of a process with lot, gear
and tooth scatter, waves, crowning and ends that fall off; evaluated here in plain numpy, typed with the
digits and habits of many laboratories. Odd reports are honest ones, changed.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from gearqa.evaluation.criteria import criteria_of
from gearqa.incoming.editions import editions_of
from gearqa.incoming.plausibility.questions import plausibility
from gearqa.model.incoming import ReportedValue
from gearqa.reading.settings.part_file import read_part

SAMPLES = Path(__file__).parents[2] / "sample_measurements"
Rng = np.random.Generator
Report = list[ReportedValue]
GEARS = (1, 2, 3, 5, 8, 12, 20, 30, 50, 80)
POINTS = 120


def traces(rng: Rng, gears: int, teeth: int) -> dict[str, np.ndarray]:
    """Total, form and slope over the evaluation length, shape (gears, 2 flanks, teeth)."""
    t = np.linspace(-0.5, 0.5, POINTS)
    shape = (gears, 2, teeth, 1)
    skew = np.exp(rng.uniform(0, 0.4) * rng.normal(size=(gears, 2, 1, 1)))
    lot = rng.normal(0, 2, (1, 2, 1, 1)) + rng.choice([0.0, 0.03]) * np.arange(gears)[:, None, None, None]
    slope = lot + rng.uniform(0.1, 2) * rng.normal(size=(gears, 2, 1, 1)) * skew
    slope = slope + rng.uniform(0.1, 0.8) * rng.normal(size=shape)
    crown = rng.normal(0, 1) + rng.uniform(0.05, 0.5) * rng.normal(size=shape)
    wave = rng.uniform(0.2, 1.5) * skew * (1 + 0.2 * rng.normal(size=shape))
    wave = wave * np.sin(2 * np.pi * rng.uniform(1, 6) * t + rng.uniform(0, 6.3, (gears, 2, 1, 1)))
    rough = rng.normal(size=(gears, 2, teeth, POINTS)) * rng.uniform(0.05, 0.4)
    long = rng.uniform(0.03, 0.2)
    fall = (
        -np.clip((t - 0.5 + long) / long, 0, None)
        * rng.choice([0.0, 2.0])
        * (1 + 0.2 * rng.normal(size=shape))
    )
    y = slope * t + crown * 4 * t**2 + wave + rough + fall
    a = (y @ t) / (t @ t)
    residual = y - a[..., None] * t
    return {"total": np.ptp(y, axis=-1), "form": np.ptp(residual, axis=-1), "slope": a}


def pitches(rng: Rng, gears: int, z: int, alpha: float) -> dict[str, np.ndarray]:
    """Pitch figures, shape (gears, 2 flanks), and runout, shape (gears,)."""
    theta = 2 * np.pi * np.arange(z) / z
    e = np.abs(rng.normal(0, 6, (gears, 1))) * np.exp(0.4 * rng.normal(size=(gears, 1)))
    phi = rng.uniform(0, 6.3, (gears, 1))
    common = np.cumsum(rng.normal(0, rng.uniform(0.2, 1.5), (gears, z)), axis=1)
    common -= common[:, -1:] * np.arange(1, z + 1) / z
    noise = rng.uniform(0.2, 1.0)
    flank = [e * np.sin(phi - theta + s * alpha) / np.cos(alpha) + common for s in (-1, 1)]
    left, right = (one + noise * rng.normal(size=(gears, z)) for one in flank)
    both = np.stack([left, right], axis=1)
    steps = both - np.roll(both, 1, axis=-1)
    radial = (np.roll(left, -1, axis=1) - right) / (2 * np.tan(alpha))
    return {
        "single_pitch": np.abs(steps).max(axis=-1),
        "cumulative_pitch": np.ptp(both, axis=-1),
        "runout": np.ptp(radial, axis=-1),
    }


def honest(rng: Rng, part, gears: int | None = None, digits: float | None = None) -> Report:
    """An honest report."""
    gears = int(rng.choice(GEARS)) if gears is None else gears
    digits = float(rng.choice([1.0, 0.1, 0.01], p=[0.15, 0.65, 0.2])) if digits is None else digits
    step = 5 * digits if rng.random() < 0.08 else digits
    size = float(np.exp(rng.uniform(-0.7, 0.7)))
    teeth = int(rng.choice([3, 4]))
    habit = str(rng.choice(["worst", "mean", "tooth", "mixed"], p=[0.45, 0.15, 0.15, 0.25]))
    span = rng.choice([1.0, 1.12])
    claims = str(rng.choice(["none", "required", "computed"]))
    bare = rng.random() < 0.2
    editions, criteria = editions_of(part), criteria_of(part)
    edition = list(editions.values())[int(rng.integers(len(editions)))]
    report: Report = []

    def add(gear: int, key: str, flank: str | None, value: float, tooth=None, basis=None) -> None:
        typed = round(float(np.round(size * value / step) * step), 6) + 0.0
        class_ = None
        if claims == "required":
            met = edition.class_of(key, typed)
            class_ = None if met is None else max(met, criteria.places[key][0][1].required_class)
        if claims == "computed":
            class_ = edition.class_of(key, typed)
        decimals = max(0, round(-np.log10(digits)))
        if bare:
            decimals = len(f"{typed:g}".partition(".")[2])
        claim = "" if class_ is None else str(class_)
        report.append(
            ReportedValue(
                f"G{gear:03d}", key, typed, flank, tooth, basis, class_, claim, edition.title, None, None,
                decimals, 0,
            )
        )  # fmt: skip

    alpha = np.radians(20)
    for kind in ("profile", "helix"):
        found = traces(rng, gears, teeth)
        for what, evaluated in found.items():
            key = f"{kind}_{what}"
            block = evaluated * (span if what == "slope" else 1)
            for gear in range(gears):
                for side, flank in enumerate(("left", "right")):
                    own = block[gear, side]
                    if habit == "tooth":
                        for place, value in enumerate(own):
                            add(gear, key, flank, value, 1 + place * part.gear.teeth // teeth)
                    elif habit == "mean" or (habit == "mixed" and what == "slope"):
                        add(gear, key, flank, own.mean(), None, "mean" if habit == "mean" else None)
                    else:
                        add(
                            gear,
                            key,
                            flank,
                            own[np.argmax(np.abs(own))],
                            None,
                            "worst" if habit == "worst" else None,
                        )
    pitch = pitches(rng, gears, part.gear.teeth, alpha)
    for gear in range(gears):
        for key in ("single_pitch", "cumulative_pitch"):
            for side, flank in enumerate(("left", "right")):
                add(gear, key, flank, pitch[key][gear, side])
        add(gear, "runout", None, pitch["runout"][gear])
    return report


def asked(report: Report, part) -> set[str]:
    """Checks that ask about a report."""
    typed: dict[str, int] = {}
    for value in report:
        typed[value.parameter] = max(typed.get(value.parameter, -9), value.decimals)
    digit = {key: 10.0**-n for key, n in typed.items()}
    return {q.check for q in plausibility(report, part, editions_of(part), digit).questions}


def _changed(report: Report, change: Callable[[ReportedValue], ReportedValue]) -> Report:
    return [change(value) for value in report]


def copy_gear(report: Report, rng: Rng, part) -> Report:
    """The second gear gets the figures of the first."""
    first = {(v.parameter, v.flank, v.tooth): v.value_um for v in report if v.serial == "G000"}
    return _changed(
        report,
        lambda v: replace(v, value_um=first[v.parameter, v.flank, v.tooth]) if v.serial == "G001" else v,
    )


def copy_helix(report: Report, rng: Rng, part) -> Report:
    """The same of the helix only."""
    whole = copy_gear(report, rng, part)
    return [new if new.parameter.startswith("helix") else old for new, old in zip(whole, report, strict=True)]


def copy_flank(report: Report, rng: Rng, part) -> Report:
    """The right flank of the first gear gets the figures of the left one."""
    left = {(v.parameter, v.tooth): v.value_um for v in report if v.serial == "G000" and v.flank == "left"}
    return _changed(
        report,
        lambda v: (
            replace(v, value_um=left[v.parameter, v.tooth])
            if v.serial == "G000" and v.flank == "right"
            else v
        ),
    )


def jitter_copy(report: Report, rng: Rng, part) -> Report:
    """The second gear is the first plus one digit."""
    whole = copy_gear(report, rng, part)
    return _changed(
        whole,
        lambda v: replace(v, value_um=round(v.value_um + 10.0**-v.decimals, 6)) if v.serial == "G001" else v,
    )


def unit(factor: float) -> Callable[[Report, Rng, object], Report]:
    """The whole report in another unit."""

    def change(report: Report, rng: Rng, part) -> Report:
        more = 4 if factor < 1 else 0
        return _changed(
            report, lambda v: replace(v, value_um=round(v.value_um * factor, 6), decimals=v.decimals + more)
        )

    return change


def unit_of_one(report: Report, rng: Rng, part) -> Report:
    """Total helix deviations in millimetres."""
    return _changed(
        report,
        lambda v: (
            replace(v, value_um=v.value_um / 1000, decimals=v.decimals + 3)
            if v.parameter == "helix_total"
            else v
        ),
    )


def _edge(report: Report, share: float) -> float:
    own = sorted(v.value_um for v in report if v.parameter == "helix_total")
    return own[int((1 - share) * len(own))]


def _with_limit(part, limit: float):
    tolerance = part.tolerance.model_copy(update={"limits_um": {"helix_total": (0.0, limit)}})
    return part.model_copy(update={"tolerance": tolerance})


def contradict(report: Report, rng: Rng, part) -> Report:
    """A total below what form and slope leave: half of the smaller difference."""
    value = {(v.parameter, v.flank): v for v in report if v.serial == "G000" and v.tooth is None}
    form, slope = value.get(("helix_form", "left")), value.get(("helix_slope", "left"))
    if form is None or slope is None:
        return report
    low = max(0.3 * form.value_um, 0.0)
    return _changed(
        report,
        lambda v: replace(v, value_um=round(low, v.decimals)) if v is value["helix_total", "left"] else v,
    )


def typed_by_hand(report: Report, rng: Rng, part) -> Report:
    """Last digits as people make them up: few 0 and 5."""
    weights = np.array([3, 9, 12, 16, 11, 5, 12, 15, 11, 6], dtype=float)

    def change(v: ReportedValue) -> ReportedValue:
        unit = 10.0**-v.decimals
        head = np.floor(abs(v.value_um) / unit / 10)
        new = (head * 10 + rng.choice(10, p=weights / weights.sum())) * unit
        return replace(v, value_um=round(float(np.copysign(new, v.value_um)), 6))

    return _changed(report, change)


def main(reports: int = 500, seed: int = 1) -> None:
    """False alarms, then power."""
    rng = np.random.default_rng(seed)
    rings = [read_part(SAMPLES / name / "part.toml") for name in ("ring_conforming", "pinion")]

    def some_part():
        part = rings[int(rng.integers(2))]
        class_ = int(rng.integers(4, 10))
        tolerance = part.tolerance.model_copy(update={"class_": class_, "classes": {}, "limits_um": {}})
        return part.model_copy(update={"tolerance": tolerance})

    false: Counter[str] = Counter()
    alarmed = 0
    for _ in range(reports):
        part = some_part()
        checks = asked(honest(rng, part), part)
        false.update(checks)
        alarmed += bool(checks)
    print(f"honest reports asked about: {alarmed} of {reports} ({dict(false)})")
    trials = max(20, reports // 10)
    odd = (
        ("copied_gears", "a gear copied", copy_gear), ("copied_gears", "helix figures copied", copy_helix),
        ("copied_gears", "copied and one digit added", jitter_copy),
        ("copied_flanks", "a flank copied", copy_flank),
        ("unit", "all times 1000", unit(1000.0)), ("unit", "all in millimetres", unit(1e-3)),
        ("unit", "all times 25.4", unit(25.4)), ("unit", "all in thousandths of an inch", unit(1 / 25.4)),
        ("unit", "one parameter in millimetres", unit_of_one),
        ("contradiction", "total 0.3 of form", contradict),
        ("last_digits", "last digits made up", typed_by_hand),
    )  # fmt: skip
    print(
        f"found, of {trials} reports each" + " " * 14 + "".join(f"{n:>5} gears" for n in (2, 5, 12, 30, 80))
    )
    for check, name, change in odd:
        cells = []
        for gears in (2, 5, 12, 30, 80):
            hits = 0
            for _ in range(trials):
                part = some_part()
                hits += check in asked(change(honest(rng, part, gears, 0.1), rng, part), part)
            cells.append(f"{hits / trials:11.2f}")
        print(f"{name:<40}" + "".join(cells))
    for share in (0.05, 0.1, 0.2, 0.3):
        for name, check in (("set to the limit", "pile_up"), ("sorted out", "trimmed")):
            cells = []
            for gears in (12, 30, 80, 200):
                hits = 0
                for _ in range(trials):
                    part = some_part()
                    report = honest(rng, part, gears, 0.1)
                    limit = _edge(report, share)
                    part = _with_limit(part, round(limit, 1))
                    if check == "pile_up":
                        report = [
                            replace(v, value_um=min(v.value_um, round(limit, 1)))
                            if v.parameter == "helix_total"
                            else v
                            for v in report
                        ]
                    else:
                        bad = {
                            v.serial
                            for v in report
                            if v.parameter == "helix_total" and v.value_um > round(limit, 1)
                        }
                        report = [v for v in report if v.serial not in bad]
                    hits += check in asked(report, part) if report else 0
                cells.append(f"{hits / trials:11.2f}")
            print(f"{100 * share:.0f} % of values {name}, of 12 30 80 200".ljust(50) + "".join(cells))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
