"""Check a record again: files, record, chain, signature, and every value recomputed from the files."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import chain
from pathlib import Path
from re import split
from typing import TYPE_CHECKING, Any, Final

from gearqa.errors import GearqaError, NoticeCode, RecordError
from gearqa.model.lot import Disposition, Exclusion, LotOptions
from gearqa.model.measurement import Production
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.model.record import RecordFinding, Status, Subject, Verification
from gearqa.model.results import GearResult, GradeHeader
from gearqa.reading.folder.listing import is_table
from gearqa.reading.rows.digests import sha256_of
from gearqa.results.codec import read
from gearqa.results.lot_json import LOT
from gearqa.signoff.key_files import check_signature, fingerprint
from gearqa.signoff.lot import sign_off
from gearqa.signoff.record import canonical, digest_of, grade_document, libraries, unknown_keys
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
"""Keys of texts for people, which another version may word differently; no codes and no closed lists."""


SINCE: Final = "0.3.0"
CHANGED: Final = frozenset(
    {
        "consumer_risk", "consumer_risk_measured", "mean_interval_um", "operating_characteristic", "p10",
        "p50", "p95", "passes_at_one_percent", "ppk", "ppk_lower_bound", "producer_risk_at_aql",
        "sd_interval_um", "share_below_worst", "tolerance_interval_class",
        "tolerance_interval_um",
    }
)  # fmt: skip
"""Keys of a sign-off that follow other rules since `SINCE`: of older records they are not compared."""


@dataclass(frozen=True, slots=True)
class GradedAgain:
    """A folder read and graded again."""

    part: Part
    header: GradeHeader
    gears: tuple[GearResult, ...]
    other_production: tuple[Production, ...] = ()


Checked = tuple[Status, str, str]
"""Status, place and sentence of a finding."""
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

    Without `folder` files and values stay unchecked; `key` is whose signature is expected. `changed_line` and
    `previous_changed_line` are those of the records' files (`record.changed_line`). At least one finding for
    each of files, record, chain, signature and values.
    """
    found: Mapping[Subject, Iterator[Checked]] = {
        "files": _files(record, folder),
        "record": _record(record, changed_line),
        "chain": _chain(record, previous, previous_changed_line),
        "signature": _signature(record, key),
        "values": _values(record, folder, grader),
    }
    findings = tuple(RecordFinding(subject, *one) for subject, ones in found.items() for one in ones)
    return Verification(str(record["lot_id"]), str(record["digest"]), findings)


# --- files ---------------------------------------------------------------------------------------


def _files(record: Mapping[str, Any], folder: Path | None) -> Iterator[Checked]:
    if folder is None:
        yield "not checked", "", "no folder was given: the input files are not checked"
        return
    inputs = [one for one in record["lot"]["inputs"] if one.get("sha256") is not None]
    different = False
    for one in inputs:
        name, path = one["file"], folder / one["file"]
        if path.is_file():
            found = sha256_of(path)
            sentence = f"{name}: changed, SHA-256 is {found}, the record has {one['sha256']}"
            if found == one["sha256"]:
                continue
        elif name == record["settings"].get("plan_file"):
            yield "not checked", name, f"{name}: not in the folder; the record holds the plan whole"
            continue
        else:
            sentence = f"{name}: not in the folder"
        different = True
        yield "differs", name, sentence
    named = {one["file"] for one in record["lot"]["inputs"]}
    for path in sorted(folder.iterdir()):
        if is_table(path) and path.name not in named:
            different = True
            yield "differs", path.name, f"{path.name}: not in the record"
    if not inputs:
        yield "differs", "", "the record names no input file"
    elif not different:
        yield "consistent", "", f"{count_text(len(inputs), 'file')} as in the record"


# --- record, chain, signature --------------------------------------------------------------------


def _layout(line: int | None) -> Iterator[Checked]:
    """A file whose values are as digested, but whose text is not as gearqa writes it."""
    if line is not None:
        sentence = f"the file's text was changed from line {line} on: it is not as gearqa writes it"
        yield "differs", f"line {line}", sentence


def _record(
    record: Mapping[str, Any], changed_line: int | None, name: str = "the record"
) -> Iterator[Checked]:
    try:
        found = digest_of(record)
    except RecordError as error:
        yield "differs", "", str(error)
        return
    if found != record["digest"]:
        sentence = f"{name} was changed: its digest is {found}, it says {record['digest']}"
        yield "differs", "digest", sentence
        return
    added = list(unknown_keys(record))
    for place in added:
        yield "differs", place, f"{name} has a key that no record has: {place}"
    yield from _layout(changed_line)
    if changed_line is None and not added:
        yield "consistent", "digest", f"digest as stated, {found}"


def own_faults(record: Mapping[str, Any], changed_line: int | None, name: str = "the record") -> list[str]:
    """What is wrong with a record by itself: changed values, added keys, another text, a bad signature."""
    found = chain(_record(record, changed_line, name), _signature(record, None))
    return [sentence for status, _, sentence in found if status == "differs"]


def _chain(
    record: Mapping[str, Any], previous: Mapping[str, Any] | None, changed_line: int | None
) -> Iterator[Checked]:
    link, place = record.get("previous"), "previous"
    if previous is None:
        why = "no previous record was given" if link else "the record names no previous one"
        yield "not checked", place, why
        return
    if not link:
        yield "differs", place, "the record names no previous one, but one was given"
        return
    faults = own_faults(previous, changed_line, "the previous record")
    for fault in faults:
        yield "differs", place, fault
    if previous["digest"] != link["digest"]:
        sentence = f"another previous record: it is {previous['digest']}, this record names {link['digest']}"
        yield "differs", place, sentence
    elif not faults:
        yield "consistent", place, f"follows {link['lot_id']}, {link['digest']}"


def _signature(record: Mapping[str, Any], key: Ed25519PublicKey | None) -> Iterator[Checked]:
    signature = record.get("signature")
    if signature is None and key is None:
        status: Status = "not checked"
        sentence = (
            "not signed: the digest shows changes made by accident; who changes a record on purpose can "
            "renew it"
        )
    elif signature is None:
        status, sentence = "differs", "a key was given, but the record is not signed"
    elif fault := _signature_fault(record, signature, key):
        status, sentence = "differs", fault
    elif key is not None:
        status, sentence = "consistent", f"signed with the key given, {fingerprint(key)}"
    else:
        named = signature["fingerprint"]
        status = "not checked"
        sentence = f"fits the public key in the record, {named}; whose key it is was not checked"
    yield status, "signature", sentence


def _signature_fault(
    record: Mapping[str, Any], signature: dict[str, Any], key: Ed25519PublicKey | None
) -> str | None:
    try:
        return check_signature(canonical(record), signature, key)
    except RecordError as error:
        return str(error)


# --- values --------------------------------------------------------------------------------------


def _values(record: Mapping[str, Any], folder: Path | None, grader: Grader) -> Iterator[Checked]:
    if folder is None:
        yield "not checked", "", "no folder was given: nothing was computed again"
        return
    made_by = record.get("software", {}).get("version")
    same = made_by == __version__
    others = list(_other_versions(record, made_by))
    try:
        found = recompute(record, grader(folder, record["settings"]))
    except (GearqaError, KeyError, TypeError, ValueError) as error:
        yield "differs", "", f"cannot be computed again: {error}"
        found = None
    kept: Any = {key: record[key] for key in ("part_file", "grade", "lot")}
    if _older(made_by) and found is not None:
        kept, found = _without_notes(kept), _without_notes(found)
    if not same:
        kept, found = _without_words(kept), _without_words(found)
    different = [] if found is None else list(differences(kept, found, added_keys=not same))
    agrees = found is not None and not different
    for where, sentence in others:
        yield ("consistent" if agrees else "not checked"), where, sentence
    blame = f" (made by another software version, {made_by})" if others else ""
    changed = [
        where for where, _ in different if _older(made_by) and CHANGED & set(split(r"[.\[\]]+", where))
    ]
    for where, sentence in different:
        if where not in changed:
            yield "differs", where, f"{sentence}{blame}"
    if changed:
        counted = count_text(len(changed), "value")
        yield (
            "not checked",
            changed[0],
            (
                f"{counted} of the sign-off ({changed[0]}, ...) follow other rules since {SINCE}; gearqa "
                f"{made_by} can verify them"
            ),
        )
    if agrees:
        yield "consistent", "", f"all values computed again, equal within {short_text(RELATIVE)}"


def _without_notes(document: dict[str, Any]) -> dict[str, Any]:
    """Without the notes that stand for what `CHANGED` withholds now."""
    lot = document["lot"]
    notes = [one for one in lot["notes"] if one["code"] != NoticeCode.ONE_PERCENT]
    return {**document, "lot": {**lot, "notes": notes}}


def _older(made_by: Any) -> bool:
    """Whether a record was made before the rules of `CHANGED` changed."""
    try:
        return tuple(map(int, str(made_by).split("."))) < tuple(map(int, SINCE.split(".")))
    except ValueError:
        return False


def _other_versions(record: Mapping[str, Any], made_by: Any) -> Iterator[tuple[str, str]]:
    """(place, sentence) of each other version: of gearqa, which may word things otherwise, of a library.

    A changed digit may come from it.
    """
    if made_by != __version__:
        apart = f"made by gearqa {made_by}, computed again by {__version__}"
        words = (
            f"words are those of version {made_by} and were not compared; gearqa {made_by} verifies it whole"
        )
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
        again.header, again.part, again.gears, plan,
        lot_size=record["settings"]["lot_size"], lot_id=record["lot_id"],
        excluded=tuple(read(Exclusion, one) for one in lot["excluded"]),
        sorted_out=tuple(read(Exclusion, one) for one in lot.get("sorted_out", ())),
        options=read(LotOptions, lot["options"]),
        disposition=read(Disposition, disposition) if disposition else None,
        other_production=again.other_production,
    )  # fmt: skip
    table = LOT.document(result)
    grade = grade_document(again.header, again.gears)
    for document, kept in ((table, lot), (grade, record["grade"])):
        document["software"] = kept["software"]  # named apart, see _other_versions
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
        if added_keys and all(isinstance(one, Mapping) for one in (*kept, *found)):
            found = _without_added(kept, found)
        if len(kept) != len(found):
            yield where, f"{where}: {len(kept)} entries in the record, now {len(found)}"
        for number, (one, other) in enumerate(zip(kept, found, strict=False)):
            name = one.get("serial", number) if isinstance(one, Mapping) else number
            yield from differences(one, other, f"{where}[{name}]", added_keys=added_keys)
    elif not _same(kept, found):
        yield where, f"{where}: {_shown(kept)} in the record, now {_shown(found)}"


def _without_added(kept: Sequence[Any], found: Sequence[Any]) -> Sequence[Any]:
    """Notices and reasons as found, without those of codes that come in between or after those kept."""
    before, now = ([str(one["code"]) for one in side if "code" in one] for side in (kept, found))
    if len(now) <= len(before) or len(before) < len(kept) or len(now) < len(found):
        return found
    blocks = SequenceMatcher(None, before, now, autojunk=False).get_opcodes()
    return [one for _, i, j, start, _ in blocks for one in found[start : start + j - i]]


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
