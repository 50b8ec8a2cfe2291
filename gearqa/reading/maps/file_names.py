"""What the names of similar files say: a pattern for all, and the places of serial, tooth and flank."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import takewhile
from pathlib import Path
from typing import Final, Literal

from gearqa.reading.maps.trade_words import flank_of

_MARKS: Final = ("_. /", "_\\-. /")
"""What parts a name: without the hyphen, which stands inside serials, where there is another mark."""
_TOOTH: Final = re.compile(r"(?i)(t|z|tooth|zahn)(\d+)")
_WHOLE_STEM: Final = r"([^/]+)\.[^./]+$"
_FOLDER: Final = r"([^/]+)/[^/]*$"


def family_pattern(files: Sequence[str]) -> str:
    """The file itself, or a glob that fits all of some files.

    >>> family_pattern(["a_12_L.txt", "a_13_R.txt"]), family_pattern(["x/t1.csv", "y/t1.csv"])
    ('a_*.txt', '**/t1.csv')
    """
    if len(files) == 1:
        return files[0]
    paths = [Path(name) for name in files]
    names = [path.name for path in paths]
    if len(set(names)) == 1:
        glob = names[0]
    else:
        start = _common_start(names)
        # do not cut a word or number in two: serials 12 and 13 share more than they mean to
        start = start[: len(start) - len(re.search(r"[^_\-. /]*$", start).group())]  # type: ignore[union-attr]
        glob = f"{start}*{paths[0].suffix}"
    parents = {path.parent.as_posix() for path in paths}
    if len(parents) > 1:
        return f"**/{glob}"
    parent = parents.pop()
    return glob if parent == "." else f"{parent}/{glob}"


def _common_start(names: Sequence[str]) -> str:
    alike = takewhile(lambda letters: len(set(letters)) == 1, zip(*names, strict=False))
    return "".join(letters[0] for letters in alike)


def path_regex(files: Sequence[str], what: Literal["serial", "tooth", "flank"]) -> str | None:
    """A regular expression with one group for a part of the names; None where no part says it.

    For the serial there always is one: the part that differs and is neither tooth nor flank, else the
    part with a number, else the whole name.

    Where the names of the files do not differ, the folder is the serial.

    >>> import re
    >>> re.search(path_regex(["P-01/t.csv", "P-02/t.csv"], "serial"), "P-02/t.csv").group(1)
    'P-02'
    >>> re.search(path_regex(["p_P-01.csv", "p_P-02.csv"], "serial"), "p_P-02.csv").group(1)
    'P-02'
    >>> files = ["run_OT12_L_T1.txt", "run_OT13_R_T30.txt"]
    >>> [re.search(path_regex(files, what), files[1]).group(1) for what in ("serial", "tooth", "flank")]
    ['OT13', '30', 'R']
    """
    stems = [Path(name).stem for name in files]
    if what == "serial" and len(files) > 1 and len(set(stems)) == 1:
        return _FOLDER
    marks = _MARKS[0] if all(re.search(r"[_ ]", stem) for stem in stems) else _MARKS[1]
    rows = [re.findall(f"[^{marks}]+", stem) for stem in stems]
    if len({len(row) for row in rows}) != 1:
        return _WHOLE_STEM if what == "serial" else None
    columns = list(zip(*rows, strict=True))
    roles = [_role(column) for column in columns]
    if what == "serial":
        free = [at for at, role in enumerate(roles) if role is None]
        differing = [at for at in free if len(set(columns[at])) > 1]
        numbered = [at for at in free if any(c.isdigit() for c in columns[at][0])]
        best = max(differing or numbered, key=lambda at: len(columns[at][0]), default=None)
        return _WHOLE_STEM if best is None else _at_token(best, marks)
    place = next((at for at, role in enumerate(roles) if role == what), None)
    if place is None:
        return None
    if what == "flank":
        return _at_token(place, marks)
    letters = _TOOTH.fullmatch(columns[place][0])
    assert letters is not None
    return _at_token(place, marks, rf"{letters.group(1)}(\d+)")


def _role(column: Sequence[str]) -> str | None:
    if all(flank_of(token) for token in column):
        return "flank"
    if all(_TOOTH.fullmatch(token) for token in column):
        return "tooth"
    return None


def _at_token(place: int, marks: str, group: str = "") -> str:
    before = rf"[^{marks}]+[{marks}]+"
    skipped = "" if place == 0 else before if place == 1 else f"(?:{before}){{{place}}}"
    return rf"(?:^|/){skipped}{group or f'([^{marks}]+)'}[^/]*$"
