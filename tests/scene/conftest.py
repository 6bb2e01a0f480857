"""What scenes in a browser share: one Chromium for all of a module, since it takes seconds to start."""

from __future__ import annotations

import pytest

from tests.browsers import chromium


@pytest.fixture(scope="module")
def running_browser():
    """Chromium, until the module is done; modules that use it have no tests with a loop of their own."""
    with chromium() as browser:
        yield browser


@pytest.fixture
def browser(running_browser):
    """The same, with nothing open that another test has opened."""
    yield running_browser
    for context in running_browser.contexts:
        context.close()
