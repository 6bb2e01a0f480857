"""The bench page in a browser, of the real daemon on the simulated bench: what a person sees and hears."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import re
import zlib

import pytest
from playwright.sync_api import expect

from tests.browsers import another, needs_chromium, opened, paged_bench, picture, until_served
from tests.waiting import wait_until
from tests.whole_bench import SPEED, journal_entries, running

pytestmark = needs_chromium

MILLIMETRE_PX = 1366 / 310
"""Of a 14-inch screen of 16:9 with 1366 pixels across: 310 mm wide (geometry)."""


def test_a_wrong_pin_and_a_failing_unit_are_seen_and_heard_and_no_serial_does_harm(tmp_path, browser):
    """Lead zero, a wrong pair named without a verdict, passes, a fail asked for once more, the diagnosis."""
    with paged_bench(tmp_path, steps=(0, 1, 3, 4)) as bench:
        eye = opened(browser, bench.url)
        bench.sim.type("unit shorted trigger 0.13")
        eye.start("P80-0004")
        expect(eye.state("touch")).to_contain_text("hold tips together")
        bench.zero(eye)
        eye.state("touch", "slow charge")
        assert _asked(eye) == ["1", "2"]
        assert eye.sounds() == ["contact", "done"]
        assert eye.said() == ["Hold the probes together.", "Leads zeroed.", "1 and 2."]

        bench.touch("2", "3")
        eye.state("other_pair", "wrong pair")
        assert "2–3" in eye.page.locator(".hint").inner_text()
        assert eye.sounds() == ["contact", "wrong_pair"]
        assert "That reads like 2 and 3. Touch 1 and 2." in eye.said()
        expect(eye.page.locator('.step[data-outcome=""]')).to_have_count(4)
        bench.lift(eye)
        eye.state("touch", "slow charge")

        _first_verdict(bench, eye)
        bench.measure(eye, ("2", "3"))
        bench.touch("4", "6")
        eye.state("not_yet", "not passed yet")
        expect(eye.page.locator(".next-touch")).to_contain_text("again")
        assert eye.sounds() == ["contact", "pass", "contact", "not_yet"]
        assert "Not passed." in eye.said()
        bench.lift(eye)
        bench.touch("4", "6")
        eye.state("fail", "4–6")
        assert eye.sounds() == ["contact", "fail"]
        _lingers(eye, "fail", "4–6", 1.7 / SPEED)  # although the next step is set for four wires
        bench.lift(eye)
        bench.touch("5", "6")
        eye.state("pass", "5–6")
        assert eye.sounds() == ["contact", "pass"]
        _lingers(eye, "pass", "5–6", 0.1)
        bench.lift(eye)
        expect(eye.page.locator(".step-asked")).to_contain_text("warm check")
        bench.touch(*_asked(eye))  # which pair is repeated follows from how its readings came
        eye.state("fail", "unit")
        assert eye.sounds()[-1] == "unit_fail"
        expect(eye.page.locator(".diagnosis")).to_contain_text("of the trigger are shorted")
        assert eye.page.locator(".step").evaluate_all("all => all.map(s => s.dataset.outcome)") == [
            "pass",
            "pass",
            "fail",
            "pass",
            "pass",
        ]
        eye.page.get_by_role("link", name="All of this unit").click()
        expect(eye.page.locator(".explained li").first).to_contain_text("shorted")
        _remarks_papers_photo_and_search(bench, eye)
        _settings_of_a_bench_at_work(bench, eye)
        _hostile_serials_are_only_ever_text(bench, eye)
        assert not eye.complaints
    verdicts = [e.payload for e in journal_entries(tmp_path, "verdict")]
    assert [v["outcome"] for v in verdicts if not v["revision"]].count("fail") == 2


def _asked(eye):
    """The pins that the connector's face asks for."""
    return eye.page.locator(".face .asked").evaluate_all("all => all.map(p => p.dataset.pin)")


def _lingers(eye, outcome, pair, for_s):
    """Hands that stay on the pair: the verdict stays, no hint that was not there, no warning, no sound."""
    said = eye.page.locator(".hint, .warning")
    at_once = said.all_inner_texts()
    eye.page.wait_for_timeout(1000 * for_s)
    eye.state(outcome, pair)
    assert said.all_inner_texts() == at_once == at_once[: outcome != "pass"]
    assert eye.sounds() == []


def _first_verdict(bench, eye):
    """The value is the journal's, 40 mm high, between its limits, and said."""
    bench.touch("1", "2")
    eye.state("pass", "1–2")
    sign, value, scale = (
        eye.page.locator(each).first for each in (".band .sign", ".now-big .value svg", ".scale")
    )
    assert sign.get_attribute("data-sign") == "pass"
    assert value.bounding_box()["height"] >= 40 * MILLIMETRE_PX
    shown = float(eye.value().split()[0])
    assert "lower limit" in scale.get_attribute("aria-label")
    assert eye.sounds() == ["contact", "pass"]
    assert eye.said()[0] == "Pass."
    _lingers(eye, "pass", "1–2", 0.5 / SPEED)
    expect(eye.page.locator(".next-touch")).to_contain_text("fast charge")
    [verdict, *_] = wait_until(lambda: journal_entries(bench.file.parent, "verdict"))
    assert shown == pytest.approx(verdict.payload["reference_ohm"], rel=1e-3)
    bench.lift(eye)


@pytest.mark.long
def test_a_warm_unit_is_held_with_a_countdown(tmp_path, browser):
    """All alike too high: an hourglass and the word, how long to wait, and the sound that asks for a look."""
    with paged_bench(tmp_path, speed=4.0, pace=1.0, steps=(0, 1)) as bench:
        eye = opened(browser, bench.url)
        bench.sim.type("unit warm 35")
        eye.start("P80-0005")
        bench.zero(eye)
        for done in range(20):
            eye.page.wait_for_selector(".face .asked, .ended")
            pair = eye.page.locator(".face .asked").evaluate_all("all => all.map(p => p.dataset.pin)")
            if not pair:
                break
            bench.touch(*pair)
            wait_until(lambda done=done: len(journal_entries(tmp_path, "verdict")) > done)
            bench.lift(eye)
        assert eye.state("held").locator(".sign").get_attribute("data-sign") == "held"
        left = eye.page.locator('.warning[data-code="part.warm"] [role="timer"]')
        expect(left).to_have_text(re.compile(r"^(\d+:)?\d+:\d\d left$"))
        before = left.inner_text()
        expect(left).not_to_have_text(before)  # it runs down
        assert eye.sounds()[-1] == "attention"
        assert "Unit held." in eye.said()
        assert not eye.complaints


def test_reload_kill_and_restart_recover_by_themselves_on_two_pages(tmp_path, browser):
    """Two pages agree; one is loaded anew; daemon, then meter, are killed: nothing looks live that is not."""
    with paged_bench(tmp_path) as bench:
        eye = opened(browser, bench.url)
        second = another(eye.page.context, bench.url)
        _a_page_that_nobody_sees_rests(bench, eye)
        eye.start("P80-0001")
        bench.zero(eye)
        bench.touch("1", "2")
        for page in (eye, second):
            page.state("pass", "1–2")
        assert eye.value() == second.value()
        assert sorted([eye.sounds(), second.sounds()]) == [
            [],
            ["contact", "done", "contact", "pass"],
        ]  # one voice

        eye.page.reload()
        eye.state("pass", "1–2")
        expect(eye.page.locator(".tag-serial")).to_have_text("P80-0001")

        bench.daemon.process.kill()
        for page in (eye, second):
            expect(page.page.locator("#lost")).to_contain_text("Nothing on this page is live")
            page.state("lost", "not live")
            expect(page.page.locator(".now-big .stale.value")).to_be_visible()
            assert page.value().endswith("not live")
        bench.sim.type("lift")
        with running(bench.file):
            until_served(bench.url)
            for page in (eye, second):
                expect(page.page.locator("#told")).to_contain_text("has restarted")
                expect(page.page.locator("#lost")).to_be_empty()
                page.state("touch", "fast charge")
                expect(page.page.locator('.step[data-outcome="pass"]')).to_have_count(1)
            _a_lost_meter_is_said(bench, eye)
        assert not [*eye.complaints, *second.complaints]


def _a_page_that_nobody_sees_rests(bench, eye):
    """Without a stream after a minute, and with one again as soon as it is seen: a browser has six in all."""
    hidden = another(eye.page.context, bench.url, click=False, clock=True)
    hide = "(now) => { Object.defineProperty(document, 'hidden', { value: now, configurable: true });"
    hide += " document.dispatchEvent(new Event('visibilitychange')); }"
    expect(hidden.page.locator(".now-plug .face")).to_be_visible()
    hidden.page.evaluate(hide, True)
    hidden.page.clock.fast_forward(59_000)
    expect(hidden.page.locator("#lost")).to_be_empty()
    hidden.page.clock.fast_forward(2_000)
    expect(hidden.page.locator("#lost")).to_contain_text("paused")
    hidden.page.evaluate(hide, False)
    expect(hidden.page.locator("#lost")).to_be_empty()
    assert not hidden.complaints
    hidden.page.close()


def _a_lost_meter_is_said(bench, eye):
    """The link of the meter, not that of the page: the word, and the last value struck out."""
    bench.touch("2", "3")
    eye.state("pass", "2–3")
    bench.sim.process.kill()
    eye.state("lost", "no meter")
    expect(eye.page.locator(".severity-warning, .severity-stop").first).to_be_visible()
    expect(eye.page.locator(".now-big .stale.value")).to_be_visible()


def pages_of(pdf):
    """How many pages a PDF has, whether its objects lie packed or open (ISO 32000-1, 7.5.7 and 7.7.3.3)."""
    parts = [pdf]
    for packed in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        with contextlib.suppress(zlib.error):
            parts.append(zlib.decompress(packed))
    return sum(len(re.findall(rb"/Type\s*/Page\b", part)) for part in parts)


PICTURE = (
    "iVBORw0KGgoAAAANSUhEUgAAAAIAAAACCAIAAAD91JpzAAAAE0lEQVR4nGM4YCAARAwCBgeACAAcDgQBaf14vwAAAABJRU5ErkJggg=="
)
"""A PNG of four pixels, made for this test."""


def _remarks_papers_photo_and_search(bench, eye):
    """A certificate opens, a photo is a file with its hash on the record, the unit is found by part."""
    for kind in ("certificate", "label"):
        with eye.page.context.expect_event("request", lambda asked: "/paper?" in asked.url) as shown:
            eye.page.get_by_role("button", name=f"Issue a {kind}").click()
        paper = eye.page.request.get(shown.value.url)
        assert paper.headers["content-type"] == "application/pdf"
        assert paper.body().startswith(b"%PDF")
        assert pages_of(paper.body()) == {"certificate": 2, "label": 1}[kind]
    file = {"name": "unit.png", "mimeType": "image/png", "buffer": base64.b64decode(PICTURE)}
    eye.page.get_by_label("Photo of the unit").set_input_files(file)
    shown = eye.page.locator("img.photo")
    expect(shown).to_be_visible()
    assert shown.evaluate("async (image) => { await image.decode(); return image.naturalWidth; }") == 2
    [noted] = [
        e.payload for e in journal_entries(bench.file.parent, "notice") if e.payload["code"] == "photo.kept"
    ]
    kept = next(bench.file.parent.rglob(f"photos/{noted['facts']['sha256']}.jpg"))
    assert hashlib.sha256(kept.read_bytes()).hexdigest() == noted["facts"]["sha256"]
    eye.page.get_by_role("link", name="All units").click()
    eye.page.get_by_label("Serial", exact=True).fill("nowhere")
    expect(eye.page.locator("main")).to_contain_text("There is no unit with such a result")
    eye.page.get_by_label("Serial", exact=True).fill("-0004")
    expect(eye.page.locator("tbody tr")).to_have_count(1)
    expect(eye.page.locator("tbody")).to_contain_text("not tested")


def _settings_of_a_bench_at_work(bench, eye):
    """Chosen between units, said when it counts, and in force for the next unit; remarks in two taps."""
    eye.page.locator("#bench-more").click()
    eye.page.get_by_label("Operator").fill("Ida <i>")
    eye.page.get_by_label("What is measured here").select_option("incoming")
    eye.page.get_by_role("button", name="Change it").click()
    expect(eye.page.locator("form [role=status]")).to_contain_text("It counts from now on")
    expect(eye.page.locator("#bench-more")).to_contain_text("Ida <i>")
    _a_sheet_is_edited(bench, eye)
    eye.page.get_by_role("link", name="Bench", exact=True).click()
    eye.start("P80-0005")
    eye.page.locator("a.tag").click()
    eye.page.get_by_role("button", name="pin bent").click()
    expect(eye.page.locator("main")).to_contain_text("On the record: pin bent.")
    [started] = [
        e.payload
        for e in journal_entries(bench.file.parent, "unit_started")
        if e.payload["serial"] == "P80-0005"
    ]
    assert (started["operator"], started["purpose"]) == ("Ida <i>", "incoming")
    bench.daemon.type(".end made only for this test")
    eye.page.goto(f"{bench.url}#now")
    eye.page.locator(".band", has_text="ended early").wait_for()


def _a_sheet_is_edited(bench, eye):
    """A winding's ends tapped on the face, a tolerance typed, the limits of every pair seen, then written."""
    eye.page.get_by_role("link", name="Edit a sheet").click()
    pairs = eye.page.get_by_role("table", name="Pairs").locator("tbody tr")
    first = pairs.filter(has_text="1–2")
    before = first.inner_text()
    eye.page.get_by_label("acceptance, winding 1").fill("2 %")
    expect(first).not_to_have_text(before)
    ends = eye.page.get_by_label("between, winding 1")
    ends.fill("7, 2")
    said = eye.page.locator(".card [role=status]")
    expect(said).to_contain_text("That file cannot be used.")
    expect(said).to_contain_text("winding[1]")
    eye.page.locator('.sheet-face [data-pin="1"] text').click()
    expect(ends).to_have_value("1, 2")
    expect(said).to_be_empty()
    eye.page.get_by_label("Another key, winding").select_option("spread")
    eye.page.get_by_label("spread, winding 1").fill("1 %")
    eye.page.locator("summary", has_text="Straps").click()
    eye.page.get_by_label("upper, strap 1").fill("60 mohm")
    picture(eye.page, "page-sheet")
    eye.page.get_by_role("button", name="Save the sheet").click()
    expect(eye.page.locator(".card [role=status]")).to_contain_text("sheet.toml is written")
    text = (bench.file.parent / "sheet.toml").read_text(encoding="utf-8")
    assert 'acceptance = "2 %"' in text
    assert 'upper = "60 mohm"' in text
    assert text.startswith("# Plover 80")


HOSTILE = (
    "<img src=x onerror=document.title='caught'>",
    "</p><script>document.title='caught'</script>",
    "a" * 200,
    "../../#now%00\u0430\u0301 'x' {{7*7}}",
)


def _hostile_serials_are_only_ever_text(bench, eye):
    """Shown as they are on every screen that has them, within the screen's width; nothing becomes markup."""
    bench.sim.type("lift")
    eye.page.goto(f"{bench.url}#now")
    for serial in HOSTILE:
        eye.start(serial)
        eye.page.locator("a.tag").click()
        expect(eye.page.locator("h1")).to_have_text("Unit")
        expect(eye.page.locator(".verdict-line, .card[role=status]").first).to_be_visible()
        assert eye.page.title() == "Units: steadyohm"
        assert eye.page.locator("main img, main script, header img").count() == 0
        assert eye.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        bench.daemon.type(".end made only for this test")
        eye.page.goto(f"{bench.url}#now")
        eye.page.locator(".band", has_text="ended early").wait_for()
