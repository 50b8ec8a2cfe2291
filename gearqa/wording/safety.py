"""What has to stand wherever a person reads results; every output takes these words from here."""

from __future__ import annotations

from typing import Final

GEOMETRY_ONLY: Final = (
    "Geometry only: nothing here tells about grinding burn, hardness, cracks, material or load capacity."
)
WHO_DECIDES: Final = "Drawing, contract, local codes and the licensed or authorised person decide."
CAUTIONS: Final = (GEOMETRY_ONLY, WHO_DECIDES)
SETTER: Final = (
    "A qualified setter checks every correction of the grinder and every new dress interval before use."
)
"""Beside the others where a result may lead to a correction."""

NOT_MEASURED: Final = "simulated or made up, not measured on a gear"
SIMULATED_BANNER: Final = f"SIMULATED DATA: {NOT_MEASURED}"

RESULT_MARK: Final = "# gearqa result"
"""Begins the first line of every table that gearqa writes: such a table is never read as a measurement."""
SIMULATED_MARK: Final = "# gearqa simulated"
"""Begins the first line of simulated tables: they are read, and everything made from them says so."""
FILE_MARK_KEY: Final = "gearqa"
"""Key of a Parquet file's own data that holds what would be the first line of the same table as CSV."""

PAGE_MARK: Final = '<meta name="referrer" content="no-referrer">\n<meta name="robots" content="noindex">'
"""In the head of every page, and in no page of others: tells gearqa's own from a page that must be kept."""
PDF_KEYWORD: Final = "gearqa"
"""First keyword of every PDF."""
PDF_MARK: Final = f"<pdf:Keywords>{PDF_KEYWORD}"
"""The same as it stands near the end of the file."""
MAIL_TITLE: Final = "Incoming check of part "
"""Begins the text for a mail."""
