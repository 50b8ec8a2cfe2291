"""The certificate of a lot in headless Chromium: quiet, no request, no sideways scrolling, light and dark."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from lot_samples import words
from outside import needs_chromium, running_chromium

from gearqa.cli import app

pytestmark = [pytest.mark.browser, needs_chromium]
HOSTILE = "<script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">" + "w" * 9000


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with running_chromium() as engine:
        yield engine


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("certificate")
    target = folder / "certificate.html"
    line = words("ring_faults", "--html", target, "--record", folder / "r.json", "--remark", HOSTILE, "-q")
    assert app.run([*line, "--exclude", f"OT-0308={HOSTILE}"]) == 1
    return target


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_certificate_opens_quietly_and_fits(browser: Any, page: Path, width: int, scheme: str) -> None:
    context = browser.new_context(
        offline=True, viewport={"width": width, "height": 900}, color_scheme=scheme
    )  # fmt: skip
    try:
        shown = context.new_page()
        faults: list[str] = []
        requests: list[str] = []
        shown.on("console", lambda message: faults.append(message.text))
        shown.on("pageerror", lambda error: faults.append(str(error)))
        shown.on("request", lambda request: requests.append(request.url))
        shown.goto(page.as_uri(), wait_until="load")
        assert not faults
        assert requests == [page.as_uri()]
        assert shown.evaluate("document.documentElement.scrollWidth") <= width
        assert shown.title() == "Lot certificate, part OT-4471, lot L-7"
        assert shown.locator("figure svg[role=img]").count() == 3  # too few gears: no characteristic
        assert shown.locator("body > .wm").inner_text() == "SIMULATED"
        assert shown.get_by_text("reject (SIMULATED)").first.is_visible()
    finally:
        context.close()
