"""The page's own files: complete, from nowhere else, with nothing that the content policy would refuse."""

from __future__ import annotations

import re

import pytest

from acquire.page.app import TYPES, read_assets


def test_links_of_the_page_carry_the_mark_and_lead_to_files():
    assets = read_assets()
    links = re.findall(rb'"/static/([^"?]+)\?v=([0-9a-f]+)"', assets.page.body)
    assert links
    for name, mark in links:
        assert name.decode() in assets.files
        assert mark.decode() == assets.mark


def test_every_import_of_a_script_is_one_of_our_files():
    assets = read_assets()
    for name, asset in assets.files.items():
        if name.endswith(".js"):
            text = asset.body.decode()
            named = re.findall(r'^(?:import|export)\b[^;]*?\bfrom\s+"([^"]+)"', text, re.MULTILINE)
            named += re.findall(r'\bimport\(\s*"([^"]+)"', text)
            for other in named:
                assert other.removeprefix("./").removeprefix("/static/") in assets.files, (name, other)


def test_nothing_comes_from_elsewhere_and_nothing_is_inline():
    assets = read_assets()
    page = assets.page.body.decode()
    assert not re.search(r"<script(?![^>]*\bsrc=)", page)
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=", page)
    for name, asset in assets.files.items():
        if name.endswith((".js", ".css")):
            text = asset.body.decode()
            far = [found for found in re.findall(r"https?://[^\s\"')]+", text) if "www.w3.org/" not in found]
            assert far == [], name
            assert not re.search(r"\binnerHTML\b|\beval\(|new Function|document\.write", text), name


def test_another_file_is_another_mark(tmp_path):
    (tmp_path / "bench.html").write_text('<script src="/static/a.js"></script>', encoding="utf-8")
    (tmp_path / "a.js").write_text("1", encoding="utf-8")
    (tmp_path / "notes.md").write_text("not served", encoding="utf-8")
    before = read_assets(tmp_path)
    assert set(before.files) == {"a.js"}
    (tmp_path / "a.js").write_text("2", encoding="utf-8")
    after = read_assets(tmp_path)
    assert before.mark != after.mark
    assert all(kind for kind in TYPES.values())


def test_a_page_that_is_not_there_is_an_error(tmp_path):
    with pytest.raises(OSError, match="missing"):
        read_assets(tmp_path)
