"""Keys, pedal and scanner at the bench page: each counts once, typing stays typing. The daemon is real."""

from __future__ import annotations

import itertools
import json
import time
from dataclasses import replace

from playwright.sync_api import expect

from acquire.page.backend import About
from acquire.page.view import BenchView
from acquire.records import Ask, Code, Notice, Prompt, Purpose, Severity, UnitStarted
from acquire.steps.pairs import PairTable
from drivers.reading import Kind, Quantity, Reading
from tests.browsers import needs_chromium, opened, paged_bench
from tests.fed_page import fed, tell
from tests.known_records import RESULT
from tests.known_sheets import PLOVER
from tests.waiting import wait_until
from tests.whole_bench import journal_entries

pytestmark = needs_chromium


def orders_of(eye):
    """What the page orders from now on, as it is sent."""
    sent = []
    eye.page.on(
        "request", lambda r: sent.append(json.loads(r.post_data)) if r.url.endswith("/orders") else None
    )
    return sent


def scan(eye, code, apart_s=0.008, amid=None):
    """A scanner types faster than anybody and ends with Enter; each key has its own time, as of hardware.

    Typed through a busy machine instead, the keys would come at the pace of that machine. `amid` is what
    happens after its third sign.
    """
    cdp = eye.page.context.new_cdp_session(eye.page)
    at_s = time.time()
    for place, sign in enumerate((*code, "Enter")):
        if amid is not None and place == 3:
            amid()
        text = "\r" if sign == "Enter" else sign
        key = {"key": sign, "code": sign if sign == "Enter" else f"Key{sign.upper()}", "timestamp": at_s}
        cdp.send("Input.dispatchKeyEvent", {"type": "keyDown", "text": text, **key})
        cdp.send("Input.dispatchKeyEvent", {"type": "keyUp", **key})
        at_s += apart_s
    cdp.detach()


def test_a_scanner_keys_and_a_pedal_count_once_and_never_take_typing_away(tmp_path, browser):
    """A code of a known kind starts a unit, another one asks first; in a field it is typing."""
    with paged_bench(tmp_path) as bench:
        eye = opened(browser, bench.url)
        sent = orders_of(eye)
        ask = eye.page.locator("#question")

        expect(eye.page.locator("#serial")).to_be_visible()
        eye.page.locator("#serial").blur()
        scan(eye, "P80-0001", amid=eye.page.locator("#serial").focus)  # as a form that is drawn just then
        expect(eye.page.locator(".tag-serial")).to_have_text("P80-0001")
        expect(ask).to_be_empty()
        assert [(o["command"], o.get("serial")) for o in sent] == [("start_unit", "P80-0001")]
        bench.zero(eye)
        bench.measure(eye, ("1", "2"))
        _a_scan_during_a_unit_asks(eye, ask)
        assert [order["command"] for order in sent].count("start_unit") == 6
        _a_skip_giving_up_and_a_key_are_taken_back(bench, eye)
        sent.clear()

        eye.page.goto(f"{bench.url}#units")
        field = eye.page.get_by_label("Serial", exact=True)
        field.fill("")
        field.focus()
        scan(eye, "P80-0009")
        expect(field).to_have_value("P80-0009")
        expect(eye.page.locator("h1")).to_have_text("Units")
        assert not sent
        _keys_and_a_learnt_pedal(bench, eye)
        assert not eye.complaints


def _a_scan_during_a_unit_asks(eye, ask):
    """Go on, or start the other one: a button for each; the same scan again is a yes; undo takes it back."""
    tag, steps = eye.page.locator(".tag-serial"), eye.page.locator('.step[data-outcome="pass"]')
    scan(eye, "4006381333931")
    expect(ask).to_contain_text("P80-0001 is half measured (1 of 3 steps)")
    eye.page.get_by_role("button", name="Continue with P80-0001").click()
    expect(ask).to_be_empty()
    expect(tag).to_have_text("P80-0001")
    scan(eye, "4006381333931")
    expect(ask).to_contain_text("Scan 4006381333931 once more")
    eye.page.get_by_role("button", name="Start 4006381333931").click()
    expect(tag).to_have_text("4006381333931")
    expect(steps).to_have_count(0)
    eye.page.get_by_role("button", name="Undo").click()
    expect(tag).to_have_text("P80-0001")
    expect(steps).to_have_count(1)
    scan(eye, "P80-0002")
    expect(ask).to_be_visible()
    scan(eye, "P80-0002")
    expect(tag).to_have_text("P80-0002")


def _a_skip_giving_up_and_a_key_are_taken_back(bench, eye):
    """Each by the same button; the record keeps both."""
    page, tag = eye.page, eye.page.locator(".tag-serial")
    undo = page.get_by_role("button", name="Undo")
    for act, gone, back in (
        ("skip_step", page.locator(".step-left_out"), page.locator('.step[data-outcome=""]')),
        ("give_up_unit", page.locator(".band", has_text="ended early"), page.locator(".band-touch")),
    ):
        page.goto(f"{bench.url}#units/P80-0002")
        page.get_by_label("While it is on the bench").select_option(act)
        page.get_by_label("Reason or note").fill("a slip")
        page.get_by_role("button", name="Do it").click()
        page.goto(f"{bench.url}#now")
        expect(gone).to_have_count(1)
        undo.click()
        expect(gone).to_have_count(0)
        expect(back.first).to_be_visible()
        expect(tag).to_have_text("P80-0002")
    for band in ("not_yet", "fail"):  # each time that nothing was felt for 3 s
        page.get_by_role("button", name="Both probes are on it").click()
        eye.state(band, "1–2")
        expect(page.locator(".now-big")).to_contain_text("OPEN")
    first = page.locator(".step").first
    for left in ("once more", "to do"):  # the key that failed it, then the one before
        undo.click()
        expect(page.locator('.step[data-outcome="fail"]')).to_have_count(0)
        wait_until(lambda left=left: left in first.inner_text() or "now" in first.inner_text())
    eye.state("touch")
    codes = [each.payload["code"] for each in journal_entries(bench.file.parent, "notice")]
    assert {"step.skipped", "step.undone", "unit.reopened"} <= set(codes)


def _keys_and_a_learnt_pedal(bench, eye):
    """Each counts once however long it is held; learning orders nothing; a field keeps its keys."""
    eye.page.goto(f"{bench.url}#now")
    expect(eye.page.locator(".band")).to_be_visible()
    sent = orders_of(eye)

    def commands(expected):
        eye.page.wait_for_timeout(250)
        assert [order["command"] for order in sent] == expected

    expect(eye.page.get_by_role("button", name="Both probes are on it")).to_be_enabled()
    eye.page.locator("main").focus()
    for _ in range(5):  # held: the same key goes down again and again, and up once
        eye.page.keyboard.down("Enter")
    eye.page.keyboard.up("Enter")
    commands(["confirm_open"])
    eye.state("not_yet", "1–2")

    eye.page.goto(f"{bench.url}#senses")
    eye.page.get_by_role("button", name="Learn a key: Measure the last step again").click()
    eye.page.keyboard.press("b")
    expect(eye.page.locator('[data-act="measure_again"] kbd')).to_have_text("B")
    commands(["confirm_open"])  # learning orders nothing

    eye.page.goto(f"{bench.url}#now")
    expect(eye.page.locator(".band")).to_be_visible()
    eye.page.locator("main").focus()
    eye.page.keyboard.down("b")
    eye.page.keyboard.down("b")
    eye.page.wait_for_timeout(400)
    eye.page.keyboard.down("b")
    eye.page.keyboard.up("b")
    commands(["confirm_open", "measure_again"])

    for _ in range(2):  # the unit on the bench is half measured: asked about, and said again
        scan(eye, "bb-17")  # begins with the pedal's own letter: a code all the same
        wait_until(lambda: sent[-1].get("serial") == "bb-17")
        sent.pop()
    expect(eye.page.locator(".tag-serial")).to_have_text("bb-17")
    eye.page.goto(f"{bench.url}#units")
    eye.page.get_by_label("Serial", exact=True).focus()
    eye.page.keyboard.press("b")
    eye.page.wait_for_timeout(200)
    commands(["confirm_open", "measure_again"])


def test_a_serial_typed_slowly_stays_whatever_comes_meanwhile(browser):
    """The field has the focus at once, after a reload and after a unit; readings take nothing away."""
    view = BenchView(About("bench-1", Purpose.FINAL, "bench meter", "Ida", "steadyohm 1"))
    view.on(PairTable(PLOVER))
    view.show(Prompt(Ask.START_UNIT))
    view.take_changes()
    eye = fed(browser, view.state())
    field = eye.page.get_by_label("Serial of the next unit")
    expect(field).to_be_focused()
    for place, sign in enumerate("P80-17"):
        eye.page.keyboard.press(sign)
        eye.page.clock.fast_forward(900)  # slower than any scanner, slower than a reading
        value_si = 200.0 + place
        view.see(
            Reading("meter", Quantity.RESISTANCE, Kind.VALUE, value_si, place, place, place),
            Quantity.RESISTANCE,
        )
        view.show(Notice(Severity.WARNING, Code.METER_HOLD, float(place)))
        view.show(Prompt(Ask.START_UNIT))
        tell(eye, {"seq": place, **view.take_changes()})
    expect(field).to_have_value("P80-17")
    expect(field).to_be_focused()
    eye.page.keyboard.press("Enter")
    expect(field).not_to_be_focused()  # from here on keys and pedal belong to the bench
    assert [(order["command"], order["serial"]) for order in eye.ordered] == [("start_unit", "P80-17")]
    view.show(UnitStarted("bench-1", "P80-17", PLOVER.name, "h", Purpose.FINAL, "", "Ida", 9.0))
    tell(eye, {"seq": 7, **view.take_changes()})
    expect(field).to_have_count(0)
    view.show(replace(RESULT, serial="P80-17"))
    tell(eye, {"seq": 8, **view.take_changes()})
    expect(field).to_be_focused()
    eye.page.reload()
    eye.page.wait_for_function("() => Boolean(window.feed)")
    tell(eye, view.state(), "state")
    expect(field).to_be_focused()
    assert not eye.complaints


def test_sounds_wait_for_one_click_differ_from_each_other_and_stay_silent_when_told(tmp_path, browser):
    """Before a click: words, no tone. After it: tones. Switched off: none, also after a reload."""
    with paged_bench(tmp_path) as bench:
        eye = opened(browser, bench.url, voice=False, click=False)
        note = eye.page.locator("#sound")
        expect(note).to_have_text("Sound needs one click or key")
        bench.daemon.type("P80-0001")
        expect(eye.state("touch")).to_contain_text("hold tips together")
        bench.touch("1", "2")
        bench.lift(eye)
        assert eye.sounds() == []
        eye.page.locator("main").click(position={"x": 5, "y": 5})
        expect(note).to_have_text("Sound on, speech on")
        eye.page.wait_for_timeout(600)
        assert eye.sounds() == []  # what was due earlier is not played late
        bench.zero(eye)
        assert eye.sounds()[-1] == "done"

        eye.page.get_by_role("button", name="Sound on, speech on").click()
        eye.page.reload()
        expect(eye.page.get_by_role("button", name="Sound off")).to_be_visible()
        eye.page.mouse.click(683, 5)
        bench.touch("1", "2")
        eye.state("pass")
        assert eye.sounds() == []
        eye.page.goto(f"{bench.url}#senses")
        expect(eye.page.locator("main")).to_contain_text("This browser has no voices")
        _every_sound_differs(eye)
        assert not eye.complaints


def _every_sound_differs(eye):
    """Whoever hears only the beat, or only the tune, still knows which it is."""
    sounds = eye.page.evaluate(
        "import('/static/sounds.js')"
        ".then((m) => Object.fromEntries(Object.entries(m.SOUNDS).map(([n, s]) => [n, s.notes])))"
    )
    assert set(sounds) >= {"contact", "pass", "conditional", "fail", "wrong_pair", "attention"}
    tunes = {(notes[0][0], notes[-1][0]) for notes in sounds.values()}
    assert len(tunes) == len(sounds)
    for (name, notes), (other, others) in itertools.combinations(sounds.items(), 2):
        if len(notes) == len(others):
            pairs = list(zip(notes, others, strict=True))
            apart_s = max(abs(a[2] - b[2]) + abs(a[1] - b[1]) for a, b in pairs)
            assert apart_s >= 0.1, f"{name} and {other} have nearly the same beat"


def test_a_late_answer_is_not_drawn_on_the_screen_that_was_opened_since(browser):
    """Settings that come when somebody looks at a sheet already belong to no screen."""
    view = BenchView(About("bench-1", Purpose.FINAL, "meter", "", "steadyohm"))
    eye = fed(browser, {**view.state(), "mode": "bench"})
    late = []
    eye.page.route("**/settings", lambda route: late.append(route))  # noqa: PLW0108  (it is given names)
    eye.page.goto(f"{eye.page.url.partition('#')[0]}#setup")
    wait_until(lambda: eye.page.evaluate("1") and late)
    eye.page.goto(f"{eye.page.url.partition('#')[0]}#sheet")
    expect(eye.page.locator("main h1")).to_have_text("Sheet")
    with eye.page.expect_response("**/settings"):
        late[0].fulfill(json={"file": "bench.toml", "fields": []})
    eye.page.wait_for_timeout(200)
    expect(eye.page.locator("main")).not_to_contain_text("From the next unit on")
