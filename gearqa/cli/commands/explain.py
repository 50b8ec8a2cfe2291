"""`gearqa explain`: what the words, signs and files mean."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import HtmlFile


def command(
    topic: Annotated[str | None, typer.Argument(metavar="TOPIC", help="What to explain.")] = None,
    html: HtmlFile = None,
) -> int:
    """Explain flanks, signs, classes, every parameter, files and exit status.

    Without TOPIC the topics are listed. First of all: gearqa explain flanks. A parameter goes by its key or
    its symbol: gearqa explain fp
    """
    from gearqa.cli.topics import TOPICS, topic_named

    name = None if topic is None else topic_named(topic)
    if topic is not None and name is None:
        raise typer.BadParameter(f"'{topic}'; topics: {', '.join(TOPICS)}", param_hint="TOPIC")
    names = list(TOPICS) if name is None else [name]
    if html is not None:
        _write_page(names, html)
    elif name is None:
        from gearqa.report.render.terminal import writable

        width = max(map(len, TOPICS)) + 2
        for one, entry in TOPICS.items():
            print(f"{one:{width}}{writable(entry.title, sys.stdout.encoding or 'utf-8')}")
    else:
        _print(name)
    return ExitStatus.CONFORMS


def _print(name: str) -> None:
    from gearqa.cli.console import terminal
    from gearqa.cli.topics import TOPICS
    from gearqa.report.draw.flank_sketch import GEARS, TITLES, text_sketch

    topic = TOPICS[name]
    if topic.sketches:
        print("L left flank, R right flank; 1 2 3 teeth, s1 s2 spaces; seen onto the datum face\n")
        for kind in GEARS:
            print(f"{TITLES[kind]}\n\n{text_sketch(kind)}\n")
    sys.stdout.flush()
    terminal().blocks(topic.blocks())
    if topic.sketches:
        print(f"\nAs a page with drawings: gearqa explain {name} --html {name}.html")


def _write_page(names: list[str], target: str) -> None:
    from gearqa.cli.topics import TOPICS
    from gearqa.report.blocks.document import Block, Document, Section, Sheet
    from gearqa.report.draw.flank_sketch import GEARS, svg_figure
    from gearqa.report.render.html import write_html
    from gearqa.results.outputs import Outputs
    from gearqa.version import __version__

    sections = []
    for name in names:
        figures: list[Block] = [svg_figure(kind) for kind in GEARS] if TOPICS[name].sketches else []
        sections.append(Section(TOPICS[name].title, (*figures, *TOPICS[name].blocks()), id=name))
    page = Document(
        title="gearqa explains" if len(names) > 1 else f"gearqa explains: {names[0]}",
        head="",
        foot=f"gearqa {__version__}",
        sheets=(Sheet("", tuple(sections)),),
    )
    with Outputs() as outputs:
        write_html(outputs.open(target, "page"), page)
