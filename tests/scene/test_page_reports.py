"""Reports and papers on the page without a daemon: drawn from their blocks, accessible, and printed."""

from __future__ import annotations

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from axe_playwright_python.sync_playwright import Axe

from acquire.page.papers import Papers
from acquire.page.past import Past
from acquire.page.stream import spelt_json
from acquire.records import Outcome, Purpose
from tests.browsers import LAPTOP, OUTPUT, PHONE, needs_chromium
from tests.fed_page import fed
from tests.known_records import NOON_S
from tests.known_visits import DAY_S, SERIAL, journal_with, shop_day, visit
from tests.scene.test_page_geometry import at_work

pytestmark = [needs_chromium, pytest.mark.timeout(120)]


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    """What the daemon answers of a unit that came back, and of a batch of twelve."""
    with ThreadPoolExecutor() as beside:  # the browser's own loop runs here
        return beside.submit(_answered, tmp_path_factory.mktemp("journal")).result()


def _answered(folder):
    records = shop_day()
    for number in range(12):
        factors = {"fast charge": 1.0 + 0.003 * ((number * 5) % 8 - 4)}
        records += visit(f"PL80-{number + 10:04d}", utc_s=NOON_S + 600.0 * (number + 1), factors=factors)
    how = {"purpose": Purpose.RETURNED, "factors": {"fast charge": 0.9}, "outcome": Outcome.FAIL}
    folder = journal_with(folder, [*records, *visit(utc_s=NOON_S + 2 * DAY_S, **how)])
    papers = Papers(folder, folder, None)
    made = {
        "/batch": asyncio.run(papers.batch({"name": "lot 7"})),
        "/returned": asyncio.run(papers.returned({"serial": SERIAL})),
        "/unit": Past(folder, "bench-1").unit({"serial": SERIAL}),
    }
    return {path: json.loads(spelt_json(answer)) for path, answer in made.items()}


SEEN = "async one => { one.loading = 'eager'; await one.decode(); return one.naturalWidth; }"
LOOKS = "[getComputedStyle(document.body).color, getComputedStyle(document.documentElement).backgroundColor]"


def faults_of(page):
    """What axe-core finds, a line each."""
    return [f"{each['id']}: {each['help']}" for each in Axe().run(page).response["violations"]]


def test_batch_and_unit_are_drawn_from_the_blocks_of_their_papers(browser, answers):
    """Words stand open, what is long opens; within the width of a telephone; nothing for axe-core; prints."""
    eye = fed(browser, at_work().state(), answers=answers, size=LAPTOP)
    page = eye.page
    OUTPUT.mkdir(exist_ok=True)
    for screen, seen in (("batch", "passed at first"), (f"units/{SERIAL}", "reads 10 % less than then")):
        page.evaluate("where => { location.hash = where; }", f"#{screen}")
        page.get_by_text(seen).first.wait_for()
        for size, name in ((LAPTOP, "laptop"), (PHONE, "phone")):
            page.set_viewport_size(size)
            page.screenshot(path=OUTPUT / f"page-report-{screen[:5]}-{name}.png", full_page=True)
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (screen, name)
        page.set_viewport_size(LAPTOP)
        assert faults_of(page) == []
        high = page.evaluate("document.documentElement.scrollHeight")
        assert high < 3500
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        for picture in page.locator("details img").all():
            assert picture.evaluate(SEEN)
        _prints(page, screen)
    assert not eye.complaints


def _prints(page, screen):
    """On paper there is nothing to press: the screen's own words and tables, black on white."""
    page.emulate_media(media="print", color_scheme="dark")
    for gone in ("nav", "#sound", "button", "form", "input"):
        assert not any(one.is_visible() for one in page.locator(gone).all()), (screen, gone)
    assert page.evaluate(LOOKS) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    assert page.pdf().startswith(b"%PDF")
    page.emulate_media(media="screen", color_scheme="light")
