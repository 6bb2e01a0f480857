"""`steadyohm returned`: a unit that comes back, then and now. Only reads the journal."""

from __future__ import annotations

import base64
import math
from pathlib import Path

from acquire.answers.certificate import heading_of, put
from acquire.clock import Clock
from acquire.files.settings import Bench
from acquire.reports.paper import Letterhead
from acquire.reports.paper_html import as_html
from acquire.reports.returned import Returned
from acquire.reports.returned_pages import returned_paper


def letterhead_of(bench: Bench | None, name: str = "") -> tuple[Letterhead, str, str]:
    """Heading, size of paper and name under the signature, as the bench file says.

    Raises:
        InputImpossible: the logo cannot be used.
    """
    heading = heading_of(bench, name)
    logo = base64.b64decode(heading.logo) if heading.logo else b""
    paper = "A4" if bench is None or bench.shop is None else bench.shop.paper
    return Letterhead(heading.name, heading.address, logo, heading.logo_kind), paper, heading.authorised


def write_returned(
    found: Returned, bench: Bench | None, clock: Clock, html: Path | None, pdf: Path | None
) -> None:
    """Draw it into files.

    Raises:
        InputImpossible: a file cannot be written, or the logo cannot be used.
        SteadyohmError: what draws PDF is not installed.
    """
    head, size, signed = letterhead_of(bench)
    paper = returned_paper(found, head, size, float(math.floor(clock.utc_s())), signed)
    if html is not None:
        put(html, as_html(paper))
    if pdf is not None:
        from acquire.reports.pdf_paper import as_pdf  # noqa: PLC0415  (an extra)

        put(pdf, as_pdf(paper))
