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
    from gearqa.cli.console import say
    from gearqa.jobs.verify import verify_record
    from gearqa.report.lot.screen import verification_lines

    found = verify_record(record, folder, previous=previous, key=key)
    lines = [] if json == "-" else [*verification_lines(found), *CAUTIONS]
    if json is not None:
        from gearqa.results.outputs import write_whole
        from gearqa.results.record_json import VERIFY

        write_whole(json, VERIFY.json(found, pretty=True), "JSON result")
    for line in lines:
        say(line)
    return ExitStatus.CONFORMS if found.consistent else ExitStatus.DOES_NOT_CONFORM
