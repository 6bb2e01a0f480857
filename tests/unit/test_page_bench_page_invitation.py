"""How people come to the page: the token is told to a terminal only, and as a code that can be read."""

from __future__ import annotations

from pathlib import Path

from acquire.page.bench_page import invitation, qr_code

FILE = Path("/shop/journal/page-token")


def test_a_page_for_this_machine_needs_no_token():
    for to_terminal in (True, False):
        told = invitation("http://127.0.0.1:8480/", None, FILE, to_terminal=to_terminal)
        assert told == "The bench page: http://127.0.0.1:8480/"


def test_a_log_is_told_where_the_token_is_and_not_what():
    told = invitation("http://192.0.2.7:8480/", "secret-token", FILE, to_terminal=False)
    assert "secret-token" not in told
    assert str(FILE) in told


def test_a_terminal_gets_the_address_and_its_code():
    told = invitation("http://192.0.2.7:8480/", "secret-token", FILE, to_terminal=True)
    assert "http://192.0.2.7:8480/?token=secret-token" in told
    assert "█" in told


def test_a_code_is_square_with_a_quiet_zone():
    """ISO/IEC 18004: four modules around; two modules a line in half blocks."""
    lines = qr_code("http://192.0.2.7:8480/?token=abc").splitlines()
    wide = len(lines[0])
    assert all(len(line) == wide for line in lines)
    assert 2 * len(lines) in (wide, wide + 1)
    assert set(lines[0]) == {"█"}
