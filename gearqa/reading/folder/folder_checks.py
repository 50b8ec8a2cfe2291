"""Checks of a folder as a whole, of its series and serials, before the first gear comes out."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from gearqa.arrays import distinct
from gearqa.core.geometry import diameter_at_roll
from gearqa.errors import Notice, NoticeCode, Problem, Reason
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import FIRST_MEASUREMENT, GearKey
from gearqa.model.part import Part
from gearqa.reading.folder.canonical import (
    INDEX,
    KIND_OF_SERIES,
    PROFILE,
    SERIES_BITS,
    SINGLE_PITCH,
    Frame,
    series_key,
    split_series_key,
)
from gearqa.reading.folder.series_store import SeriesStore
from gearqa.reading.folder.sources import TableKind, TableSource
from gearqa.reading.folder.table_kinds import GRADED_KINDS
from gearqa.reading.folder.text_rows import TextRows
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.symbols import FLANKS
from gearqa.wording.nearest import nearest
from gearqa.wording.numbers import count_text, fixed_text
from gearqa.wording.sentences import listed, some_of

LOCATED_SERIES: Final = 500
"""Series whose double points are looked up and reported one by one; further ones are counted."""


@dataclass(frozen=True, slots=True)
class FolderChecks:
    """What was read of a folder; problems and notices go to its log."""

    folder: Path
    part: Part | None
    sources: Sequence[TableSource]
    store: SeriesStore
    texts: TextRows
    log: ProblemLog

    def series(self) -> None:
        """Check the series against each other and against the part file."""
        frame = Frame.of(self.part)
        self._repeats(frame)
        self._pitch()
        self._limits(frame)

    def _repeats(self, frame: Frame) -> None:
        """Points that occur twice, and labels that are not constant."""
        if jumbled := self.store.unordered():
            self.log.notice(
                NoticeCode.ROW_ORDER,
                f"{count_text(jumbled, 'trace has', 'traces have')} rows in no order of position: read by "
                "position, but two measurements of one trace could not be told apart there",
            )
        suspects, count = self.store.suspects(LOCATED_SERIES)
        if not suspects:
            return
        from gearqa.reading.folder.locate import locate

        locate(suspects, self.sources, frame, self.log)
        if count > len(suspects):
            self.log.add(
                Problem(
                    Reason.DUPLICATE_POINT, self.folder.name,
                    f"{count - len(suspects)} more traces with points that occur twice", "none",
                    hint="is a table in the folder twice, or a second measurement?",
                )
            )  # fmt: skip

    def _pitch(self) -> None:
        """Index and single pitch both for one serial and flank."""
        apart = series_key(SINGLE_PITCH) - series_key(INDEX)
        both = np.intersect1d(
            self.store.keys(INDEX), self.store.keys(SINGLE_PITCH) - apart, assume_unique=True
        )
        names = list(self.store.gears) if len(both) else []
        for key in both.tolist():
            gear, series = key >> SERIES_BITS, key & ((1 << SERIES_BITS) - 1)
            _, flank, _ = split_series_key(series)
            other = series + apart
            files = [self.sources[n].name for s in (series, other) for n in self.store.files_with(gear, s)]
            found = f"index and single pitch of the {FLANKS[flank]} flank of {names[gear].quoted}"
            self.log.add(
                Problem(
                    Reason.CONTRADICTING_COLUMNS, files[0], f"{found} (see {', '.join(files[1:])} too)",
                    "one of the two", column="index_um",
                )
            )  # fmt: skip

    def _limits(self, frame: Frame) -> None:
        """Profile tables without the limits to evaluate them."""
        measured = self.store.position_range(PROFILE)
        if self.part is None or frame.base_diameter_mm is None or measured is None:
            return
        limits = self.part.evaluation.profile
        diameters = (limits.control_diameter_mm, limits.tip_form_diameter_mm)
        if limits.explicit or None not in diameters:
            return
        shown = [
            f"{fixed_text(roll, 4)} mm "
            f"(diameter {fixed_text(diameter_at_roll(roll, frame.base_diameter_mm), 4)} mm)"
            for roll in measured
        ]
        root, tip = shown if self.part.gear.kind == "external" else shown[::-1]
        keys = ("control_diameter_mm", "tip_form_diameter_mm")
        missing = [key for key, value in zip(keys, diameters, strict=True) if value is None]
        sides = {keys[0]: "root-side limit", keys[1]: "tip-side limit"}
        expected = " and ".join(f"{key} ({sides[key]})" for key in missing)
        name = next(source.name for source in self.sources if source.kind == "profile")
        self.log.add(
            Problem(
                Reason.NO_EVALUATION_LIMITS, name,
                f"profile traces from roll length {root} on the root side to {tip} on the tip side, but no "
                "limits to evaluate them",
                f"{expected} under [evaluation.profile] of the part file",
                hint="or start_roll_length_mm and end_roll_length_mm; the drawing states them",
            )
        )  # fmt: skip

    def gears(
        self, wanted: Sequence[str], *, map_failed: bool
    ) -> tuple[tuple[GearKey, ...], dict[GearKey, list[Notice]]]:
        """Gears with something to grade, and by gear the notices about tables it is missing from."""
        kinds_of = self._kinds_of()
        graded = in_order(gear for gear, kinds in kinds_of.items() if kinds)
        serials = dict.fromkeys(gear.serial for gear in graded)
        elsewhere = self._elsewhere(kinds_of, serials)
        known = dict.fromkeys(gear.serial for gear in kinds_of)
        hints = twins(known)
        if not graded and not self.log.problems and not map_failed:
            self.log.add(_nothing_to_grade(self.folder, self.sources))
        only = {gear.serial: kinds for gear, kinds in elsewhere.items() if gear.serial not in serials}
        for serial in dict.fromkeys(wanted):
            if serial.strip() not in known or serial.strip() in only:
                self.log.add(unknown_serial(serial.strip(), self.folder.name, list(serials), only))
        if wanted:
            chosen = {serial.strip() for serial in wanted}
            graded = [gear for gear in graded if gear.serial in chosen]
        elif elsewhere:
            self.log.notices += known_elsewhere_notices(elsewhere, hints)
        there = {kind for kinds in set(kinds_of.values()) for kind in kinds}
        present = [kind for kind in GRADED_KINDS if kind in there]
        return tuple(graded), missing_table_notices(graded, kinds_of, present, hints)

    def _elsewhere(
        self, kinds_of: Mapping[GearKey, Collection[TableKind]], graded: Collection[str]
    ) -> dict[GearKey, list[TableKind]]:
        """Gears without anything to grade, and which tables have them. How a serial was made is of use to all
        its measurements."""
        tables: dict[TableKind, Collection[GearKey]] = {
            "size": self.texts.sizes,
            "production": self.texts.production,
        }
        return {
            gear: found
            for gear, kinds in kinds_of.items()
            if not kinds
            and (gear in self.texts.sizes or gear.serial not in graded)
            and (found := [kind for kind, table in tables.items() if gear in table])
        }  # not one whose only rows are at fault

    def _kinds_of(self) -> dict[GearKey, frozenset[TableKind]]:
        bits = self.store.sorts_of_gears()
        kinds = {
            some: frozenset(kind for sort, kind in enumerate(KIND_OF_SERIES) if some >> sort & 1)
            for some in distinct(bits).tolist()
        }  # one object for all gears of the same tables
        return {name: kinds[some] for name, some in zip(self.store.gears, bits.tolist(), strict=True)}


def in_order(gears: Iterable[GearKey]) -> list[GearKey]:
    """Gears serial by serial as first met; of each serial measurement 1, then the others as first met.

    >>> [gear.name for gear in in_order([GearKey("B", "2"), GearKey("A"), GearKey("B")])]
    ['B', 'B (2)', 'A']
    """
    gears = list(gears)
    if all(gear.measurement == FIRST_MEASUREMENT for gear in gears):
        return gears
    of_serial: dict[str, list[GearKey]] = {}
    for gear in gears:
        of_serial.setdefault(gear.serial, []).append(gear)
    return [
        gear
        for own in of_serial.values()
        for gear in sorted(own, key=lambda gear: gear.measurement != FIRST_MEASUREMENT)
    ]


def _nothing_to_grade(folder: Path, sources: Sequence[TableSource]) -> Problem:
    kinds = sorted({source.kind for source in sources})
    found = f"only tables of {listed(kinds)}, which cannot be graded" if kinds else "no table at all"
    return Problem(
        Reason.NOTHING_TO_GRADE, folder.name or str(folder), found,
        "a CSV table of profile, helix, pitch or runout", hint="`gearqa new` writes templates",
    )  # fmt: skip


_NUMERIC = re.compile(r"0*(\d+)(?:\.0+)?")


def twins(serials: Iterable[str]) -> dict[str, str]:
    """Serials that differ from another one only in how it is written, and what to say about it.

    >>> twins(["007", "7", "A1"])
    {'007': "'7' (differs by leading zeros)", '7': "'007' (differs by leading zeros)"}
    """
    first: dict[str, str] = {}
    groups: dict[str, list[str]] = {}
    for serial in serials:
        plain = _plain(serial)
        one = first.setdefault(plain, serial)
        if one != serial:
            groups.setdefault(plain, [one]).append(serial)
    found = {}
    for group in groups.values():
        for serial in group:
            other = next(s for s in group if s != serial)
            found[serial] = f"'{other}' ({_difference(serial, other)})"
    return found


def _plain(serial: str) -> str:
    match = _NUMERIC.fullmatch(serial)
    return match.group(1) if match else re.sub(r"\s+", " ", serial.casefold().lstrip("0"))


def _difference(one: str, other: str) -> str:
    if one.lstrip("0") == other.lstrip("0"):
        return "differs by leading zeros"
    return f"differs {'by case or blanks' if one.casefold() == other.casefold() else 'in how it is written'}"


def missing_table_notices(
    gears: Sequence[GearKey],
    kinds_of: Mapping[GearKey, frozenset[TableKind]],
    present: Sequence[TableKind],
    hints: Mapping[str, str],
) -> dict[GearKey, list[Notice]]:
    """For each gear, the tables that have other gears of the folder and not this one."""
    found: dict[GearKey, list[Notice]] = {}
    for gear in gears:
        lacking = [kind for kind in present if kind not in kinds_of[gear]]
        if lacking:
            hint = f"; there is {hints[gear.serial]}" if gear.serial in hints else ""
            message = f"serial {gear.quoted} has no rows in {_the_tables(lacking)}, other serials have{hint}"
            found[gear] = [Notice(NoticeCode.SERIAL_WITHOUT_TABLE, message)]
    return found


def _the_tables(kinds: Sequence[TableKind]) -> str:
    return f"the {listed(kinds)} table{'s' if len(kinds) > 1 else ''}"


def known_elsewhere_notices(
    where: Mapping[GearKey, Sequence[TableKind]], hints: Mapping[str, str]
) -> list[Notice]:
    """Serials that only tables have that cannot be graded."""
    groups: dict[tuple[TableKind, ...], list[GearKey]] = {}
    for gear, kinds in where.items():
        groups.setdefault(tuple(kinds), []).append(gear)
    notices = []
    for kinds, names in groups.items():
        named = [
            gear.quoted + (f" (there is {hints[gear.serial]})" if gear.serial in hints else "")
            for gear in names
        ]
        shown, word = some_of(named, 20), "serial" if len(names) == 1 else "serials"
        message = f"{word} {shown} known only from {listed(kinds)}: nothing to grade, no gear"
        notices.append(Notice(NoticeCode.SERIAL_WITHOUT_MEASUREMENT, message))
    return notices


def unknown_serial(
    wanted: str, folder: str, serials: Sequence[str], elsewhere: Mapping[str, Sequence[TableKind]]
) -> Problem:
    """A serial that was asked for and is not there."""
    if wanted in elsewhere:
        found = f"serial '{wanted}' only in {_the_tables(elsewhere[wanted])}"
        return Problem(Reason.UNKNOWN_SERIAL, folder, found, "a serial with something to grade")
    twin = twins([*serials, wanted]).get(wanted)
    near = nearest(wanted, serials, 0.4)
    hint = f"there is {twin}" if twin else f"the nearest is '{near}'" if near else ""
    shown = ", ".join(f"'{s}'" for s in serials[:5]) + (", ..." if len(serials) > 5 else "")
    expected = f"one of {len(serials)} serials: {shown}" if len(serials) > 1 else f"the only serial {shown}"
    expected = expected if serials else "a serial of the folder"
    return Problem(Reason.UNKNOWN_SERIAL, folder, f"serial '{wanted}'", expected, hint=hint)
