"""Standard output for results, standard error for everything else."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from typing import IO, TYPE_CHECKING

from gearqa.wording.visible import safe_lines

if TYPE_CHECKING:
    from gearqa.errors import Notice
    from gearqa.model.history import FailedFolder
    from gearqa.report.render.terminal import Terminal


def wants_colour(stream: IO[str]) -> bool:
    """Whether colours may be used: only on a terminal, and not with NO_COLOR."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def terminal() -> Terminal:
    """Where results are shown to people: standard output."""
    from gearqa.report.render.terminal import Terminal

    return Terminal(sys.stdout, colour=wants_colour(sys.stdout))


def put_out(text: str) -> None:
    """Text laid out before the files were put in place: standard output."""
    sys.stdout.write(text)


def say(text: str) -> None:
    """A result in a line or a few: standard output."""
    encoding = sys.stdout.encoding or "utf-8"
    print(safe_lines(text).encode(encoding, "backslashreplace").decode(encoding))


def tell(text: str) -> None:
    """A message to the person at the terminal: standard error."""
    print(safe_lines(text), file=sys.stderr, flush=True)


def hush(quiet: bool) -> None:
    """Whether what the library has to say while it works is kept back."""
    import logging

    logging.getLogger("gearqa").setLevel(logging.ERROR if quiet else logging.NOTSET)


def tell_failed(what: str, failed: Iterable[FailedFolder]) -> None:
    """Folders of many that were not done, each with its problems."""
    for one in failed:
        tell(f"{what}: {one.folder}")
        for problem in one.problems:
            tell(f"  {problem}")


def tell_notices(notices: tuple[Notice, ...]) -> None:
    """Notices about a whole input, one a line."""
    for notice in notices:
        tell(f"warning: {notice.message} [{notice.code}]")
