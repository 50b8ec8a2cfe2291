"""What of a gear could not be assessed, and what a reader must be warned of."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from functools import lru_cache
from typing import Final, NamedTuple, get_args

from gearqa.core.traces import WANTED_POINTS, WANTED_POINTS_PER_CUTOFF
from gearqa.errors import Notice, NoticeCode
from gearqa.evaluation.part_setup import TRACE_KINDS, PartSetup
from gearqa.evaluation.pitch_sets import PitchSet
from gearqa.evaluation.plausibility import plausibility_notices
from gearqa.evaluation.trace_sets import TraceFault, TraceSet
from gearqa.model.measurement import GearMeasurement
from gearqa.model.part import Confirmation
from gearqa.model.results import DoubtCode, GapCode, NotAssessed
from gearqa.symbols import FLANKS, PARAMETERS, Family, Flank, TraceKind
from gearqa.wording.numbers import count_text
from gearqa.wording.sentences import listed

NUMBERS_LISTED: Final = 6
OR_LEAVE_OUT: Final = "or name only what the drawing asks for in `parameters` under [tolerance]"
DOUBTS: Final = frozenset(get_args(DoubtCode))


class Gap(NamedTuple):
    """Why the parameters that come from one table cannot be judged, of one flank or as a whole."""

    flank: Flank | None
    reason: str
    code: GapCode = "missing"


def not_assessed(
    gear: GearMeasurement, traces: TraceSet, pitch: PitchSet, setup: PartSetup
) -> tuple[NotAssessed, ...]:
    """Parameters asked for that cannot be judged, in table order, each with its reason."""
    by_family = _gaps(gear, traces, pitch, setup)
    return tuple(
        NotAssessed(key, gap.flank, gap.reason, gap.code)
        for key in setup.criteria.asked
        for gap in by_family[PARAMETERS[key].family]
        if setup.confirmation(gap.code, key, gear.serial) is None
    )


def gaps_apart(
    traces: TraceSet, setup: PartSetup, serial: str, *, required: bool = True
) -> tuple[NotAssessed, ...]:
    """Limit curves and zones that cannot be judged; doubts count unless the whole table is confirmed."""
    found: dict[NotAssessed, None] = {}
    for (kind, flank), specs in setup.apart.items():
        for spec in specs:
            for key in spec.keys if spec.required is required else ():
                faults = [f for f in traces.apart_faults[key] if f.trace.flank == flank]
                for gap in (*_trace_gaps(kind, traces, setup), *_faults_of(faults)):
                    taken = any(
                        one.parameter == kind and one.covers(gap.code, f"{kind}_total", serial)
                        for one in setup.part.evaluation.confirmed
                    )
                    if gap.flank in (None, flank) and not taken:
                        found[NotAssessed(key, gap.flank, gap.reason, gap.code)] = None
    return tuple(found)


def _gaps(
    gear: GearMeasurement, traces: TraceSet, pitch: PitchSet, setup: PartSetup
) -> dict[Family, tuple[Gap, ...]]:
    return {
        "pitch": tuple(_pitch_gaps(gear, pitch, setup)),
        "runout": tuple(_runout_gaps(gear, pitch)),
        "thickness": tuple(_thickness_gaps(gear, pitch)),
        "profile": tuple(_trace_gaps("profile", traces, setup)),
        "helix": tuple(_trace_gaps("helix", traces, setup)),
    }


def _pitch_gaps(gear: GearMeasurement, pitch: PitchSet, setup: PartSetup) -> Iterator[Gap]:
    if not gear.pitch:
        yield Gap(None, f"there is no pitch of this gear; add its rows to a pitch table, {OR_LEAVE_OUT}")
        return
    for flank in setup.criteria.graded_flanks:
        readings = gear.pitch.get(flank)
        yield from (Gap(*doubt) for doubt in pitch.gaps(flank))
        if readings is None:
            yield Gap(flank, f"there is no pitch of the {flank} flank; add its rows to the pitch table")
        elif missing := readings.missing_teeth:
            lacking = _numbered("tooth", "teeth", missing)
            yield Gap(flank, f"the pitch of the {flank} flank lacks {lacking}", "incomplete")


def _runout_gaps(gear: GearMeasurement, pitch: PitchSet) -> Iterator[Gap]:
    if gear.runout is None:
        yield from _both_flanks(gear, pitch, "there are no runout readings, and", "a runout table or ")
        return
    yield from (Gap(*doubt) for doubt in pitch.gaps(None))
    if missing := gear.runout.missing_spaces:
        yield Gap(
            None,
            f"the runout readings lack {_numbered('space', 'spaces', missing)}; complete them, "
            "or leave the runout table out to have runout calculated from pitch",
            "incomplete",
        )


def _thickness_gaps(gear: GearMeasurement, pitch: PitchSet) -> Iterator[Gap]:
    yield from _both_flanks(gear, pitch, "tooth thickness comes from pitch, and")


def _both_flanks(gear: GearMeasurement, pitch: PitchSet, why: str, other: str = "") -> Iterator[Gap]:
    """What is lacking for a value that comes from the pitch of both flanks."""
    lacking = [flank for flank in FLANKS if flank not in gear.pitch or gear.pitch[flank].missing_teeth]
    if lacking:
        flanks = "both flanks" if len(lacking) == len(FLANKS) else f"the {lacking[0]} flank"
        yield Gap(
            None,
            f"{why} the pitch of {flanks} is missing or not complete; add {other}the pitch of all teeth on "
            f"both flanks, {OR_LEAVE_OUT}",
        )
        return
    for flank in FLANKS:
        for doubt in pitch.gaps(flank):
            yield Gap(None, f"{why} {doubt.reason}", doubt.code)


def _trace_gaps(kind: TraceKind, traces: TraceSet, setup: PartSetup) -> Iterator[Gap]:
    if not any((kind, flank) in traces.teeth for flank in FLANKS):
        yield Gap(
            None, f"there are no {kind} traces of this gear; add its rows to a {kind} table, {OR_LEAVE_OUT}"
        )
        return
    for flank in setup.criteria.graded_flanks:
        if (kind, flank) not in traces.teeth:
            yield Gap(
                flank, f"there is no {kind} trace of the {flank} flank; add its rows to the {kind} table"
            )
            continue
        yield from _faults_of([f for f in traces.faults if (f.trace.kind, f.trace.flank) == (kind, flank)])
        yield from too_few_teeth(kind, flank, traces.teeth[kind, flank], setup)


def _faults_of(faults: Sequence[TraceFault]) -> Iterator[Gap]:
    """Traces of one flank that are not evaluated, by what is wrong with them."""
    for code in dict.fromkeys(fault.code for fault in faults):
        alike = [fault for fault in faults if fault.code == code]
        first = min(alike, key=lambda f: f.trace.tooth)
        more = ""
        if code != "unit_doubt" and len(alike) > 1:
            more = f"; {count_text(len(alike) - 1, 'more trace is', 'more traces are')} at fault too"
        yield Gap(first.trace.flank, first.reason + more, code)


def too_few_teeth(kind: TraceKind, flank: Flank, teeth: Collection[int], setup: PartSetup) -> Iterator[Gap]:
    """Whether fewer teeth of a flank were traced than are asked for."""
    fewest = min(setup.part.evaluation.fewest_teeth, setup.geometry.z)
    if len(teeth) < fewest:
        # ISO 1328-1:2013, 7.1 (from memory): three teeth about evenly spaced where nothing else is agreed
        yield Gap(
            flank,
            f"{kind}, {flank} flank: {_numbered('tooth', 'teeth', sorted(teeth))} traced, at least "
            f"{count_text(fewest, 'tooth', 'teeth')} about evenly spaced are wanted (ISO 1328-1); trace "
            "more, or set fewest_teeth under [evaluation] for this job",
            "too_few_teeth",
        )


def _numbered(one: str, many: str, numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return f"{one} {numbers[0]}"
    listed = ", ".join(map(str, numbers[:NUMBERS_LISTED]))
    more = f" and {len(numbers) - NUMBERS_LISTED} more" if len(numbers) > NUMBERS_LISTED else ""
    return f"{many} {listed}{more}"


def warnings(
    gear: GearMeasurement,
    traces: TraceSet,
    pitch: PitchSet,
    gaps: Sequence[NotAssessed],
    setup: PartSetup,
) -> tuple[Notice, ...]:
    """Notices about one gear: the reader's, gaps, how it was measured, what is not plausible."""
    return (
        *gear.notices,
        *gap_notices(gaps),
        *_confirmed_notes(gear, traces, pitch, setup),
        *_trace_notes(traces),
        *_tooth_notes(traces, setup),
        *plausibility_notices(gear, setup.plausible),
        *_instrument_notes(gear),
    )


def _instrument_notes(gear: GearMeasurement) -> Iterator[Notice]:
    made = gear.production
    if made is not None and made.calibration_overdue and made.measured_at and made.calibration_due:
        measured, due = made.measured_at.date().isoformat(), made.calibration_due.date().isoformat()
        text = f"measured on {measured}, after the calibration of the instrument was due on {due}"
        yield Notice(NoticeCode.CALIBRATION_OVERDUE, text)


def gap_notices(gaps: Sequence[NotAssessed]) -> Iterator[Notice]:
    """Each reason once, under its doubt, or as something not assessed."""
    for code, reason in dict.fromkeys((gap.code, gap.reason) for gap in gaps):
        yield Notice(code if code in DOUBTS else NoticeCode.NOT_ASSESSED, reason)


def _confirmed_notes(
    gear: GearMeasurement, traces: TraceSet, pitch: PitchSet, setup: PartSetup
) -> Iterator[Notice]:
    """Doubtful readings that were taken as they stand: by whom, why, and what the doubt was."""
    if not setup.part.evaluation.confirmed:
        return
    by_family = _gaps(gear, traces, pitch, setup)
    taken: dict[tuple[Confirmation, str], list[str]] = {}
    for key in setup.criteria.asked:
        for gap in by_family[PARAMETERS[key].family]:
            given = setup.confirmation(gap.code, key, gear.serial)
            if given is not None:
                taken.setdefault((given, gap.reason), []).append(PARAMETERS[key].symbol)
    for (given, reason), symbols in taken.items():
        yield Notice(
            NoticeCode.CONFIRMED,
            f"{listed(dict.fromkeys(symbols))} taken as they stand, confirmed by {given.by}: {given.reason} "
            f"(doubt: {reason})",
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
            if len(measured) >= setup.part.evaluation.fewest_teeth and not evenly_spaced(
                measured, setup.geometry.z
            ):
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
