"""Drawings within a page: plain text, names of their own, and a sentence where the library is missing."""

from __future__ import annotations

import re
import sys

import pytest

from acquire.errors import LibraryMissing
from acquire.reports.pictures import as_svg, figure, plain_style


def drawn(name, label="Ω & <b>", told="a line"):
    with plain_style():
        drawing = figure(100.0, 50.0)
        axes = drawing.subplots()
        axes.plot([1, 2, 3], [1.0, 3.0, 2.0], marker="o")
        axes.set_xlabel(label)
        return as_svg(drawing, name, told)


def test_text_stays_text_and_is_escaped():
    """It can be searched and read aloud, takes the page's letters, and is no markup of its own."""
    svg = drawn("a")
    assert "Ω &amp; &lt;b&gt;" in svg
    assert "<style" not in svg
    assert "<metadata" not in svg
    assert "DejaVu Sans'" not in svg


def test_a_dollar_sign_is_no_formula():
    """Nor an error, where what stands between two of them is none."""
    assert "$x^$" in drawn("a", label="$x^$")


def test_several_drawings_share_no_name():
    """Every reference finds its own target."""
    first, second = drawn("a"), drawn("b")
    ids = [set(re.findall(r' id="([^"]+)"', svg)) for svg in (first, second)]
    assert ids[0]
    assert not ids[0] & ids[1]
    for svg, own in zip((first, second), ids, strict=True):
        referred = set(re.findall(r'(?:href="#|url\(#)([^")]+)', svg))
        assert referred == own


def test_it_has_a_name_for_those_who_cannot_see_it():
    """Escaped as well."""
    assert "<title>5 &lt; 6</title>" in drawn("a", told="5 < 6")


def test_a_missing_library_is_told_in_one_sentence(monkeypatch):
    """With what to install."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(LibraryMissing, match=r"needs? matplotlib.*pip install \"steadyohm\[reports\]\""):
        drawn("a")
