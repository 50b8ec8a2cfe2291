"""What of a gear could not be assessed, and what a reader must be warned of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Final

from gearqa.core.traces import WANTED_POINTS, WANTED_POINTS_PER_CUTOFF
from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.part_setup import TRACE_KINDS, PartSetup
from gearqa.evaluation.plausibility import plausibility_notices
from gearqa.evaluation.trace_sets import TraceSet
from gearqa.model.measurement import GearMeasurement
from gearqa.model.results import NotAssessed
from gearqa.symbols import FLANKS, PARAMETERS, Family, Flank, TraceKind
from gearqa.wording.numbers import count_text

FEWEST_TEETH: Final = 3
NUMBERS_LISTED: Final = 6
OR_LEAVE_OUT: Final = "or name only what the drawing asks for in `parameters` under [tolerance]"


def not_assessed(gear: GearMeasurement, traces: TraceSet, setup: PartSetup) -> tuple[NotAssessed, ...]:
    """Parameters asked for that cannot be judged, in table order, each with its reason."""
    by_family: dict[Family, tuple[tuple[Flank | None, str], ...]] = {
        "pitch": tuple(_pitch_gaps(gear, setup)),
        "runout": tuple(_runout_gaps(gear)),
        "profile": tuple(_trace_gaps("profile", traces, setup)),
        "helix": tuple(_trace_gaps("helix", traces, setup)),
    }
    return tuple(
        NotAssessed(key, flank, reason)
        for key in setup.criteria.asked
        for flank, reason in by_family[PARAMETERS[key].family]
    )


def _pitch_gaps(gear: GearMeasurement, setup: PartSetup) -> Iterator[tuple[Flank | None, str]]:
    if not gear.pitch:
        yield None, f"there is no pitch of this gear; add its rows to a pitch table, {OR_LEAVE_OUT}"
        return
    for flank in setup.criteria.graded_flanks:
        readings = gear.pitch.get(flank)
        if readings is None:
            yield flank, f"there is no pitch of the {flank} flank; add its rows to the pitch table"
        elif missing := readings.missing_teeth:
            yield flank, f"the pitch of the {flank} flank lacks {_numbered('tooth', 'teeth', missing)}"


def _runout_gaps(gear: GearMeasurement) -> Iterator[tuple[Flank | None, str]]:
    if gear.runout is not None:
        if missing := gear.runout.missing_spaces:
            yield (
                None,
                f"the runout readings lack {_numbered('space', 'spaces', missing)}; complete them, "
                "or leave the runout table out to have runout calculated from pitch",
            )
        return
    lacking = [flank for flank in FLANKS if flank not in gear.pitch or gear.pitch[flank].missing_teeth]
    if lacking:
        flanks = "both flanks" if len(lacking) == len(FLANKS) else f"the {lacking[0]} flank"
        yield (
            None,
            f"there are no runout readings, and the pitch of {flanks} is missing or not complete; add a "
            f"runout table or the pitch of all teeth on both flanks, {OR_LEAVE_OUT}",
        )


def _trace_gaps(kind: TraceKind, traces: TraceSet, setup: PartSetup) -> Iterator[tuple[Flank | None, str]]:
    if not any((kind, flank) in traces.teeth for flank in FLANKS):
        yield None, f"there are no {kind} traces of this gear; add its rows to a {kind} table, {OR_LEAVE_OUT}"
        return
    for flank in setup.criteria.graded_flanks:
        if (kind, flank) not in traces.teeth:
            yield flank, f"there is no {kind} trace of the {flank} flank; add its rows to the {kind} table"
            continue
        faults = [f for f in traces.faults if f.trace.kind == kind and f.trace.flank == flank]
        if faults:
            others = count_text(len(faults) - 1, "more trace is", "more traces are")
            more = f"; {others} at fault too" if len(faults) > 1 else ""
            yield flank, min(faults, key=lambda f: f.trace.tooth).reason + more


def _numbered(one: str, many: str, numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return f"{one} {numbers[0]}"
    listed = ", ".join(map(str, numbers[:NUMBERS_LISTED]))
    more = f" and {len(numbers) - NUMBERS_LISTED} more" if len(numbers) > NUMBERS_LISTED else ""
    return f"{many} {listed}{more}"


def warnings(
    gear: GearMeasurement, traces: TraceSet, gaps: Sequence[NotAssessed], setup: PartSetup
) -> tuple[Notice, ...]:
    """Notices about one gear: the reader's, gaps, how it was measured, what is not plausible."""
    reasons = dict.fromkeys(gap.reason for gap in gaps)
    return (
        *gear.notices,
        *(Notice(NoticeCode.NOT_ASSESSED, reason) for reason in reasons),
        *_trace_notes(traces),
        *_tooth_notes(traces, setup),
        *plausibility_notices(gear, setup.plausible),
    )


def _trace_notes(traces: TraceSet) -> Iterator[Notice]:
    for (kind, code), about in traces.notes.items():
        count = count_text(len(about), f"{kind} trace")
        first = min(about, key=lambda t: (t.flank == "right", t.tooth))
        place = f"{'first' if len(about) > 1 else 'it is'} tooth {first.tooth}, {first.flank} flank"
        if code == "few_points":
            text = (
                f"{count} with fewer than the {WANTED_POINTS} points wanted in the evaluation range "
                f"({traces.fewest_points[kind]} at the fewest; {place})"
            )
        elif code == "few_points_per_cutoff":
            text = (
                f"{count} with fewer than {WANTED_POINTS_PER_CUTOFF} points within a cutoff of the filter "
                f"somewhere in the evaluation range: the filter does little there ({place})"
            )
        else:
            text = (
                f"{count} leaving the flank steeply just outside the evaluation range, as a fillet or a "
                f"chamfer does: it leaks through the filter into the range; check the limits ({place})"
            )
        yield Notice(code, text)


def _tooth_notes(traces: TraceSet, setup: PartSetup) -> Iterator[Notice]:
    for kind in TRACE_KINDS:
        if not any((kind, flank) in traces.teeth for flank in FLANKS):
            continue
        for flank in setup.criteria.graded_flanks:
            if (kind, flank) not in traces.teeth:
                yield Notice(NoticeCode.ONE_FLANK_ONLY, f"{kind} traces of the {flank} flank are missing")
                continue
            measured = tuple(sorted(traces.teeth[kind, flank]))
            if len(measured) < FEWEST_TEETH:
                yield Notice(
                    NoticeCode.FEW_TEETH,
                    f"{kind}, {flank} flank: {_numbered('tooth', 'teeth', measured)} measured; at least "
                    f"{FEWEST_TEETH} teeth about evenly spaced are wanted (ISO 1328-1)",
                )
            elif not evenly_spaced(measured, setup.geometry.z):
                yield Notice(
                    NoticeCode.TEETH_NOT_EVENLY_SPACED,
                    f"{kind}, {flank} flank: {_numbered('tooth', 'teeth', measured)} of {setup.geometry.z} "
                    "are not about evenly spaced (ISO 1328-1)",
                )


@lru_cache(maxsize=256)
def evenly_spaced(teeth: tuple[int, ...], z: int) -> bool:
    """Whether rising tooth numbers lie about evenly: gaps within half of the even one, or within 1 tooth."""
    gaps = [b - a for a, b in zip(teeth, (*teeth[1:], teeth[0] + z), strict=True)]
    even = z / len(teeth)
    allowed = max(even / 2, 1.0)
    return max(gaps) <= even + allowed and min(gaps) >= even - allowed
