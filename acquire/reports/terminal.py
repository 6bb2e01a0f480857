"""Prints a document in a terminal: words, tables, and drawings as lines of marks. No colour alone.

The same blocks as `html_page` and `pdf`; what only paper needs (signature, code, end) is left out.
"""

from __future__ import annotations

from collections.abc import Iterator

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from acquire.choices import FAILING, PASSING
from acquire.reports import document as doc
from acquire.reports.document import SIGNS, Tone, shown

GOOD, BAD, DIM = "bright_blue", "bold dark_orange", "dim"
STYLE = {of: GOOD if of in PASSING else BAD if of in FAILING else "yellow" for of in SIGNS}
"""As at the bench: blue for good, orange for bad, apart for colour-blind eyes."""

TONES = {Tone.PLAIN: "", Tone.STRONG: "bold", Tone.CAUTION: BAD, Tone.SMALL: DIM}

BAR = 30
"""Columns of a full bar."""


def as_terminal(document: doc.Document) -> RenderableType:
    """The whole report, for a rich console."""
    head = _say(document.title, "bold").append(_say(f"   {document.subtitle}", "not bold"))
    return Group(head, *(part for block in document.blocks for part in put(block)))


def _say(text: str, style: str = "") -> Text:
    """Text from anybody: nothing in it moves the cursor or turns the line around."""
    return Text(shown(text), style=style)


def _indented(what: RenderableType) -> Padding:
    return Padding(what, (0, 0, 0, 2))


def put(block: doc.Block) -> Iterator[RenderableType]:
    """Lines for one block; nothing for what only paper needs."""
    match block:
        case doc.Heading():
            yield Text()
            yield _say(block.text, "bold").append(_say(f"  {block.beside}", f"not bold {DIM}"))
        case doc.Text():
            yield _indented(_say(block.text, TONES[block.tone]))
        case doc.Bullets():
            yield from (_indented(_say(f"• {text}")) for text in block.texts)
        case doc.KeyValues():
            yield _indented(_pairs(block))
        case doc.Result():
            yield Text()
            yield _indented(_say(f"{SIGNS[block.mark]} {block.word}", STYLE[block.mark]))
            yield from (_indented(_say(text)) for text in block.texts if text)
        case doc.Table():
            yield _indented(_table(block))
        case doc.Picture():
            yield from map(_marked, block.lines)
        case doc.Strip():
            for row in (block.squares[at : at + 20] for at in range(0, len(block.squares), 20)):
                line = "".join(SIGNS[square.mark] for square in row)
                yield _indented(_marked(line).append(f" {row[-1].number:>4}", DIM))
            yield _indented(_say("● passed  ◑ ◒ near a limit  ✖ failed  ? cannot judge  ◌ no result", DIM))


def _pairs(block: doc.KeyValues) -> Table:
    table, wide = Table.grid(padding=(0, 2)), 2 if block.dense else 1
    for row in (block.rows[at : at + wide] for at in range(0, len(block.rows), wide)):
        table.add_row(*(part for name, value in row for part in (_say(name, DIM), _say(value))))
    return table


def _table(block: doc.Table) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1), show_edge=False)
    drawn = {number for row in block.rows for number, cell in enumerate(row) if isinstance(cell, doc.Scale)}
    kept = [number for number in range(len(block.columns)) if number not in drawn]
    for column in (block.columns[number] for number in kept):
        table.add_column(_say(column.head), header_style="bold", justify="right" if column.right else "left")
    for row in block.rows:
        table.add_row(*(_cell(row[number]) for number in kept))
    return table


def _cell(cell: doc.Cell) -> Text:
    match cell:
        case doc.Marked():
            return _say(f"{SIGNS[cell.mark]} {cell.text}", STYLE[cell.mark])
        case doc.Bar():
            return _say("█" * max(1, round(BAR * cell.share)), BAD)
        case str():
            return _say(cell)
    return Text()


def _marked(line: str) -> Text:
    """A line of marks in their colours."""
    styles = {SIGNS[of]: style for of, style in STYLE.items()} | {"◆": BAD}
    text = Text()
    for letter in shown(line):
        text.append(letter, styles.get(letter, DIM))
    return text
