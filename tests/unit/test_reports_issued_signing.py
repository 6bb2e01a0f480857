"""Signatures behind papers: who issued one shows, and nothing of it can be changed."""

import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from acquire.errors import InputImpossible
from acquire.reports.issued import fingerprint_of, genuine, make_keys, signed, split

PAPERS = {"html": b"<!DOCTYPE html>\n<p>Pass</p>\n", "pdf": b"%PDF-1.7\nPass\n%%EOF\n"}


@pytest.fixture(scope="module")
def key(tmp_path_factory):
    """A key and its public half."""
    file = tmp_path_factory.mktemp("keys") / "shop.key"
    return file, make_keys(file)[0]


@pytest.mark.parametrize("kind", PAPERS)
def test_a_signed_paper_is_genuine_and_a_changed_one_is_not(key, kind):
    content = signed(PAPERS[kind], key[0])
    body, signature = split(content)
    assert body == PAPERS[kind]
    assert genuine(body, signature, key[1])
    assert not genuine(body.replace(b"Pass", b"Fail"), signature, key[1])
    assert split(PAPERS[kind]) == (PAPERS[kind], None)


def test_another_key_is_not_the_shops(key, tmp_path):
    body, signature = split(signed(PAPERS["html"], key[0]))
    other, fingerprint = make_keys(tmp_path / "other.key")
    assert not genuine(body, signature, other)
    assert signature.fingerprint == fingerprint_of(signature.key) != fingerprint


def test_line_ends_changed_on_the_way_do_no_harm(key):
    body, signature = split(signed(PAPERS["html"], key[0]).replace(b"\n", b"\r\n"))
    assert genuine(body, signature, key[1])


def test_a_key_is_its_owners_alone_and_never_written_over(key):
    assert stat.S_IMODE(key[0].stat().st_mode) == 0o600
    with pytest.raises(InputImpossible, match="is there already"):
        make_keys(key[0])


def test_files_that_are_no_keys_are_told(key, tmp_path):
    (tmp_path / "none").write_text("hello")
    with pytest.raises(InputImpossible, match="no key that can sign"):
        signed(b"", tmp_path / "none")
    with pytest.raises(InputImpossible, match="no key that can sign"):
        signed(b"", key[1])
    with pytest.raises(InputImpossible, match="cannot be read"):
        signed(b"", tmp_path / "absent")


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl is not installed")
def test_openssl_agrees(key, tmp_path):
    """The signature as another program sees it (RFC 8032): openssl pkeyutl -rawin."""
    body, signature = split(signed(PAPERS["pdf"], key[0]))
    (tmp_path / "body").write_bytes(b"steadyohm paper\n" + body)
    (tmp_path / "sig").write_bytes(signature.value)
    words = [
        "openssl",
        "pkeyutl",
        "-verify",
        "-pubin",
        "-inkey",
        str(key[1]),
        "-rawin",
        "-in",
        "body",
        "-sigfile",
        "sig",
    ]
    done = subprocess.run(words, cwd=Path(tmp_path), capture_output=True, text=True, check=False)
    assert "Verified Successfully" in done.stdout, done.stderr
