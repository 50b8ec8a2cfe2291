"""The status page of a watch: what came in, what could not be read, signals, and the last gears made."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import BinaryIO, Final

from gearqa.model.drift import Observation
from gearqa.model.history import WatchStatus
from gearqa.report.blocks.document import (
    Answer,
    Block,
    Bullets,
    Cautions,
    Column,
    Document,
    Facts,
    Paragraph,
    Section,
    Sheet,
    Status,
    Table,
    Verdict,
)
from gearqa.report.history.figures import latest_gears
from gearqa.report.history.words import part_text
from gearqa.report.render.html import write_html
from gearqa.version import __version__
from gearqa.wording.numbers import count_text
from gearqa.wording.safety import CAUTIONS, SETTER
from gearqa.wording.sentences import sentence
from gearqa.wording.times import time_text

REFRESH_S: Final = 10
SIGNALS_ARE_NO_VERDICTS: Final = "A signal says that the process has changed, not that a gear is bad."
CHARSET: Final = b'<meta charset="utf-8">\n'


def watch_document(status: WatchStatus, observations: Sequence[Observation]) -> Document:
    """The page as a document; `observations` are those of the last gears."""
    title = "Gears as they arrive"
    sections = [
        Section("", (_answers(status), _facts(status))),
        *(
            Section(f"Part {part}, grinder {grinder}", (figure,), new_page=True)
            for part, grinder, figure in latest_gears(observations, status.signals)
        ),
        *_lists(status),
        Section("", (Cautions((*CAUTIONS, SETTER, SIGNALS_ARE_NO_VERDICTS)),)),
    ]
    return Document(
        title=title,
        head=status.folder,
        foot=f"gearqa {__version__}, {time_text(status.at)}",
        sheets=(Sheet(title, tuple(sections)),),
        simulated=status.simulated or any(o.simulated for o in observations),
    )


def write_watch_page(stream: BinaryIO, document: Document, *, running: bool) -> None:
    """Write the page; while the watch runs, browsers load it again by themselves."""
    page = io.BytesIO()
    write_html(page, document)
    content = page.getvalue()
    if running:
        refresh = f'<meta http-equiv="refresh" content="{REFRESH_S}">\n'.encode()
        content = content.replace(CHARSET, CHARSET + refresh, 1)
    stream.write(content)


def _answers(status: WatchStatus) -> Block:
    signals, problems = len(status.signals), len(status.problems)
    newest = status.signals[0].sentence if status.signals else "none since the watch began"
    at_fault: Status = "bad" if problems else "good"
    return Verdict(
        (
            Answer("Signals", str(signals) if signals else "none", "bad" if signals else "good", newest),
            Answer(
                "Folders that could not be taken in",
                str(problems) if problems else "none",
                at_fault,
                status.problems[-1].folder if problems else "",
            ),
        )
    )


def _facts(status: WatchStatus) -> Block:
    state = f"watching since {time_text(status.started_at)}"
    if not status.running:
        state = f"stopped at {time_text(status.at)}, watched since {time_text(status.started_at)}"
    last = status.intakes[0] if status.intakes else None
    return Facts(
        (
            ("Folder", status.folder),
            ("State", state),
            ("As of", time_text(status.at)),
            ("History store", f"{status.store}, {count_text(status.gears_in_store, 'gear')}"),
            *([("Standard", ", ".join(status.standards))] if status.standards else []),
            ("Added", count_text(status.gears_added, "gear")),
            ("Last", "nothing yet" if last is None else f"{last.report.folder}, {time_text(last.at)}"),
        )
    )


def _lists(status: WatchStatus) -> Iterator[Section]:
    if status.signals:
        yield Section("Signals", (Bullets(tuple(signal.sentence for signal in status.signals)),))
    if status.notices:
        yield Section("Notes", (Bullets(tuple(sentence(one.message) for one in status.notices)),))
    if status.waiting:
        yield Section("Still being written", (Bullets(status.waiting),))
    if status.problems:
        rows = tuple(
            (problem.folder, problem.message, "soon" if problem.again else "when its files change")
            for problem in status.problems
        )
        heads = (Column("folder", "left"), Column("why", "left", weight=3), Column("tried again", "left"))
        yield Section("Could not be taken in", (Table("", heads, rows),))
    if status.intakes:
        columns = (
            Column("at", "left"), Column("folder", "left", weight=2), Column("part", "left"), Column("added"),
            Column("superseding"), Column("do not conform"), Column("not assessed"),
        )  # fmt: skip
        rows_taken = tuple(
            (
                time_text(one.at), one.report.folder,
                part_text(one.report.part_number, one.report.revision), str(one.report.added),
                str(one.report.replaced), str(one.report.not_conforming), str(one.report.undecided),
            )
            for one in status.intakes
        )  # fmt: skip
        yield Section("Taken in", (Table("", columns, rows_taken),))
    else:
        yield Section("Taken in", (Paragraph("nothing yet"),))
