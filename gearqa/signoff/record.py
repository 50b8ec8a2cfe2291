"""The record of a sign-off: everything it rests on in one JSON document that can be checked again.

Its digest is the SHA-256 of the canonical form (RFC 8785) of the document without `digest` and
`signature`; a signature covers the same bytes. A record names the digest of the one before it.
The file is the canonical form with line breaks: one way to write each record, so that any other text shows.
"""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from importlib import metadata
from itertools import takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gearqa.errors import RecordError
from gearqa.model.lot import LotResult
from gearqa.model.part import Part
from gearqa.model.plan import Plan
from gearqa.model.record import (
    EarlierRecord,
    FirstResult,
    Link,
    Making,
    Record,
    RecordSettings,
    RecordSignature,
    RepeatedGear,
)
from gearqa.model.results import GearResult, GradeHeader
from gearqa.results.codec import read
from gearqa.results.document import software
from gearqa.results.grade_json import GRADE
from gearqa.results.lot_json import LOT
from gearqa.results.outputs import write_whole
from gearqa.results.record_json import RECORD
from gearqa.signoff.key_files import check_signature, sign
from gearqa.signoff.statistics_table import SEED

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

UNSEALED: Final = ("digest", "signature")
TABLES: Final = ("part_file", "plan", "settings", "grade", "lot")
OBJECTS: Final = {
    ("signature",): RecordSignature, ("made",): Making, ("settings",): RecordSettings, ("previous",): Link,
    ("previous", "first_result"): FirstResult,
}  # fmt: skip
"""Where a record holds objects whose keys are all declared here; the others are checked by their values."""
HEADER: Final = frozenset({"schema", "software"})
ORDER_NOT_FIXED: Final = frozenset({"0.1.0", "0.2.0"})
"""Versions that did not write records in canonical order and spelling."""
LIBRARIES: Final = ("numpy", "scipy", "pandas", "pydantic", "orjson", "rfc8785", "cryptography")


def make_record(
    result: LotResult,
    part: Part,
    plan: Plan,
    header: GradeHeader,
    gears: Sequence[GearResult],
    *,
    settings: Mapping[str, Any] | None = None,
    previous: Mapping[str, Any] | None = None,
    key: Ed25519PrivateKey | None = None,
) -> dict[str, Any]:
    """The record of a sign-off, sealed with its digest; `key` signs it.

    `gears` are all that were measured, the excluded ones too; `settings` say how the folder was read;
    `previous` is the record before this one, as `load_record` returns it.

    Raises
    ------
    RecordError
        Without a lot_id, or if the previous record belongs to another part.
    """
    if not result.lot_id:
        raise RecordError("a record needs a lot_id", hint="give --lot-id")
    measured_by = sorted({one.production.operator or "" for one in gears if one.production} - {""})
    made = Making(result.options.inspector, result.options.date, tuple(measured_by))
    body: dict[str, Any] = RECORD.plain({
        "schema": RECORD.schema,
        "lot_id": result.lot_id,
        "software": software(),
        "libraries": libraries(),
        "made": made,
        "part_file": part.model_dump(mode="json", by_alias=True),
        "plan": plan.model_dump(mode="json", by_alias=True),
        "settings": {"lot_size": result.lot_size, **(settings or {})},
        "seeds": [SEED],
        "grade": grade_document(header, gears),
        "lot": LOT.table(result),
        "previous": None if previous is None else _link(previous, result),
    })  # fmt: skip
    body["digest"] = digest_of(body)
    if key is not None:
        body["signature"] = sign(canonical(body), key)
    return body


LARGEST_NUMBER: Final = 1e300
LONGEST_INTEGER: Final = 20
"""Digits of an integer in a record."""
DEEPEST: Final = 40
"""Levels of tables and lists in a record."""


def grade_document(header: GradeHeader, gears: Sequence[GearResult]) -> dict[str, Any]:
    """The grading as a record holds it: all but the summary."""
    return GRADE.plain({**GRADE.table(header), "gears": gears})  # type: ignore[no-any-return]


def canonical(record: Mapping[str, Any]) -> bytes:
    """RFC 8785 form of a record without digest and signature: the bytes that are digested and signed."""
    return _canonical({key: value for key, value in record.items() if key not in UNSEALED})


def _canonical(document: Mapping[str, Any]) -> bytes:
    import rfc8785

    try:
        return rfc8785.dumps(dict(document))
    except rfc8785.CanonicalizationError as error:
        raise RecordError(f"the record has no canonical form: {error}") from error


def digest_of(record: Mapping[str, Any]) -> str:
    """SHA-256 of the canonical form, in hexadecimal."""
    return hashlib.sha256(canonical(record)).hexdigest()


def load_record(path: str | Path) -> dict[str, Any]:
    """Read a record file.

    Raises
    ------
    RecordError
        If it cannot be read, or holds no JSON or no record.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        raise RecordError(f"cannot read {path}: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise RecordError(f"{path} is no UTF-8 text") from error
    try:
        record = json.loads(
            text, object_pairs_hook=_no_double_key, parse_constant=_no_constant, parse_float=_finite,
            parse_int=_whole,
        )  # fmt: skip
        _plain(record)
    except (ValueError, RecursionError) as error:
        raise RecordError(f"{path} is no JSON document: {error}") from error
    if not isinstance(record, dict) or record.get("schema") != RECORD.schema:
        raise RecordError(f"{path} is no record", hint=f'a record has "schema": "{RECORD.schema}"')
    missing = [key for key in ("lot_id", "digest", *TABLES) if key not in record]
    if missing:
        raise RecordError(f"{path} lacks {', '.join(missing)}", hint="it is not whole; use the original file")
    odd = _misshapen(record)
    if odd:
        raise RecordError(f"{path}: {odd} has the wrong shape for a record", hint="use the original file")
    return record


def changed_line(record: Mapping[str, Any], path: Path) -> int | None:
    """First line of a record file that gearqa would have written otherwise; None if there is none.

    The digest covers values; blanks, line ends, the order of keys and the spelling of numbers show only here.
    """
    found, written = path.read_bytes(), record_bytes(record)
    if found == written:
        return None
    if record.get("software", {}).get("version") in ORDER_NOT_FIXED and found == _laid_out(record):
        return None
    lines = zip(found.split(b"\n"), written.split(b"\n"), strict=False)
    return 1 + sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], lines))


def unknown_keys(record: Mapping[str, Any]) -> Iterator[str]:
    """Places of keys that no record has: what somebody added beside the values."""
    yield from sorted(record.keys() - HEADER - {one.name for one in fields(Record)})
    for place, kind in OBJECTS.items():
        found: Any = record
        for key in place:
            found = found.get(key) if isinstance(found, Mapping) else None
        if isinstance(found, Mapping):
            for key in sorted(found.keys() - {one.name for one in fields(kind)}):
                yield ".".join((*place, key))


def _misshapen(record: Mapping[str, Any]) -> str | None:
    """The first place where a record does not have the shape that checking relies on."""
    for key in TABLES:
        if not isinstance(record[key], dict):
            return key
    for key in ("inputs", "excluded", "warnings"):
        rows = record["lot"].get(key)
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            return f"lot.{key}"
    if not all(isinstance(row.get("file"), str) for row in record["lot"]["inputs"]):
        return "lot.inputs"
    signature, previous = record.get("signature", {}), record.get("previous")
    if not isinstance(signature, dict):
        return "signature"
    if previous is not None and not (isinstance(previous, dict) and "digest" in previous):
        return "previous"
    return None


def write_record(record: Mapping[str, Any], path: str | Path, *, replace: bool = False) -> None:
    """Write a record file, whole or not at all; an existing file only with `replace`."""
    keep_existing(path, replace=replace)
    write_whole(str(path), record_bytes(record), "record")


def keep_existing(path: str | Path, *, replace: bool) -> None:
    """Raise if a record file is there already and is not to be replaced."""
    if Path(path).exists() and not replace:
        raise RecordError(f"{path} is there already", hint="name another file, or give --replace")


def record_bytes(record: Mapping[str, Any]) -> bytes:
    """A record as its file holds it: keys and numbers in canonical order and spelling, a line each."""
    return _laid_out(json.loads(_canonical(record)))


def _laid_out(record: Mapping[str, Any]) -> bytes:
    return json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1).encode("utf-8") + b"\n"


def libraries() -> dict[str, str]:
    """Versions of Python and of the libraries that results rest on."""
    return {"python": platform.python_version(), **{name: metadata.version(name) for name in LIBRARIES}}


def _link(previous: Mapping[str, Any], result: LotResult) -> Link:
    """The record before this one: whole, of the same part, its signature good; with the gears of the chain.

    A record of an earlier version holds no gears of the records before it: only its own are known then.
    """
    number = previous["grade"]["part"].get("number")
    if number != result.part.get("number"):
        parts = f"part {number}, this one of {result.part.get('number')}"
        raise RecordError(f"the previous record is of {parts}", hint="chain records of one part number")
    if digest_of(previous) != previous["digest"]:
        raise RecordError(
            f"the previous record, lot {previous['lot_id']}, was changed: its digest does not fit",
            hint="use the original file",
        )
    signature = previous.get("signature")
    if signature and (fault := check_signature(canonical(previous), signature, None)):
        raise RecordError(f"the previous record: {fault}", hint="use the original file")
    digest, decision, sampling = previous["digest"], previous["lot"]["decision"], previous["lot"]["sampling"]
    again = previous["lot_id"] == result.lot_id
    first = None
    if again:
        kept = (previous.get("previous") or {}).get("first_result")
        first = read(FirstResult, kept or {**sampling, "digest": digest, "decision": decision})
    own = EarlierRecord(
        digest,
        previous["lot_id"],
        tuple(dict.fromkeys(gear["serial"] for gear in previous["grade"]["gears"])),
    )
    before = (previous.get("previous") or {}).get("earlier", ())
    earlier = (*(read(EarlierRecord, one) for one in before), own)
    return Link(digest, previous["lot_id"], decision, again, first, earlier, _repeated(earlier, result))


def _looks_like_json(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(1) == b"{"


def _repeated(earlier: Sequence[EarlierRecord], result: LotResult) -> tuple[RepeatedGear, ...]:
    """Gears of this lot that stand in an earlier record of the chain, with the last of these."""
    seen = {serial: one.lot_id for one in earlier for serial in one.serials}
    mine = [*(gear.serial for gear in result.gears), *(gear.serial for gear in result.left_out)]
    return tuple(RepeatedGear(serial, seen[serial]) for serial in mine if serial in seen)


def refuse_fork(previous: Mapping[str, Any], folders: Iterable[Path], *, but: Path | None = None) -> None:
    """Raise if a record in these folders follows the same record already; `but` is being replaced.

    Raises
    ------
    RecordError
        If there is one: a chain has no branches.
    """
    for folder in dict.fromkeys(one.resolve() for one in folders):
        for path in sorted(folder.glob("*")):
            if path == but or not path.is_file() or not _looks_like_json(path):
                continue
            try:
                other = load_record(path)
            except RecordError:
                continue
            if (other.get("previous") or {}).get("digest") == previous["digest"]:
                raise RecordError(
                    f"{path} (lot {other['lot_id']}) follows the previous record already",
                    hint="a chain has no branches: name its last record",
                )


def _no_double_key(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table = dict(pairs)
    if len(table) != len(pairs):
        raise ValueError("a key occurs twice in one object")
    return table


def _finite(digits: str) -> float:
    value = float(digits)
    if abs(value) > LARGEST_NUMBER:
        raise ValueError(f"the number {digits[:40]} means nothing")
    return value


def _whole(digits: str) -> int:
    if len(digits) > LONGEST_INTEGER:
        raise ValueError(f"an integer of {len(digits)} digits means nothing")
    return int(digits)


def _plain(document: Any) -> None:
    """Raise ValueError for what no record holds: tables within each other without end, half characters."""
    level, depth = [document], 0
    while level:
        depth += 1
        if depth > DEEPEST:
            raise ValueError(f"more than {DEEPEST} tables or lists within each other")
        inside: list[Any] = []
        for one in level:
            if isinstance(one, dict):
                inside += [*one, *one.values()]
            elif isinstance(one, list):
                inside += one
            elif isinstance(one, str):
                one.encode()  # UnicodeEncodeError is a ValueError
        level = inside


def _no_constant(word: str) -> Any:
    raise ValueError(f"{word} is no JSON number")
