"""Verify a record: is it what it was, and do its files still give its values?"""

from __future__ import annotations

from pathlib import Path

from gearqa.jobs.folders import require_folder
from gearqa.model.record import Verification
from gearqa.signoff.key_files import load_public_key
from gearqa.signoff.record import changed_line, load_record
from gearqa.signoff.verify import verify


def verify_record(
    record: str | Path,
    folder: str | Path | None = None,
    *,
    previous: str | Path | None = None,
    key: str | Path | None = None,
) -> Verification:
    """Check the record of a lot: files, record, chain, signature, and every value computed again.

    Parameters
    ----------
    record : str or Path
        Record of a lot sign-off.
    folder : str or Path, optional
        Inspection folder with its input files; without it files and values are not checked.
    previous : str or Path, optional
        The record before it in the chain.
    key : str or Path, optional
        Public key file of who should have signed.

    Returns
    -------
    Verification
        Findings, at least one for each subject; `consistent` where nothing that was checked differs.

    Raises
    ------
    ArgumentError
        If `folder` is no folder.
    RecordError
        If a record or the key cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> from gearqa import decide_lot, record_lot, write_record
    >>> file = Path(tempfile.mkdtemp(), "P-1.record")
    >>> write_record(record_lot(decide_lot("sample_measurements/pinion", lot_id="P-1")), file)
    >>> found = verify_record(file, "sample_measurements/pinion")
    >>> found.consistent, found.subjects["values"]
    (True, 'consistent')
    """
    if folder is not None:
        require_folder(folder)
    kept, before, line_before = load_record(record), None, None
    if previous is not None:
        before = load_record(previous)
        line_before = changed_line(before, Path(previous))
    signer = None if key is None else load_public_key(Path(key))
    return verify(
        kept, None if folder is None else Path(folder), previous=before, key=signer,
        changed_line=changed_line(kept, Path(record)), previous_changed_line=line_before,
    )  # fmt: skip
