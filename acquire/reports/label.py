"""The label for a unit: serial, verdict word, date, and a QR code with the serial and the result's id.

Drawn in millimetres of any size a label printer takes, as SVG or as a PDF of one page. Not for certificates.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from textwrap import wrap

from markupsafe import Markup

from acquire.errors import InputImpossible
from acquire.records import Basis, Outcome, Purpose, UntestedKind
from acquire.reports.document import SIGNS, moment, qr_svg, shown
from acquire.reports.printing import template
from acquire.reports.visits import Visit
from acquire.words.papers import OUTCOMES
from acquire.words.units import reason_of

LEAST_MM, MOST_MM = 10.0, 200.0
"""Sides of a label that are drawn."""

EDGE = 0.06
"""Free border, as a share of the shorter side."""

LEAST_SQUARE_MM = 0.25
"""Side of a square of the code: two dots of a label printer of 203 dots an inch. A finer code is left out."""

SIDE = re.compile(r'viewBox="0 0 (\d+) ')
"""Squares along one side of a code, white border included."""

REASON_WIDTH = 30
"""Letters of a line of the reason."""

WIDE = 0.62
"""Width of a letter as a share of the type's size, for DejaVu Sans and its like; for choosing the size."""


@dataclass(frozen=True, slots=True)
class LabelFacts:
    """What stands on the label.

    Attributes:
        result_id: of the entry of the unit's result.
        heading: name of the shop, empty for none.
        id_in_code: the code also holds the result's id, behind the serial and a space. Left out, it holds the
            serial alone: a scanner at the bench hands over what it reads, and that starts the unit.
        limits: what the verdict is not: of values typed from a display, of continuity without a tolerance.
        reason: why it is no plain pass; empty where it is.
    """

    serial: str
    sheet: str
    outcome: Outcome
    purpose: Purpose
    utc_s: float
    result_id: str
    heading: str = ""
    id_in_code: bool = False
    limits: str = ""
    reason: str = ""

    @property
    def code_text(self) -> str:
        """What the QR code holds."""
        return f"{self.serial} {self.result_id}" if self.id_in_code else self.serial

    @property
    def date(self) -> str:
        """UTC day of the result."""
        return moment(self.utc_s, "%Y-%m-%d")


@dataclass(frozen=True, slots=True)
class LabelLine:
    """One line of text: its left and lower end and its size, millimetres.

    `wide` is the length it is drawn at where it was made small to fit, so that no other font runs over.
    """

    text: str
    x: float
    y: float
    size: float
    bold: bool
    wide: float | None


@dataclass(frozen=True, slots=True)
class Drawing:
    """A label laid out.

    Attributes:
        lines: of text.
        code: what the QR code shows, its left and upper end and its side; None where it would be too fine.
    """

    width: float
    height: float
    lines: tuple[LabelLine, ...]
    code: tuple[str, float, float, float] | None


def label_of(visit: Visit, heading: str = "", *, id_in_code: bool = False) -> LabelFacts:
    """The label of a visit. Raises InputImpossible where it did not end with an outcome."""
    result, outcome = visit.result, visit.outcome
    if result is None or outcome is None:
        raise InputImpossible(f"{visit.started.serial} has no verdict for a label yet.")
    ids = visit.result_id, heading, id_in_code
    told = {
        "values typed": any(each.basis is Basis.TYPED for each in visit.resistances().values()),
        "some continuity only": any(each.kind is UntestedKind.TOLERANCE for each in result.untested),
    }
    limits = ", ".join(text for text, there in told.items() if there)
    facts = LabelFacts(result.serial, result.sheet, outcome, result.purpose, result.utc_s, *ids, limits)
    return facts if outcome is Outcome.PASS else replace(facts, reason=reason_of(result))


def laid_out(facts: LabelFacts, width_mm: float, height_mm: float) -> Drawing:
    """Place everything on a label of this size: the code at the left, or above on a tall one.

    Args:
        facts: what stands on it.
        width_mm: 10 to 200.
        height_mm: 10 to 200.

    Raises:
        InputImpossible: the size is none of a label.
    """
    if not (LEAST_MM <= width_mm <= MOST_MM and LEAST_MM <= height_mm <= MOST_MM):
        raise InputImpossible(
            f"A label of {width_mm:g} by {height_mm:g} mm cannot be drawn.",
            f"Each side measures {LEAST_MM:g} to {MOST_MM:g} mm.",
        )
    edge = EDGE * min(width_mm, height_mm)
    tall = height_mm > width_mm
    inside = width_mm - 2 * edge, height_mm - 2 * edge
    room = min(*inside, 0.5 * max(inside))
    code = None
    if _printable_code(facts.code_text, room):
        left, top = (width_mm - room, 2.0 * edge) if tall else (2.0 * edge, height_mm - room)
        code = facts.code_text, left / 2.0, top / 2.0, room
    taken = room + edge if code else 0.0
    if tall:
        box = edge, edge + taken, inside[0], inside[1] - taken
    else:
        box = edge + taken, edge, inside[0] - taken, inside[1]
    return Drawing(width_mm, height_mm, tuple(_lines(facts, *box)), code)


def _printable_code(text: str, room: float) -> bool:
    """Whether a code of this side has squares that a printer can print, if one can hold the text at all."""
    try:
        return room / float(SIDE.findall(qr_svg(text))[0]) >= LEAST_SQUARE_MM
    except ValueError:
        return False


def _lines(facts: LabelFacts, left: float, top: float, width: float, height: float) -> Iterator[LabelLine]:
    """Serial, verdict, unit type, date, result and heading: as large as fits, the serial first."""
    wanted = [
        (facts.serial, 1.0, True),
        (f"{SIGNS[facts.outcome]} {OUTCOMES[facts.outcome]}", 1.0, True),
        (facts.limits, 0.6, False),
        *((line, 0.5, False) for line in wrap(facts.reason, REASON_WIDTH, max_lines=3, placeholder=" …")),
        (facts.sheet, 0.7, False),
        (f"{facts.purpose}, {facts.date}", 0.7, False),
        (facts.heading, 0.6, False),
        (f"No. {facts.result_id}", 0.5, False),
    ]
    kept = [(shown(text, 80).replace("\n", "⟨U+000A⟩"), share, bold) for text, share, bold in wanted if text]
    unit = height / (1.25 * sum(share for _, share, _ in kept))
    y = top
    for text, share, bold in kept:
        y += 1.25 * unit * share
        fits = width / (WIDE * len(text))
        size, tight = min(unit * share, fits), 0.98 * fits <= unit * share
        yield LabelLine(text, left, y - 0.3 * unit * share, size, bold, width if tight else None)


def as_svg(drawing: Drawing) -> bytes:
    """The label as an SVG file of its size."""
    code = Markup(qr_svg(drawing.code[0])) if drawing.code else None  # noqa: S704  (letters and digits)
    return template("label.svg").render(of=drawing, code=code).encode("utf-8")


def as_pdf(drawing: Drawing, title: str, written_utc_s: float) -> bytes:
    """The label as a PDF of one page of its size. Raises SteadyohmError."""
    from acquire.reports.printing import svg_as_pdf  # noqa: PLC0415  (an extra)

    return svg_as_pdf(as_svg(drawing).decode(), (drawing.width, drawing.height), title, written_utc_s)
