"""The certificate of a lot: the decision on the first page, statistics and every gear on the second."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from gearqa.model.decision_table import TABLE
from gearqa.model.lot import METHODS, SAMPLING_TABLE, LotResult
from gearqa.model.measurement import Production
from gearqa.report.blocks import document as doc
from gearqa.report.lot import figures, words
from gearqa.symbols import symbol_of
from gearqa.version import __version__
from gearqa.wording.numbers import DASH, count_text, fixed_text, number_text
from gearqa.wording.safety import CAUTIONS, SETTER
from gearqa.wording.sentences import some_of
from gearqa.wording.visible import clip

ROLES = ("Inspected by", "Disposition by")
MOST_GEARS = 5
"""Gears listed on the first page, the worst first."""
MOST_ROWS = 33
"""Rows of the statistics and of all gears that share a page; more gears have a page of their own."""
SHORT = 48
DIGITS = 12
"""Of a file's SHA-256 on paper; the record holds it whole."""
ELSEWHERE = ("one_percent",)
"""Notes already in the sampling plan."""


Record = Mapping[str, Any]
"""The record that was made with a certificate, as its file holds it."""


def certificate(
    result: LotResult, *, gear_words: str = "", required: str = "", traced: str = "",
    classes: Mapping[str, str] | None = None, record: Record | None = None,
) -> doc.Document:  # fmt: skip
    """The certificate of a lot.

    `gear_words` are the gear's data in one line, `required` what the drawing asks for, `traced` how many
    teeth were traced, `classes` the class of each measured gear by serial.
    """
    part = result.part
    number = clip(part.get("number", DASH), SHORT)
    revision = f", revision {clip(part['revision'], 16)}" if part.get("revision") else ""
    lot = f", lot {clip(result.lot_id, SHORT)}" if result.lot_id else ""
    rule = "" if result.decision_rule.guard is not None else " · simple acceptance: no uncertainty known"
    title = f"Lot certificate, part {number}{lot}"
    facts = _facts(result, gear_words, required, traced)
    sections = (*_decision_page(result, facts, record), *_statistics_page(result, classes or {}))
    said = f"disposition: {result.disposition.decision}" if result.disposition else result.decision
    sheet = doc.Sheet(title, sections, id="certificate", head=words.marked(said, result))
    return doc.Document(
        title=title,
        head=f"Part {number}{revision}{lot}",
        foot=f"gearqa {__version__} · {result.standard}{rule}",
        sheets=(sheet,),
        simulated=result.simulated,
        keywords=(number, clip(result.lot_id or "", SHORT), result.standard),
    )


# --- first page ----------------------------------------------------------------------------------


def _decision_page(result: LotResult, facts: doc.Facts, record: Record | None) -> Iterator[doc.Section]:
    yield doc.Section("", (words.verdict(result), doc.Bullets(words.reason_lines(result)), facts))
    lines = (
        *_sampling_lines(result),
        _uncertainties(result),
        *words.risk_lines(result),
        *words.master_lines(result),
    )
    method = " ".join(words.note_lines(result, without=ELSEWHERE))
    how = doc.join(decision_rows(result), f" {method} {_editions(result)} {_inputs(result)}")
    yield doc.Section("Sampling and criteria", (doc.Bullets((*lines, how), "note"),))
    out = words.segregation_lines(result)
    table = _joined(words.gear_table(result, MOST_GEARS, caption="Gears of the sample"))
    yield doc.Section("", (table, *((doc.Bullets(out, "note"),) if out else ())))
    cautions = doc.Cautions((*words.caution_lines(result), *CAUTIONS, SETTER))
    kept = ((doc.Span(name, "strong"), doc.Span(f": {text}")) for name, text in _disposition(result, record))
    yield doc.Section("", (cautions, doc.Bullets(tuple(kept)), doc.Signature(ROLES)))


def _sampling_lines(result: LotResult) -> Iterator[doc.Text]:
    """The sampling plan in a few lines, and the decision rule."""
    facts = words.sampling_facts(result).items
    for together in (facts[:1], facts[1:4], facts[4:]):
        spans: list[doc.Span] = []
        for name, value in together:
            spans += [doc.Span("; "), doc.Span(f"{doc.plain(name)}: ", "strong"), *doc.spans(value)]
        yield tuple(spans[1:])


def _joined(table: doc.Table) -> doc.Table:
    """The table with its notes in one paragraph."""
    notes = tuple(filter(None, (" ".join(map(doc.plain, table.notes)),)))
    return replace(table, notes=notes)


def _facts(result: LotResult, gear_words: str, required: str, traced: str) -> doc.Facts:
    part, options = result.part, result.options
    items: list[tuple[str, str]] = [
        ("Part", clip(part.get("number", ""))),
        ("Drawing revision", clip(part.get("revision", "")) or "not stated"),
        ("Lot", clip(result.lot_id or "") or "not named"),
        ("Lot size", words.lot_size_text(result)),
        ("Sample", count_text(result.sample_size, "gear")),
        ("Required", required),
        ("Teeth traced", traced),
        ("Order", clip(options.order)),
        ("Customer", clip(options.customer)),
        ("Inspector", clip(options.inspector) or "not stated"),
        ("Date", options.date or "not stated"),
        *_production(result),
        ("Name and gear", "; ".join(filter(None, (clip(part.get("name", "")), gear_words)))),
        ("Remark", clip(options.remark, 400)),
    ]
    return doc.Facts(tuple((name, value) for name, value in items if value), dense=True)


def _production(result: LotResult) -> Iterator[tuple[str, str]]:
    """Who measured the sample, with what, when and at which temperature, and where it was ground."""
    rows = [gear.production or Production() for gear in result.gears]
    cycles = Counter(
        " / ".join(filter(None, (row.grinder, row.wheel, row.dress))) for row in rows if row.dress is not None
    )
    several = f"{len(cycles)} dress cycles: " if len(cycles) > 1 else ""
    ground = [f"{clip(name, SHORT)} ({count_text(n, 'gear')})" for name, n in cycles.items()]
    references = _named([row.calibration_ref for row in rows])
    due = _named([row.calibration_due.date().isoformat() if row.calibration_due else None for row in rows])
    yield "Measured by", _named([row.operator for row in rows]) or "not known"
    yield "Instrument", _named([row.instrument for row in rows]) or "not known"
    yield "Fixture", _named([row.fixture for row in rows]) or "not known"
    yield "Temperature", _temperatures([row.temperature_degC for row in rows]) or "not known"
    yield "Calibration", f"{references or 'reference not known'}, due {due or 'not known'}"
    yield "Measured", _from_to([row.measured_at for row in rows]) or "time not known"
    yield "Ground on", f"{several}{some_of(ground, 4)}" if ground else "grinder, wheel and dress not known"


def _known(known: int, total: int) -> str:
    return "" if known == total else f" (known for {known} of {total} gears)"


def _named(values: Sequence[str | None]) -> str:
    """Different words, with how many gears they are known for."""
    known = [value for value in values if value]
    names = list(dict.fromkeys(clip(value, SHORT) for value in known))
    return some_of(names, 4) + _known(len(known), len(values)) if names else ""


def _from_to(values: Sequence[datetime | None]) -> str:
    known = sorted((value for value in values if value is not None), key=lambda v: v.replace(tzinfo=None))
    if not known:
        return ""
    first, last = known[0], known[-1]
    begin, end = (one.isoformat(sep=" ", timespec="minutes") for one in (first, last))
    if first.date() == last.date() and first.utcoffset() == last.utcoffset():
        begin, end = f"{first.date()}, {first:%H:%M}", f"{last:%H:%M}"
    local = " (local time)" if last.tzinfo is None else ""
    return (begin if len(known) == 1 else f"{begin} to {end}") + local + _known(len(known), len(values))


def _temperatures(values: Sequence[float | None]) -> str:
    known = [value for value in values if value is not None]
    if not known:
        return ""
    low, high = fixed_text(min(known), 1), fixed_text(max(known), 1)
    return (low if low == high else f"{low} to {high}") + " °C" + _known(len(known), len(values))


def _disposition(result: LotResult, record: Record | None) -> Iterator[tuple[str, str]]:
    to_tick = ". ☐ release  ☐ hold  ☐ reject; reason, concession:" if result.disposition is None else ""
    yield "Disposition", f"{words.disposition_text(result)}{to_tick}"
    if record is None:
        yield "Record", "none was made with this certificate"
        return
    signature = record.get("signature")
    signed = f"signed with key {signature['fingerprint']}" if signature else "not signed"
    yield "Record, SHA-256", f"{record['digest']}, {signed}"
    link = record["previous"]
    if not link:
        yield "Previous record", "none named; chain not checked"
        return
    again = "; this is a re-inspection of the same lot" if link.get("reinspection") else ""
    before = f"lot {clip(str(link['lot_id']), SHORT)}, {link['decision']}, {link['digest']}{again}"
    yield "Previous record", before
    if again := link.get("repeated"):
        named = [f"{clip(one['serial'], SHORT)} (lot {clip(one['lot_id'], SHORT)})" for one in again]
        yield "Gears in an earlier record too", some_of(named, 12)
    if first := link.get("first_result"):
        gears = f"{first['d_low']} to {first['d_high']} of {first['measured_n']} gears not conforming"
        yield "First result, kept", f"{first['decision']}, {gears}"


# --- second page ---------------------------------------------------------------------------------


def _statistics_page(result: LotResult, classes: Mapping[str, str]) -> Iterator[doc.Section]:
    free = words.free_statement(result)
    table = _table_with_symbols(result)
    blocks: list[doc.Block] = [table] if table.rows else []
    if free is not None:
        blocks.append(doc.Paragraph(free, "note"))
    title = "Statistics over the gears of the sample" if blocks else ""
    yield doc.Section(title, tuple(blocks), new_page=True)
    charts = (
        figures.characteristic_figure, figures.limits_figure, figures.probability_figure,
        figures.order_figure,
    )  # fmt: skip
    blocks = [figure for chart in charts if (figure := chart(result)) is not None]
    if not result.order_known:
        unknown = "Order of production: not known, so it is not drawn and cannot be checked."
        blocks.append(doc.Paragraph(unknown, "note"))
    yield doc.Section("", tuple(blocks))
    every = words.every_gear_table(result, classes)
    together = len(every.rows) + len(words.all_series(result)) <= MOST_ROWS
    yield doc.Section("", (every,), new_page=not together)


def _uncertainties(result: LotResult) -> str:
    """Source and date of each expanded uncertainty, parameters of one source together."""
    sources = result.plan.get("uncertainty_source", {})
    by_source: dict[str, list[str]] = {}
    known = {key: one.u_um for key, _, one in words.all_series(result) if one.u_um is not None}
    for key, expanded in known.items():
        source = sources.get(key)
        date = f", {clip(source['date'])}" if source and source.get("date") else ""
        stated = f"{clip(source['source'], 200)}{date}" if source else "source not stated"
        by_source.setdefault(stated, []).append(f"{symbol_of(key)} {number_text(expanded)}")
    if not by_source:
        return "Measurement uncertainty: none is given in the part file."
    sources_of = (f"{', '.join(symbols)}: {stated}" for stated, symbols in by_source.items())
    return f"Expanded uncertainty U (k = 2), µm: {'; '.join(sources_of)}."


def _editions(result: LotResult) -> str:
    """Standards with their editions; of a sampling table also how it was used."""
    named = [result.standard]
    for title, (year, use) in METHODS.items():
        if title in result.editions:
            named.append(f"{title}:{year}" + (f" ({use})" if title == SAMPLING_TABLE else ""))
    return f"Editions: {', '.join(named)}."


def _inputs(result: LotResult) -> str:
    """Files read, with the first digits of their digests."""
    read = [f"{clip(one.file, SHORT)} {one.sha256[:DIGITS]}" for one in result.inputs if one.sha256]
    return f"Input files, first {DIGITS} digits of SHA-256: {', '.join(read)}."


def _table_with_symbols(result: LotResult) -> doc.Table:
    """The statistics table, its first column set with subscripts."""
    table = words.statistics_table(result, wide=True, dense=True)
    rows = tuple(
        (doc.symbol(key), *row[1:])
        for (key, *_), row in zip(words.all_series(result), table.rows, strict=True)
    )
    return _joined(replace(table, rows=rows))


def decision_rows(result: LotResult) -> doc.Text:
    """The rows of the decision table that fit, in one paragraph, the one that decides set strong."""
    rules = {row.number: row.rule for row in TABLE}
    spans: list[doc.Span] = [doc.Span("Decision table, the rows that fit, of which the first decides: ")]
    for number, reason in enumerate(result.reasons):
        end = "." if reason is result.reasons[-1] else "; "
        spans.append(doc.Span(f"{reason.row} {rules[reason.row]}{end}", "" if number else "strong"))
    return tuple(spans)
