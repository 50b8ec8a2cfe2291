"""Read a TOML file into a pydantic model, or say everything that is wrong with it at once.

Serves part files, column maps, plans and scenarios. A fault names file, line and dotted key, what was
found, what is allowed, and the nearest known key where one is unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel

from gearqa.errors import PartFileError, Problem, Reason
from gearqa.reading.settings.toml_faults import validated
from gearqa.reading.settings.toml_lines import TomlLines, scan_toml
from gearqa.reading.settings.toml_syntax import parse_toml
from gearqa.reading.settings.toml_text import dotted
from gearqa.wording.nearest import nearest

M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class TomlFile(Generic[M]):
    """What came of reading a TOML file: the model where it is valid, and every problem found."""

    name: str
    model: M | None
    document: Mapping[str, Any]
    lines: TomlLines
    problems: tuple[Problem, ...]

    def problem(
        self, key: str, found: str, expected: str, *, reason: Reason = Reason.CONTRADICTION, hint: str = ""
    ) -> Problem:
        """A further problem of this file, at the line of a dotted key."""
        steps = tuple(int(step) if step.isdigit() else step for step in key.split("."))
        line = self.lines.line_of(steps)
        return Problem(reason, self.name, found, expected, line, key=dotted(steps), hint=hint)

    def checked(self, further: Iterable[Problem] = ()) -> M:
        """The model, unless the file has problems of its own or of further checks.

        Raises
        ------
        PartFileError
            With all problems, in order of lines.
        """
        problems = _by_line((*self.problems, *further))
        if problems or self.model is None:
            raise PartFileError(problems)
        return self.model


def load_toml(path: Path | str, model: type[M], *, name: str | None = None) -> M:
    """Read a TOML file into `model`.

    Raises
    ------
    PartFileError
        With all problems of the file.
    """
    return read_toml(path, model, name=name).checked()


def read_toml(path: Path | str, model: type[M], *, name: str | None = None) -> TomlFile[M]:
    """Read a TOML file as far as it goes: for callers that add checks of their own."""
    path = Path(path)
    shown = name or path.name
    text = _text(path, shown)
    lines = scan_toml(text)
    document, lost, problems = parse_toml(text, shown, lines)
    if document is None:
        return TomlFile(shown, None, {}, lines, tuple(problems))
    instance, found = validated(document, model, shown, lines, lost)
    problems = _by_line((*problems, *found))
    return TomlFile(shown, None if problems else instance, document, lines, tuple(problems))


def _by_line(problems: Iterable[Problem]) -> list[Problem]:
    return sorted(problems, key=lambda p: (p.line is None, p.line or 0))


def _text(path: Path, shown: str) -> str:
    try:
        data = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        problem = Problem(Reason.FILE_NOT_FOUND, shown, "no such file", "a TOML file", hint=_neighbours(path))
        raise PartFileError([problem]) from None
    except IsADirectoryError:
        named = path.name if shown == "." else shown
        problem = Problem(Reason.FILE_NOT_FOUND, named, "a folder", "a TOML file")
        raise PartFileError([problem]) from None
    except OSError as error:
        problem = Problem(Reason.FILE_NOT_FOUND, shown, error.strerror or "unreadable", "a readable file")
        raise PartFileError([problem]) from None
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{data[error.start]:02X}, which is no UTF-8"
        hint = "save the file as UTF-8 in the text editor"
        raise PartFileError([Problem(Reason.NOT_TEXT, shown, found, "UTF-8 text", line, hint=hint)]) from None


def _neighbours(path: Path) -> str:
    folder = path.parent
    if not folder.is_dir():
        return f"there is no folder {folder.name or folder}"
    names = sorted(p.name for p in folder.iterdir() if p.suffix.lower() == ".toml")
    near = nearest(path.name, names)
    if near:
        return f"did you mean {near}?"
    if names:
        return f"the folder holds {', '.join(names[:5])}"
    return "`gearqa new` writes one" if path.name == "part.toml" else ""
