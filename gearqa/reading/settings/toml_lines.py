"""The line of every key of a TOML text: the standard parser gives none for valid keys.

This scanner never fails: on text that is no TOML it takes the statement to end at the end of its line.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import field

from gearqa.late_dataclass import dataclass

KeyPath = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BLANKS = re.compile(r"[ \t]*")
_WHITE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_ESCAPE = re.compile(r'\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(["\\bfnrt]))')
_SHORT = {"b": "\b", "f": "\f", "n": "\n", "r": "\r", "t": "\t", '"': '"', "\\": "\\"}
_MAX_DEPTH = 60


@dataclass(frozen=True, slots=True)
class Statement:
    """One `key = value` or one table header."""

    path: KeyPath
    line: int
    end_line: int
    header: bool
    array: bool = False
    text: str = ""


@dataclass(frozen=True, slots=True)
class TomlLines:
    """Statements of a TOML text and the line of every key and list element."""

    statements: tuple[Statement, ...]
    lines: Mapping[KeyPath, int] = field(default_factory=dict)
    too_deep: int | None = None
    """Line where tables, lists or dotted keys go deeper than in any document; the rest is not looked at."""

    def line_of(self, path: KeyPath) -> int | None:
        """Line of a key, else of the nearest table that holds it; None where nothing is found."""
        for end in range(len(path), 0, -1):
            part = path[:end]
            for candidate in (part, tuple(p for p in part if isinstance(p, str))):
                if candidate in self.lines:
                    return self.lines[candidate]
        return None

    def statement_at(self, line: int) -> Statement | None:
        """The statement that covers a line."""
        return next((s for s in self.statements if s.line <= line <= s.end_line), None)


def scan_toml(text: str) -> TomlLines:
    """Find the statements of a TOML text and the line of each key."""
    return _Scanner(text).run()


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.pos = 0
        self.line = 1
        self.counted = 0
        self.lines: dict[KeyPath, int] = {}
        self.statements: list[Statement] = []
        self.arrays: dict[KeyPath, int] = {}
        self.too_deep: int | None = None

    def run(self) -> TomlLines:
        table: KeyPath = ()
        while True:
            self._skip(_WHITE)
            if self.pos >= len(self.text):
                return TomlLines(tuple(self.statements), self.lines, self.too_deep)
            begin, line = self.pos, self._line()
            if self.text[self.pos] == "[":
                table = self._header(line)
            else:
                keys = self._keys()
                path = (*table, *keys)
                self._remember(table, keys, line)
                self._skip(_BLANKS)
                if keys and self._at("="):
                    self.pos += 1
                    self._skip(_BLANKS)
                    self._value(path, 0)
                self._to_end_of_line()
                self._add(path, line, False, False, begin)

    def _add(self, path: KeyPath, line: int, header: bool, array: bool, begin: int) -> None:
        text = self.text[begin : self.pos].strip()
        end = line + self.text.count("\n", begin, self.pos)
        self.statements.append(Statement(path, line, end, header, array, text))

    def _line(self) -> int:
        self.line += self.text.count("\n", self.counted, self.pos)
        self.counted = self.pos
        return self.line

    def _at(self, what: str) -> bool:
        return self.text.startswith(what, self.pos)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.pos)
        assert match is not None
        self.pos = match.end()

    def _to_end_of_line(self) -> None:
        end = self.text.find("\n", self.pos)
        self.pos = len(self.text) if end < 0 else end

    def _remember(self, table: KeyPath, keys: list[str], line: int) -> None:
        for end in range(1, len(keys) + 1):
            self.lines.setdefault((*table, *keys[:end]), line)

    def _header(self, line: int) -> KeyPath:
        begin = self.pos
        array = self._at("[[")
        self.pos += 2 if array else 1
        keys = self._keys()
        self._to_end_of_line()
        path: KeyPath = ()
        for number, key in enumerate(keys):
            path = (*path, key)
            self.lines.setdefault(path, line)
            if array and number == len(keys) - 1:
                self.arrays[path] = self.arrays.get(path, -1) + 1
            if path in self.arrays:
                path = (*path, self.arrays[path])
        self.lines.setdefault(path, line)
        self._add(path, line, True, array, begin)
        return path

    def _keys(self) -> list[str]:
        keys: list[str] = []
        while True:
            self._skip(_BLANKS)
            if self._at('"') or self._at("'"):
                keys.append(self._string())
            else:
                match = _BARE.match(self.text, self.pos)
                if match is None:
                    return keys
                keys.append(match.group())
                self.pos = match.end()
            self._skip(_BLANKS)
            if not self._at("."):
                return keys
            if len(keys) > _MAX_DEPTH:
                self._give_up()
                return keys
            self.pos += 1

    def _give_up(self) -> None:
        self.too_deep = self._line()
        self.pos = len(self.text)

    def _string(self) -> str:
        quote = self.text[self.pos]
        long = self._at(quote * 3)
        mark = quote * 3 if long else quote
        begin = self.pos = self.pos + len(mark)
        while self.pos < len(self.text):
            if self._at(mark):
                end = self.pos
                self.pos += len(mark)
                while long and self._at(quote):  # """" ends with a quote inside
                    self.pos += 1
                    end += 1
                raw = self.text[begin:end]
                return _ESCAPE.sub(_unescape, raw) if quote == '"' else raw
            if self.text[self.pos] == "\n" and not long:
                break
            self.pos += 2 if quote == '"' and self.text[self.pos] == "\\" else 1
        self.pos = min(self.pos, len(self.text))
        return self.text[begin : self.pos]

    def _value(self, path: KeyPath, depth: int) -> None:
        self.lines.setdefault(path, self._line())
        if depth > _MAX_DEPTH:
            self._give_up()
        elif self._at('"') or self._at("'"):
            self._string()
        elif self._at("["):
            self._elements(path, depth)
        elif self._at("{"):
            self._inline_table(path, depth)
        else:
            self._skip(_SCALAR)

    def _elements(self, path: KeyPath, depth: int) -> None:
        self.pos += 1
        number = 0
        while self.pos < len(self.text):
            self._skip(_WHITE)
            if self._at("]"):
                self.pos += 1
                return
            before = self.pos
            self._value((*path, number), depth + 1)
            number += 1
            self._skip(_WHITE)
            if self._at(","):
                self.pos += 1
            elif not self._at("]") and self.pos == before:
                return

    def _inline_table(self, path: KeyPath, depth: int) -> None:
        self.pos += 1
        while self.pos < len(self.text):
            self._skip(_BLANKS)
            if self._at("}"):
                self.pos += 1
                return
            line = self._line()
            keys = self._keys()
            self._skip(_BLANKS)
            if not keys or not self._at("="):
                return
            self._remember(path, keys, line)
            self.pos += 1
            self._skip(_BLANKS)
            self._value((*path, *keys), depth + 1)
            self._skip(_BLANKS)
            if self._at(","):
                self.pos += 1


def _unescape(match: re.Match[str]) -> str:
    short = match.group(3)
    if short:
        return _SHORT[short]
    code = int(match.group(1) or match.group(2), 16)
    return chr(code) if code <= 0x10FFFF else ""
