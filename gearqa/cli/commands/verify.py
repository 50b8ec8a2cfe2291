"""`gearqa verify`: is a record what it was, and do its files still give its values?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from gearqa.cli.exit_status import ExitStatus
from gearqa.cli.options import JsonFile
from gearqa.wording.safety import CAUTIONS


def command(
    record: Annotated[
        Path, typer.Argument(metavar="RECORD", help="Record of a lot sign-off.", show_default=False)
    ],
    folder: Annotated[
        Path | None, typer.Argument(metavar="FOLDER", help="Inspection folder with its input files.")
    ] = None,
    previous: Annotated[
        Path | None, typer.Option("--previous", metavar="RECORD", help="The record before it in the chain.")
    ] = None,
    key: Annotated[
        Path | None,
        typer.Option("--key", metavar="PUBLIC_KEY", help="Public key file of who should have signed."),
    ] = None,
    json: JsonFile = None,
) -> int:
    """Check a record: files, record, chain, signature, and every value computed again.

    One line for each, more where something differs; "not checked" says why. A record without a signature
    can only be consistent: who changes it on purpose can renew its digest.

    Exit status: 0 nothing that was checked differs; 1 something differs; 2 it cannot be read.
    """
    from gearqa.jobs.folders import require_folder
    from gearqa.report.lot.verification import verification_lines
    from gearqa.signoff.key_files import load_public_key
    from gearqa.signoff.record import changed_line, load_record
    from gearqa.signoff.verify import verification_table, verify

    if folder is not None:
        require_folder(folder)
    kept = load_record(record)
    before = None if previous is None else load_record(previous)
    found = verify(
        kept, folder, previous=before, key=None if key is None else load_public_key(key),
        changed_line=changed_line(kept, record),
        previous_changed_line=None if before is None or previous is None else changed_line(before, previous),
    )  # fmt: skip
    table = verification_table(found)
    if json is not None:
        from gearqa.results.jsonio import dumps
        from gearqa.results.outputs import write_whole

        write_whole(json, dumps(table, pretty=True))
    if json != "-":
        for line in (*verification_lines(table), *CAUTIONS):
            print(line)
    return ExitStatus.CONFORMS if found.consistent else ExitStatus.DOES_NOT_CONFORM
