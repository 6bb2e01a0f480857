"""Every screen of the bench page, light and dark, large and small: accessible, within its width.

Pictures go to tests/output. What counts as accessible is axe-core's judgement (WCAG 2.2 A and AA rules).
"""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import expect

from acquire.study.record import read_study
from tests.browsers import (
    LAPTOP,
    PHONE,
    PagedBench,
    needs_chromium,
    opened,
    paged_bench,
    picture,
    until_served,
)
from tests.waiting import crowding, wait_until
from tests.whole_bench import SPEED, Typed, bench_file, free_port, journal_entries, lift, simulated

pytestmark = needs_chromium

SCREENS = ["now", "units", "units/P80-0004", "batch", "leads", "hands-off", "setup", "sheet", "senses"]
RULES = {
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    }
}

CHECKED = {
    "resistor": "CR-1",
    "certificate_ohm": 99.98,
    "certificate_expanded_ohm": 0.01,
    "readings": [
        {
            "utc_s": 1.7e9 + 86400 * day,
            "reading_ohm": 99.98 + 0.004 * (day * 7 % 5 - 2) + (0.05 if day == 9 else 0.0),
            "expanded_ohm": 0.012,
            "in_control": day != 9,
            "text": "beyond the upper limit" if day == 9 else "",
        }
        for day in range(12)
    ],
    "centre_ohm": 99.98,
    "lower_ohm": 99.955,
    "upper_ohm": 100.005,
}
"""An answer as the daemon gives it after twelve days with a check standard (invented)."""


CONTRAST = {"runOnly": ["color-contrast"]}
"""All that can differ between light and dark."""

FITS = """document.documentElement.scrollHeight - ["lost", "question", "warnings", "told"].reduce(
    (sum, id) => sum + document.getElementById(id).offsetHeight, 0) <= innerHeight + 1"""
"""The bench screen is no higher than the window; a warning, as of a busy machine, stands above it."""


def faults_of(page, rules=RULES):
    """What axe-core finds, a line each; it is loaded once a document, and only what is wrong comes back."""
    if not page.evaluate("Boolean(window.axe)"):
        page.evaluate(AXE_SCRIPT)
    found = page.evaluate(
        "(rules) => axe.run(document, { ...rules, resultTypes: ['violations'] })"
        ".then((results) => results.violations)",
        rules,
    )
    return [
        f"{fault['id']}: {node['html'][:160]} ({node['failureSummary'][:200]})"
        for fault in found
        for node in fault["nodes"]
    ]


def go(eye, bench, screen):
    """Open a screen and wait until it has what it asked for."""
    eye.page.goto(f"{bench.url}#{screen}")
    expect(eye.page.locator("main h1")).to_be_attached()
    eye.page.locator("main", has_text="Looking it up").wait_for(state="hidden")


def typed_results(bench, number):
    """So many of the record, which the page need not have waited for."""
    wait_until(lambda: len(journal_entries(bench.file.parent, "typed_result")) >= number)
    return [entry.payload for entry in journal_entries(bench.file.parent, "typed_result")]


def test_every_screen_is_accessible_and_fits_light_and_dark_large_and_small(tmp_path, browser):
    """Through a day: a temperature is typed, a batch begun, a connector turned; axe sees it all."""
    silent = 'source = "meter"\ndriver = "lines"\nlink = "tcp:127.0.0.1:9"'
    with paged_bench(tmp_path, changes=(('source = "typed"\nvalue = "22.5 °C"', silent),)) as bench:
        eye = opened(browser, bench.url)
        _a_temperature_is_typed_and_a_batch_begun_and_paused(bench, eye)
        _an_idle_page_costs_next_to_nothing(eye)
        _the_connector_turns(eye)
        bench.sim.type("unit shorted fast charge 0.16")
        eye.start("P80-0004")
        _a_hands_off_test_needs_a_held_confirmation(bench, eye)
        eye.page.goto(f"{bench.url}#now")
        bench.zero(eye)
        bench.measure(eye, ("1", "2"))
        bench.touch("2", "3")
        eye.state("not_yet", "2–3")
        _axe_finds_nothing_and_nothing_is_too_wide(bench, eye)
        go(eye, bench, "now")
        for size in (LAPTOP, {"width": 1920, "height": 1080}, {"width": 2560, "height": 1440}):
            eye.page.set_viewport_size(size)
            wait_until(
                lambda: eye.page.evaluate(FITS),
                why=lambda: f"higher than {size}: {eye.page.locator('main').inner_text()}",  # noqa: B023  (asked at once)
            )
            high_px = eye.page.locator(".now-big .value svg").first.bounding_box()["height"]
            assert high_px >= 0.23 * size["height"]  # larger screens are read from farther away
            picture(eye.page, f"page-now-{size['width']}")
        assert not eye.complaints


def _axe_finds_nothing_and_nothing_is_too_wide(bench, eye):
    """Every rule in light, contrast in dark as well; the report of the batch is asked for once."""
    page, answered, faults = eye.page, {}, {}

    def once(route):
        answered.setdefault("batch", route.fetch() if not answered else None)
        route.fulfill(response=answered["batch"])

    page.route("**/check", lambda route: route.fulfill(json=CHECKED))
    page.route("**/batch", once)
    for scheme, rules in (("light", RULES), ("dark", CONTRAST)):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        for screen in SCREENS:
            go(eye, bench, screen)
            faults |= {f"{screen} {scheme}": found for found in [faults_of(page, rules)] if found}
            for size, name in ((LAPTOP, "laptop"), (PHONE, "phone")):
                page.set_viewport_size(size)
                picture(page, f"page-{screen.replace('/', '-')}-{scheme}-{name}")
                fits = page.evaluate("document.documentElement.scrollWidth <= innerWidth")
                assert fits, (screen, scheme, name)
            page.set_viewport_size(LAPTOP)
    assert not faults


def _the_connector_turns(eye):
    """From the wire side left and right change places; turned, the latch goes along; mirrored is said."""

    def place(pin):
        box = eye.page.locator(f'.plug [data-pin="{pin}"] rect').first.bounding_box()
        return box["x"], box["y"]

    seen = eye.page.locator(".seen")
    expect(seen).to_have_text("mating side, latch top")
    assert place("1")[0] < place("2")[0] < place("3")[0]
    assert place("1")[1] < place("4")[1]
    eye.page.get_by_role("button", name="Wire side").click()
    expect(seen).to_have_text("wire side, latch top")
    assert place("1")[0] > place("2")[0] > place("3")[0]
    eye.page.get_by_role("button", name="Turn").click()
    expect(seen).to_have_text("wire side, latch right")
    assert place("1")[1] > place("3")[1]
    eye.page.reload()
    expect(seen).to_have_text("wire side, latch right")  # kept for this sheet
    eye.page.get_by_role("button", name="Mirror").click()
    expect(seen).to_contain_text("MIRRORED")


def _a_hands_off_test_needs_a_held_confirmation(bench, eye):
    """A short press starts nothing; two seconds do; the clocks run; what is typed is on the record."""
    eye.page.goto(f"{bench.url}#hands-off")
    for word in ("hands off", "Discharge", "disconnect"):
        expect(eye.page.locator(".cautions")).to_contain_text(word, ignore_case=True)
    eye.page.get_by_role("button", name="Test this").first.click()
    hold = eye.page.locator("button.hold")
    hold.hover()
    eye.page.mouse.down()
    eye.page.wait_for_timeout(600)
    eye.page.mouse.up()
    expect(hold).to_contain_text("hold for 2 s")
    hold.focus()
    eye.page.keyboard.down("Space")
    expect(eye.page.locator(".count")).to_have_text(re.compile(r"^0:[0-5]\d$"))
    eye.page.keyboard.up("Space")
    eye.page.goto(f"{bench.url}#now")
    eye.page.goto(f"{bench.url}#hands-off")  # looked elsewhere: the clock went on
    expect(eye.page.locator(".count")).to_have_text(re.compile(r"^0:[0-5]\d$"))
    assert faults_of(eye.page) == []
    eye.page.get_by_role("button", name="The voltage is off").click()
    expect(eye.page.locator(".verdict-line")).to_contain_text("do not touch")
    eye.page.get_by_label("Reading", exact=True).fill("220")
    eye.page.get_by_label("more than").check()
    eye.page.get_by_label("Winding temperature").fill("21")
    eye.page.get_by_label("Instrument", exact=True).fill("IR-2")
    eye.page.get_by_role("button", name="Put it on the record").click()
    said = eye.page.locator("form [role=alert]")
    expect(said).to_contain_text("could not be judged, so P80-0004 cannot pass until it is measured or typed")
    expect(said).to_contain_text("add it, such as accuracy 5 %")
    eye.page.get_by_label("accuracy").fill("5")
    eye.page.get_by_role("button", name="Put it on the record").click()
    expect(eye.page.get_by_label("Reading", exact=True)).to_be_hidden()
    expect(eye.page.locator(".count")).to_have_text(re.compile(r"^[34]:\d\d$"))
    [doubtful, result] = typed_results(bench, 2)
    assert doubtful["outcome"] == "cannot_judge"
    assert (result["value_si"], result["unit"], result["at_least"]) == (220e6, "ohm", True)
    assert (result["test_volt"], result["instrument"], result["outcome"]) == (500.0, "IR-2", "pass")


def _a_temperature_is_typed_and_a_batch_begun_and_paused(bench, eye):
    """The record has it; what was wanted is gone from the warnings; a name is only ever text."""
    page = eye.page
    page.get_by_label("Temperature of the room").fill("21,5")
    page.get_by_role("button", name="Use it").click()
    expect(page.locator('[data-code^="temperature."]')).to_have_count(0)
    page.goto(f"{bench.url}#batch")
    page.get_by_label("Name").fill("Autumn <b>1</b>")
    page.get_by_label("Units expected").fill("40")
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("heading", name="Autumn <b>1</b>: running")).to_be_visible()
    page.goto(f"{bench.url}#now")
    expect(page.locator(".batch-line")).to_contain_text("0 of 40 measured")
    page.goto(f"{bench.url}#batch")
    page.get_by_role("button", name="Pause it").click()
    page.get_by_role("button", name="Continue it").click()
    expect(page.get_by_role("button", name="Pause it")).to_be_visible()
    page.goto(f"{bench.url}#now")
    eye.state("waiting")
    told = [each.payload for each in journal_entries(bench.file.parent, "batch")]
    assert {(each["batch"], each["expected"]) for each in told} == {("Autumn <b>1</b>", 40)}


def test_sheet_study_and_bench_are_made_in_the_browser_without_a_terminal(tmp_path, browser):
    """A sheet from a shipped one, a study run and reported, then meter, file, start and a first verdict."""
    meter_port, port = free_port(), free_port()
    url = f"http://127.0.0.1:{port}/"
    leads = '[leads]\nzero = "value"\nvalue = "0.13 ohm"\nuncertainty = "0.02 ohm"\n\n[journal]'
    bench_file(tmp_path, meter=f"tcp:127.0.0.1:{meter_port}", changes=[("[journal]", leads)])
    (tmp_path / "bench.toml").rename(tmp_path / "first.toml")
    setup = Typed("-m", "tests.hurried", str(SPEED), "setup", "--folder", str(tmp_path), "--port", str(port))
    try:
        with simulated(meter_port, speed=16.0) as sim:
            until_served(url)
            eye = opened(browser, url)
            expect(eye.page.locator("h1")).to_have_text("Setup")
            _a_sheet_is_made_from_a_shipped_one(eye, tmp_path)
            _a_study_is_run_and_reported(PagedBench(sim, tmp_path, url), eye)
            eye.page.goto(f"{url}#setup")
            eye.page.get_by_label("On the network").fill(f"127.0.0.1:{meter_port}")
            eye.page.get_by_role("button", name="Look for meters").click()
            eye.page.get_by_role("button", name="Use this").click()
            expect(eye.page.locator(".try")).to_be_visible()
            picture(eye.page, "page-setup-light-making")
            assert faults_of(eye.page) == []
            eye.page.get_by_label("Sheet").select_option(label="Mine 80")
            eye.page.get_by_role("button", name="Write the file and start").click()
            expect(eye.page.locator("h1")).to_have_text("Bench")
            expect(eye.page.locator("#bench-more")).to_contain_text("Mine 80")
            eye.start("P80-0001")
            eye.state("touch", "hold tips together")
            sim.type("short")
            eye.state("touch", "lift")
            lift(sim)
            eye.state("touch", "slow charge")
            sim.type("1 2")
            eye.state("pass", "1–2")  # on the defaults: the accuracy that fits the meter was proposed
            assert not eye.complaints
    finally:
        code, output = setup.end() if setup.process.poll() is None else (setup.process.returncode, "")
        setup.close()
    assert code == 0, output
    assert (tmp_path / "bench.toml").exists()


def _a_sheet_is_made_from_a_shipped_one(eye, folder):
    """No text editor: another name, a tolerance, saved; the shipped one stays as it is."""
    page = eye.page
    page.get_by_role("link", name="Edit a sheet, or make one from another").click()
    page.get_by_label("Sheet", exact=True).select_option(label="Plover 80 (example)")
    name = page.get_by_label("name", exact=True)
    expect(name).to_have_value("Plover 80")
    name.fill("Mine 80")
    page.get_by_label("acceptance, winding 1").fill("9 %")
    page.get_by_label("Save as").fill("mine")
    page.get_by_role("button", name="Save the sheet").click()
    expect(page.locator(".card [role=status]")).to_contain_text("mine.toml is written")
    picture(page, "page-sheet-made")
    assert 'acceptance = "9 %"' in (folder / "mine.toml").read_text(encoding="utf-8")


def _a_study_is_run_and_reported(bench, eye):
    """Two units, one pair of hands, two rounds: the bench screen says what to do and shows no value."""
    page, record = eye.page, bench.file / "study-1.jsonl"
    page.goto(f"{bench.url}#study")
    page.get_by_label("Bench and step").select_option(label="bench-1: slow charge")
    for label, words in (("Units", "2"), ("Who measures", "ann"), ("Rounds", "2")):
        page.get_by_label(label).fill(words)
    picture(page, "page-study-form")
    page.get_by_role("button", name="Begin or continue").click()
    expect(page.locator("h1")).to_have_text("Bench")
    expect(page.get_by_label("Serial of the next unit")).to_have_count(0)
    for turn in range(4):
        if turn % 2 == 0:
            expect(page.locator("main")).to_contain_text(f"Round {1 + turn // 2}: ann takes the probes")
            page.get_by_role("button", name="I have the probes").click()
        expect(page.locator("main")).to_contain_text(re.compile(r"ann: part \w+, touch 1–2"))
        picture(page, f"page-study-{turn}")
        bench.touch("1", "2")
        wait_until(lambda done=turn + 1: len(read_study(record).taken) == done)
        expect(page.locator(".now-big .value")).to_have_count(0)
        lift(bench.sim)
    expect(page.locator("h1")).to_have_text("Setup")
    page.goto(f"{bench.url}#study")
    page.get_by_role("link", name="study-1.jsonl").click()
    expect(page.locator("main")).to_contain_text("repeatability", ignore_case=True)
    picture(page, "page-study-report")


@pytest.mark.long
def test_a_meter_without_a_cable_is_set_up_and_its_readings_typed_on_the_page(tmp_path, browser):
    """From nothing to a first verdict on the defaults; the field keeps the focus between readings."""
    port = free_port()
    url = f"http://127.0.0.1:{port}/"
    setup = Typed("-m", "acquire", "setup", "--folder", str(tmp_path), "--port", str(port))
    try:
        until_served(url)
        eye = opened(browser, url)
        eye.page.get_by_role("button", name="It has no cable").click()
        eye.page.get_by_role("button", name="Write the file and start").click()
        expect(eye.page.locator("h1")).to_have_text("Bench")
        eye.start("P80-0001")
        field = eye.page.get_by_label("What the meter shows")
        for typed in ("0.2", "243"):
            expect(field).to_be_focused()
            eye.page.keyboard.type(typed)
            eye.page.keyboard.press("Enter")
            expect(field).to_have_value("")
            picture(eye.page, f"page-typed-{typed}")
        eye.state("pass", "1–2")
        assert not eye.complaints
    finally:
        if setup.process.poll() is None:
            setup.end()
        setup.close()


def _an_idle_page_costs_next_to_nothing(eye):
    """Hardly anything runs while nothing changes (Chromium's own count of busy seconds)."""
    cdp = eye.page.context.new_cdp_session(eye.page)
    cdp.send("Performance.enable")

    def busy():
        found = {each["name"]: each["value"] for each in cdp.send("Performance.getMetrics")["metrics"]}
        return found["TaskDuration"], found["LayoutCount"], found["RecalcStyleCount"]

    eye.page.wait_for_timeout(500)
    before = busy()
    eye.page.wait_for_timeout(3000)
    after = busy()
    assert after[0] - before[0] < 0.06 * crowding()  # 2 % of one processor, on a machine that others use too
    assert after[1] - before[1] <= 3
