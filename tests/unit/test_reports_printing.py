"""A shop's logo: shapes or pixels, nothing that runs or leads elsewhere."""

import struct
import zlib

import pytest

from acquire.errors import InputImpossible
from acquire.reports.printing import LARGEST_BYTES, logo_of, shape_of

GOOD = b"""<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10">
<title>Otterbeck</title>
<defs><linearGradient id="g"><stop offset="0" stop-color="#1d4e5f"/></linearGradient></defs>
<g fill="url(#g)"><path d="M0 0h20v10H0z"/><circle cx="5" cy="5" r="3"/></g></svg>"""


def png(wide=20, high=10):
    """A whole PNG of one colour."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = b"".join(b"\x00" + b"\x10\x60\x80" * min(wide, 50) for _ in range(min(high, 50)))
    head = struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(("content", "kind"), [(GOOD, "svg"), (png(), "png")])
def test_a_plain_picture_is_taken(tmp_path, content, kind):
    """Byte for byte."""
    file = tmp_path / f"logo.{kind}"
    file.write_bytes(content)
    assert logo_of(file) == (content, kind)


def svg(inside):
    """An SVG around something."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">{inside}</svg>'
    )


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (svg("<script>alert(1)</script>"), "<script>"),
        (svg('<image href="https://x.example/a.png"/>'), "<image>"),
        (svg('<use xlink:href="other.svg#a"/>'), "<use>"),
        (svg("<foreignObject/>"), "<foreignObject>"),
        (svg("<style>@import 'x'</style>"), "<style>"),
        (svg('<animate attributeName="x"/>'), "<animate>"),
        (svg('<path onload="alert(1)" d="M0 0"/>'), "onload"),
        (svg('<path fill="url(https://x.example/)" d="M0 0"/>'), "fill"),
        (svg('<g style="background: URL ( x )"/>'), "style"),
        (svg('<linearGradient xlink:href="https://x.example/#a"/>'), "href"),
        ('<!DOCTYPE svg [<!ENTITY a "aaaa">]><svg>&a;</svg>', "DOCTYPE"),
        ("<html/>", "no SVG"),
        ("<svg", "no SVG"),
        ("", "no SVG"),
        (b"\xff\xfe<\x00s\x00v\x00g\x00", "neither SVG"),
        (b"GIF89a\xff", "neither SVG"),
        (png(9000, 10), "9000 by 10"),
        (png()[:18], "ends in its head"),
        (GOOD + b"<!--" + b"x" * LARGEST_BYTES + b"-->", "larger than 300 kB"),
    ],
)
def test_anything_else_is_refused(tmp_path, content, told):
    """With the reason."""
    file = tmp_path / "logo.svg"
    file.write_bytes(content.encode() if isinstance(content, str) else content)
    with pytest.raises(InputImpossible, match=told):
        logo_of(file)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (svg('<rect fill="url(#g) url(http://example.org/x)"/>'), "attribute fill leads elsewhere"),
        (svg("<rect style=\"fill:url(#g);background:url( '//example.org/x')\"/>"), "attribute style"),
        (svg('<rect style="background:u\\72l(http://example.org/x)"/>'), "attribute style leads"),
        (svg("<rect style=\"background:image-set('http://example.org/x' 1x)\"/>"), "attribute style"),
        (svg("<g>" * 60 + "</g>" * 60), "more than 50 deep"),
        ("<svg><rect/></svg>", "no svg of http"),
    ],
)
def test_what_hides_behind_a_good_reference_or_in_depth_is_refused(tmp_path, content, told):
    """The PDF library draws groups by recursion; several references may stand in one value."""
    file = tmp_path / "logo.svg"
    file.write_text(content, encoding="utf-8")
    with pytest.raises(InputImpossible, match=told):
        logo_of(file)


@pytest.mark.parametrize("value", ["url(#g)", "url( '#g' )", "URL(#g) none"])
def test_references_into_the_picture_are_taken(tmp_path, value):
    file = tmp_path / "logo.svg"
    file.write_text(svg(f'<rect fill="{value}"/>'), encoding="utf-8")
    assert logo_of(file)[1] == "svg"


def test_a_logo_that_is_not_there_is_told(tmp_path):
    with pytest.raises(InputImpossible, match="cannot be read"):
        logo_of(tmp_path / "none.svg")


@pytest.mark.parametrize(
    ("content", "shape"),
    [
        (GOOD, 2.0),
        (png(30, 10), 3.0),
        (svg("").encode(), 1.0),
        (b'<svg width="40mm" height="20mm"/>', 2.0),
        (b'<svg viewBox="0 0 9e9 1"/>', 9.0),
        (b'<svg viewBox="0 0 1 0"/>', 1.0),
        (b'<svg viewBox="0,0,1000,1"/>', 10.0),
    ],
)
def test_its_shape_is_that_of_the_picture(content, shape):
    """Width over height, within bounds."""
    assert shape_of(content) == shape
