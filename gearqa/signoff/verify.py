"""Check a record again: files, record, chain, signature, and every value recomputed from the files."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gearqa.errors import GearqaError, NoticeCode, RecordError
from gearqa.model.lot import Disposition, Exclusion, LotOptions
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.model.results import GearResult, GradeHeader
from gearqa.model.verification import Finding, Subject, Verification
from gearqa.reading.rows.digests import sha256_of
from gearqa.results.codec import read
from gearqa.results.lot_json import LOT
from gearqa.signoff.key_files import check_signature, fingerprint
from gearqa.signoff.lot import sign_off
from gearqa.signoff.record import canonical, digest_of, grade_document, libraries
from gearqa.version import __version__
from gearqa.wording.numbers import count_text, short_text

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

RELATIVE: Final = 1e-9
"""Numbers agree within this; words and counts exactly."""
NEAR_ZERO: Final = 1e-12
"""Below this magnitude a difference is rounding of the computation."""
WORDS: Final = frozenset(
    {
        "basis", "cpk_withheld_reason", "editions", "interval_model", "message", "normality_withheld_reason",
        "ppk_withheld_reason", "reason", "sentence", "statistic", "tolerance_interval_withheld_reason",
    }
)  # fmt: skip
"""Keys of texts for people, which a later version may word otherwise; codes and closed words are not here."""


@dataclass(frozen=True, slots=True)
class GradedAgain:
    """A folder read and graded again."""

    part: Part
    header: GradeHeader
    gears: tuple[GearResult, ...]
    other_production: tuple[Production, ...] = ()


Grader = Callable[[Path, Mapping[str, Any]], GradedAgain]
"""Reads and grades a folder as the settings of a record say."""


def grade_folder(folder: Path, settings: Mapping[str, Any]) -> GradedAgain:
    """Read and grade a folder as a record's settings say."""
    from gearqa.evaluation.evaluate import grade
    from gearqa.reading.folder.passes import read_folder

    def named(name: Any) -> Path | None:
        return folder / str(name) if name else None

    with read_folder(
        folder,
        part=named(settings.get("part_file")),
        columns=named(settings.get("columns_file")),
        serials=tuple(settings.get("serials") or ()),
    ) as inspection:
        result = grade(inspection)
        return GradedAgain(inspection.part, result.header, result.gears, inspection.other_production)


def verify(
    record: Mapping[str, Any],
    folder: Path | None,
    *,
    previous: Mapping[str, Any] | None = None,
    key: Ed25519PublicKey | None = None,
    grader: Grader = grade_folder,
    changed_line: int | None = None,
    previous_changed_line: int | None = None,
) -> Verification:
    """Check a record against its files, its chain, its signature and a new computation.

    Parameters
    ----------
    record : mapping
        As `load_record` returns it.
    folder : Path or None
        Where the input files lie; None leaves files and values unchecked.
    previous : mapping, optional
        The record before it.
    key : Ed25519PublicKey, optional
        Whose signature is expected.
    grader : callable, optional
        Reads and grades the folder.
    changed_line, previous_changed_line : int, optional
        First line of the record's file, and of the previous one's, that is not as gearqa writes it
        (`record.changed_line`).

    Returns
    -------
    Verification
        A finding a line; at least one for each of files, record, chain, signature and values.
    """
    findings = [
        *_files(record, folder),
        *_record(record, changed_line),
        *_chain(record, previous),
        *_layout("chain", previous_changed_line),
        *_signature(record, key),
        *_values(record, folder, grader),
    ]
    return Verification(str(record["lot_id"]), str(record["digest"]), tuple(findings))


# --- files ---------------------------------------------------------------------------------------


def _files(record: Mapping[str, Any], folder: Path | None) -> Iterator[Finding]:
    inputs = [one for one in record["lot"].get("inputs", []) if one.get("sha256") is not None]
    if folder is None:
        yield Finding("files", "not checked", "", "no folder was given: the input files are not checked")
        return
    wrong = missing = 0
    embedded = record["settings"].get("plan_file")
    for one in inputs:
        path = folder / one["file"]
        if not path.is_file():
            if one["file"] == embedded:
                yield Finding(
                    "files", "not checked", one["file"],
                    f"{one['file']}: not in the folder; the record holds the plan whole",
                )  # fmt: skip
                continue
            missing += 1
            yield Finding("files", "differs", one["file"], f"{one['file']}: not in the folder")
            continue
        found = sha256_of(path)
        if found != one["sha256"]:
            wrong += 1
            yield Finding(
                "files", "differs", one["file"],
                f"{one['file']}: changed, SHA-256 is {found}, the record has {one['sha256']}",
            )  # fmt: skip
    named = {one["file"] for one in record["lot"].get("inputs", [])}
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() == ".csv" and path.name not in named:
            wrong += 1
            yield Finding("files", "differs", path.name, f"{path.name}: not in the record")
    if not inputs:
        yield Finding("files", "differs", "", "the record names no input file")
    elif not wrong and not missing:
        yield Finding("files", "consistent", "", f"{count_text(len(inputs), 'file')} as in the record")


# --- record, chain, signature --------------------------------------------------------------------


def _layout(subject: Subject, line: int | None) -> Iterator[Finding]:
    """A file whose values are as digested, but whose text is not as gearqa writes it."""
    if line is not None:
        yield Finding(
            subject, "differs", f"line {line}",
            f"the file's text was changed from line {line} on: it is not as gearqa writes it",
        )  # fmt: skip


def _record(record: Mapping[str, Any], changed_line: int | None) -> Iterator[Finding]:
    try:
        found = digest_of(record)
    except RecordError as error:
        yield Finding("record", "differs", "", str(error))
        return
    if found != record["digest"]:
        yield Finding(
            "record", "differs", "digest",
            f"the record was changed: its digest is {found}, it says {record['digest']}",
        )  # fmt: skip
        return
    yield from _layout("record", changed_line)
    if changed_line is None:
        yield Finding("record", "consistent", "digest", f"digest as stated, {found}")


def _chain(record: Mapping[str, Any], previous: Mapping[str, Any] | None) -> Iterator[Finding]:
    link = record.get("previous")
    if previous is None:
        why = "no previous record was given" if link else "the record names no previous one"
        yield Finding("chain", "not checked", "previous", why)
        return
    if not link:
        yield Finding("chain", "differs", "previous", "the record names no previous one, but one was given")
        return
    found = digest_of(previous)
    if found != previous["digest"]:
        yield Finding(
            "chain", "differs", "previous",
            f"the previous record was changed: its digest is {found}, it says {previous['digest']}",
        )  # fmt: skip
    if found != link["digest"]:
        yield Finding(
            "chain", "differs", "previous",
            f"another previous record: its digest is {found}, this record names {link['digest']}",
        )  # fmt: skip
    elif found == previous["digest"]:
        yield Finding("chain", "consistent", "previous", f"follows {link['lot_id']}, {link['digest']}")


def _signature(record: Mapping[str, Any], key: Ed25519PublicKey | None) -> Iterator[Finding]:
    signature = record.get("signature")
    if signature is None:
        if key is None:
            yield Finding(
                "signature", "not checked", "signature",
                "not signed: the digest shows changes made by accident; who changes a record on purpose can "
                "renew it",
            )  # fmt: skip
        else:
            yield Finding(
                "signature", "differs", "signature", "a key was given, but the record is not signed"
            )
        return
    try:
        fault = check_signature(canonical(record), signature, key)
    except RecordError as error:
        fault = str(error)
    if fault is not None:
        yield Finding("signature", "differs", "signature", fault)
    elif key is not None:
        yield Finding(
            "signature", "consistent", "signature", f"signed with the key given, {fingerprint(key)}"
        )
    else:
        yield Finding(
            "signature", "not checked", "signature",
            f"fits the public key in the record, {signature['fingerprint']}; whose key it is was not "
            "checked",
        )  # fmt: skip


# --- values --------------------------------------------------------------------------------------


def _values(record: Mapping[str, Any], folder: Path | None, grader: Grader) -> Iterator[Finding]:
    if folder is None:
        yield Finding("values", "not checked", "", "no folder was given: nothing was computed again")
        return
    made_by = record.get("software", {}).get("version")
    same = made_by == __version__
    others = list(_other_versions(record, made_by))
    try:
        found = recompute(record, grader(folder, record["settings"]))
    except (GearqaError, KeyError, TypeError, ValueError) as error:
        yield Finding("values", "differs", "", f"cannot be computed again: {error}")
        found = None
    kept: Any = {key: record[key] for key in ("part_file", "grade", "lot")}
    if not same:
        kept, found = _without_words(kept), _without_words(found)
    different = [] if found is None else list(differences(kept, found, added_keys=not same))
    agrees = found is not None and not different
    for where, sentence in others:
        yield Finding("values", "consistent" if agrees else "not checked", where, sentence)
    blame = f" (made by another software version, {made_by})" if others else ""
    for where, sentence in different:
        yield Finding("values", "differs", where, f"{sentence}{blame}")
    if agrees:
        agreed = f"all values computed again, equal within {short_text(RELATIVE)}"
        yield Finding("values", "consistent", "", agreed)


def _other_versions(record: Mapping[str, Any], made_by: Any) -> Iterator[tuple[str, str]]:
    """(place, sentence) of each other version: of gearqa, which may word things otherwise, of a library.

    A changed digit may come from it.
    """
    if made_by != __version__:
        apart = f"made by gearqa {made_by}, computed again by {__version__}"
        words = f"words are those of version {made_by} and were not compared"
        yield "software.version", f"another software version: {apart}; {words}"
    here = libraries()
    for name in ("numpy", "scipy"):
        version = record.get("libraries", {}).get(name)
        if version is not None and here[name] != version:
            apart = f"made with {version}, computed again with {here[name]}"
            yield f"libraries.{name}", f"another version of {name}: {apart}"


def _without_words(document: Any, *, words: bool = False) -> Any:
    """The document with every text for people emptied; whether there is one still shows."""
    if isinstance(document, Mapping):
        return {key: _without_words(value, words=words or key in WORDS) for key, value in document.items()}
    if _is_list(document):
        return [_without_words(value, words=words) for value in document]
    return "" if words and isinstance(document, str) else document


def recompute(record: Mapping[str, Any], again: GradedAgain) -> dict[str, Any]:
    """Part file, grading and sign-off computed again, laid out as in the record."""
    lot = record["lot"]
    plan = Plan.model_validate(record["plan"], by_alias=True, strict=False)
    disposition = lot.get("disposition")
    result = sign_off(
        again.header,
        again.part,
        again.gears,
        plan,
        lot_size=record["settings"]["lot_size"],
        lot_id=record["lot_id"],
        excluded=tuple(read(Exclusion, one) for one in lot["excluded"]),
        options=read(LotOptions, lot["options"]),
        disposition=read(Disposition, disposition) if disposition else None,
        other_production=again.other_production,
    )
    table = LOT.document(result)
    grade = grade_document(again.header, again.gears)
    for document, kept in ((table, lot), (grade, record["grade"])):
        document["software"] = kept["software"]  # named apart, see _words_left_out
        document["inputs"] = lot["inputs"]  # checked against the files themselves, see _files
        document["warnings"] = _without_listing(document["warnings"], kept["warnings"])
    return {"part_file": again.part.model_dump(mode="json", by_alias=True), "grade": grade, "lot": table}


def _without_listing(found: list[dict[str, Any]], kept: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Warnings as found, but those that list files that are not read as they were kept.

    The record or a certificate may lie in the folder now; neither is an input.
    """
    out = [one for one in found if one["code"] != NoticeCode.FILES_NOT_READ]
    for place, one in enumerate(kept):
        if one["code"] == NoticeCode.FILES_NOT_READ:
            out.insert(place, one)
    return out


def differences(
    kept: Any, found: Any, where: str = "", *, added_keys: bool = False
) -> Iterator[tuple[str, str]]:
    """(place, sentence) of every value that differs; with `added_keys` the second may have more keys."""
    if isinstance(kept, Mapping) and isinstance(found, Mapping):
        for key in dict.fromkeys([*kept, *found]):
            place = f"{where}.{key}" if where else str(key)
            if key not in found:
                yield place, f"{place}: in the record only"
            elif key in kept:
                yield from differences(kept[key], found[key], place, added_keys=added_keys)
            elif not added_keys:
                yield place, f"{place}: not in the record, now {_shown(found[key])}"
    elif _is_list(kept) and _is_list(found):
        if len(kept) != len(found):
            yield where, f"{where}: {len(kept)} entries in the record, now {len(found)}"
        for number, (one, other) in enumerate(zip(kept, found, strict=False)):
            name = one.get("serial", number) if isinstance(one, Mapping) else number
            yield from differences(one, other, f"{where}[{name}]", added_keys=added_keys)
    elif not _same(kept, found):
        yield where, f"{where}: {_shown(kept)} in the record, now {_shown(found)}"


def _is_list(value: Any) -> bool:
    return isinstance(value, list | tuple)


def _same(kept: Any, found: Any) -> bool:
    numbers = all(isinstance(v, int | float) and not isinstance(v, bool) for v in (kept, found))
    if numbers and not (isinstance(kept, int) and isinstance(found, int)):
        return math.isclose(kept, found, rel_tol=RELATIVE, abs_tol=NEAR_ZERO)
    return type(kept) is type(found) and bool(kept == found)


def _shown(value: Any) -> str:
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
