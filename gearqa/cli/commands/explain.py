"""`gearqa explain`: what the words, signs and files mean."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import HtmlFile

if TYPE_CHECKING:
    from gearqa.cli.topics import Topic

SETTINGS = {"ignore_unknown_options": True}
"""An option of another command is a topic here."""


def command(
    context: typer.Context,
    topic: Annotated[str | None, typer.Argument(metavar="TOPIC", help="What to explain.")] = None,
    html: HtmlFile = None,
) -> int:
    """Explain flanks, signs, classes, every parameter, verdict and code, files and exit status.

    Without TOPIC the topics are listed. First of all: gearqa explain flanks. A parameter goes by its key or
    its symbol: gearqa explain fp. An option: gearqa explain --previous. The code of a message, which stands
    in brackets behind it: gearqa explain row_order
    """
    from gearqa.cli.topics import TOPICS, alike, topic_named

    found = None if topic is None else topic_named(topic) or _option(context, topic)
    if topic is not None and found is None:
        near = alike(topic, _options(context))
        meant = f"did you mean {' or '.join(near)}? " if near else ""
        raise typer.BadParameter(
            f"'{topic}': {meant}gearqa explain without a topic lists them all", param_hint="TOPIC"
        )
    if html is not None:
        _write_page(TOPICS if found is None else dict([found]), html)
    elif found is None:
        from gearqa.cli.console import terminal
        from gearqa.report.blocks.document import Facts

        terminal().blocks([Facts(tuple((name, one.title) for name, one in TOPICS.items()))])
    else:
        _print(*found)
    return ExitStatus.CONFORMS


def _options(context: typer.Context) -> list[str]:
    from gearqa.cli.option_topics import options

    return list(options(context))


def _option(context: typer.Context, word: str) -> tuple[str, Topic] | None:
    """The page of an option, typed with or without its dashes."""
    from gearqa.cli.option_topics import option_blocks, options
    from gearqa.cli.topics import TOPICS, Topic

    name = f"--{word.lstrip('-')}"
    places = options(context).get(name)
    if places is None:
        return None
    return name, Topic(f"Option {name}", lambda: option_blocks(name, places, set(TOPICS)))


def _print(name: str, topic: Topic) -> None:
    from gearqa.cli.console import terminal

    if topic.sketches:
        from gearqa.report.draw.flank_sketch import GEARS, TITLES, text_sketch

        print("L left flank, R right flank; 1 2 3 teeth, s1 s2 spaces; seen onto the datum face\n")
        for kind in GEARS:
            print(f"{TITLES[kind]}\n\n{text_sketch(kind)}\n")
    sys.stdout.flush()
    terminal().blocks(topic.blocks())
    if topic.sketches or topic.drawn:
        print(f"\nWith drawings: gearqa explain {name} --html page.html")


def _write_page(topics: dict[str, Topic], target: str) -> None:
    from gearqa.cli.sketches import SKETCHES
    from gearqa.report.blocks.document import Block, Document, Section, Sheet
    from gearqa.report.draw.flank_sketch import GEARS, svg_figure
    from gearqa.report.render.html import write_html
    from gearqa.results.outputs import Outputs
    from gearqa.version import __version__

    sections = []
    for name, topic in topics.items():
        figures: list[Block] = [svg_figure(kind) for kind in GEARS] if topic.sketches else []
        figures += SKETCHES[name]() if name in SKETCHES else []
        sections.append(Section(topic.title, (*figures, *topic.blocks()), id=name))
    page = Document(
        title="gearqa explains" if len(topics) > 1 else f"gearqa explains: {next(iter(topics))}",
        head="",
        foot=f"gearqa {__version__}",
        sheets=(Sheet("", tuple(sections)),),
    )
    with Outputs() as outputs:
        write_html(outputs.open(target, "page"), page)
