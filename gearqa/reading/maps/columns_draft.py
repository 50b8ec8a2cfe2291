"""A first draft of a column map for tables without one: what `gearqa columns` shows.

Looks at layout and headers, guesses what trade words say clearly, and marks the rest as gaps. Which
flank is which, and from where an instrument looks, is never guessed from numbers.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gearqa.errors import GearqaError, MeasurementFileError, Problem, Reason
from gearqa.reading.folder.listing import is_table
from gearqa.reading.folder.recognition import recognise
from gearqa.reading.maps.family_draft import FamilyDraft, TableDraft
from gearqa.reading.maps.map_model import GAP
from gearqa.reading.maps.production_draft import production_draft, production_of_heads
from gearqa.reading.maps.reported_draft import reported_draft
from gearqa.reading.maps.table_look import TableLook, look_at_table
from gearqa.reading.maps.table_parts import blocks_of, flank_above, kind_column
from gearqa.reading.maps.trade_words import kind_of_words
from gearqa.reading.rows.decoding import NotTextError
from gearqa.reading.settings.toml_text import toml_key, toml_value

_MAX_FILES: Final = 3000
_NO_TABLE: Final = (".toml", ".md", ".json", ".html", ".pdf", ".png", ".jpg", ".svg", ".xlsx", ".xls", ".zip")


@dataclass(frozen=True, slots=True)
class ColumnsDraft:
    """What the tables look like, and a map to read them."""

    folder: Path
    tables: tuple[TableDraft, ...]
    neutral: tuple[str, ...]
    """Files that need no map."""
    left_out: tuple[tuple[str, str], ...]
    """Files that are no tables, and why."""
    toml: str
    """The map, gaps marked; empty where no table needs one."""

    @property
    def gaps(self) -> int:
        """Number of gaps in the map."""
        return self.toml.count(GAP)


def draft_columns(path: Path | str) -> ColumnsDraft:
    """Look at a folder or a single file and draft a column map.

    Parameters
    ----------
    path : str or Path
        Folder with foreign tables, or one table.

    Returns
    -------
    ColumnsDraft
        What each table looks like, and the text of a map with marked gaps.

    Raises
    ------
    MeasurementFileError
        If there is no such file or folder, or the file is no table.

    Examples
    --------
    >>> import tempfile
    >>> table = Path(tempfile.mkdtemp(), "lead.txt")
    >>> _ = table.write_text("Gear;Flank;Tooth;Face [mm];Dev [um]\\nA1;L;1;0.5;0.2\\nA1;L;1;1.0;0.3\\n")
    >>> draft = draft_columns(table)
    >>> draft.gaps, [one.kind for one in draft.tables]
    (0, ['helix'])
    """
    path = Path(path)
    if not path.exists():
        found = "no such file or folder"
        raise MeasurementFileError([Problem(Reason.FILE_NOT_FOUND, str(path), found, "a table or a folder")])
    single = path.is_file()
    folder = path.parent if single else path
    names = [path.name] if single else _candidates(folder)
    looks: dict[str, TableLook] = {}
    neutral: list[str] = []
    left_out: list[tuple[str, str]] = []
    for name in names:
        if not single and "/" not in name and is_table(name):
            seen = recognise(folder / name, name)
            if seen.source is not None:
                neutral.append(name)
                continue
            if seen.left_out is not None:
                left_out.append((name, seen.left_out))
                continue
        try:
            look = look_at_table(folder / name)
        except NotTextError as error:
            left_out.append((name, f"no text: {error.found}"))
        except OSError as error:
            left_out.append((name, error.strerror or "unreadable"))
        else:
            if look is None:
                left_out.append((name, "no rows of numbers under a header"))
            else:
                looks[name] = look
    if single and not looks:
        fault = Problem(Reason.UNRECOGNISED_TABLE, path.name, left_out[0][1], "a table of readings")
        raise MeasurementFileError([fault])
    width = _face_width(folder)
    tables = list(
        _one_production(
            table
            for files in _families(looks)
            for table in _family_tables(files, [looks[file] for file in files], width)
        )
    )
    return ColumnsDraft(folder, tuple(tables), tuple(neutral), tuple(left_out), _map_text(tables))


def _candidates(folder: Path) -> list[str]:
    names: list[str] = []
    for root, folders, files in os.walk(folder):
        folders[:] = sorted(f for f in folders if not f.startswith(".") and f != "templates")
        wanted = (f for f in files if not f.startswith(".") and not f.lower().endswith(_NO_TABLE))
        names += [Path(root, file).relative_to(folder).as_posix() for file in wanted]
        if len(names) > _MAX_FILES:
            break
    return sorted(names, key=os.fsencode)[:_MAX_FILES]


def _families(looks: Mapping[str, TableLook]) -> list[list[str]]:
    """Files that look alike: same folder depth, ending, header and separator."""
    families: dict[tuple[object, ...], list[str]] = {}
    for name, look in looks.items():
        like = (name.count("/"), Path(name).suffix.lower(), kind_of_words(name), look.header)
        families.setdefault((*like, look.dialect.separator, look.dialect.skip_rows), []).append(name)
    return list(families.values())


def _one_production(tables: Iterable[TableDraft]) -> Iterator[TableDraft]:
    """All tables, but what heads say of how a gear was measured only once: tables may differ by minutes."""
    of_heads = False
    for table in tables:
        if table.kind != "production" or table.first_rows:
            yield table
        elif not of_heads:
            of_heads = True
            yield table


def _family_tables(files: list[str], looks: list[TableLook], width: float | None) -> Iterator[TableDraft]:
    """The tables that files with one header hold."""
    look, heads = looks[0], [one.head for one in looks]
    made = reported_draft(files, look) or production_draft(files, look)
    if made is not None:
        yield made
        return
    parts = list(_parts(files, look, heads, width))
    drafts = [(part, part.finish()) for part in parts]
    yield from (draft for _, draft in drafts)
    first, draft = drafts[0]
    if said := tuple(production_of_heads(first, heads)):
        yield TableDraft(tuple(files), draft.pattern, "production", look, (), (), (), said)


def _parts(
    files: list[str], look: TableLook, heads: list[tuple[str, ...]], width: float | None
) -> Iterator[FamilyDraft]:
    """Drafts of what stands in the same files: rows of several kinds, or one table below the other."""
    blocks = blocks_of(look)
    if len(blocks) > 1:
        for block in blocks:
            hint = f"a table of its own from line {block.dialect.skip_rows + 1}"
            flank = flank_above(block)
            yield FamilyDraft(files, block, width, heads=heads, flank=flank, hints=[hint])
        return
    header = kind_column(look)
    if header is None:
        yield FamilyDraft(files, look, width, heads=heads)
        return
    for word in look.words(header):
        where = f"where = {{ {toml_key(header)} = {toml_value(word)} }}"
        yield FamilyDraft(files, look, width, heads=heads, only=kind_of_words(word), where=where)


def _face_width(folder: Path) -> float | None:
    from gearqa.reading.settings.part_file import read_part

    try:
        return read_part(folder / "part.toml").gear.face_width_mm
    except GearqaError:
        return None


def _map_text(tables: Sequence[TableDraft]) -> str:
    if not tables:
        return ""
    kinds = [table.kind or "profile" for table in tables]
    parts = [
        "# Column map, drafted from the headers: check every line before use.\n"
        "# For an instrument that looks from the other face or counts anticlockwise add\n"
        '# [convention] with seen_from = "opposite_face" or numbering = "anticlockwise".'
    ]
    for table, kind in zip(tables, kinds, strict=True):
        header = f"[[{kind}]]" if kinds.count(kind) > 1 else f"[{kind}]"
        note = "" if table.kind else f"  {GAP} profile, helix, pitch or runout? The file does not say"
        parts.append("\n".join((f"{header}{note}", *table.lines)))
    return "\n\n".join(parts) + "\n"
