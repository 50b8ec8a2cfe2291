"""`gearqa incoming --recursive`: many deliveries, each with a JSON result and a page of its own."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from io import BytesIO
from os.path import abspath, commonpath
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gearqa.cli.exit_status import ExitStatus, status_of

if TYPE_CHECKING:
    from gearqa.model.deliveries import DeliveryOfMany
    from gearqa.model.incoming import IncomingResult

Files = tuple[bytes, bytes]
"""JSON and page of one delivery."""


def review_files(result: IncomingResult) -> Files:
    """What is written of one delivery, in whichever process."""
    from gearqa.report.incoming.page import incoming_document
    from gearqa.report.render.html import write_html
    from gearqa.results.incoming_json import INCOMING

    page = BytesIO()
    write_html(page, incoming_document(result))
    return INCOMING.json(result, pretty=True), page.getvalue()


class ReviewFolder:
    """Writes what was made of each delivery, under the path of its folder below what all have in common."""

    def __init__(self, folder: str, roots: Sequence[Path]) -> None:
        from gearqa.report.grading.page import FileNames

        self._folder, self._names = folder, FileNames()
        self._base = Path(commonpath([abspath(root) for root in roots]))
        while not self._base.is_dir():  # a pattern
            self._base = self._base.parent

    def take(self, delivery: DeliveryOfMany, files: Files) -> None:
        """The two files of one delivery, both or none."""
        from gearqa.results.outputs import Outputs

        own = Path(abspath(delivery.folder))
        name = self._names.next("-".join(own.relative_to(self._base).parts) or own.name)
        with Outputs() as outputs:
            place = outputs.folder(self._folder) / name
            outputs.keep_clear_of(path for path in own.iterdir() if path.is_file())
            outputs.open(f"{place}.json", "JSON result").write(files[0])
            outputs.open(f"{place}.html", "page").write(files[1])


def review_all(
    roots: Sequence[Path],
    store: str | None,
    review_folder: str | None,
    *,
    quiet: bool,
    reports: str | None,
    **options: Any,
) -> int:
    """Check all deliveries below; print one line each, failures last."""
    from gearqa.cli.console import say, tell, tell_failed
    from gearqa.cli.progress import JobProgress
    from gearqa.cli.stores import CommandStore
    from gearqa.jobs.deliveries import REPORTS, check_deliveries
    from gearqa.report.suppliers.words import deliveries_sentence, delivery_line

    with ExitStack() as stack:
        history = None if store is None else stack.enter_context(CommandStore(store))
        files = None if review_folder is None else ReviewFolder(review_folder, roots)
        report = check_deliveries(
            roots, reports=reports or REPORTS, store=history, keep=history is not None,
            make=None if files is None else review_files, take=None if files is None else files.take,
            progress=JobProgress(quiet=quiet), **options,
        )  # fmt: skip
    if not quiet:
        for one in report.checked:
            say(delivery_line(one))
    tell_failed("not checked", report.failed)
    tell(deliveries_sentence(report))
    if report.failed:
        return ExitStatus.NOT_DONE
    return status_of(all(one.checked.agrees for one in report.checked))
