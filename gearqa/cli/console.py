"""Standard output for results, standard error for everything else."""

from __future__ import annotations

import os
import sys
from typing import IO, TYPE_CHECKING

if TYPE_CHECKING:
    from gearqa.errors import Notice
    from gearqa.report.render.terminal import Terminal


def wants_colour(stream: IO[str]) -> bool:
    """Whether colours may be used: only on a terminal, and not with NO_COLOR."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def terminal() -> Terminal:
    """Where results are shown to people: standard output."""
    from gearqa.report.render.terminal import Terminal

    return Terminal(sys.stdout, colour=wants_colour(sys.stdout))


def tell(text: str) -> None:
    """A message to the person at the terminal: standard error."""
    print(text, file=sys.stderr, flush=True)


def tell_notices(notices: tuple[Notice, ...]) -> None:
    """Notices about a whole input, one a line."""
    for notice in notices:
        tell(f"warning: {notice.message} [{notice.code}]")
