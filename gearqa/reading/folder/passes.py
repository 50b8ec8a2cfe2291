"""Reads an inspection folder: every problem of every file at once, or its gears one after the other.

Two passes. The first reads each file once and puts its numbers aside, cut into series; so everything
that is wrong is known before the first gear comes out, rows may come in any order, and memory is bounded
by the chunk, the spool's bound and a small index, not by the folder. The second yields the gears.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import field, replace
from pathlib import Path
from typing import Final

from gearqa.errors import MeasurementFileError, NoticeCode, PartFileError, Problem, Reason
from gearqa.late_dataclass import dataclass
from gearqa.model.measurement import InputFile
from gearqa.model.part import PART_FILE, Part
from gearqa.reading.folder.canonical import MAX_TEETH, Frame, turned_words
from gearqa.reading.folder.careful_reader import CHUNK_ROWS, CarefulReader, with_encoding_settled
from gearqa.reading.folder.folder_checks import FolderChecks
from gearqa.reading.folder.inspection import Inspection
from gearqa.reading.folder.listing import IGNORED, list_folder, matches_any
from gearqa.reading.folder.recognition import VALUES, Recognised, recognise
from gearqa.reading.folder.series_store import SeriesStore
from gearqa.reading.folder.series_tables import SeriesTable, StartAgainError, is_plain, note_blank_rows
from gearqa.reading.folder.sources import Convention, TableSource
from gearqa.reading.folder.spool import Spool
from gearqa.reading.folder.table_kinds import GRADED_KINDS
from gearqa.reading.folder.text_rows import TextRows
from gearqa.reading.rows.digests import sha256_of
from gearqa.reading.rows.parquet_rows import is_parquet
from gearqa.reading.rows.problem_log import ProblemLog
from gearqa.wording.sentences import some_of
from gearqa.wording.visible import clip

FILES_SHOWN: Final = 3
FAST_FROM_BYTES: Final = 25_000
"""Below this the careful reader is done before the fast one is loaded."""
GENERAL_TIMES: Final = 100
"""Below so many times as much it is done before the general parser of the fast one is loaded."""


def read_folder(
    folder: Path | str,
    *,
    part: Part | Path | str | None = None,
    columns: Path | str | None = None,
    serials: Sequence[str] = (),
    chunk_rows: int = 500_000,
) -> Inspection:
    """Read an inspection folder.

    Parameters
    ----------
    folder : path
        Holds `part.toml` and CSV or Parquet tables.
    part : Part or path, optional
        The drawing, or the file that describes it; `part.toml` of the folder by default.
    columns : path, optional
        Column map for foreign tables; wins over the one that the part file names.
    serials : sequence of str, optional
        Only these gears.
    chunk_rows : int
        About how many rows are held in memory at once.

    Returns
    -------
    Inspection
        Iterate over it for the gears; close it (or use `with`) when done.

    Raises
    ------
    MeasurementFileError
        With all problems of all files (and of the part file, where both are at fault).
    PartFileError
        If only the part file or the column map is at fault.
    """
    wanted = (serials,) if isinstance(serials, str) else serials
    return _FolderReading(Path(folder), chunk_rows).run(part, columns, wanted)


@dataclass(slots=True)
class _FolderReading:
    folder: Path
    chunk_rows: int
    store: SeriesStore = field(default_factory=lambda: SeriesStore(Spool()))
    log: ProblemLog = field(default_factory=ProblemLog)
    texts: TextRows = field(default_factory=TextRows)
    part: Part | None = None
    part_problems: list[Problem] = field(default_factory=list)
    ignore: tuple[str, ...] = ()
    teeth: int | None = None
    """Number of teeth that a part file gives which is at fault elsewhere."""
    files: list[InputFile] = field(default_factory=list)
    sources: list[TableSource] = field(default_factory=list)
    map_failed: bool = False
    sheets: tuple[str, ...] = ()
    """Files that the map names as tables of values."""
    convention: Convention = field(default_factory=Convention)

    def run(
        self, part: Part | Path | str | None, columns: Path | str | None, serials: Sequence[str]
    ) -> Inspection:
        if not self.folder.is_dir():
            raise MeasurementFileError([_no_folder(self.folder)])
        try:
            self._read_part(part)
            mapped = self._read_map(columns)
            tables, left_out = self._list(mapped)
            self.sources = self._plan(tables, mapped)
            self._read_tables()
            return self._finish(left_out, serials)
        except BaseException:
            self.store.close()
            raise

    # --- part file, column map, list of files ------------------------------------------------------

    def _read_part(self, part: Part | Path | str | None) -> None:
        from gearqa.reading.settings.part_file import read_part
        from gearqa.reading.settings.part_notices import part_notices

        if isinstance(part, Part):
            self.part = part
        else:
            path = self.folder / PART_FILE if part is None else Path(part)
            name = self._name(path)
            try:
                self.part = read_part(path, name=name)
            except PartFileError as error:
                self.part_problems += error.problems
                self.ignore, self.teeth = _known_of(path)
            if path.is_file():
                self.files.append(InputFile(name, sha256_of(path)))
        if self.part is not None:
            self.ignore = self.part.ignore
            self.log.notices += part_notices(self.part)

    def _read_map(self, columns: Path | str | None) -> list[TableSource]:
        path = Path(columns) if columns is not None else None
        if path is None and self.part is not None and self.part.columns is not None:
            path = self.folder / self.part.columns
        if path is None:
            return []
        from gearqa.reading.maps.columns_map import read_columns_map
        from gearqa.reading.maps.map_sources import sources_of, unmapped_convention

        name = self._name(path)
        if path.is_file():
            self.files.append(InputFile(name, sha256_of(path)))
        try:
            columns_map = read_columns_map(path, name=name)
            self.ignore = (*self.ignore, *columns_map.ignore)
            self.convention = unmapped_convention(columns_map)
            self.sheets = tuple(f for t in (*columns_map.reported, *columns_map.study) for f in t.file)
            return list(sources_of(columns_map, self.folder))
        except PartFileError as error:
            self.part_problems += error.problems
        except MeasurementFileError as error:
            self.log.extend(error.problems)
        self.map_failed = True
        return []

    def _list(self, mapped: Iterable[TableSource]) -> tuple[list[Path], list[InputFile]]:
        known = {file.file for file in self.files} | {source.name for source in mapped}
        tables, left_out, own = list_folder(self.folder, ignore=self.ignore, known=known)
        if own:
            _tell_own_files(own)
        ignored = [file.file for file in left_out if file.left_out == IGNORED]
        others = [file.file for file in left_out if file.left_out != IGNORED]
        if ignored:
            self.log.notice(NoticeCode.FILES_IGNORED, f"left out as `ignore` says: {', '.join(ignored)}")
        if others:
            self.log.notice(NoticeCode.FILES_NOT_READ, f"not read, being no tables: {', '.join(others)}")
        return tables, left_out

    def _plan(self, tables: Iterable[Path], mapped: Sequence[TableSource]) -> list[TableSource]:
        """Plans for all tables, in byte order of their names."""
        sources = list(mapped)
        for path in tables:
            sheet = matches_any(path.name, self.sheets)
            seen = Recognised(left_out=VALUES) if sheet else recognise(path, path.name)
            if seen.left_out is not None:
                self.files.append(InputFile(path.name, left_out=seen.left_out))
                self.log.notice(NoticeCode.TABLE_LEFT_OUT, f"{path.name} is left out: {seen.left_out}")
            problems = seen.problems
            if self.map_failed:  # the map may have been meant for this file
                own = (Reason.UNRECOGNISED_TABLE, Reason.MISSING_COLUMN, Reason.RAGGED_ROW)
                problems = tuple(p for p in problems if p.reason not in own)
            self.log.extend(problems)
            self.log.notices += [n for n in seen.notices if n not in self.log.notices]
            if problems:
                self.files.append(InputFile(path.name, left_out="not readable"))
            if seen.source is not None:
                sources.append(replace(seen.source, convention=self.convention))
        return sorted(sources, key=lambda source: source.name.encode("utf-8", "surrogateescape"))

    def _name(self, path: Path) -> str:
        """How messages call a file: relative to the folder where it lies inside."""
        try:
            return path.resolve().relative_to(self.folder.resolve()).as_posix()
        except ValueError:
            return str(path)

    # --- first pass ----------------------------------------------------------------------------------

    def _read_tables(self) -> None:
        frame = Frame.of(self.part, self.teeth)
        digests: dict[str, str] = {}
        plain = [source for source in self.sources if is_plain(source) and not source.is_parquet]
        size = sum(_size(source.path) for source in plain)
        fast, general = size >= FAST_FROM_BYTES, size >= GENERAL_TIMES * FAST_FROM_BYTES
        for number, source in enumerate(self.sources):
            if source.kind in GRADED_KINDS:
                digests[source.name] = self._read_series(
                    number, frame, fast=fast and source in plain, general=general
                )
            else:
                digests[source.name] = self._read_texts(number)
        self.files += [InputFile(name, sha256) for name, sha256 in digests.items()]
        for name, path in {source.name: source.path for source in self.sources}.items():
            if not is_parquet(path) and not _ends_in_line_end(path):
                self.log.notice(
                    NoticeCode.NO_LINE_END,
                    f"{name} has no line end behind its last row: was it cut off? Its last number may lack "
                    "digits",
                )
        self.store.finish()

    def _read_series(self, number: int, frame: Frame, *, fast: bool, general: bool) -> str:
        """Put the rows of a table aside; returns the digest of the file."""
        while True:
            table = SeriesTable(self.sources[number], frame, self.log, self.chunk_rows, fast, general)
            store, log = self.store.mark(), self.log.mark()
            try:
                for pieces in table.pieces():
                    self.store.add(pieces, number)
                return table.sha256
            except StartAgainError as again:
                self.store.reset(store)
                self.log.reset(log)
                self.sources[number], fast = again.source, again.fast

    def _read_texts(self, number: int) -> str:
        source = self.sources[number] = with_encoding_settled(self.sources[number])
        reader = CarefulReader(source, self.log)
        for raw in reader.chunks(min(CHUNK_ROWS, self.chunk_rows)):
            for gear in self.texts.add(source, raw, self.log):
                self.store.meet(gear)
        note_blank_rows(reader)
        return reader.sha256

    # --- between the passes ----------------------------------------------------------------------------

    def _finish(self, left_out: Sequence[InputFile], wanted: Sequence[str]) -> Inspection:
        checks = FolderChecks(self.folder, self.part, self.sources, self.store, self.texts, self.log)
        checks.series()
        gears, gear_notices = checks.gears(wanted, map_failed=self.map_failed)
        simulated = any(source.simulated for source in self.sources)
        problems = (*self.part_problems, *self.log.problems)
        if problems:
            raise (MeasurementFileError if self.log.problems else PartFileError)(problems)
        assert self.part is not None
        if self.texts.settle_times():
            self.log.notice(
                NoticeCode.TIMES_WITHOUT_ZONE,
                "times without a time zone are taken as local time of the place of work",
            )
        turned: dict[Convention, list[str]] = {}
        for source in self.sources:
            if source.kind in GRADED_KINDS and source.convention != Convention():
                turned.setdefault(source.convention, []).append(source.name)
        for convention, names in turned.items():
            self.log.notice(
                NoticeCode.TABLES_TURNED,
                f"{some_of(list(dict.fromkeys(names)), FILES_SHOWN)}: turned as [convention] says; results "
                "are told seen onto the datum face, counted clockwise: "
                f"{turned_words(convention, self.part.gear.teeth)}",
            )
        if simulated:
            self.log.notice(
                NoticeCode.SIMULATED, "SIMULATED: a table says that it was not measured but simulated"
            )
        inputs = sorted((*self.files, *left_out), key=lambda file: file.left_out is not None)
        return Inspection(
            self.folder, self.part, tuple(inputs), tuple(self.log.notices), simulated, gears,
            tuple(self.texts.events), self.store, self.texts, gear_notices,
            tuple(source.name for source in self.sources),
        )  # fmt: skip


def _tell_own_files(names: Sequence[str]) -> None:
    """Say at once what is passed over: in a result it would make the second run differ from the first."""
    import logging

    shown = ", ".join(map(clip, names))
    logging.getLogger("gearqa").warning("not read, made by gearqa itself: %s", shown)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _ends_in_line_end(path: Path) -> bool:
    """Whether a table ends as a whole line does; the last character of UTF-16 has two bytes."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 2))
        end = file.read()
    return b"\n" in end or b"\r" in end


def _no_folder(folder: Path) -> Problem:
    if folder.exists():
        return Problem(
            Reason.FILE_NOT_FOUND, str(folder), "a file", "an inspection folder",
            hint=f"name the folder it lies in: {folder.parent}",
        )  # fmt: skip
    return Problem(Reason.FILE_NOT_FOUND, str(folder), "no such folder", "an inspection folder")


def _known_of(path: Path) -> tuple[tuple[str, ...], int | None]:
    """The `ignore` line and the number of teeth of a part file that is at fault elsewhere."""
    from gearqa.reading.settings.toml_file import known_document

    document = known_document(path)
    ignore, gear = document.get("ignore"), document.get("gear")
    patterns = [one for one in ignore if isinstance(one, str)] if isinstance(ignore, list) else []
    teeth = gear.get("teeth") if isinstance(gear, dict) else None
    sane = isinstance(teeth, int) and not isinstance(teeth, bool) and 0 < teeth <= MAX_TEETH
    return tuple(patterns), teeth if sane else None
