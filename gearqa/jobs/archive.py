"""Adding an archive of inspection folders: each for itself, on many cores or machines, continued where it
stopped."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from gearqa.errors import ArgumentError, StoreConflictError
from gearqa.history.intake import ArchiveFolder, FolderToAdd, add_prepared, attempt, known_files
from gearqa.history.stored_texts import plain_text
from gearqa.jobs.folders import folders_below, path_or_none
from gearqa.jobs.progress import UNSEEN, Progress
from gearqa.jobs.spread import spread
from gearqa.jobs.stores import AnyStore, opened
from gearqa.model.history import ArchiveReport, FailedFolder, IntakeReport
from gearqa.model.part import PART_FILE
from gearqa.reading.folder.listing import is_table
from gearqa.stopping import more_follows


def add_archive(
    roots: str | Path | Sequence[str | Path],
    *,
    part: str | Path | None = None,
    columns: str | Path | None = None,
    store: AnyStore = None,
    replace: bool = False,
    workers: int | None = 1,
    scheduler: str | None = None,
    progress: Progress = UNSEEN,
) -> ArchiveReport:
    """Grade all inspection folders below some folders and keep their gears and events.

    Each folder is a transaction of its own, in the order of their paths; a folder at fault is listed and the
    others are added. Folders whose files are in the store as they are are passed over, so that an archive
    that was interrupted goes on where it stopped.

    Parameters
    ----------
    roots : path or sequence of path
        Trees of folders, or patterns such as ``lots/2025-*``; an inspection folder is one that holds
        part.toml (with `part`: a table).
    part, columns : path, optional
        Part file and column map to use instead of those of the folders.
    store : HistoryStore, str or path, optional
        A file, a server's URL, or an open store; else $GEARQA_STORE, else one file in the user's data folder.
    replace : bool
        Gears stored with other values are superseded, which is logged; else their folder fails.
    workers : int, optional
        Processes; None: one a core (a script then needs `if __name__ == "__main__"`). What is stored does not
        depend on it.
    scheduler : str, optional
        Address of a running scheduler, whose workers grade instead.
    progress : Progress, optional
        Shows how many folders are done.

    Returns
    -------
    ArchiveReport
        What was added, what was there already, and what failed, by folder.

    Raises
    ------
    ArgumentError
        No inspection folder below, or no such scheduler.

    Examples
    --------
    >>> import gearqa, tempfile
    >>> place = Path(tempfile.mkdtemp()) / "gears.sqlite"
    >>> report = gearqa.add_archive("sample_measurements", store=place, workers=1)
    >>> sum(one.added for one in report.added) > 100, [one.folder for one in report.failed]
    (True, [])
    >>> again = gearqa.add_archive("sample_measurements", store=place, workers=1)
    >>> len(again.added), len(again.unchanged) == len(report.added)
    (0, True)
    """
    listed = [roots] if isinstance(roots, str | Path) else list(roots)
    folders = folders_below(listed, partial(_holds, tables_only=part is not None))
    if not folders:
        raise ArgumentError("folder", f"no folder with {PART_FILE} below {', '.join(map(str, listed))}")
    added: list[IntakeReport] = []
    unchanged: list[str] = []
    failed: list[FailedFolder] = []
    with opened(store, writing=True) as history:
        known = {} if replace else known_files(history)
        sources = [
            ArchiveFolder(
                FolderToAdd(folder, path_or_none(part), path_or_none(columns)),
                known.get(plain_text(str(folder.resolve())), ()),
            )
            for folder in folders
        ]
        done = spread(attempt, sources, workers=workers, scheduler=scheduler)
        for one, outcome in progress.over(done, "adding", "folders", total=len(folders)):
            name = str(one.source.folder)
            if outcome.problems:
                failed.append(FailedFolder(name, tuple(str(problem) for problem in outcome.problems)))
            elif outcome.prepared is None:
                unchanged.append(name)
            else:
                try:
                    added += add_prepared(history, [outcome.prepared], replace=replace)
                except StoreConflictError as error:
                    failed.append(FailedFolder(name, (str(error),)))
                finally:
                    outcome.prepared.drafts.close()
                more_follows("the folders added before stay, the others follow when it is run again")
    return ArchiveReport(tuple(added), tuple(unchanged), tuple(failed))


def _holds(folder: Path, *, tables_only: bool) -> bool:
    """Whether it is an inspection folder."""
    return any(map(is_table, folder.iterdir())) if tables_only else (folder / PART_FILE).is_file()
