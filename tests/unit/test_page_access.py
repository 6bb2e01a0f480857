"""Who is let in: names, tokens, origins. Fields as browsers send them (WHATWG Fetch; W3C Fetch Metadata)."""

from __future__ import annotations

import stat

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import SteadyohmError
from acquire.page.access import (
    ELSEWHERE,
    NO_TOKEN,
    NOT_OURS,
    SECURITY,
    PageGate,
    own_names,
    split_host,
    token_in,
    token_of,
)

HERE = PageGate("127.0.0.1", 8480)
LAN = PageGate("0.0.0.0", 8480, "t" * 24, frozenset({"bench-1.lan"}))
TOKEN = {"cookie": f"steadyohm-8480={'t' * 24}"}


def asked(host="127.0.0.1:8480", **fields):
    return {"host": host, **{name.replace("_", "-"): value for name, value in fields.items()}}


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8480", "localhost:8480", "LOCALHOST:8480", "[::1]:8480", "127.8.8.8:8480"]
)
def test_this_machine_is_known_by_its_loopback_names(host):
    assert HERE.refuses("GET", asked(host), "") is None


@pytest.mark.parametrize(
    "host",
    ["", "127.0.0.1", "127.0.0.1:80", "localhost.evil.example:8480", "192.0.2.1:8480", "bench-1.lan:8480",
     "127.0.0.1:8480:8480", "[::1]", "[::1", "localhost:８480", "0x7f.1:8480", "2130706433:8480"],
)  # fmt: skip
def test_any_other_name_may_have_been_made_to_point_here(host):
    assert HERE.refuses("GET", asked(host), "") is NOT_OURS


@pytest.mark.parametrize(
    "host", ["192.0.2.1:8480", "[2001:db8::1]:8480", "bench-1.lan:8480", "Bench-1.LAN.:8480"]
)
def test_a_page_for_the_network_is_known_by_addresses_and_given_names(host):
    assert LAN.refuses("GET", asked(host, **TOKEN), "") is None
    assert LAN.refuses("GET", asked("evil.example:8480", **TOKEN), "") is NOT_OURS


def test_a_token_is_shown_in_the_address_or_as_a_cookie():
    assert LAN.refuses("GET", asked(), "") is NO_TOKEN
    assert LAN.refuses("GET", asked(), "token=" + "t" * 24) is None
    assert LAN.refuses("GET", asked(), "token=" + "t" * 23) is NO_TOKEN
    assert LAN.refuses("GET", asked(cookie="steadyohm-9999=" + "t" * 24), "") is NO_TOKEN  # another bench's
    assert LAN.refuses("GET", asked(cookie="a=b; steadyohm-8480=" + "t" * 24), "") is None


def test_the_cookie_is_for_this_bench_only_and_out_of_reach_of_scripts():
    name, value = LAN.remember()
    assert name == "set-cookie"
    assert value.startswith("steadyohm-8480=" + "t" * 24 + ";")
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= {part.strip() for part in value.split(";")}


def test_an_order_comes_from_the_same_origin():
    good = asked(origin="http://127.0.0.1:8480", sec_fetch_site="same-origin")
    assert HERE.refuses("POST", good, "") is None
    for origin in ("http://127.0.0.1", "https://127.0.0.1:8480", "http://localhost:8480", "null", ""):
        assert HERE.refuses("POST", {**good, "origin": origin}, "") is ELSEWHERE
    del good["origin"]
    assert HERE.refuses("POST", good, "") is ELSEWHERE


def test_other_sites_may_link_to_the_page_and_nothing_else():
    assert HERE.refuses("GET", asked(sec_fetch_site="cross-site", sec_fetch_mode="navigate"), "") is None
    assert HERE.refuses("GET", asked(sec_fetch_site="cross-site", sec_fetch_mode="cors"), "") is ELSEWHERE
    assert HERE.refuses("GET", asked(sec_fetch_site="same-site"), "") is ELSEWHERE
    both = asked(sec_fetch_site="cross-site", sec_fetch_mode="navigate", origin="http://evil.example")
    assert HERE.refuses("POST", both, "") is ELSEWHERE


@given(st.text(max_size=80), st.text(max_size=80), st.text(max_size=80))
def test_no_request_upsets_the_gate(host, cookie, query):
    """And none of these passes that of a network page."""
    assert LAN.refuses("GET", {"host": host, "cookie": cookie}, query) in (NOT_OURS, NO_TOKEN)
    name, port = split_host(host)
    assert isinstance(name, str)
    assert -1 <= port < 100_000
    assert isinstance(token_in(query), str)


def test_a_token_is_made_once_for_its_owner(tmp_path):
    file = tmp_path / "journal" / "token"
    token = token_of(file)
    assert len(token) == 24  # 144 bits in base 64
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert token_of(file) == token
    assert token_of(tmp_path / "other") != token


@pytest.mark.parametrize("text", ["short\n", "a" * 19, "with space and more letters", "ä" * 30])
def test_a_token_that_is_none_is_refused(tmp_path, text):
    file = tmp_path / "token"
    file.write_text(text, encoding="utf-8")
    file.chmod(0o600)
    with pytest.raises(SteadyohmError, match="is no token"):
        token_of(file)


def test_a_token_that_others_may_read_or_that_is_a_link_is_refused(tmp_path):
    file = tmp_path / "token"
    file.write_text("a" * 24, encoding="ascii")
    file.chmod(0o640)
    with pytest.raises(SteadyohmError, match="chmod 600"):
        token_of(file)
    file.chmod(0o600)
    link = tmp_path / "link"
    link.symlink_to(file)
    with pytest.raises(SteadyohmError, match="cannot be used"):
        token_of(link)


def test_the_content_policy_lets_nothing_run_but_our_files():
    policy = dict(SECURITY)["content-security-policy"]
    parts = {part.split()[0]: part.split()[1:] for part in policy.split("; ")}
    assert parts["default-src"] == ["'none'"]
    assert parts["script-src"] == parts["style-src"] == parts["connect-src"] == ["'self'"]
    assert parts["frame-ancestors"] == parts["base-uri"] == parts["form-action"] == ["'none'"]
    assert "unsafe" not in policy


def test_a_machine_goes_by_its_own_name():
    names = own_names(["Bench-1.LAN"])
    assert "bench-1.lan" in names
    assert any(name.endswith(".local") for name in names)
