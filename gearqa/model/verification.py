"""What came of checking a record again. Field names are the keys of the JSON result."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Subject = Literal["files", "record", "chain", "signature", "values"]
Status = Literal["consistent", "differs", "not checked"]
SUBJECTS: Final[tuple[Subject, ...]] = ("files", "record", "chain", "signature", "values")
_GRAVEST_FIRST: Final[tuple[Status, ...]] = ("differs", "not checked", "consistent")


@dataclass(frozen=True, slots=True)
class Finding:
    """One line of a verification."""

    subject: Subject
    status: Status
    where: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What came of checking a record: at least one finding for each subject."""

    lot_id: str
    digest: str
    findings: tuple[Finding, ...]

    @property
    def consistent(self) -> bool:
        """Whether nothing that was checked differs."""
        return all(one.status != "differs" for one in self.findings)

    @property
    def subjects(self) -> Mapping[Subject, Status]:
        """Status of each subject: the gravest of its findings."""
        return {subject: min(self._found(subject), key=_GRAVEST_FIRST.index) for subject in SUBJECTS}

    def _found(self, subject: Subject) -> list[Status]:
        return [one.status for one in self.findings if one.subject == subject]
