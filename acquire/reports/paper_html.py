"""Prints a paper as one HTML file: nothing from elsewhere, no scripts, good on a screen and on A4 or Letter.

The same paper always gives the same bytes. Every text goes through `html.escape` and is set apart in its
direction of writing, so that no serial can reach beyond its place.
"""

from __future__ import annotations

import base64
import html
from collections.abc import Iterable
from functools import singledispatch

from acquire.reports.code import code_path
from acquire.reports.paper import (
    Block,
    Cell,
    Code,
    End,
    Finding,
    Letterhead,
    Mark,
    Marked,
    Pairs,
    Paper,
    Plot,
    Plots,
    Points,
    Scale,
    Signing,
    Table,
    Title,
    Words,
    shown,
)
from acquire.reports.paper_style import COLOUR, STYLE

FACTS_BEGIN = '<script type="application/json" id="facts">'
FACTS_END = "</script>"
"""Between these stands what is attached. A script of this type is never run; the page forbids all others."""

KINDS = {"svg": "image/svg+xml", "png": "image/png"}

PLOT_WIDE, PLOT_HIGH = 160.0, 62.0
"""Of a small plot, in its own units."""


def as_html(paper: Paper) -> bytes:
    """The file."""
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{_text(paper.title, 120)}</title>",
        f"<style>{STYLE}{_page_style(paper)}</style>",
        "</head>",
        "<body>",
        *_head(paper),
        *(part for block in paper.blocks for part in draw(block)),
        "</main>",
    ]
    if paper.attached:
        parts.append(FACTS_BEGIN + paper.attached.replace("<", "\\u003c") + FACTS_END)
    parts += ["</body>", "</html>", ""]
    return "\n".join(parts).encode("utf-8")


def _text(text: str, longest: int = 600) -> str:
    return html.escape(shown(text, longest), quote=True)


def _apart(text: str) -> str:
    """Text from anybody: its direction of writing ends with it."""
    return f"<bdi>{_text(text)}</bdi>"


def _page_style(paper: Paper) -> str:
    """Size of the sheet, and what stands at the foot of each when it is printed."""
    running = (
        shown(paper.running, 120).replace("\\", "").replace('"', "'").replace("<", "‹").replace("\n", " ")
    )
    return (
        f"@page{{size:{paper.size} portrait;"
        f'@bottom-left{{content:"{running}";}}'
        '@bottom-right{content:"page " counter(page) " of " counter(pages);}}'
    )


def _head(paper: Paper) -> list[str]:
    head: Letterhead = paper.head
    logo = []
    if head.logo:
        data = base64.b64encode(head.logo).decode("ascii")
        logo = [f'<img class="logo" alt="" src="data:{KINDS[head.logo_kind]};base64,{data}">']
    lines = "".join(f"<div>{_apart(line)}</div>" for line in head.lines)
    return [
        '<header class="shop">',
        *logo,
        f'<div class="who"><strong>{_apart(head.name)}</strong>{lines}</div>',
        "</header>",
        "<main>",
        f'<div class="title"><h1>{_text(paper.title)}</h1><p>{_text(paper.subtitle)}</p></div>',
    ]


@singledispatch
def draw(block: Block) -> list[str]:
    """Lines of HTML for one block."""
    raise TypeError(f"a paper holds a {type(block).__name__}")


@draw.register
def _(block: Title) -> list[str]:
    return [f"<h2>{_text(block.text)}</h2>"]


@draw.register
def _(block: Words) -> list[str]:
    return [f'<p class="{block.tone}">{_text(block.text)}</p>']


@draw.register
def _(block: Points) -> list[str]:
    return ["<ul>", *(f"<li>{_apart(text)}</li>" for text in block.texts), "</ul>"]


@draw.register
def _(block: Pairs) -> list[str]:
    rows = (f"<div><dt>{_text(name)}</dt><dd>{_apart(value)}</dd></div>" for name, value in block.rows)
    return ['<dl class="pairs">', *rows, "</dl>"]


@draw.register
def _(block: Finding) -> list[str]:
    return [
        f'<section class="finding {block.mark.name.lower()}">',
        f"{_mark(block.mark)}<strong>{_text(block.word)}</strong><span>{_text(block.text)}</span>",
        "</section>",
    ]


@draw.register
def _(block: Table) -> list[str]:
    whole = sum(column.share for column in block.columns)
    widths = (f'<col style="width:{100.0 * column.share / whole:.2f}%">' for column in block.columns)
    heads = (f"<th{_side(c.right)}>{_text(c.head)}</th>" for c in block.columns)
    return [
        '<div class="table" tabindex="0"><table>',  # on a phone it is wider than the screen
        f"<colgroup>{''.join(widths)}</colgroup>",
        f"<thead><tr>{''.join(heads)}</tr></thead>",
        "<tbody>",
        *(f"<tr>{''.join(_cells(row, block))}</tr>" for row in block.rows),
        "</tbody></table></div>",
    ]


def _side(right: bool) -> str:
    return ' class="r"' if right else ""


def _cells(row: tuple[Cell, ...], table: Table) -> Iterable[str]:
    for cell, column in zip(row, table.columns, strict=True):
        match cell:
            case Scale():
                inner = _scale(cell)
            case Marked():
                inner = f"{_mark(cell.mark)} {_text(cell.text)}"
            case _:
                inner = _apart(cell)
        yield f"<td{_side(column.right)}>{inner}</td>"


def _mark(mark: Mark) -> str:
    """The shape of a verdict."""
    ink = COLOUR[mark]
    ring = f'<circle cx="8" cy="8" r="6.2" fill="none" stroke="{ink}" stroke-width="1.8"/>'
    shapes = {
        Mark.PASS: f'<circle cx="8" cy="8" r="7" fill="{ink}"/>',
        Mark.NEAR_PASS: f'{ring}<path d="M8 1.8a6.2 6.2 0 0 1 0 12.4z" fill="{ink}"/>',
        Mark.NEAR_FAIL: f'{ring}<path d="M1.8 8a6.2 6.2 0 0 0 12.4 0z" fill="{ink}"/>',
        Mark.FAIL: f'<path d="M2.5 2.5l11 11m0-11l-11 11" stroke="{ink}" stroke-width="3.4"/>',
        Mark.ASKING: f'{ring}<path d="M8 4.2v4.6m0 1.6v1.4" stroke="{ink}" stroke-width="1.8"/>',
    }
    return f'<svg class="mark" viewBox="0 0 16 16" aria-hidden="true">{shapes[mark]}</svg>'


def _scale(scale: Scale) -> str:
    """Limits as posts, the value as a diamond, its uncertainty as a beam."""

    def x(value: float) -> str:
        return f"{100.0 * scale.at(value):.2f}"

    posts = "".join(
        f'<path d="M{x(end)} 1v12" stroke="#333" stroke-width="1.6"/>'
        for end in (scale.lower, scale.upper)
        if end is not None
    )
    left, right = x(scale.value - scale.expanded), x(scale.value + scale.expanded)
    at = 100.0 * scale.at(scale.value)
    diamond = f"M{at - 3:.2f} 7L{at:.2f} 3.4L{at + 3:.2f} 7L{at:.2f} 10.6z"
    return (
        '<svg class="scale" viewBox="-4 0 108 14" aria-hidden="true">'
        '<path d="M-2 7H102" stroke="#bbb" stroke-width="0.8"/>'
        f'{posts}<path d="M{left} 7H{right}" stroke="#1d4e5f" stroke-width="2.4"/>'
        f'<path d="{diamond}" fill="#1d4e5f"/></svg>'
    )


@draw.register
def _(block: Plots) -> list[str]:
    wide = " four" if block.in_a_row == 4 else ""
    return [f'<div class="plots{wide}">', *(_plot(plot) for plot in block.plots), "</div>"]


def _plot(plot: Plot) -> str:
    left, right, low, high = plot.box()

    def place(at_s: float, ohm: float) -> str:
        x = PLOT_WIDE * (at_s - left) / (right - left)
        y = PLOT_HIGH * (1.0 - (ohm - low) / (high - low))
        return f"{x:.1f} {y:.1f}"

    line = "M" + "L".join(place(*point) for point in plot.points) if plot.points else ""
    dots = "".join(f"M{place(*point)}h0" for point in plot.points)
    across = ""
    if plot.settled is not None:
        y = PLOT_HIGH * (1.0 - (plot.settled - low) / (high - low))
        across = f'<path class="rest" d="M0 {y:.1f}H{PLOT_WIDE:g}"/>'
    return (
        f"<figure><figcaption><strong>{_apart(plot.title)}</strong> {_text(plot.caption)}</figcaption>"
        f'<svg viewBox="-1 -1 {PLOT_WIDE + 2:g} {PLOT_HIGH + 2:g}" aria-hidden="true">'
        f'<path class="frame" d="M0 0V{PLOT_HIGH:g}H{PLOT_WIDE:g}"/>{across}'
        f'<path class="trace" d="{line}"/><path class="dots" d="{dots}"/></svg></figure>'
    )


@draw.register
def _(block: Signing) -> list[str]:
    return [
        '<section class="signing"><div class="line"></div>',
        f"<div>{_text(block.role)}: {_apart(block.name)}</div><div>{_text(block.date)}</div></section>",
    ]


@draw.register
def _(block: Code) -> list[str]:
    side, path = code_path(block.text)
    lines = "".join(f"<div>{_apart(line)}</div>" for line in block.lines)
    ink = 'stroke="#000" stroke-width="1" fill="none" shape-rendering="crispEdges"'
    return [
        '<section class="code">',
        f'<svg viewBox="0 0 {side} {side}" role="img" aria-label="QR code with the id and the digest">',
        f'<path d="{path}" {ink}/></svg>',
        f'<div class="beside">{lines}</div></section>',
    ]


@draw.register
def _(block: End) -> list[str]:
    return [f'<p class="end">{_text(block.text)}</p>']
