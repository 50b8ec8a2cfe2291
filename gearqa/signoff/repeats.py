"""Gears that were measured more than once: which measurement counts, and what the others show."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

from gearqa.errors import LotError
from gearqa.model.lot import LotGear, MeasuredOnce, Repeat
from gearqa.model.plan import RepeatTable
from gearqa.model.results import GearResult, State
from gearqa.wording.sentences import some_of

BADNESS: Final[Mapping[State, int]] = {
    "conforms": 0, "not proven": 1, "not assessed": 2, "does not conform": 3,
}  # fmt: skip
OPEN: Final[tuple[State, ...]] = ("does not conform", "not proven")


@dataclass(frozen=True, slots=True)
class Chosen:
    """Gears, each with the measurement that counts, and those that were measured more than once."""

    gears: tuple[GearResult, ...]
    groups: Mapping[str, Sequence[GearResult]]
    """Serial -> all its measurements, where there are several."""


def choose(gears: Sequence[GearResult], repeats: Sequence[RepeatTable]) -> Chosen:
    """Of each serial the first measurement, or the one that the plan names.

    Raises
    ------
    LotError
        If the plan names a gear or a measurement that is not there.
    """
    of_serial: dict[str, list[GearResult]] = {}
    for gear in gears:
        of_serial.setdefault(gear.serial, []).append(gear)
    wanted = {one.serial: one.use for one in repeats}
    for serial, use in wanted.items():
        if serial not in of_serial:
            near = get_close_matches(serial, of_serial, n=1)
            hint = f"did you mean '{near[0]}'?" if near else "name a serial of the folder"
            raise LotError(f"[[repeats]] of the plan: gear '{serial}' was not measured", hint=hint)
        labels = [gear.measurement for gear in of_serial[serial]]
        if use not in labels:
            there = some_of([f"'{label}'" for label in labels], 12)
            raise LotError(
                f"[[repeats]] of the plan: gear '{serial}' has no measurement '{use}'", hint=f"there: {there}"
            )
    used = (
        next((gear for gear in own if gear.measurement == wanted.get(serial)), own[0])
        for serial, own in of_serial.items()
    )
    return Chosen(tuple(used), {serial: own for serial, own in of_serial.items() if len(own) > 1})


def judged_repeats(
    chosen: Chosen, repeats: Sequence[RepeatTable], judge: Callable[[GearResult], LotGear]
) -> tuple[Repeat, ...]:
    """Every measurement of the gears that have several, with its state."""
    said = {one.serial: one for one in repeats}
    used = {gear.serial: gear for gear in chosen.gears}
    return tuple(
        Repeat(
            serial, used[serial].measurement,
            said[serial].reason if serial in said else "",
            said[serial].by if serial in said else "",
            tuple(_once(gear, judge(gear), used=gear is used[serial]) for gear in own),
        )
        for serial, own in chosen.groups.items()
    )  # fmt: skip


def _once(gear: GearResult, judged: LotGear, *, used: bool) -> MeasuredOnce:
    return MeasuredOnce(
        gear.measurement, used, judged.state, judged.counts_as, gear.class_, gear.class_complete, gear.beyond,
        gear.warnings,
    )  # fmt: skip


def passed_over(repeat: Repeat) -> bool:
    """Whether a measurement that does not conform, or is not proven, gave way to a better one."""
    used = repeat.used
    return any(
        bad in OPEN and BADNESS[better] < BADNESS[bad]
        for one in repeat.measurements
        if not one.used
        for bad, better in ((one.state, used.state), (one.counts_as, used.counts_as))
    )
