"""How people come to the page: the token is told to a terminal only, and as a code that can be read."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.page.backend import About
from acquire.page.bench_page import open_page, qr_code
from acquire.page.view import BenchView
from acquire.records import Purpose


@pytest.fixture
def page(tmp_path):
    """A page for this machine, which never runs."""
    about = About("bench-1", Purpose.FINAL, "", "", "")
    made = open_page("127.0.0.1", 0, tmp_path / "page-token", BenchView(about))
    yield made
    made.close()


@pytest.fixture
def guarded(page):
    """The same with a token."""
    return replace(page, gate=replace(page.gate, token="secret-token"))  # noqa: S106  (invented)


def test_a_page_for_this_machine_needs_no_token(page):
    for to_terminal in (True, False):
        assert page.invitation(to_terminal=to_terminal) == f"The bench page: http://127.0.0.1:{page.port}/"


def test_a_log_is_told_where_the_token_is_and_not_what(guarded):
    told = guarded.invitation(to_terminal=False)
    assert "secret-token" not in told
    assert str(guarded.token_file) in told


def test_a_terminal_gets_the_address_and_its_code(guarded):
    told = guarded.invitation(to_terminal=True)
    assert f":{guarded.port}/?token=secret-token" in told
    assert "█" in told


def test_a_code_is_square_with_a_quiet_zone():
    """ISO/IEC 18004: four modules around; two modules a line in half blocks."""
    lines = qr_code("http://192.0.2.7:8480/?token=abc").splitlines()
    wide = len(lines[0])
    assert all(len(line) == wide for line in lines)
    assert 2 * len(lines) in (wide, wide + 1)
    assert set(lines[0]) == {"█"}
