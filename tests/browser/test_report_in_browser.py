"""Report pages in headless Chromium: no fault, no request, every chart named, phone to desktop, no script.

Chromium is Debian's; set CHROMIUM to use another one.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from outside import needs_chromium, running_chromium
from sheet_factory import document_of, header_of, html_of, made, measured, part_of

from gearqa.evaluation.evaluate import LotCounter, evaluate
from gearqa.report.render.html import LAZY_FROM
from gearqa.results.grade_json import GradeJsonWriter

pytestmark = [pytest.mark.browser, needs_chromium]
HOSTILE = (
    "<script>document.title='taken'</script>\"'><img src=x onerror=\"document.title='taken'\">\u202e../.."
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with running_chromium() as engine:
        yield engine


class Visit:
    """A page opened without network; what it complained about and asked for."""

    def __init__(self, browser: Any, path: Path, **options: Any) -> None:
        self.faults: list[str] = []
        self.requests: list[str] = []
        self.context = browser.new_context(offline=True, **options)
        self.page = self.context.new_page()
        self.page.on("console", lambda message: self.faults.append(message.text))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.goto(path.as_uri(), wait_until="load")

    def close(self) -> None:
        self.context.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages")
    production = made(remark=HOSTILE)
    gears = [measured(f"S-{k}", size=1 + k / 2, seed=k) for k in range(4)]
    pages = {
        "one": document_of([measured()], simulated=True),
        "hostile": document_of(
            [measured(HOSTILE + "y" * 10_000, production=production)], part_of(number=HOSTILE)
        ),
        "lot": document_of(gears),
    }
    for name, document in pages.items():
        (folder / f"{name}.html").write_text(html_of(document), encoding="utf-8")
    return folder


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280, 1920])
@pytest.mark.parametrize("name", ["one", "hostile", "lot"])
def test_pages_open_quietly_at_every_width(
    browser: Any, folder: Path, name: str, width: int, scheme: str
) -> None:
    visit = Visit(
        browser, folder / f"{name}.html", viewport={"width": width, "height": 900}, color_scheme=scheme
    )
    assert visit.faults == []
    assert visit.requests == [(folder / f"{name}.html").as_uri()]
    # Nothing makes the page itself wider than the screen: wide charts and tables scroll inside.
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= width
    assert visit.page.title() != "taken"
    visit.close()


def test_every_chart_is_there_with_a_name_and_a_size(browser: Any, folder: Path) -> None:
    visit = Visit(browser, folder / "one.html", viewport={"width": 1280, "height": 900})
    charts = visit.page.locator("figure svg[role=img]")
    assert charts.count() == 5
    for k in range(5):
        box = charts.nth(k).bounding_box()
        assert box["width"] > 480
        assert box["height"] > 80
    names = visit.page.evaluate(
        "[...document.querySelectorAll('figure svg')].map(s => s.querySelector('title').textContent)"
    )
    assert all(visit.page.get_by_role("img", name=name).count() == 1 for name in names)
    visit.close()


def test_no_text_of_a_chart_is_cut_off_at_its_edge(browser: Any, folder: Path) -> None:
    visit = Visit(browser, folder / "one.html", viewport={"width": 1280, "height": 900})
    outside = visit.page.evaluate(
        """[...document.querySelectorAll('figure svg')].flatMap(svg => {
            const view = svg.viewBox.baseVal;
            return [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBBox()])
                .filter(([_, b]) => b.x < -0.5 || b.y < -0.5
                                    || b.x + b.width > view.width + 0.5 || b.y + b.height > view.height + 0.5)
                .map(([words]) => words)})"""
    )
    assert outside == []
    visit.close()


def test_no_two_texts_of_a_chart_overlap(browser: Any, folder: Path) -> None:
    visit = Visit(browser, folder / "one.html", viewport={"width": 1280, "height": 900})
    pairs = visit.page.evaluate(
        """[...document.querySelectorAll('figure svg')].flatMap(svg => {
            const boxes = [...svg.querySelectorAll('text')].map(t => [t.textContent, t.getBBox()]);
            return boxes.flatMap(([one, a], i) => boxes.slice(i + 1).filter(([_, b]) =>
                Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x) > 1 &&
                Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y) > 4
            ).map(([two]) => [one, two]))})"""
    )
    assert pairs == []
    visit.close()


def test_dark_screens_get_their_own_colours(browser: Any, folder: Path) -> None:
    colours = {}
    for scheme in ("light", "dark"):
        visit = Visit(browser, folder / "one.html", color_scheme=scheme)
        colours[scheme] = visit.page.evaluate(
            "[getComputedStyle(document.body.parentElement).backgroundColor,"
            " getComputedStyle(document.querySelector('path.sfi')).stroke]"
        )
        visit.close()
    assert colours["light"] == ["rgb(255, 255, 255)", "rgb(0, 114, 178)"]
    assert colours["dark"] == ["rgb(18, 18, 18)", "rgb(86, 180, 233)"]


def test_everything_can_be_read_without_script(browser: Any, folder: Path) -> None:
    visit = Visit(browser, folder / "lot.html", java_script_enabled=False)
    page = visit.page
    assert page.locator("figure svg").count() == 2 + 4 * 5
    assert not page.locator("#gear-2 table").is_visible()
    page.locator("details", has=page.locator("#gear-2")).locator("summary").click()
    assert page.locator("#gear-2 table").is_visible()
    assert not page.locator("#find").is_visible()
    visit.close()


def test_the_way_from_the_lot_to_a_sheet_opens_it(browser: Any, folder: Path) -> None:
    visit = Visit(browser, folder / "lot.html")
    page = visit.page
    page.locator("a[href='#gear-3']").first.click()
    page.wait_for_function("document.querySelector('#gear-3').closest('details').open")
    assert page.locator("#gear-3 table").is_visible()
    page.locator("#find").fill("S-1")
    assert page.locator("details:visible").count() == 1
    page.locator("#find").fill("")
    page.locator("#fold").click()
    assert page.locator("details[open]").count() == 0
    assert visit.faults == []
    visit.close()


def test_pointing_at_a_trace_tells_its_value(browser: Any, folder: Path) -> None:
    visit = Visit(browser, folder / "one.html", viewport={"width": 1280, "height": 900})
    page = visit.page
    trace = page.locator("path[data-r]").first
    trace.scroll_into_view_if_needed()
    box = trace.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    shown = page.locator(".tip").inner_text()
    position, deviation = (float(part.split()[0]) for part in shown.split(": "))
    gear = measured()
    first = gear.traces[0]
    assert first.position_mm[0] <= position <= first.position_mm[-1]
    near = abs(first.position_mm - position).argmin()
    assert abs(first.deviation_um[near] - deviation) < 0.4
    visit.close()


def test_simulated_runs_across_the_screen(browser: Any, folder: Path) -> None:
    visit = Visit(browser, folder / "one.html")
    assert visit.page.locator(".wm").inner_text() == "SIMULATED"
    assert visit.page.evaluate("getComputedStyle(document.querySelector('.wm')).position") == "fixed"
    visit.close()


def test_the_verdict_is_that_of_the_json_result(browser: Any, tmp_path: Path) -> None:
    import json

    part, lot = part_of(), LotCounter()
    gears = [measured(f"S-{k}", size=1 + k, seed=k) for k in range(4)]
    (tmp_path / "lot.html").write_text(html_of(document_of(gears, part)), encoding="utf-8")
    with (tmp_path / "lot.json").open("wb") as stream:
        writer = GradeJsonWriter(stream)
        writer.begin(header_of(part))
        for result in evaluate(gears, part):
            lot.add(result)
            writer.take(writer.made(result))
        writer.end(lot.summary())
    data = json.loads((tmp_path / "lot.json").read_bytes())
    words = {True: "conforms", False: "does not conform", None: "not assessed"}
    visit = Visit(browser, tmp_path / "lot.html")
    shown = visit.page.locator(".verdict .a").all_text_contents()
    assert shown[0].split(maxsplit=1)[1] == words[data["lot"]["conforms"]]
    assert len(data["gears"]) == 4
    for k, gear in enumerate(data["gears"], 1):
        conformity, grade, _ = visit.page.locator(f"#gear-{k} .verdict .a").all_text_contents()
        assert conformity.split(maxsplit=1)[1] == words[gear["conforms"]]
        assert grade == str(gear["class"])
    visit.close()


def test_a_lot_of_500_sheets_opens_in_two_seconds(browser: Any, tmp_path: Path) -> None:
    document = document_of([measured(f"S-{k}", size=1 + k / 4) for k in range(4)])
    lot, *sheets = document.sheets
    from dataclasses import replace

    many = tuple(replace(sheets[k % 4], id=f"gear-{k}") for k in range(500))
    assert len(many) >= LAZY_FROM
    path = tmp_path / "many.html"
    path.write_text(html_of(replace(document, sheets=(lot, *many))), encoding="utf-8")
    best = float("inf")
    for _ in range(3):
        start = time.monotonic()
        visit = Visit(browser, path)
        best = min(best, time.monotonic() - start)
        assert visit.faults == []
        visit.page.locator("summary").nth(400).click()
        visit.page.wait_for_selector("#gear-400 figure svg")
        assert visit.page.locator("#gear-400 figure svg").count() == 5
        visit.close()
    assert best < 2.0
