"""Keys, pedal and scanner at the bench page, before the real daemon: each counts once, and typing stays typing."""

from __future__ import annotations

import json

from playwright.sync_api import expect

from tests.browsers import chromium, needs_chromium, opened, paged_bench

pytestmark = needs_chromium


def orders_of(eye):
    """What the page orders from now on, as it is sent."""
    sent = []
    eye.page.on("request", lambda r: sent.append(json.loads(r.post_data)) if r.url.endswith("/orders") else None)
    return sent


def scan(eye, code):
    """A scanner types faster than anybody and ends with Enter."""
    eye.page.keyboard.type(f"{code}\n")


def test_a_scanner_starts_units_asks_about_strange_codes_and_never_takes_typing_away(tmp_path):
    """Known shape: at once. Unknown: a question, answered by scanning again. In a field: plain typing."""
    with paged_bench(tmp_path) as bench, chromium() as browser:
        eye = opened(browser, bench.url)
        sent = orders_of(eye)
        ask = eye.page.locator("#ask")

        scan(eye, "P80-0001")  # the first of all: every code may be a serial yet
        expect(eye.page.locator(".tag-serial")).to_have_text("P80-0001")
        expect(ask).to_be_hidden()
        assert [(o["command"], o.get("serial")) for o in sent] == [("start_unit", "P80-0001")]
        bench.zero(eye)

        scan(eye, "4006381333931")
        expect(ask).to_contain_text("4006381333931")
        eye.page.get_by_role("button", name="No, leave it").click()
        expect(ask).to_be_hidden()
        assert len(sent) == 1
        scan(eye, "4006381333931")
        expect(ask).to_be_visible()
        scan(eye, "4006381333931")
        expect(eye.page.locator(".tag-serial")).to_have_text("4006381333931")
        scan(eye, "P80-0002")
        expect(eye.page.locator(".tag-serial")).to_have_text("P80-0002")
        assert [order["serial"] for order in sent] == ["P80-0001", "4006381333931", "P80-0002"]

        eye.page.goto(f"{bench.url}#history")
        field = eye.page.get_by_label("Serial")
        field.fill("")
        field.focus()
        scan(eye, "P80-0009")
        expect(field).to_have_value("P80-0009")
        expect(eye.page.locator("h1")).to_have_text("Then and now")
        assert len(sent) == 3
        assert not eye.complaints


def test_keys_and_a_learnt_pedal_count_once_however_long_they_are_held(tmp_path):
    """Enter says that the probes are on; a pedal is learnt by pressing it; a field keeps its Enter."""
    with paged_bench(tmp_path) as bench, chromium() as browser:
        eye = opened(browser, bench.url)
        eye.start("P80-0001")
        bench.zero(eye)
        sent = orders_of(eye)

        def commands(expected):
            eye.page.wait_for_timeout(250)
            assert [order["command"] for order in sent] == expected

        eye.page.locator("main").focus()
        for _ in range(5):  # held: the same key goes down again and again, and up once
            eye.page.keyboard.down("Enter")
        eye.page.keyboard.up("Enter")
        commands(["confirm_open"])

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

        scan(eye, "bb-17")  # begins with the pedal's own letter: a code all the same
        expect(eye.page.locator("#ask")).to_be_visible()
        eye.page.keyboard.press("Escape")
        expect(eye.page.locator("#ask")).to_be_hidden()
        eye.page.goto(f"{bench.url}#unit")
        eye.page.get_by_label("Serial").focus()
        eye.page.keyboard.press("b")
        eye.page.wait_for_timeout(200)
        commands(["confirm_open", "measure_again"])
        assert not eye.complaints


def test_sound_waits_for_one_click_and_says_so_and_silence_is_kept(tmp_path):
    """Before a click: words and no tone. After it: tones. Switched off: none, also after the page is loaded anew."""
    with paged_bench(tmp_path) as bench, chromium() as browser:
        eye = opened(browser, bench.url, voice=False, click=False)
        note = eye.page.locator("#sound-note")
        expect(note).to_have_text("Sound needs one click or key")
        bench.daemon.type("P80-0001")
        expect(eye.state("touch")).to_contain_text("hold tips together")
        bench.touch("1", "2")
        bench.lift(eye)
        assert eye.sounds() == []
        eye.page.locator("main").click(position={"x": 5, "y": 5})
        expect(note).to_be_empty()
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
        assert not eye.complaints


def test_every_sound_differs_from_every_other_in_rhythm_and_in_pitch(tmp_path):
    """Whoever hears only the beat, or only the tune, still knows which it is."""
    with paged_bench(tmp_path) as bench, chromium() as browser:
        eye = opened(browser, bench.url)
        sounds = eye.page.evaluate(
            "import('/static/sounds.js').then((m) => Object.fromEntries(Object.entries(m.SOUNDS).map(([n, s]) => [n, s.notes])))"
        )
    assert set(sounds) >= {"contact", "pass", "conditional", "fail", "wrong_pair", "attention"}
    rhythms = {name: tuple((round(at, 2), round(long, 2)) for _, at, long in notes) for name, notes in sounds.items()}
    tunes = {name: tuple(hertz for hertz, _, _ in notes) for name, notes in sounds.items()}
    assert len(set(rhythms.values())) == len(sounds)
    assert len({(tune[0], tune[-1]) for tune in tunes.values()}) == len(sounds)
    for name, notes in sounds.items():
        others = [other for other in sounds if other != name and len(sounds[other]) == len(notes)]
        for other in others:
            longest = max(abs(a[2] - b[2]) + abs(a[1] - b[1]) for a, b in zip(notes, sounds[other], strict=True))
            assert longest >= 0.1, f"{name} and {other} have nearly the same beat"
