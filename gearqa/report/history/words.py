"""Sentences about a history store and what was done to it."""

from __future__ import annotations

from gearqa.model.history import (
    Acknowledgement,
    ArchiveReport,
    FrozenReference,
    IntakeReport,
    RecordedEvent,
    StoredGear,
    WatchedIntake,
    WatchedProblem,
)
from gearqa.symbols import symbol_of
from gearqa.wording.numbers import count_text
from gearqa.wording.times import clock_text, time_text
from gearqa.wording.verdicts import not_conform_text


def part_text(number: str, revision: str) -> str:
    """A part number with its revision.

    >>> part_text("OT-4471", "C"), part_text("OT-4471", "")
    ('OT-4471 C', 'OT-4471')
    """
    return f"{number} {revision}".strip()


def intake_sentence(report: IntakeReport) -> str:
    """What adding a folder did."""
    what = [
        f"{report.added} added",
        *([f"{report.replaced} superseding the stored ones"] if report.replaced else []),
        *([f"{report.unchanged} stored already"] if report.unchanged else []),
    ]
    verdicts = [
        *([f"{report.not_conforming} {not_conform_text(report.not_conforming)}"]
          if report.not_conforming else []),
        *([f"{report.undecided} not assessed"] if report.undecided else []),
    ]  # fmt: skip
    parts = [
        f"{report.folder}: part {part_text(report.part_number, report.revision)}, "
        f"{count_text(report.gears, 'gear')}: {', '.join(what)}",
        ", ".join(verdicts) if verdicts else "all conform",
        f"{count_text(report.events, 'new event')}",
        *(["SIMULATED"] if report.simulated else []),
    ]
    return "; ".join(parts)


def archive_sentence(report: ArchiveReport) -> str:
    """What adding an archive did."""
    parts = [
        f"{count_text(len(report.added), 'folder')} added",
        *([f"{len(report.unchanged)} stored already"] if report.unchanged else []),
        *([f"{len(report.failed)} NOT added"] if report.failed else []),
    ]
    return ", ".join(parts)


def taken_in_sentence(taken: WatchedIntake) -> str:
    """A folder that was taken in while watching."""
    return f"{clock_text(taken.at)} {intake_sentence(taken.report)}"


def problem_sentence(problem: WatchedProblem) -> str:
    """A folder that could not be taken in."""
    again = "tried again soon" if problem.again else "tried again when its files change"
    return f"{clock_text(problem.at)} {problem.folder}: not taken in, {again}: {problem.message}"


def removal_sentence(gear: StoredGear) -> str:
    """A gear that no longer counts."""
    return f"removed: {gear.serial} of part {gear.part_number}, kept in the log"


def event_sentence(recorded: RecordedEvent) -> str:
    """An event that was recorded."""
    event = recorded.event
    head = "recorded" if recorded.new else "already stored"
    return f"{head}: {event.event} on {event.grinder}, {time_text(event.at)}"


def acknowledged_sentence(one: Acknowledgement) -> str:
    """A signal that somebody has seen."""
    return f"acknowledged ({one.id}) by {one.seen_by}: {series_text(one)}: {one.cause}; {one.action}"


def undone_sentence(one: Acknowledgement) -> str:
    """An acknowledgement that was taken back."""
    return f"taken back: acknowledgement {one.id} of {series_text(one)}; its signal is open again"


def series_text(one: Acknowledgement) -> str:
    """The series that an acknowledgement is about."""
    flank = f"{one.flank} " if one.flank else ""
    return f"{flank}{symbol_of(one.parameter)} of part {one.part_number} on {one.grinder}"


def frozen_sentence(frozen: FrozenReference, gears: int) -> str:
    """A period that was frozen."""
    return (
        f"frozen: part {frozen.part_number} on grinder {frozen.grinder}, {time_text(frozen.from_at)} to "
        f"{time_text(frozen.to_at)}, {count_text(gears, 'gear')}"
    )
