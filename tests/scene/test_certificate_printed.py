"""A certificate of a unit that really went over the bench, printed by a browser and as PDF, and read back.

The simulated bench, the real daemon; then Debian's Chromium prints the HTML, and poppler reads both papers.
"""

import asyncio
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from rich.console import Console
from typer.testing import CliRunner

from acquire.cli import app
from acquire.reports import document as doc
from acquire.reports.printing import as_pdf
from acquire.simulated.demo import DemoOptions, run_demo
from tests.browsers import CHROMIUM, FLAGS, needs_chromium

POPPLER = all(shutil.which(each) for each in ("pdftotext", "pdfinfo", "pdftoppm"))
needs_poppler = pytest.mark.skipif(
    not POPPLER and not os.environ.get("STEADYOHM_REQUIRE_PEERS"),
    reason="poppler-utils are not installed: what stands on a printed certificate is not read back",
)
SIZES = {"A4": "59[45].* x 84[12].*", "Letter": "612 x 792"}
"""Points (ISO 216; ANSI/ASME Y14.1)."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The folder of a demo of two units."""
    folder = tmp_path_factory.mktemp("printed") / "demo"
    asyncio.run(run_demo(DemoOptions(folder, units=2, speed=10.0), Console(quiet=True)))
    return folder


def text_of(pdf):
    done = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, check=True, text=True)
    return done.stdout.replace("\u00a0", " ")


def printed_by_browser(html, pdf, profile):
    words = [
        CHROMIUM,
        *FLAGS,
        f"--user-data-dir={profile}",
        f"--print-to-pdf={pdf}",
        "--no-pdf-header-footer",
    ]
    subprocess.run([*words, html.as_uri()], capture_output=True, check=True, timeout=50)


def shop(demo, paper):
    """The demo's bench file with a shop's heading."""
    bench = demo / f"bench-{paper}.toml"
    head = f'\n[shop]\nname = "Otterbeck Rewinds"\naddress = ["3 Mill Lane"]\npaper = "{paper}"\n'
    bench.write_text((demo / "bench.toml").read_text(encoding="utf-8") + head, encoding="utf-8")
    return bench


@needs_chromium
@needs_poppler
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_both_papers_say_the_same_on_the_right_size(demo, tmp_path, paper):
    """Title, every value with its unit, page x of y on each page, the end mark on the last."""
    html, own, browsers = tmp_path / "c.html", tmp_path / "own.pdf", tmp_path / "browser.pdf"
    words = ["certificate", str(demo / "journal"), "P80-0001", "--bench", str(shop(demo, paper))]
    done = CliRunner().invoke(app, [*words, "--html", str(html), "--pdf", str(own)], catch_exceptions=False)
    assert done.exit_code == 0
    printed_by_browser(html, browsers, tmp_path / "profile")
    texts = {}
    for pdf in (own, browsers):
        info = subprocess.run(["pdfinfo", pdf], capture_output=True, check=True, text=True).stdout
        assert re.search(rf"Page size: +{SIZES[paper]}", info), info
        pages = int(re.search(r"Pages: +(\d+)", info)[1])
        text = texts[pdf] = text_of(pdf)
        assert re.findall(r"page (\d+) of (\d+)", text) == [(str(n + 1), str(pages)) for n in range(pages)]
        assert "Winding test certificate" in text
        assert "Otterbeck Rewinds" in text
        assert all(len(page.split()) > 50 for page in text.split("\f")[:pages]), "no empty page"
        assert "END OF CERTIFICATE" in text.split("\f")[pages - 1]
    values = [set(re.findall(r"[0-9.]+ ± [0-9.]+ [mk]?Ω", text)) for text in texts.values()]
    assert values[0] == values[1]
    assert len(values[0]) == 7, "six pairs and one relation of them"


@needs_poppler
def test_a_paper_has_no_page_too_many_and_long_rows_break_between_each_other(tmp_path):
    """One line is one page; of forty rows of several lines each stands whole on one page, below the heads."""
    long = tuple((f"begin{n:02}", " ".join([f"row {n}"] * 40 + [f"finish{n:02}"])) for n in range(40))
    for rows, number in ((long[:1], 1), (long, 3)):
        pdf = tmp_path / "own.pdf"
        pdf.write_bytes(as_pdf(doc.Document("Batch", "", (doc.table("Unit 20 | Why 80", rows),))))
        *pages, rest = text_of(pdf).split("\f")
        assert not rest
        assert len(pages) == number
        for page in pages:
            assert re.search(r"Unit +Why", page)
            assert re.findall(r"begin(\d+)", page) == re.findall(r"finish(\d+)", page) != []


@needs_poppler
def test_nothing_runs_over_the_edge_of_the_paper(demo, tmp_path):
    """A picture of each page of a hard case: a white margin of 8 mm all round holds no ink."""
    own = tmp_path / "own.pdf"
    words = ["certificate", str(demo / "journal"), "P80-0002", "--bench", str(shop(demo, "A4"))]
    words += ["--customer", "W" * 300, "--condition", "wet " * 200, "--remark", "i" * 900]
    CliRunner().invoke(app, [*words, "--pdf", str(own)], catch_exceptions=False)
    subprocess.run(["pdftoppm", "-r", "50", "-gray", own, tmp_path / "page"], check=True)
    pictures = sorted(Path(tmp_path).glob("page-*.pgm"))
    assert len(pictures) >= 2
    for picture in pictures:
        head, body = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", picture.read_bytes()), None
        wide, high = int(head[1]), int(head[2])
        body = picture.read_bytes()[head.end() :]
        rows = [body[n * wide : (n + 1) * wide] for n in range(high)]
        edge = int(8 / 25.4 * 50)
        inside = [row[edge:-edge] for row in rows[edge:-edge]]
        assert min(map(min, inside)) < 100  # there is something on it
        outside = [*rows[: edge // 2], *rows[-edge // 2 :], *(row[:edge] + row[-edge:] for row in rows)]
        assert min(map(min, outside)) > 250, picture
