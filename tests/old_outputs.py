"""Contents that gearqa takes for earlier outputs of its own, by the ending of their names."""

from __future__ import annotations

from gearqa.wording.safety import PAGE_MARK, PDF_MARK, RESULT_MARK

OLD = {
    ".json": '{"schema": "gearqa.result/1", "old": true}',
    ".csv": f"{RESULT_MARK}\nold\n",
    ".html": f"<!doctype html>\n{PAGE_MARK}\nold\n",
    ".pdf": f"%PDF-1.7\nold\n{PDF_MARK}\n",
}
