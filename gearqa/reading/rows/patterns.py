"""Regular expressions that a user writes: by a library whose time grows with the text, not with its powers.

The standard library tries `(a+)+b` in as many ways as there are; a column map must not be able to hang.
"""

from __future__ import annotations

from typing import Any


class PatternError(ValueError):
    """A text that is no regular expression, or one that needs what takes more than linear time."""


class Pattern:
    """A regular expression, as far as maps need one.

    >>> match = Pattern(r"Z(?P<tooth>\\d+)").search("é_Z12")
    >>> match.groupdict(), span(match, "tooth")
    ({'tooth': '12'}, (3, 5))
    """

    def __init__(self, text: str) -> None:
        import re2

        options = re2.Options()
        options.log_errors = False
        try:
            self._pattern = re2.compile(text, options)
        except (re2.error, UnicodeError) as error:
            reason = error.args[0] if error.args else error
            reason = reason.decode("utf-8", "replace") if isinstance(reason, bytes) else str(reason)
            raise PatternError(reason) from None
        self.text = text
        self.groups: int = self._pattern.groups
        self.groupindex: dict[str, int] = self._pattern.groupindex

    def search(self, text: str) -> Any:
        """The first match in a text, or None."""
        return self._pattern.search(text.encode("utf-8", "replace").decode())

    def every_group(self, text: str) -> list[str]:
        """What the first group holds in every match, from left to right."""
        found = self._pattern.finditer(text.encode("utf-8", "replace").decode())
        return [match.group(1) or "" for match in found]


def span(match: Any, group: str) -> tuple[int, int]:
    """Where a named group was found."""
    start, end = match.span(match.re.groupindex[group])
    return start, end
