"""`gearqa explain OPTION`: what an option does in each command that has it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from gearqa.report.blocks.document import Block, Column, Paragraph, Table

if TYPE_CHECKING:
    import typer

FEW: Final = 3
"""Commands that are named one by one."""


def _options(command: Any, context: Any, path: str) -> Iterator[tuple[str, str, str]]:
    """Option, command and help of a command and all below it."""
    for param in command.params:
        help_ = getattr(param, "help", None)
        if help_:
            yield from ((name, path, help_) for name in param.opts if name.startswith("--"))
    if hasattr(command, "list_commands"):
        for name in command.list_commands(context):
            inner = command.get_command(context, name)
            yield from _options(inner, context, f"{path} {name}")


def options(context: typer.Context) -> dict[str, list[tuple[str, str]]]:
    """Every option -> the commands that have it, with its help in each."""
    root: Any = context.find_root()
    found: dict[str, list[tuple[str, str]]] = {}
    for option, path, help_ in _options(root.command, root, "gearqa"):
        found.setdefault(option, []).append((path, help_))
    return found


def option_blocks(option: str, places: list[tuple[str, str]], topics: set[str]) -> list[Block]:
    """The page of one option: what it does in each command, and where more is said."""
    columns = (Column("command", "left"), Column("what the option does", "left", weight=1))
    few = len(places) <= FEW
    more = [f"{path} --help" for path, _ in places] if few else ["gearqa COMMAND --help"]
    more += [f"gearqa explain {name}" for path, _ in places for name in path.split()[1:2] if name in topics]
    return [
        Table(option, columns, tuple(places)),
        Paragraph(f"More: {', '.join(dict.fromkeys(more))}", "note"),
    ]
