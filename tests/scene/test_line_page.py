"""The page of all benches as a person sees it: real broker, real database, `steadyohm line`, Chromium."""

import asyncio
import contextlib
import random
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import aiomqtt
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from acquire.clock import RealClock
from acquire.files.shared import write_list
from acquire.line.incoming import read
from acquire.line.store import Store
from acquire.outlets.payload import as_json, payload_of
from acquire.outlets.topics import State, Status, Topics, live_payload
from acquire.records import Outcome, Severity
from acquire.sheets import load_sheet
from tests.brokers import Mosquitto, needs_mosquitto
from tests.browsers import LAPTOP, PHONE, needs_chromium, opened, picture, until_served
from tests.known_records import NOTICE, RESULT
from tests.postgres import database, needs_postgres  # noqa: F401  (a fixture)
from tests.unit.test_line_incoming import entry, message
from tests.waiting import PATIENCE_S, crowding
from tests.whole_bench import CONFIGS, free_port

pytestmark = [needs_mosquitto, needs_postgres, needs_chromium]
HOSTILE = '<img src=x onerror="document.title=1">'


@pytest.fixture
def mosquitto(tmp_path):
    """A broker on a free port."""
    with Mosquitto(tmp_path / "broker") as broker:
        yield broker


@contextlib.contextmanager
def paged(folder, broker_port, address, *, files=None):
    """`steadyohm line` as a process; gives its address."""
    port = free_port()
    shared = "" if files is None else f'files = "{files}"\n'
    (folder / "collector.toml").write_text(
        f'[collector]\nname = "c"\n[broker]\nhost = "127.0.0.1"\nport = {broker_port}\n'
        f'[database]\naddress = "{address}"\n[line]\nport = {port}\n{shared}'
    )
    with (folder / "page.log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "acquire", "line", str(folder / "collector.toml")], stdout=log, stderr=log,
            cwd=folder,
        )  # fmt: skip
    url = f"http://127.0.0.1:{port}/"
    try:
        until_served(url)
        yield url, process
    finally:
        process.kill()
        process.wait()


def said_of(name, state, *, sheet_hash, asked="touch", text="Touch 1–2 (slow charge).", ago_s=5.0):
    """Status and prompt of one bench."""
    files = {"sheet": "Plover 80", "sheet_hash": sheet_hash, "meter": "hand-2000", "meter_hash": "b" * 64}
    status = Status(name, state, "steadyohm test", "0" * 16, time.time() - ago_s, **files)
    yield "status", as_json(live_payload(status))
    if state is State.ONLINE:
        yield "prompt", as_json({"schema": 2, "bench": name, "ask": asked, "text": text})


async def publish(port, said):
    """Retained, as benches do."""
    async with aiomqtt.Client("127.0.0.1", port) as client:
        for topic, payload in said:
            await client.publish(topic, payload, qos=1, retain=not topic.endswith(("unit", "notice")))


def outside(work):
    """Run it in a loop of its own; Playwright keeps this thread's."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


def workshop(sheet_hash):
    """What 52 invented benches say: most work, a few are in trouble, two run an old sheet."""
    dice = random.Random(4)
    for number in range(1, 53):
        name = f"bench-{number:02d}"
        state, words = State.ONLINE, {}
        if number in (9, 30):
            state = State.LOST
        elif number in (17, 40, 41):
            state, words = State.STOPPED, {"ago_s": 7200.0}
        elif number in (5, 23):
            words = {"ago_s": 3000.0}
        elif number % 4 == 0:
            words = {"asked": "start_unit", "text": "Scan the next unit."}
        elif number % 7 == 0:
            words = {"text": "Touch 2–3 (fast charge): the last value reads like another pair."}
        digest = "e" * 64 if number in (12, 33) else sheet_hash
        for last, payload in said_of(name, state, sheet_hash=digest, **words):
            yield Topics(name).of(last), payload
        dice.random()


async def today(address):
    """Units of the last minutes in the database; gives how many of them are of today, also after midnight."""
    midnight_s = time.time() // 86400.0 * 86400.0
    dice, store = random.Random(8), await Store(address, RealClock()).open()
    rows, number, of_today = [], 0, 0
    for bench in range(1, 53):
        for unit in range(dice.randrange(3, 30)):
            number += 1
            outcome = Outcome.PASS if dice.random() < 0.93 else Outcome.FAIL
            silent = bench in (5, 23)
            made = replace(
                RESULT, bench=f"bench-{bench:02d}", serial=f"U-{number}", outcome=outcome, measured=outcome,
                utc_s=time.time() - (2000.0 if silent else 30.0) - unit,
            )  # fmt: skip
            rows.append(read(*message(made, number)))
            of_today += made.utc_s >= midnight_s
    await store.write(rows)
    assert await store.take_turn()
    await store.count_arrivals()
    await store.close()
    return of_today


def faults_of(page):
    """What axe-core finds."""
    results = Axe().run(
        page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]}
    )
    return [
        (fault["id"], node["html"][:120])
        for fault in results.response["violations"]
        for node in fault["nodes"]
    ]


def keep(page, name):
    """A picture for whoever wants to look."""
    picture(page, f"line-{name}")


def test_all_benches_are_seen_at_a_glance(tmp_path, mosquitto, database, browser):  # noqa: F811
    """Who works, who needs help, what today brought, who runs an old sheet; live, accessible, on a phone."""
    share = tmp_path / "share"
    share.mkdir()
    shutil.copy(CONFIGS / "sheets/plover-80.toml", share)
    write_list(share)
    sheet_hash = load_sheet(share / "plover-80.toml").content_hash
    judged = outside(today(database))
    outside(publish(mosquitto.port, workshop(sheet_hash)))
    with paged(tmp_path, mosquitto.port, database, files=share) as (url, process):
        eye = opened(browser, url)
        page = eye.page
        expect(page.locator(".card")).to_have_count(52)
        expect(page.locator("#today")).to_contain_text(f"{judged} units")
        expect(page.locator("#today")).to_contain_text("2 with old files")
        first = page.locator(".card h2").all_inner_texts()[:7]
        assert set(first[:2]) == {"bench-09", "bench-30"}
        assert set(first[2:4]) == {"bench-05", "bench-23"}
        assert set(first[4:7]) == {"bench-17", "bench-40", "bench-41"}
        assert page.locator(".card.is-lost .word").all_inner_texts() == ["connection lost"] * 2
        assert page.locator(".card .old").count() == 2
        keep(page, "laptop")
        page.emulate_media(color_scheme="dark")
        keep(page, "dark")
        assert faults_of(page) == []
        page.emulate_media(color_scheme="light")
        assert faults_of(page) == []

        stop = replace(
            NOTICE,
            severity=Severity.STOP,
            facts={"said": f"{HOSTILE} The meter fails its check."},
            utc_s=time.time(),
        )
        raw = as_json(payload_of(entry(stop)))
        outside(publish(mosquitto.port, [(Topics("bench-44").of("notice"), raw)]))
        card = page.locator(".card.is-halted")
        expect(card.locator("h2")).to_have_text("bench-44")
        expect(card.locator(".detail")).to_contain_text("The meter fails its check.")
        assert page.locator(".card").first.locator("h2").inner_text() == "bench-44"
        assert page.title() == "All benches"
        keep(page, "halted")
        page.set_viewport_size(PHONE)
        keep(page, "phone")
        wide = page.evaluate("document.documentElement.scrollWidth > innerWidth")
        page.set_viewport_size(LAPTOP)
        assert not wide
        assert eye.complaints == []
        began_s = time.monotonic()
        process.send_signal(signal.SIGTERM)
        assert process.wait(PATIENCE_S) == 0
        assert time.monotonic() - began_s < 2.0 * crowding()
        expect(page.locator("#troubles")).to_contain_text("lost its server")


def test_what_cannot_be_reached_is_said_and_the_rest_goes_on(tmp_path, mosquitto, browser):
    """Without database: benches live, their units not counted; then without broker."""
    said = list(workshop("a" * 64))[:6]
    outside(publish(mosquitto.port, said))
    with paged(tmp_path, mosquitto.port, "postgresql://nobody@127.0.0.1:1/line") as (url, _):
        page = opened(browser, url).page
        expect(page.locator("#troubles")).to_contain_text("Units of today are not counted")
        expect(page.locator(".card")).to_have_count(3)
        assert "nobody" not in page.locator("#troubles").inner_text()
        mosquitto.kill()
        expect(page.locator("#troubles")).to_contain_text("What is shown may be old")
        mosquitto.start()
        expect(page.locator("#troubles")).not_to_contain_text("may be old")


def test_the_page_is_guarded_like_the_bench_page(tmp_path, mosquitto):
    """Another site's name, another method, another path; the security fields on every answer."""
    with paged(tmp_path, mosquitto.port, "postgresql://nobody@127.0.0.1:1/line") as (url, _):
        with urllib.request.urlopen(url) as answer:  # noqa: S310  (ours)
            assert "default-src 'none'" in answer.headers["content-security-policy"]
        for change, status in (
            ({"headers": {"Host": "evil.example"}}, 421),
            ({"method": "POST", "data": b"{}"}, 403),
        ):
            with pytest.raises(urllib.error.HTTPError) as told:
                urllib.request.urlopen(urllib.request.Request(url, **change))  # noqa: S310  (ours)
            assert told.value.code == status
            told.value.close()
