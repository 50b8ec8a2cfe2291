"""The status page of a watch: what came in, what could not be read, signals, and the last gears drawn."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import BinaryIO, Final

import numpy as np

from gearqa.model.drift import SIZE, Observation
from gearqa.model.history import WatchStatus
from gearqa.report.blocks.document import (
    Answer,
    Block,
    Bullets,
    Cautions,
    Column,
    Document,
    Facts,
    Figure,
    Paragraph,
    Section,
    Sheet,
    Status,
    Table,
    Verdict,
)
from gearqa.report.draw import palette, plot
from gearqa.report.history.words import time_text
from gearqa.report.render.html import write_html
from gearqa.symbols import PARAMETERS, Flank
from gearqa.version import __version__
from gearqa.wording.numbers import count_text, value_text
from gearqa.wording.safety import CAUTIONS, SETTER

DRAWN: Final = ("profile_slope", "helix_slope", "single_pitch", "cumulative_pitch", "runout", SIZE)
GEARS_DRAWN: Final = 60
REFRESH_S: Final = 10
SIDES: Final[tuple[tuple[Flank | None, palette.Ink, plot.Shape], ...]] = (
    ("left", palette.FILTERED, "circle"),
    ("right", palette.DESIGN, "square"),
    (None, palette.FILTERED, "diamond"),
)
SIGNALS_ARE_NO_VERDICTS: Final = "A signal says that the process has changed, not that a gear is bad."
CHARSET: Final = b'<meta charset="utf-8">\n'


def watch_document(status: WatchStatus, observations: Sequence[Observation]) -> Document:
    """The page as a document; `observations` are those of the last gears."""
    title = "Gears as they arrive"
    sections = [
        Section("", (_answers(status), _facts(status))),
        *(
            Section(f"Part {part}, grinder {grinder}", (figure,), new_page=True)
            for part, grinder, figure in _figures(observations)
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
            ("Added", count_text(status.gears_added, "gear")),
            ("Last", "nothing yet" if last is None else f"{last.report.folder}, {time_text(last.at)}"),
        )
    )


def _lists(status: WatchStatus) -> Iterator[Section]:
    if status.signals:
        yield Section("Signals", (Bullets(tuple(signal.sentence for signal in status.signals)),))
    if status.waiting:
        waited = Bullets(status.waiting)
        yield Section("Still being written", (waited,))
    if status.problems:
        rows = tuple(
            (problem.folder, problem.message, "by itself" if problem.again else "when its files change")
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
                f"{one.report.part_number} {one.report.revision}".strip(), str(one.report.added),
                str(one.report.replaced), str(one.report.not_conforming), str(one.report.undecided),
            )
            for one in status.intakes
        )  # fmt: skip
        yield Section("Taken in", (Table("", columns, rows_taken),))
    else:
        yield Section("Taken in", (Paragraph("nothing yet"),))


def _figures(observations: Sequence[Observation]) -> Iterator[tuple[str, str, Figure]]:
    groups: dict[tuple[str, str], list[Observation]] = {}
    for o in observations:
        groups.setdefault((o.part, o.grinder), []).append(o)
    for (part, grinder), group in sorted(groups.items()):
        yield part, grinder, _figure(group)


def _figure(group: Sequence[Observation]) -> Figure:
    """The last gears of one part and grinder, one panel a parameter, with tolerance limits."""
    in_order = sorted(group, key=lambda o: o.finished_at.timestamp() if o.finished_at else float("inf"))
    serials = list(dict.fromkeys(o.serial for o in in_order))
    place = {serial: number for number, serial in enumerate(serials, 1)}
    panels, told = [], []
    for key in DRAWN:
        mine = [o for o in group if o.parameter == key]
        if mine:
            panels.append(_panel(key, mine, place))
            told.append(_told(key, mine))
    title = f"Last {count_text(len(serials), 'gear')} in production order"
    chart = plot.Plot(
        title=title,
        description=f"{title}: {' '.join(told)}",
        panels=tuple(panels),
        x=(0.0, len(serials) + 1.0),
        x_name=f"gear, {serials[0]} to {serials[-1]}",
        units="|µm",
    )
    caption = "Flank means (slopes) or values against the limits of the drawing or class; no control limits."
    return Figure(plot.draw(chart), title, chart.description, caption)


def _panel(key: str, mine: Sequence[Observation], place: dict[str, int]) -> plot.Panel:
    layers: list[plot.Layer] = []
    newest = max(mine, key=lambda o: place[o.serial])
    layers += [
        plot.Level(limit, name="limit of the drawing or class")
        for limit in (newest.limit_low, newest.limit_high)
        if limit is not None
    ]
    for flank, ink, shape in SIDES:
        side = [o for o in mine if o.flank == flank]
        if side:
            x = np.array([float(place[o.serial]) for o in side])
            y = np.array([o.mean_um for o in side])
            name = f"{flank} flank" if flank else "whole gear"
            layers.append(plot.Dots(x, y, ink, shape, name=name, hollow=flank == "right"))
    return plot.Panel(_name(key), tuple(layers), detail="µm", height=70)


def _told(key: str, mine: Sequence[Observation]) -> str:
    values = [o.mean_um for o in mine]
    signed = key == SIZE or PARAMETERS[key].signed
    low, high = (value_text(v, signed=signed) for v in (min(values), max(values)))
    return f"{_name(key)} from {low} to {high} µm."


def _name(key: str) -> str:
    return "size" if key == SIZE else PARAMETERS[key].symbol
