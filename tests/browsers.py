"""A browser for tests of the bench page: Debian's Chromium, its ears and its voice written down.

Not a test itself. `make test` says so when there is no Chromium; the continuous integration installs it.
Nothing is ever downloaded.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import expect, sync_playwright

from tests.waiting import PATIENCE_S, wait_until
from tests.whole_bench import CONFIGS, SPEED, bench_file, free_port, running, simulated

CHROMIUM = shutil.which("chromium-headless-shell") or shutil.which("chromium")
"""The shell without windows where it is there: a page costs half as much in it."""

OUTPUT = Path(__file__).resolve().parent / "output"
"""Where screenshots go, where `STEADYOHM_PICTURES` asks for them; never committed."""

LAPTOP, PHONE = {"width": 1366, "height": 768}, {"width": 390, "height": 844}

needs_chromium = pytest.mark.skipif(
    CHROMIUM is None and not os.environ.get("STEADYOHM_REQUIRE_PEERS"),
    reason="chromium is not installed: the tests of the bench page in a browser are left out",
)
"""Skips on a user's machine without it, but never in .ci/run, which says that it must be there."""

FLAGS = [
    "--headless",
    "--no-sandbox",  # the tests may run as root, where Chromium has no sandbox
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

EARS = """
window.heard = [];
const Real = window.AudioContext;
window.AudioContext = class extends Real {
  createOscillator() {
    const tone = super.createOscillator();
    const start = tone.start.bind(tone);
    tone.start = (at) => { window.heard.push(tone.frequency.value); start(at); };
    return tone;
  }
};
"""
"""Keeps the pitch of every tone that is played."""

VOICE = """
window.said = [];
window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
Object.defineProperty(window, "speechSynthesis", { value: {
  getVoices: () => [{ name: "Bench voice", lang: "en-GB" }],
  speak: (words) => window.said.push(words.text),
  cancel: () => {},
  addEventListener: () => {},
} });
"""
"""A browser with a voice, whose words are kept; headless Chromium has none."""


expect.set_options(timeout=1000 * PATIENCE_S)


@dataclass
class Page:
    """One page and what went wrong in it."""

    page: object
    complaints: list = field(default_factory=list)

    def sounds(self):
        """Names of the sounds played since the last look, in order, but for that of hands which took long."""
        notes = self.page.evaluate("window.heard.splice(0)")
        known = self.page.evaluate(
            "import('/static/sounds.js').then((m) => Object.entries(m.SOUNDS)"
            ".map(([name, s]) => [name, s.notes.map((n) => n[0])]))"
        )
        names = []
        while notes:
            found = [(name, its) for name, its in known if notes[: len(its)] == its]
            assert found, f"tones of no known sound: {notes}"
            name, its = max(found, key=lambda pair: len(pair[1]))
            names.append(name)
            notes = notes[len(its) :]
        return [name for name in names if name != "nothing_felt"]

    def said(self):
        """What was spoken since the last look."""
        return self.page.evaluate("window.said.splice(0)")

    def state(self, name, words="", within_s=PATIENCE_S):
        """Wait until the band on the bench screen shows a state, with these words in it; gives the band."""
        band = self.page.locator(f'.band[data-state="{name}"]', has_text=words)
        expect(band).to_be_visible(timeout=1000 * within_s)
        return band

    def start(self, serial):
        """Type a serial into the form, as a person does."""
        field = self.page.get_by_label("Serial of the next unit")
        field.fill(serial)
        field.press("Enter")
        expect(self.page.locator(".tag-serial")).to_have_text(serial)

    def value(self):
        """The large value as a screen reader says it."""
        return self.page.locator(".now-big .value svg").first.get_attribute("aria-label")


@contextlib.contextmanager
def chromium():
    """A browser; ends with the block."""
    assert CHROMIUM, "chromium is not installed (Debian: apt install chromium-headless-shell)"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


def picture(page, name):
    """A picture of a page for whoever wants to look: each takes a third of a second of processor time."""
    if os.environ.get("STEADYOHM_PICTURES"):
        OUTPUT.mkdir(exist_ok=True)
        page.screenshot(path=OUTPUT / f"{name}.png")


def opened(browser, url, *, voice=True, click=True, size=None, scheme="light"):
    """Open a page of its own profile and, as a person would, click once so that it may sound."""
    context = browser.new_context(viewport=size or LAPTOP, color_scheme=scheme, reduced_motion="reduce")
    context.set_default_timeout(1000 * PATIENCE_S)
    context.add_init_script(EARS)
    if voice:
        context.add_init_script(VOICE)
    return another(context, url, click=click)


def another(context, url, *, click=True, clock=False):
    """One more page of the same profile; with `clock` its time can be moved on."""
    page = context.new_page()
    if clock:
        page.clock.install()
    kept = Page(page)
    page.on("pageerror", lambda error: kept.complaints.append(str(error)))
    page.on("console", lambda message: _complain(kept, message))
    page.goto(url)
    expect(page.locator("h1").first).to_be_attached()
    if click:
        page.mouse.click(683, 5)
    return kept


def _complain(kept, message):
    """Keep errors and refusals of the content policy; an answer of 4xx, or none, is not one."""
    if message.type == "error" and not any(
        each in message.text for each in ("net::ERR", "404", "422", "Failed to load resource")
    ):
        kept.complaints.append(message.text)


NOTICED = "fetch('/now').then((answer) => answer.json()).then((state) => state.rest === null)"
"""The bench has seen that the probes were lifted."""


@dataclass
class PagedBench:
    """A simulated bench whose daemon serves the page."""

    sim: object
    file: Path
    url: str
    daemon: object = None

    def zero(self, eye):
        """Hold the probes together until the leads are zeroed."""
        self.daemon.until("Hold the probes together")
        self.sim.type("short")
        self.daemon.until("zeroed")
        self.lift(eye)

    def touch(self, *pins):
        """Put the probes on two pins."""
        self.sim.type(" ".join(pins))
        self.sim.until("probes on")

    def measure(self, eye, pair, outcome="pass"):
        """Touch a pair, watch the verdict come, lift."""
        self.touch(*pair)
        eye.state(outcome, "–".join(pair))
        self.lift(eye)

    def lift(self, eye):
        """Take them off, and keep them off until the bench has noticed and the page shows it."""
        self.sim.type("lift")
        self.sim.until("probes in the air")
        wait_until(lambda: eye.page.evaluate(NOTICED))
        eye.page.locator(".ended, .probe:has-text('probes in the air')").first.wait_for()


@contextlib.contextmanager
def paged_bench(folder, *, more="", steps=(0, 1, 3), speed=16.0, pace=SPEED, batch="", changes=()):
    """The simulation and the real daemon, each a process.

    `more` is added to the bench file; `speed` is that of the unit and the meter, so that values are at rest
    sooner, `pace` that of the daemon. `steps` are those kept of the sheet (slow
    charge, fast charge, trigger): enough for a story, and half the time.
    """
    port, page_port = free_port(), free_port()
    sheet = (CONFIGS / "sheets" / "plover-80.toml").read_text(encoding="utf-8")
    head, *all_steps = sheet.split("[[step]]")
    (folder / "sheet.toml").write_text(
        "[[step]]".join([head, *(all_steps[place] for place in steps)]), encoding="utf-8"
    )
    named = f'name = "bench-1"\nbatch = "{batch}"' if batch else 'name = "bench-1"'
    changes = (
        ('name = "bench-1"', named),
        (str(CONFIGS / "sheets" / "plover-80.toml"), "sheet.toml"),
        *changes,
    )
    file = bench_file(folder, meter=f"tcp:127.0.0.1:{port}", changes=changes)
    file.write_text(
        file.read_text(encoding="utf-8") + f"\n[page]\nport = {page_port}\n{more}", encoding="utf-8"
    )
    with simulated(port, speed=speed) as sim, running(file, speed=pace) as daemon:
        bench = PagedBench(sim, file, f"http://127.0.0.1:{page_port}/", daemon)
        until_served(bench.url)
        yield bench


def until_served(url, within_s=PATIENCE_S):
    """Wait until the page's server answers."""
    deadline = time.monotonic() + within_s
    while True:
        try:
            with urllib.request.urlopen(url, timeout=2.0):  # noqa: S310  (http, of our own)
                return
        except OSError:
            assert time.monotonic() < deadline, f"nothing is served at {url}"
            time.sleep(0.02)
