"""The bench page in a browser without a daemon: its own files, states handed to it. Not a test itself.

The files go out with the page's own security fields, so what the content policy forbids
is forbidden here too.
States are those of the real view (acquire.page.view).
"""

from __future__ import annotations

from urllib.parse import urlsplit

from acquire.page.access import SECURITY
from acquire.page.app import read_assets
from tests.browsers import Page

URL = "http://localhost:1/"

FEED = """
window.EventSource = class {
  constructor() {
    this.hears = {};
    window.feed = (name, plain) => this.hears[name]({ data: JSON.stringify(plain) });
  }
  addEventListener(name, does) { this.hears[name] = does; }
  close() {}
};
"""
"""In place of the stream of events: `feed(name, plain)` is an event that has come."""


def fed(browser, state, *, answers=None, size=None):
    """Open the page on a state; `answers` are those to its questions, by path.

    Returns:
        The page; orders that it gives are kept in `ordered`, its clock is turned by hand.
    """
    context = browser.new_context(viewport=size, reduced_motion="reduce")
    context.add_init_script(FEED)
    page = context.new_page()
    page.clock.install()
    kept = Page(page)
    kept.ordered = []
    assets, answers = read_assets(), answers or {}

    def answer(route):
        path = urlsplit(route.request.url).path
        asset = assets.page if path == "/" else assets.files.get(path.removeprefix("/static/"))
        if asset is not None:
            fields = {**dict(SECURITY), "content-type": asset.content_type}
            route.fulfill(body=asset.body, headers=fields)
        elif path == "/orders":
            kept.ordered.append(route.request.post_data_json)
            route.fulfill(json={"done": True, "reason": ""})
        elif path in answers:
            route.fulfill(json=answers[path])
        else:
            route.fulfill(status=404, json={"error": "There is no such page."})

    page.route("**/*", answer)
    page.on("pageerror", lambda error: kept.complaints.append(str(error)))
    page.on("console", lambda said: kept.complaints.append(said.text) if "policy" in said.text else None)
    page.goto(URL)
    page.wait_for_function("() => Boolean(window.feed)")
    tell(kept, state, "state")
    return kept


def tell(kept, plain, name="change"):
    """Hand the page an event."""
    kept.page.evaluate("([name, plain]) => feed(name, plain)", [name, plain])
