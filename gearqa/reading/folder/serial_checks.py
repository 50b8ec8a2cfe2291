"""Checks across tables: serials that only some tables have, or that are written differently."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from gearqa.errors import Notice, NoticeCode, Problem, Reason
from gearqa.reading.folder.sources import TableKind
from gearqa.wording.nearest import nearest
from gearqa.wording.sentences import listed

_NUMERIC = re.compile(r"0*(\d+)(?:\.0+)?")


def twins(serials: Iterable[str]) -> dict[str, str]:
    """Serials that differ from another one only in how it is written, and what to say about it.

    >>> twins(["007", "7", "A1"])
    {'007': "'7' (differs by leading zeros)", '7': "'007' (differs by leading zeros)"}
    """
    groups: dict[str, list[str]] = {}
    for serial in serials:
        groups.setdefault(_plain(serial), []).append(serial)
    found = {}
    for group in groups.values():
        for serial in group if len(group) > 1 else ():
            other = next(s for s in group if s != serial)
            found[serial] = f"'{other}' ({_difference(serial, other)})"
    return found


def _plain(serial: str) -> str:
    match = _NUMERIC.fullmatch(serial)
    return match.group(1) if match else re.sub(r"\s+", " ", serial.casefold().lstrip("0"))


def _difference(one: str, other: str) -> str:
    if one.lstrip("0") == other.lstrip("0"):
        return "differs by leading zeros"
    return (
        "differs by case or blanks" if one.casefold() == other.casefold() else "differs in how it is written"
    )


def missing_table_notices(
    serials: Sequence[str],
    kinds_of: Mapping[str, frozenset[TableKind]],
    present: Sequence[TableKind],
    hints: Mapping[str, str],
) -> dict[str, list[Notice]]:
    """For each gear, the tables that have other gears of the folder and not this one."""
    found: dict[str, list[Notice]] = {}
    for serial in serials:
        lacking = [kind for kind in present if kind not in kinds_of[serial]]
        if lacking:
            hint = f"; there is {hints[serial]}" if serial in hints else ""
            tables = f"the {listed(lacking)} table{'s' if len(lacking) > 1 else ''}"
            message = f"serial '{serial}' has no rows in {tables}, other serials have{hint}"
            found[serial] = [Notice(NoticeCode.SERIAL_WITHOUT_TABLE, message)]
    return found


def known_elsewhere_notices(
    where: Mapping[str, Sequence[TableKind]], hints: Mapping[str, str]
) -> list[Notice]:
    """Serials that only tables have that cannot be graded."""
    groups: dict[tuple[TableKind, ...], list[str]] = {}
    for serial, kinds in where.items():
        groups.setdefault(tuple(kinds), []).append(serial)
    notices = []
    for kinds, names in groups.items():
        shown = ", ".join(
            f"'{name}'" + (f" (there is {hints[name]})" if name in hints else "") for name in names[:20]
        ) + (f" and {len(names) - 20} more" if len(names) > 20 else "")
        word = "serial" if len(names) == 1 else "serials"
        message = f"{word} {shown} known only from {listed(kinds)}: nothing to grade, no gear"
        notices.append(Notice(NoticeCode.SERIAL_WITHOUT_MEASUREMENT, message))
    return notices


def unknown_serial(
    wanted: str, folder: str, serials: Sequence[str], elsewhere: Mapping[str, Sequence[TableKind]]
) -> Problem:
    """A serial that was asked for and is not there."""
    if wanted in elsewhere:
        kinds = elsewhere[wanted]
        found = f"serial '{wanted}' only in the {listed(kinds)} table{'s' if len(kinds) > 1 else ''}"
        return Problem(Reason.UNKNOWN_SERIAL, folder, found, "a serial with something to grade")
    twin = twins([*serials, wanted]).get(wanted)
    near = nearest(wanted, serials, 0.4)
    hint = f"there is {twin}" if twin else f"the nearest is '{near}'" if near else ""
    shown = ", ".join(f"'{s}'" for s in serials[:5]) + (", ..." if len(serials) > 5 else "")
    expected = f"one of {len(serials)} serials: {shown}" if len(serials) > 1 else f"the only serial {shown}"
    expected = expected if serials else "a serial of the folder"
    return Problem(Reason.UNKNOWN_SERIAL, folder, f"serial '{wanted}'", expected, hint=hint)
